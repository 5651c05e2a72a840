"""Everything of each marked turtle that goes out of the register, read table by table."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Q

from stock.models import HaulTurtle, Mark, MarkEvent, MarkStep, Measure, SexStep, Turtle

SYMBOLS = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}


@dataclass
class Life:
    """Everything of one turtle that goes out, by day; `ended` are those of its marks that were lost or taken off."""

    turtle: Turtle
    marks: list[Mark] = field(default_factory=list)
    measures: dict[dt.date, list[Measure]] = field(default_factory=lambda: defaultdict(list))
    hauls: dict[dt.date, HaulTurtle] = field(default_factory=dict)
    steps: list[MarkStep] = field(default_factory=list)
    sexes: list[SexStep] = field(default_factory=list)
    ended: set[int] = field(default_factory=set)

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
    of_marks = MarkEvent.objects.filter(Q(move=None) | Q(move__reversed_by=None)).exclude(
        what__in=("READ", "WORN")
    )
    # The latest of each mark: one that was lost may have been notched again.
    state = dict(
        of_marks.filter(**{f"mark__{name}": code for name, code in mine.items()})
        .order_by("happened_on", "pk")
        .values_list("mark", "what")
    )
    for mark in Mark.objects.filter(**mine).select_related("by").order_by("put_on_on", "pk"):
        if state.get(mark.pk) != "MISTAKEN":
            found[mark.turtle_id].marks.append(mark)
        if state.get(mark.pk, "RENEWED") != "RENEWED":
            found[mark.turtle_id].ended.add(mark.pk)
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
