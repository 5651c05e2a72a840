"""The watch over a farm's deaths: its arithmetic against other routes, and what it names and leaves alone."""

import numpy as np
import pytest
from scipy import integrate, stats

from stock.advisor.farm_watch import (
    BURST,
    LEAST_DEATHS,
    RISE_WEIGHTS,
    RISES,
    SLOW,
    DeathSignal,
    evidence,
    has_grown,
    watch_deaths,
)
from stock.advisor.farm_watch_all import (
    ALL,
    FEMALES,
    JUVENILES,
    MALES,
    FarmSignals,
    still_standing,
    watch_farm,
)
from stock.advisor.farm_watch_causes import after_batch, lopsided, unseen_losses
from stock.advisor.farm_watch_normal import DAYS_A_YEAR, Normal, normal_deaths
from tests.simulator.deaths import live

MONTH = DAYS_A_YEAR / 12


def quiet(ponds=20, months=36, heads=600, seed=3):
    """Deaths at a tenth a year, by chance only."""
    rng = np.random.default_rng(seed)
    days = np.full((ponds, months), heads * MONTH)
    return rng.poisson(0.105 * heads / 12, days.shape), days, np.arange(months) % 12 + 1


def test_the_evidence_is_the_ratio_of_two_integrals_by_quadrature():
    # The other route: scipy's adaptive quadrature over the rate, and scipy's negative binomial and Gamma.
    died, over = np.array([2.0, 3, 1, 2, 6, 7]), np.array([20.0, 21, 19, 20, 20, 22])
    normal = Normal(died[None], over[None], np.ones(12), 6.0, 60.0, 0.04)

    def likelihood(times, start):
        raised = np.where(np.arange(6) >= start, times, 1.0)

        def at(rate):
            mean = rate * over * raised
            return (
                stats.gamma.pdf(rate, 6, scale=1 / 60) * stats.nbinom.pmf(died, 25, 25 / (25 + mean)).prod()
            )

        return integrate.quad(at, 0, 1.5, epsabs=0, epsrel=1e-9, limit=200)[0]

    nothing = likelihood(1.0, 6)
    wanted = [
        sum(w * likelihood(times, start) / nothing for times, w in zip(RISES, RISE_WEIGHTS, strict=True))
        for start in range(6)
    ]
    assert evidence(normal)[0] == pytest.approx(wanted, rel=0.02)


def test_without_a_change_the_sum_is_in_the_mean_the_number_of_months():
    # Shiryaev's and Roberts's sum less the months is a martingale (Pollak 1987), whatever the pond's rate.
    rng = np.random.default_rng(11)
    months, rows = 8, 6000
    rate = rng.gamma(6.0, 1 / 60.0, rows)[:, None]
    over = np.full((rows, months), 12.0)
    died = rng.negative_binomial(25, 25 / (25 + rate * over)).astype(float)
    sums = evidence(Normal(died, over, np.ones(12), 6.0, 60.0, 0.04)).sum(axis=1)
    assert sums.mean() == pytest.approx(months, abs=4 * sums.std() / np.sqrt(rows))


def test_the_exact_limit_of_a_month_is_the_negative_binomials():
    died, days, of_year = quiet()
    died[4, -1] = 25
    (signal,) = [
        one
        for one in watch_deaths(died, days, of_year, slow_alarms=0.5, burst_alarms=0.3)
        if one.what == BURST
    ]
    assert (signal.pond, signal.first, signal.last, signal.deaths) == (4, 35, 35, 25)
    # Scipy's own distribution about the farm's near-known rate: wider only by what the pond's months leave open.
    chance = 0.3 / (12 * 20)
    assert signal.limit >= stats.poisson.isf(chance, 5.25)
    assert signal.limit <= stats.poisson.isf(chance, 5.25) + 5
    assert signal.expected == pytest.approx(5.25, rel=0.25)
    assert signal.score < chance


def test_a_slow_rise_is_named_with_its_month_and_a_quiet_farm_is_left_alone():
    died, days, of_year = quiet()
    assert watch_deaths(died, days, of_year, slow_alarms=0.5, burst_alarms=0.3) == ()
    rng = np.random.default_rng(5)
    died[7, 28:] = rng.poisson(12, 8)
    (signal, *rest) = [
        one
        for one in watch_deaths(died, days, of_year, slow_alarms=0.5, burst_alarms=0.3)
        if one.what == SLOW
    ]
    assert signal.pond == 7
    assert not rest
    assert abs(signal.first - 28) <= 1
    assert signal.deaths == died[7, signal.first :].sum()
    assert signal.times > 1.7
    assert signal.excess == pytest.approx(signal.deaths - signal.expected)


def test_few_deaths_are_never_a_signal():
    died, days, of_year = quiet(heads=2)
    died[:] = 0
    died[0, -1] = LEAST_DEATHS - 1
    assert watch_deaths(died, days, of_year, slow_alarms=0.5, burst_alarms=0.3) == ()


def test_the_season_is_learnt_where_two_years_support_it():
    farm = live(np.random.default_rng(2), ponds=60)
    both = farm.deaths.sum(axis=1), farm.head_days.sum(axis=1)
    season = normal_deaths(*both, farm.month_of_year).season
    assert season[1] > 1.2 > 0.8 > season[7]
    young = normal_deaths(both[0][:, :12], both[1][:, :12], farm.month_of_year[:12])
    assert (young.season == 1).all()


def test_a_ponds_rate_is_drawn_to_the_farms_the_more_the_less_it_shows():
    died, days, of_year = quiet(ponds=10)
    died[0], days[0] = 0, 40 * MONTH
    normal = normal_deaths(died, days, of_year)
    assert 0 < normal.pond_rates()[0] < normal.rate
    assert normal.pond_rates()[1] == pytest.approx(died[1].sum() / (days[1].sum() / DAYS_A_YEAR), rel=0.1)


@pytest.mark.parametrize(
    ("died", "days", "words"),
    [
        ([[1.5, 0]], [[1, 1]], "whole numbers"),
        ([[-1, 0]], [[1, 1]], "whole numbers"),
        ([[1, 0]], [[-1, 1]], "0 or more"),
        ([1, 0], [1, 1], "ponds by months"),
        ([[1, 0]], [[1, float("nan")]], "0 or more"),
    ],
)
def test_impossible_figures_are_refused_in_words(died, days, words):
    with pytest.raises(ValueError, match=words):
        watch_deaths(died, days, [1, 2], slow_alarms=0.5, burst_alarms=0.3)


def test_a_farm_without_heads_or_of_one_month_has_no_signal():
    assert watch_deaths([[3]], [[100]], [1], slow_alarms=1, burst_alarms=1) == ()
    assert watch_deaths([[0, 0]], [[0, 0]], [1, 2], slow_alarms=1, burst_alarms=1) == ()


def test_one_class_that_dies_alone_is_named_by_its_class():
    rng = np.random.default_rng(8)
    days = np.full((30, 30), 400 * MONTH)
    died = {FEMALES: rng.poisson(3.5, days.shape), MALES: rng.poisson(1.2, days.shape)}
    days_of = {FEMALES: days, MALES: days / 3}
    died[MALES][5, -1] += 9
    found = watch_farm(
        {ALL: died[FEMALES] + died[MALES], **died, JUVENILES: np.zeros_like(days)},
        {ALL: days * 4 / 3, **days_of, JUVENILES: days},
        np.arange(30) % 12 + 1,
    )
    assert [(series, signal.pond) for series, signal in found.deaths] in ([(MALES, 5)], [(ALL, 5)])


def test_lopsided_deaths_are_those_a_beta_binomial_would_not_give():
    days = [[300 * DAYS_A_YEAR, 100 * DAYS_A_YEAR]] * 50
    died = [[15, 5]] * 50
    assert lopsided(died, days, [750, 250], [days[0][0] * 50, days[0][1] * 50], alarms=0.1) == ()
    died[3] = [14, 26]
    (signal,) = lopsided(died, days, [750, 250], [days[0][0] * 50, days[0][1] * 50], alarms=0.1)
    assert (signal.pond, signal.sex) == (3, 1)
    assert signal.excess == pytest.approx(26 - 0.25 * 40, abs=0.5)
    # Fisher's exact test of the dead against the heads says the same of the odds.
    assert stats.fisher_exact([[14, 26], [286, 74]]).pvalue < 1e-6


def test_a_cluster_after_a_batch_needs_more_than_all_ponds_have():
    windows = {"varies": 0.1, "batches_a_year": 6.0, "alarms": 0.15}
    cluster = {"deaths": (6, 9), "expected": (0.7, 2.0)}
    signal = after_batch(0, **cluster, elsewhere=(20, 55), elsewhere_expected=(21.0, 54.0), **windows)
    assert signal is not None
    assert signal.days in (21, 56)
    assert signal.times > 2
    # After a frost everything dies more: the batch is not to blame.
    assert after_batch(0, **cluster, elsewhere=(190, 260), elsewhere_expected=(21.0, 54.0), **windows) is None
    assert (
        after_batch(
            0,
            deaths=(1, 3),
            expected=(0.7, 2.0),
            elsewhere=(20, 55),
            elsewhere_expected=(21.0, 54.0),
            **windows,
        )
        is None
    )


def test_batches_in_order_seldom_point_to_themselves():
    rng = np.random.default_rng(4)
    size = 1 / 0.1
    raised = 0
    for _ in range(2000):
        died = rng.negative_binomial(size, size / (size + 3.0))
        raised += after_batch(
            0, deaths=(0, int(died)), expected=(1.1, 3.0), elsewhere=(20, 55), elsewhere_expected=(21.0, 54.0),
            varies=0.1, batches_a_year=6.0, alarms=0.15,
        ) is not None  # fmt: skip
    assert raised / 2000 * 6 <= 0.15


def test_missing_heads_beyond_what_is_normally_lost_unseen():
    found = unseen_losses(
        [30, 260, 20], [40, 40, 40], [500, 900, 450], [True, True, True], counts_a_year=8, alarms=0.1
    )
    assert [signal.pond for signal in found] == [1]
    assert found[0].excess == pytest.approx(260 - found[0].expected)
    assert unseen_losses([260], [40], [900], [False], counts_a_year=8, alarms=0.1) == ()
    assert unseen_losses([], [], [], [], counts_a_year=8, alarms=0.1) == ()


@pytest.mark.parametrize(
    ("now", "then", "grown"),
    [(10, 10, False), (14.9, 10, False), (15, 10, True), (4, 2, False), (5, 2, True)],
)
def test_a_signal_has_grown_by_half_and_three_heads(now, then, grown):
    assert has_grown(now, then) is grown


def of_all(died, days, through):
    """The watch of a farm whose heads are all females."""
    both = died[:, :through], days[:, :through]
    none = np.zeros_like(both[0])
    return watch_farm(
        {ALL: both[0], FEMALES: both[0], MALES: none},
        {ALL: both[1], FEMALES: both[1], MALES: none},
        np.arange(through) % 12 + 1,
    ).deaths


def test_a_month_beyond_its_limit_is_named_through_the_next_month_as_it_was_and_then_no_more():
    died, days, _ = quiet()
    died[4, 30], died[4, 31:] = 18, 4
    assert of_all(died, days, 30) == ()
    ((series, signal),) = of_all(died, days, 31)
    assert (series, signal.pond, signal.what, signal.last) == (ALL, 4, BURST, 30)
    assert of_all(died, days, 32) == ((series, signal),)
    assert of_all(died, days, 33) == ()


def test_a_rise_that_goes_on_is_named_once_with_the_newest_month():
    died, days, _ = quiet()
    died[7, 28:] = np.random.default_rng(5).poisson(12, 8)
    ((_, signal),) = of_all(died, days, 36)
    assert (signal.what, signal.last) == (SLOW, 35)


def test_of_two_months_beyond_their_limits_the_worse_is_named_and_a_rise_takes_up_what_it_speaks_of():
    def signal(first, last, deaths, series=ALL, pond=4):
        what = BURST if first == last else SLOW
        return series, DeathSignal(pond, what, first, last, deaths, 2.0, 9.0, 0.0, 0.1, 0.1)

    def stands(now, before):
        return still_standing(FarmSignals(tuple(now), ()), FarmSignals(tuple(before), ())).deaths

    worse, milder = signal(30, 30, 14), signal(31, 31, 10)
    assert stands([milder], [worse]) == (worse,)
    # The month's own is not forgotten: who has answered the worse is told of it.
    assert still_standing(FarmSignals((milder,), ()), FarmSignals((worse,), ())).behind == (milder,)
    worse, milder = signal(31, 31, 14), signal(30, 30, 10)
    assert stands([worse], [milder]) == (worse,)
    rise = signal(30, 31, 12)
    assert stands([rise], [signal(30, 30, 14)]) == (rise,)
    other, of_females = signal(30, 30, 9, pond=2), signal(30, 30, 8, FEMALES)
    assert stands([rise], [other, of_females]) == (rise, other, of_females)
