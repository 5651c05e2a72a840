"""What became of the eggs, by pond, kind and season and by lot. Only reads; figures are eggs.

A basket traces its eggs to one pond and day. Where a lot was counted as a whole, the counts belong to a pond
only if all its eggs come from that pond (and season): those of a mixed lot are told as untraced, never shared out.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Max, Q, QuerySet, Sum

from ponds.lot_state import Tally
from ponds.models import Basket, Candling, EggLot, Hatch
from ponds.seasons import Season, season_of

CODES_AT_ONCE = 10_000
"""Of more lots than these, all rows are read, and those of others left out."""


@dataclass(frozen=True)
class PondHatch:
    """
    One pond's eggs of one kind, dug in one season: `eggs_set` = `eggs_followed` + `eggs_open` + `eggs_untraced`.

    Parameters
    ----------
    pond, kind : str
        Codes.
    season : int
        The year the nesting year ends in, by the day the eggs were dug.
    eggs_set : int
        Eggs set in baskets.
    eggs_followed : int
        Of those, eggs whose end is known: nothing of their basket (or unmixed lot) is left.
    hatched, clear, dead : int
        What the followed eggs came to; the clear share is clear / eggs_followed.
    uncounted : int
        Followed eggs thrown out without a count: eggs_followed - hatched - clear - dead.
    eggs_open : int
        Eggs still in, or not logged to their end.
    eggs_untraced : int
        Eggs of lots mixed from several ponds or seasons that were counted as a whole.
    """

    pond: str
    kind: str
    season: int
    eggs_set: int
    eggs_followed: int
    hatched: int
    clear: int
    dead: int
    eggs_open: int
    eggs_untraced: int

    @property
    def uncounted(self) -> int:
        return self.eggs_followed - self.hatched - self.clear - self.dead

    @property
    def hatch_share(self) -> float | None:
        """Share of the followed eggs that hatched, 0 to 1; None where none were followed to their end."""
        return self.hatched / self.eggs_followed if self.eggs_followed else None

    @property
    def clear_share(self) -> float | None:
        """Share of the followed eggs that were clear, 0 to 1; None where none were followed to their end."""
        return self.clear / self.eggs_followed if self.eggs_followed else None


@dataclass(frozen=True)
class LotHatch:
    """
    One lot and what became of its eggs so far.

    Parameters
    ----------
    lot : EggLot
        The row that stands, its kind with it.
    ponds : tuple of str
        Codes of the ponds its eggs come from, in letter order.
    baskets, containers : int
        How many stand.
    eggs, hatched, clear, dead : int
        Eggs set, and counted so far.
    left : int
        Eggs set and not counted.
    is_candled, is_done : bool
        Whether it was ever candled; whether nothing is left.
    counted_on : date or None
        The day of the last count.
    """

    lot: EggLot
    ponds: tuple[str, ...]
    baskets: int
    containers: int
    eggs: int
    hatched: int
    clear: int
    dead: int
    is_candled: bool
    is_done: bool
    counted_on: dt.date | None

    @property
    def left(self) -> int:
        return self.eggs - self.hatched - self.clear - self.dead


@dataclass
class _Held:
    """One basket in the reckoning."""

    lot: int
    number: int
    pond: str
    season: int
    container: int
    tally: Tally = field(default_factory=Tally)


@dataclass
class _Log:
    """Lots, baskets and counts, by the id of the row that first named the lot."""

    lots: dict[int, EggLot]
    baskets: dict[tuple[int, int], _Held]
    wholes: dict[int, Tally]
    counted_on: dict[int, dt.date]
    candled: set[int]

    def of_lot(self) -> dict[int, list[_Held]]:
        found: dict[int, list[_Held]] = defaultdict(list)
        for held in self.baskets.values():
            found[held.lot].append(held)
        return found


def by_pond(*, seasons: Iterable[int] | None = None) -> list[PondHatch]:
    """
    Return what became of the eggs of each pond, kind and season: four queries.

    Parameters
    ----------
    seasons : iterable of int, optional
        Only these, each the year it ends in.

    Returns
    -------
    list of PondHatch
        One for each pond, kind and season with eggs set, ordered by season, pond letter and kind.
    """
    wanted = None if seasons is None else set(seasons)
    log = _read(_set_near(wanted))
    sums: _Sums = {}
    for first, held in log.of_lot().items():
        _add_lot(sums, log, first, held)
    return [row for row in _rows(sums) if wanted is None or row.season in wanted]


def by_pond_and_lot(
    lots: QuerySet, *, until: dt.date | None = None
) -> list[tuple[LotHatch, list[PondHatch]]]:
    """
    Return each of these lots with what became of the eggs of each pond in it: four queries.

    With `until`, what was found after that day is left out.
    """
    log = _read(lots, until)
    held_of = log.of_lot()
    found = []
    for first, lot in log.lots.items():
        sums: _Sums = {}
        _add_lot(sums, log, first, held_of.get(first, []))
        found.append((_lot_hatch(log, first, lot, held_of.get(first, [])), _rows(sums)))
    return found


def by_lot(lots: QuerySet | None = None) -> list[LotHatch]:
    """
    Return each lot that stands and what became of its eggs: four queries.

    Parameters
    ----------
    lots : QuerySet of EggLot, optional
        Rows that stand; all of them when left out.

    Returns
    -------
    list of LotHatch
        The lot set last first.
    """
    log = _read(lots)
    held_of = log.of_lot()
    found = [_lot_hatch(log, first, lot, held_of.get(first, [])) for first, lot in log.lots.items()]
    return sorted(found, key=lambda one: (one.lot.set_on, one.lot.code), reverse=True)


def _lot_hatch(log: _Log, first: int, lot: EggLot, held: list[_Held]) -> LotHatch:
    whole = log.wholes.get(first, Tally())
    total = _total(held, whole)
    return LotHatch(
        lot=lot,
        ponds=tuple(sorted({basket.pond for basket in held}, key=lambda pond: (len(pond), pond))),
        baskets=len(held),
        containers=len({basket.container for basket in held}),
        eggs=total.eggs,
        hatched=total.hatched,
        clear=total.clear,
        dead=total.dead,
        is_candled=first in log.candled,
        is_done=_is_done(held, whole),
        counted_on=log.counted_on.get(first),
    )


_SUMS = ("eggs_set", "eggs_followed", "hatched", "clear", "dead", "eggs_open", "eggs_untraced")


_Sums = dict[tuple[str, str, int], dict[str, int]]


def _rows(sums: _Sums) -> list[PondHatch]:
    rows = [
        PondHatch(pond=pond, kind=kind, season=season, **{name: found[name] for name in _SUMS})
        for (pond, kind, season), found in sums.items()
    ]
    return sorted(rows, key=lambda row: (row.season, len(row.pond), row.pond, row.kind))


def _add_lot(sums: _Sums, log: _Log, first: int, held: list[_Held]) -> None:
    """Add one lot's eggs to the sums of the ponds and seasons they come from."""
    kind = log.lots[first].kind.code
    whole = log.wholes.get(first, Tally())
    origins = {(basket.pond, basket.season) for basket in held}
    if len(origins) == 1 and whole.counted:
        found = sums.setdefault((held[0].pond, kind, held[0].season), defaultdict(int))
        _add(found, _total(held, whole), is_followed=_is_done(held, whole))
        return
    for basket in held:
        found = sums.setdefault((basket.pond, kind, basket.season), defaultdict(int))
        if whole.counted:
            found["eggs_set"] += basket.tally.eggs
            found["eggs_untraced"] += basket.tally.eggs
        else:
            _add(found, basket.tally, is_followed=basket.tally.is_done or whole.is_last)


def _add(found: dict[str, int], tally: Tally, *, is_followed: bool) -> None:
    found["eggs_set"] += tally.eggs
    if not is_followed:
        found["eggs_open"] += tally.eggs
        return
    found["eggs_followed"] += tally.eggs
    for name in ("hatched", "clear", "dead"):
        found[name] += getattr(tally, name)


def _total(held: list[_Held], whole: Tally) -> Tally:
    total = Tally(hatched=whole.hatched, clear=whole.clear, dead=whole.dead, is_last=whole.is_last)
    for basket in held:
        total.eggs += basket.tally.eggs
        for name in ("hatched", "clear", "dead"):
            setattr(total, name, getattr(total, name) + getattr(basket.tally, name))
    return total


def _is_done(held: list[_Held], whole: Tally) -> bool:
    total = _total(held, whole)
    return total.is_done or (bool(held) and all(basket.tally.is_done for basket in held))


def _set_near(seasons: set[int] | None) -> QuerySet | None:
    """Return the lots that may hold eggs of these seasons: those set in one, or soon after it."""
    if seasons is None:
        return None
    asked = Q(pk__in=[])
    for year in seasons:
        season = Season(year)
        asked |= Q(set_on__range=(season.starts_on, season.ends_on + dt.timedelta(days=60)))
    return EggLot.objects.standing().filter(asked)


def _read(lots: QuerySet | None, until: dt.date | None = None) -> _Log:
    rows = EggLot.objects.standing() if lots is None else lots
    standing = {lot.code: lot for lot in rows.select_related("kind", "by")}
    # Everything of a lot points at the row that first named its code, which is joined by the code. The codes are given
    # one by one: held against the lots' own query PostgreSQL may look through all lots for each basket, for minutes.
    of_these = Q() if lots is None or len(standing) > CODES_AT_ONCE else Q(lot__code__in=list(standing))
    by_first: dict[int, EggLot] = {}
    baskets: dict[tuple[int, int], _Held] = {}
    columns = ("lot", "lot__code", "number", "pond__code", "dug_on", "eggs", "container")
    for lot, code, number, pond, dug_on, eggs, container in (
        Basket.objects.standing().filter(of_these).values_list(*columns)
    ):
        if code not in standing:
            continue
        by_first[lot] = standing[code]
        baskets[lot, number] = _Held(lot, number, pond, season_of(dug_on).year, container, Tally(eggs))
    log = _Log(by_first, baskets, defaultdict(Tally), {}, set())
    candled, hatched = Candling.objects.standing().filter(of_these), Hatch.objects.standing().filter(of_these)
    if until is not None:
        candled, hatched = candled.filter(candled_on__lte=until), hatched.filter(hatched_on__lte=until)
    _count_in(log, candled, "candled_on", ("clear", "dead"))
    _count_in(log, hatched, "hatched_on", ("hatched", "clear", "dead"))
    # A lot without baskets has nothing that points at its first row, nor any need of one.
    named = {lot.code for lot in by_first.values()}
    for lot in standing.values():
        if lot.code not in named:
            by_first[-lot.pk] = lot
    return log


def _count_in(log: _Log, counts: QuerySet, day: str, names: tuple[str, ...]) -> None:
    groups = ("lot", "basket__number", "is_last") if "hatched" in names else ("lot", "basket__number")
    rows = counts.order_by().values(*groups).annotate(
        latest=Max(day), **{f"all_{name}": Sum(name) for name in names}
    )  # fmt: skip
    for row in rows:
        first, number = row["lot"], row["basket__number"]
        tally = log.wholes[first] if number is None else log.baskets[first, number].tally
        for name in names:
            setattr(tally, name, getattr(tally, name) + row[f"all_{name}"])
        tally.is_last |= row.get("is_last", False)
        log.counted_on[first] = max(row["latest"], log.counted_on.get(first, row["latest"]))
        if "hatched" not in names:
            log.candled.add(first)
