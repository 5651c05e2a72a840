"""Private to `stock/ledger.py`: one posting inside its transaction, from drafts to rows."""

from __future__ import annotations

import datetime as dt
import itertools
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from stock import ledger_sql
from stock.drafts import (
    CLASSES,
    LONGEST_NOTE,
    OUTSIDE,
    Draft,
    content_sha256,
    reversal_key,
    turtles_named,
    with_numbers,
)
from stock.ledger_checks import (
    check_kept_apart,
    check_net,
    check_not_into_retired,
    check_openings,
    check_reversible,
    check_turtles_known,
    kept_apart_refs,
    key_reused,
    of_draft,
    take_in_batches,
)
from stock.ledger_facts import read_farm
from stock.ledger_marks import see_without, seen_in_haul_of, write_last_seen
from stock.ledger_marks_back import with_own_codes
from stock.ledger_marks_checks import check_put_on
from stock.ledger_rows import write_rows
from stock.ledger_rules import FarmFacts, check_draft, check_states, check_text
from stock.ledger_sql import last_closed_month
from stock.ledger_store import Store, first_open_day
from stock.models import Entry, Move
from stock.planning import (
    CLASS_WORDS,
    Books,
    Plan,
    PlannedEntry,
    PlannedStep,
    Ref,
    plan_draft,
    refs_of_draft,
    with_fill,
)
from stock.refusals import (
    LedgerRefusal,
    NotEnoughHeads,
    SeveralRefused,
    TurtleElsewhere,
)


@dataclass(frozen=True)
class Beyond:
    """Heads the bank proved beyond the book."""

    pond: str
    kind: str
    of_class: str
    heads: int


@dataclass(frozen=True)
class Posted:
    """A move as written, or as found again under its key."""

    move: Move
    beyond: tuple[Beyond, ...] = ()
    warnings: tuple[str, ...] = ()
    is_replay: bool = False

    @classmethod
    def again(cls, move: Move) -> Posted:
        """Read the receipt of a move that stands already."""
        entries = Entry.objects.filter(move=move, reason="BEYOND_BOOK", target__pond__isnull=False)
        beyond = tuple(
            Beyond(pond, kind, of_class, heads)
            for pond, kind, of_class, heads in entries.order_by("line").values_list(
                "target__pond__code", "target__kind__common_name", "target__of_class", "heads"
            )
        )
        return cls(move, beyond=beyond, is_replay=True)


Planned = tuple[int, Draft, Plan, tuple[str, ...]]


class Posting:
    """What one transaction of the ledger knows and writes."""

    def __init__(self, *, by, today: dt.date) -> None:
        self.by = by
        self.by_name = by.get_username() if by is not None else "the register"
        self.today = today
        self.store = Store()

    @cached_property
    def first_open(self) -> dt.date:
        """The first day that may still be booked on."""
        return first_open_day(last_closed_month())

    def booked_on(self, happened_on: dt.date) -> dt.date:
        """Return the day the book carries: the animal's own, or the first open day after a close."""
        return max(happened_on, self.first_open)

    def post(self, drafts: Sequence[tuple[int, Draft]]) -> dict[int, Posted]:
        """
        Post drafts in the order given; each is numbered, and a refusal carries that number as `draft`.

        Keys are looked up before anything is checked: what was posted once is answered with its receipt,
        even where the farm's rules have changed since.
        """
        asked = {position: content_sha256("record", draft) for position, draft in drafts}
        drafts = [(position, with_numbers(draft)) for position, draft in drafts]
        farm = self._know([draft for _, draft in drafts])
        turtles = {code for _, draft in drafts for code in turtles_named(draft)}
        self.store.lock_with_turtles(
            {ref for _, draft in drafts for ref in refs_of_draft(draft) if self._is_known(ref)},
            turtles,
            also=kept_apart_refs([draft for _, draft in drafts], self.store, self.not_with),
        )
        standing = self._standing({draft.key for _, draft in drafts})
        refused: list[LedgerRefusal] = []
        for position, draft in drafts:
            if draft.key in standing:
                continue
            try:
                with of_draft(position):
                    check_draft(draft, farm)
                    take_in_batches(draft, farm.batches)
            except LedgerRefusal as refusal:
                refused.append(refusal)
        if refused:
            raise refused[0] if len(refused) == 1 else SeveralRefused(refused)
        check_openings([one for one in drafts if one[1].key not in standing], farm.kinds)
        check_put_on([one for one in drafts if one[1].key not in standing])
        books = self._books({draft.happened_on for _, draft in drafts}, turtles)
        results: dict[int, Posted] = {}
        fresh: list[Planned] = []
        contents: dict[uuid.UUID, str] = {}
        repeated: list[tuple[int, uuid.UUID]] = []
        waiting: list[tuple[int, Draft]] = []
        for position, draft in drafts:
            with of_draft(position):
                content = asked[position]
                if draft.key in standing:
                    results[position] = self._replay(standing[draft.key], content)
                    continue
                if draft.key in contents:
                    if contents[draft.key] != content:
                        raise key_reused(draft.key)
                    repeated.append((position, draft.key))
                    continue
                contents[draft.key] = content
                waiting.append((position, draft))
        for _, group in itertools.groupby(waiting, key=lambda one: one[1].happened_on):
            fresh += self._plan_day(list(group), books, farm)
        moves = write_rows(
            self,
            books,
            [(self._new_move(draft, contents[draft.key]), draft, plan) for _, draft, plan, _ in fresh],
        )
        for (position, _, plan, warnings), move in zip(fresh, moves, strict=True):
            results[position] = Posted(move, self._beyond(plan, books), warnings)
        by_key = {posted.move.key: posted for posted in results.values()}
        results.update({position: replace(by_key[key], is_replay=True) for position, key in repeated})
        return results

    def _plan_day(self, drafts: list[tuple[int, Draft]], books: Books, farm: FarmFacts) -> list[Planned]:
        """
        Plan the drafts of one day in the order given.

        The book knows no hours: an office move that the book does not hold waits for the others of its day, and
        is refused only when none of them helps.
        """
        planned: list[Planned] = []
        while drafts:
            short: list[tuple[int, Draft]] = []
            first: LedgerRefusal | None = None
            for position, draft in drafts:
                with of_draft(position):
                    warnings = self._warnings(draft, books, farm)
                    check_turtles_known(draft, books, self.store)
                    books.keep()
                    try:
                        plan = plan_draft(draft, books, self.booked_on(draft.happened_on))
                    except NotEnoughHeads as refusal:
                        books.put_back()
                        short.append((position, draft))
                        refusal.draft = position
                        first = first or refusal
                        continue
                planned.append((position, draft, plan, warnings + _come_back(plan) + _lost_sight(plan)))
            if first is not None and len(short) == len(drafts):
                raise first
            drafts = short
        return planned

    def _warnings(self, draft: Draft, books: Books, farm: FarmFacts) -> tuple[str, ...]:
        """Refuse in the office, and say at the bank, what the ponds' states and kinds speak against."""
        day = self.booked_on(draft.happened_on)
        kept_apart = check_kept_apart(draft, books, self.store, self.not_with, day)
        return kept_apart + check_states(draft, farm)

    def _books(self, days: set[dt.date], turtles: set[str], refs: set[Ref] | None = None) -> Books:
        """Return the locked cells, by day in the months of the animals' days and of their booking."""
        booked = {self.booked_on(day) for day in days}
        late = [day for day in days if self.booked_on(day) != day]
        return self.store.books(
            set(self.store.cell_ids) if refs is None else refs,
            {day.replace(day=1) for day in (*booked, *late)},
            turtles,
            late_from=min(late) if late else None,
        )

    def reverse(self, move: Move, *, key: uuid.UUID, note: str, content: str) -> Posted:
        """Post the reversal of a move that may be taken back by itself."""
        return self.reverse_checked(move, check_reversible, key=key, note=note, content=content)

    def reverse_checked(
        self, move: Move, check: Callable[[Move], None], *, key: uuid.UUID, note: str, content: str
    ) -> Posted:
        """Post the reversal of a move, once `check` has found nothing against it and its cells are locked."""
        check_text(note, "note", LONGEST_NOTE)
        entries, steps = self._load_original(move)
        turtles = {step.turtle for step in steps} | seen_in_haul_of(move)
        self.store.lock_with_turtles(_refs_of(entries, steps), turtles)
        if replay := self._standing({key}).get(key):
            return self._replay(replay, content)
        check(move)
        day = self.booked_on(move.happened_on)
        books = self._books({move.happened_on}, turtles)
        plan, moved_on = self._plan_reversal(move, entries, steps, turtles, books, day)
        if moved_on:
            raise TurtleElsewhere(
                f"This cannot be taken back: turtle {', '.join(sorted(moved_on))} has moved on since. "
                "Take that move back first, or correct this one instead."
            )
        for ref in sorted(_refs_of(entries, steps)):
            below = books.cells[ref].first_below_zero_from(day) if ref.is_pond else None
            if below is not None:
                spare = below[1]
                raise NotEnoughHeads(
                    f"This cannot be taken back: pond {ref.place} would hold {-spare} "
                    f"{books.words(ref, -spare).split(' ', 1)[1]} fewer than none by {below[0]}, because heads "
                    "it brought have left since. Correct the move instead, or take the later moves back first."
                )
            if ref.is_pond and books.cells[ref].lowest_unmarked_from(day) < 0:
                raise TurtleElsewhere(
                    f"This cannot be taken back: more turtles are marked in pond {ref.place} than it would hold. "
                    "Correct the move instead."
                )
        check_not_into_retired(entries, books)
        written = self._write_one(self._new_reversal(move, key, content, note), None, plan, books)
        write_last_seen(turtles)
        return written

    def correct(self, move: Move, draft: Draft, *, content: str) -> Posted:
        """Post the reversal of a move and its replacement as one."""
        draft = with_own_codes(with_numbers(draft), move)
        farm = self._know([draft])
        entries, steps = self._load_original(move)
        in_original = {step.turtle for step in steps} | seen_in_haul_of(move)
        turtles = in_original | set(turtles_named(draft))
        touched = _refs_of(entries, steps)
        refs = {ref for ref in refs_of_draft(draft) if self._is_known(ref)}
        refs |= with_fill(touched) if draft.made_as == "BANK" else touched
        self.store.lock_with_turtles(refs, turtles, also=kept_apart_refs([draft], self.store, self.not_with))
        if replay := self._standing({draft.key}).get(draft.key):
            return self._replay(replay, content)
        check_draft(draft, farm)
        take_in_batches(draft, farm.batches)
        check_put_on([(0, draft)])
        check_reversible(move)
        back_on, day = self.booked_on(move.happened_on), self.booked_on(draft.happened_on)
        books = self._books({move.happened_on, draft.happened_on}, turtles)
        reversal, moved_on = self._plan_reversal(move, entries, steps, in_original, books, back_on)
        warnings = self._warnings(draft, books, farm)
        check_turtles_known(draft, books, self.store)
        plan = plan_draft(draft, books, day, also_touched=touched, moved_on=moved_on)
        check_net(touched, books, back_on)
        note = f"Replaced by the move {draft.key}."
        replacement = self._new_move(draft, content)
        replacement.replaces = move
        written = write_rows(
            self,
            books,
            [
                (self._new_reversal(move, reversal_key(draft.key), content, note), None, reversal),
                (replacement, draft, plan),
            ],
        )
        write_last_seen(in_original)
        return Posted(written[1], self._beyond(plan, books), warnings + _come_back(plan) + _lost_sight(plan))

    # What is looked up

    def _know(self, drafts: Sequence[Draft]) -> FarmFacts:
        farm = read_farm(drafts, self.store, self.today)
        self.first_open = first_open_day(self.store.last_closed)
        self.not_with = farm.not_with
        return farm

    def _is_known(self, ref: Ref) -> bool:
        """Say whether there can be such a cell; a draft that names another one is refused by the rules."""
        place_known = ref.place in self.store.pond_ids or ref.place in OUTSIDE
        return place_known and ref.kind in self.store.kind_ids and ref.of_class in CLASSES

    @staticmethod
    def _standing(keys: set[uuid.UUID]) -> dict[uuid.UUID, Move]:
        taken = ledger_sql.keys_taken(keys)
        return {move.key: move for move in Move.objects.filter(key__in=taken)} if taken else {}

    @staticmethod
    def _replay(move: Move, content: str) -> Posted:
        if move.content_sha256 != content:
            raise key_reused(move.key)
        return Posted.again(move)

    def _load_original(self, move: Move) -> tuple[list[PlannedEntry], list[PlannedStep]]:
        ref_of = self.store.ref_of
        entries = [
            PlannedEntry(ref_of(row[4:11]), ref_of(row[11:]), row[0], row[1], row[2], row[3] or "")
            for row in ledger_sql.entries_of(move.pk)
        ]
        steps = [
            # The id of a cell's kind is null where there is no cell.
            PlannedStep(
                turtle,
                ref_of(cells[:7]) if cells[3] is not None else None,
                ref_of(cells[7:]) if cells[10] is not None else None,
                how,
                booked_on,
            )
            for turtle, how, booked_on, *cells in ledger_sql.steps_of(move.pk)
        ]
        return entries, steps

    # What is made

    def _plan_reversal(
        self,
        move: Move,
        entries: list[PlannedEntry],
        steps: list[PlannedStep],
        turtles: set[str],
        books: Books,
        day: dt.date,
    ) -> tuple[Plan, set[str]]:
        """
        Return the entries and steps back, having moved `books` along, and the turtles that stay.

        `turtles` are all that it had in hand: they were seen last when they were without it.

        A turtle stays where it is when a later move followed on the step: later whereabouts hold. One that
        only went out of sight and was found since is no hindrance and is not named.
        """
        plan = Plan()
        moved_on: set[str] = set()
        for entry in entries:
            back = PlannedEntry(
                entry.target, entry.source, entry.heads, entry.reason, entry.cause, entry.batch
            )
            books.apply(back, day, move.happened_on)
            plan.entries.append(back)
        for step in reversed(steps):
            turtle = books.turtles[step.turtle]
            back_on = max(day, step.booked_on)
            # By its place alone a turtle that left and came back would seem never to have moved.
            if step.turtle in moved_on or turtle.at != step.target or turtle.since > back_on:
                if step.how != "NOT_KNOWN":
                    moved_on.add(step.turtle)
                continue
            back_step = PlannedStep(step.turtle, step.target, step.source, "REVERSED", back_on, is_seen=False)
            books.step(back_step, move.happened_on)
            plan.steps.append(back_step)
        went_back = {step.turtle for step in plan.steps}
        for code, since in self.store.since_without(move.pk, went_back).items() if went_back else ():
            books.turtles[code].since = since
        see_without(move, turtles, books)
        return plan, moved_on

    def _new_move(self, draft: Draft, content: str) -> Move:
        return Move(
            key=draft.key,
            content_sha256=content,
            made_as=draft.made_as,
            pond_id=self.store.pond_ids[draft.pond] if draft.pond else None,
            happened_on=draft.happened_on,
            booked_on=self.booked_on(draft.happened_on),
            by=self.by,
            by_name=self.by_name,
            note=draft.note,
            # Left to the database; given, so that no default is made for each of a sheet's moves.
            recorded_at=None,  # type: ignore[misc]
        )

    def _new_reversal(self, move: Move, key: uuid.UUID, content: str, note: str) -> Move:
        return Move(
            key=key,
            content_sha256=content,
            made_as="REVERSAL",
            pond_id=move.pond_id,
            happened_on=move.happened_on,
            booked_on=self.booked_on(move.happened_on),
            by=self.by,
            by_name=self.by_name,
            note=note,
            reverses=move,
        )

    def _write_one(self, move: Move, draft: Draft | None, plan: Plan, books: Books) -> Posted:
        return Posted(write_rows(self, books, [(move, draft, plan)])[0], self._beyond(plan, books))

    @staticmethod
    def _beyond(plan: Plan, books: Books) -> tuple[Beyond, ...]:
        return tuple(
            Beyond(
                entry.target.place,
                books.kind_names.get(entry.target.kind, entry.target.kind),
                entry.target.of_class,
                entry.heads,
            )
            for entry in plan.entries
            if entry.reason == "BEYOND_BOOK" and entry.target.is_pond
        )


def _come_back(plan: Plan) -> tuple[str, ...]:
    """Say of each marked turtle that the book had dead or gone that it is back."""
    return tuple(
        f"Turtle {step.turtle} was booked {step.source.place.lower()} before; it is in the register again."
        for step in plan.steps
        if step.source is not None
        and not step.source.is_pond
        and (step.target is None or step.target.is_pond)
    )


def _lost_sight(plan: Plan) -> tuple[str, ...]:
    """Name the marked turtles whose whereabouts are not known since this move, by the cell they were in."""
    lost: dict[Ref, list[str]] = {}
    for step in plan.steps:
        if step.how == "NOT_KNOWN" and step.source is not None:
            lost.setdefault(step.source, []).append(step.turtle)
    return tuple(
        f"Pond {ref.place} keeps fewer {CLASS_WORDS[ref.of_class][1]} than were marked there, and nobody scanned "
        f"which went: the whereabouts of turtle {', '.join(codes)} (longest unseen) are not known now."
        for ref, codes in lost.items()
    )


def _refs_of(entries: list[PlannedEntry], steps: list[PlannedStep]) -> set[Ref]:
    refs = {ref for entry in entries for ref in (entry.source, entry.target)}
    refs |= {ref for step in steps for ref in (step.source, step.target) if ref is not None}
    return refs
