"""What is asked about measures of turtles of the register: on their pages and of the turtles sheet the same."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

from stock.marks.measures import Typed
from stock.marks.plausible import Earlier, Question, questions
from stock.models import MarkStep, Measure, Turtle


@dataclass
class Known:
    """What the register has of one turtle that its measures are held against; `classes` are in the order of days."""

    scientific_name: str
    sex: str
    first_marked_on: dt.date | None
    classes: list[tuple[dt.date, str]] = field(default_factory=list)
    measures: list[Earlier] = field(default_factory=list)

    def class_on(self, day: dt.date) -> str:
        """Return the class it was counted in on a day; before its first mark the one it was marked in."""
        before = [of_class for since, of_class in self.classes if since <= day]
        return before[-1] if before else next((of_class for _, of_class in self.classes), "")

    def asked(self, typed: Sequence[Typed], *, on: dt.date, observer: str = "") -> tuple[Question, ...]:
        """Ask about the measures of one handling; where its sex is not known, as of its class."""
        of_class = self.class_on(on)
        return questions(
            self.scientific_name,
            self.sex if self.sex in ("FEMALE", "MALE") else of_class,
            typed,
            self.measures,
            on=on,
            observer=observer,
            of_class=of_class,
            known_since=self.first_marked_on,
        )

    def add(self, typed: Iterable[Typed], *, on: dt.date, observer: str = "") -> None:
        """Hold what comes after against these measures too."""
        self.measures += [Earlier(one.code, one.stored, on, observer) for one in typed]


def known_of(turtles: Collection[int], *, but: Collection[uuid.UUID] = ()) -> dict[int, Known]:
    """
    Return what the measures of these turtles are held against, by their numbers; three queries.

    Parameters
    ----------
    but : collection of UUID
        Keys of measures to leave out: what is sent twice is not held against what it wrote itself.
    """
    found = {
        turtle.pk: Known(turtle.kind.scientific_name, turtle.sex, turtle.first_marked_on)
        for turtle in Turtle.objects.filter(pk__in=turtles).select_related("kind")
    }
    steps = MarkStep.objects.filter(turtle__in=turtles, target__isnull=False, move__reversed_by=None)
    for turtle, day, of_class in (
        steps.exclude(how="REVERSED")
        .order_by("move__happened_on", "pk")
        .values_list("turtle", "move__happened_on", "target__of_class")
    ):
        found[turtle].classes.append((day, of_class))
    rows = Measure.objects.standing().filter(turtle__in=turtles).order_by("measured_on", "pk")
    for key, turtle, *row in rows.values_list("key", "turtle", "what", "stored", "measured_on", "observer"):
        if key not in but:
            found[turtle].measures.append(Earlier(*row))
    return found
