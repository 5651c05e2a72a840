"""Place a number of heads over ponds so that their gains add up to the most, exactly."""

import heapq
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.farm_plan import farm_plan
from stock.estimators.estimate import check_count

__all__ = ["DYNAMIC", "GREEDY", "Allocation", "allocate", "farm_plan"]

Floats = NDArray[np.float64]

_SLACK = 1e-12
GREEDY = "greedy"
DYNAMIC = "dynamic programming"


@dataclass(frozen=True)
class Allocation:
    """
    The best placing, and what stands behind it.

    Parameters
    ----------
    heads_per_pond : tuple of int
        Heads for each pond, floors included.
    total : float
        Sum of the gains of all heads above the floors, in the unit of the gains.
    unplaced : int
        Heads for which no room was left or, with ``exactly=False``, no gain.
    next_gains : tuple of float or None
        What one more head would add in each pond; None where the pond is at its cap.
    loss_per_pond : tuple of float or None
        What the total would lose if the pond gave up its last head to the best other use: the best
        next gain among the other ponds or, where they are full (or ``exactly=False`` and none
        gains), no use at all. None where the pond holds no head above its floor.
    ties : tuple of int
        Ponds whose next gain equals the smallest last gain that was accepted: the head could as
        well have gone there.
    concave : bool
        True where no pond's gains ever rise between its floor and its cap.
    method : str
        "greedy" or "dynamic programming"; both are exact.
    """

    heads_per_pond: tuple[int, ...]
    total: float
    unplaced: int
    next_gains: tuple[float | None, ...]
    loss_per_pond: tuple[float | None, ...]
    ties: tuple[int, ...]
    concave: bool
    method: str


def _pond(place: int, ponds: int) -> str:
    return f"Pond {place + 1} of {ponds}"


def _bounds(given: Iterable[Any] | None, defaults: Sequence[int], name: str) -> list[int]:
    if given is None:
        return list(defaults)
    bounds = list(given)
    if len(bounds) != len(defaults):
        raise ValueError(f"{name}: {len(bounds)} were given for {len(defaults)} ponds; give one for each.")
    return [
        default if bound is None else check_count(bound, f"{_pond(place, len(bounds))}, {name}")
        for place, (bound, default) in enumerate(zip(bounds, defaults, strict=True))
    ]


def allocate(
    gains: Sequence[ArrayLike] | NDArray[Any],
    heads: int,
    *,
    floors: Iterable[int | None] | None = None,
    caps: Iterable[int | None] | None = None,
    exactly: bool = True,
) -> Allocation:
    """
    Place ``heads`` over ponds for the greatest total gain.

    Where gains never rise within a pond (to 1e-12 of the largest gain) the next head always goes
    where it gains most, which is exact (Gross 1956; Fox 1966); else the exact placing is found by
    dynamic programming. Ties go to the pond of lowest index.

    Parameters
    ----------
    gains : sequence of arrays, or array of shape (ponds, levels)
        ``gains[i][k]`` is what head k + 1 adds in pond i. Rows may differ in length. Gains below a
        pond's floor are never read and may be infinite or missing (nan).
    heads : int
        Heads to place, those of the floors included.
    floors : sequence of int, optional
        Heads each pond must get; 0 by default. They are forced and not counted in ``total``.
    caps : sequence of int, optional
        Most heads each pond may get; the length of its row by default, and never more.
    exactly : bool
        True places every head there is room for, at a loss if need be. False stops where no further
        head gains: it finds the best total over any number up to ``heads``, with the fewest heads.

    Returns
    -------
    Allocation

    Raises
    ------
    ValueError
        If a count is impossible, a gain that would be read is not a finite number, a floor is above
        its pond's cap, or the floors together exceed the heads; the message names the pond.

    References
    ----------
    Fox (1966), Management Science 13, 210-216. Ibaraki & Katoh (1988), Resource Allocation Problems.
    """
    heads = check_count(heads, "heads")
    rows = [np.asarray(row, dtype=float) for row in gains]
    ponds = len(rows)
    for place, row in enumerate(rows):
        if row.ndim != 1:
            raise ValueError(f"{_pond(place, ponds)}: its gains are not one row of numbers.")
    lowest = _bounds(floors, [0] * ponds, "floors")
    lengths = [len(row) for row in rows]
    highest = [min(cap, length) for cap, length in zip(_bounds(caps, lengths, "caps"), lengths, strict=True)]
    forced = 0
    for place, (floor, cap) in enumerate(zip(lowest, highest, strict=True)):
        if floor > cap:
            raise ValueError(f"{_pond(place, ponds)}: its floor of {floor} is above its cap of {cap}.")
        forced += floor
        if forced > heads:
            raise ValueError(
                f"{_pond(place, ponds)}: with its floor of {floor} the floors ask for {forced} heads, "
                f"but there are {heads} to place."
            )
        if not np.isfinite(rows[place][floor:cap]).all():
            raise ValueError(
                f"{_pond(place, ponds)}: a gain between its floor and its cap is not a finite number."
            )
    steps = [row[floor:cap] for row, floor, cap in zip(rows, lowest, highest, strict=True)]
    scale = max((float(np.abs(row).max()) for row in steps if row.size), default=0.0)
    slack = _SLACK * scale
    concave = all(row.size < 2 or float(np.diff(row).max()) <= slack for row in steps)
    spare = heads - forced
    placed = _greedy(steps, spare, exactly) if concave else _dynamic(steps, spare, exactly, slack)
    return _describe(steps, lowest, placed, spare, exactly=exactly, concave=concave, slack=slack)


def _greedy(steps: list[Floats], heads: int, exactly: bool) -> list[int]:
    placed = [0] * len(steps)
    queue = [(-float(row[0]), place) for place, row in enumerate(steps) if row.size]
    heapq.heapify(queue)
    while heads and queue:
        loss, place = queue[0]
        if not exactly and loss >= 0:
            break
        heads -= 1
        placed[place] += 1
        row = steps[place]
        if placed[place] < row.size:
            heapq.heapreplace(queue, (-float(row[placed[place]]), place))
        else:
            heapq.heappop(queue)
    return placed


def _dynamic(steps: list[Floats], heads: int, exactly: bool, slack: float) -> list[int]:
    """Place by max-plus convolution, pond by pond, then walk back from the best end."""
    room = np.cumsum([min(row.size, heads) for row in steps])
    reach = min(heads, int(room[-1]))
    prefixes = [np.concatenate(([0.0], np.cumsum(row[:reach]))) for row in steps]
    # best[i][n]: the greatest total of n heads in ponds 0..i-1.
    best = [np.zeros(1)]
    for place, prefix in enumerate(prefixes):
        before = best[-1]
        size = min(reach, int(room[place])) + 1
        reached = np.full(size, -np.inf)
        trial = np.empty(before.size)
        for count, gain in enumerate(prefix):
            width = min(before.size, size - count)
            np.add(before[:width], gain, out=trial[:width])
            part = reached[count : count + width]
            np.maximum(part, trial[:width], out=part)
        best.append(reached)
    left = reach if exactly else int(np.flatnonzero(best[-1] >= best[-1].max() - slack)[0])
    placed = [0] * len(steps)
    for place in range(len(steps) - 1, -1, -1):
        before, prefix = best[place], prefixes[place]
        counts = np.arange(max(0, left - before.size + 1), min(left, prefix.size - 1) + 1)
        totals = before[left - counts] + prefix[counts]
        placed[place] = int(counts[np.flatnonzero(totals >= totals.max() - slack)[0]])
        left -= placed[place]
    return placed


def _describe(
    steps: list[Floats],
    floors: list[int],
    placed: list[int],
    spare: int,
    *,
    exactly: bool,
    concave: bool,
    slack: float,
) -> Allocation:
    total = math.fsum(float(gain) for row, count in zip(steps, placed, strict=True) for gain in row[:count])
    next_gains = [
        float(row[count]) if count < row.size else None for row, count in zip(steps, placed, strict=True)
    ]
    last_gains = [float(row[count - 1]) if count else None for row, count in zip(steps, placed, strict=True)]
    # The two best next gains suffice: a pond's best other use is the first, unless that is its own.
    offers = heapq.nlargest(2, ((gain, -place) for place, gain in enumerate(next_gains) if gain is not None))

    def best_other_use(place: int) -> float:
        others = [gain for gain, negative_place in offers if -negative_place != place]
        if not others:
            return 0.0
        return others[0] if exactly else max(0.0, others[0])

    losses = tuple(
        None if last is None else last - best_other_use(place) for place, last in enumerate(last_gains)
    )
    smallest = min((gain for gain in last_gains if gain is not None), default=None)
    ties = tuple(
        place
        for place, gain in enumerate(next_gains)
        if gain is not None and smallest is not None and abs(gain - smallest) <= slack
    )
    return Allocation(
        heads_per_pond=tuple(floor + count for floor, count in zip(floors, placed, strict=True)),
        total=total,
        unplaced=spare - sum(placed),
        next_gains=tuple(next_gains),
        loss_per_pond=losses,
        ties=ties,
        concave=concave,
        method=GREEDY if concave else DYNAMIC,
    )
