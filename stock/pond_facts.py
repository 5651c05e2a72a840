"""Gather what is known of every pond and kind on a day, with a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import lru_cache

from ponds.models import Pond, PondState
from ponds.seasons import season_of
from stock import pond_rows
from stock.advisor.mix import settled_equivalent
from stock.advisor.ratio import Ratio, Verdict, ratio, verdict
from stock.advisor.watch import LosingHeads, losing_heads
from stock.book import FIELD_OF_CLASS as FIELDS
from stock.book import Balance, ClassHeads, balances
from stock.mixes import mixes_on
from stock.models import Count
from stock.pond_kind import CERTAINTY, LastCount, PondKind, PondUse, SexedHaul, haul_verdict
from stock.pond_rows import KindRow
from stock.standing_facts import PondStanding, standings

__all__ = ["LastCount", "PondKind", "PondUse", "SexedHaul", "one_pond", "pond_kinds", "year_before"]


def pond_kinds(
    day: dt.date,
    *,
    pond_ids: Iterable[int] | None = None,
    ponds: Iterable[Pond] | None = None,
    moved_since: dt.date | None = None,
) -> list[PondKind]:
    """
    Return every pond and kind that stands there on a day or is allowed there.

    In letter order of the ponds, then by the kind's name. Twenty queries at most, whatever the number of
    ponds and the age of the farm.

    Parameters
    ----------
    day : date
        The book's end of this day.
    pond_ids : iterable of int, optional
        Only these ponds, retired ones too; by default all that are open on the day.
    ponds : iterable of Pond, optional
        The same, of ponds that were read already; in the order given.
    moved_since : date, optional
        Return also the kinds of which anything was booked from this day on, though none stands there any
        more: one query.
    """
    asked = pond_rows.ponds_on(day, pond_ids) if ponds is None else list(ponds)
    ids = [pond.pk for pond in asked]
    fetched = _Fetched(day, ids, pond_rows.states_on(day, ids), months_back=12, moved_since=moved_since)
    return _assemble(asked, fetched)


def one_pond(
    pond: Pond, day: dt.date, *, months_back: int, moved_since: dt.date | None = None
) -> tuple[list[PondKind], list[PondState]]:
    """
    Return the kinds of one pond with their history, and its states, the latest first.

    Nineteen queries at most. `months_back` is how many months before the day's own the history goes;
    `moved_since` is as for `pond_kinds`.
    """
    states = pond_rows.all_states([pond.pk])[pond.pk]
    on_day = next((state for state in states if state.from_on <= day), None)
    held = {pond.pk: on_day} if on_day else {}
    fetched = _Fetched(day, [pond.pk], held, months_back=months_back, moved_since=moved_since)
    return _assemble([pond], fetched), states


def year_before(day: dt.date) -> dt.date:
    """Return the first of the 365 days that end with `day`."""
    return day - dt.timedelta(days=364)


class _Fetched:
    """Everything that is read of the ponds on a day, by pond and kind."""

    def __init__(
        self,
        day: dt.date,
        ids: list[int],
        states: Mapping[int, PondState],
        *,
        months_back: int,
        moved_since: dt.date | None = None,
    ) -> None:
        self.day = day
        self.season = season_of(day)
        self.states = states
        self.allowed = pond_rows.kinds_allowed(ids)
        self.kinds = pond_rows.kinds_with_figures()
        held = balances(day, pond_ids=ids)
        self.heads = {where: ClassHeads(**heads) for where, heads in _by_class(held).items()}
        first = year_before(day)
        by_month = pond_rows.held_by_month(_months_before(day, months_back), day, held)
        self.head_days = pond_rows.head_days(first, day, by_month)
        self.history = _histories(by_month)
        self.deaths = pond_rows.deaths_between(first, day, ids)
        self.counts = pond_rows.last_counts(day, ids)
        self.hauls = pond_rows.last_sexed_hauls(day, ids)
        self.mixes = mixes_on(day)
        self.standings = standings(day, pond_ids=ids)
        self.moved = pond_rows.kinds_booked(moved_since, day, ids) if moved_since else set()

    def kinds_of(self, pond_id: int) -> set[int]:
        standing = {kind for (pond, kind), heads in self.heads.items() if pond == pond_id and heads.total}
        return standing | {kind for pond, kind in self.allowed | self.moved if pond == pond_id}

    def head_use(self, pond_id: int) -> float:
        return sum(
            heads.total * self.kinds[kind].space_a_head
            for (pond, kind), heads in self.heads.items()
            if pond == pond_id
        )


def _assemble(ponds: list[Pond], fetched: _Fetched) -> list[PondKind]:
    return [
        _pond_kind(pond, fetched.kinds[kind_id], fetched)
        for pond in ponds
        for kind_id in sorted(
            fetched.kinds_of(pond.pk), key=lambda kind_id: (fetched.kinds[kind_id].name, kind_id)
        )
    ]


def _pond_kind(pond: Pond, kind: KindRow, fetched: _Fetched) -> PondKind:
    where = pond.pk, kind.kind_id
    heads = fetched.heads.get(where, ClassHeads())
    haul = _sexed_haul(fetched.hauls.get(where))
    use = fetched.head_use(pond.pk)
    mixes = {
        of_class: mix
        for of_class in FIELDS
        if (mix := fetched.mixes.get((pond.pk, kind.kind_id, of_class))) is not None
    }
    females = mixes.get("FEMALE")
    deaths = tuple(fetched.deaths.get(where, ()))
    died = _by_field((death.of_class, death.heads) for death in deaths)
    head_days = fetched.head_days.get(where, 0.0)
    return PondKind(
        pond_id=pond.pk,
        pond_code=pond.code,
        pond_name=pond.name,
        kind_id=kind.kind_id,
        kind_code=kind.code,
        kind_name=kind.name,
        listing=kind.listing,
        day=fetched.day,
        season=fetched.season,
        target=kind.target,
        band=kind.band,
        is_allowed=where in fetched.allowed,
        heads=heads,
        by_book=verdict(
            heads.females, 0, heads.males, 0, target=kind.target, band=kind.band, certainty=CERTAINTY
        ),
        last_haul=haul,
        seine_verdict=_seine_verdict(haul, heads, kind),
        use=_use(fetched.states.get(pond.pk)),
        head_limit=pond.head_limit,
        head_use=use,
        head_room=None if pond.head_limit is None else pond.head_limit - use,
        space_a_head=kind.space_a_head,
        deaths=died,
        head_days=head_days,
        losing=_losing(died, head_days, kind),
        settled_females=settled_equivalent(females.seasons, fetched.season.year) if females else 0.0,
        figures=kind.figures,
        sources=kind.sources,
        last_count=_last_count(fetched.counts.get(where), fetched.day),
        deaths_by_cause=deaths,
        history=fetched.history.get(where, ()),
        mixes=mixes,
        standing=_standing(fetched.standings.get(where), heads),
    )


def _standing(found: PondStanding | None, heads: ClassHeads) -> PondStanding | None:
    """
    Return the standing where it may speak; else the book does.

    Where the book holds nobody sexed, all were moved out or none was ever looked at. Where it holds none of one
    sex, all that were known were taken out, and a standing that cannot be sure of one is left with the count's error.
    """
    if found is None or not (heads.females or heads.males):
        return None
    if not heads.females and found.female_limits[0] < 1:
        return None
    if not heads.males and found.male_limits[0] < 1:
        return None
    return found


def _by_class(held: Iterable[Balance]) -> dict[tuple[int, int], dict[str, int]]:
    classes: dict[tuple[int, int], dict[str, int]] = defaultdict(dict)
    for balance in held:
        classes[balance.pond_id, balance.kind_id][FIELDS[balance.of_class]] = balance.heads
    return classes


def _by_field(rows: Iterable[tuple[str, int]]) -> ClassHeads:
    heads: dict[str, int] = defaultdict(int)
    for of_class, number in rows:
        heads[FIELDS[of_class]] += number
    return ClassHeads(**heads)


def _histories(
    held: Iterable[pond_rows.HeldByMonth],
) -> dict[tuple[int, int], tuple[tuple[dt.date, ClassHeads], ...]]:
    points: dict[tuple[int, int], dict[dt.date, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    for cell in held:
        where = cell.balance.pond_id, cell.balance.kind_id
        for month, heads in cell.ends:
            points[where][month][FIELDS[cell.balance.of_class]] = heads
    return {
        where: tuple((month, ClassHeads(**heads)) for month, heads in sorted(months.items()))
        for where, months in points.items()
    }


def _months_before(day: dt.date, months: int) -> dt.date:
    at = day.year * 12 + day.month - 1 - months
    return dt.date(at // 12, at % 12 + 1, 1)


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
        ratio=_ratio(*caught, sum(caught) if row.is_complete else None),
        females_since=row.females_since,
        males_since=row.males_since,
    )


@lru_cache(maxsize=4096)
def _ratio(females: int, males: int, unsexed: int, total: int | None) -> Ratio:
    """Return the ratio of a haul; hauls do not change, so the limits of each are looked for once."""
    return ratio(females, males, unsexed, total=total)


def _seine_verdict(haul: SexedHaul | None, heads: ClassHeads, kind: KindRow) -> Verdict | None:
    if haul is None:
        return None
    return haul_verdict(
        haul.females,
        haul.males,
        standing=heads.total - heads.juveniles,
        target=kind.target,
        band=kind.band,
        is_complete=haul.is_complete,
    )


def _use(state: PondState | None) -> PondUse:
    if state is None:
        return PondUse(PondState.State.IN_USE, str(PondState.State.IN_USE.label))
    return PondUse(state.state, state.get_state_display(), state.from_on, state.ends_on)


def _losing(deaths: ClassHeads, head_days: float, kind: KindRow) -> LosingHeads | None:
    survival = kind.figures.get("SURVIVAL")
    if survival is None or not survival.expected:
        return None
    adults = max(0, deaths.total - deaths.juveniles)
    return losing_heads(adults, max(0.0, head_days), expected_annual_survival=survival.expected)


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
