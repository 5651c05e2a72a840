"""Gains of new females where nobody knows where full fertility ends: the curve is drawn with all the rest."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from stock.advisor.eggs_a_female import EggsAFemale
from stock.advisor.families import Floats
from stock.advisor.placing import GainsTable, gains_table
from stock.advisor.ranges import Z_95
from stock.estimators.estimate import check_count, check_number

STEPS = 5
"""Equally likely ends of full fertility, each taken by a fifth of the draws."""

# Standard normal points in the middle of five equally likely parts (Abramowitz & Stegun 1964, table 26.1).
_MIDDLES = (-1.2815515655, -0.5244005127, 0.0, 0.5244005127, 1.2815515655)


def ends_of_full_fertility(low: float, expected: float, high: float) -> tuple[float, ...]:
    """
    Return females per male at which full fertility ends, equally likely; one where there is no doubt.

    ``low`` and ``high`` are 5 % and 95 % points about ``expected``, each side normal in the logarithm.

    Raises
    ------
    ValueError
        If they are not in order, or not above 0.

    Examples
    --------
    >>> [round(end, 1) for end in ends_of_full_fertility(3, 5, 8)]
    [3.4, 4.2, 5.0, 5.8, 7.2]
    >>> ends_of_full_fertility(5, 5, 5)
    (5.0,)
    """
    ends = [
        check_number(end, name, low=0) for end, name in ((low, "low"), (expected, "expected"), (high, "high"))
    ]
    if not 0 < ends[0] <= ends[1] <= ends[2]:
        raise ValueError(
            f"Full fertility ends at {low:g} at the soonest, {expected:g} as expected and {high:g} at the latest: give "
            "them in order, above 0."
        )
    if ends[0] == ends[2]:
        return (ends[1],)
    down, up = math.log(ends[1] / ends[0]) / Z_95, math.log(ends[2] / ends[1]) / Z_95
    return tuple(ends[1] * math.exp(z * (down if z < 0 else up)) for z in _MIDDLES)


def gains_in_doubt(
    females: ArrayLike,
    males: ArrayLike,
    *,
    full_to: Sequence[float],
    draws: int,
    keep: int,
    rng: int,
    learnt: EggsAFemale | None = None,
    settled: ArrayLike | None = None,
    **asked: Any,
) -> GainsTable:
    """
    Tabulate gains as `gains_table` does, with an equal share of the draws for each end of full fertility.

    Parameters
    ----------
    females, males : array, shape (ponds,), or (ponds, draws) of joint draws
    full_to : sequence of float
        Ends of full fertility, equally likely (`ends_of_full_fertility`).
    draws, keep : int
        Over all of them.
    rng : int
        Seed.
    learnt : EggsAFemale, optional
        As `gains_table`, with as many draws.
    settled : array, shape (ponds,), optional
        As `gains_table`, over all draws.
    **asked
        As `gains_table`.

    Raises
    ------
    ValueError
        As `gains_table`, or if there are fewer draws than ends.
    """
    count = check_count(draws, "draws")
    ends = len(full_to)
    if not ends or count < ends:
        raise ValueError(f"draws: {count} draws do not suffice for {ends} ends of full fertility.")
    if ends == 1:
        return gains_table(
            females, males, full_to=full_to[0], draws=draws, keep=keep, rng=rng, learnt=learnt, settled=settled,
            **asked,
        )  # fmt: skip
    heads, partners = np.asarray(females, dtype=float), np.asarray(males, dtype=float)
    parts = [slice(place, None, ends) for place in range(ends)]
    share = None if settled is None else _share(np.asarray(settled, dtype=float), heads)
    kept = max(1, min(keep, count) // ends)
    tables = [
        gains_table(
            _part(heads, part),
            _part(partners, part),
            full_to=end,
            draws=len(range(count)[part]),
            keep=kept,
            rng=rng + place,
            settled=None if share is None else share * _mean(_part(heads, part)),
            learnt=None if learnt is None else EggsAFemale(learnt.mean, learnt.draws[:, part]),
            **asked,
        )
        for place, (end, part) in enumerate(zip(full_to, parts, strict=True))
    ]
    return GainsTable(
        # Rounded again, so that equal gains stay equal whatever the order of the sum.
        np.round(np.stack([table.gains for table in tables]).mean(axis=0), 9),
        np.stack([table.present for table in tables]).mean(axis=0),
        np.concatenate([table.draw_gains for table in tables]),
        tables[0].seasons,
    )


def _mean(heads: Floats) -> Floats:
    return heads.mean(axis=1) if heads.ndim == 2 else heads


def _share(settled: Floats, heads: Floats) -> Floats:
    """Return the settled share of each pond's females, which all parts of the draws have alike."""
    females = _mean(heads)
    return np.divide(settled, females, out=np.ones(len(females)), where=females > 0)


def _part(heads: Floats, part: slice) -> Floats:
    """Return the draws of a part; heads that are not drawn are the same in all of them."""
    return heads[:, part] if heads.ndim == 2 and heads.shape[1] > 1 else heads
