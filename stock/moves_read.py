"""The read side of moves: a move with all that belongs to it, its state, and who may take it back."""

from __future__ import annotations

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from ponds.roles import HAND, OWNER, role_of
from ponds.svg_marks import day_text
from stock.ledger import first_open_booking_day
from stock.models import Cell, Entry, MarkStep, Move
from stock.move_words import Part, sentence

CELLS = ("source__pond", "source__kind", "target__pond", "target__kind", "batch")
LONGEST_SENTENCE = 6
# Steps of a move that moves no head by itself.
ALONE = (MarkStep.How.MARKED, MarkStep.How.LOST_MARKS)


def entries_in_order() -> QuerySet[Entry]:
    return Entry.objects.select_related(*CELLS).order_by("line")


def with_entries(moves: QuerySet[Move]) -> QuerySet[Move]:
    """Load moves with what a row of the list shows: three queries for any number of moves."""
    # A move may mark a turtle and move no head: the turtles it is about come along in the same query.
    alone = MarkStep.objects.filter(move=OuterRef("pk"), how__in=ALONE)
    return (
        moves.select_related("pond", "haul", "reverses", "replaces", "reversed_by", "replaced_by")
        .prefetch_related(Prefetch("entries", queryset=entries_in_order()), "haul__lines")
        .annotate(
            mark_how=Subquery(alone.order_by("pk").values("how")[:1]),
            mark_first=Subquery(alone.order_by("pk").values("turtle__code")[:1]),
            mark_last=Subquery(alone.order_by("-pk").values("turtle__code")[:1]),
        )
    )


def place_of(cell: Cell) -> str:
    return cell.pond.code if cell.pond else cell.outside


def part_of(entry: Entry) -> Part:
    """Return an entry, loaded by `entries_in_order`, in plain words."""
    return Part(
        source=place_of(entry.source),
        target=place_of(entry.target),
        kind=entry.source.kind.common_name,
        of_class=entry.source.of_class,
        to_class=entry.target.of_class,
        heads=entry.heads,
        reason=entry.reason,
        cause=entry.cause,
        batch=entry.batch.code if entry.batch else "",
    )


def move_sentence(move: Move) -> str:
    """Say what a move did; a haul of which everything went back says so."""
    parts = [part_of(entry) for entry in move.entries.all()]
    said = sentence(parts[:LONGEST_SENTENCE])
    if len(parts) > LONGEST_SENTENCE:
        said += f"; and {len(parts) - LONGEST_SENTENCE} more"
    haul = getattr(move, "haul", None)
    if haul is not None:
        caught = sum(line.caught for line in haul.lines.all())
        back = "" if said else ", all back"
        said = f"{caught} caught{back}" + (f": {said}" if said else "")
    if not said and move.reverses_id is not None:
        return "the haul below is taken back"
    return said or _marks_sentence(move) or "nothing moved"


def _marks_sentence(move: Move) -> str:
    """Say which turtles a move without heads, loaded by `with_entries`, marked or took out of the marked."""
    first, last = getattr(move, "mark_first", None), getattr(move, "mark_last", None)
    if not first:
        return ""
    who = f"turtle {first}" if first == last else f"turtles {first} to {last}"
    at = f" in {move.pond.code}" if move.pond else ""
    if getattr(move, "mark_how", "") == MarkStep.How.MARKED:
        return f"{who} marked{at}"
    return f"{who} {'carries no mark' if first == last else 'carry no marks'} any more"


def state_of(move: Move) -> tuple[str, str]:
    """Return a move's state in words and the tag that goes with it."""
    if move.reverses_id is not None:
        return "reversal", "tag-warn"
    if (back := getattr(move, "reversed_by", None)) is not None:
        corrected = getattr(move, "replaced_by", None)
        return ("corrected" if corrected is not None else "reversed"), "tag-bad" if back else ""
    return ("correction", "tag-good") if move.replaces_id is not None else ("stands", "")


def why_not_taken_back(move: Move, user) -> str:
    """Say why a person may not reverse or correct a move, "" where they may."""
    if move.reverses_id is not None:
        return "This is a reversal; a reversal is never taken back. Log the move again instead."
    if move.made_as == Move.MadeAs.COUNT:
        return "This reset the book to a count: take that count back, under Counts, and it goes with it."
    if getattr(move, "reversed_by", None) is not None:
        return f"The move of {day_text(move.happened_on)} was taken back already."
    role = role_of(user)
    if role == OWNER:
        return ""
    if role != HAND:
        return "Only an owner or a hand may take a move back."
    if move.by_id != user.pk:
        return (
            f"This move was logged by {move.by_name}. You may take back your own; ask an owner for this one."
        )
    if move.booked_on < first_open_booking_day():
        return f"{move.booked_on:%B %Y} is closed. Ask an owner to take this move back."
    return ""
