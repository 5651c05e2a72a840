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
    rows, count = _readable(gains, heads, caps)
    if not rows or not count:
        return 0.0
    steps = np.concatenate([np.repeat(*_pools(row)) for row in rows])
    most = min(count, steps.size)
    best = steps if most == steps.size else np.partition(steps, steps.size - most)[steps.size - most :]
    return float(best.sum() if exactly else np.maximum(best, 0.0).sum())


def bracket(
    gains: Sequence[ArrayLike] | NDArray[Any], heads: int, *, caps: Iterable[int] | None = None
) -> tuple[float, float]:
    """
    Return a total that a placing of all heads there is room for reaches, and one that none exceeds.

    The first fills the steepest steps of the concave hulls, and cuts the last of them short.

    Parameters
    ----------
    gains, heads, caps
        As `most_possible`.

    Raises
    ------
    ValueError
        As `most_possible`.
    """
    rows, count = _readable(gains, heads, caps)
    if not rows or not count:
        return 0.0, 0.0
    pools = [_pools(row) for row in rows]
    slopes, sizes = (np.concatenate(part) for part in zip(*pools, strict=True))
    pond = np.repeat(np.arange(len(rows)), [len(means) for means, _ in pools])
    order = np.argsort(-slopes, kind="stable")
    filled = np.cumsum(sizes[order])
    whole = int(np.searchsorted(filled, count, side="right"))
    reached = float((slopes[order[:whole]] * sizes[order[:whole]]).sum())
    left = count - (int(filled[whole - 1]) if whole else 0)
    if whole == len(order) or not left:
        return reached, reached
    cut = order[whole]
    # Steps of a pond come in their order, for they only fall: its heads before this one are all placed.
    before = int(sizes[: cut + 1][pond[: cut + 1] == pond[cut]].sum() - sizes[cut])
    reached += float(rows[pond[cut]][before : before + left].sum())
    return reached, float(reached - rows[pond[cut]][before : before + left].sum() + slopes[cut] * left)


def _readable(
    gains: Sequence[ArrayLike] | NDArray[Any], heads: int, caps: Iterable[int] | None
) -> tuple[list[Floats], int]:
    """Return the gains that can be read, pond by pond, and the heads."""
    count = check_count(heads, "heads")
    rows = [np.asarray(row, dtype=float) for row in gains]
    if caps is not None:
        rows = [row[: check_count(cap, "caps")] for row, cap in zip(rows, caps, strict=True)]
    rows = [row[:count] for row in rows if row.size]
    if any(not np.isfinite(row).all() for row in rows):
        raise ValueError("gains: a gain that would be read is not a finite number.")
    return [row for row in rows if row.size], count


def _pools(row: Floats) -> tuple[Floats, NDArray[np.int_]]:
    """Return slope and length of each step of the concave hull of a pond's summed gains, from steep to flat."""
    rises = np.flatnonzero(np.diff(row) > 0)
    if not rises.size:
        return row, np.ones(row.size, dtype=int)
    # Pools of heads whose mean gain falls from pool to pool: a rise is spread over those before it.
    sums: list[float] = row[: rises[0]].tolist()
    sizes: list[int] = [1] * len(sums)
    for gain in row[rises[0] :].tolist():
        total, size = gain, 1
        while sums and sums[-1] * size <= total * sizes[-1]:
            total += sums.pop()
            size += sizes.pop()
        sums.append(total)
        sizes.append(size)
    return np.array(sums) / np.array(sizes), np.array(sizes)
