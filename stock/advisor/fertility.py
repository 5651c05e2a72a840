"""What too few and too many males do: fertility, with its delay, and the survival of females."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.estimators.estimate import check_number

Floats = NDArray[np.float64]

FERTILITY_SOURCE = (
    "Assumption: full fertility up to 5 females per male, falling beyond as (5 / ratio) to a power. "
    "No published curve is known for pond turtles."
)
FEMALE_SURVIVAL_SOURCE = (
    "Assumption: females bitten by too many males die more often; yearly survival falls in a straight "
    "line below 1.5 females per male. The harm is documented (Golubovic et al. 2018), the size is not."
)
STORED_SPERM = (0.0, 0.0, 0.5, 0.5)
"""
How much of this season's fertility goes back to the ratio of this season, of the one before, and so on: stored
sperm delays the fall by two to three years. An assumption; painted turtles used sperm up to three years old
(Pearse, Janzen & Avise 2001), terrapins without males laid 99, 88, 30 and 4 % fertile eggs in four years
(Barney 1922; Hildebrand 1929).
"""


def fertility(ratio: ArrayLike, *, full_to: float = 5.0, exponent: float = 1.0) -> Floats:
    """
    Return the fertility of eggs against females per male, as a share of full fertility.

    1 up to ``full_to`` females per male, (full_to / ratio) ** exponent beyond, 0 without males. An
    assumption (`FERTILITY_SOURCE`): stored sperm delays the fall by two or three years in truth.

    Parameters
    ----------
    ratio : array
        Females per male, 0 or more; infinite without males.
    full_to : float
        Females per male up to which one male is enough; above 0.
    exponent : float
        How fast fertility falls; 1 lets the number of fertile eggs stand still, 0 never lets it fall.

    Raises
    ------
    ValueError
        If a ratio is negative or a setting is impossible.
    """
    ratios = np.asarray(ratio, dtype=float)
    check_number(exponent, "exponent", low=0)
    if check_number(full_to, "full_to", low=0) == 0:
        raise ValueError("full_to: 0 females per male leaves no fertility at all; give more than 0.")
    if np.isnan(ratios).any() or (ratios < 0).any():
        raise ValueError("ratio: females per male must be 0 or more.")
    fertile: Floats = np.where(np.isinf(ratios), 0.0, (full_to / np.maximum(ratios, full_to)) ** exponent)
    return fertile


def female_survival(
    ratio: ArrayLike, survival: ArrayLike, *, falls_below: float = 1.5, loss_at_zero: float = 0.2
) -> Floats:
    """
    Return the yearly survival of females against females per male.

    Full at ``falls_below`` females per male and above; below, it falls in a straight line to
    (1 - loss_at_zero) of itself at a ratio of 0. An assumption (`FEMALE_SURVIVAL_SOURCE`).

    Parameters
    ----------
    ratio : array
        Females per male, 0 or more.
    survival : array, broadcast against ``ratio``
        Yearly survival in band, 0 to 1.
    falls_below : float
        Females per male below which males harm females; 0 or more (0 turns the fall off).
    loss_at_zero : float
        Share of the survival lost as the ratio goes to 0; 0 to 1.

    Raises
    ------
    ValueError
        If a ratio is negative, a survival is not a share, or a setting is impossible.
    """
    ratios, yearly = np.asarray(ratio, dtype=float), np.asarray(survival, dtype=float)
    check_number(falls_below, "falls_below", low=0)
    check_number(loss_at_zero, "loss_at_zero", low=0, high=1)
    if np.isnan(ratios).any() or (ratios < 0).any():
        raise ValueError("ratio: females per male must be 0 or more.")
    if not ((yearly >= 0) & (yearly <= 1)).all():
        raise ValueError("survival: the yearly survival must lie between 0 and 1.")
    if falls_below == 0:
        return np.broadcast_to(yearly, np.broadcast_shapes(ratios.shape, yearly.shape))
    shortfall = np.maximum(0.0, 1.0 - ratios / falls_below)
    lowered: Floats = yearly * (1.0 - loss_at_zero * shortfall)
    return lowered


def delayed_fertility(
    ratios: ArrayLike, *, delay: Sequence[float] = STORED_SPERM, full_to: float = 5.0, exponent: float = 1.0
) -> Floats:
    """
    Return the share of full fertility of this season from the ratios of this and earlier ones.

    The mean of `fertility` at each season's ratio, weighted by ``delay``. Seasons before the first one
    given are taken to have been like it.

    Parameters
    ----------
    ratios : array, shape (ponds, seasons)
        Females per male, oldest season first, this season last; infinite without males.
    delay : sequence of float
        Weight of this season's ratio, of the last one's, and so on; set to a sum of 1.
    full_to, exponent : float
        As in `fertility`.

    Returns
    -------
    array of float, shape (ponds,)

    Raises
    ------
    ValueError
        If the shape is wrong, a ratio is negative or a setting is impossible.
    """
    table = np.asarray(ratios, dtype=float)
    if table.ndim != 2 or not table.shape[1]:
        raise ValueError("ratios: give one row a pond, with at least this season's ratio in it.")
    weights = np.array([check_number(weight, "delay", low=0) for weight in delay])
    if not weights.sum():
        raise ValueError("delay: give at least one season a weight above 0.")
    back = np.maximum(table.shape[1] - 1 - np.arange(len(weights)), 0)
    fertile: Floats = fertility(table, full_to=full_to, exponent=exponent)[:, back] @ (
        weights / weights.sum()
    )
    return fertile
