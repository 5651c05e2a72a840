"""Everything of each marked turtle that goes out of the register, read table by table."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field

from stock.mark_ends import end_of, that_hold
from stock.models import HaulTurtle, Mark, MarkEvent, MarkStep, Measure, SexStep, Turtle

SYMBOLS = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}


@dataclass
class Life:
    """
    Everything of one turtle that goes out, by day.

    `ended` are those of its marks that were lost or taken off; `slips` were typed by mistake and never on it. `events`
    is what became of either, by the mark's id.
    """

    turtle: Turtle
    marks: list[Mark] = field(default_factory=list)
    measures: dict[dt.date, list[Measure]] = field(default_factory=lambda: defaultdict(list))
    hauls: dict[dt.date, HaulTurtle] = field(default_factory=dict)
    steps: list[MarkStep] = field(default_factory=list)
    sexes: list[SexStep] = field(default_factory=list)
    ended: set[int] = field(default_factory=set)
    slips: list[Mark] = field(default_factory=list)
    events: dict[int, list[MarkEvent]] = field(default_factory=dict)

    @property
    def standing(self) -> list[Mark]:
        """The marks it carries."""
        return [mark for mark in self.marks if mark.pk not in self.ended]

    def place_on(self, day: dt.date) -> tuple[str, str]:
        """Return the pond's code and the class it was counted in on a day, or before; the first known otherwise."""
        before = [
            step for step in self.steps if step.target and step.target.pond and step.move.happened_on <= day
        ]
        step = (
            before[-1]
            if before
            else next((one for one in self.steps if one.target and one.target.pond), None)
        )
        if step is None or step.target is None or step.target.pond is None:
            return "", ""
        return step.target.pond.code, step.target.of_class

    def days(self) -> list[dt.date]:
        """Return the days it was in hand."""
        days = {*self.measures, *self.hauls, *(mark.put_on_on for mark in self.marks)}
        return sorted(days)


def lives(*, kind: str = "") -> list[Life]:
    """Return every turtle of the register with what goes out of it, in the order of their numbers; seven queries."""
    turtles = Turtle.objects.select_related("kind", "batch", "cell__pond").order_by("pk")
    if kind:
        turtles = turtles.filter(kind__code=kind)
    found = {turtle.pk: Life(turtle) for turtle in turtles}
    mine = {"turtle__kind__code": kind} if kind else {}
    events: dict[int, list[MarkEvent]] = defaultdict(list)
    of_marks = MarkEvent.objects.filter(**{f"mark__{name}": code for name, code in mine.items()})
    for event in that_hold(of_marks):
        events[event.mark_id].append(event)
    for mark in Mark.objects.filter(**mine).select_related("by").order_by("put_on_on", "pk"):
        ended = end_of(events[mark.pk])
        life = found[mark.turtle_id]
        life.events[mark.pk] = events[mark.pk]
        if ended is not None and ended.what == MarkEvent.What.MISTAKEN:
            life.slips.append(mark)
            continue
        life.marks.append(mark)
        if ended is not None:
            life.ended.add(mark.pk)
    for measure in (
        Measure.objects.standing().filter(**mine).select_related("by").order_by("measured_on", "what", "pk")
    ):
        found[measure.turtle_id].measures[measure.measured_on].append(measure)
    seen = HaulTurtle.objects.filter(haul__move__reversed_by=None, **mine).select_related(
        "haul__pond", "haul__move"
    )
    for one in seen.order_by("haul__happened_on", "pk"):
        found[one.turtle_id].hauls[one.haul.happened_on] = one
    for step in (
        MarkStep.objects.filter(**mine)
        .select_related("move", "target__pond")
        .order_by("move__happened_on", "pk")
    ):
        found[step.turtle_id].steps.append(step)
    for told in SexStep.objects.filter(**mine).order_by("sexed_on", "pk"):
        found[told.turtle_id].sexes.append(told)
    return list(found.values())
