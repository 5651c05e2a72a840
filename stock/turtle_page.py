"""What one turtle's page shows: marks and their state, measures, growth, sex, whereabouts, hauls, papers, pictures.

Reads and writes nothing. Every table of the turtle is read once, whatever it holds.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from ponds.charts import Chart
from ponds.mending import why_not_mended
from ponds.svg_marks import figure_text
from stock.growth_chart import growth_chart
from stock.mark_ends import TAKEN_BACK, end_of, really_on, that_hold
from stock.marks import notch, shell
from stock.marks.measures import DEFINITIONS
from stock.marks.rims import rim_of
from stock.marks.wear import Reading, renotch_reasons
from stock.models import (
    HaulTurtle,
    Mark,
    MarkEvent,
    MarkStep,
    Measure,
    Paper,
    Photograph,
    SexStep,
    Turtle,
)
from stock.move_words import is_pond, place_words
from stock.moves_read import place_of
from stock.turtle_nests import NestOfHers, nests_of
from stock.turtle_notices import CameBack, came_back, class_differs, step_says
from stock.turtle_records import BOOK

LENGTHS = ("SCL_MAX", "SCL_MID", "PL_MAX", "PL_MID")
STEPS_SHOWN, HAULS_SHOWN = 60, 60
CELLS = ("source__pond", "target__pond", "source__kind", "target__kind")


@dataclass(frozen=True)
class MarkRow:
    """A mark with its title, code, what it says of itself, and whether it still stands."""

    mark: Mark
    title: str
    code: str
    words: str
    state: str
    tag_class: str
    is_standing: bool
    events: tuple[MarkEvent, ...]
    due: tuple[str, ...]
    others: tuple[Turtle, ...]
    was_on: bool


@dataclass(frozen=True)
class MeasureRow:
    """A measure as typed and in its stored unit, and whether the person may mend it."""

    row: Measure
    title: str
    typed: str
    stored: str
    may_mend: bool


@dataclass(frozen=True)
class StepRow:
    """One step of its way: day, words, and the move's address key."""

    step: MarkStep
    on: dt.date
    words: str


@dataclass(frozen=True)
class TurtlePage:
    """Everything the page says; see the fields."""

    turtle: Turtle
    where: str
    pond_code: str
    is_alive: bool
    in_hand_on: dt.date
    marks: tuple[MarkRow, ...]
    shell: str
    shell_scheme: str
    conflicts: tuple[MarkRow, ...]
    due: tuple[str, ...]
    sexes: tuple[SexStep, ...]
    measures: tuple[MeasureRow, ...]
    chart: Chart | None
    mass_chart: Chart | None
    steps: tuple[StepRow, ...]
    hauls: tuple[HaulTurtle, ...]
    papers: tuple[Paper, ...]
    photographs: tuple[tuple[Photograph, bool], ...]
    nests: tuple[NestOfHers, ...]
    came_back: CameBack | None
    class_differs: str


def find_turtle(number: int) -> Turtle | None:
    """Return a turtle by its number with what its page names; None where there is none."""
    return Turtle.objects.select_related("kind", "cell__pond", "batch").filter(pk=number).first()


def turtle_page(turtle: Turtle, *, by: Any, today: dt.date) -> TurtlePage:
    """Arrange a turtle for its page, for a person on a day."""
    measures = list(
        Measure.objects.standing()
        .filter(turtle=turtle)
        .select_related("by")
        .order_by("-measured_on", "what", "-pk")
    )
    marks = mark_rows(turtle, measures, today)
    standing = [row for row in marks if row.is_standing and row.mark.form == Mark.Form.NOTCH]
    drawing, scheme = _shell(turtle, standing)
    pictures = Photograph.objects.standing().filter(turtle=turtle).select_related("by")
    where, pond_code, is_alive = whereabouts(turtle)
    if turtle.cell is None and marks and not any(row.was_on for row in marks):
        where = TAKEN_BACK
    steps = _step_rows(turtle)
    return TurtlePage(
        turtle=turtle,
        where=where,
        pond_code=pond_code,
        is_alive=is_alive,
        in_hand_on=max([turtle.last_seen_on, *(row.measured_on for row in measures)]),
        marks=tuple(marks),
        shell=drawing,
        shell_scheme=scheme,
        conflicts=tuple(row for row in marks if row.others),
        due=tuple(reason for row in standing for reason in row.due) if is_alive else (),
        sexes=tuple(turtle.sex_steps.order_by("-sexed_on", "-pk")),
        measures=tuple(_measure_row(row, by, today) for row in measures),
        chart=_chart(measures, LENGTHS, "mm"),
        mass_chart=_chart(measures, ("MASS",), "g"),
        steps=tuple(steps),
        hauls=tuple(
            HaulTurtle.objects.filter(turtle=turtle)
            .select_related("haul__pond", "haul__move__reversed_by")
            .order_by("-haul__happened_on", "-pk")[:HAULS_SHOWN]
        ),
        papers=tuple(turtle.batch.papers.order_by("pk")) if turtle.batch else (),
        photographs=tuple(
            (row, not why_not_mended(row, by, today, book=BOOK))
            for row in pictures.order_by("-taken_on", "-pk")
        ),
        nests=nests_of(turtle),
        came_back=came_back([row.step for row in steps]),
        class_differs=class_differs(turtle),
    )


def has_rim(turtle: Turtle) -> bool:
    """Say whether a turtle's kind has marginal scutes to notch; a kind that is not listed may have."""
    rim = rim_of(turtle.kind.scientific_name)
    return rim is None or rim.marginals > 0


def whereabouts(turtle: Turtle) -> tuple[str, str, bool]:
    """Return where the book has a turtle in words, its pond's code or "", and whether it may be alive here."""
    if turtle.cell is None:
        return "whereabouts not known", "", True
    place = place_of(turtle.cell)
    if is_pond(place):
        return f"in pond {place}", place, True
    words = {"UNSEEN": "whereabouts not known", "SOLD": "sold", "DIED": "dead"}
    return words.get(place, place_words(place)), "", place == "UNSEEN"


def mark_rows(turtle: Turtle, measures: list[Measure], today: dt.date) -> list[MarkRow]:
    """Return a turtle's marks, those that stand first, with their history and what is due."""
    marks = list(turtle.marks.order_by("put_on_on", "pk"))
    events: dict[int, list[MarkEvent]] = defaultdict(list)
    for event in that_hold(MarkEvent.objects.filter(mark__turtle=turtle)):
        events[event.mark_id].append(event)
    others = _others(turtle, marks)
    lengths = sorted((row.measured_on, row.stored) for row in measures if row.what == "SCL_MAX")
    rows = [_mark_row(mark, events[mark.pk], others.get(mark.pk, ()), lengths, today) for mark in marks]
    return sorted(rows, key=lambda row: not row.is_standing)


def _others(turtle: Turtle, marks: list[Mark]) -> dict[int, tuple[Turtle, ...]]:
    """Return the other turtles that carry one of these codes, by mark."""
    tags = {(mark.family, mark.tag): mark.pk for mark in marks if mark.tag}
    masks = {mark.mask: mark.pk for mark in marks if mark.mask}
    if not marks:
        return {}
    found: dict[int, list[Turtle]] = defaultdict(list)
    same = Mark.objects.exclude(turtle=turtle).select_related("turtle__cell__pond")
    same_tags = same.filter(tag__in=[tag for _, tag in tags]) if tags else same.none()
    same_masks = same.filter(kind=turtle.kind_id, mask__in=list(masks)) if masks else same.none()
    # Typed by mistake, it never was on that animal: there is no conflict.
    for other in really_on([*same_tags, *same_masks]):
        mine = tags.get((other.family, other.tag)) if other.tag else masks.get(other.mask or 0)
        if mine is not None:
            found[mine].append(other.turtle)
    return {mark: tuple(turtles) for mark, turtles in found.items()}


def _mark_row(
    mark: Mark,
    events: list[MarkEvent],
    others: tuple[Turtle, ...],
    lengths: list[tuple[dt.date, int]],
    today: dt.date,
) -> MarkRow:
    ended = end_of(events)
    if ended is not None and ended.what == MarkEvent.What.MISTAKEN:
        others = ()
    title, code, words = mark_words(mark)
    due: tuple[str, ...] = ()
    if ended is None and mark.form == Mark.Form.NOTCH:
        readings = tuple(
            Reading(event.happened_on, event.faint_mask or 0, event.what == MarkEvent.What.RENEWED)
            for event in events
        )
        since = max([mark.put_on_on, *(one.read_on for one in readings if one.is_renewal)])
        then = min(lengths, key=lambda one: abs((one[0] - since).days))[1] if lengths else None
        due = renotch_reasons(
            mark.put_on_on,
            readings,
            today=today,
            length_then=then,
            length_now=lengths[-1][1] if lengths else None,
        )
    state, css = (str(ended.get_what_display()), "") if ended else ("stands", "tag-good")
    if others:
        state, css = "conflict", "tag-bad"
    elif due:
        state, css = "notch again", "tag-warn"
    was_on = ended is None or ended.what != MarkEvent.What.MISTAKEN
    return MarkRow(mark, title, code, words, state, css, ended is None, tuple(events), due, others, was_on)


def mark_words(mark: Mark) -> tuple[str, str, str]:
    """Return a mark's title, its code, and what that is in words."""
    if mark.form == Mark.Form.NOTCH and mark.mask:
        scheme = notch.SCHEMES.get(mark.scheme)
        positions = notch.positions_in(mark.mask)
        try:
            code = notch.encode(scheme, positions) if scheme else ""
        except ValueError:
            code = ""
        title = scheme.title if scheme else f"Notches, scheme {mark.scheme}"
        return title, code or " ".join(positions), notch.in_words(positions)
    if mark.form == Mark.Form.TAG:
        families = {"iso": "Microchip", "nine-digit": "Older tag, nine digits", "ten-character": "Older tag"}
        return families.get(mark.family, "Tag"), mark.tag or "", mark.site
    return mark.get_form_display().capitalize(), mark.text, mark.site


def _shell(turtle: Turtle, standing: list[MarkRow]) -> tuple[str, str]:
    """Return the drawing of the notch code that stands, as SVG, and its scheme's title; "" where there is none."""
    for row in standing:
        scheme = notch.SCHEMES.get(row.mark.scheme)
        if scheme is None or row.mark.mask is None:
            continue
        read = (MarkEvent.What.READ, MarkEvent.What.WORN, MarkEvent.What.RENEWED)
        readings = [event for event in row.events if event.what in read]
        faint = (readings[-1].faint_mask or 0) if readings else 0
        positions = [one for one in notch.positions_in(row.mark.mask) if one not in notch.positions_in(faint)]
        drawn = shell.draw_shell(
            scheme, positions, doubtful=notch.positions_in(faint), code=row.code, name=f"turtle {turtle.pk}"
        )
        return drawn, scheme.title
    return "", ""


def _measure_row(row: Measure, by: Any, today: dt.date) -> MeasureRow:
    definition = DEFINITIONS.get(row.what)
    unit = "g" if row.what == "MASS" else "mm"
    symbols = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}
    return MeasureRow(
        row=row,
        title=definition.title if definition else row.what,
        typed=f"{row.typed} {symbols.get(row.unit, row.unit)}",
        stored=f"{figure_text(row.stored)} {unit}",
        may_mend=not why_not_mended(row, by, today, book=BOOK),
    )


def _chart(measures: list[Measure], codes: tuple[str, ...], unit: str) -> Chart | None:
    """Draw the first of these measures that was taken on two days or more."""
    for code in codes:
        points = sorted((row.measured_on, row.stored) for row in measures if row.what == code)
        if len({day for day, _ in points}) > 1:
            return growth_chart(DEFINITIONS[code].title, points, unit=unit)
    return None


def _step_rows(turtle: Turtle) -> list[StepRow]:
    steps = (
        MarkStep.objects.filter(turtle=turtle)
        .select_related("move__reversed_by", *CELLS)
        .order_by("-move__happened_on", "-pk")[:STEPS_SHOWN]
    )
    return [StepRow(step, step.move.happened_on, _step_words(step)) for step in steps]


def _step_words(step: MarkStep) -> str:
    source = place_of(step.source) if step.source else ""
    target = place_of(step.target) if step.target else ""
    how = step_says(step)
    if step.how == MarkStep.How.MARKED and is_pond(target):
        return f"{how} in pond {target}"
    names = [f"pond {place}" if is_pond(place) else place_words(place) for place in (source, target) if place]
    if len(names) == 2 and source == target and step.source and step.target:
        classes = f"{step.source.get_of_class_display()} to {step.target.get_of_class_display()}"
        return f"{how}: {classes}, {names[0]}"
    if source and target and how != step.get_how_display():
        return f"{how}, from {names[0]}"
    if source and target:
        return f"{how}: {names[0]} to {names[1]}"
    return f"{how}: {'from' if source else 'to'} {names[0]}" if names else how
