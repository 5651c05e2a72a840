"""What `stock.pond_facts` reads, each with a fixed number of queries whatever the ponds and the farm's age."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import DateField, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from ponds.figures import Range
from ponds.models import Kind, Pond, PondState
from stock.book import FIELD_OF_CLASS, Balance, ClassHeads
from stock.models import Cell, Count, Entry, Haul, HaulLine, MonthEnd
from stock.timeline import next_month

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


def ponds_of_days(first: dt.date, last: dt.date) -> QuerySet[Pond]:
    """Return the ponds open on any of some days, or of which anything was booked in them, in letter order.

    A pond that was retired before the days is among them where a correction of a closed month was booked for it.
    """
    booked = Entry.objects.filter(booked_on__range=(first, last))
    return Pond.objects.in_letter_order().filter(
        Q(retired_on=None)
        | Q(retired_on__gte=first)
        | Exists(booked.filter(source__pond=OuterRef("pk")))
        | Exists(booked.filter(target__pond=OuterRef("pk"))),
        opened_on__lte=last,
    )


def kinds_allowed(pond_ids: list[int]) -> set[PondKindId]:
    """Return (pond id, kind id) of the kinds each pond may hold: one query."""
    through = Pond.kinds_allowed.through.objects.filter(pond__in=pond_ids)
    return set(through.values_list("pond_id", "kind_id"))


def kinds_booked(first: dt.date, last: dt.date, pond_ids: list[int]) -> set[PondKindId]:
    """Return (pond id, kind id) of what anything was booked of from `first` through `last`: one query."""
    booked = Entry.objects.filter(booked_on__range=(first, last))
    source = booked.filter(source__pond__in=pond_ids).values_list("source__pond", "source__kind")
    target = booked.filter(target__pond__in=pond_ids).values_list("target__pond", "target__kind")
    return set(source.union(target))


@dataclass(frozen=True)
class KindRow:
    """A kind as the advice reads it: its ratio's target and band, and its figures with their sources."""

    kind_id: int
    code: str
    name: str
    listing: str
    target: float
    band: tuple[float, float]
    space_a_head: float
    figures: dict[str, Range]
    sources: dict[str, str]


def kinds_with_figures() -> dict[int, KindRow]:
    """Return every kind by id: one query."""
    kinds: dict[int, KindRow] = {}
    rows = Kind.objects.order_by("pk").values_list(
        "pk", "code", "common_name", "listing", "target", "band_low", "band_high", "space_a_head",
        "figures__name", "figures__low", "figures__expected", "figures__high", "figures__source",
    )  # fmt: skip
    for (
        pk,
        code,
        name,
        listing,
        target,
        band_low,
        band_high,
        space,
        figure,
        low,
        expected,
        high,
        source,
    ) in rows:
        if pk not in kinds:
            kinds[pk] = KindRow(pk, code, name, listing, target, (band_low, band_high), space, {}, {})
        if figure is not None:
            kinds[pk].figures[figure] = Range(low, expected, high)
            kinds[pk].sources[figure] = source
    return kinds


def states_on(day: dt.date, pond_ids: list[int]) -> dict[int, PondState]:
    """Return pond id -> the state that holds on a day: one query."""
    later = PondState.objects.filter(
        Q(from_on__gt=OuterRef("from_on")) | Q(from_on=OuterRef("from_on"), pk__gt=OuterRef("pk")),
        pond=OuterRef("pond"),
        from_on__lte=day,
    )
    rows = PondState.objects.filter(~Exists(later), pond__in=pond_ids, from_on__lte=day)
    return {state.pond_id: state for state in rows}


def all_states(pond_ids: list[int]) -> dict[int, list[PondState]]:
    """Return pond id -> all its states, the latest first: one query."""
    rows: dict[int, list[PondState]] = defaultdict(list)
    for state in PondState.objects.filter(pond__in=pond_ids).order_by("-from_on", "-pk"):
        rows[state.pond_id].append(state)
    return rows


def last_counts(day: dt.date, pond_ids: list[int]) -> dict[PondKindId, Count]:
    """
    Return (pond id, kind id) -> the latest head count that stands, by the day it is as of: one query.

    A count falls when it is taken back, with its own move, and with that of a haul it was read from.
    """
    later = Count.objects.standing().filter(
        Q(as_of__gt=OuterRef("as_of")) | Q(as_of=OuterRef("as_of"), pk__gt=OuterRef("pk")),
        pond=OuterRef("pond"),
        kind=OuterRef("kind"),
        as_of__lte=day,
    )
    rows = Count.objects.standing().filter(~Exists(later), pond__in=pond_ids, as_of__lte=day)
    return {(count.pond_id, count.kind_id): count for count in rows}


def last_sexed_hauls(day: dt.date, pond_ids: list[int]) -> dict[PondKindId, HaulRow]:
    """
    Return (pond id, kind id) -> the latest haul that stands and has the kind's two sexes in it: two queries.

    Both were written down, 0 where one was looked for and not found; a class left empty was not looked for,
    so a haul of females alone tells nothing of the males. A sexed haul always has a cell of its sex behind it,
    so the cells say which pairs to look for. The heads that came and went since (its own moves of the day
    among them) are given beside it, by the book.
    """
    lines_of = HaulLine.objects.filter(haul=OuterRef("pk"), kind=OuterRef(OuterRef("kind")))
    females, males = lines_of.filter(of_class="FEMALE"), lines_of.filter(of_class="MALE")
    some = lines_of.filter(of_class__in=("FEMALE", "MALE"), caught__gt=0)
    latest = Haul.objects.filter(
        Exists(females),
        Exists(males),
        Exists(some),
        pond=OuterRef("pond"),
        happened_on__lte=day,
        move__reversed_by=None,
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


@dataclass(frozen=True)
class Death:
    """Heads of one class that died in one month of one cause; below 0 where a death was taken back."""

    month: dt.date
    of_class: str
    cause: str
    heads: int


def deaths_between(first: dt.date, last: dt.date, pond_ids: list[int]) -> dict[PondKindId, list[Death]]:
    """Return (pond id, kind id) -> recorded deaths by month, class and cause, by the animal's day: one query."""
    entries = Entry.objects.filter(reason="DIED", happened_on__range=(first, last))
    rows = None
    for side, sign in (("source", 1), ("target", -1)):
        of_side = (
            entries.filter(**{f"{side}__pond__in": pond_ids})
            .order_by()
            .values_list(f"{side}__pond", f"{side}__kind", f"{side}__of_class", "cause", "happened_on")
            .annotate(total=Sum("heads") * sign)
        )
        rows = of_side if rows is None else rows.union(of_side, all=True)
    died: dict[tuple[int, int, str, str, dt.date], int] = defaultdict(int)
    for pond, kind, of_class, cause, on, heads in rows or ():
        died[pond, kind, of_class, cause, on.replace(day=1)] += heads
    found: dict[PondKindId, list[Death]] = defaultdict(list)
    for (pond, kind, of_class, cause, month), heads in sorted(died.items()):
        if heads:
            found[pond, kind].append(Death(month, of_class, cause, heads))
    return found


@dataclass(frozen=True)
class HeldByMonth:
    """What one cell held: before the first month, and at the end of each month through that of the day."""

    balance: Balance
    before: int
    ends: tuple[tuple[dt.date, int], ...]


def held_by_month(first: dt.date, day: dt.date, held: list[Balance]) -> list[HeldByMonth]:
    """
    Return what each cell held at month ends from the month of `first` to that of `day`: one query.

    Parameters
    ----------
    first, day : date
        First and last day of the period.
    held : list of Balance
        What the cells hold at the end of `day`; that stands for the end of its month.
    """
    ids = [balance.cell_id for balance in held]
    month, last_month = first.replace(day=1), day.replace(day=1)
    latest = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lt=month).order_by("-month")
    # The day before any other stands for "before the first month": both kinds of row come in one query.
    opening = Cell.objects.filter(pk__in=ids).values_list(
        "pk", Value(dt.date.min, output_field=DateField()), Coalesce(Subquery(latest.values("heads")[:1]), 0)
    )
    ends = MonthEnd.objects.filter(month__gte=month, month__lt=last_month, cell__in=ids)
    kept: dict[int, dict[dt.date, int]] = defaultdict(dict)
    for cell, of_month, heads in opening.union(ends.values_list("cell", "month", "heads"), all=True):
        kept[cell][of_month] = heads
    found = []
    for balance in held:
        known = kept[balance.cell_id]
        heads = before = known.get(dt.date.min, 0)
        points = []
        for at in months_between(month, last_month):
            heads = balance.heads if at == last_month else known.get(at, heads)
            points.append((at, heads))
        found.append(HeldByMonth(balance, before, tuple(points)))
    return found


def months_between(first: dt.date, last: dt.date) -> list[dt.date]:
    """Return the first days of the months from that of `first` to that of `last`."""
    month, months = first.replace(day=1), []
    while month <= last:
        months.append(month)
        month = next_month(month)
    return months


def head_days(first: dt.date, day: dt.date, held: list[HeldByMonth]) -> dict[PondKindId, float]:
    """
    Return (pond id, kind id) -> head-days of adults from `first` through `day`.

    An approximation by month ends: each day of a month counts the mean of what the book held when the month
    began and when it ended (for the running month, at the end of `day`). Heads that came and went inside one
    month are missed; over a year that is little against the limits of a few deaths.
    """
    total: dict[PondKindId, float] = defaultdict(float)
    for cell in held:
        if cell.balance.of_class not in ADULT_CLASSES:
            continue
        began = cell.before
        for month, ended in cell.ends:
            following = next_month(month)
            days = (min(following, day + dt.timedelta(days=1)) - max(month, first)).days
            total[cell.balance.pond_id, cell.balance.kind_id] += max(0, days) * (began + ended) / 2
            began = ended
    return dict(total)
