"""What probably stands in each pond: counts, booked moves and losses, seen and unseen, with an interval."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from stock.advisor.standing_farm import SHIFTING, DetectionPrior, Learnt, LossPrior, learn
from stock.advisor.standing_filter import CONFLICT, Catch
from stock.advisor.standing_steps import (
    Counts,
    Deaths,
    Flags,
    Floats,
    Groups,
    Hauls,
    Moves,
    lay_out,
    proven_alive,
)
from stock.estimators.estimate import check_confidence, check_number

__all__ = [
    "Counts",
    "Deaths",
    "DetectionPrior",
    "Groups",
    "Hauls",
    "LossPrior",
    "Moves",
    "Standing",
    "standing",
]


@dataclass(frozen=True)
class Standing:
    """
    What probably stands in each pond-kind at the end of a day; places are those of the groups.

    Where a sex was never counted its figures are NaN and its age infinite.

    Parameters
    ----------
    females, males, female_se, male_se : array
        Heads, and their standard errors.
    covariance : array
        Of females and males, heads squared.
    female_limits, male_limits, ratio_limits : array, shape (2, pond-kinds)
        Lower and upper limits at ``confidence``; of females per male the upper one may be infinite.
    ratio : array
        Females per male; infinite without males.
    age : array
        Days since the last count.
    unseen_females, unseen_males : array
        Heads expected to have gone unseen since the last count; no recorded death is among them.
    known_alive : array, shape (2, pond-kinds)
        Females and males that later moves and hauls prove; means and limits are not below them.
    is_bounded : array of bool
        Where that proof lifted a mean.
    foretold : array, shape (2, pond-kinds)
        Females and males that the last count of both was expected to find; NaN where nothing was known before it.
    is_in_conflict : array of bool
        Whether that count lay so far from it that the limits were widened.
    seen : (float, float, float)
        Share of the farm's losses that is seen: middle and limits.
    survival : (float, float, float)
        Yearly survival in the farm's middle pond: middle and limits.
    confidence : float
    """

    females: Floats
    males: Floats
    female_se: Floats
    male_se: Floats
    covariance: Floats
    female_limits: Floats
    male_limits: Floats
    ratio: Floats
    ratio_limits: Floats
    age: Floats
    unseen_females: Floats
    unseen_males: Floats
    known_alive: Floats
    is_bounded: Flags
    foretold: Floats
    is_in_conflict: Flags
    seen: tuple[float, float, float]
    survival: tuple[float, float, float]
    confidence: float


def ratio_limits(mean: Floats, variance: Floats, covariance: Floats, z: float) -> Floats:
    """
    Return Fieller's limits of females per male.

    They are the ratios r at which (F - r M)^2 = z^2 (var F - 2 r cov + r^2 var M), cut at 0. Where M is
    not clearly above zero the upper limit is infinite.

    Parameters
    ----------
    mean, variance : array, shape (2, rows)
        Females and males.
    covariance : array, shape (rows,)
    z : float
        Normal quantile.

    Returns
    -------
    array, shape (2, rows)

    References
    ----------
    Fieller (1954), J. R. Stat. Soc. B 16:175.
    """
    square = mean[1] ** 2 - z**2 * variance[1]
    cross = mean[0] * mean[1] - z**2 * covariance
    constant = mean[0] ** 2 - z**2 * variance[0]
    root = np.sqrt(np.maximum(cross**2 - square * constant, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        lower = np.where(cross + root > 0, constant / (cross + root), 0.0)
        upper = np.where(square > 0, (cross + root) / square, np.inf)
    return np.stack([np.maximum(lower, 0.0), np.maximum(upper, 0.0)])


def standing(
    groups: Groups,
    day: float,
    *,
    loss_prior: LossPrior,
    detection_prior: DetectionPrior,
    confidence: float = 0.9,
    clustering: float = 1.5,
    unequal_catch: float = 0.2,
    sexing_error: float = 0.009,
) -> Standing:
    """
    Say what probably stands in each pond-kind at the end of a day, females and males jointly.

    A pond's females F and males M, the logs of their unseen losses a head and year, and how well
    losses are seen there are carried through time together, as one normal distribution with its
    covariances. From one count or haul to the next:

    1. The rates of loss drift back toward the farm's with a memory of some years.
    2. Recorded deaths D tell of the rate: D is Poisson with mean (head-years) x (unseen rate) x
       (seen to unseen). A pond that finds many dead is taken to lose many unseen, as far as the farm
       has shown that the one goes with the other.
    3. F(1) = F(0) exp(-u t) + in - out - D - losses since among those that came. D is taken off as
       booked, and u is the rate of *unseen* losses only, so no death is counted twice. The rate being
       uncertain, mean and variance come from five points of its distribution (Gauss-Hermite); the
       chance of single losses (Poisson) and bursts such as theft widen the variance.
    4. A count joins by its precision (a Kalman update): between two counts of one day that is the
       mean weighted by inverse variances. What the count was out by also tells of the rate of loss. Where
       the two are too far apart to be both right, both are widened.
    5. A sexed haul moves females within the total by its precision, widened for clustering and for
       sexes caught unequally; the total and its error stay. Its heads are a floor on that day.

    Only counts, real moves, deaths and hauls are read. Book balances and entries to or from "unseen"
    play no part, so heads handled beyond the book are no evidence of loss.

    The farm's own rates - middle loss, share of it that is seen, males against females, spread between
    ponds of loss and of being seen, size of bursts - are fitted to all ponds together around the two
    priors (empirical Bayes), and what remains unknown of them is added to each pond's covariance.

    Limits are normal, leaning low by as much as an uncertain rate of loss makes them (Cornish & Fisher
    1938); those of the ratio are Fieller's.

    Parameters
    ----------
    groups : Groups
        Pond-kinds with their counts, moves, deaths and hauls.
    day : float
        Ordinal day asked about. Rows after it serve as proof of life only.
    loss_prior : LossPrior
        Yearly survival of settled adults, all losses together.
    detection_prior : DetectionPrior
        Share of losses that is seen.
    confidence : float
        Of the limits, two-sided.
    clustering : float
        Variance of a haul's share of females against that of single draws, 1 or more (an assumption).
    unequal_catch : float
        Standard deviation of the log of female to male catchability (an assumption).
    sexing_error : float
        Chance that a turtle is taken for the other sex (an assumption). The same people err alike at every
        count, so more counts do not lessen it: a standing is uncertain by this times F - M.

    Returns
    -------
    Standing

    Raises
    ------
    ValueError
        If a setting is not possible. The tables of the groups check themselves.

    References
    ----------
    Birge (1932), Phys. Rev. 40:207 (errors of results that disagree).
    Harvey (1989), Forecasting, Structural Time Series Models and the Kalman Filter, chapter 3.
    Morris (1983), J. Am. Stat. Assoc. 78:47 (parametric empirical Bayes).
    Frazer, Gibbons & Greene (1991), Ecology 72:2218 (survival of wild sliders).
    """
    check_number(day, "day")
    check_confidence(confidence)
    check_number(clustering, "clustering", low=1)
    check_number(unequal_catch, "unequal_catch", low=0)
    check_number(sexing_error, "sexing_error", low=0, high=1)
    steps = lay_out(groups, day)
    learnt = learn(steps, loss_prior, detection_prior, Catch(clustering, unequal_catch, sexing_error))
    mean, own = _with_doubt_of_rates(learnt)
    swapped = np.where(steps.known.all(axis=0), sexing_error * (mean[0] - mean[1]), 0.0) ** 2
    own = own + swapped * np.array([[1.0, -1.0], [-1.0, 1.0]])[..., np.newaxis]
    z = float(special.ndtri((1 + confidence) / 2))
    proven = proven_alive(groups, day)
    se = np.sqrt(np.maximum(own[[0, 1], [0, 1]], 0.0))
    floor = np.where(steps.known, proven, 0.0)
    lean = _skewness(learnt, se) * (z**2 - 1) / 6
    lower, upper = np.maximum(mean + (lean - z) * se, floor), np.maximum(mean + (lean + z) * se, floor)
    is_bounded = mean < proven
    mean = np.maximum(mean, floor)
    is_known = steps.known.all(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(mean[1] > 0, mean[0] / mean[1], np.inf)
    limits = ratio_limits(mean, se**2, own[0, 1], z)
    blank = np.where(steps.known, 1.0, np.nan)
    both = np.where(is_known, 1.0, np.nan)
    odds, odds_sd = learnt.values[1], float(np.sqrt(learnt.covariance[1, 1]))
    rate, rate_sd = learnt.values[0], float(np.sqrt(learnt.covariance[0, 0]))
    return Standing(
        females=mean[0] * blank[0],
        males=mean[1] * blank[1],
        female_se=se[0] * blank[0],
        male_se=se[1] * blank[1],
        covariance=own[0, 1] * both,
        female_limits=np.stack([lower[0], upper[0]]) * blank[0],
        male_limits=np.stack([lower[1], upper[1]]) * blank[1],
        ratio=ratio * both,
        ratio_limits=limits * both,
        age=steps.age,
        unseen_females=learnt.last.unseen[0, 0] * blank[0],
        unseen_males=learnt.last.unseen[1, 0] * blank[1],
        known_alive=proven,
        is_bounded=np.asarray(is_bounded.any(axis=0) & is_known, dtype=np.bool_),
        foretold=learnt.last.foretold[:, 0],
        is_in_conflict=np.asarray(learnt.last.distance[0] > CONFLICT, dtype=np.bool_),
        seen=tuple(float(special.expit(odds + shift * odds_sd)) for shift in (0, -z, z)),  # type: ignore[arg-type]
        survival=tuple(float(np.exp(-np.exp(rate - shift * rate_sd))) for shift in (0, -z, z)),  # type: ignore[arg-type]
        confidence=confidence,
    )


def _with_doubt_of_rates(learnt: Learnt) -> tuple[Floats, Floats]:
    """Return mean and covariance of females and males, what is not known of the farm's rates included."""
    mean = learnt.last.mean[:2, 0]
    moved = (learnt.last.mean[:2, 1:] - learnt.last.mean[:2, [0]]) / learnt.tried
    doubt = np.einsum("ian,ab,jbn->ijn", moved, learnt.covariance[:SHIFTING, :SHIFTING], moved)
    return mean, learnt.last.covariance[:2, :2, 0] + doubt


def _skewness(learnt: Learnt, se: Floats) -> Floats:
    """Return the skewness of females and males, -2 to 0, shape (2, pond-kinds).

    The log of the rate of loss is normal with spread s, so the part of the heads that follows it is a
    lognormal upside down, of skewness -(exp(s^2) + 2) sqrt(exp(s^2) - 1); the rest leans to no side.
    Beyond -2 the correction of the limits it serves no longer holds.
    """
    own = learnt.last.covariance[:, :, 0]
    of_rate = np.minimum(np.stack([own[2, 2], own[3, 3]]), 2.0)
    by_rate = np.minimum(np.stack([own[0, 2], own[1, 3]]), 0.0)
    part = -by_rate / np.sqrt(of_rate) / np.maximum(se, 1e-9)
    grown = np.exp(of_rate)
    skewness: Floats = -(np.minimum(part, 1.0) ** 3) * (grown + 2) * np.sqrt(grown - 1)
    return np.maximum(skewness, -2.0)
