"""Private to `stock/ledger.py`: what a posting refuses once the cells it touches are locked and read."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence

from ponds.models import Pond
from ponds.svg_marks import day_text
from stock.drafts import CLASSES, Draft
from stock.ledger_store import LONG_AGO, Store
from stock.models import Entry, Move
from stock.planning import CLASS_WORDS, Books, MarkedHead, PlannedEntry, Ref, shortage_sentence
from stock.refusals import (
    AlreadyOpened,
    AlreadyReversed,
    CannotReverse,
    KeptApart,
    KeyReused,
    LedgerRefusal,
    NotEnoughHeads,
    UnknownTurtle,
    WhichTurtles,
)

# Of each kind, those it is not kept with: code to name.
NotWith = Mapping[str, Mapping[str, str]]


def check_reversible(move: Move) -> None:
    if move.reverses_id is not None:
        raise CannotReverse("This is a reversal; a reversal is never taken back. Log the move again instead.")
    if move.made_as == "COUNT":
        raise CannotReverse(
            "This reset the book to a count: take that count back, under Counts, and it goes with it."
        )
    check_not_reversed(move)


def check_not_reversed(move: Move) -> None:
    if Move.objects.filter(reverses=move).exists():
        raise AlreadyReversed(
            f"The move of {day_text(move.happened_on)} was taken back by somebody already. See it under Moves."
        )


def take_in_batches(draft: Draft, seen: dict[str, str]) -> None:
    """Take the draft's batches in, so that later drafts of the same posting may name them."""
    for batch in draft.batches:
        if seen.get(batch.code, batch.source) != batch.source:
            raise LedgerRefusal(
                f"The batch code {batch.code} is in use for heads {seen[batch.code].lower()}. Use another code.",
                field="batch",
            )
        seen[batch.code] = batch.source


def kept_apart_refs(drafts: Sequence[Draft], store: Store, not_with: NotWith) -> set[Ref]:
    """Return the cells of kinds not kept with one that arrives, in the ponds it arrives in."""
    return {
        Ref(line.target, apart, of_class)
        for draft in drafts
        for line in draft.lines
        if line.target != line.source and line.target in store.pond_ids
        for apart in not_with.get(line.kind, {})
        for of_class in CLASSES
    }


def check_kept_apart(
    draft: Draft, books: Books, store: Store, not_with: NotWith, day: dt.date
) -> tuple[str, ...]:
    """Refuse in the office, and say at the bank, that two kinds are not kept together."""
    warnings = []
    for index, line in enumerate(draft.lines):
        if line.target == line.source or line.target not in store.pond_ids:
            continue
        brought = {
            other.kind
            for other in draft.lines
            if other.target == line.target and other.source != other.target
        }
        together = sorted(
            name
            for apart, name in not_with.get(line.kind, {}).items()
            if apart in brought or _stands(books, line.target, apart, day)
        )
        if not together:
            continue
        sentence = (
            f"{store.kind_names[line.kind]} is not kept together with {', '.join(together)}, "
            f"which stand in pond {line.target} or come into it."
        )
        if draft.made_as != "BANK":
            raise KeptApart(f"{sentence} Choose another pond.", line=index, field="target")
        warnings.append(sentence)
    return tuple(dict.fromkeys(warnings))


def check_openings(drafts: Sequence[tuple[int, Draft]], names: Mapping[str, str]) -> None:
    """Refuse to open a pond and kind a second time: its stock would stand in the book twice."""
    by_key = {draft.key: (position, draft) for position, draft in reversed(drafts)}
    openings = [one for one in drafts if one[1].made_as == "OPENING" and by_key[one[1].key] == one]
    if not openings:
        return
    ponds = {line.target for _, draft in openings for line in draft.lines}
    opened = {
        (pond, kind): day
        for pond, kind, day in Entry.objects.filter(
            reason="OPENING",
            target__pond__code__in=ponds,
            move__reverses=None,
            move__reversed_by=None,
        ).values_list("target__pond__code", "target__kind__code", "happened_on")
    }
    for position, draft in openings:
        cells = {(line.target, line.kind) for line in draft.lines}
        for pond, kind in sorted(cells & set(opened)):
            with of_draft(position):
                raise AlreadyOpened(
                    f"Pond {pond} was opened with {names[kind]} on {day_text(opened[pond, kind])} "
                    "already. Correct that "
                    "move, or take it back first; heads that came later are logged as bought, raised or from "
                    "the wild.",
                    field="pond",
                )
        opened.update(dict.fromkeys(cells, draft.happened_on))


def check_not_into_retired(entries: list[PlannedEntry], books: Books) -> None:
    """Refuse to leave heads in a pond that is out of use: no page would show them."""
    back_into = {entry.source for entry in entries if entry.source.is_pond}
    retired = dict(
        Pond.objects.filter(code__in={ref.place for ref in back_into}).values_list("code", "retired_on")
    )
    for ref in sorted(back_into):
        on = retired[ref.place]
        if on and books.cells[ref].latest() > 0:
            raise CannotReverse(
                f"This cannot be taken back: pond {ref.place} was retired on {day_text(on)}, and "
                f"{books.words(ref, books.cells[ref].latest())} would stand in it. Correct the move instead."
            )


def check_turtles_known(draft: Draft, books: Books, store: Store) -> None:
    new = {mark.code for mark in draft.marks}
    named: list[tuple[str, str, int | None]] = [
        (code, line.kind, index) for index, line in enumerate(draft.lines) for code in line.turtles
    ]
    named += [(one.code, one.kind, None) for one in draft.seen]
    for code, kind, index in named:
        turtle = books.turtles.get(code)
        if turtle is None and code not in new:
            raise UnknownTurtle(
                f"No turtle with the mark “{code}” is in the register. Check it, or add the turtle first.",
                line=index,
            )
        if turtle is not None and turtle.kind != kind:
            raise UnknownTurtle(
                f"Turtle {code} is a {store.kind_names.get(turtle.kind, turtle.kind)}, "
                f"not a {store.kind_names[kind]}.",
                line=index,
            )
    for code in draft.lost_marks:
        if code not in books.turtles:
            raise UnknownTurtle(f"No turtle has the number {code} in the register. Check it.", field="mark")
    for mark in draft.marks:
        if mark.code not in books.turtles and mark.code.isdigit():
            # Numbers are given by the register itself, in order.
            raise UnknownTurtle(
                f"No turtle has the number {mark.code} in the register. Check it, or mark it as a new turtle.",
                field="mark",
            )
        turtle = books.turtles.setdefault(
            mark.code, MarkedHead(mark.code, mark.kind, None, LONG_AGO, draft.happened_on)
        )
        if turtle.kind != mark.kind:
            raise UnknownTurtle(
                f"The mark {mark.code} belongs to a {store.kind_names.get(turtle.kind, turtle.kind)}, "
                f"not to a {store.kind_names[mark.kind]}. Use another code.",
                field="mark",
            )


def check_net(touched: set[Ref], books: Books, day: dt.date) -> None:
    """See that the reversal's own cells hold from its day on, once the replacement stands too."""
    for ref in sorted(ref for ref in touched if ref.is_pond):
        below = books.cells[ref].first_below_zero_from(day)
        if below is not None:
            raise NotEnoughHeads(shortage_sentence(ref, books, day, asked=0, below=below))
        if books.cells[ref].lowest_unmarked_from(day) < 0:
            raise WhichTurtles(
                f"Pond {ref.place} would hold fewer {CLASS_WORDS[ref.of_class][1]} than are marked there "
                f"between {day_text(day)} and the day of the corrected move. Correct the later moves first."
            )


def _stands(books: Books, pond: str, kind: str, day: dt.date) -> bool:
    """Say whether a kind stands in a pond on a day, or once everything booked has happened."""
    cells = [books.cells[ref] for ref in (Ref(pond, kind, one) for one in CLASSES) if ref in books.cells]
    return any(cell.balance(day) > 0 or cell.latest() > 0 for cell in cells)


class of_draft:
    """Put the number of the draft on a refusal raised inside."""

    def __init__(self, position: int) -> None:
        self.position = position

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind, refusal, trace) -> None:
        if isinstance(refusal, LedgerRefusal):
            refusal.draft = self.position


def key_reused(key: uuid.UUID) -> KeyReused:
    """Return the refusal of a key that stands for other content."""
    return KeyReused(
        f"Another move was posted with this key ({key}) before, with other content. "
        "Open the form anew and type the move again."
    )
