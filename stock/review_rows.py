"""What the monthly review reads beside the facts of its last day: one query a question, whatever the ponds."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Exists, OuterRef, Q, QuerySet, Sum, Value
from django.db.models.functions import Coalesce

from ponds.models import NestDay
from ponds.seasons import season_of
from stock.models import Batch, Entry, Move, Paper, PondReview, Task
from stock.moves_read import with_entries
from stock.pond_rows import ponds_of_days
from stock.tasks import with_progress
from stock.timeline import last_day_of

PondKindId = tuple[int, int]
CORRECTIONS = 50


@dataclass
class Flow:
    """What came into and went out of one cell in a month by the book, by reason; taken back counts off."""

    came: Counter[str] = field(default_factory=Counter)
    went: Counter[str] = field(default_factory=Counter)
    late: int = 0
    """Heads of days before the month, booked in it because their own month was closed."""

    @property
    def net(self) -> int:
        return sum(self.came.values()) - sum(self.went.values())


def flows(first: dt.date, last: dt.date, pond_ids: Iterable[int]) -> dict[tuple[int, int, str], Flow]:
    """
    Return (pond id, kind id, class) -> what was booked from `first` through `last`: two queries.

    A reversal takes from the side its original was booked on, so what was sold and taken back is 0 sold.
    """
    found: dict[tuple[int, int, str], Flow] = defaultdict(Flow)
    ids = list(pond_ids)
    booked = Entry.objects.filter(booked_on__range=(first, last))
    for side in ("target", "source"):
        rows = (
            booked.filter(**{f"{side}__pond__in": ids})
            .annotate(is_back=Q(move__reverses__isnull=False))
            .values_list(f"{side}__pond", f"{side}__kind", f"{side}__of_class", "reason", "is_back")
            .annotate(
                all_heads=Sum("heads"),
                late_heads=Coalesce(Sum("heads", filter=Q(happened_on__lt=first)), Value(0)),
            )
        )
        for pond, kind, of_class, reason, is_back, heads, late in rows:
            flow = found[pond, kind, of_class]
            came_in = (side == "target") != is_back
            (flow.came if came_in else flow.went)[reason] += -heads if is_back else heads
            flow.late += late
    return dict(found)


@dataclass(frozen=True)
class Nests:
    """Nests dug and eggs picked over some days; `opened` are the nests whose eggs were counted."""

    nests: int = 0
    eggs: int = 0
    opened: int = 0

    @property
    def eggs_a_nest(self) -> float | None:
        return self.eggs / self.opened if self.opened else None


@dataclass(frozen=True)
class NestMonth:
    """The nest book of a pond and kind: the month, the same month a year before, and both seasons so far."""

    month: Nests
    year_before: Nests
    season: Nests
    season_before: Nests

    @property
    def says_something(self) -> bool:
        return any(part.nests for part in (self.month, self.year_before, self.season, self.season_before))


def nest_months(
    first: dt.date, last: dt.date, pond_ids: Iterable[int]
) -> dict[tuple[int, int | None], NestMonth]:
    """Return (pond id, kind id or None for kind not known) -> the nest book's figures: one query."""
    season = season_of(last)
    begun, ended = season.starts_on, last
    spans = {
        "month": (first, last),
        "year_before": (_year_back(first), _year_back(last)),
        "season": (begun, ended),
        "season_before": (_year_back(begun), _year_back(ended)),
    }
    sums = {}
    for name, span in spans.items():
        within = Q(dug_on__range=span)
        sums[f"{name}_nests"] = Coalesce(Sum("nests", filter=within), Value(0))
        sums[f"{name}_eggs"] = Coalesce(Sum("eggs", filter=within), Value(0))
        sums[f"{name}_opened"] = Coalesce(Sum("nests", filter=within & Q(eggs__isnull=False)), Value(0))
    rows = (
        NestDay.objects.standing()
        .filter(pond__in=list(pond_ids), dug_on__range=(spans["season_before"][0], last))
        .values("pond", "kind")
        .annotate(**sums)
    )
    return {
        (row["pond"], row["kind"]): NestMonth(
            **{
                name: Nests(row[f"{name}_nests"], row[f"{name}_eggs"], row[f"{name}_opened"])
                for name in spans
            }
        )
        for row in rows
    }


def beyond_book(first: dt.date, last: dt.date, pond_ids: Iterable[int]) -> dict[PondKindId, int]:
    """Return (pond id, kind id) -> heads booked beyond the book in a month that stand: one query."""
    rows = (
        Entry.objects.filter(
            reason="BEYOND_BOOK",
            booked_on__range=(first, last),
            target__pond__in=list(pond_ids),
            move__reversed_by=None,
            move__reverses=None,
        )
        .values_list("target__pond", "target__kind")
        .annotate(all_heads=Sum("heads"))
    )
    return {(pond, kind): heads for pond, kind, heads in rows}


def deaths(first: dt.date, last: dt.date, pond_ids: Iterable[int]) -> dict[PondKindId, Counter[str]]:
    """Return (pond id, kind id) -> heads that died by class, by the animals' days: one query each way."""
    died: dict[PondKindId, Counter[str]] = defaultdict(Counter)
    entries = Entry.objects.filter(reason="DIED", happened_on__range=(first, last))
    for side, sign in (("source", 1), ("target", -1)):
        rows = (
            entries.filter(**{f"{side}__pond__in": list(pond_ids)})
            .values_list(f"{side}__pond", f"{side}__kind", f"{side}__of_class")
            .annotate(all_heads=Sum("heads"))
        )
        for pond, kind, of_class, heads in rows:
            died[pond, kind][of_class] += sign * heads
    return dict(died)


def arrivals_that_stand() -> QuerySet[Entry]:
    """Return the entries by which a batch (the outer row) came in, without those taken back: none, and nothing came."""
    return Entry.objects.filter(
        batch=OuterRef("pk"), source__pond=None, move__reverses=None, move__reversed_by=None
    )


def without_papers() -> dict[str, str]:
    """Return batch id as text -> code of the batches that came from elsewhere and have no paper: one query."""
    rows = Batch.objects.filter(source__in=("BOUGHT", "WILD")).filter(
        ~Exists(Paper.objects.filter(batch=OuterRef("pk"))), Exists(arrivals_that_stand())
    )
    return {str(pk): code for pk, code in rows.values_list("pk", "code")}


def signed(month: dt.date, pond_ids: Iterable[int]) -> dict[int, PondReview]:
    """Return pond id -> the newest signature of a month: one query."""
    newest: dict[int, PondReview] = {}
    for review in PondReview.objects.filter(month=month, pond__in=list(pond_ids)).order_by("pk"):
        newest[review.pond_id] = review
    return newest


def unsigned_codes(month: dt.date) -> list[str]:
    """Return the codes of the ponds of a month that nobody signed, in letter order: one query."""
    ponds = ponds_of_days(month, last_day_of(month))
    unsigned = ponds.filter(~Exists(PondReview.objects.filter(pond=OuterRef("pk"), month=month)))
    return list(unsigned.values_list("code", flat=True))


def decisions(month: dt.date, pond_ids: Iterable[int]) -> dict[int, list[Task]]:
    """Return pond id -> the tasks decided in a month's review, with their progress: one query."""
    found: dict[int, list[Task]] = defaultdict(list)
    tasks = with_progress(Task.objects.filter(review_month=month, pond__in=list(pond_ids)))
    for task in tasks.select_related("kind", "pond").order_by("decided_on", "pk"):
        found[task.pond_id].append(task)
    return dict(found)


def later_corrections(first: dt.date, last: dt.date, pond_ids: Sequence[int]) -> list[Move]:
    """
    Return the moves of a closed month's days that were booked after it, newest first: four queries.

    A move logged late, and the reversal of one that was booked in the month.
    """
    touching = Entry.objects.filter(
        Q(source__pond__in=pond_ids) | Q(target__pond__in=pond_ids), move=OuterRef("pk")
    )
    moves = Move.objects.filter(happened_on__range=(first, last), booked_on__gt=last)
    moves = moves.filter(Q(pond__in=pond_ids) | Exists(touching))
    return list(with_entries(moves).order_by("-recorded_at", "-pk")[:CORRECTIONS])


def logged_late(first: dt.date, last: dt.date, pond_ids: Iterable[int]) -> Counter[PondKindId]:
    """Return (pond id, kind id) -> moves of a month's days that were booked after it: one query."""
    ids = set(pond_ids)
    found: dict[PondKindId, set[int]] = defaultdict(set)
    rows = Entry.objects.filter(happened_on__range=(first, last), booked_on__gt=last).values_list(
        "move", "source__pond", "source__kind", "target__pond", "target__kind"
    )
    for move, *ends in rows:
        for pond, kind in (ends[:2], ends[2:]):
            if pond in ids:
                found[pond, kind].add(move)
    return Counter({where: len(moves) for where, moves in found.items()})


def _year_back(day: dt.date) -> dt.date:
    try:
        return day.replace(year=day.year - 1)
    except ValueError:  # 29 February
        return day.replace(year=day.year - 1, day=28)
