"""Sex of hatchlings against incubation temperature: the logistic curve, its pivot and its width."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

from stock.estimators.estimate import Estimate, Status, check_counts, check_number, worst

Floats = NDArray[np.float64]

COLDEST_C, WARMEST_C = 0.0, 60.0
"""Temperatures outside are slips: most often degrees Fahrenheit given as Celsius."""

_WIDTH = 2 * math.log(19)
_Z = float(special.ndtri(0.975))


@dataclass(frozen=True)
class HatchSex:
    """
    A fitted curve: logit of the share of males = intercept + slope x temperature.

    Parameters
    ----------
    intercept, slope : Estimate
        On the logit scale; slope per degree C, negative where cool nests give males.
    pivotal : Estimate
        Temperature (C) that gives half of each sex, with Fieller's limits. Where the sexes part
        completely between two temperatures it is ``no_estimate`` and the limits are those two.
    transition_width : Estimate
        Degrees C over which the share of males goes from 5 % to 95 %.
    deviance, null_deviance : float or None
        Of the curve, and of one share of males for all.
    degrees_of_freedom : int
        Boxes or clutches less 2.
    dispersion : float or None
        Pearson's chi-square a degree of freedom; 1 where eggs vary by chance alone.
    status : Status
        The pivotal temperature's, ``low_confidence`` where clutches differ more than by chance.
    notes : tuple of str
        Sentences the reader of the curve must see.
    """

    intercept: Estimate
    slope: Estimate
    pivotal: Estimate
    transition_width: Estimate
    deviance: float | None
    null_deviance: float | None
    degrees_of_freedom: int
    dispersion: float | None
    status: Status
    notes: tuple[str, ...]
    _curve: "_Curve | None" = None

    def widened(self) -> "HatchSex":
        """Return the same curve with every standard error multiplied by sqrt(dispersion), if above 1."""
        if self._curve is None or self.dispersion is None or self.dispersion <= 1:
            return self
        factor = math.sqrt(self.dispersion)
        said = f"Standard errors are multiplied by {factor:.2f}, because clutches differ more than by chance."
        wider = _figures(self._curve, factor)
        return replace(
            self,
            intercept=wider[0],
            slope=wider[1],
            pivotal=wider[2],
            transition_width=wider[3],
            status=wider[2].status,
            notes=(said, *wider[2].notes),
        )


@dataclass(frozen=True)
class _Curve:
    """Coefficients at the mean temperature, where they are nearly independent, and their variances."""

    center: float
    at_center: float
    slope: float
    v_center: float
    v_cross: float
    v_slope: float


def _none(method: str, note: str, lower: float | None = None, upper: float | None = None) -> Estimate:
    return Estimate(
        lower=lower, upper=upper, method=method, variant="logistic", status=Status.NO_ESTIMATE, notes=(note,)
    )


def _no_fit(note: str, rows: int, lower: float | None = None, upper: float | None = None) -> HatchSex:
    return HatchSex(
        intercept=_none("intercept", note),
        slope=_none("slope", note),
        pivotal=_none("pivotal temperature", note, lower, upper),
        transition_width=_none("transition width", note),
        deviance=None,
        null_deviance=None,
        degrees_of_freedom=max(rows - 2, 0),
        dispersion=None,
        status=Status.NO_ESTIMATE,
        notes=(note,),
    )


def _normal(value: float, se: float, method: str) -> Estimate:
    return Estimate(
        value=value, se=se, lower=value - _Z * se, upper=value + _Z * se, method=method, variant="logistic"
    )


def _figures(curve: _Curve, factor: float) -> tuple[Estimate, Estimate, Estimate, Estimate]:
    """Return intercept, slope, pivotal temperature and width, errors multiplied by ``factor``."""
    v_center, cross, v_slope = (v * factor**2 for v in (curve.v_center, curve.v_cross, curve.v_slope))
    slope, center = curve.slope, curve.center
    spread = math.sqrt(v_center - 2 * center * cross + center**2 * v_slope)
    estimates = (
        _normal(curve.at_center - slope * center, spread, "intercept"),
        _normal(slope, math.sqrt(v_slope), "slope"),
    )
    # Fieller: the x for which (at_center + slope x)^2 = z^2 (v_center + 2 x cross + x^2 v_slope).
    leading = slope**2 - _Z**2 * v_slope
    if leading <= 0:
        note = "The share of males does not change with temperature beyond doubt, so no pivot can be given."
        return *estimates, _none("pivotal temperature", note), _none("transition width", note)
    half = curve.at_center * slope - _Z**2 * cross
    constant = curve.at_center**2 - _Z**2 * v_center
    reach = math.sqrt(max(half**2 - leading * constant, 0.0))
    pivot = -curve.at_center / slope
    pivotal = Estimate(
        value=center + pivot,
        se=math.sqrt(v_center + 2 * pivot * cross + pivot**2 * v_slope) / abs(slope),
        lower=center + (-half - reach) / leading,
        upper=center + (-half + reach) / leading,
        method="pivotal temperature",
        variant="logistic",
    )
    steepness, doubt = abs(slope), math.sqrt(v_slope)
    width = Estimate(
        value=_WIDTH / steepness,
        se=_WIDTH * doubt / steepness**2,
        lower=_WIDTH / (steepness + _Z * doubt),
        upper=_WIDTH / (steepness - _Z * doubt),
        method="transition width",
        variant="logistic",
    )
    return *estimates, pivotal, width


def _fitted(temperatures: Floats, males: Floats, females: Floats) -> _Curve:
    """Maximize the binomial likelihood; the sexes must overlap in temperature."""
    eggs = males + females
    center = float(np.average(temperatures, weights=eggs))
    scale = float(np.ptp(temperatures))
    design = np.column_stack([np.ones_like(temperatures), (temperatures - center) / scale])
    total = eggs.sum()

    def loss(coefficients: Floats) -> float:
        logit = design @ coefficients
        seen = males @ special.log_expit(logit) + females @ special.log_expit(-logit)
        return -float(seen / total)

    def gradient(coefficients: Floats) -> Floats:
        slopes: Floats = design.T @ (eggs * special.expit(design @ coefficients) - males) / total
        return slopes

    def curvature(coefficients: Floats) -> Floats:
        logit = design @ coefficients
        weights = eggs * special.expit(logit) * special.expit(-logit)
        bends: Floats = design.T @ (design * weights[:, np.newaxis]) / total
        return bends

    fitted = optimize.minimize(
        loss, np.zeros(2), jac=gradient, hess=curvature, method="trust-exact", options={"gtol": 1e-12}
    ).x
    undo = np.diag([1.0, 1.0 / scale])
    covariance = undo @ np.linalg.inv(curvature(fitted) * total) @ undo
    (v_center, v_cross), (_, v_slope) = covariance.tolist()
    return _Curve(center, float(fitted[0]), float(fitted[1]) / scale, v_center, v_cross, v_slope)


def _deviance(logit: Floats, males: Floats, females: Floats) -> float:
    eggs = males + females
    seen = special.xlogy(males, males / eggs) + special.xlogy(females, females / eggs)
    return 2 * float((seen - males * special.log_expit(logit) - females * special.log_expit(-logit)).sum())


def _apart(temperatures: Floats, males: Floats, females: Floats) -> tuple[float | None, float | None] | None:
    """Return the bracket (C) where one temperature parts the sexes completely, None where they overlap."""
    with_males, with_females = temperatures[males > 0], temperatures[females > 0]
    if with_males.max() <= with_females.min():
        cool, warm = temperatures[females == 0], temperatures[males == 0]
    elif with_females.max() <= with_males.min():
        cool, warm = temperatures[males == 0], temperatures[females == 0]
    else:
        return None
    return float(cool.max()) if cool.size else None, float(warm.min()) if warm.size else None


def fit(temperatures_c: Sequence[float], males: Sequence[int], females: Sequence[int]) -> HatchSex:
    """
    Fit the share of males against incubation temperature by maximum likelihood.

    Parameters
    ----------
    temperatures_c : sequence of float
        Temperature beside the eggs of each box or clutch, degrees C.
    males, females : sequence of int
        Hatchlings of each sex from it. A box without sexed hatchlings is left out.

    Returns
    -------
    HatchSex
        With limits at 95 %. ``no_estimate`` with one temperature only, with one sex only, where the
        sexes part completely (then with the bracket), and for the pivotal temperature alone where
        the slope cannot be told from 0. Standard errors are those of chance alone; where clutches
        differ more, the notes say so and `HatchSex.widened` multiplies them.

    Raises
    ------
    ValueError
        If a count or temperature is impossible, or the three differ in number.

    References
    ----------
    Girondot (1999), Chelonian Conservation and Biology 3, 479-486 (his S is 1 / slope). Fieller
    (1954), Journal of the Royal Statistical Society B 16, 175-185. McCullagh & Nelder (1989),
    Generalized Linear Models, 2nd edition, section 4.5 (dispersion).
    """
    degrees = [
        check_number(degree, f"temperatures_c, number {place}", low=COLDEST_C, high=WARMEST_C)
        for place, degree in enumerate(temperatures_c, start=1)
    ]
    male_counts, female_counts = check_counts(males, "males"), check_counts(females, "females")
    for counts, name in ((male_counts, "males"), (female_counts, "females")):
        if len(counts) != len(degrees):
            raise ValueError(
                f"{name}: {len(counts)} were given for {len(degrees)} temperatures; give as many."
            )
    table = np.array([degrees, male_counts, female_counts], dtype=float)
    table = table[:, table[1] + table[2] > 0]
    warmth, male, female = table
    rows = warmth.size
    if not (male.any() and female.any()):
        return _no_fit("Hatchlings of both sexes are needed to find where one turns to the other.", rows)
    if np.ptp(warmth) == 0:
        return _no_fit("Two temperatures at least are needed to see a change with temperature.", rows)
    bracket = _apart(warmth, male, female)
    if bracket is not None:
        note = "The sexes part completely, so no curve can be fitted: the pivot lies in the bracket shown."
        return _no_fit(note, rows, *bracket)
    curve = _fitted(warmth, male, female)
    logit = curve.at_center + curve.slope * (warmth - curve.center)
    eggs = male + female
    share = special.expit(logit)
    pearson = float(((male - eggs * share) ** 2 / (eggs * share * special.expit(-logit))).sum())
    freedom = max(rows - 2, 0)
    intercept, slope, pivotal, width = _figures(curve, 1.0)
    status, notes = pivotal.status, pivotal.notes
    if freedom and float(stats.chi2.sf(pearson, freedom)) < 0.05:
        notes = (
            f"Clutches differ more than by chance (chi-square {pearson:.1f} on {freedom}): the standard "
            f"errors should be multiplied by {math.sqrt(pearson / freedom):.2f}.",
            *notes,
        )
        status = worst(status, Status.LOW_CONFIDENCE)
    return HatchSex(
        intercept=intercept,
        slope=slope,
        pivotal=pivotal,
        transition_width=width,
        deviance=_deviance(logit, male, female),
        null_deviance=_deviance(np.full(rows, special.logit(male.sum() / eggs.sum())), male, female),
        degrees_of_freedom=freedom,
        dispersion=pearson / freedom if freedom else None,
        status=status,
        notes=notes,
        _curve=curve,
    )


def male_share(temperature_c: ArrayLike, *, pivotal: float, slope: float) -> Floats:
    """
    Return the share of males expected at an incubation temperature.

    1 / (1 + exp(-slope (temperature - pivotal))).

    Parameters
    ----------
    temperature_c : array
        Degrees C beside the eggs.
    pivotal : float
        Temperature (C) that gives half of each sex.
    slope : float
        Logit of the share a degree C; negative where cool nests give males. No sign is assumed.

    Returns
    -------
    array, shape of ``temperature_c``
        Shares, 0 to 1.

    Raises
    ------
    ValueError
        If a temperature lies outside 0 to 60 C, or a figure is not finite.

    References
    ----------
    Girondot (1999), Chelonian Conservation and Biology 3, 479-486.
    """
    degrees = np.asarray(temperature_c, dtype=float)
    if not ((degrees >= COLDEST_C) & (degrees <= WARMEST_C)).all():
        raise ValueError(
            f"temperature_c: degrees C between {COLDEST_C:g} and {WARMEST_C:g} are expected; "
            "were degrees Fahrenheit given?"
        )
    center = check_number(pivotal, "pivotal", low=COLDEST_C, high=WARMEST_C)
    steepness = check_number(slope, "slope")
    shares: Floats = special.expit(steepness * (degrees - center))
    return shares
