"""What a count says of loss: the count before it, what was booked since, and what is left unexplained."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass

from stock.drafts import Z_95
from stock.models import Count, Reason
from stock.survey_floor import ADULTS, BOOKKEEPING, Flow
from stock.survey_flows import flows_of
from stock.templatetags.stock_format import number

GONE = (Reason.MOVED, Reason.SOLD, Reason.CULLED, Reason.ESCAPED)


@dataclass(frozen=True)
class Sexes:
    """Heads of a row: females, males, and all adults, the unsexed among them."""

    females: float = 0.0
    males: float = 0.0
    adults: float = 0.0


@dataclass(frozen=True)
class CountRow:
    """One row of the sum from count to count."""

    words: str
    heads: Sexes
    is_total: bool = False


@dataclass(frozen=True)
class SinceLast:
    """
    A count beside the one before it.

    `missing` is how many heads fewer were counted than the earlier count and the booked moves leave to expect;
    it is 95 % sure to lie between `lower` and `upper`, which are below 0 where more were counted.
    """

    last: Count
    rows: tuple[CountRow, ...]
    deaths: int
    missing: float
    lower: float
    upper: float

    @property
    def is_clear(self) -> bool:
        return self.lower > 0 or self.upper < 0

    @property
    def sentence(self) -> str:
        day = f"{self.last.as_of.day} {self.last.as_of:%b %Y}"
        deaths = f"{self.deaths} recorded {'death' if self.deaths == 1 else 'deaths'} since {day}"
        low, high = number(self.lower), number(self.upper)
        if self.lower > 0:
            return (
                f"Beside {deaths}, about {number(self.missing)} heads are gone that no entry explains "
                f"({low} to {high}): deaths nobody saw, escape or theft."
            )
        if self.upper < 0:
            return (
                f"After {deaths}, about {number(-self.missing)} heads more were counted than should stand there "
                f"({number(-self.upper)} to {number(-self.lower)}): one of the two counts is off, or heads came that "
                "nobody booked."
            )
        return (
            f"After {deaths}, the counts differ by no more than their own doubt: anything from {high} heads gone "
            f"unseen to {number(-self.lower)} more than booked. No unseen loss is shown, and none is ruled out."
        )


def last_count_before(
    pond_id: int, kind_id: int, as_of: dt.date, *, before: int | None = None
) -> Count | None:
    """Return the newest count that stands and holds for a day up to `as_of`; of that day, one older than `before`."""
    rows = Count.objects.standing().filter(pond=pond_id, kind=kind_id, as_of__lte=as_of)
    if before is not None:
        rows = rows.exclude(pk__gte=before, as_of=as_of)
    return rows.select_related("pond").order_by("-as_of", "-pk").first()


def since_last_count(count: Count) -> SinceLast | None:
    """Return what a count says of loss since the one before it; None for the first."""
    last = last_count_before(count.pond_id, count.kind_id, count.as_of, before=count.pk)
    if last is None:
        return None
    flows = (flow for flow in flows_of(count.pond, last.as_of, count.as_of) if flow.kind_id == count.kind_id)
    counted, variance = _sexes(count), _variance(count)
    return between(last, counted, variance, flows, count.as_of)


def between(last: Count, counted: Sexes, variance: float, flows: Iterable[Flow], as_of: dt.date) -> SinceLast:
    """Return the sum from an earlier count to a later one; both hold at the end of their days."""
    own = [
        flow
        for flow in flows
        if last.as_of < flow.day <= as_of and flow.reason not in BOOKKEEPING and flow.of_class in ADULTS
    ]
    turned = (Reason.SEXED, Reason.MATURED)
    came = [flow for flow in own if flow.heads > 0 and flow.reason not in turned]
    died = [flow for flow in own if flow.heads < 0 and flow.reason == Reason.DIED]
    gone = [flow for flow in own if flow.heads < 0 and flow.reason in GONE]
    sexed = [flow for flow in own if flow.reason in turned]
    start = _sexes(last)
    parts = [start, *map(_sum, (came, gone, died, sexed))]
    expected = Sexes(*(sum(getattr(part, name) for part in parts) for name in ("females", "males", "adults")))
    missing = Sexes(
        expected.females - counted.females, expected.males - counted.males, expected.adults - counted.adults
    )
    rows = [
        CountRow(f"Counted on {last.as_of.day} {last.as_of:%b %Y}", start),
        CountRow("Came since", parts[1]),
        CountRow("Moved away, sold, culled or escaped", parts[2]),
        CountRow("Recorded dead", parts[3]),
    ]
    if sexed:
        rows.append(CountRow("Sexed or matured here", parts[4]))
    rows += [
        CountRow("So there should be", expected, is_total=True),
        CountRow("Counted now", counted),
        CountRow("Left unexplained", missing, is_total=True),
    ]
    half = Z_95 * math.sqrt(max(0.0, variance + _variance(last)))
    deaths = -round(parts[3].adults)
    return SinceLast(last, tuple(rows), deaths, missing.adults, missing.adults - half, missing.adults + half)


def _sexes(count: Count) -> Sexes:
    known = [heads for heads in (count.females, count.males, count.unsexed) if heads is not None]
    return Sexes(count.females or 0.0, count.males or 0.0, sum(known))


def _variance(count: Count) -> float:
    errors = (count.females_se, count.males_se, count.unsexed_se)
    return sum((se or 0.0) ** 2 for se in errors) + 2 * count.covariance


def _sum(flows: Iterable[Flow]) -> Sexes:
    flows = list(flows)
    return Sexes(
        females=sum(flow.heads for flow in flows if flow.of_class == "FEMALE"),
        males=sum(flow.heads for flow in flows if flow.of_class == "MALE"),
        adults=sum(flow.heads for flow in flows),
    )
