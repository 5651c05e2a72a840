"""What stands behind a placing of new females: ties shared out by ratio, and how far its worth is known."""

import heapq
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.allocation import Allocation
from stock.advisor.yields import fertility
from stock.estimators.estimate import check_count, check_number

Floats = NDArray[np.float64]

_SLACK = 1e-9


def share_ties(
    allocation: Allocation,
    gains: ArrayLike,
    *,
    caps: Sequence[int],
    females: ArrayLike,
    males: ArrayLike,
    exactly: bool = True,
) -> Allocation:
    """
    Return an equally good placing in which heads that gain the same go where the ratio is lowest.

    Ponds of one kind share its figures, so in band a further female is often worth the same in many of
    them, and the first pond would be filled before the next. Here each head of equal gain goes to the
    pond with the fewest females per male at that moment, which keeps all of them near the target. The
    total stays the same. A placing found by dynamic programming is returned as it is.

    Parameters
    ----------
    allocation : Allocation
        What `allocate` found, without floors.
    gains : array, shape (ponds, levels)
        The gains it was found from.
    caps : sequence of int
        Most new females for each pond, as given to `allocate`.
    females, males : array, shape (ponds,)
        Heads standing.
    exactly : bool
        As given to `allocate`.

    Returns
    -------
    Allocation
        With next gains, losses and ties of the new placing.
    """
    table = np.asarray(gains, dtype=float)
    room = [min(int(cap), table.shape[1]) for cap in caps]
    standing, male_heads = np.asarray(females, dtype=float), np.asarray(males, dtype=float)

    def ratio(pond: int, count: int) -> float:
        """Females per male once the pond has got ``count``."""
        return float((standing[pond] + count) / male_heads[pond]) if male_heads[pond] > 0 else math.inf

    share = _served_in_order if allocation.concave else _exchanged
    placed = share(list(allocation.heads_per_pond), table, room, ratio)
    return _described(allocation, table, room, placed, exactly=exactly)


Ratio = Callable[[int, int], float]


def _served_in_order(heads_per_pond: list[int], table: Floats, room: list[int], ratio: Ratio) -> list[int]:
    """Place every head anew where it gains most, of equals where the ratio is lowest."""

    def offer(pond: int, count: int) -> tuple[float, float, int]:
        return -float(table[pond, count]), ratio(pond, count), pond

    placed = [0] * len(room)
    queue = [offer(pond, 0) for pond, most in enumerate(room) if most > 0]
    heapq.heapify(queue)
    for _ in range(sum(heads_per_pond)):
        pond = queue[0][2]
        placed[pond] += 1
        if placed[pond] < room[pond]:
            heapq.heapreplace(queue, offer(pond, placed[pond]))
        else:
            heapq.heappop(queue)
    return placed


_MOST_ROUNDS = 50


def _exchanged(heads_per_pond: list[int], table: Floats, room: list[int], ratio: Ratio) -> list[int]:
    """Share heads out anew among ponds where they gain the same, lowest ratio first, until nothing changes.

    Each sharing lowers the sum, over all heads, of the ratio each one met, or leaves it; so it ends.
    """
    placed = list(heads_per_pond)
    for _ in range(_MOST_ROUNDS):
        before = list(placed)
        for gain in sorted(_gains_at_the_margin(placed, table, room), reverse=True):
            _share_one_gain(gain, placed, table, room, ratio)
        if placed == before:
            break
    return placed


def _gains_at_the_margin(placed: list[int], table: Floats, room: list[int]) -> set[float]:
    """Return the gains that the last head of some pond has and the next head of another."""
    last = {float(table[pond, count - 1]) for pond, count in enumerate(placed) if count}
    return last & {float(table[pond, count]) for pond, count in enumerate(placed) if count < room[pond]}


def _share_one_gain(gain: float, placed: list[int], table: Floats, room: list[int], ratio: Ratio) -> None:
    """Share out, lowest ratio first, the heads that gain as much as given in ponds whose margin lies there."""
    lows: dict[int, int] = {}
    highs: dict[int, int] = {}
    for pond, count in enumerate(placed):
        low = high = count
        while low and table[pond, low - 1] == gain:
            low -= 1
        while high < room[pond] and table[pond, high] == gain:
            high += 1
        if low < high:
            lows[pond], highs[pond] = low, high
    heads = sum(placed[pond] - low for pond, low in lows.items())
    queue = [(ratio(pond, low), pond) for pond, low in lows.items()]
    heapq.heapify(queue)
    for pond, low in lows.items():
        placed[pond] = low
    for _ in range(heads):
        pond = queue[0][1]
        placed[pond] += 1
        if placed[pond] < highs[pond]:
            heapq.heapreplace(queue, (ratio(pond, placed[pond]), pond))
        else:
            heapq.heappop(queue)


def _described(
    allocation: Allocation,
    table: Floats,
    room: Sequence[int],
    placed: Sequence[int],
    *,
    exactly: bool,
) -> Allocation:
    pairs = list(zip(placed, room, strict=True))
    next_gains = [
        float(table[pond, count]) if count < most else None for pond, (count, most) in enumerate(pairs)
    ]
    last_gains = [float(table[pond, count - 1]) if count else None for pond, count in enumerate(placed)]
    least = 0.0 if exactly is False else -math.inf

    def best_other_use(pond: int) -> float:
        others = [gain for other, gain in enumerate(next_gains) if other != pond and gain is not None]
        return max(least, max(others)) if others else 0.0

    smallest = min((gain for gain in last_gains if gain is not None), default=None)
    return replace(
        allocation,
        heads_per_pond=tuple(placed),
        total=math.fsum(float(gain) for pond, count in enumerate(placed) for gain in table[pond, :count]),
        next_gains=tuple(next_gains),
        loss_per_pond=tuple(
            None if last is None else last - best_other_use(pond) for pond, last in enumerate(last_gains)
        ),
        ties=tuple(pond for pond, gain in enumerate(next_gains) if gain is not None and gain == smallest),
    )


def total_range(
    draw_gains: ArrayLike, heads_per_pond: Sequence[int], *, confidence: float = 0.9
) -> tuple[float, float]:
    """
    Return the limits of what a placing adds, from single draws of the kind's figures.

    Parameters
    ----------
    draw_gains : array, shape (draws, ponds, levels)
        As in `GainsTable`; the more draws, the steadier the limits.
    heads_per_pond : sequence of int
        The placing.
    confidence : float
        Two-sided: 0.9 gives the 5 % and the 95 % point.

    Returns
    -------
    (float, float)
        Hatched eggs, low and high.

    Raises
    ------
    ValueError
        If there are no draws.
    """
    table = np.asarray(draw_gains, dtype=float)
    if table.ndim != 3 or not len(table):
        raise ValueError("draw_gains: there are no draws to take limits from.")
    check_number(confidence, "confidence", low=0, high=1)
    counts = np.asarray(heads_per_pond, dtype=int)
    is_placed = np.arange(table.shape[2]) < counts[:, np.newaxis]
    totals = np.where(is_placed, table, 0.0).sum(axis=(1, 2))
    low, high = np.quantile(totals, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


@dataclass(frozen=True)
class SeasonLine:
    """
    One season of a pond's arithmetic, by the expected figures.

    Parameters
    ----------
    season : int
        1 for the coming one.
    alive : float
        Share of the females of now that live in it.
    settled_share : float
        What a new female lays of a settled one.
    old_laying, new_laying : float
        Females that lay fully, of those standing and of the new ones.
    fertile_before, fertile_after : float
        Share of full fertility without and with the new females.
    eggs_before, eggs_after : float
        Hatched eggs without and with them.
    """

    season: int
    alive: float
    settled_share: float
    old_laying: float
    new_laying: float
    fertile_before: float
    fertile_after: float
    eggs_before: float
    eggs_after: float

    @property
    def added(self) -> float:
        """Hatched eggs the new females add."""
        return self.eggs_after - self.eggs_before


def season_lines(
    females: float,
    males: float,
    added: int,
    *,
    a_female: float,
    survival: float,
    settled: float,
    seasons: int,
    settle: Sequence[float],
    full_to: float = 5.0,
    exponent: float = 1.0,
) -> tuple[SeasonLine, ...]:
    """
    Write out season by season what new females add in a pond in band, to be checked by hand.

    It is what `gains_table` adds up, for figures without a range and a pond whose males harm nobody:
    males and females survive alike, so the ratio stays.

    Parameters
    ----------
    females, males : float
        Heads standing; males above 0.
    added : int
        New females.
    a_female : float
        Hatched eggs of a settled female in a season: laying x nests x eggs x hatch.
    survival : float
        Yearly, 0 to 1.
    settled : float
        Settled-equivalent females among those standing, for the coming season.
    seasons : int
        Seasons, 1 or more.
    settle, full_to, exponent
        As in `gains_table`.

    Raises
    ------
    ValueError
        If a number is impossible.
    """
    check_number(a_female, "a_female", low=0)
    check_number(survival, "survival", low=0, high=1)
    if check_number(males, "males", low=0) == 0:
        raise ValueError("males: without males no egg is fertile; there is nothing to write out.")
    before, after = (
        float(value)
        for value in fertility(
            [females / males, (females + added) / males], full_to=full_to, exponent=exponent
        )
    )
    lines = []
    for season in range(1, check_count(seasons, "seasons") + 1):
        alive = survival**season
        share = settle[min(season, len(settle)) - 1]
        old = (settled if season == 1 else females) * alive
        new = added * share * alive
        lines.append(
            SeasonLine(
                season, alive, share, old, new, before, after,
                old * before * a_female, (old + new) * after * a_female,
            )
        )  # fmt: skip
    return tuple(lines)
