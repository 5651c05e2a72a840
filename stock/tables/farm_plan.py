"""The moves of a whole-farm plan as a sheet."""

from __future__ import annotations

import django_tables2 as tables

from ponds.lists import NumberColumn, PlainTable


class PlannedMoveTable(PlainTable):
    """One row a move, in the order they can be carried out in."""

    caption = "Moves of the whole-farm plan"
    row_header = "source"

    source = tables.Column(verbose_name="From", accessor="source_words")
    target = tables.Column(verbose_name="To", accessor="target_words")
    kind = tables.Column(verbose_name="Kind", accessor="kind_name")
    of_class = tables.Column(verbose_name="Class", accessor="class_words")
    heads = NumberColumn(verbose_name="Heads")
    why = tables.Column(verbose_name="Why")

    class Meta(PlainTable.Meta):
        fields = ("source", "target", "kind", "of_class", "heads", "why")
        orderable = False
        empty_text = "No heads need to be moved."
