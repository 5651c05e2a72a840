"""Rates and overdispersion against published figures."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from stock.advisor.yields import overdispersion, rate_posterior, shrink_rates

# Gaver & O'Muircheartaigh (1987), Technometrics 29:1-15: failures of ten pumps, thousands of hours.
PUMPS = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
HOURS = [94.320, 15.720, 62.880, 125.760, 5.240, 31.440, 1.048, 1.048, 2.096, 10.480]
# Bliss & Fisher (1953), Biometrics 9:176-200: red mites on 150 apple leaves.
MITES = [mites for mites, leaves in enumerate([70, 38, 17, 10, 9, 3, 2, 1]) for _ in range(leaves)]


def birth_rates():
    # Hoff (2009), A First Course in Bayesian Statistical Methods, section 3.2, prior Gamma(2, 1).
    return (
        rate_posterior(217, 111, prior_shape=2, prior_rate=1),
        rate_posterior(66, 44, prior_shape=2, prior_rate=1),
    )


def test_birth_rates_of_hoff():
    first, second = birth_rates()
    assert (first.value, first.mode) == pytest.approx((1.955357, 1.946429), abs=1e-6)
    assert (first.lower, first.upper) == pytest.approx((1.704943, 2.222679), abs=1e-6)
    assert (second.value, second.mode) == pytest.approx((1.511111, 1.488889), abs=1e-6)
    assert (second.lower, second.upper) == pytest.approx((1.173437, 1.890836), abs=1e-6)
    assert first.probability_greater(second) == pytest.approx(0.972560, abs=1e-6)
    assert second.probability_greater(first) == pytest.approx(1 - 0.972560, abs=1e-6)


def test_predictions_of_hoff():
    first, _ = birth_rates()
    expected = [0.1427473, 0.2766518, 0.2693071, 0.1755660, 0.0862293, 0.0340339]
    assert [first.pmf(k) for k in range(6)] == pytest.approx(expected, abs=1e-7)
    # Derived with the negative binomial of R.
    for exposure, limits in ((1, (0, 5)), (10, (11, 29))):
        to_come = first.predict(exposure)
        assert (to_come.lower, to_come.upper) == limits
        assert to_come.value == pytest.approx(1.955357 * exposure, abs=1e-5)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 40), st.floats(0.5, 30), st.floats(0.5, 8), st.floats(0.5, 8), st.floats(0.2, 5))
def test_a_prediction_is_a_poisson_averaged_over_the_rate(events, exposure, shape, rate, further):
    posterior = rate_posterior(events, exposure, prior_shape=shape, prior_rate=rate)
    density = stats.gamma(shape + events, scale=1 / (rate + exposure))
    averaged, _ = integrate.quad(
        lambda theta: stats.poisson.pmf(2, theta * further) * density.pdf(theta),
        0,
        density.isf(1e-14),
        limit=200,
    )
    assert posterior.pmf(2, exposure=further) == pytest.approx(averaged, abs=1e-7)
    assert posterior.se == pytest.approx(density.std())
    to_come = posterior.predict(further)
    covered = sum(
        posterior.pmf(k, exposure=further) for k in range(int(to_come.lower), int(to_come.upper) + 1)
    )
    assert covered >= 0.95 - 1e-9


def test_nothing_counted_leaves_the_prior():
    prior = rate_posterior(0, 0, prior_shape=2, prior_rate=1, confidence=0.5)
    assert (prior.value, prior.mode) == (2, 1)
    assert (prior.lower, prior.upper) == pytest.approx(tuple(stats.gamma.ppf([0.25, 0.75], 2)))
    assert rate_posterior(0, 3, prior_shape=0.5, prior_rate=1).mode == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"events": -1}, "events: -1 is below zero"),
        ({"exposure": 0}, "3 events cannot come from an exposure of 0"),
        ({"prior_shape": 0}, "prior_shape: 0 is not a usable figure"),
        ({"prior_rate": -1}, "prior_rate"),
        ({"confidence": 1}, "confidence"),
    ],
)
def test_impossible_rates_are_refused(change, words):
    asked = {"events": 3, "exposure": 2, "prior_shape": 1, "prior_rate": 1} | change
    with pytest.raises(ValueError, match=words):
        rate_posterior(asked.pop("events"), asked.pop("exposure"), **asked)


def test_impossible_predictions_are_refused():
    first, _ = birth_rates()
    with pytest.raises(ValueError, match="exposure: 0"):
        first.predict(0)
    with pytest.raises(ValueError, match="k: -1"):
        first.pmf(-1)


def test_mites_of_bliss_and_fisher():
    k = overdispersion(MITES)
    assert len(MITES) == 150
    assert k.mean == pytest.approx(1.146667, abs=1e-6)
    assert k.value == pytest.approx(1.024592, abs=1e-5)
    assert k.moments == pytest.approx(1.16670, abs=1e-4)
    # 1 / k with its error, by hand from k and se.
    assert (1 / k.lower + 1 / k.upper) / 2 == pytest.approx(1 / k.value)
    assert 1 / k.lower - 1 / k.value == pytest.approx(1.959964 * k.se / k.value**2, rel=1e-6)


def likelihood(k, counts):
    mean = np.mean(counts)
    return stats.nbinom.logpmf(counts, k, k / (k + mean)).sum()


def test_the_error_of_k_is_the_bend_of_the_likelihood():
    k = overdispersion(MITES)
    step = 1e-3
    bend = sum(w * likelihood(k.value + d * step, MITES) for d, w in ((-1, 1), (0, -2), (1, 1))) / step**2
    assert k.se == pytest.approx(1 / math.sqrt(-bend), rel=1e-4)


@settings(deadline=None)
@given(st.lists(st.integers(0, 30), min_size=2, max_size=20))
def test_k_is_the_likeliest(counts):
    k = overdispersion(counts)
    if k.value is None:
        assert not any(counts)
    elif math.isinf(k.value):
        assert likelihood(1e4, counts) >= max(likelihood(other, counts) for other in (0.1, 1, 10, 100)) - 1e-6
        assert "use Poisson" in k.notes[0]
    else:
        for other in (k.value * 0.99, k.value * 1.01, 0.1, 1, 10):
            assert likelihood(k.value, counts) >= likelihood(other, counts) - 1e-8


def test_counts_that_vary_by_chance_only():
    alike = overdispersion([2, 2, 3, 2])
    assert (alike.value, alike.moments, alike.status) == (math.inf, math.inf, "ok")
    # Hardly more than by chance: k is large, and still found.
    hardly = overdispersion([12, 12, 12, 21])
    assert hardly.value == pytest.approx(252, abs=1)
    assert hardly.upper == math.inf
    for counts in ([], [4], [0, 0, 0]):
        assert overdispersion(counts).status == "no_estimate"
    with pytest.raises(ValueError, match="counts, number 2"):
        overdispersion([1, -2])


def test_pumps_of_gaver_and_omuircheartaigh():
    shrunk = shrink_rates(PUMPS, HOURS)
    assert (shrunk.prior_shape, shrunk.prior_rate) == pytest.approx((0.8223, 1.2590), abs=1e-4)
    expected = [0.0609, 0.1073, 0.0908, 0.1167, 0.5881, 0.6062, 0.7899, 0.7899, 1.4374, 1.9441]
    assert [mean.value for mean in shrunk.means] == pytest.approx(expected, abs=1e-4)
    assert shrunk.pooled.value == pytest.approx(0.8223 / 1.2590, abs=1e-4)
    assert shrunk.between_variance == pytest.approx(0.8223 / 1.2590**2, abs=1e-4)
    assert shrunk.status == "ok"


def test_a_pond_without_exposure_is_given_the_mean_of_the_ponds():
    shrunk = shrink_rates([*PUMPS, 0], [*HOURS, 0])
    assert shrunk.means[-1].value == pytest.approx(0.8223 / 1.2590, abs=1e-4)
    assert shrunk.notes == shrink_rates(PUMPS, HOURS).notes
    beyond = shrink_rates([*PUMPS, 7], [*HOURS, 0])
    assert beyond.means == shrunk.means
    assert "left out" in beyond.notes[-1]


@settings(deadline=None, max_examples=25)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.floats(1, 20)), min_size=4, max_size=10),
    st.floats(-1.5, 3),
    st.floats(-2, 2),
)
def test_no_other_prior_makes_the_counts_likelier(ponds, log_shape, log_mean):
    events, exposures = (np.array(column) for column in zip(*ponds, strict=True))
    shrunk = shrink_rates(events.tolist(), exposures.tolist())

    def chance(shape, mean):
        return stats.nbinom.logpmf(events, shape, shape / (shape + mean * exposures)).sum()

    if shrunk.prior_shape is None:
        best = stats.poisson.logpmf(events, events.sum() / exposures.sum() * exposures).sum()
        assert shrunk.between_variance == 0
        assert len(set(shrunk.means)) == 1
    else:
        best = chance(shrunk.prior_shape, shrunk.prior_shape / shrunk.prior_rate)
        lowest, highest = sorted([min(events / exposures), max(events / exposures)])
        assert all(lowest - 1e-9 <= mean.value <= highest + 1e-9 for mean in shrunk.means)
    assert best >= chance(math.exp(log_shape), math.exp(log_mean)) - 1e-5


def test_the_prior_is_that_of_another_search():
    """The same likelihood in scipy's own form, climbed by another road."""

    def loss(logs):
        shape, rate = np.exp(logs)
        return -stats.nbinom.logpmf(PUMPS, shape, rate / (rate + np.array(HOURS))).sum()

    found = np.exp(optimize.minimize(loss, [0, 0], method="BFGS", options={"gtol": 1e-8}).x)
    shrunk = shrink_rates(PUMPS, HOURS)
    assert (shrunk.prior_shape, shrunk.prior_rate) == pytest.approx(tuple(found), rel=1e-4)


@pytest.mark.parametrize(
    ("events", "exposures", "why"),
    [
        ([4, 9, 2], [10, 10, 10], "Fewer than 4 ponds"),
        ([4, 9, 2, 5], [10, 10, 10, 0], "Fewer than 4 ponds"),
        ([10, 10, 10, 10], [5, 5, 5, 5], "no more than by chance"),
        ([0, 0, 0, 0], [5, 5, 5, 5], "No event was seen"),
    ],
)
def test_ponds_are_pooled_where_their_spread_cannot_be_seen(events, exposures, why):
    shrunk = shrink_rates(events, exposures)
    assert why in shrunk.notes[0]
    assert "complete pooling" in shrunk.notes[0]
    assert {mean.value for mean in shrunk.means} == {shrunk.pooled.value}
    assert (shrunk.between_variance, shrunk.status) == (0, "low_confidence")


def test_a_pooled_rate_has_the_limits_of_garwood():
    # Garwood (1936): 10 events (4.7954, 18.3904), none (0, 3.6889).
    pooled = shrink_rates([4, 6], [2, 2]).pooled
    assert (pooled.value, pooled.lower, pooled.upper) == pytest.approx(
        (2.5, 4.7954 / 4, 18.3904 / 4), abs=2e-5
    )
    nothing = shrink_rates([0, 0], [2, 2]).pooled
    assert (nothing.value, nothing.se, nothing.lower) == (0, None, 0)
    assert nothing.upper == pytest.approx(3.6889 / 4, abs=2e-5)


def test_without_exposure_there_is_no_rate():
    for shrunk in (shrink_rates([], []), shrink_rates([0, 3], [0, 0])):
        assert shrunk.status == shrunk.pooled.status == "no_estimate"
        assert all(mean.value is None for mean in shrunk.means)


def test_impossible_ponds_are_refused():
    with pytest.raises(ValueError, match="1 were given for 2 ponds"):
        shrink_rates([1, 2], [3])
    with pytest.raises(ValueError, match="exposures, number 1"):
        shrink_rates([1], [-3])
