"""The list of tasks: its table and its filters."""

from __future__ import annotations

import django_filters as filters
import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.models import Kind, Pond
from stock.models import HeadClass, Task
from stock.tables.moves import PondColumnTable
from stock.tasks import OPEN, STATE_WORDS, STATES, task_sentence

TAGS = {"OPEN": "", "DONE": "tag-good", "DROPPED": "tag-warn"}


class TaskTable(PondColumnTable):
    """One row a task; the last column leads to what can be done with it."""

    caption = "Tasks"
    row_header = "what"

    what = tables.Column(
        verbose_name="What", empty_values=(), order_by=("verb", "kind__common_name", "of_class")
    )
    pond = tables.Column(accessor="pond__code", verbose_name="Pond")
    heads_done = NumberColumn(verbose_name="Heads done")
    heads = NumberColumn(verbose_name="Heads in all")
    decided_on = DayColumn(verbose_name="Decided")
    due_on = DayColumn(verbose_name="Due")
    why = tables.Column(verbose_name="Why", orderable=False)
    by_name = tables.Column(verbose_name="Decided by")
    state = tables.Column(verbose_name="State")
    next = tables.Column(verbose_name="Next", empty_values=(), orderable=False, exclude_from_export=True)

    class Meta(PlainTable.Meta):
        model = Task
        fields = (
            "what", "pond", "heads_done", "heads", "decided_on", "due_on", "why", "by_name", "state", "next",
        )  # fmt: skip
        empty_text = "No tasks here. A decision becomes a task, and the move that does it ticks it."

    def __init__(self, *args, role: str = "", **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.role = role

    def render_what(self, record: Task) -> str:
        return task_sentence(record)

    def value_what(self, record: Task) -> str:
        return task_sentence(record)

    def render_state(self, record: Task, value: str) -> str:
        words = STATE_WORDS[value]
        if record.dropped_why:
            return format_html('<span class="tag {}">{}</span> {}', TAGS[value], words, record.dropped_why)
        return format_html('<span class="tag {}">{}</span>', TAGS[value], words) if TAGS[value] else words

    def value_state(self, record: Task, value: str) -> str:
        return f"{STATE_WORDS[value]} {record.dropped_why}".strip()

    def render_next(self, record: Task) -> str:
        if record.state != OPEN or self.role not in ("owner", "hand"):  # type: ignore[attr-defined]
            return ""
        log = format_html('<a href="{}?task={}">Log it</a>', reverse("stock:log"), record.pk)
        if self.role != "owner":
            return log
        return format_html(
            '<span>{} · <a href="{}">Drop</a></span>', log, reverse("stock:task-drop", args=[record.pk])
        )


class TaskFilter(filters.FilterSet):
    """Filters of tasks; open ones unless asked otherwise."""

    state = filters.ChoiceFilter(label="State", choices=STATES, empty_label="all")
    pond = filters.ModelChoiceFilter(
        queryset=Pond.objects.in_letter_order(), to_field_name="code", empty_label="any"
    )
    kind = filters.ModelChoiceFilter(
        queryset=Kind.objects.order_by("common_name"), to_field_name="code", empty_label="any"
    )
    of_class = filters.ChoiceFilter(label="Class", choices=HeadClass.choices, empty_label="any")
    verb = filters.ChoiceFilter(label="What", choices=Task.Verb.choices, empty_label="any")

    class Meta:
        model = Task
        fields = ("state", "pond", "kind", "of_class", "verb")
