"""Turn a draft into entries: what fills a gap at the bank, and what is refused in the office. Pure.

Facts at the bank are never refused for want of book. What exceeds a cell comes first from the unsexed of
that pond and kind, then from "unseen" (beyond the book, flagged for review).
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Iterable, Mapping, Set
from dataclasses import dataclass, field
from typing import NamedTuple

from ponds.svg_marks import day_text
from stock.drafts import Draft, Line, turtles_named
from stock.refusals import BadLine, NotEnoughHeads, NothingToPost, TurtleElsewhere, WhichTurtles
from stock.timeline import CellDays

CLASS_WORDS = {
    "FEMALE": ("female", "females"),
    "MALE": ("male", "males"),
    "UNSEXED": ("unsexed", "unsexed"),
    "JUVENILE": ("juvenile", "juveniles"),
}
CLASS_ORDER = {"FEMALE": 0, "MALE": 1, "UNSEXED": 2, "JUVENILE": 3}
OUTSIDE_REASONS = {
    "OPENING": "OPENING",
    "BOUGHT": "BOUGHT",
    "RAISED": "RAISED",
    "WILD": "WILD",
    "DIED": "DIED",
    "SOLD": "SOLD",
    "CULLED": "CULLED",
    "ESCAPED": "ESCAPED",
}


class Ref(NamedTuple):
    """One cell by name: a place, a kind's code, a class."""

    place: str
    kind: str
    of_class: str

    @property
    def is_pond(self) -> bool:
        return len(self.place) <= 3


@dataclass(frozen=True)
class PlannedEntry:
    source: Ref
    target: Ref
    heads: int
    reason: str
    cause: str = ""
    batch: str = ""


@dataclass(frozen=True)
class PlannedStep:
    """A marked turtle's step; `entry` is the index of the entry it goes with, or None."""

    turtle: str
    source: Ref | None
    target: Ref | None
    how: str
    booked_on: dt.date
    entry: int | None = None
    is_seen: bool = True


@dataclass
class Plan:
    entries: list[PlannedEntry] = field(default_factory=list)
    steps: list[PlannedStep] = field(default_factory=list)


@dataclass
class MarkedHead:
    """Where a marked turtle stands, when it came there by the book, and when it was last seen."""

    code: str
    kind: str
    at: Ref | None
    since: dt.date
    last_seen_on: dt.date


@dataclass(frozen=True)
class LateChange:
    """Heads that came or went (below 0) on one day and were booked on a later one, after a month close."""

    happened_on: dt.date
    booked_on: dt.date
    heads: int


@dataclass
class Books:
    """The cells a posting touches, as they stand while it is planned; planning moves them along."""

    cells: dict[Ref, CellDays]
    turtles: dict[str, MarkedHead] = field(default_factory=dict)
    kind_names: Mapping[str, str] = field(default_factory=dict)
    load_standing: Callable[[Ref], list[MarkedHead]] = lambda ref: []
    late: dict[Ref, list[LateChange]] = field(default_factory=dict)
    _undo: list[Callable[[], object]] = field(default_factory=list)

    def standing(self, ref: Ref) -> list[MarkedHead]:
        """Return the marked turtles that stand in a cell, longest unseen first; read only when needed."""
        for turtle in self.load_standing(ref):
            self.turtles.setdefault(turtle.code, turtle)
        return sorted(
            (turtle for turtle in self.turtles.values() if turtle.at == ref),
            key=lambda turtle: (turtle.last_seen_on, turtle.code),
        )

    def stood(self, ref: Ref, day: dt.date) -> int:
        """Return the heads that stood in a cell at the end of a day, by the animals' days.

        It is the book's balance but for what happened by then and was booked later, after a month close.
        """
        return self.cells[ref].balance(day) + sum(
            change.heads for change in self.late.get(ref, ()) if change.happened_on <= day < change.booked_on
        )

    def apply(self, entry: PlannedEntry, day: dt.date, happened_on: dt.date) -> None:
        """Move an entry's heads, booked on `day`."""
        for ref, heads in ((entry.source, -entry.heads), (entry.target, entry.heads)):
            cell = self.cells[ref]
            cell.add(day, heads)
            self._undo.append(functools.partial(cell.add, day, -heads))
            if happened_on != day:
                changes = self.late.setdefault(ref, [])
                changes.append(LateChange(happened_on, day, heads))
                self._undo.append(changes.pop)

    def step(self, step: PlannedStep, seen_on: dt.date) -> None:
        """Move a marked turtle."""
        for ref, marked in ((step.source, -1), (step.target, 1)):
            if ref is not None:
                cell = self.cells[ref]
                cell.add(step.booked_on, 0, marked)
                self._undo.append(functools.partial(cell.add, step.booked_on, 0, -marked))
        turtle = self.turtles[step.turtle]
        self._undo.append(functools.partial(_put_back, turtle, turtle.at, turtle.since, turtle.last_seen_on))
        turtle.at, turtle.since = step.target, step.booked_on
        if step.is_seen:
            turtle.last_seen_on = max(turtle.last_seen_on, seen_on)

    def see(self, code: str, seen_on: dt.date) -> None:
        """Note that a marked turtle was in hand on a day."""
        turtle = self.turtles[code]
        self._undo.append(functools.partial(_put_back, turtle, turtle.at, turtle.since, turtle.last_seen_on))
        turtle.last_seen_on = max(turtle.last_seen_on, seen_on)

    def keep(self) -> None:
        """Keep what was moved so far, whatever is refused later."""
        self._undo.clear()

    def put_back(self) -> None:
        """Take back everything moved since `keep`: a draft was refused half-way."""
        while self._undo:
            self._undo.pop()()

    def words(self, ref: Ref, heads: int) -> str:
        """Return "12 slider females", "1 slider female"."""
        singular, plural = CLASS_WORDS[ref.of_class]
        return f"{heads} {self.kind_names.get(ref.kind, ref.kind)} {singular if heads == 1 else plural}"


def _put_back(turtle: MarkedHead, at: Ref | None, since: dt.date, last_seen_on: dt.date) -> None:
    turtle.at, turtle.since, turtle.last_seen_on = at, since, last_seen_on


def refs_of_line(line: Line) -> tuple[Ref, Ref]:
    """Return the cells a line joins."""
    return (
        Ref(line.source, line.kind, line.of_class),
        Ref(line.target, line.kind, line.to_class or line.of_class),
    )


def reason_of_line(line: Line) -> str:
    """Return the entry's reason: it follows from the places and classes joined."""
    if line.to_class:
        return "MATURED" if line.of_class == "JUVENILE" else "SEXED"
    return OUTSIDE_REASONS.get(line.source) or OUTSIDE_REASONS.get(line.target) or "MOVED"


def refs_of_draft(draft: Draft) -> set[Ref]:
    """Return every cell that planning this draft may touch, marked turtles' own cells aside."""
    refs = {ref for line in draft.lines for ref in refs_of_line(line)}
    refs |= {Ref(mark.pond, mark.kind, mark.of_class) for mark in draft.marks}
    refs |= {Ref(draft.pond, one.kind, one.of_class) for one in draft.seen}
    if draft.haul is not None:
        refs |= {Ref(draft.pond, caught.kind, caught.of_class) for caught in draft.haul.lines}
    return with_fill(refs) if draft.made_as == "BANK" else refs


def with_fill(refs: Iterable[Ref]) -> set[Ref]:
    """Return the cells with those that a gap in one of them is filled from."""
    filled = set(refs)
    for ref in list(filled):
        if ref.is_pond:
            filled.add(Ref(ref.place, ref.kind, "UNSEXED"))
            filled.add(Ref("UNSEEN", ref.kind, ref.of_class))
            filled.add(Ref("UNSEEN", ref.kind, "UNSEXED"))
    return filled


def plan_draft(
    draft: Draft,
    books: Books,
    day: dt.date,
    *,
    also_touched: Iterable[Ref] = (),
    moved_on: Set[str] = frozenset(),
) -> Plan:
    """
    Return the entries and marked turtles' steps of a draft, having moved `books` along.

    Parameters
    ----------
    draft : Draft
        Validated for shape (places, kinds, classes, counts).
    books : Books
        Every cell of `refs_of_draft`, by day from `day` on. Left half-moved when a refusal is raised.
    day : date
        The day the move is booked on.
    also_touched : iterable of Ref
        Cells that a reversal posted with this draft has moved already: they are checked with it.
    moved_on : set of str
        Marked turtles whose steps the reversal left as they are, because later moves followed on them.

    Raises
    ------
    NothingToPost, NotEnoughHeads, WhichTurtles, TurtleElsewhere
        The first where nothing would come of it, the others for what is not a fact at the bank.
    """
    at_bank = draft.made_as == "BANK"
    proved = set(_handled(draft)) | {ref for ref, _ in map(refs_of_line, draft.lines) if ref.is_pond}
    before = {ref: books.stood(ref, draft.happened_on) for ref in proved} if at_bank else {}
    plan = Plan()
    for index, line in enumerate(draft.lines):
        _plan_line(index, line, draft, books, day, plan, moved_on)
    _plan_marks(draft, books, day, plan, moved_on)
    _plan_seen(draft, books, day, plan, moved_on)
    _plan_lost_marks(draft, books, day, plan)
    touched = {ref for entry in plan.entries for ref in (entry.source, entry.target)}
    touched |= {Ref(mark.pond, mark.kind, mark.of_class) for mark in draft.marks}
    touched |= {ref for step in plan.steps for ref in (step.source, step.target) if ref is not None}
    touched |= set(also_touched) | set(_handled(draft))
    ponds = sorted((ref for ref in touched if ref.is_pond), key=_fill_order)
    if at_bank:
        for ref in ponds:
            _fill(ref, draft, books, day, before, plan)
    else:
        for ref in ponds:
            _refuse_if_short(ref, draft, books, day)
    named = set(turtles_named(draft))
    for ref in sorted({ref for entry in plan.entries for ref in (entry.source, entry.target)} | set(ponds)):
        if ref.is_pond:
            _keep_marks_within(ref, draft, books, day, plan, named)
    if not (plan.entries or plan.steps or draft.haul or draft.counts):
        codes = ", ".join(dict.fromkeys(turtles_named(draft)))
        raise NothingToPost(
            f"The book follows {codes} on a day after {day_text(day)} already, and later whereabouts "
            "hold: nothing is left "
            "to post. Log the mark on the day it was seen last, or leave it out.",
            field="mark",
        )
    return plan


def _plan_line(
    index: int, line: Line, draft: Draft, books: Books, day: dt.date, plan: Plan, moved_on: Set[str]
) -> None:
    source, target = refs_of_line(line)
    entry = PlannedEntry(source, target, line.heads, reason_of_line(line), line.cause, line.batch)
    books.apply(entry, day, draft.happened_on)
    plan.entries.append(entry)
    if len(line.turtles) > line.heads:
        raise BadLine(
            f"The line names {len(line.turtles)} marked turtles but moves {line.heads}. "
            "Raise the number of heads or name fewer turtles.",
            line=index,
        )
    for code in line.turtles:
        turtle = books.turtles[code]
        if code in moved_on:
            continue
        if draft.made_as != "BANK" and (turtle.at != source or turtle.since > day):
            where = f"in pond {turtle.at.place}" if turtle.at and turtle.at.is_pond else "not in a pond"
            raise TurtleElsewhere(
                f"Turtle {code} stands {where} by the register, not in pond {line.source}. "
                "Name another turtle, or log the move at the bank if it was handled there.",
                line=index,
            )
        if turtle.since > day:
            continue  # it was seen elsewhere since: the later whereabouts hold
        step = PlannedStep(code, turtle.at, target, "MOVED", day, len(plan.entries) - 1)
        books.step(step, draft.happened_on)
        plan.steps.append(step)


def _plan_marks(draft: Draft, books: Books, day: dt.date, plan: Plan, moved_on: Set[str]) -> None:
    placed = {code for line in draft.lines for code in line.turtles}
    for mark in draft.marks:
        turtle = books.turtles[mark.code]
        if turtle.since > day or mark.code in moved_on:
            continue
        # One that a line took along was marked before it went: it stays where the line put it.
        target = turtle.at if mark.code in placed else Ref(mark.pond, mark.kind, mark.of_class)
        step = PlannedStep(mark.code, turtle.at, target, "MARKED", day)
        books.step(step, draft.happened_on)
        plan.steps.append(step)


def _plan_seen(draft: Draft, books: Books, day: dt.date, plan: Plan, moved_on: Set[str]) -> None:
    """Bring turtles in hand to where they were met; one that a line or a mark of the draft moves goes with that."""
    placed = {code for line in draft.lines for code in line.turtles} | {mark.code for mark in draft.marks}
    for one in draft.seen:
        turtle = books.turtles[one.code]
        met = Ref(draft.pond, one.kind, one.of_class)
        if draft.haul is not None:
            books.see(one.code, draft.happened_on)
        if one.code in placed or one.code in moved_on or turtle.since > day:
            continue
        # A haul keeps its own list of whom it brought; seen without one, the step alone tells of it.
        if turtle.at == met and draft.haul is not None:
            continue
        step = PlannedStep(one.code, turtle.at, met, "SEEN" if turtle.at == met else "FOUND", day)
        books.step(step, draft.happened_on)
        plan.steps.append(step)


def _plan_lost_marks(draft: Draft, books: Books, day: dt.date, plan: Plan) -> None:
    """Take turtles that carry no mark any more out of the marked; their heads stay."""
    for code in draft.lost_marks:
        turtle = books.turtles[code]
        if turtle.at is None or not turtle.at.is_pond or turtle.since > day:
            where = f"since {turtle.since}" if turtle.at is not None else "and its whereabouts are not known"
            raise TurtleElsewhere(
                f"Turtle {code} is not among the marked of a pond on {day_text(day)} ({where} by the register). "
                "Note on its page that its marks are lost, with a later day.",
                field="mark",
            )
        step = PlannedStep(code, turtle.at, None, "LOST_MARKS", day, is_seen=False)
        books.step(step, draft.happened_on)
        plan.steps.append(step)


def _handled(draft: Draft) -> dict[Ref, int]:
    """Heads in hand at the pond by cell: a haul proves them there, whatever became of them."""
    handled: dict[Ref, int] = {}
    if draft.haul is not None:
        for caught in draft.haul.lines:
            ref = Ref(draft.pond, caught.kind, caught.of_class)
            handled[ref] = handled.get(ref, 0) + caught.caught
    return handled


def _fill(ref: Ref, draft: Draft, books: Books, day: dt.date, before: dict[Ref, int], plan: Plan) -> None:
    """Bring up what the bank proves to have been there beyond the cell.

    What was in hand is held against what stood there on the animals' own day. For a late fact so is what left:
    a head that was gone from the book by then is not taken from those that came after.
    """
    cell = books.cells[ref]
    in_hand = _handled(draft).get(ref, 0)
    if draft.happened_on != day:
        in_hand = max(in_hand, sum(line.heads for line in draft.lines if refs_of_line(line)[0] == ref))
    sexed_into = sum(line.heads for line in draft.lines if line.to_class and refs_of_line(line)[1] == ref)
    short = max(0, -cell.lowest_from(day), in_hand - before[ref] - sexed_into if in_hand else 0)
    if not short:
        return
    if ref.of_class in ("FEMALE", "MALE"):
        unsexed = Ref(ref.place, ref.kind, "UNSEXED")
        taken = min(short, _unsexed_to_spare(unsexed, draft, books, day))
        if taken > 0:
            _post(PlannedEntry(unsexed, ref, taken, "SEXED"), draft, books, day, plan)
            short -= taken
    if short:
        unseen = Ref("UNSEEN", ref.kind, ref.of_class)
        _post(PlannedEntry(unseen, ref, short, "BEYOND_BOOK"), draft, books, day, plan)


def _unsexed_to_spare(unsexed: Ref, draft: Draft, books: Books, day: dt.date) -> int:
    """Unsexed heads not themselves in hand as unsexed, nor marked, on the day and on every later one."""
    cell = books.cells[unsexed]
    left = sum(line.heads for line in draft.lines if refs_of_line(line)[0] == unsexed)
    put_back = max(0, _handled(draft).get(unsexed, 0) - left)
    stood = books.stood(unsexed, draft.happened_on)
    return max(0, min(cell.lowest_from(day), cell.lowest_unmarked_from(day), stood - put_back))


def _keep_marks_within(
    ref: Ref, draft: Draft, books: Books, day: dt.date, plan: Plan, named: set[str]
) -> None:
    """See that marked heads never exceed the cell; at the bank the longest unseen are no longer known there."""
    cell = books.cells[ref]
    short = -cell.lowest_unmarked_from(day)
    if short <= 0:
        return
    standing = [turtle for turtle in books.standing(ref) if turtle.code not in named]
    if draft.made_as != "BANK":
        codes = ", ".join(turtle.code for turtle in standing[:8])
        raise WhichTurtles(
            f"Pond {ref.place} would keep fewer {CLASS_WORDS[ref.of_class][1]} than are marked there "
            f"({short} too few). Name which marked turtles go: {codes or 'none is known there'}."
        )
    for turtle in standing:
        if short <= 0:
            return
        if turtle.since > day:
            continue
        step = PlannedStep(turtle.code, ref, None, "NOT_KNOWN", day, is_seen=False)
        books.step(step, day)
        plan.steps.append(step)
        short = -cell.lowest_unmarked_from(day)
    if short > 0:
        # Marked heads that a later move proves were there: the book held too few, not too many.
        unseen = Ref("UNSEEN", ref.kind, ref.of_class)
        _post(PlannedEntry(unseen, ref, short, "BEYOND_BOOK"), draft, books, day, plan)


def _post(entry: PlannedEntry, draft: Draft, books: Books, day: dt.date, plan: Plan) -> None:
    books.apply(entry, day, draft.happened_on)
    plan.entries.append(entry)


def _fill_order(ref: Ref) -> tuple[str, str, int]:
    # Females and males first, since they may draw on the unsexed.
    return ref.place, ref.kind, CLASS_ORDER[ref.of_class]


def _refuse_if_short(ref: Ref, draft: Draft, books: Books, day: dt.date) -> None:
    cell = books.cells[ref]
    below = cell.first_below_zero_from(day)
    if below is None:
        return
    asked = sum(line.heads for line in draft.lines if refs_of_line(line)[0] == ref)
    first = next((i for i, line in enumerate(draft.lines) if refs_of_line(line)[0] == ref), None)
    raise NotEnoughHeads(
        shortage_sentence(ref, books, day, asked=asked, below=below), line=first, field="heads"
    )


def shortage_sentence(ref: Ref, books: Books, day: dt.date, *, asked: int, below: tuple[dt.date, int]) -> str:
    """Say what the book holds, what was asked, and the way out."""
    cell = books.cells[ref]
    on, after = below
    holds = max(0, cell.balance(day) + asked)
    spare = max(0, cell.lowest_from(day) + asked)
    if not asked:
        return (
            f"Pond {ref.place} would hold {-after} {books.words(ref, -after).split(' ', 1)[1]} fewer than none "
            f"by {day_text(on)}: moves booked by then took heads that this would no longer leave there. "
            "Correct those moves first, or leave the heads where they were."
        )
    if on == day:
        return (
            f"Pond {ref.place} holds {books.words(ref, holds)} by the book on {day_text(day)}; {asked} were asked for. "
            f"Ask for {spare} or fewer, or log the move at the bank if {asked} were handled there."
        )
    return (
        f"Pond {ref.place} holds {books.words(ref, holds)} by the book on {day_text(day)}, but moves "
        "booked later leave "
        f"only {spare} of them free ({-after} too few by {day_text(on)}); {asked} were asked for. "
        f"Ask for {spare} or fewer, date it later, or correct the later moves first."
    )
