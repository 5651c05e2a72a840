"""What `check_ledger` proves of marked turtles: places, marks, sex, and that nobody has a code twice. Reads only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

from django.db.models import Count, Exists, F, Max, Min, OuterRef, Q, Sum

from stock.models import HaulLine, HaulTurtle, Mark, MarkEvent, MarkStep, SexStep, Turtle

ROWS_AT_ONCE = 5000
ENDS = ("LOST", "REMOVED", "MISTAKEN")


def differences(names: Mapping[int | None, str]) -> Iterator[str]:
    """Yield a sentence for each thing about marked turtles that does not hold."""
    yield from _places(names)
    yield from _last_seen()
    yield from _kinds(names)
    yield from _entries(names)
    yield from _reversals()
    yield from _hauls()
    yield from _marks()
    yield from _sex()


def _places(names: Mapping[int | None, str]) -> Iterator[str]:
    """Each marked turtle's steps must join up, and end where the register says it stands."""
    at: dict[int, int | None] = {}
    steps = MarkStep.objects.order_by("pk").values_list(
        "pk", "turtle_id", "turtle__code", "source_id", "target_id"
    )
    for pk, turtle, code, source, target in steps.iterator(chunk_size=ROWS_AT_ONCE):
        if at.get(turtle) != source:
            yield (
                f"Turtle {code}: step {pk} leaves {names.get(source, 'nowhere')}, but the turtle stood in "
                f"{names.get(at.get(turtle), 'no place known')}."
            )
        at[turtle] = target
    for pk, code, cell in Turtle.objects.values_list("pk", "code", "cell_id").iterator(
        chunk_size=ROWS_AT_ONCE
    ):
        if at.get(pk) != cell:
            yield (
                f"Turtle {code}: the register says {names.get(cell, 'no place known')}; its steps lead to "
                f"{names.get(at.get(pk), 'no place known')}."
            )


def _last_seen() -> Iterator[str]:
    """
    A turtle was first marked on the first day of its marking steps that hold (of all, where none does), and last seen
    then or on the latest day of its steps in hand and hauls that hold.
    """
    marked = (
        MarkStep.objects.filter(how="MARKED").values_list("turtle").annotate(first=Min("move__happened_on"))
    )
    first: dict[int, dt.date] = dict(marked) | dict(marked.filter(move__reversed_by=None))
    seen = dict(first)
    in_hand = MarkStep.objects.filter(how__in=["MARKED", "MOVED", "SEEN", "FOUND"], move__reversed_by=None)
    in_hauls = HaulTurtle.objects.filter(haul__move__reversed_by=None)
    for rows, day in ((in_hand, "move__happened_on"), (in_hauls, "haul__happened_on")):
        for turtle, last in rows.values_list("turtle").annotate(last=Max(day)):
            seen[turtle] = max(last, seen.get(turtle, last))
    rows_of_all = Turtle.objects.values_list("pk", "code", "last_seen_on", "first_marked_on")
    for pk, code, last_on, first_on in rows_of_all.iterator(chunk_size=ROWS_AT_ONCE):
        if seen.get(pk, last_on) != last_on:
            yield f"Turtle {code}: last seen on {last_on} by the register, on {seen[pk]} by its moves and hauls."
        if first.get(pk, first_on) != first_on:
            yield f"Turtle {code}: first marked on {first_on} by the register, on {first[pk]} by its moves."


def _kinds(names: Mapping[int | None, str]) -> Iterator[str]:
    """A turtle stays of its kind wherever it goes."""
    for side in ("source", "target"):
        wrong = MarkStep.objects.filter(**{f"{side}__isnull": False}).exclude(
            **{f"{side}__kind": F("turtle__kind")}
        )
        for step in wrong.select_related("turtle"):
            yield (
                f"Turtle {step.turtle.code}: step {step.pk} is in {names[getattr(step, f'{side}_id')]}, "
                "a cell of another kind."
            )
    for mark in Mark.objects.exclude(kind=F("turtle__kind")).select_related("turtle"):
        yield f"Turtle {mark.turtle.code}: its mark {mark.pk} is held among those of another kind."


def _entries(names: Mapping[int | None, str]) -> Iterator[str]:
    """A step that goes with an entry ends where the entry does, and no entry names more turtles than heads."""
    named = MarkStep.objects.filter(entry__isnull=False)
    for step in named.exclude(target=F("entry__target"), move=F("entry__move")).select_related("turtle"):
        yield (
            f"Turtle {step.turtle.code}: step {step.pk} leads to {names.get(step.target_id, 'nowhere')}, which is "
            "not where its entry goes."
        )
    crowded = named.values_list("entry", "entry__heads").annotate(turtles=Count("pk"))
    for entry, heads, turtles in crowded.filter(turtles__gt=F("entry__heads")):
        yield f"Entry {entry} moves {heads} heads but names {turtles} marked turtles."
    for step in MarkStep.objects.exclude(booked_on__gte=F("move__booked_on")).select_related("turtle"):
        yield f"Turtle {step.turtle.code}: step {step.pk} is booked before its move."


def _reversals() -> Iterator[str]:
    """A reversal only takes back steps of the move it reverses, and each once."""
    taken_back = MarkStep.objects.filter(how="REVERSED")
    for step in taken_back.filter(move__reverses=None).select_related("turtle"):
        yield f"Turtle {step.turtle.code}: step {step.pk} is taken back by a move that is no reversal."
    pairs = taken_back.filter(move__reverses__isnull=False).values_list(
        "pk", "turtle__code", "move__reverses", "turtle_id", "source_id", "target_id"
    )
    originals: dict[tuple, int] = {}
    rows = MarkStep.objects.filter(move__reversed_by__isnull=False).values_list(
        "move", "turtle_id", "target_id", "source_id"
    )
    for done in rows.iterator(chunk_size=ROWS_AT_ONCE):
        originals[done] = originals.get(done, 0) + 1
    for pk, code, *undone in pairs.iterator(chunk_size=ROWS_AT_ONCE):
        if originals.get(tuple(undone), 0) < 1:
            yield f"Turtle {code}: step {pk} takes back what its move did not do."
        else:
            originals[tuple(undone)] -= 1


def _hauls() -> Iterator[str]:
    """No haul brought more named turtles than marked heads."""
    for rows, column, words in (
        (HaulTurtle.objects.filter(is_new=False), "carrying_marks", "carrying marks"),
        (HaulTurtle.objects.filter(is_new=True), "newly_marked", "newly marked"),
    ):
        caught = dict(
            HaulLine.objects.filter(haul__in=rows.values("haul"))
            .values_list("haul")
            .annotate(all=Sum(column))
        )
        for haul, turtles in rows.values_list("haul").annotate(turtles=Count("pk")):
            if turtles > (heads := caught.get(haul) or 0):
                yield f"Haul {haul} names {turtles} turtles {words}, but its catch has {heads}."


def _marks() -> Iterator[str]:
    """A turtle that carries no mark any more is not among the marked of a pond, unless it was met there since."""
    events = MarkEvent.objects.filter(Q(move=None) | Q(move__reversed_by=None), what__in=[*ENDS, "RENEWED"])
    rows = events.order_by("happened_on", "pk").values_list("mark", "what", "recorded_at")
    latest = {mark: (what, written) for mark, what, written in rows}
    ended = {mark: written for mark, (what, written) in latest.items() if what in ENDS}
    if not ended:
        return
    touched = Mark.objects.filter(
        turtle__in=Mark.objects.filter(pk__in=ended).values("turtle"), turtle__cell__pond__isnull=False
    )
    last_end: dict[str, dt.datetime] = {}
    carries: set[str] = set()
    for pk, code in touched.values_list("pk", "turtle__code"):
        if pk in ended:
            last_end[code] = max(ended[pk], last_end.get(code, ended[pk]))
        else:
            carries.add(code)
    bare = sorted(set(last_end) - carries)
    placed = MarkStep.objects.filter(turtle__code__in=bare).values_list("turtle__code")
    placed_at = dict(placed.annotate(last=Max("move__recorded_at")))
    for code in bare:
        if code not in placed_at or placed_at[code] < last_end[code]:
            yield f"Turtle {code} stands among the marked, but all its marks are lost or taken off."
    by_move = MarkEvent.objects.filter(move__isnull=False).select_related("mark__turtle")
    gone = MarkStep.objects.filter(
        how__in=["LOST_MARKS", "REVERSED"], move=OuterRef("move"), turtle=OuterRef("mark__turtle")
    )
    for event in by_move.filter(~Exists(gone)):
        yield (
            f"Turtle {event.mark.turtle.code}: its mark {event.mark_id} went by move {event.move_id}, which did not "
            "take the turtle out of the marked."
        )


def _sex() -> Iterator[str]:
    """A turtle's sex is what its latest step says."""
    said = dict(SexStep.objects.order_by("sexed_on", "pk").values_list("turtle_id", "sex"))
    for pk, code, sex in Turtle.objects.values_list("pk", "code", "sex").iterator(chunk_size=ROWS_AT_ONCE):
        if said.get(pk, "INDETERMINATE") != sex:
            yield f"Turtle {code}: the register says {sex.lower()}; its steps say {said.get(pk, 'nothing').lower()}."
