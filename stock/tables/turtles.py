"""The list of marked turtles: table and filters."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import Max, OuterRef, QuerySet, Subquery
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce, Greatest
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.html import format_html

from ponds.lists import DayColumn, PlainTable
from ponds.models import Kind, Pond
from stock.mark_ends import MISTAKEN, TAKEN_BACK, ends_of, met_twice
from stock.models import Mark, MarkStep, Measure, Sex, Turtle
from stock.turtle_search import code_of_mask

PLACES = [
    ("POND", "in a pond"),
    ("NOT_KNOWN", "whereabouts not known"),
    ("GONE", "died, sold or gone"),
    ("BACK", "booked gone, then back alive"),
]


def came_back() -> QuerySet:
    """Return the ids of turtles that were booked dead, sold or gone and then met in a pond."""
    steps = MarkStep.objects.filter(
        source__isnull=False,
        source__pond=None,
        target__pond__isnull=False,
        how__in=["MARKED", "MOVED", "FOUND"],
    )
    return steps.filter(move__reversed_by=None).values("turtle")


def last_in_hand() -> Combinable:
    """Return the day a turtle was last in hand, as its page says it: met in a move or a haul, or measured."""
    taken = Measure.objects.standing().filter(turtle=OuterRef("pk")).order_by().values("turtle")
    measured: Any = Subquery(taken.annotate(last=Max("measured_on")).values("last"))
    return Greatest("last_seen_on", Coalesce(measured, "last_seen_on"))


class TurtleTable(PlainTable):
    """One row a turtle, with all its marks."""

    caption = "Marked turtles"
    row_header = "number"

    number = tables.Column(accessor="pk", verbose_name="Turtle", order_by=("pk",))
    notches = tables.Column(verbose_name="Notches", empty_values=(), orderable=False)
    tag = tables.Column(verbose_name="Tag", empty_values=(), orderable=False)
    other = tables.Column(verbose_name="Other marks", empty_values=(), orderable=False)
    kind = tables.Column(
        accessor="kind__common_name", verbose_name="Kind", order_by=("kind__common_name", "pk")
    )
    sex = tables.Column(verbose_name="Sex", order_by=("sex", "pk"))
    place = tables.Column(
        verbose_name="Where", empty_values=(), order_by=("cell__pond__code", "cell__outside", "pk")
    )
    in_hand_on = DayColumn(verbose_name="Last in hand", order_by=("in_hand_on", "pk"))
    first_marked_on = DayColumn(verbose_name="Marked", order_by=("first_marked_on", "pk"))
    batch = tables.Column(
        accessor="batch__code", verbose_name="Batch", order_by=("batch__code", "pk"), default="not known"
    )

    class Meta(PlainTable.Meta):
        model = Turtle
        fields = (
            "number", "notches", "tag", "other", "kind", "sex", "place", "in_hand_on", "first_marked_on", "batch",
        )  # fmt: skip
        empty_text = "No marked turtle fits. Search by another mark, or mark the first one."

    def render_number(self, record: Turtle) -> str:
        return format_html('<a href="{}">{}</a>', reverse("stock:turtle", args=[record.pk]), record.pk)

    def value_number(self, record: Turtle) -> int:
        return record.pk

    @cached_property
    def _marks(self) -> tuple[dict[int, str], set[int]]:
        """How the marks of the rows shown ended, and which are on another turtle too; asked once for all rows."""
        marks = [mark for row in self.shown for mark in row.marks.all()]
        return ends_of([mark.pk for mark in marks]), met_twice(marks)

    @cached_property
    def shown(self) -> list[Turtle]:
        rows = self.page.object_list if getattr(self, "page", None) else self.rows
        return [row.record for row in rows]

    def _codes(self, record: Turtle, code_of: Callable[[Mark], str | None]) -> str:
        """Return a turtle's marks of one form: those that stand, then those that are no more, in a word."""
        ends, twice = self._marks
        standing, ended = [], []
        for mark in record.marks.all():
            code = code_of(mark)
            end = ends.get(mark.pk, "")
            if not code or end == "MISTAKEN":
                continue
            code += " (on another turtle too)" if mark.pk in twice else ""
            if end:
                ended.append(f"{code} ({'lost' if end == 'LOST' else 'taken off'})")
            else:
                standing.append(code)
        return ", ".join([*standing, *ended])

    def render_notches(self, record: Turtle) -> str:
        return self._codes(record, lambda mark: code_of_mask(mark.scheme, mark.mask) if mark.mask else None)

    def render_tag(self, record: Turtle) -> str:
        return self._codes(record, lambda mark: mark.tag)

    def render_other(self, record: Turtle) -> str:
        return self._codes(record, lambda mark: mark.text)

    def render_sex(self, record: Turtle) -> str:
        return record.get_sex_display()

    def render_place(self, record: Turtle) -> str:
        words = self.value_place(record)
        return (
            words if words.startswith("pond") else format_html('<span class="tag tag-warn">{}</span>', words)
        )

    def value_place(self, record: Turtle) -> str:
        if record.cell is None:
            ends, _ = self._marks
            marks = [ends.get(mark.pk) for mark in record.marks.all()]
            return TAKEN_BACK if marks and set(marks) == {MISTAKEN} else "not known"
        return f"pond {record.cell.pond.code}" if record.cell.pond else record.cell.get_outside_display()


class TurtleFilter(filters.FilterSet):
    """Filters of marked turtles."""

    pond = filters.ModelChoiceFilter(
        label="Pond",
        field_name="cell__pond",
        queryset=Pond.objects.in_letter_order(),
        to_field_name="code",
        empty_label="any",
    )
    kind = filters.ModelChoiceFilter(
        queryset=Kind.objects.order_by("common_name"), to_field_name="code", empty_label="any"
    )
    sex = filters.ChoiceFilter(choices=Sex.choices, empty_label="any")
    where = filters.ChoiceFilter(label="Where", choices=PLACES, empty_label="anywhere", method="by_place")

    class Meta:
        model = Turtle
        fields = ("pond", "kind", "sex", "where")

    def by_place(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        return {
            "POND": lambda: rows.filter(cell__pond__isnull=False),
            "NOT_KNOWN": lambda: rows.filter(cell=None),
            "BACK": lambda: rows.filter(pk__in=came_back()),
            "GONE": lambda: rows.filter(cell__isnull=False, cell__pond=None),
        }[value]()
