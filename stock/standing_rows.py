"""What the standing reads: counts, sexed hauls, marked heads, flows; one query each, whatever the farm's age."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Count as Number
from django.db.models import Exists, F, OuterRef

from stock.advisor.standing_counts import Counted, counted_by_sex
from stock.kept_answers import stamp_of
from stock.models import Count, CountHaul, HaulLine, MarkStep, Turtle

PondKindId = tuple[int, int]

COUNTS_USED = dt.timedelta(days=round(4 * 365.25))
"""Counts of so long, and the one before them, make a standing; older ones have nothing left to say."""
OLDEST = dt.timedelta(days=round(10 * 365.25))
"""A pond last counted longer ago has no standing: it would be nearly all guess, and its life would have to be read."""
MARKS_PROVE = dt.timedelta(days=365)
"""A marked turtle not seen for longer is no proof of life, whatever the register says of her place."""
BEFORE_MOVES = 0.001
"""Days by which an opening comes before the moves of its day; too little to lose anybody in."""
"""So many of the newest rows of a table tell a cached answer from a stale one; see `stamp`."""


@dataclass(frozen=True)
class CountUsed:
    """A head count as the standing takes it: females and males, the unsexed shared out among them."""

    count_id: int
    as_of: dt.date
    how_known: str
    how_known_words: str
    is_opening: bool
    counted: Counted

    @property
    def holds_at(self) -> float:
        """Ordinal day: a count holds at the end of its day, an opening before the moves of its day."""
        return self.as_of.toordinal() - (BEFORE_MOVES if self.is_opening else 0.0)


def counts_used(day: dt.date) -> dict[PondKindId, list[CountUsed]]:
    """Return (pond id, kind id) -> the counts that stand and are used on a day, oldest first: one query."""
    rows = (
        Count.objects.standing()
        .filter(as_of__lte=day, as_of__gt=day - OLDEST)
        .select_related("move")
        .order_by("as_of", "pk")
    )
    found: dict[PondKindId, list[CountUsed]] = defaultdict(list)
    for row in rows:
        counted = counted_by_sex(
            row.females, row.females_se, row.males, row.males_se, row.covariance, row.unsexed, row.unsexed_se,
            how_known=row.how_known,
        )  # fmt: skip
        if counted is not None:
            is_opening = row.move is not None and row.move.made_as == "OPENING"
            found[row.pond_id, row.kind_id].append(
                CountUsed(row.pk, row.as_of, row.how_known, row.get_how_known_display(), is_opening, counted)
            )
    return {where: _newest(counts, day - COUNTS_USED) for where, counts in found.items()}


def _newest(counts: list[CountUsed], since: dt.date) -> list[CountUsed]:
    before = [place for place, count in enumerate(counts) if count.as_of <= since]
    return counts[before[-1] :] if before else counts


@dataclass(frozen=True)
class HaulUsed:
    """Females and males that came up together and were looked at, in a haul that no count was read from."""

    pond_id: int
    kind_id: int
    day: dt.date
    females: int
    males: int


def hauls_used(first: dt.date, day: dt.date) -> list[HaulUsed]:
    """Return the sexed hauls that stand, from `first` on, but for those that a count by `day` rests on: one query."""
    counts = Count.objects.standing().filter(as_of__lte=day)
    in_count = CountHaul.objects.filter(
        haul=OuterRef("haul"), count__kind=OuterRef("kind"), count__in=counts.values("pk")
    )
    rows = HaulLine.objects.filter(
        ~Exists(in_count),
        haul__happened_on__gte=first,
        haul__move__reversed_by=None,
        of_class__in=("FEMALE", "MALE"),
    ).values_list("haul_id", "kind_id", "haul__pond_id", "haul__happened_on", "of_class", "caught")
    caught: dict[tuple[int, int], dict[str, int]] = defaultdict(dict)
    where: dict[tuple[int, int], tuple[int, dt.date]] = {}
    for haul, kind, pond, on, of_class, heads in rows.iterator():
        caught[haul, kind][of_class] = heads
        where[haul, kind] = pond, on
    return [
        HaulUsed(where[haul, kind][0], kind, where[haul, kind][1], heads["FEMALE"], heads["MALE"])
        for (haul, kind), heads in caught.items()
        # A sex that was left empty was not looked for; a haul of females alone tells nothing of the males.
        if len(heads) == 2 and (heads["FEMALE"] or heads["MALE"])
    ]


def marked_heads(day: dt.date) -> dict[tuple[int, int, str], int]:
    """
    Return (pond id, kind id, class) -> marked heads seen there within `MARKS_PROVE` before a day: one query.

    Turtles that took a step after the day are left out.
    """
    later = MarkStep.objects.filter(turtle=OuterRef("pk"), booked_on__gt=day)
    rows = (
        Turtle.objects.filter(
            ~Exists(later), cell__pond__isnull=False, last_seen_on__range=(day - MARKS_PROVE, day)
        )
        .values(pond=F("cell__pond"), kind_of=F("cell__kind"), of_class=F("cell__of_class"))
        .annotate(heads=Number("pk"))
        .values_list("pond", "kind_of", "of_class", "heads")
    )
    return {(pond, kind, of_class): heads for pond, kind, of_class, heads in rows}


def stamp() -> tuple[Any, ...]:
    """
    Return what changes with everything the standing reads: one query.

    Moves (with their entries, hauls and marks), counts and counts taken back are only ever added.
    """
    return stamp_of(("stock_move", "stock_count", "stock_countreversal"), newest=("key", "recorded_at"))
