"""Private to `stock/ledger.py`: locks, reads what planning needs, and writes what was planned."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence, Set

from django.db import connection

from stock import ledger_sql
from stock.planning import Books, LateChange, MarkedHead, Ref
from stock.timeline import CellDays, MonthFigures, next_month

# One number for the whole ledger: postings hold it shared, a month close holds it alone (PostgreSQL).
ADVISORY_LOCK = 5_107_731
LONG_AGO = dt.date(1900, 1, 1)


def lock_book(*, alone: bool = False) -> None:
    """Keep month closes and postings apart. SQLite's immediate transaction does so by itself."""
    if connection.vendor == "postgresql":
        shared = "" if alone else "_shared"
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT pg_advisory_xact_lock{shared}(%s)", [ADVISORY_LOCK])


def try_lock_book_alone() -> bool:
    """Take the whole book if nobody is posting now."""
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [ADVISORY_LOCK])
        return bool(cursor.fetchone()[0])


def first_open_day(last_closed: dt.date | None) -> dt.date:
    """Return the first day that may still be booked on."""
    return LONG_AGO if last_closed is None else next_month(last_closed)


class Store:
    """The database rows behind a set of cell names, locked for one posting."""

    def __init__(self) -> None:
        self.pond_ids: dict[str, int] = {}
        self.kind_ids: dict[str, int] = {}
        self.kind_names: dict[str, str] = {}
        self.cell_ids: dict[Ref, int] = {}
        self.refs: dict[int, Ref] = {}
        self.last_closed: dt.date | None = None

    def lock_cells(self, refs: set[Ref], *, also: Set[Ref] = frozenset()) -> None:
        """Make the cells that are not there yet, then lock them all in one order.

        Cells of `also` are looked at but not written: one that is not there is left unmade.
        """
        wanted = sorted(ref for ref in refs if ref not in self.cell_ids)
        if not wanted:
            return
        # Made in the order of their names and locked in the order of their ids, so that two postings
        # can never wait for each other.
        found = self._find({*wanted, *also})
        missing = [ref for ref in wanted if ref not in found]
        if missing:
            ledger_sql.make_cells([self._new_cell(ref) for ref in missing])
            found = self._find({*wanted, *also})
        ledger_sql.lock_cells(found.values())
        self.cell_ids.update(found)
        self.refs.update({pk: ref for ref, pk in found.items()})

    def books(
        self,
        refs: set[Ref],
        months: set[dt.date],
        turtle_codes: set[str],
        *,
        late_from: dt.date | None = None,
    ) -> Books:
        """Return the cells by day for `months` and in summary for what comes after.

        With `late_from`, also what happened from before that day on and was booked after it.
        """
        ids = [self.cell_ids[ref] for ref in refs]
        first = min(months)
        opening: dict[int, tuple[int, int]] = {}
        stored: dict[int, list[MonthFigures]] = defaultdict(list)
        for pk, *figures in ledger_sql.month_ends(ids, first):
            month = MonthFigures(*figures)
            if month.month < first:
                opening[pk] = (month.heads, month.marked)
            else:
                stored[pk].append(month)
        by_day = self._days(ids, months)
        cells = {
            ref: CellDays.from_stored(
                opening.get(self.cell_ids[ref], (0, 0)),
                stored[self.cell_ids[ref]],
                by_day[self.cell_ids[ref]],
            )
            for ref in refs
        }
        return Books(
            cells=cells,
            turtles=self.turtles(turtle_codes),
            kind_names=self.kind_names,
            load_standing=self.standing,
            late=self._late(late_from) if late_from is not None else {},
        )

    def _late(self, day: dt.date) -> dict[Ref, list[LateChange]]:
        changes: dict[Ref, list[LateChange]] = defaultdict(list)
        for source, target, happened_on, booked_on, heads in ledger_sql.late_changes(self.refs, day):
            for pk, sign in ((source, -1), (target, 1)):
                if pk in self.refs:
                    changes[self.refs[pk]].append(LateChange(happened_on, booked_on, sign * heads))
        return changes

    def turtles(self, codes: set[str]) -> dict[str, MarkedHead]:
        """Return the named marked turtles that are in the register."""
        if not codes:
            return {}
        return {turtle.code: turtle for turtle in self._marked(ledger_sql.turtles_named(codes))}

    def standing(self, ref: Ref) -> list[MarkedHead]:
        """Return the marked turtles whose latest step put them into a cell."""
        return self._marked(ledger_sql.turtles_in(self.cell_ids[ref]))

    def since_without(self, move_id: int, codes: Collection[str]) -> dict[str, dt.date]:
        """Return since when turtles stand where they do, the steps of one move left out."""
        rows = ledger_sql.turtles_named(codes, without=move_id)
        return {code: since or LONG_AGO for code, *_, since in rows}

    def lock_with_turtles(self, refs: set[Ref], codes: set[str], *, also: Set[Ref] = frozenset()) -> None:
        """Lock cells, the named turtles, and the cells those stand in."""
        if not codes:
            self.lock_cells(refs, also=also)
            return
        self.lock_cells(refs | self._refs(ledger_sql.cells_of_turtles(codes)), also=also)
        # A turtle may have been moved, or found again, while this posting waited; from here on it stays.
        elsewhere = set(ledger_sql.lock_turtles(codes)) - set(self.refs)
        if elsewhere:
            self.lock_cells(self._refs(elsewhere))

    def _refs(self, ids: Collection[int]) -> set[Ref]:
        return {self.ref_of(cell) for cell in ledger_sql.cells_named(ids)} if ids else set()

    def ref_of(self, cell: Sequence) -> Ref:
        """Return the name of a cell read as in `ledger_sql.CELL`, and let its pond and kind be known."""
        pond_id, pond, outside, kind_id, kind, kind_name, of_class = cell
        self.kind_ids[kind], self.kind_names[kind] = kind_id, kind_name
        if pond_id is not None:
            self.pond_ids[pond] = pond_id
        return Ref(outside if pond_id is None else pond, kind, of_class)

    def write_month_ends(self, books: Books) -> None:
        """Store what the posting changed, month by month."""
        ledger_sql.write_month_ends(
            [
                (
                    self.cell_ids[ref],
                    figures.month,
                    ref.is_pond,
                    figures.heads,
                    figures.lowest,
                    figures.marked,
                    figures.lowest_unmarked,
                )
                for ref, cell in books.cells.items()
                for figures in cell.changed_months()
            ]
        )

    def _marked(self, rows: Iterable[tuple]) -> list[MarkedHead]:
        return [
            MarkedHead(code, kind, self.refs.get(cell) if cell else None, since or LONG_AGO, last_seen_on)
            for code, kind, cell, last_seen_on, since in rows
        ]

    def _find(self, refs: Collection[Ref]) -> dict[Ref, int]:
        places = {ref.place for ref in refs}
        ponds = [self.pond_ids[place] for place in places if place in self.pond_ids]
        outside = [place for place in places if place not in self.pond_ids]
        kinds = {self.kind_ids[ref.kind] for ref in refs}
        pond_codes = {pk: code for code, pk in self.pond_ids.items()}
        kind_codes = {pk: code for code, pk in self.kind_ids.items()}
        found = {
            Ref(pond_codes[pond] if pond else place, kind_codes[kind], of_class): pk
            for pk, pond, place, kind, of_class in ledger_sql.cells(ponds, outside, kinds)
        }
        return {ref: found[ref] for ref in refs if ref in found}

    def _new_cell(self, ref: Ref) -> tuple:
        pond, outside = (self.pond_ids[ref.place], "") if ref.is_pond else (None, ref.place)
        return pond, outside, self.kind_ids[ref.kind], ref.of_class

    @staticmethod
    def _days(ids: list[int], months: set[dt.date]) -> dict[int, dict[dt.date, dict[dt.date, list[int]]]]:
        """Return cell -> month -> day -> [heads, marked], for every cell and month asked for."""
        wanted = set(ids)
        days: dict = {pk: {month: {} for month in months} for pk in ids}
        for source, target, on, heads, marked in ledger_sql.changes(ids, _runs(months)):
            month = on.replace(day=1)
            for pk, sign in ((source, -1), (target, 1)):
                if pk in wanted:
                    change = days[pk][month].setdefault(on, [0, 0])
                    change[0] += sign * heads
                    change[1] += sign * marked
        return days


def _runs(months: Iterable[dt.date]) -> Iterator[tuple[dt.date, dt.date]]:
    """Yield (first day, day after the last) of each run of months that follow one another."""
    run: list[dt.date] = []
    for month in sorted(months):
        if run and month != next_month(run[-1]):
            yield run[0], next_month(run[-1])
            run = []
        run.append(month)
    if run:
        yield run[0], next_month(run[-1])
