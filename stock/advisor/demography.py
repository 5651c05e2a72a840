"""Stage matrices: whether a stock holds itself, and how many young it takes each year if not."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from stock.estimators.estimate import Estimate, Status, check_count, check_number

Floats = NDArray[np.float64]

EQUILIBRIUM_NOTE = "This is what steady figures lead to in the end (an equilibrium), not a forecast."
_SLACK = 1e-9
_SPECK = 1e-14
_NEAR_NOTHING = 1e-10


@dataclass(frozen=True)
class Growth:
    """
    What a stage matrix says of a stock in the long run.

    Parameters
    ----------
    growth_rate : float or None
        Factor by which the stock changes a year once its stages are steady; 1 holds it.
    stable_stage : array of shape (stages,), or None
        Share of each stage then; sums to 1.
    reproductive_value : array of shape (stages,), or None
        What a head of each stage is worth for the future stock, the first stage being 1 (the most
        valuable stage being 1 where the first has no future).
    sensitivity, elasticity : array of shape (stages, stages), or None
        Change of ``growth_rate`` with each entry of the matrix: absolute, and proportional.
        Elasticities sum to 1.
    status : Status
        ``no_estimate`` where no stage feeds another in a circle, so that all die out;
        ``low_confidence`` where two parts of the stock keep the same pace apart from each other.
    notes : tuple of str
        Sentences the reader must see.
    """

    growth_rate: float | None
    stable_stage: Floats | None
    reproductive_value: Floats | None
    sensitivity: Floats | None
    elasticity: Floats | None
    status: Status
    notes: tuple[str, ...]

    @property
    def intrinsic_rate(self) -> float | None:
        """Natural logarithm of the growth rate, a year."""
        return None if self.growth_rate is None else math.log(self.growth_rate)


def _check_matrix(matrix: ArrayLike, name: str) -> Floats:
    array = np.asarray(matrix, dtype=float)
    if array.ndim != 2 or array.shape[0] != array.shape[1] or not array.size:
        raise ValueError(f"{name}: give a square table, one row and one column a stage.")
    if not np.isfinite(array).all() or (array < 0).any():
        raise ValueError(f"{name}: every figure must be a number, 0 or more.")
    return array


def _check_survival(moves: Floats, name: str) -> None:
    """Refuse stages whose heads go on to more places than there are heads."""
    for stage, total in enumerate(moves.sum(axis=0), start=1):
        if total > 1 + _SLACK:
            raise ValueError(
                f"{name}: the shares of stage {stage} that live on sum to {total:.4g}; they cannot exceed 1."
            )


def _check_pair(transitions: ArrayLike, fertility: ArrayLike) -> tuple[Floats, Floats]:
    moves, births = _check_matrix(transitions, "transitions"), _check_matrix(fertility, "fertility")
    if moves.shape != births.shape:
        raise ValueError(
            f"fertility: it has {len(births)} stages and the transitions have {len(moves)}; give as many."
        )
    _check_survival(moves, "transitions")
    return moves, births


def _reaches(matrix: Floats) -> NDArray[np.bool_]:
    """Return whether column stage leads to row stage in any number of years, one or more."""
    leads = matrix > 0
    for _ in range(len(matrix).bit_length()):
        leads = leads | (leads.astype(int) @ leads.astype(int) > 0)
    return leads


def _radius(matrix: Floats) -> float:
    """Return the dominant eigenvalue; 0 exactly where no stage ever leads back to itself."""
    if not np.diagonal(_reaches(matrix)).any():
        return 0.0
    return float(max(linalg.eigvals(matrix).real.max(), 0.0))


def _cleaned(vector: NDArray[np.complex128]) -> Floats:
    """Return a dominant eigenvector as shares: real, of one sign, rounding specks taken for 0."""
    shares = np.abs(vector.real)
    shares[shares < _SPECK * shares.max()] = 0.0
    cleaned: Floats = shares / shares.sum()
    return cleaned


def growth(matrix: ArrayLike) -> Growth:
    """
    Return growth rate, stable stages, reproductive values and sensitivities of a stage matrix.

    Parameters
    ----------
    matrix : array of shape (stages, stages)
        Heads of the row's stage next year per head of the column's stage this year. Births go into
        the first row; shares that live on into all.

    Returns
    -------
    Growth
        A stage past breeding has the reproductive value 0. Marked as an equilibrium property.

    Raises
    ------
    ValueError
        If the table is not square, a figure is negative or not finite, or the shares of a stage that
        live on (all rows but the first) sum to more than 1.

    References
    ----------
    Caswell (2001), Matrix Population Models, 2nd edition, chapters 4 and 9.
    """
    array = _check_matrix(matrix, "matrix")
    _check_survival(array[1:], "matrix")
    if _radius(array) == 0:
        nothing = ("No stage leads back to itself, so the stock dies out and has no growth rate.",)
        return Growth(None, None, None, None, None, Status.NO_ESTIMATE, nothing)
    values, left, right = linalg.eig(array, left=True, right=True)
    dominant = int(values.real.argmax())
    rate = float(values[dominant].real)
    stable, worth = _cleaned(right[:, dominant]), _cleaned(left[:, dominant])
    is_shared = (np.abs(values - rate) < 1e-6 * rate).sum() > 1
    if is_shared or worth @ stable < _NEAR_NOTHING * np.linalg.norm(worth) * np.linalg.norm(stable):
        alike = (
            "Two parts of the stock change at the same pace without feeding each other, so there is no one "
            "stable make-up.",
            EQUILIBRIUM_NOTE,
        )
        return Growth(rate, None, None, None, None, Status.LOW_CONFIDENCE, alike)
    notes = [EQUILIBRIUM_NOTE]
    if worth[0] == 0:
        notes.insert(
            0, "The first stage adds nothing to the future stock; the most valuable stage is set to 1."
        )
    worth = worth / (worth[0] or worth.max())
    sensitivity = np.outer(worth, stable) / (worth @ stable)
    return Growth(
        growth_rate=rate,
        stable_stage=stable,
        reproductive_value=worth,
        sensitivity=sensitivity,
        elasticity=array * sensitivity / rate,
        status=Status.OK,
        notes=tuple(notes),
    )


def net_reproduction(transitions: ArrayLike, fertility: ArrayLike) -> Estimate:
    """
    Estimate how many young of its own kind a newborn leaves in its life (R0).

    The dominant eigenvalue of F (I - T)^-1, where T + F is the stage matrix.

    Parameters
    ----------
    transitions : array of shape (stages, stages)
        T: shares of the column's stage that live on into the row's stage next year.
    fertility : array of shape (stages, stages)
        F: young of the row's stage per head of the column's stage and year.

    Returns
    -------
    Estimate
        1 replaces the stock. Where heads of some stage never die its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a table is not square, a figure is impossible, or the shares of a stage sum to above 1.

    References
    ----------
    Caswell (2001), Matrix Population Models, 2nd edition, section 5.3.
    """
    moves, births = _check_pair(transitions, fertility)
    method = "net reproduction"
    if _radius(moves) >= 1 - _SLACK:
        return Estimate(
            method=method,
            status=Status.NO_ESTIMATE,
            notes=("Heads of some stage never die, so their young cannot be summed up.",),
        )
    young = births @ np.linalg.inv(np.eye(len(moves)) - moves)
    return Estimate(value=_radius(young), method=method, notes=(EQUILIBRIUM_NOTE,))


def replacement_factor(transitions: ArrayLike, fertility: ArrayLike) -> Estimate:
    """
    Estimate the factor on all fertilities that would just hold the stock.

    Parameters
    ----------
    transitions, fertility : array of shape (stages, stages)
        As for `net_reproduction`.

    Returns
    -------
    Estimate
        1 / R0: above 1 the stock falls short. ``no_estimate`` where there are no young at all, or
        heads never die.

    Raises
    ------
    ValueError
        As `net_reproduction`.
    """
    lifetime = net_reproduction(transitions, fertility)
    method = "replacement factor"
    if not lifetime.value:
        notes = (
            lifetime.notes if lifetime.value is None else ("No young are born, so no factor on them helps.",)
        )
        return Estimate(method=method, status=Status.NO_ESTIMATE, notes=notes)
    return Estimate(value=1 / lifetime.value, method=method, notes=lifetime.notes)


def generation_time(net_reproduction_value: float, growth_rate: float) -> Estimate:
    """
    Estimate the years in which the stock changes by its net reproduction: ln R0 / ln growth rate.

    Parameters
    ----------
    net_reproduction_value : float
        R0, above 0.
    growth_rate : float
        Factor of change a year, above 0.

    Returns
    -------
    Estimate
        Years. ``no_estimate`` where the stock holds (both logarithms are 0).

    Raises
    ------
    ValueError
        If a figure is not above 0.

    References
    ----------
    Caswell (2001), Matrix Population Models, 2nd edition, section 5.3.
    """
    lifetime = check_number(net_reproduction_value, "net_reproduction_value", low=0)
    rate = check_number(growth_rate, "growth_rate", low=0)
    if 0 in {lifetime, rate}:
        raise ValueError(
            "net_reproduction_value, growth_rate: both must be above 0 to have a generation time."
        )
    if abs(math.log(rate)) < _SLACK:
        return Estimate(
            method="generation time",
            status=Status.NO_ESTIMATE,
            notes=("A stock that just holds does not show its generation time this way.",),
        )
    return Estimate(
        value=math.log(lifetime) / math.log(rate), method="generation time", notes=(EQUILIBRIUM_NOTE,)
    )


def _whole_up(heads: float) -> float:
    """Round up to whole heads, a speck of rounding above a whole number not counting as one more."""
    return float(math.ceil(heads - _SLACK * max(1.0, heads)))


@dataclass(frozen=True)
class Recruits(Estimate):
    """
    Heads to release each year: ``value`` whole, ``raw`` before rounding up.

    ``sustained_per_recruit`` is how many heads of the wanted stage one released a year sustains; None
    where the stock holds itself or cannot be held so.
    """

    sustained_per_recruit: float | None = None


def released_recruits(matrix: ArrayLike, entry_stage: int, wanted_stage: int, wanted: float) -> Recruits:
    """
    Estimate how many heads a year must be released into one stage to hold another at a wanted number.

    With a growth rate below 1 a steady yearly release b holds the stock at (I - A)^-1 b.

    Parameters
    ----------
    matrix : array of shape (stages, stages)
        As for `growth`.
    entry_stage, wanted_stage : int
        Stage released into and stage held, counted from 0.
    wanted : float
        Heads of the wanted stage to hold, 0 or more, counted after the year's release.

    Returns
    -------
    Recruits
        Heads a year, rounded up. 0 where the stages concerned hold themselves or grow;
        ``no_estimate`` where the entry stage never becomes the wanted one.

    Raises
    ------
    ValueError
        If the matrix is impossible (see `growth`), a stage does not exist or the number is negative.

    References
    ----------
    Caswell (2001), Matrix Population Models, 2nd edition, section 4.
    """
    array = _check_matrix(matrix, "matrix")
    _check_survival(array[1:], "matrix")
    places = []
    for given, name in ((entry_stage, "entry_stage"), (wanted_stage, "wanted_stage")):
        place = check_count(given, name)
        if place >= len(array):
            raise ValueError(f"{name}: stage {place} is not one of the {len(array)}, counted from 0.")
        places.append(place)
    entry, held = places
    heads = check_number(wanted, "wanted", low=0)
    method = "released recruits"
    reaches = _reaches(array) | np.eye(len(array), dtype=bool)
    if not reaches[held, entry]:
        return Recruits(
            method=method,
            status=Status.NO_ESTIMATE,
            notes=("Heads of the stage released into never become the stage wanted.",),
        )
    # Only stages on a way from the one to the other bear on the answer.
    between = np.flatnonzero(reaches[:, entry] & reaches[held, :])
    part = array[np.ix_(between, between)]
    if _radius(part) >= 1 - _SLACK:
        return Recruits(
            value=0.0,
            raw=0.0,
            method=method,
            notes=("The stock holds itself or grows without releases.", EQUILIBRIUM_NOTE),
        )
    release = (between == entry).astype(float)
    standing = np.linalg.solve(np.eye(len(part)) - part, release)
    sustained = float(standing[between == held][0])
    needed = heads / sustained
    return Recruits(
        value=_whole_up(needed),
        raw=needed,
        method=method,
        notes=(EQUILIBRIUM_NOTE,),
        sustained_per_recruit=sustained,
    )


def yearly_replacements(adults: int, survival: float, own_recruits: float = 0.0) -> Estimate:
    """
    Estimate the grown heads a pond or farm needs each year to keep its number.

    adults x (1 - survival - own_recruits), rounded up, not below 0.

    Parameters
    ----------
    adults : int
        Heads to keep.
    survival : float
        Share of them that lives through a year, 0 to 1.
    own_recruits : float
        Heads per adult and year that grow up on the farm anyway, 0 or more.

    Returns
    -------
    Estimate
        Whole heads a year; ``raw`` before rounding.

    Raises
    ------
    ValueError
        If a figure is impossible.
    """
    heads = check_count(adults, "adults")
    living = check_number(survival, "survival", low=0, high=1)
    recruits = check_number(own_recruits, "own_recruits", low=0)
    needed = heads * (1 - living - recruits)
    return Estimate(
        value=max(_whole_up(needed), 0.0), raw=needed, method="yearly replacements", notes=(EQUILIBRIUM_NOTE,)
    )
