"""Which pond gets the new females: the gain of each, rival placings, and how sure it is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.allocation import Allocation, allocate
from stock.advisor.allocation_bound import bracket
from stock.advisor.eggs_a_female import EggsAFemale
from stock.advisor.reasons import WELFARE_RATIO, Obstacle, pond_cap, reason, why_not
from stock.advisor.yields import check_heads, check_ranges, draw_ranges, female_survival, fertility
from stock.estimators.estimate import check_count, check_number

__all__ = [
    "SETTLE",
    "WELFARE_RATIO",
    "Comparison",
    "GainsTable",
    "Obstacle",
    "Placing",
    "compare_placings",
    "gains_table",
    "how_often",
    "pond_cap",
    "reason",
    "why_not",
]

Floats = NDArray[np.float64]

SETTLE = (0.4, 0.7, 1.0)
"""Share of full laying in a female's first, second and third season in a pond (an assumption)."""

_SLACK = 1e-9


@dataclass(frozen=True)
class GainsTable:
    """
    What each further female would add.

    Parameters
    ----------
    gains : array, shape (ponds, levels)
        ``gains[i, k]``: hatched eggs over the seasons that female k + 1 adds in pond i, on average.
    present : array, shape (ponds,)
        Hatched eggs over the seasons without new females, on average.
    draw_gains : array, shape (kept draws, ponds, levels)
        The same gains in single draws, for `how_often`.
    seasons : int
        Seasons added up.
    """

    gains: Floats
    present: Floats
    draw_gains: NDArray[np.float32]
    seasons: int


def gains_table(
    females: ArrayLike,
    males: ArrayLike,
    *,
    laying: ArrayLike | None = None,
    nests: ArrayLike | None = None,
    eggs: ArrayLike | None = None,
    hatch: ArrayLike | None = None,
    learnt: EggsAFemale | None = None,
    survival: ArrayLike,
    male_survival: ArrayLike | None = None,
    settled: ArrayLike | None = None,
    max_heads: int,
    seasons: int = 5,
    settle: Sequence[float] = SETTLE,
    kinds: Sequence[Any] | None = None,
    draws: int = 1000,
    keep: int = 100,
    full_to: float = 5.0,
    exponent: float = 1.0,
    falls_below: float = WELFARE_RATIO,
    loss_at_zero: float = 0.2,
    rng: int | np.random.Generator,
) -> GainsTable:
    """
    Tabulate the hatched eggs that each further female would add in each pond.

    With x new females, f_i(x) is the mean over the draws of the sum over seasons t = 1 ... S of
    [F s^t + x settle_t s^t] x laying x nests x eggs x hatch x fert(r_t). F and M are the females
    and males there now; s^t is the product of t years' survival, each year's falling below 1.5
    females per male; r_t is all females over all males alive in season t, settled or not, and fert
    is `fertility`. The gain of female k + 1 is f_i(k + 1) - f_i(k).

    Parameters
    ----------
    females, males : array, shape (ponds,), or (ponds, draws) of joint draws
        Heads standing; plain numbers where the book is taken as it stands.
    laying, hatch, survival, male_survival : array, shape (3,) or (ponds, 3)
        Shares: low (5 %), expected, high (95 %). Males survive as females do, outside harm, unless
        ``male_survival`` is given.
    nests, eggs : array, shape (3,) or (ponds, 3)
        Nests per laying female and season; eggs per nest.
    learnt : EggsAFemale, optional
        Learnt hatched eggs of a settled female, row by row for the ponds, with as many draws; laying, nests, eggs
        and hatch are then not asked for. The yields are drawn apart from heads and survival, so the gains are taken
        with their mean, which is the same expectation with less chance in it; the single draws take their draws.
    settled : array, shape (ponds,), optional
        Settled-equivalent females among ``females`` now; those not yet settled are taken to have
        settled by the first season after. By default all are settled. It only lowers the eggs of
        the first season.
    max_heads : int
        Columns of the table: the most females any one pond could get.
    seasons : int
        Seasons looked ahead, 1 or more.
    settle : sequence of float
        Share of full laying in the first, second ... season in the pond; the last one goes on.
    kinds : sequence, length ponds, optional
        Kind of each pond; ponds of one kind share the draws of the kind's figures.
    draws, keep : int
        Draws averaged, and how many of them are kept one by one.
    full_to, exponent, falls_below, loss_at_zero : float
        The two assumed curves: see `fertility` and `female_survival`.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    GainsTable
        A pond without males gains nothing.

    Raises
    ------
    ValueError
        If a range, a number of heads or a setting is impossible.
    """
    female_heads, male_heads = check_heads(females, "females"), check_heads(males, "males")
    ponds = len(female_heads)
    if len(male_heads) != ponds:
        raise ValueError(f"males: {len(male_heads)} ponds were given, but {ponds} with females.")
    count = max(female_heads.shape[1], male_heads.shape[1])
    count = count if count > 1 else check_count(draws, "draws")
    levels = check_count(max_heads, "max_heads")
    if check_count(seasons, "seasons") == 0 or not settle:
        raise ValueError("seasons: give at least one season, and one share of settling.")
    settling = [check_number(share, "settle", low=0, high=1) for share in settle]
    generator = np.random.default_rng(rng)

    def draw(ranges: ArrayLike | None, name: str, high: float = np.inf) -> Floats:
        if ranges is None:
            raise ValueError(f"{name}: give its range, or what was learnt of the ponds.")
        checked = check_ranges(ranges, ponds, name, high=high)
        return draw_ranges(checked, count, generator, groups=kinds, high=high)

    if learnt is None:
        per_female = (
            draw(laying, "laying", 1.0)
            * draw(nests, "nests")
            * draw(eggs, "eggs")
            * draw(hatch, "hatch", 1.0)
        )
    else:
        per_female = _checked_learnt(learnt, ponds, count)
    yearly = draw(survival, "survival", 1.0)
    male_yearly = yearly if male_survival is None else draw(male_survival, "male_survival", 1.0)
    laying_now = np.ones(ponds)
    if settled is not None:
        settled_heads = check_heads(settled, "settled").mean(axis=1)
        mean_heads = female_heads.mean(axis=1)
        laying_now = np.divide(settled_heads, mean_heads, out=np.ones(ponds), where=mean_heads > 0)
        if (laying_now > 1 + _SLACK).any():
            raise ValueError("settled: more settled females were given than females.")
    kept = min(check_count(keep, "keep"), count)
    curve = {"full_to": full_to, "exponent": exponent}
    gains, present = np.zeros((ponds, levels)), np.zeros(ponds)
    draw_gains = np.zeros((kept, ponds, levels), dtype=np.float32)
    # Where both sexes survive alike and no harm is done, the ratio never moves and nor does fertility.
    is_plain = female_heads.shape[1] == male_heads.shape[1] == 1 and male_survival is None
    check_number(falls_below, "falls_below", low=0)
    for pond in range(ponds):
        old, standing_males = female_heads[pond], male_heads[pond]
        share = float(laying_now[pond])
        if is_plain and standing_males[0] > 0 and old[0] >= falls_below * standing_males[0]:
            alive = yearly[pond][:, np.newaxis] ** np.arange(1, seasons + 1)
            weights = per_female[pond][:, np.newaxis] * alive
            mean_weights = weights.mean(axis=0) if learnt is None else learnt.mean[pond] * alive.mean(axis=0)
            steps, before = _in_band(
                float(old[0]), float(standing_males[0]), levels, seasons, settling, share, curve
            )
            gains[pond] = np.round(mean_weights @ steps, 9)
            present[pond] = mean_weights @ before
            draw_gains[:, pond] = np.round(weights[:kept] @ steps, 6)
            continue
        old, standing_males = np.broadcast_to(old, count), np.broadcast_to(standing_males, count)
        hatched = np.empty((count, levels + 1))
        is_steady = (standing_males > 0) & (old >= falls_below * standing_males) & (male_survival is None)
        hatched[is_steady] = _steady(
            old[is_steady], standing_males[is_steady], levels, seasons, settling, share, yearly[pond][is_steady],
            curve,
        )  # fmt: skip
        moving = ~is_steady
        if moving.any():
            hatched[moving] = _year_by_year(
                old[moving], standing_males[moving], levels, seasons, settling, share, yearly[pond][moving],
                male_yearly[pond][moving], curve, falls_below, loss_at_zero,
            )  # fmt: skip
        if learnt is not None:
            mean_laid = learnt.mean[pond] * hatched.mean(axis=0)
        hatched *= per_female[pond][:, np.newaxis]
        # Rounding keeps the order of the gains and takes away the noise that would break ties.
        by_draw = np.round(np.diff(hatched, axis=1), 6)
        gains[pond], present[pond] = np.round(by_draw.mean(axis=0), 9), hatched[:, 0].mean()
        if learnt is not None:
            gains[pond], present[pond] = np.round(np.diff(mean_laid), 6), mean_laid[0]
        draw_gains[:, pond] = by_draw[:kept]
    return GainsTable(gains, present, draw_gains, seasons)


def _checked_learnt(learnt: EggsAFemale, ponds: int, count: int) -> Floats:
    if learnt.mean.shape != (ponds,) or learnt.draws.shape != (ponds, count):
        raise ValueError(
            f"learnt: give one mean a pond, {ponds} of them, and {count} draws of each; not {len(learnt.mean)} and "
            f"{learnt.draws.shape}."
        )
    if not (np.isfinite(learnt.draws).all() and (learnt.draws >= 0).all()):
        raise ValueError("learnt: hatched eggs of a female are 0 or more in every draw.")
    return learnt.draws


def _in_band(
    old: float,
    males: float,
    levels: int,
    seasons: int,
    settling: Sequence[float],
    laying_now: float,
    curve: dict[str, float],
) -> tuple[Floats, Floats]:
    """Return, by season and before survival, what each further female adds to the females that lay
    fertile eggs, shape (seasons, levels), and how many those are without any, shape (seasons,).
    """
    added = np.arange(levels + 1, dtype=float)
    fertile = fertility((old + added) / males, **curve)
    # Apart, so that where fertility is full each step is the settled share to the last bit: ties stay ties.
    from_old, from_new = np.diff(fertile), np.diff(added * fertile)
    shares = np.ones(seasons)
    shares[0] = laying_now
    settled = np.array([settling[min(season, len(settling) - 1)] for season in range(seasons)])
    steps = np.outer(old * shares, from_old) + np.outer(settled, from_new)
    return steps, old * shares * fertile[0]


def _steady(
    old: Floats,
    males: Floats,
    levels: int,
    seasons: int,
    settling: Sequence[float],
    laying_now: float,
    yearly: Floats,
    curve: dict[str, float],
) -> Floats:
    """Return what `_year_by_year` does, for draws in which both sexes survive alike: their ratio never moves."""
    alive = yearly[:, np.newaxis] ** np.arange(1, seasons + 1)
    shares = np.ones(seasons)
    shares[0] = laying_now
    settled = np.array([settling[min(season, len(settling) - 1)] for season in range(seasons)])
    added = np.arange(levels + 1, dtype=float)
    fertile = fertility((old[:, np.newaxis] + added) / males[:, np.newaxis], **curve)
    from_old, from_new = old * (alive @ shares), alive @ settled
    laid: Floats = (from_old[:, np.newaxis] + added * from_new[:, np.newaxis]) * fertile
    return laid


def _year_by_year(
    old_heads: Floats,
    male_heads: Floats,
    levels: int,
    seasons: int,
    settling: Sequence[float],
    laying_now: float,
    yearly: Floats,
    male_yearly: Floats,
    curve: dict[str, float],
    falls_below: float,
    loss_at_zero: float,
) -> Floats:
    """Return the females that lay fertile eggs, summed over the seasons, shape (draws, levels + 1)."""
    added = np.arange(levels + 1, dtype=float)
    old, standing_males = old_heads[:, np.newaxis], male_heads
    all_females = old + added
    laid = np.zeros(all_females.shape)
    alive: Floats = np.ones((len(old), 1))
    for season in range(seasons):
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios = all_females * alive / standing_males[:, np.newaxis]
        ratios = np.where(np.isnan(ratios), 0.0, ratios)
        alive = alive * female_survival(
            ratios, yearly[:, np.newaxis], falls_below=falls_below, loss_at_zero=loss_at_zero
        )
        standing_males = standing_males * male_yearly
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios = all_females * alive / standing_males[:, np.newaxis]
        ratios = np.where(np.isnan(ratios), 0.0, ratios)
        old_laying = laying_now if season == 0 else 1.0
        laying_females = old * old_laying + added * settling[min(season, len(settling) - 1)]
        laid += laying_females * alive * fertility(ratios, **curve)
    return laid


@dataclass(frozen=True)
class Placing:
    """One way to place the heads: heads for each pond, and the gain in all."""

    heads_per_pond: tuple[int, ...]
    total: float


@dataclass(frozen=True)
class Comparison:
    """The best placing beside an even split and beside worst ratio first."""

    best: Placing
    even_split: Placing
    worst_ratio_first: Placing


def _total(gains: Floats, heads_per_pond: Sequence[int]) -> float:
    return math.fsum(float(gains[pond, :count].sum()) for pond, count in enumerate(heads_per_pond))


def compare_placings(
    gains: ArrayLike,
    caps: Sequence[int],
    heads: int,
    *,
    females: ArrayLike,
    males: ArrayLike,
    best: Allocation | None = None,
) -> Comparison:
    """
    Set the best placing beside two a keeper might choose by eye.

    The even split gives every pond with room one more in turn. Worst ratio first gives the next
    female to the pond with the fewest females per male at that moment. All three place as many
    heads as the caps allow; ties go to the pond of lowest index.

    Parameters
    ----------
    gains : array, shape (ponds, levels)
        As in `GainsTable`.
    caps : sequence of int
        Most new females for each pond; a cap beyond the table counts as the table's length.
    heads : int
        New females to place.
    females, males : array, shape (ponds,)
        Heads standing.
    best : Allocation, optional
        The best placing of these heads, where it was found before.

    Raises
    ------
    ValueError
        As `allocate`.
    """
    table = np.asarray(gains, dtype=float)
    best = allocate(table, heads, caps=caps) if best is None else best
    room = np.minimum(np.asarray(caps, dtype=int), table.shape[1])
    standing, male_heads = np.asarray(females, dtype=float), np.asarray(males, dtype=float)
    even, worst = np.zeros(len(room), dtype=int), np.zeros(len(room), dtype=int)
    for _ in range(min(heads, int(room.sum()))):
        even[np.argmin(np.where(even < room, even, np.iinfo(int).max))] += 1
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios = np.where(male_heads > 0, (standing + worst) / male_heads, np.finfo(float).max)
        worst[np.argmin(np.where(worst < room, ratios, np.inf))] += 1
    return Comparison(
        Placing(best.heads_per_pond, best.total),
        Placing(tuple(even.tolist()), _total(table, even.tolist())),
        Placing(tuple(worst.tolist()), _total(table, worst.tolist())),
    )


def how_often(
    draw_gains: ArrayLike, heads_per_pond: Sequence[int], caps: Sequence[int], *, within: float = 0.01
) -> float:
    """
    Return the share of draws in which a placing is as good as the best of that draw.

    As good means that its total lies at most ``within`` of the best total below it, when as many
    heads are placed under the same caps.

    Parameters
    ----------
    draw_gains : array, shape (draws, ponds, levels)
        As in `GainsTable`.
    heads_per_pond : sequence of int
        The placing.
    caps : sequence of int
        Most new females for each pond.
    within : float
        Share of the best total that may be missed: 0.01 is 1 %.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If there are no draws, or the placing exceeds its caps or the table.
    """
    table = np.asarray(draw_gains, dtype=float)
    if table.ndim != 3 or not len(table):
        raise ValueError("draw_gains: there are no draws to compare with.")
    check_number(within, "within", low=0, high=1)
    for pond, (count, cap) in enumerate(zip(heads_per_pond, caps, strict=True)):
        if count > min(cap, table.shape[2]):
            raise ValueError(
                f"Pond {pond + 1}: {count} placed is above its cap of {min(cap, table.shape[2])}."
            )
    placed = sum(heads_per_pond)
    is_placed = np.arange(table.shape[2]) < np.asarray(heads_per_pond, dtype=int)[:, np.newaxis]
    here = table[:, is_placed].sum(axis=1)
    room = np.minimum(np.asarray(caps, dtype=int), table.shape[2])

    def is_good(best: Floats | float, total: Floats | float) -> Any:
        return total >= best - within * np.abs(best) - _SLACK

    best, rising = _best_totals(table, room, placed)
    good = is_good(best, here)
    for draw in rising:
        # What no placing exceeds, and what one reaches, settle most draws without finding the best.
        reached, most = bracket(table[draw], placed, caps=room.tolist())
        if is_good(most, here[draw]) == is_good(reached, here[draw]):
            good[draw] = is_good(most, here[draw])
        else:
            total = allocate(table[draw], placed, caps=room.tolist()).total
            good[draw] = is_good(total, here[draw])
    return float(np.mean(good))


def _best_totals(table: Floats, room: NDArray[np.int_], heads: int) -> tuple[Floats, NDArray[np.intp]]:
    """Return the best total of each draw, all heads placed that there is room for, but for draws whose gains rise.

    Those are named beside it; their totals are no best.
    """
    levels = np.arange(table.shape[2])
    is_open = levels < room[:, np.newaxis]
    within_room = table[:, is_open]
    rises = np.where(is_open[:, 1:], np.diff(table, axis=2), 0.0).max(axis=(1, 2), initial=0.0)
    largest = np.abs(within_room).max(axis=1, initial=0.0)
    surplus = max(0, within_room.shape[1] - heads)
    # Where gains never rise within a pond, the best placing takes the greatest gains of all.
    greatest = (
        np.partition(within_room, surplus, axis=1) if 0 < surplus < within_room.shape[1] else within_room
    )
    totals = greatest[:, surplus:].sum(axis=1)
    return np.asarray(totals, dtype=float), np.flatnonzero(rises > 1e-12 * largest)
