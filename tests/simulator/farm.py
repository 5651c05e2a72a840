"""A farm lived through month by month, animal by animal, and what its people wrote down."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.simulator.catch import draw_without_return, haul_weights, sex_on_the_bank
from tests.simulator.rates import FEMALE, MALE, FarmPlan, FarmRates, Floats, draw_gamma, draw_rates

Whole = NDArray[np.int64]

MONTH = 30.4375
"""Days; a simulated year has twelve."""
MOVE_DAY, FIRST_DEATH_DAY, BURST_DAY, SURVEY_DAY = 1.0, 2.0, 28.0, 29.0
"""Within a month: moves, then deaths up to the day of bursts, then hauls, then counts."""
NOBODY = -1


@dataclass
class Written:
    """
    What the farm wrote down, as columns of equal length.

    ``moves`` and ``deaths`` are (pond, day, logged day, females, males), moves signed: in above 0, out below.
    ``hauls`` are (pond, day, females, males) as sexed on the bank. ``counts`` are (pond, day, females,
    female se, males, male se, covariance).
    """

    moves: list[tuple[float, ...]] = field(default_factory=list)
    deaths: list[tuple[float, ...]] = field(default_factory=list)
    hauls: list[tuple[float, ...]] = field(default_factory=list)
    counts: list[tuple[float, ...]] = field(default_factory=list)


@dataclass(frozen=True)
class FarmHistory:
    """
    A farm's five years.

    Parameters
    ----------
    plan, rates : FarmPlan, FarmRates
        What it was drawn from.
    truth : array of int, shape (months + 1, ponds, 2)
        Females and males alive at the start and at the end of each month (`end_of_month`).
    lost : array of int, shape (months, ponds, 2)
        All that died or were taken in each month, found or not.
    unseen : array of int, shape (months, ponds, 2)
        Those of them that nobody logged.
    written : Written
    """

    plan: FarmPlan
    rates: FarmRates
    truth: Whole
    lost: Whole
    unseen: Whole
    written: Written

    def known_by(self, day: float) -> dict[str, Floats]:
        """Return what was in the log on a day, by what: moves and deaths written late are not there yet."""
        tables = {}
        for name, width in (("moves", 5), ("deaths", 5), ("hauls", 4), ("counts", 7)):
            rows = np.array(getattr(self.written, name), dtype=float).reshape(-1, width)
            is_known = rows[:, 1] <= day
            if width == 5:
                is_known &= rows[:, 2] <= day
                rows = np.delete(rows, 2, axis=1)
            tables[name] = rows[is_known]
        return tables


def end_of_month(months: int) -> float:
    """Return the last day of the given number of months, in days since the start."""
    return months * MONTH


class _Animals:
    """The living and the dead: pond (NOBODY when gone), sex, and how easily each is caught."""

    def __init__(self, plan: FarmPlan, rates: FarmRates, rng: np.random.Generator) -> None:
        self._plan, self._rng = plan, rng
        self.pond, self.sex, self.ease = np.empty(0, int), np.empty(0, int), np.empty(0)
        for pond in range(plan.ponds):
            self.add(pond, int(rates.females[pond]), int(rates.males[pond]))

    def add(self, pond: int, females: int, males: int) -> None:
        heads = females + males
        self.pond = np.concatenate([self.pond, np.full(heads, pond)])
        self.sex = np.concatenate([self.sex, np.repeat([FEMALE, MALE], [females, males])])
        self.ease = np.concatenate(
            [self.ease, draw_gamma(self._rng, self._plan.catch_spread, (heads,)) + 1e-3]
        )

    def heads(self) -> Whole:
        """Return females and males by pond, shape (ponds, 2)."""
        living = self.pond >= 0
        cell = self.pond[living] * 2 + self.sex[living]
        return np.bincount(cell, minlength=2 * self._plan.ponds).reshape(-1, 2)

    def easiest(self, pond: int, sex: int, heads: int) -> Whole:
        """Return up to so many animals of a sex, the easier to catch the likelier."""
        there = np.flatnonzero((self.pond == pond) & (self.sex == sex))
        return there[draw_without_return(self.ease[there], heads, self._rng)]


def live(plan: FarmPlan, seed: int) -> FarmHistory:
    """Let one farm live; the same plan and seed give the same history."""
    rng = np.random.default_rng(seed)
    rates = draw_rates(plan, rng)
    animals = _Animals(plan, rates, rng)
    written = Written()
    months = 12 * plan.years
    truth = np.zeros((months + 1, plan.ponds, 2), dtype=np.int64)
    lost = np.zeros((months, plan.ponds, 2), dtype=np.int64)
    unseen = np.zeros_like(lost)
    truth[0] = animals.heads()
    for pond in range(plan.ponds):
        _count(written, plan, rates, truth[0], pond, 0.0, rng)
    next_count = rng.integers(1, plan.count_gap[1] + 1, plan.ponds)
    for month in range(months):
        began = month * MONTH
        _move(animals, written, plan, began + MOVE_DAY, rng)
        lost[month], unseen[month] = _die(animals, written, plan, rates, month, rng)
        taken = _burst(animals, plan, rng)
        lost[month] += taken
        unseen[month] += taken
        truth[month + 1] = animals.heads()
        for pond in range(plan.ponds):
            if rng.random() < plan.haul_chance:
                _haul(animals, written, plan, rates, pond, began + SURVEY_DAY, rng)
            if month == next_count[pond]:
                _count(written, plan, rates, truth[month + 1], pond, began + SURVEY_DAY, rng)
                next_count[pond] += rng.integers(plan.count_gap[0], plan.count_gap[1] + 1)
    return FarmHistory(plan, rates, truth, lost, unseen, written)


def _logged(day: float, plan: FarmPlan, rng: np.random.Generator) -> float:
    return day + (rng.exponential(plan.late_days) if rng.random() < plan.late else 0.0)


def _move(animals: _Animals, written: Written, plan: FarmPlan, day: float, rng: np.random.Generator) -> None:
    """Stock, cull or transfer: what is booked, with the animals it really was."""
    heads = animals.heads()
    for pond in np.flatnonzero(rng.random(plan.ponds) < plan.moves_a_year / 12):
        females, males = (int(number) for number in heads[pond])
        choice = rng.random()
        if choice < 0.4:
            bought = int(rng.integers(1, max(2, females // 6) + 1))
            with_males = int(rng.binomial(bought // 4, 0.5))
            animals.add(pond, bought, with_males)
            written.moves.append((pond, day, _logged(day, plan, rng), bought, with_males))
            continue
        sex = MALE if choice < 0.7 else FEMALE
        going = animals.easiest(
            pond, sex, int(rng.integers(1, max(2, (males, females)[sex == FEMALE] // 6) + 1))
        )
        out = (going.size, 0) if sex == FEMALE else (0, going.size)
        logged = _logged(day, plan, rng)
        written.moves.append((pond, day, logged, -out[0], -out[1]))
        target = int(rng.integers(plan.ponds))
        is_sold = sex == MALE or target == pond
        animals.pond[going] = NOBODY if is_sold else target
        if not is_sold:
            written.moves.append((target, day, logged, *out))


def _die(
    animals: _Animals,
    written: Written,
    plan: FarmPlan,
    rates: FarmRates,
    month: int,
    rng: np.random.Generator,
) -> tuple[Whole, Whole]:
    """Let animals die; return deaths and those not found, both of shape (ponds, 2)."""
    chance = -np.expm1(-rates.deaths[:, month // 12] / 12)
    living = np.flatnonzero(animals.pond >= 0)
    dying = living[rng.random(living.size) < chance[animals.pond[living], animals.sex[living]]]
    pond, sex = animals.pond[dying], animals.sex[dying]
    is_found = rng.random(dying.size) < rates.seen[pond]
    days = month * MONTH + rng.uniform(FIRST_DEATH_DAY, BURST_DAY, dying.size)
    for where, what, day in zip(pond[is_found], sex[is_found], days[is_found], strict=True):
        written.deaths.append((where, day, _logged(day, plan, rng), what == FEMALE, what == MALE))
    animals.pond[dying] = NOBODY
    shape = (plan.ponds, 2)
    dead = np.bincount(pond * 2 + sex, minlength=2 * plan.ponds).reshape(shape)
    missed = np.bincount(pond[~is_found] * 2 + sex[~is_found], minlength=2 * plan.ponds).reshape(shape)
    return dead, missed


def _burst(animals: _Animals, plan: FarmPlan, rng: np.random.Generator) -> Whole:
    """Let thieves, or a gap in the fence, take a share of some ponds; return heads taken, shape (ponds, 2)."""
    taken = np.zeros((plan.ponds, 2), dtype=np.int64)
    for pond in np.flatnonzero(rng.random(plan.ponds) < plan.burst / 12):
        there = np.flatnonzero(animals.pond == pond)
        weights = np.where(animals.sex[there] == FEMALE, plan.burst_prefers_females, 1.0)
        gone = there[draw_without_return(weights, int(there.size * rng.uniform(*plan.burst_size)), rng)]
        taken[pond] = np.bincount(animals.sex[gone], minlength=2)
        animals.pond[gone] = NOBODY
    return taken


def _haul(
    animals: _Animals,
    written: Written,
    plan: FarmPlan,
    rates: FarmRates,
    pond: int,
    day: float,
    rng: np.random.Generator,
) -> None:
    """Draw the seine once, sex what it brings, put all back."""
    there = np.flatnonzero(animals.pond == pond)
    if not there.size:
        return
    weights = haul_weights(animals.sex[there], animals.ease[there], plan, rates.female_catch, rng)
    caught = there[draw_without_return(weights, round(there.size * rng.uniform(*plan.haul_share)), rng)]
    written.hauls.append((pond, day, *sex_on_the_bank(animals.sex[caught], rates.sexing_error, rng)))


def _count(
    written: Written,
    plan: FarmPlan,
    rates: FarmRates,
    heads: Whole,
    pond: int,
    day: float,
    rng: np.random.Generator,
) -> None:
    """Accept a count: a drain-down sexes every head, any other errs by its stated error."""
    if rng.random() < plan.drained:
        sexes = np.repeat([FEMALE, MALE], heads[pond])
        females, males = sex_on_the_bank(sexes, rates.sexing_error, rng)
        written.counts.append((pond, day, females, 0.0, males, 0.0, 0.0))
        return
    spread = rng.uniform(*plan.count_cv)
    # Catch varies for both sexes together, so their errors go together too.
    errors = rng.multivariate_normal([0, 0], [[1, 0.3], [0.3, 1]])
    # Fewer heads are counted less well: at least the error of a half caught at random.
    ses = np.maximum(spread * heads[pond], np.sqrt(heads[pond]))
    seen = np.maximum(heads[pond] + ses * errors, 0.0)
    written.counts.append((pond, day, seen[0], ses[0], seen[1], ses[1], 0.3 * ses[0] * ses[1]))
