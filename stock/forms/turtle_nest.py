"""A nest linked to the female that dug it: which day and pond, and what is asked before it is hers."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from ponds.models import NestDay
from ponds.svg_marks import day_text
from stock import turtle_nests
from stock.forms.asked import Asked, AskOnce
from stock.forms.fields import DayField, OneOfField
from stock.forms.turtle_marks import NestForm
from stock.models import MarkStep, Turtle
from stock.move_words import is_pond
from stock.moves_read import place_of

DAYS_BETWEEN = (
    10  # of two clutches of one female; sliders take two weeks and more; common practice, no source
)
# More eggs than one nest of a genus holds; common practice, no source: snappers lay most.
MOST_EGGS, MOST_EGGS_OF = 50, {"Chelydra": 110, "Macrochelys": 70, "Macroclemys": 70}


class NestSearchForm(forms.Form):
    """Of which day and pond the nests are offered."""

    day = DayField(label="Dug on", required=False)
    pond = OneOfField(noun="pond", label="Pond", blank="any", required=False)

    def __init__(self, *args: Any, ponds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pond"].offer(ponds)


class AskedNestForm(AskOnce, NestForm):
    """A nest of the nest book that the turtle was seen to dig; odd ones are asked about once."""

    def __init__(self, *args: Any, turtle: Turtle, nests: dict[str, NestDay], **kwargs: Any) -> None:
        super().__init__(*args, nests=nests, **kwargs)
        self.turtle = turtle
        self.fields["nest"].offer([(pk, _words(row)) for pk, row in self.nests.items()])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        row = self.nests.get(cleaned.get("nest") or "")
        if row is None or self.errors:
            return cleaned
        self.ask_once(
            [
                *self._before(row.dug_on),
                *self._elsewhere(row),
                *self._again(row.dug_on, cleaned["key"]),
                *self._many(row, cleaned.get("eggs")),
            ]
        )
        return cleaned

    def _before(self, day: dt.date) -> list[Asked]:
        marked = self.turtle.first_marked_on
        if marked is None or day >= marked:
            return []
        told = (
            f"The nest was dug on {day_text(day)} and turtle {self.turtle.pk} was first marked on {day_text(marked)}: "
            "nobody could tell her then. Is it this nest?"
        )
        return [Asked("nest", told)]

    def _elsewhere(self, row: NestDay) -> list[Asked]:
        step = (
            MarkStep.objects.filter(turtle=self.turtle, move__happened_on__lte=row.dug_on)
            .exclude(how=MarkStep.How.REVERSED)
            .filter(move__reversed_by=None)
            .select_related("target__pond", "move")
            .order_by("-move__happened_on", "-pk")
            .first()
        )
        place = place_of(step.target) if step is not None and step.target is not None else ""
        if step is None or not place or place == row.pond.code:
            return []
        stood = f"stood in pond {place}" if is_pond(place) else "was in no pond"
        told = (
            f"The nest is of pond {row.pond.code}, and turtle {self.turtle.pk} {stood} on {day_text(row.dug_on)} by "
            f"the move of {day_text(step.move.happened_on)}. Was she seen on it? Then her move is missing in the book."
        )
        return [Asked("nest", told)]

    def _again(self, day: dt.date, key: Any) -> list[Asked]:
        days = [
            one.row.dug_on
            for one in turtle_nests.nests_of(self.turtle)
            if not one.is_gone and one.link.key != key and abs((one.row.dug_on - day).days) < DAYS_BETWEEN
        ]
        if not days:
            return []
        told = (
            f"She has a nest of {', '.join(day_text(one) for one in sorted(set(days)))} already"
            f"{f' ({len(days)} of them)' if len(days) > 1 else ''}: two clutches of one female lie two weeks apart or "
            "more. Was she seen on this one too?"
        )
        return [Asked("nest", told)]

    def _many(self, row: NestDay, eggs: int | None) -> list[Asked]:
        if eggs is None:
            return []
        if row.eggs is not None and eggs > row.eggs:
            of = "its one nest" if row.nests == 1 else f"all {row.nests} nests"
            told = f"{eggs} eggs are more than the nest book has of {of} of that day, {row.eggs}. Look again."
            return [Asked("eggs", told)]
        genus = self.turtle.kind.scientific_name.partition(" ")[0]
        most = MOST_EGGS_OF.get(genus, MOST_EGGS)
        if eggs > most:
            told = f"{eggs} eggs in one nest: more than {most} are not known of {self.turtle.kind}. Is it of one nest?"
            return [Asked("eggs", told)]
        return [Asked("eggs", "0 eggs: leave it empty if nobody counted them.")] if eggs == 0 else []


def _words(row: NestDay) -> str:
    free = row.nests - getattr(row, "linked", row.nests)
    return f"{day_text(row.dug_on)}, pond {row.pond.code}: {free} of {row.nests} not linked"
