"""From eggs a week to eggs set, baskets, containers, shelf places, water, and the days they hatch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.families import Floats
from stock.advisor.laying_curve import WEEKS
from stock.estimators.estimate import check_number

BASKETS_A_CONTAINER = 2
"""Common practice, no source."""

NO_GROWTH_C = 15.0
"""
Temperature below which embryos stand still, for carrying days from one temperature to another. An assumption
that sliders allow: 858 / (T - 15) gives 66 days at 28 C, as in Jackson 1988, and 63.6 at 28.5 C, where Les et
al. 2007 found 61.
"""
NEAREST_C, FARTHEST_C = 22.0, 34.0
_FARTHEST_CARRIED = 2.0


@dataclass(frozen=True)
class HatchDays:
    """
    Days from setting to hatching.

    ``low``, ``expected`` and ``high`` are the days of the earliest, middling and latest; ``notes`` says
    where they were carried from one temperature to another.
    """

    low: float
    expected: float
    high: float
    temperature_c: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class HatcheryWeek:
    """
    One week of the hatchery; weeks count from the nesting year's first (1 September) and run on past it.

    Parameters
    ----------
    week : int
    eggs_set : float
        Expected eggs set this week.
    baskets, containers : int
        Filled this week. Every week and kind begins new ones, so that a basket traces back.
    shelf_places : int
        Containers standing this week, those of earlier weeks among them until their latest day to hatch.
    water_liters : float or None
        Standing in those containers; None where none was given.
    hatching : float
        Eggs expected to hatch this week.
    hatch_from, hatch_until : int or None
        First and last day, counted from 0 on 1 September, on which the eggs set this week hatch.
    """

    week: int
    eggs_set: float
    baskets: int
    containers: int
    shelf_places: int
    water_liters: float | None
    hatching: float
    hatch_from: int | None
    hatch_until: int | None


@dataclass(frozen=True)
class HatcheryPlan:
    """Weeks in order, the most shelf places and the most containers filled in one week, and all eggs set."""

    weeks: tuple[HatcheryWeek, ...]
    most_shelf_places: int
    most_containers: int
    eggs_set: float
    days: HatchDays


def hatch_days(
    incubation_days: Sequence[float], at_c: float, temperature_c: float, *, no_growth_c: float = NO_GROWTH_C
) -> HatchDays:
    """
    Carry a kind's days of incubation from the temperature they hold at to that of the room.

    Days go as 1 / (temperature - no_growth_c): a sum of degrees, as for all cold-blooded growth away from
    its limits.

    Parameters
    ----------
    incubation_days : (low, expected, high)
        Days at ``at_c``.
    at_c, temperature_c : float
        Temperature the days hold at, and that of the eggs (beside the egg, not of the room's air), 22 to 34
        degrees C.
    no_growth_c : float
        Temperature of no growth, below 22 degrees C.

    Raises
    ------
    ValueError
        If days are not in rising order, or a temperature is not one eggs are kept at.
    """
    if len(incubation_days) != 3:
        raise ValueError("incubation_days: give low, expected and high.")
    days = [check_number(day, "incubation_days", low=1, high=400) for day in incubation_days]
    if days != sorted(days):
        raise ValueError("incubation_days: low, expected and high must rise in that order.")
    known_at = check_number(at_c, "at_c", low=NEAREST_C, high=FARTHEST_C)
    kept_at = check_number(temperature_c, "temperature_c", low=NEAREST_C, high=FARTHEST_C)
    none_at = check_number(no_growth_c, "no_growth_c", low=0, high=NEAREST_C - 1)
    factor = (known_at - none_at) / (kept_at - none_at)
    notes = []
    if kept_at != known_at:
        notes.append(
            f"Carried from {known_at:g} to {kept_at:g} °C as 1 / (temperature - {none_at:g}), an assumption."
        )
    if abs(kept_at - known_at) > _FARTHEST_CARRIED:
        notes.append(
            f"More than {_FARTHEST_CARRIED:g} °C apart: take these days as a guess and log your own."
        )
    low, expected, high = (day * factor for day in days)
    return HatchDays(low, expected, high, kept_at, tuple(notes))


def hatchery_plan(
    eggs_by_week: ArrayLike,
    days: HatchDays,
    *,
    eggs_a_basket: int,
    hatch_share: float,
    set_share: float = 1.0,
    baskets_a_container: int = BASKETS_A_CONTAINER,
    water_liters: float | None = None,
) -> HatcheryPlan:
    """
    Turn the eggs of each week into what has to stand ready for them.

    Eggs are set in the week they are picked. A container leaves the shelf after its latest day to hatch.

    Parameters
    ----------
    eggs_by_week : array, shape (weeks,)
        Expected eggs of one kind picked in each week of the nesting year, at most 53.
    days : HatchDays
        Of the kind at the room's temperature, as `hatch_days` returns.
    eggs_a_basket : int
        Eggs that fill a basket.
    hatch_share, set_share : float
        Share of set eggs that hatch, and of picked eggs that are set.
    baskets_a_container : int
        Baskets a container holds.
    water_liters : float, optional
        Water in one container.

    Returns
    -------
    HatcheryPlan
        As many weeks as the last egg needs.

    Raises
    ------
    ValueError
        If a figure is impossible.
    """
    picked = np.asarray(eggs_by_week, dtype=float)
    if picked.ndim != 1 or picked.size > WEEKS or not np.isfinite(picked).all() or (picked < 0).any():
        raise ValueError(f"eggs_by_week: give eggs, 0 or more, for each week of the season, at most {WEEKS}.")
    check_number(eggs_a_basket, "eggs_a_basket", low=1)
    check_number(baskets_a_container, "baskets_a_container", low=1)
    share = check_number(hatch_share, "hatch_share", low=0, high=1)
    if water_liters is not None:
        check_number(water_liters, "water_liters", low=0)
    eggs = picked * check_number(set_share, "set_share", low=0, high=1)
    stays = math.ceil((days.high + 7) / 7)
    total = picked.size + stays if picked.size else 0
    eggs = np.concatenate([eggs, np.zeros(total - picked.size)])
    # A hair of an expected egg fills no basket.
    baskets = np.ceil(np.round(eggs / eggs_a_basket, 6)).astype(int)
    containers = -(-baskets // baskets_a_container)
    places = np.array(
        [containers[max(0, week - stays + 1) : week + 1].sum() for week in range(total)], dtype=int
    )
    hatching = share * _hatching(eggs, days)
    weeks = tuple(
        HatcheryWeek(
            week + 1,
            float(eggs[week]),
            int(baskets[week]),
            int(containers[week]),
            int(places[week]),
            None if water_liters is None else float(water_liters * places[week]),
            float(hatching[week]),
            math.floor(7 * week + days.low) if baskets[week] else None,
            math.ceil(7 * week + 6 + days.high) if baskets[week] else None,
        )
        for week in range(total)
    )
    return HatcheryPlan(
        weeks,
        int(places.max(initial=0)),
        int(containers.max(initial=0)),
        float(eggs.sum()),
        days,
    )


def _hatching(eggs: Floats, days: HatchDays) -> NDArray[np.float64]:
    """Spread each week's eggs over the weeks they hatch in: a triangle from low over expected to high."""
    hatched = np.zeros(len(eggs))
    edges: Floats = 7.0 * np.arange(len(eggs) + 1, dtype=np.float64)
    for week in np.flatnonzero(eggs > 0).tolist():
        # Set evenly over its week, by day.
        for day in range(7):
            hatched += eggs[week] / 7 * np.diff(_before(edges - (7.0 * week + day), days))
    return hatched


def _before(age: Floats, days: HatchDays) -> Floats:
    """Return the share hatched before so many days."""
    low, middle, high = days.low, days.expected, days.high
    if low == high:
        return np.where(age > low, 1.0, 0.0)
    rising = np.clip(age - low, 0, middle - low) ** 2 / max((high - low) * (middle - low), 1e-12)
    falling = 1 - np.clip(high - age, 0, high - middle) ** 2 / max((high - low) * (high - middle), 1e-12)
    share: Floats = np.where(age < middle, rising, np.where(age < high, falling, 1.0))
    return share
