"""What stands behind a placing of new females: ties shared out by ratio, and how far its worth is known."""

import heapq
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from stock.advisor.allocation import Allocation
from stock.estimators.estimate import check_number


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
    if not allocation.concave:
        return allocation
    table = np.asarray(gains, dtype=float)
    room = [min(int(cap), table.shape[1]) for cap in caps]
    standing, male_heads = np.asarray(females, dtype=float), np.asarray(males, dtype=float)

    def offer(pond: int, count: int) -> tuple[float, float, int]:
        ratio = (standing[pond] + count) / male_heads[pond] if male_heads[pond] > 0 else math.inf
        return -float(table[pond, count]), float(ratio), pond

    placed = [0] * len(room)
    queue = [offer(pond, 0) for pond, most in enumerate(room) if most > 0]
    heapq.heapify(queue)
    for _ in range(sum(allocation.heads_per_pond)):
        pond = queue[0][2]
        placed[pond] += 1
        if placed[pond] < room[pond]:
            heapq.heapreplace(queue, offer(pond, placed[pond]))
        else:
            heapq.heappop(queue)
    return _described(allocation, table, room, placed, exactly=exactly)


def _described(
    allocation: Allocation,
    table: np.ndarray,
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
