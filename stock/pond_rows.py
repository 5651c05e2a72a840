"""What `stock.pond_facts` reads, each with a fixed number of queries whatever the ponds and the farm's age."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from ponds.models import Kind, KindFigure, Pond, PondState
from stock.book import FIELD_OF_CLASS, Balance, ClassHeads
from stock.models import Cell, Count, Entry, Haul, HaulLine, MonthEnd

PondKindId = tuple[int, int]
ADULT_CLASSES = ("FEMALE", "MALE", "UNSEXED")
# Entries of these reasons change what the book says, not what swims in the pond.
ON_PAPER_ONLY = ("SEXED", "BEYOND_BOOK", "COUNT_RESET")


@dataclass(frozen=True)
class HaulRow:
    """The latest sexed haul of one pond and kind, as caught."""

    haul_id: int
    day: dt.date
    method: str
    is_complete: bool
    heads: ClassHeads
    females_since: int
    males_since: int


def ponds_on(day: dt.date, pond_ids: Iterable[int] | None) -> list[Pond]:
    """Return the ponds asked for, or all that are open on a day, in letter order: one query."""
    ponds = Pond.objects.in_letter_order()
    if pond_ids is not None:
        return list(ponds.filter(pk__in=list(pond_ids)))
    return list(ponds.filter(Q(retired_on=None) | Q(retired_on__gt=day), opened_on__lte=day))


def kinds_allowed(pond_ids: list[int]) -> set[PondKindId]:
    """Return (pond id, kind id) of the kinds each pond may hold: one query."""
    through = Pond.kinds_allowed.through.objects.filter(pond__in=pond_ids)
    return set(through.values_list("pond_id", "kind_id"))


def kinds_with_figures() -> tuple[dict[int, Kind], dict[int, list[KindFigure]]]:
    """Return every kind by id, and its figures: two queries."""
    figures: dict[int, list[KindFigure]] = defaultdict(list)
    for figure in KindFigure.objects.all():
        figures[figure.kind_id].append(figure)
    return {kind.pk: kind for kind in Kind.objects.all()}, figures


def states_on(day: dt.date, pond_ids: list[int]) -> dict[int, PondState]:
    """Return pond id -> the state that holds on a day: one query."""
    later = PondState.objects.filter(
        Q(from_on__gt=OuterRef("from_on")) | Q(from_on=OuterRef("from_on"), pk__gt=OuterRef("pk")),
        pond=OuterRef("pond"),
        from_on__lte=day,
    )
    rows = PondState.objects.filter(~Exists(later), pond__in=pond_ids, from_on__lte=day)
    return {state.pond_id: state for state in rows}


def last_counts(day: dt.date, pond_ids: list[int]) -> dict[PondKindId, Count]:
    """Return (pond id, kind id) -> the latest head count that stands, by the day it is as of: one query."""
    stands = Q(move=None) | Q(move__reversed_by=None)
    later = Count.objects.filter(
        stands,
        Q(as_of__gt=OuterRef("as_of")) | Q(as_of=OuterRef("as_of"), pk__gt=OuterRef("pk")),
        pond=OuterRef("pond"),
        kind=OuterRef("kind"),
        as_of__lte=day,
    )
    rows = Count.objects.filter(stands, ~Exists(later), pond__in=pond_ids, as_of__lte=day)
    return {(count.pond_id, count.kind_id): count for count in rows}


def last_sexed_hauls(day: dt.date, pond_ids: list[int]) -> dict[PondKindId, HaulRow]:
    """
    Return (pond id, kind id) -> the latest haul with females or males in it that stands: two queries.

    A sexed haul always has a cell of its sex behind it, so the cells say which pairs to look for. The heads
    that came and went since (its own moves of the day among them) are given beside it, by the book.
    """
    sexed = HaulLine.objects.filter(
        haul=OuterRef("pk"), kind=OuterRef(OuterRef("kind")), of_class__in=("FEMALE", "MALE"), caught__gt=0
    )
    latest = Haul.objects.filter(
        Exists(sexed), pond=OuterRef("pond"), happened_on__lte=day, move__reversed_by=None
    ).order_by("-happened_on", "-pk")
    since = Entry.objects.filter(
        Q(happened_on__gt=OuterRef("haul_on")) | Q(move=OuterRef("haul_move")),
        booked_on__gte=OuterRef("haul_on"),
        booked_on__lte=day,
    ).exclude(reason__in=ON_PAPER_ONLY)
    cells = (
        Cell.objects.filter(pond__in=pond_ids, of_class__in=("FEMALE", "MALE"))
        .annotate(
            haul_id=Subquery(latest.values("pk")[:1]),
            haul_on=Subquery(latest.values("happened_on")[:1]),
            haul_move=Subquery(latest.values("move")[:1]),
        )
        .filter(haul_id__isnull=False)
        .annotate(came=_heads(since, "target"), went=_heads(since, "source"))
    )
    hauls: dict[PondKindId, int] = {}
    moved: dict[PondKindId, dict[str, int]] = defaultdict(dict)
    for pond, kind, of_class, haul_id, came, went in cells.values_list(
        "pond_id", "kind_id", "of_class", "haul_id", "came", "went"
    ):
        hauls[pond, kind] = haul_id
        moved[pond, kind][of_class] = came - went
    lines: dict[tuple[int, int], dict[str, HaulLine]] = defaultdict(dict)
    for line in HaulLine.objects.filter(haul__in=set(hauls.values())).select_related("haul"):
        lines[line.haul_id, line.kind_id][line.of_class] = line
    found = {}
    for (pond, kind), haul_id in hauls.items():
        caught = lines[haul_id, kind]
        haul = next(iter(caught.values())).haul
        found[pond, kind] = HaulRow(
            haul_id=haul_id,
            day=haul.happened_on,
            method=haul.get_method_display(),
            is_complete=haul.is_complete,
            heads=ClassHeads(**{FIELD_OF_CLASS[name]: line.caught for name, line in caught.items()}),
            females_since=moved[pond, kind].get("FEMALE", 0),
            males_since=moved[pond, kind].get("MALE", 0),
        )
    return found


def _heads(entries: Any, side: str) -> Coalesce:
    total = (
        entries.filter(**{side: OuterRef("pk")}).order_by().values(side).annotate(total=Sum(F("heads")))
    ).values("total")
    return Coalesce(Subquery(total), 0)


def head_days(first: dt.date, day: dt.date, held: list[Balance]) -> dict[PondKindId, float]:
    """
    Return (pond id, kind id) -> head-days of adults from `first` through `day`: two queries.

    An approximation by month ends: each day of a month counts the mean of what the book held when the month
    began and when it ended (for the running month, at the end of `day`). Heads that came and went inside one
    month are missed; over a year that is little against the limits of a few deaths.

    Parameters
    ----------
    first, day : date
        First and last day of the period, both counted.
    held : list of Balance
        What the cells hold at the end of `day`.
    """
    adults = {balance.cell_id: balance for balance in held if balance.of_class in ADULT_CLASSES}
    month, last_month = first.replace(day=1), day.replace(day=1)
    before = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lt=month).order_by("-month")
    opening = dict(
        Cell.objects.filter(pond__in={balance.pond_id for balance in held})
        .exclude(of_class="JUVENILE")
        .values_list("pk", Coalesce(Subquery(before.values("heads")[:1]), 0))
    )
    kept: dict[int, dict[dt.date, int]] = defaultdict(dict)
    rows = MonthEnd.objects.filter(month__gte=month, month__lt=last_month, cell__in=list(adults))
    for cell, of_month, heads in rows.values_list("cell", "month", "heads"):
        kept[cell][of_month] = heads
    total: dict[PondKindId, float] = defaultdict(float)
    for cell_id, balance in adults.items():
        began, at = opening.get(cell_id, 0), month
        while at <= last_month:
            following = (at + dt.timedelta(days=32)).replace(day=1)
            ended = balance.heads if at == last_month else kept[cell_id].get(at, began)
            days = (min(following, day + dt.timedelta(days=1)) - max(at, first)).days
            total[balance.pond_id, balance.kind_id] += days * (began + ended) / 2
            began, at = ended, following
    return dict(total)
