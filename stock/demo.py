"""Load the invented demo farm of `fixtures_demo/` through the write doors, all of it or none.

Its last day is yesterday whenever it is loaded; see `stock/demo_days.py` for how its days are written.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.db.models import Max

from ponds import lot_book, nest_book, places, retiring
from ponds.farm import the_farm
from ponds.kinds_shipped import KINDS_FILE, load_shipped_kinds
from ponds.models import Farm, Kind, NestDay, Pond
from ponds.sheet_files import read_rows
from stock import ledger, task_book
from stock.demo_days import DemoDays
from stock.demo_lots import lot_drafts
from stock.demo_sheets import DemoMove, DemoSheets, Mend, corrected, demo_key
from stock.demo_sign_in import make_people
from stock.demo_surveys import make_surveys, survey_moves
from stock.demo_turtles import make_turtles
from stock.drafts import Draft, reversal_key
from stock.models import Entry, Haul, LastLook, MonthClose, Move, Task
from stock.timeline import next_month

FOLDER = Path(settings.BASE_DIR) / "fixtures_demo"
OWNER, HAND = "wren", "ibis"

Say = Callable[[str], None]


class DemoRefused(Exception):
    """The demo farm cannot be loaded here; the message is a sentence."""


@dataclass(frozen=True)
class DemoFigures:
    """What was loaded."""

    ponds: int
    moves: int
    entries: int
    hauls: int
    nest_rows: int
    nests: int


def is_loaded() -> bool:
    """Say whether this database holds the demo farm."""
    return _has_tables() and Farm.objects.filter(is_demo=True).exists()


def refuse_other_than_empty() -> None:
    """
    See that nothing of anybody's stands here.

    Raises
    ------
    DemoRefused
        Where this database holds people, ponds or kinds that are not the demo farm's.
    """
    if not _has_tables():
        if connection.introspection.table_names():
            raise DemoRefused(
                f"{_where()} holds tables of another program; nothing was touched. Give the demo farm a place of "
                "its own: set SCUTEBOOK_DATA to an empty folder, and leave DATABASE_URL unset."
            )
        return
    held = [
        words
        for words, is_there in (
            ("people", User.objects.exists()),
            ("ponds", Pond.objects.exists()),
            ("moves", Move.objects.exists()),
            ("a nest book", NestDay.objects.exists()),
            ("kinds of its own", Kind.objects.exclude(code__in=_shipped_codes()).exists()),
        )
        if is_there
    ]
    if held:
        raise DemoRefused(
            f"{_where()} holds a farm already ({', '.join(held)}), which is not the demo farm; nothing was touched. "
            "Give the demo farm a place of its own: set SCUTEBOOK_DATA to an empty folder, and leave "
            "DATABASE_URL unset."
        )


def load_demo(*, today: dt.date | None = None, say: Say = lambda sentence: None) -> DemoFigures:
    """
    Load the demo farm in one transaction.

    Parameters
    ----------
    today : date, optional
        The day of loading: the farm's own today unless it is given. The last logged day is the one before it.
    say : callable
        Told how far it has come, a sentence at a time.

    Raises
    ------
    DemoRefused
        Where this database holds anything else, or the demo farm already.
    """
    with transaction.atomic():
        if is_loaded():
            raise DemoRefused("The demo farm is loaded already.")
        refuse_other_than_empty()
        return _Loading(today, say).run()


def _has_tables() -> bool:
    return Farm._meta.db_table in connection.introspection.table_names()


def _where() -> str:
    name = connection.settings_dict["NAME"]
    return f"The database {name}"


def _shipped_codes() -> list[str]:
    headings, *lines = [cells for _, cells in read_rows(KINDS_FILE.name, KINDS_FILE.read_bytes())]
    place = headings.index("code")
    return [cells[place] for cells in lines]


class _Loading:
    """One loading: what was made so far, by the names the files use."""

    def __init__(self, today: dt.date | None, say: Say) -> None:
        self.say = say
        self.farm = the_farm()
        self.days = DemoDays(today or self.farm.today())
        self.today = self.days.today
        self.sheets = DemoSheets(FOLDER, self.days)
        self.people = make_people()
        self.ponds: dict[str, Pond] = {}
        self.kinds: dict[str, Kind] = {}
        self.drafts: dict[str, Draft] = {}

    def run(self) -> DemoFigures:
        self.say("Kinds, ponds and their states")
        self._farm()
        load_shipped_kinds()
        self.kinds = {kind.code: kind for kind in Kind.objects.all()}
        self._ponds()
        moves = [*self.sheets.moves(self._tasks()), *survey_moves(self.sheets)]
        self.drafts = {move.name: move.draft for move in moves}
        self._history([move for move in moves if not (move.is_late or move.is_just_logged)])
        self.say("Marking turtles")
        make_turtles(self.sheets, people=self.people, today=self.today)
        self._retire()
        self._nests()
        self._lots()
        self.say("Closing the years that are over")
        self._close_years()
        self._look()
        self._just_logged([move for move in moves if move.is_late or move.is_just_logged])
        self._close_reviewed()
        return DemoFigures(
            ponds=Pond.objects.count(),
            moves=Move.objects.count(),
            entries=Entry.objects.count(),
            hauls=Haul.objects.count(),
            nest_rows=NestDay.objects.count(),
            nests=sum(NestDay.objects.standing().values_list("nests", flat=True)),
        )

    def _farm(self) -> None:
        (row,) = self.sheets.rows("farm")
        self.farm.name, self.farm.code, self.farm.licence = row["name"], row["code"], row["licence"]
        self.farm.licence_expires_on = self.days.day(row["licence expires"])
        self.farm.zone = row["zone"]
        self.farm.is_demo = True
        self.farm.full_clean()
        self.farm.save()

    def _ponds(self) -> None:
        owner = self.people[OWNER]
        for row in self.sheets.rows("ponds"):
            fields = {
                "name": row["name"],
                "opened_on": self.days.day(row["opened"]),
                "head_limit": int(row["head limit"]),
                "note": row["note"],
                **places.area_fields("water_area", places.read_area(row["water acres"], "ACRE")),
                **places.area_fields("bank_area", places.read_area(row["bank acres"], "ACRE")),
            }
            draft = places.PondDraft(row["code"], fields, tuple(row["kinds"].split()))
            self.ponds[row["code"]] = places.open_pond(draft, by=owner)
        for row in self.sheets.rows("states"):
            places.add_state(
                pond=self.ponds[row["pond"]],
                state=row["state"].upper().replace(" ", "_"),
                from_on=self.days.day(row["from"]),
                ends_on=self.days.maybe(row["ends"]),
                note=row["note"],
                by=owner,
                today=self.today,
            )

    def _tasks(self) -> dict[str, int]:
        return {
            row["task"]: task_book.make(
                pond=self.ponds[row["pond"]],
                verb=Task.Verb[row["verb"].upper().replace(" ", "_")],
                kind=self.kinds[row["kind"]],
                of_class=row["class"].upper(),
                heads=int(row["heads"]) if row["heads"] else None,
                why=row["why"],
                due_on=self.days.maybe(row["due"]),
                by=self.people[OWNER],
                today=self.days.day(row["decided"]),
            ).pk
            for row in self.sheets.rows("tasks")
        }

    def _history(self, moves: list[DemoMove]) -> None:
        self.say(f"Posting {len(moves)} moves and hauls")
        # The owner's postings come first: they open the register and bring heads in, and what the hand then
        # logged is found to stand there.
        self._record(self.sheets.openings(), OWNER)
        for name in (OWNER, HAND):
            self._record([move.draft for move in moves if move.by == name], name)
        for draft, row in self.sheets.counts():
            ledger.accept_count(
                draft,
                key=demo_key(f"count {draft.pond} {draft.kind} {row['day']}"),
                by=self.people[OWNER],
                today=self.today,
                hauls=[Haul.objects.get(move__key=demo_key(row["haul"]))] if row["haul"] else (),
                resets_book=row["resets"] == "yes",
                reason=row["reason"],
            )
        make_surveys(self.sheets, ponds=self.ponds, people=self.people, today=self.today)
        self._mend({move.name for move in moves})

    def _just_logged(self, moves: list[DemoMove]) -> None:
        for name in (OWNER, HAND):
            self._record([move.draft for move in moves if move.by == name], name)
        self._mend({move.name for move in moves})

    def _record(self, drafts: list[Draft], name: str) -> None:
        ledger.record_all(drafts, by=self.people[name], today=self.today)

    def _mend(self, names: set[str]) -> None:
        for mend in self.sheets.mends():
            if mend.move in names:
                self._mend_one(mend)

    def _mend_one(self, mend: Mend) -> None:
        draft, by = self.drafts[mend.move], self.people[mend.by]
        move = Move.objects.get(key=draft.key)
        if mend.heads is None:
            ledger.reverse(move, key=reversal_key(draft.key), by=by, today=self.today, note=mend.note)
        else:
            ledger.correct(move, corrected(draft, mend.heads, mend.note), by=by, today=self.today)

    def _retire(self) -> None:
        for row in self.sheets.rows("ponds"):
            if row["retired"]:
                retiring.retire(
                    pond=self.ponds[row["code"]], on=self.days.day(row["retired"]), today=self.today
                )

    def _nests(self) -> None:
        rows = self.sheets.past_rows("nests")
        self.say(f"Writing {len(rows)} rows of the nest book")
        nest_book.record_all(
            [
                NestDay(
                    key=demo_key(f"nests {number}"),
                    pond=self.ponds[row["pond"]],
                    kind=self.kinds[row["kind"]] if row["kind"] else None,
                    dug_on=self.days.day(row["day"]),
                    nests=int(row["nests"]),
                    eggs=int(row["eggs"]),
                    broken=int(row["broken"]),
                    note=row["note"],
                    by=self.people[HAND],
                )
                for number, row in enumerate(rows)
            ],
            today=self.today,
        )

    def _lots(self) -> None:
        drafts = lot_drafts(self.sheets, self.ponds, self.kinds)
        self.say(f"Setting {len(drafts)} egg lots")
        lot_book.open_lots(drafts, by=self.people[HAND], today=self.today)

    def _close_years(self) -> None:
        """Close every month up to the end of the year before last."""
        month = min(draft.happened_on for draft in self.sheets.openings()).replace(day=1)
        while month.year < self.today.year - 1:
            ledger.close_month(month, by=self.people[OWNER], today=self.today)
            month = next_month(month)

    def _close_reviewed(self) -> None:
        """Close the months before the last: that one is still to be reviewed."""
        closed = MonthClose.objects.order_by("month").last()
        last = (self.today.replace(day=1) - dt.timedelta(days=1)).replace(day=1)
        while closed is not None and (month := next_month(closed.month)) < last:
            closed = ledger.close_month(month, by=self.people[OWNER], today=self.today)

    def _look(self) -> None:
        """The owner has seen everything so far; what is posted from here on is news to her."""
        latest = Move.objects.aggregate(latest=Max("recorded_at"))["latest"]
        LastLook.objects.create(user=self.people[OWNER], looked_at=latest)
