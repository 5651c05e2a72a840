"""What is odd about days of nests beside the rest of the book, the kinds' figures, and what others know."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Count, Max, Sum

from ponds.models import Kind, KindFigure, NestDay, Pond
from ponds.nest_checks import DaysBefore, doubts
from ponds.nest_words import asked_of

Range = tuple[float, float]


def doubts_about(row: NestDay) -> tuple[str, ...]:
    """Return what is odd about one row, questions to who typed it."""
    return doubts_about_all([row])[0]


def doubts_about_all(rows: Sequence[NestDay]) -> list[tuple[str, ...]]:
    """Return what is odd about rows, in their order: four queries and those of others, whatever the rows."""
    if not rows:
        return []
    standing = NestDay.objects.standing().filter(pond__in={row.pond_id for row in rows})
    if saved := [row.pk for row in rows if row.pk is not None]:
        standing = standing.exclude(pk__in=saved)
    standing = standing.order_by()
    before = {
        (pond, kind): (days, most)
        for pond, kind, days, most in standing.values_list("pond", "kind").annotate(
            days=Count("pk"), most=Max("nests")
        )
    }
    span = min(row.dug_on for row in rows), max(row.dug_on for row in rows)
    same_day = {
        (pond, kind, on): nests
        for pond, kind, on, nests in standing.filter(dug_on__range=span)
        .values_list("pond", "kind", "dug_on")
        .annotate(all_nests=Sum("nests"))
    }
    of_kinds, of_ponds = _eggs_a_nest()
    found = []
    for row, more in zip(rows, asked_of(rows), strict=True):
        where = row.pond_id, row.kind_id
        days, most = before.get(where, (0, 0))
        own = doubts(
            pond=row.pond.code,
            kind=kind_words(row.kind),
            nests=row.nests,
            eggs=row.eggs,
            before=DaysBefore(days, most or 0, same_day.get((*where, row.dug_on))),
            eggs_a_nest=of_kinds.get(row.kind_id) if row.kind_id else of_ponds.get(row.pond_id),
        )
        found.append(own + more)
    return found


def kind_words(kind: Kind | None) -> str:
    """Return a kind as the questions call it."""
    return kind.common_name if kind else "a kind not known"


def _eggs_a_nest() -> tuple[dict[int, Range], dict[int, Range]]:
    """Return eggs a nest, low and high, by kind and by pond over the kinds it may hold: two queries."""
    eggs = KindFigure.objects.filter(name=KindFigure.Name.EGGS)
    of_kinds = {kind: (low, high) for kind, low, high in eggs.values_list("kind", "low", "high")}
    of_pond: dict[int, list[Range]] = defaultdict(list)
    for pond, kind in Pond.kinds_allowed.through.objects.values_list("pond", "kind"):
        if kind in of_kinds:
            of_pond[pond].append(of_kinds[kind])
    return of_kinds, {
        pond: (min(low for low, _ in ranges), max(high for _, high in ranges))
        for pond, ranges in of_pond.items()
    }
