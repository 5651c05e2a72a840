"""Counts: every haul that was logged, and one haul with the ratio of what was sexed in it."""

from __future__ import annotations

from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from ponds import units
from ponds.lists import ListPage
from stock.advisor.ratio import ratio
from stock.models import Haul
from stock.surveys import survey_of
from stock.tables.hauls import HaulFilter, HaulTable

CLASSES = {"females": "FEMALE", "males": "MALE", "unsexed": "UNSEXED", "juveniles": "JUVENILE"}


class HaulList(ListPage):
    """What the hauls brought, newest first."""

    model = Haul
    table_class = HaulTable
    filterset_class = HaulFilter
    template_name = "stock/haul_list.html"
    search_fields = ("move__note", "pond__code", "move__by_name")
    search_label = "Search note, pond or person"
    export_name = "hauls"

    def get_queryset(self):
        caught = {name: _sum_of("caught", lines__of_class=of_class) for name, of_class in CLASSES.items()}
        # A haul of two kinds is two rows, for heads of different kinds do not add up; one that caught nothing
        # is one row without a kind.
        return (
            super()
            .get_queryset()
            .select_related("pond", "move__reversed_by")
            .annotate(kind_pk=F("lines__kind"), kind=F("lines__kind__common_name"))
            .annotate(marked=Sum("lines__carrying_marks"), **caught)
            .order_by("-happened_on", "-pk", "kind")
        )


@require_safe
def haul_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one haul: its catch by kind and class, and the ratio of the sexed with its interval."""
    haul = get_object_or_404(
        Haul.objects.select_related("pond", "move__reversed_by", "move__replaced_by", "move__by"), pk=pk
    )
    lines = list(haul.lines.select_related("kind").order_by("kind__common_name", "of_class"))
    by_kind: dict[str, dict[str, int]] = {}
    for line in lines:
        by_kind.setdefault(line.kind.common_name, {})[line.of_class] = line.caught
    ratios = [
        (kind, caught, ratio(caught.get("FEMALE", 0), caught.get("MALE", 0), caught.get("UNSEXED", 0)))
        for kind, caught in by_kind.items()
    ]
    context = {
        "haul": haul,
        "in_survey": survey_of(haul),
        "lines": lines,
        "ratios": ratios,
        "caught": sum(line.caught for line in lines),
        "marked": sum(line.carrying_marks or 0 for line in lines),
        "is_taken_back": getattr(haul.move, "reversed_by", None) is not None,
        "water": f"{haul.water_typed} {units.symbol(haul.water_unit)}" if haul.water_typed else "",
    }
    return render(request, "stock/haul_detail.html", context)


def _sum_of(figure: str, **which: str) -> Coalesce:
    """Sum a figure of a haul's lines of one kind."""
    return Coalesce(Sum(f"lines__{figure}", filter=Q(**which)), 0)
