"""What a count does to the standing: what the pond was taken to hold on the eve, and with the count joined to it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from django.db.models import Min
from numpy.typing import NDArray

from stock.advisor.standing import ratio_limits
from stock.advisor.standing_filter import CONFLICT, widening
from stock.models import Count, CountHaul, Reason
from stock.standing_facts import PondStanding, standings
from stock.standing_page import apart_words, conflict_words
from stock.survey_floor import BOOKKEEPING, Flow
from stock.surveys import Figures, KindSurvey

Z_90 = 1.644854
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Held:
    """Females and males that a pond is taken to hold, with 90 % limits, and females per male."""

    words: str
    females: float
    males: float
    female_limits: tuple[float, float]
    male_limits: tuple[float, float]
    ratio: float
    ratio_limits: tuple[float, float]
    caution: str = ""


def before_and_after(one: KindSurvey, figures: Figures) -> tuple[Held, ...]:
    """
    Return the standing on the eve of a survey's first haul, and about what it becomes once the count is accepted.

    The eve of the first haul and not of the count's day, for by then the standing has learnt from the survey's
    earlier hauls, and they would speak twice. Nothing where the pond has no standing yet, and only the eve's where
    the count names no sexes. What it becomes is the eve's figures carried through the survey's moves and weighed
    with the count, each by its precision; the farm's own reckoning, made when it is accepted, may differ a little.
    """
    first = one.hauls[0].happened_on
    before = eve_of(first, one.hauls[0].pond_id, one.kind.pk)
    if before is None:
        return ()
    eve = held_by(before, f"The evening before {_day(first)}")
    errors = (figures.females_se, figures.males_se)
    if figures.females is None or figures.males is None or None in errors:
        return (eve,)
    came = _net_of_days(one.flows, first, one.as_of)
    prior = np.array([before.females, before.males]) + came
    doubt = np.array(
        [[before.female_se**2, before.covariance], [before.covariance, before.male_se**2]], dtype=float
    )
    counted = np.array([figures.females, figures.males])
    noise = np.diag([(se or 0.0) ** 2 for se in errors])
    noise[0, 1] = noise[1, 0] = figures.covariance
    mean, left, is_apart = joined(prior, doubt, counted, noise)
    after = _held(f"With this count, about, on {_day(one.as_of)}", mean, left)
    if is_apart and noise.any():
        after = replace(after, caution=conflict_words(tuple(prior), tuple(counted)))
    return eve, after


def around(count: Count) -> tuple[Held, ...]:
    """Return the standing on the eve of the first haul an accepted count was read from, and at the count's end."""
    days = CountHaul.objects.filter(count=count).aggregate(first=Min("haul__happened_on"))
    first = days["first"] or count.as_of
    found = []
    for day, words in (
        (first - dt.timedelta(days=1), f"The evening before {_day(first)}"),
        (count.as_of, f"At the end of {_day(count.as_of)}"),
    ):
        standing = standings(day, pond_ids=[count.pond_id]).get((count.pond_id, count.kind_id))
        if standing is not None:
            found.append(held_by(standing, words))
            if standing.count.count_id == count.pk:
                found[-1] = replace(found[-1], caution=apart_words(standing))
    return tuple(found)


def eve_of(day: dt.date, pond_id: int, kind_id: int) -> PondStanding | None:
    """Return what a pond and kind probably held the evening before a day."""
    return standings(day - dt.timedelta(days=1), pond_ids=[pond_id]).get((pond_id, kind_id))


def held_by(standing: PondStanding, words: str) -> Held:
    """Return a standing as a row of the page."""
    return Held(
        words,
        standing.females,
        standing.males,
        standing.female_limits,
        standing.male_limits,
        standing.ratio,
        standing.ratio_limits,
    )


def joined(prior: Floats, doubt: Floats, counted: Floats, noise: Floats) -> tuple[Floats, Floats, bool]:
    """
    Return two estimates of females and males joined, each weighed by its precision, the doubt left, and whether
    they are too far apart to be both right, for which that doubt was widened.

    Parameters
    ----------
    prior, counted : array, shape (2,)
        Females and males, heads.
    doubt, noise : array, shape (2, 2)
        Their covariances, heads squared; a complete drain-down has none.

    Returns
    -------
    array, shape (2,), array, shape (2, 2), and bool
    """
    of_both, gap = np.linalg.pinv(doubt + noise), counted - prior
    distance = float(gap @ of_both @ gap)
    weight = doubt @ of_both
    if not noise.any():
        weight = np.eye(2)
    left = (np.eye(2) - weight) @ doubt * float(widening(np.asarray(distance)))
    return np.maximum(prior + weight @ gap, 0.0), (left + left.T) / 2, distance > CONFLICT


def _held(words: str, mean: Floats, left: Floats) -> Held:
    variance = np.maximum(np.diag(left), 0.0)
    half = Z_90 * np.sqrt(variance)
    limits = ratio_limits(mean[:, None], variance[:, None], left[:1, 1], Z_90)
    return Held(
        words,
        float(mean[0]),
        float(mean[1]),
        (max(0.0, float(mean[0] - half[0])), float(mean[0] + half[0])),
        (max(0.0, float(mean[1] - half[1])), float(mean[1] + half[1])),
        float(mean[0] / mean[1]) if mean[1] else float("inf"),
        (float(limits[0, 0]), float(limits[1, 0])),
    )


def _net_of_days(flows: Iterable[Flow], first: dt.date, last: dt.date) -> Floats:
    left_out = (*BOOKKEEPING, Reason.SEXED)
    own = [flow for flow in flows if first <= flow.day <= last and flow.reason not in left_out]
    return np.array(
        [sum(flow.heads for flow in own if flow.of_class == of_class) for of_class in ("FEMALE", "MALE")],
        dtype=float,
    )


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"
