"""A bound on what any placing can gain, proven without finding one."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.estimators.estimate import check_count

Floats = NDArray[np.float64]


def most_possible(
    gains: Sequence[ArrayLike] | NDArray[Any],
    heads: int,
    *,
    caps: Iterable[int] | None = None,
    exactly: bool = True,
) -> float:
    """
    Return a total that no placing of the heads can exceed.

    Each pond's summed gains are raised to their concave hull, the lowest curve above them that bends only down; on
    hulls, heads may even be parted, and the best total is the sum of the steepest steps. That is the linear
    relaxation, equal to the dual bound of Lagrange (Geoffrion 1974, Mathematical Programming Study 2, 82-114). Where
    no pond's gains rise it is the best total itself.

    Parameters
    ----------
    gains : sequence of arrays, or array of shape (ponds, levels)
        ``gains[i][k]`` is what head k + 1 adds in pond i.
    heads : int
    caps : sequence of int, optional
        Most heads each pond may get.
    exactly : bool
        True places every head there is room for; False only those that gain.

    Raises
    ------
    ValueError
        If heads or a cap is impossible, or a gain is not a finite number.
    """
    count = check_count(heads, "heads")
    rows = [np.asarray(row, dtype=float) for row in gains]
    if caps is not None:
        rows = [row[: check_count(cap, "caps")] for row, cap in zip(rows, caps, strict=True)]
    rows = [row[:count] for row in rows if row.size]
    if any(not np.isfinite(row).all() for row in rows):
        raise ValueError("gains: a gain that would be read is not a finite number.")
    if not rows or not count:
        return 0.0
    steps = np.concatenate([_hull_steps(row) for row in rows])
    most = min(count, steps.size)
    best = steps if most == steps.size else np.partition(steps, steps.size - most)[steps.size - most :]
    return float(best.sum() if exactly else np.maximum(best, 0.0).sum())


def _hull_steps(row: Floats) -> Floats:
    """Return the steps of the concave hull of a pond's summed gains, a step a head, from steep to flat."""
    if row.size < 2 or not (np.diff(row) > 0).any():
        return row
    # Pools of heads whose mean gain falls from pool to pool: a rise is spread over those before it.
    sums: list[float] = []
    sizes: list[int] = []
    for gain in row.tolist():
        total, size = gain, 1
        while sums and sums[-1] * size <= total * sizes[-1]:
            total += sums.pop()
            size += sizes.pop()
        sums.append(total)
        sizes.append(size)
    return np.repeat(np.array(sums) / np.array(sizes), sizes)
