"""Somebody who is told every true rate of a simulated farm, but not who lives: the narrowest honest interval.

A Kalman filter in months over all ponds at once, on its own; it knows each pond's death rate in each year and
sex, the share found there, how often bursts come and how large they are, and how the seine and the sexing err.
"""

from __future__ import annotations

import numpy as np

from tests.simulator.farm import MONTH, FarmHistory
from tests.simulator.rates import Floats

FEWEST_IN_HAUL = 5


def oracle(history: FarmHistory, months: int) -> tuple[Floats, Floats]:
    """
    Return means, shape (2, ponds), and covariances, shape (2, 2, ponds), at the end of so many months.

    Only what was logged by then is used.
    """
    plan, rates = history.plan, history.rates
    known = history.known_by(months * MONTH)
    ponds = np.arange(plan.ponds)
    mean, own = np.zeros((2, plan.ponds)), np.zeros((2, 2, plan.ponds))
    own[[0, 1], [0, 1]] = 1e9
    size = np.array(plan.burst_size)
    burst_mean = plan.burst / 12 * size.mean()
    burst_square = plan.burst / 12 * (size[1] ** 3 - size[0] ** 3) / (3 * (size[1] - size[0]))

    def in_month(name: str, month: int) -> Floats:
        rows = known[name]
        return rows[np.floor((rows[:, 1] - 1e-9) / MONTH) == month]

    for row in known["counts"][known["counts"][:, 1] == 0]:
        _count(mean, own, row, rates.sexing_error)
    for month in range(months):
        for row in in_month("moves", month):
            mean[:, int(row[0])] += row[2:4]
        found = np.zeros_like(mean)
        for row in in_month("deaths", month):
            found[:, int(row[0])] += row[2:4]
        missed = -np.expm1(-rates.deaths[:, month // 12].T * (1 - rates.seen) / 12)
        left = np.maximum(mean - found / 2, 0.0)
        mean = mean - found - left * missed - left * burst_mean
        own *= (1 - missed[np.newaxis]) * (1 - missed[:, np.newaxis])
        own += burst_square * left[:, np.newaxis] * left[np.newaxis]
        own[[0, 1], [0, 1]] += left * missed
        for row in in_month("hauls", month):
            _haul(mean, own, row, history)
        for row in in_month("counts", month):
            if row[1] > 0:
                _count(mean, own, row, rates.sexing_error)
    return mean[:, ponds], own


def _update(mean: Floats, own: Floats, pond: int, form: Floats, told: Floats, error: Floats) -> None:
    across = own[:, :, pond] @ form.T
    gain = across @ np.linalg.pinv(form @ across + error + 1e-9 * np.eye(len(told)))
    mean[:, pond] += gain @ (told - form @ mean[:, pond])
    own[:, :, pond] -= gain @ across.T


def _count(mean: Floats, own: Floats, row: Floats, sexing_error: float) -> None:
    told, error = row[[2, 4]], np.array([[row[3] ** 2, row[6]], [row[6], row[5] ** 2]])
    form = np.eye(2)
    if row[3] == 0:
        # A drain-down misses nobody but takes some for the other sex.
        form = np.array([[1 - sexing_error, sexing_error], [sexing_error, 1 - sexing_error]])
        swapped = told.sum() * sexing_error * (1 - sexing_error)
        error = error + swapped * np.array([[1.0, -1.0], [-1.0, 1.0]])
    _update(mean, own, int(row[0]), form, told, error)


def _haul(mean: Floats, own: Floats, row: Floats, history: FarmHistory) -> None:
    pond, caught = int(row[0]), row[2:4]
    heads = np.maximum(mean[:, pond], 1.0)
    if caught.min() < FEWEST_IN_HAUL:
        return
    plan, error = history.plan, history.rates.sexing_error
    # The share as sexed is (1 - e) p + e (1 - p); sexes meet the seine as unevenly as their patches.
    seen = caught[0] / caught.sum()
    share = np.clip((seen - error) / (1 - 2 * error), 0.01, 0.99)
    told = np.log(share / (1 - share)) - np.log(history.rates.female_catch)
    missing = max(0.0, 1 - caught.sum() / heads.sum())
    use = plan.patches * plan.patch_evenness + 1
    pull = np.exp(plan.patch_sd**2) - 1
    patchy = 2 * pull * (plan.patches - 1) / (plan.patches * use)
    variance = missing * (1 / caught[0] + 1 / caught[1]) + patchy
    form = np.array([[1 / heads[0], -1 / heads[1]]])
    expected = np.log(heads[0] / heads[1])
    _update(
        mean,
        own,
        pond,
        form,
        np.array([told - expected + float(form[0] @ mean[:, pond])]),
        np.array([[variance]]),
    )
