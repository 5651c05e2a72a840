"""Whether somebody looked for marks: asked where marks were put on and a haul's field is left empty."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Max, Sum

from ponds.svg_marks import day_text, figure_text
from stock.models import HaulLine

if TYPE_CHECKING:
    from stock.forms.log import LogEntry

DAYS_BACK = 365


def marks_unsaid(entry: LogEntry) -> list[str]:
    """
    Ask for the marks of each kind and class that was caught, of which some were marked here within a year.

    An empty field says that nobody looked, and a count by marks can then make nothing of the haul. Whoever scanned a
    tag looked. One query, and only where a field is empty.
    """
    caught: dict[tuple[str, str], int] = {}
    said = set()
    for row in entry.used_rows:
        cell = (row.typed["kind"], row.typed["of_class"])
        caught[cell] = caught.get(cell, 0) + row.heads
        if row.typed.get("carrying_marks") is not None:
            said.add(cell)
    unsaid = {cell: heads for cell, heads in caught.items() if heads and cell not in said}
    if not unsaid or entry.scans.scans:
        return []
    head = entry.head.cleaned_data
    day = head["day"]
    marked = {
        (kind, of_class): (heads, last)
        for kind, of_class, heads, last in HaulLine.objects.filter(
            haul__pond__code=head["pond"],
            haul__happened_on__range=(day - dt.timedelta(days=DAYS_BACK), day),
            haul__move__reversed_by=None,
            newly_marked__gt=0,
        )
        .values_list("kind__code", "of_class")
        .annotate(heads=Sum("newly_marked"), last=Max("haul__happened_on"))
    }
    return [
        f"How many of the {figure_text(heads)} {entry.cell_name(cell)} carried marks? "
        f"{figure_text(marked[cell][0])} were marked in pond {head['pond']}, the last on "
        f"{day_text(marked[cell][1])}. Write 0 where you looked and found none: left empty it says that nobody "
        "looked, and a count by marks cannot use this haul."
        for cell, heads in unsaid.items()
        if cell in marked
    ]
