"""When nests are dug: how a season's nests spread over its weeks, published and learnt from the farm's own."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from stock.advisor.families import Floats
from stock.estimators.estimate import check_number

WEEKS = 53
"""Weeks of a nesting year; week 1 begins on 1 September, the last one has a day or two."""

_FIRST_MONTH, _YEAR_DAYS = 9, 365

PUBLISHED_SHIFT_SD, SEASON_SHIFT_SD = 10.0, 7.0
"""Days a farm's season may stand off the published dates, and one season off the farm's others (assumptions)."""
PUBLISHED_TAIL_SD, SEASON_TAIL_SD = 0.4, 0.12
"""The same for the length after the peak, in logarithms (assumptions)."""
PUBLISHED_SEASONS = 1.0
"""Seasons of a farm's own nest book that the published curve counts as much as (an assumption)."""
FEW_NESTS = 30.0
"""A season of so many nests counts half as much as one of very many (an assumption): few tell little of when."""
FARTHEST_DAYS = 45.0
"""A season whose middle day lies farther from the published one is left out: a stray row or a wrong year is no season
(an assumption; farms stand off by some ten days)."""
_MOST_SHIFT_SD, _MOST_TAIL_SD = 30.0, 0.6

STRAY_DAYS = 28
"""Days outside a kind's dates over which stragglers are spread (an assumption)."""
_STRAGGLERS = 0.02
_EARLIEST_MOST, _LEAST_STRETCH = 120.0, 0.2


@dataclass(frozen=True)
class LayingCurve:
    """
    How a season's nests spread over its days.

    Between ``opens`` and ``closes`` the curve is a beta distribution with its mode at ``peak``; a further
    2 % are stragglers, evenly up to four weeks outside (an assumption, so that a nest out of season is
    not impossible).

    Parameters
    ----------
    opens, peak, closes : (int, int)
        Month and day. A nesting year runs from 1 September to 31 August.
    steepness : float
        0: evenly between the dates; 4 is a common choice; the more, the more nests fall near the peak.
    source : str
        Where dates and shape come from.
    """

    opens: tuple[int, int]
    peak: tuple[int, int]
    closes: tuple[int, int]
    steepness: float
    source: str

    def __post_init__(self) -> None:
        """Refuse dates out of order, which no curve fits."""
        opens, peak, closes = (_day_of(day) for day in (self.opens, self.peak, self.closes))
        if not opens <= peak <= closes or opens == closes:
            raise ValueError(
                "opens, peak, closes: within a nesting year, 1 September to 31 August, the dates must "
                f"follow each other; {self.opens}, {self.peak}, {self.closes} do not."
            )
        if not (np.isfinite(self.steepness) and self.steepness >= 0):
            raise ValueError("steepness: give 0 or more.")

    @property
    def peak_day(self) -> float:
        """Days from 1 September to the peak."""
        return float(_day_of(self.peak))

    @property
    def shift_sd_days(self) -> float:
        """How far a farm's seasons come earlier or later than published (an assumption)."""
        return PUBLISHED_SHIFT_SD

    @property
    def tail_sd(self) -> float:
        """How far the part after the peak differs in length, in logarithms (an assumption)."""
        return PUBLISHED_TAIL_SD

    def dug_before(self, days: ArrayLike) -> Floats:
        """Return the share of the nests dug before so many days since 1 September, year's ends left open."""
        opens, closes = float(_day_of(self.opens)), float(_day_of(self.closes))
        since = np.asarray(days, dtype=float) - opens
        # The closing day itself is one of digging.
        length = closes + 1 - opens
        mode = (self.peak_day - opens) / length
        dug = special.betainc(
            1 + self.steepness * mode, 1 + self.steepness * (1 - mode), np.clip(since / length, 0.0, 1.0)
        )
        stray = np.clip((since + STRAY_DAYS) / (length + 2 * STRAY_DAYS), 0.0, 1.0)
        shares: Floats = (1 - _STRAGGLERS) * dug + _STRAGGLERS * stray
        return shares

    def weekly(
        self, *, shift_days: ArrayLike = 0.0, stretch: ArrayLike = 1.0, tail: ArrayLike = 1.0
    ) -> Floats:
        """Return the share of a season's nests in each week: see `weekly_shares`."""
        return weekly_shares(self, shift_days, stretch, tail)


@dataclass(frozen=True)
class LearntCurve:
    """
    A laying curve drawn from the published one toward a farm's own seasons.

    Parameters
    ----------
    published : LayingCurve
    days, shares : array
        Share of the nests dug before each day since 1 September; straight lines between.
    shift_sd_days, tail_sd : float
        How far this farm's seasons come early or late, and differ in length after the peak.
    seasons : int
        Seasons learnt from.
    published_share : float
        How much of the curve is the published one.
    left_out : int
        Seasons whose middle day lay more than `FARTHEST_DAYS` off the published one.
    """

    published: LayingCurve
    days: Floats
    shares: Floats
    shift_sd_days: float
    tail_sd: float
    seasons: int
    published_share: float
    left_out: int = 0

    @property
    def peak_day(self) -> float:
        """Days from 1 September to the day by which half the nests are dug."""
        return float(np.interp(0.5, self.shares, self.days))

    @property
    def source(self) -> str:
        """Where the curve comes from."""
        strays = ""
        if self.left_out:
            strays = (
                f" ({self.left_out} more left out, with nests more than {FARTHEST_DAYS:.0f} days off the season: "
                "look whether their days were typed right)"
            )
        return (
            f"{100 * (1 - self.published_share):.0f} % from the nest book of {self.seasons} "
            f"season{'' if self.seasons == 1 else 's'}{strays}, "
            f"{100 * self.published_share:.0f} % published: {self.published.source}"
        )

    def dug_before(self, days: ArrayLike) -> Floats:
        """Return the share of the nests dug before so many days since 1 September."""
        found: Floats = np.interp(np.asarray(days, dtype=float), self.days, self.shares)
        return found

    def weekly(
        self, *, shift_days: ArrayLike = 0.0, stretch: ArrayLike = 1.0, tail: ArrayLike = 1.0
    ) -> Floats:
        """Return the share of a season's nests in each week: see `weekly_shares`."""
        return weekly_shares(self, shift_days, stretch, tail)


Curve = LayingCurve | LearntCurve


def weekly_shares(curve: Curve, shift_days: ArrayLike, stretch: ArrayLike, tail: ArrayLike) -> Floats:
    """
    Return the share of a season's nests in each week.

    Parameters
    ----------
    curve : LayingCurve or LearntCurve
    shift_days, stretch, tail : arrays that can be broadcast together
        How many days late the peak is, how many times as long the season is, and how many times as long
        again after its peak.

    Returns
    -------
    array of float, shape (..., 53)
        Sums to 1: what would fall outside the nesting year is spread over the weeks in it.

    Raises
    ------
    ValueError
        If a shift exceeds 120 days, or a stretch or tail is below 0.2.
    """
    shift, times, after = np.broadcast_arrays(
        *(np.asarray(figure, dtype=float) for figure in (shift_days, stretch, tail))
    )
    if not (np.abs(shift) <= _EARLIEST_MOST).all() or not (np.minimum(times, after) >= _LEAST_STRETCH).all():
        raise ValueError(
            "shift_days, stretch, tail: shifts of up to 120 days and lengths of 0.2 or more are usable."
        )
    edges = np.minimum(7.0 * np.arange(WEEKS + 1), _YEAR_DAYS)
    from_peak = (edges - curve.peak_day - shift[..., np.newaxis]) / times[..., np.newaxis]
    from_peak = np.where(from_peak > 0, from_peak / after[..., np.newaxis], from_peak)
    shares = np.diff(curve.dug_before(from_peak + curve.peak_day), axis=-1)
    weekly: Floats = shares / shares.sum(axis=-1, keepdims=True)
    return weekly


def learn_curve(
    published: LayingCurve, past_by_week: ArrayLike, *, published_weight: float = PUBLISHED_SEASONS
) -> LearntCurve:
    """
    Draw a published laying curve toward the farm's own past seasons.

    Each season is set to its own middle day (by which half its nests were dug); shapes and middles are
    averaged, a season of few nests counting less, the published ones as so many seasons. How far seasons come
    early or late, and how much their second half differs in length, is learnt from the same seasons.

    Parameters
    ----------
    published : LayingCurve
        Of the kind.
    past_by_week : array, shape (seasons, 53)
        Nests of the kind on the farm by week of each past season. Seasons without nests are left out, and those whose
        middle day is more than `FARTHEST_DAYS` off the published one.
    published_weight : float
        Seasons of the farm that the published curve counts as much as, above 0.

    Raises
    ------
    ValueError
        If the shape is wrong, or a figure negative.
    """
    past = np.asarray(past_by_week, dtype=float)
    past = past.reshape(0, WEEKS) if past.size == 0 else past
    if past.ndim != 2 or past.shape[1] != WEEKS or not np.isfinite(past).all() or (past < 0).any():
        raise ValueError(f"past_by_week: give nests, 0 or more, for each of {WEEKS} weeks of each season.")
    weight = check_number(published_weight, "published_weight", low=1e-3)
    past = past[past.sum(axis=1) > 0]
    edges = np.minimum(7.0 * np.arange(WEEKS + 1), _YEAR_DAYS)
    days = np.arange(-_EARLIEST_MOST, _YEAR_DAYS + _EARLIEST_MOST + 1)
    middle = float(np.interp(0.5, published.dug_before(days), days))
    dug = np.hstack([np.zeros((len(past), 1)), np.cumsum(past, axis=1)]) / past.sum(axis=1, keepdims=True)
    middles = np.array([np.interp(0.5, season, edges) for season in dug])
    is_near = np.abs(middles - middle) <= FARTHEST_DAYS
    left_out = int((~is_near).sum())
    past, dug, middles = past[is_near], dug[is_near], middles[is_near]
    lengths = np.array([np.interp(0.9, season, edges) - np.interp(0.5, season, edges) for season in dug])
    shapes = np.array([np.interp(days + at, edges, season) for season, at in zip(dug, middles, strict=True)])
    weights = past.sum(axis=1) / (past.sum(axis=1) + FEW_NESTS)
    whole = weight + float(weights.sum())
    share = weight / whole
    shape = share * published.dug_before(days + middle) + (weights @ shapes / whole if len(past) else 0.0)
    logs = np.log(np.maximum(lengths, 1.0))
    return LearntCurve(
        published,
        days + share * middle + float(weights @ middles) / whole,
        shape,
        min(_learn_sd(middles, weights, SEASON_SHIFT_SD, PUBLISHED_SHIFT_SD, share), _MOST_SHIFT_SD),
        min(_learn_sd(logs, weights, SEASON_TAIL_SD, PUBLISHED_TAIL_SD, share), _MOST_TAIL_SD),
        len(past),
        share,
        left_out,
    )


def _learn_sd(
    figures: Floats, weights: Floats, between_seasons: float, published: float, share: float
) -> float:
    """Return a standard deviation for the coming season: between this farm's seasons, and the farm's own doubt.

    ``weights`` are those of the seasons, 0 to 1; ``share`` is that of the published curve.
    """
    seasons = float(weights.sum())
    free = max(seasons - 1, 0.0)
    squares = float(weights @ (figures - weights @ figures / seasons) ** 2) if seasons else 0.0
    between = (4 * between_seasons**2 + squares) / (4 + free)
    farm = max(published**2 - between_seasons**2, 0.0)
    # The published curve stands as far off as farms do; the farm's own mean as its seasons leave it in doubt.
    return float(np.sqrt(between + share**2 * farm + (1 - share) ** 2 * between / max(seasons, 1.0)))


def _day_of(day: tuple[int, int]) -> int:
    """Return a month and day as days since 1 September, leap days left out."""
    month, of_month = day
    found = dt.date(2002 if month >= _FIRST_MONTH else 2003, month, of_month)
    return (found - dt.date(2002, _FIRST_MONTH, 1)).days
