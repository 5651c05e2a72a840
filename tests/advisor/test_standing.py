"""What stands in the ponds: by hand, against chance itself, and on farms whose truth is known."""

import dataclasses
import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.advisor.ratio import verdict
from stock.advisor.standing import (
    Counts,
    Deaths,
    DetectionPrior,
    Groups,
    Hauls,
    LossPrior,
    Moves,
    ratio_limits,
    standing,
)
from stock.advisor.standing_farm import rates_of
from stock.advisor.standing_filter import Catch, Rates, pass_through
from stock.advisor.standing_steps import lay_out
from tests.simulator.rates import FarmPlan
from tests.simulator.studies import ask, cells_of, shortages_of

DAY = dt.date(2024, 3, 1).toordinal()
PRIORS = {"loss_prior": LossPrior(), "detection_prior": DetectionPrior()}
CATCH = Catch(clustering=1.5, unequal_catch=0.2, sexing_error=0.0)


def counts(*rows, covariance=0.0):
    """Rows of (group, days after DAY, females, se, males, se)."""
    group, day, females, female_se, males, male_se = np.array(rows, dtype=float).T
    return Counts(
        group.astype(int), day + DAY, females, female_se, males, male_se, np.full(len(rows), covariance)
    )


def columns(table, *rows):
    """Rows of (group, days after DAY, females, males)."""
    group, day, females, males = np.array(rows, dtype=float).reshape(-1, 4).T
    return table(group=group.astype(int), day=day + DAY, females=females, males=males)


def fixed_rates(*, unseen=0.05, seen=0.5, spread=0.5, burst=0.0):
    """Rates that are not learnt: unseen losses a head and year, share seen, spread of the log."""
    odds = np.log(seen / (1 - seen))
    total = np.log(unseen) - np.log(1 - seen)
    return rates_of(np.array([[total, odds, 0.0, np.log(spread), np.log(1e-3), np.log(burst + 1e-12)]]))


def go(groups, days, rates, catch=CATCH):
    """Return mean and covariance of females and males, with the given rates; groups as they come."""
    steps = lay_out(groups, DAY + days)
    order = np.argsort(-steps.length, kind="stable")
    passed = pass_through(steps.take(order), rates, catch)
    back = np.argsort(order)
    return passed.mean[:, 0, back], passed.covariance[:, :, 0, back], passed


# By hand


def test_two_counts_of_one_day_give_the_mean_weighted_by_inverse_variances():
    """100 +- 10 and 120 +- 5: (100 / 100 + 120 / 25) / (1 / 100 + 1 / 25) = 116, se sqrt(20) = 4.4721."""
    groups = Groups(1, counts((0, 0, 100, 10, 40, 4), (0, 0, 120, 5, 50, 3)))
    found = standing(groups, DAY, **PRIORS, sexing_error=0.0)
    assert found.females[0] == pytest.approx(116, abs=1e-5)
    assert found.female_se[0] == pytest.approx(np.sqrt(20), abs=1e-5)
    assert found.males[0] == pytest.approx((40 / 16 + 50 / 9) / (1 / 16 + 1 / 9), abs=1e-5)
    assert found.male_se[0] == pytest.approx(2.4, abs=1e-5)
    assert found.covariance[0] == pytest.approx(0, abs=1e-5)
    assert found.age[0] == 0


def test_two_counts_with_errors_that_go_together_join_as_matrices():
    """The mean of two vectors weighted by inverse covariance matrices, worked by numpy."""
    own = np.array([[100.0, 20.0], [20.0, 25.0]])
    groups = Groups(1, counts((0, 0, 100, 10, 40, 5), (0, 0, 130, 10, 36, 5), covariance=20.0))
    found = standing(groups, DAY, **PRIORS, sexing_error=0.0)
    assert [found.females[0], found.males[0]] == pytest.approx([115, 38], abs=1e-5)
    assert [found.female_se[0] ** 2, found.covariance[0], found.male_se[0] ** 2] == pytest.approx(
        [own[0, 0] / 2, own[0, 1] / 2, own[1, 1] / 2], abs=1e-4
    )


def test_counts_that_cannot_both_be_right_are_both_kept_within_the_limits():
    """1,100 +- 10 and 1,300 +- 10 females, males alike: chi-square is 200^2 / (100 + 100) = 200.

    Birge (1932, Phys. Rev. 40:207) scales the error of the weighted mean, sqrt(50), by sqrt(chi-square / (n - 1));
    here chi-square counts from the 99 % point on, 9.21, so that nothing jumps there: sqrt(50 (1 + 200 - 9.21)).
    """
    groups = Groups(1, counts((0, 0, 1100, 10, 40, 4), (0, 0, 1300, 10, 40, 4)))
    found = standing(groups, DAY, **PRIORS, sexing_error=0.0)
    assert found.is_in_conflict[0]
    np.testing.assert_allclose(found.foretold[:, 0], [1100, 40])
    assert found.females[0] == pytest.approx(1200, abs=1e-3)
    assert found.female_se[0] == pytest.approx(np.sqrt(50 * 191.79), rel=1e-4)
    assert found.female_limits[0, 0] < 1100
    assert found.female_limits[1, 0] > 1300


def test_counts_as_far_apart_as_chance_makes_them_stay_as_sure_as_they_are():
    """As the rule of inverse variances has it: 2.9 standard errors apart, below the 99 % point of two figures."""
    groups = Groups(1, counts((0, 0, 100, 10, 40, 4), (0, 0, 141, 10, 40, 4)))
    found = standing(groups, DAY, **PRIORS, sexing_error=0.0)
    assert not found.is_in_conflict[0]
    assert found.female_se[0] == pytest.approx(np.sqrt(50), rel=1e-4)


def test_the_fewer_are_found_the_more_are_learnt_to_die():
    """Twenty ponds alike, counted a year apart: counts that disagree must not be doubted until nobody dies."""
    survival = []
    for left in (980, 940, 900, 880, 860, 820):
        rows = [row for pond in range(20) for row in (
            (pond, 0, 750, 10, 250, 5), (pond, 365, 0.75 * left, 10, 0.25 * left, 5)
        )]  # fmt: skip
        survival.append(standing(Groups(20, counts(*rows)), DAY + 365, **PRIORS).survival[0])
    # The rates are fitted to within a small gain of the likelihood: 0.001 of survival either way.
    assert all(after < before + 0.001 for before, after in itertools.pairwise(survival))
    assert survival[0] - survival[-1] > 0.04


def test_a_pond_drained_to_the_last_head_is_sure_whatever_was_expected():
    groups = Groups(1, counts((0, 0, 300, 10, 100, 4), (0, 0, 120, 0, 40, 0)))
    found = standing(groups, DAY, **PRIORS, sexing_error=0.0)
    assert found.is_in_conflict[0]
    assert found.females[0] == pytest.approx(120, abs=1e-2)
    assert found.female_se[0] < 0.1


def test_the_first_count_has_nothing_to_conflict_with():
    found = standing(Groups(1, counts((0, 0, 300, 10, 100, 4))), DAY, **PRIORS)
    assert not found.is_in_conflict[0]
    assert np.isnan(found.foretold[:, 0]).all()


def test_no_death_is_counted_twice():
    """Drained to 300 and 100; 10 females and 4 males found dead, 25 females bought, 5 males sold."""
    groups = Groups(
        1,
        counts((0, 0, 300, 0, 100, 0)),
        columns(Moves, (0, 100, 25, 0), (0, 300, 0, -5)),
        columns(Deaths, (0, 30, 6, 0), (0, 200, 4, 4)),
    )
    found = standing(groups, DAY + 365, **PRIORS, sexing_error=0.0)
    assert found.females[0] + found.unseen_females[0] == pytest.approx(300 + 25 - 10, abs=1e-6)
    assert found.males[0] + found.unseen_males[0] == pytest.approx(100 - 5 - 4, abs=1e-6)
    # Where nearly all losses are seen, what is left is the arithmetic of the book.
    all_seen = DetectionPrior(share=0.998, lower=0.995, upper=0.999)
    found = standing(groups, DAY + 365, loss_prior=LossPrior(), detection_prior=all_seen, sexing_error=0.0)
    assert found.females[0] == pytest.approx(315, abs=0.3)
    assert found.males[0] == pytest.approx(91, abs=0.3)


def test_unseen_loss_follows_the_recorded_deaths_and_the_share_seen():
    """20 of 1,000 found dead where one loss in five is seen: 80 more went, give or take what is not known."""
    groups = Groups(1, counts((0, 0, 1000, 0, 300, 0)), deaths=columns(Deaths, (0, 180, 20, 6)))
    mean, _, passed = go(groups, 365.25, fixed_rates(unseen=0.08, seen=0.2, spread=0.5))
    assert mean[0, 0] == pytest.approx(1000 - 20 - 80, abs=4)
    assert passed.unseen[0, 0, 0] == pytest.approx(1000 - 20 - mean[0, 0], abs=1e-6)


def test_a_sexed_haul_leaves_the_total_and_its_error_alone():
    counted = counts((0, 0, 300, 40, 100, 20))
    without, own, _ = go(Groups(1, counted), 30, fixed_rates(burst=0.02))
    haul = columns(Hauls, (0, 30, 60, 40))
    with_haul, own_with, _ = go(Groups(1, counted, hauls=haul), 30, fixed_rates(burst=0.02))

    def total(mean, covariance):
        return mean[0, 0] + mean[1, 0], covariance[0, 0, 0] + covariance[1, 1, 0] + 2 * covariance[0, 1, 0]

    assert total(with_haul, own_with) == pytest.approx(total(without, own), rel=1e-3)
    share, share_with = (mean[0, 0] / (mean[0, 0] + mean[1, 0]) for mean in (without, with_haul))
    assert 0.6 < share_with < share
    assert own_with[0, 0, 0] < own[0, 0, 0]


def test_a_sexed_haul_moves_the_share_by_its_precision():
    """A drained total of 400 whose split is open; 70 of 100 sexed."""
    groups = Groups(
        1, counts((0, 0, 240, 30, 160, 30), covariance=-899.99), hauls=columns(Hauls, (0, 1, 70, 30))
    )
    mean, own, _ = go(groups, 1, fixed_rates(unseen=1e-6), Catch(1.0, 0.0, 0.0))
    # Within a total of 400: prior 240 +- 30; haul 400 * 70.5 / 101, its log odds +- sqrt(.75 (1/70.5 + 1/30.5)).
    share = 70.5 / 101
    error = 400 * share * (1 - share) * np.sqrt(0.75 * (1 / 70.5 + 1 / 30.5))
    weight = 900 / (900 + error**2)
    assert mean[0, 0] == pytest.approx(240 + weight * (400 * share - 240), abs=0.05)
    assert own[0, 0, 0] == pytest.approx(900 * (1 - weight), rel=0.01)


def test_heads_handled_at_a_haul_are_a_floor():
    """Counted 100 +- 20, then 130 females in the seine: the normal cut at 130 (Johnson & Kotz, chapter 13)."""
    groups = Groups(1, counts((0, 0, 100, 20, 40, 4)), hauls=columns(Hauls, (0, 1, 130, 1)))
    mean, _, _ = go(groups, 1, fixed_rates(unseen=1e-6), Catch(1.0, 50.0, 0.0))
    cut = (130 - 100) / 20
    hazard = np.exp(-(cut**2) / 2) / np.sqrt(2 * np.pi) / 0.0668072
    assert mean[0, 0] == pytest.approx(100 + 20 * hazard, abs=0.5)


def test_what_came_later_proves_who_was_there():
    """On the day 50 +- 5 females; later 20 came, then 100 were handled, then 15 of them sold: 80 were there."""
    groups = Groups(
        2,
        counts((0, 0, 50, 5, 20, 2), (1, 0, 50, 5, 20, 2)),
        columns(Moves, (0, 40, 20, 0), (0, 60, -15, 0), (1, 60, -30, 0)),
        columns(Deaths, (1, 20, 3, 0)),
        columns(Hauls, (0, 50, 100, 4)),
    )
    found = standing(groups, DAY, **PRIORS)
    assert found.known_alive.tolist() == [[80, 33], [4, 0]]
    assert found.females.tolist() == pytest.approx([80, 50], abs=1e-5)
    assert found.female_limits[0].tolist() == pytest.approx([80, 50 - 1.645 * found.female_se[1]], abs=1e-2)
    assert found.is_bounded.tolist() == [True, False]
    # Asked after all of it, nothing is proven by the future.
    assert standing(groups, DAY + 400, **PRIORS).known_alive.max() == 0


def test_unsexed_heads_are_shared_out_as_the_last_count_had_them():
    counted = counts((0, 0, 300, 0, 100, 0))
    moved = Moves(np.array([0]), np.array([DAY + 10.0]), np.array([0.0]), np.array([0.0]), np.array([40.0]))
    mean, own, _ = go(Groups(1, counted, moved), 10, fixed_rates(unseen=1e-9))
    assert mean[:2, 0] == pytest.approx([330, 110], abs=1e-3)
    assert own[0, 0, 0] == pytest.approx(40 * 0.75 * 0.25, abs=1e-2)
    assert own[0, 1, 0] == pytest.approx(-40 * 0.75 * 0.25, abs=1e-2)


# Against chance itself


def test_a_year_of_unknown_loss_agrees_with_drawing_it():
    """A million lognormal rates and Poisson losses against the five points of the pass."""
    rng = np.random.default_rng(7)
    rate = np.exp(rng.normal(np.log(0.08), 0.5, 1_000_000))
    left = rng.binomial(1000, np.exp(-rate))
    groups = Groups(1, counts((0, 0, 1000, 0, 300, 0)))
    # As good as nothing is seen, so that no deaths found say next to nothing.
    mean, own, _ = go(groups, 365.25, fixed_rates(unseen=0.08, seen=1e-6, spread=0.5))
    assert mean[0, 0] == pytest.approx(left.mean(), abs=0.5)
    assert np.sqrt(own[0, 0, 0]) == pytest.approx(left.std(), rel=0.03)


def test_deaths_found_tell_of_the_rate_as_bayes_has_it():
    """The same rates weighted by their Poisson chance of 60 deaths found in 1,000 head-years."""
    rng = np.random.default_rng(8)
    log_rate = rng.normal(np.log(0.04), 0.5, 400_000)
    noisy = np.exp(log_rate + rng.normal(0, 0.1, log_rate.size))
    exposure = 1000 - 60 * 0.5
    weight = (noisy * exposure) ** 60 * np.exp(-noisy * exposure + 60 - 60 * np.log(60))
    expected = float((weight * log_rate).sum() / weight.sum())
    spread = float(np.sqrt((weight * (log_rate - expected) ** 2).sum() / weight.sum()))
    groups = Groups(1, counts((0, 0, 1000, 0, 300, 0)), deaths=columns(Deaths, (0, 183, 60, 18)))
    steps = lay_out(groups, DAY + 365.25)
    mean, own, _ = go(groups, 365.25, _apart(fixed_rates(unseen=0.04, seen=0.5, spread=0.5)))
    assert steps.deaths.sum() == 78
    # The males' 18 in 300 say the same of the females, the sexes being taken together; so a little closer.
    assert mean[2, 0] == pytest.approx(expected, abs=0.04)
    assert np.sqrt(own[2, 2, 0]) == pytest.approx(spread, rel=0.12)


def _apart(rates: Rates) -> Rates:
    return dataclasses.replace(rates, seen_spread=np.full((1, 1), 1e-6))


# What a farm shows of itself


def a_drained_farm(*, seen, unseen, ponds=30, years=4):
    """Ponds of 1,000 and 300, drained every year, that lose exactly these shares seen and unseen."""
    counted, died = [], []
    for pond in range(ponds):
        females, males = 1000.0, 300.0
        for year in range(years + 1):
            counted.append((pond, 365 * year, round(females), 0, round(males), 0))
            died.append((pond, 365 * year + 180, round(females * seen), round(males * seen)))
            females, males = (round(heads * (1 - seen - unseen)) for heads in (females, males))
    return Groups(ponds, counts(*counted), deaths=columns(Deaths, *died))


@pytest.mark.parametrize(("seen", "unseen"), [(0.02, 0.08), (0.05, 0.05), (0.08, 0.02)])
def test_the_share_seen_is_learnt_from_counts_against_the_book(seen, unseen):
    found = standing(a_drained_farm(seen=seen, unseen=unseen), DAY + 365 * 5, **PRIORS)
    assert found.seen[0] == pytest.approx(seen / (seen + unseen), abs=0.08)
    assert found.seen[1] < found.seen[0] < found.seen[2]
    assert found.survival[0] == pytest.approx(0.9, abs=0.02)
    # The next, unmarked year is foretold: 1,000 (0.9)^4 stood, and are some 10 % fewer a year later.
    stood = 1000 * (1 - seen - unseen) ** 4
    assert found.females == pytest.approx(np.full(30, stood * 0.9), rel=0.02)


def test_a_farm_with_nothing_to_show_stays_at_the_priors():
    found = standing(Groups(1, counts((0, 0, 200, 20, 70, 9))), DAY, **PRIORS)
    assert found.seen[0] == pytest.approx(0.55, abs=0.01)
    middle, spread = LossPrior().log_rate()
    assert found.survival[0] == pytest.approx(np.exp(-np.exp(middle)), abs=0.005)
    assert np.exp(-np.exp(middle + 1.645 * spread)) == pytest.approx(0.77, abs=0.005)
    assert np.exp(-np.exp(middle - 1.645 * spread)) == pytest.approx(0.97, abs=0.005)


# Properties


@st.composite
def farms(draw):
    """A few ponds with a first count each, and whatever else."""
    ponds = draw(st.integers(1, 4))
    whole = st.integers(0, 60)
    rows = [
        (pond, 0, draw(st.integers(0, 400)), draw(st.integers(0, 30)), draw(whole), 5)
        for pond in range(ponds)
    ]
    again = st.tuples(st.integers(0, ponds - 1), st.integers(0, 900), whole, st.just(8), whole, st.just(4))
    rows += draw(st.lists(again, max_size=3))
    place = st.tuples(st.integers(0, ponds - 1), st.integers(0, 1200), st.integers(0, 40), st.integers(0, 20))
    signed = st.tuples(
        st.integers(0, ponds - 1), st.integers(0, 1200), st.integers(-40, 40), st.integers(-20, 20)
    )
    return Groups(
        ponds,
        counts(*rows),
        columns(Moves, *draw(st.lists(signed, max_size=5))),
        columns(Deaths, *draw(st.lists(place, max_size=5))),
        columns(Hauls, *draw(st.lists(place, max_size=4))),
    )


def shuffled(table, order):
    rows = order.permutation(table.day.size)
    return type(table)(**{name: values[rows] for name, values in vars(table).items()})


@settings(max_examples=25, deadline=None)
@given(farms(), st.integers(0, 1500))
def test_whatever_was_written_gives_sound_figures(groups, days):
    found = standing(groups, DAY + days, **PRIORS)
    for heads, se, limits in (
        (found.females, found.female_se, found.female_limits),
        (found.males, found.male_se, found.male_limits),
    ):
        assert np.isfinite(heads).all()
        assert (heads >= 0).all()
        assert (se >= 0).all()
        assert (limits[0] <= heads + 1e-6).all()
        assert (heads <= limits[1] + 1e-6).all()
        assert (limits >= 0).all()
    assert (found.ratio_limits[0] <= found.ratio_limits[1]).all()
    assert (np.abs(found.covariance) <= found.female_se * found.male_se * (1 + 1e-9)).all()
    assert (found.females >= found.known_alive[0]).all()
    for pond in range(groups.size):
        judged = verdict(
            found.females[pond],
            found.female_se[pond],
            found.males[pond],
            found.male_se[pond],
            covariance=found.covariance[pond],
        )
        assert judged.verdict


@settings(max_examples=10, deadline=None)
@given(farms(), st.integers(0, 2**31))
def test_the_order_of_rows_does_not_matter(groups, seed):
    order = np.random.default_rng(seed)
    mixed = Groups(
        groups.size,
        groups.counts,
        shuffled(groups.moves, order),
        shuffled(groups.deaths, order),
        groups.hauls,
    )
    plain, other = (standing(rows, DAY + 1000, **PRIORS) for rows in (groups, mixed))
    assert other.females == pytest.approx(plain.females, abs=1e-6)
    assert other.male_se == pytest.approx(plain.male_se, abs=1e-6)


@settings(max_examples=10, deadline=None)
@given(farms())
def test_all_ponds_at_once_are_each_pond_alone(groups):
    rates = fixed_rates(burst=0.02)
    mean, own, _ = go(groups, 1000, rates)
    for pond in range(groups.size):
        tables = [
            type(table)(
                **{
                    name: (
                        values[table.group == pond]
                        if name != "group"
                        else np.zeros((table.group == pond).sum(), int)
                    )
                    for name, values in vars(table).items()
                }
            )
            for table in (groups.counts, groups.moves, groups.deaths, groups.hauls)
        ]
        alone, own_alone, _ = go(Groups(1, *tables), 1000, rates)
        assert alone[:, 0] == pytest.approx(mean[:, pond], abs=1e-6)
        assert own_alone[..., 0] == pytest.approx(own[..., pond], abs=1e-6)


def test_doubt_grows_with_the_age_of_the_count():
    groups = Groups(1, counts((0, 0, 300, 15, 100, 8)))
    asked = [standing(groups, DAY + days, **PRIORS) for days in (0, 180, 365, 730)]
    assert [found.age[0] for found in asked] == [0, 180, 365, 730]
    assert np.all(np.diff([found.females[0] for found in asked]) < 0)
    assert np.all(np.diff([found.female_se[0] for found in asked]) > 0)
    assert np.all(np.diff([found.unseen_females[0] for found in asked]) > 0)


def test_the_ratio_s_limits_are_those_of_the_verdict():
    """Fieller's limits are where P(F < r M) passes 5 % and 95 %, which the verdict finds by search."""
    mean, variance, covariance = np.array([[300.0], [100.0]]), np.array([[400.0], [64.0]]), np.array([60.0])
    judged = verdict(300, 20, 100, 8, covariance=60, certainty=0.9)
    assert ratio_limits(mean, variance, covariance, 1.6448536)[:, 0] == pytest.approx(
        [judged.lower, judged.upper], abs=1e-6
    )
    wide = ratio_limits(np.array([[300.0], [10.0]]), np.array([[400.0], [64.0]]), np.array([0.0]), 1.6448536)
    assert wide[0, 0] > 0
    assert wide[1, 0] == np.inf


# Where little or nothing is known


def test_a_pond_never_counted_has_no_standing():
    groups = Groups(3, counts((1, 0, 300, 15, 100, 8)), columns(Moves, (0, 5, 40, 10)))
    found = standing(groups, DAY + 10, **PRIORS)
    assert np.isnan(found.females).tolist() == [True, False, True]
    assert np.isnan(found.ratio_limits).tolist() == [[True, False, True]] * 2
    assert found.age.tolist() == [np.inf, 10, np.inf]
    assert np.isnan(standing(groups, DAY - 1, **PRIORS).females).all()


def test_a_sex_never_counted_leaves_the_other_alone():
    groups = Groups(1, counts((0, 0, 300, 15, np.nan, np.nan)), deaths=columns(Deaths, (0, 5, 2, 3)))
    found = standing(groups, DAY + 100, **PRIORS)
    assert found.females[0] == pytest.approx(290, abs=10)
    assert np.isnan(found.males[0])
    assert np.isnan(found.ratio[0])


def test_no_ponds_and_empty_ponds():
    assert standing(Groups(0), DAY, **PRIORS).females.size == 0
    found = standing(Groups(1, counts((0, 0, 0, 0, 0, 0))), DAY + 800, **PRIORS)
    assert found.females[0] == pytest.approx(0, abs=1e-3)
    assert found.males[0] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: counts((0, 0, -1, 0, 10, 0)), "counts, row 1: females cannot be -1"),
        (lambda: counts((0, 0, 10, np.nan, 10, 0)), "needs its standard error"),
        (lambda: counts((0, 0, 10, 1, 10, 1), covariance=3.0), "covariance is more than"),
        (lambda: columns(Deaths, (0, 0, np.nan, 0)), "deaths, row 1: females cannot be nan"),
        (
            lambda: Hauls(np.array([0]), np.array([1.0, 2.0]), np.ones(2), np.ones(2)),
            "hauls: group has 1 rows",
        ),
        (lambda: Moves(np.array([0.5]), np.array([1.0]), np.ones(1), np.ones(1)), "a whole number"),
        (lambda: Groups(1, counts((1, 0, 10, 1, 10, 1))), "names a pond-kind that is not 0 to 0"),
        (lambda: LossPrior(lower=0.95), "loss prior.* must rise"),
        (lambda: DetectionPrior(upper=1.0), "detection prior.* must rise"),
        (lambda: standing(Groups(0), DAY, **PRIORS, confidence=90), "confidence"),
        (lambda: standing(Groups(0), DAY, **PRIORS, clustering=0.5), "clustering"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(make, sentence):
    with pytest.raises(ValueError, match=sentence):
        make()


# On farms whose truth is known


def test_limits_cover_and_the_verdict_holds_on_simulated_farms():
    """A small part of `python -m tests.simulator.studies`; bounds are three errors of some 300 draws wider."""
    cases = ask(FarmPlan(heads=(50, 800)), farms=6, seed=77, months=(24, 48))
    cells = {cell.name: cell for cell in cells_of(cases)}
    assert cells["all"].cases == 6 * 24 * 2
    assert 0.85 < cells["all"].females < 0.95
    assert 0.85 < cells["all"].ratio < 0.95
    assert cells["all"].width < 1.4
    assert cells["all"].ratio_width < 1.4
    assert all(cells[name].females > 0.75 for name in ("under 6 months", "6 to 18 months"))
    all_short = next(row for row in shortages_of(cases) if row.name == "all")
    assert all_short.said > 0.8
    assert all_short.true > all_short.claimed - 0.04
