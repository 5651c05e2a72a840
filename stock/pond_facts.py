"""Gather what is known of every pond and kind on a day, with a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from ponds.figures import Range
from ponds.models import Kind, KindFigure, Pond, PondState
from ponds.seasons import season_of
from stock import pond_rows
from stock.advisor.mix import settled_equivalent
from stock.advisor.ratio import Verdict, ratio, verdict
from stock.advisor.watch import LosingHeads, losing_heads
from stock.book import FIELD_OF_CLASS as FIELDS
from stock.book import ClassHeads, balances, deaths_by_pond
from stock.mixes import mixes_on
from stock.models import Count
from stock.pond_kind import CERTAINTY, LastCount, PondKind, PondUse, SexedHaul, haul_verdict

__all__ = ["LastCount", "PondKind", "PondUse", "SexedHaul", "pond_kinds", "year_before"]


def pond_kinds(day: dt.date, *, pond_ids: Iterable[int] | None = None) -> list[PondKind]:
    """
    Return every pond and kind that stands there on a day or is allowed there.

    In letter order of the ponds, then by the kind's name. Sixteen queries at most, whatever the number of
    ponds and the age of the farm.

    Parameters
    ----------
    day : date
        The book's end of this day.
    pond_ids : iterable of int, optional
        Only these ponds, retired ones too; by default all that are open on the day.
    """
    ponds = pond_rows.ponds_on(day, pond_ids)
    fetched = _Fetched(day, [pond.pk for pond in ponds])
    return [
        _pond_kind(pond, fetched.kinds[kind_id], fetched)
        for pond in ponds
        for kind_id in sorted(
            fetched.kinds_of(pond.pk), key=lambda kind_id: (fetched.kinds[kind_id].common_name, kind_id)
        )
    ]


def year_before(day: dt.date) -> dt.date:
    """Return the first of the 365 days that end with `day`."""
    return day - dt.timedelta(days=364)


class _Fetched:
    """Everything that is read of the ponds on a day, by pond and kind."""

    def __init__(self, day: dt.date, ids: list[int]) -> None:
        self.day = day
        self.season = season_of(day)
        self.allowed = pond_rows.kinds_allowed(ids)
        self.kinds, self.figures = pond_rows.kinds_with_figures()
        held = balances(day, pond_ids=ids)
        classes: dict[tuple[int, int], dict[str, int]] = {}
        for balance in held:
            classes.setdefault((balance.pond_id, balance.kind_id), {})[FIELDS[balance.of_class]] = (
                balance.heads
            )
        self.heads = {where: ClassHeads(**heads) for where, heads in classes.items()}
        first = year_before(day)
        self.head_days = pond_rows.head_days(first, day, held)
        died: dict[tuple[int, int], dict[str, int]] = {}
        for (pond, kind, of_class), heads in deaths_by_pond(first, day, pond_ids=ids).items():
            died.setdefault((pond, kind), {})[FIELDS[of_class]] = heads
        self.deaths = {where: ClassHeads(**heads) for where, heads in died.items()}
        self.states = pond_rows.states_on(day, ids)
        self.counts = pond_rows.last_counts(day, ids)
        self.hauls = pond_rows.last_sexed_hauls(day, ids)
        self.mixes = mixes_on(day)

    def kinds_of(self, pond_id: int) -> set[int]:
        standing = {kind for (pond, kind), heads in self.heads.items() if pond == pond_id and heads.total}
        return standing | {kind for pond, kind in self.allowed if pond == pond_id}

    def head_use(self, pond_id: int) -> float:
        return sum(
            heads.total * self.kinds[kind].space_a_head
            for (pond, kind), heads in self.heads.items()
            if pond == pond_id
        )


def _pond_kind(pond: Pond, kind: Kind, fetched: _Fetched) -> PondKind:
    where = pond.pk, kind.pk
    heads = fetched.heads.get(where, ClassHeads())
    band = kind.band_low, kind.band_high
    figures = fetched.figures.get(kind.pk, [])
    haul = _sexed_haul(fetched.hauls.get(where))
    use = fetched.head_use(pond.pk)
    females = fetched.mixes.get((pond.pk, kind.pk, "FEMALE"))
    deaths = fetched.deaths.get(where, ClassHeads())
    head_days = fetched.head_days.get(where, 0.0)
    return PondKind(
        pond_id=pond.pk,
        pond_code=pond.code,
        pond_name=pond.name,
        kind_id=kind.pk,
        kind_code=kind.code,
        kind_name=kind.common_name,
        listing=kind.listing,
        day=fetched.day,
        season=fetched.season,
        target=kind.target,
        band=band,
        is_allowed=where in fetched.allowed,
        heads=heads,
        verdict=verdict(heads.females, 0, heads.males, 0, target=kind.target, band=band, certainty=CERTAINTY),
        last_haul=haul,
        seine_verdict=_seine_verdict(haul, heads, kind),
        use=_use(fetched.states.get(pond.pk)),
        head_limit=pond.head_limit,
        head_use=use,
        head_room=None if pond.head_limit is None else pond.head_limit - use,
        space_a_head=kind.space_a_head,
        deaths=deaths,
        head_days=head_days,
        losing=_losing(deaths, head_days, figures),
        settled_females=settled_equivalent(females.seasons, fetched.season.year) if females else 0.0,
        figures={row.name: Range(row.low, row.expected, row.high) for row in figures},
        sources={row.name: row.source for row in figures},
        last_count=_last_count(fetched.counts.get(where), fetched.day),
    )


def _sexed_haul(row: pond_rows.HaulRow | None) -> SexedHaul | None:
    if row is None:
        return None
    caught = row.heads.females, row.heads.males, row.heads.unsexed
    return SexedHaul(
        haul_id=row.haul_id,
        day=row.day,
        method=row.method,
        is_complete=row.is_complete,
        females=row.heads.females,
        males=row.heads.males,
        unsexed=row.heads.unsexed,
        ratio=ratio(*caught, total=sum(caught) if row.is_complete else None),
        females_since=row.females_since,
        males_since=row.males_since,
    )


def _seine_verdict(haul: SexedHaul | None, heads: ClassHeads, kind: Kind) -> Verdict | None:
    if haul is None:
        return None
    return haul_verdict(
        haul.females,
        haul.males,
        standing=heads.total - heads.juveniles,
        target=kind.target,
        band=(kind.band_low, kind.band_high),
        is_complete=haul.is_complete,
    )


def _use(state: PondState | None) -> PondUse:
    if state is None:
        return PondUse(PondState.State.IN_USE, str(PondState.State.IN_USE.label))
    return PondUse(state.state, state.get_state_display(), state.from_on, state.ends_on)


def _losing(deaths: ClassHeads, head_days: float, figures: list[KindFigure]) -> LosingHeads | None:
    survival = next((row.expected for row in figures if row.name == KindFigure.Name.SURVIVAL), None)
    if not survival:
        return None
    adults = max(0, deaths.total - deaths.juveniles)
    return losing_heads(adults, max(0.0, head_days), expected_annual_survival=survival)


def _last_count(count: Count | None, day: dt.date) -> LastCount | None:
    if count is None:
        return None
    return LastCount(
        as_of=count.as_of,
        how_known=count.how_known,
        how_known_words=count.get_how_known_display(),
        age_days=(day - count.as_of).days,
        females=count.females,
        males=count.males,
    )
