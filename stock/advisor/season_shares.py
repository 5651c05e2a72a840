"""Shares of many lots or ponds learnt together, so that a lucky small one does not come first. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from stock.estimators.estimate import check_confidence, check_counts

FEWEST = 4
_RAN_OFF = math.log(1e6)


@dataclass(frozen=True)
class ShrunkShare:
    """One share, drawn toward the share of all: its mean, limits, and how much of it is its own doing (0 to 1)."""

    value: float
    lower: float
    upper: float
    own_share: float


@dataclass(frozen=True)
class ShrunkShares:
    """
    Shares learnt together.

    Parameters
    ----------
    shares : tuple of ShrunkShare
        In the order given.
    overall : float
        The mean share of all lots (their true shares' mean; of pooled ones, all hatched over all eggs).
    worth : float or None
        How many eggs of its own a lot needs to count half; None where all are pooled or nothing is pooled.
    notes : tuple of str
        Sentences the reader must see.
    """

    shares: tuple[ShrunkShare, ...]
    overall: float
    worth: float | None
    notes: tuple[str, ...]


def shrink_shares(
    hatched: Sequence[int], eggs: Sequence[int], *, confidence: float = 0.9
) -> ShrunkShares | None:
    """
    Learn the hatch shares of many lots together.

    True shares are taken to be Beta between lots; its two figures are those under which the counts are likeliest, and
    a lot's share is Beta(hatched + a, eggs - hatched + b), whose mean is (hatched + a) / (eggs + a + b).

    Parameters
    ----------
    hatched, eggs : sequence of int
        Of each lot; a lot without eggs is given the mean of the lots.
    confidence : float
        Two-sided confidence level of the limits, which leave out the doubt of a and b.

    Returns
    -------
    ShrunkShares or None
        None where there are no eggs at all. With fewer than 4 lots, or where they differ no more than by chance, all
        are taken to be alike, and a note says so.

    Raises
    ------
    ValueError
        If a figure is impossible, they differ in number, or more hatched than there were eggs.

    References
    ----------
    Kleinman (1973), Journal of the American Statistical Association 68, 46-54: proportions with extraneous variance.
    """
    level = check_confidence(confidence)
    good = np.array(check_counts(hatched, "hatched"), dtype=float)
    all_eggs = np.array(check_counts(eggs, "eggs"), dtype=float)
    if good.size != all_eggs.size:
        raise ValueError(f"eggs: {all_eggs.size} were given for {good.size} lots; give one for each.")
    if (good > all_eggs).any():
        at = int(np.argmax(good > all_eggs))
        raise ValueError(f"hatched, number {at + 1}: {good[at]:g} cannot hatch of {all_eggs[at]:g} eggs.")
    if not all_eggs.sum():
        return None
    used = all_eggs > 0
    fitted = _fit(good[used], all_eggs[used]) if used.sum() >= FEWEST else None
    if fitted is None:
        few = int(used.sum()) < FEWEST
        note = (
            f"Fewer than {FEWEST} lots or ponds with eggs followed to their end: all are taken to be alike."
            if few
            else "They differ no more than by chance: all are taken to be alike."
        )
        # Jeffreys' prior, Beta(1/2, 1/2), for the one share of all.
        total = _share(good.sum() + 0.5, all_eggs.sum() - good.sum() + 0.5, level, 0.0)
        overall = float(good.sum() / all_eggs.sum())
        alike = ShrunkShare(overall, min(total.lower, overall), max(total.upper, overall), 0.0)
        return ShrunkShares((alike,) * good.size, overall, None, (note,))
    a, b = fitted
    shares = tuple(
        _share(one + a, of - one + b, level, float(of / (of + a + b)))
        for one, of in zip(good, all_eggs, strict=True)
    )
    return ShrunkShares(shares, a / (a + b), a + b, ())


def _share(a: float, b: float, confidence: float, own: float) -> ShrunkShare:
    tail = (1 - confidence) / 2
    return ShrunkShare(
        float(a / (a + b)), float(stats.beta.ppf(tail, a, b)), float(stats.beta.isf(tail, a, b)), own
    )


def _fit(good: np.ndarray, eggs: np.ndarray) -> tuple[float, float] | None:
    """Return the Beta's two figures by maximum likelihood, None where lots differ no more than by chance."""
    overall = float(good.sum() / eggs.sum())
    if overall in (0.0, 1.0):
        return None
    alike = float((special.xlogy(good, overall) + special.xlog1py(eggs - good, -overall)).sum())

    def loss(logs: np.ndarray) -> float:
        if abs(logs[0]) > 30 or logs[1] > _RAN_OFF or logs[1] < -10:
            return -alike + 1e3
        mean, worth = special.expit(logs[0]), math.exp(logs[1])
        a, b = mean * worth, (1 - mean) * worth
        return -float((special.betaln(good + a, eggs - good + b) - special.betaln(a, b)).sum())

    fits = [
        optimize.minimize(
            loss,
            (special.logit(overall), start),
            method="Nelder-Mead",
            options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 2000},
        )
        for start in (1.0, 3.0, 6.0)
    ]
    best = min(fits, key=lambda fit: float(fit.fun))
    if -best.fun <= alike + 1e-4 or best.x[1] > _RAN_OFF - 1:
        return None
    mean, worth = float(special.expit(best.x[0])), math.exp(best.x[1])
    return mean * worth, (1 - mean) * worth
