"""Removal passes against published worked examples."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special, stats

from stock.estimators.passes import Passes
from stock.estimators.removal import VARIANTS, removal

# Carle & Strub (1978), Biometrics 34:621-630, and Cowx (1983), Fisheries Management 14:67-82, p. 77:
# catches, heads, chance of capture.
CARLE_STRUB = [
    ((38, 26, 12), 91, 0.444444),
    ((5, 7, 8), 44, 0.173913),
    ((72, 56, 46, 30, 24), 298, 0.25),
]
# Schnute (1983), Can. J. Fish. Aquat. Sci. 40:2153-2169: brook trout, samples 1-10, Moran's likelihood.
BROOK_TROUT = [
    ((45, 11, 18, 8), 90.6, 83.4, 109.2, 0.44),
    ((52, 31, 10, 12), 114.6, 107.0, 131.5, 0.46),
    ((48, 10, 6, 6), 71.1, 70, 76.3, 0.61),
    ((88, 22, 11, 2), 123.4, 123, 126.7, 0.70),
    ((50, 10, 8, 6), 75.5, 74, 81.3, 0.60),
    ((44, 12, 1, 0), 57.0, 57, 58.0, 0.80),
    ((53, 22, 14, 4), 96.4, 93, 104.8, 0.55),
    ((24, 13, 5, 3), 46.6, 45, 54.4, 0.54),
    ((37, 4, 2, 3), 46.0, 46, 47.7, 0.73),
    ((63, 9, 12, 4), 88.9, 88, 93.4, 0.64),
]


@pytest.mark.parametrize(("catches", "heads", "chance"), CARLE_STRUB)
def test_carle_strub_1978(catches, heads, chance):
    estimate = removal(catches)
    assert (estimate.value, estimate.value_integer, estimate.variant) == (heads, heads, "carle-strub")
    assert estimate.capture_probability == pytest.approx(chance, abs=1e-6)


def test_carle_strub_standard_errors():
    # Published 9.7 (Cowx 1983); the second by Seber (1982), equation 7.21.
    assert removal((38, 26, 12)).se == pytest.approx(9.687, abs=0.001)
    assert removal((72, 56, 46, 30, 24)).se == pytest.approx(24.853, abs=0.001)
    heads, p, q, k = 91, 4 / 9, 5 / 9, 3
    below = q * (1 - q**k) ** 2 - (k * p) ** 2 * q**k
    expected = math.sqrt((q * p) ** 2 * (1 - q**k) / (heads * below))
    assert removal((38, 26, 12)).capture_probability_se == pytest.approx(expected)


def test_limits_are_lognormal_in_the_heads_left():
    estimate = removal((38, 26, 12))
    spread = math.exp(stats.norm.ppf(0.975) * math.sqrt(math.log(1 + (estimate.se / 15) ** 2)))
    assert (estimate.lower, estimate.upper) == pytest.approx((76 + 15 / spread, 76 + 15 * spread))
    assert (estimate.status, estimate.known_alive) == ("ok", 76)


def test_cowx_1983_two_and_three_passes():
    # Cowx (1983), p. 75: 353, 324 and 321.
    assert removal((72, 56, 46), variant="seber").value == pytest.approx(353.348, abs=0.001)
    two = removal((72, 56), variant="seber")
    assert (two.value, two.value_integer) == (324.0, 324)
    assert two.se == pytest.approx(178.19, abs=0.005)
    assert two.capture_probability == pytest.approx(0.2222, abs=5e-5)
    regier = removal((72, 56), variant="robson-regier")
    assert (regier.value, regier.value_integer) == (320.5, 321)


def test_two_passes_are_fragile():
    # The likelihood of Moran (1951) and its profile, for the catches of Cowx (1983).
    estimate = removal((72, 56), variant="mle")
    assert estimate.value == pytest.approx(295.54, abs=0.01)
    assert (estimate.lower, estimate.upper) == (pytest.approx(174.6, abs=0.05), math.inf)
    for variant in VARIANTS:
        assert removal((72, 56), variant=variant).status == "low_confidence"
        assert "no upper limit" in removal((72, 56), variant=variant).notes[0]


@pytest.mark.parametrize(("catches", "heads", "lower", "upper", "chance"), BROOK_TROUT)
def test_schnute_1983_brook_trout(catches, heads, lower, upper, chance):
    estimate = removal(catches, variant="mle")
    assert (estimate.value, estimate.lower, estimate.upper) == pytest.approx((heads, lower, upper), abs=0.07)
    assert estimate.capture_probability == pytest.approx(chance, abs=0.006)


def test_likelihood_against_scipy():
    # The same likelihood maximized by scipy over N and p at once, for Carle & Strub's catches.
    catches = (38, 26, 12)

    def loss(point):
        heads, chance = point
        logs = special.gammaln(heads + 1) - special.gammaln(heads - 75) + 76 * math.log(chance)
        return -(logs + (3 * heads - 102 - 76) * math.log(1 - chance))

    best = optimize.minimize(loss, (90, 0.4), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12})
    estimate = removal(catches, variant="mle")
    assert (estimate.value, estimate.capture_probability) == pytest.approx(tuple(best.x), abs=1e-4)
    assert (estimate.value, estimate.value_integer) == (pytest.approx(92.1506, abs=1e-4), 92)
    assert estimate.se == pytest.approx(10.193, abs=0.001)
    assert (estimate.lower, estimate.upper) == pytest.approx((79.658, 135.210), abs=0.001)


def test_zippin_equals_sebers_closed_forms():
    # Seber (1982), section 7.2: for two and three passes the asymptotic equation has these solutions.
    assert removal((38, 26, 12), variant="zippin").value == pytest.approx(94.926, abs=0.001)
    for catches in [(38, 26, 12), (72, 56, 46), (72, 56), (40, 3), (30, 0, 4)]:
        zippin, seber = removal(catches, variant="zippin"), removal(catches, variant="seber")
        assert zippin.value == pytest.approx(seber.value)
        assert zippin.capture_probability == pytest.approx(seber.capture_probability)


@pytest.mark.parametrize("variant", VARIANTS)
def test_everything_in_the_first_pass(variant):
    catches = (10, 0) if variant == "robson-regier" else (10, 0, 0)
    estimate = removal(catches, variant=variant)
    assert (estimate.value, estimate.se, estimate.lower, estimate.status) == (10, None, 10, "bounded")
    # The profile: 10 heads, all later passes empty, p = 10 / (k N - X) at the limit.
    passes = Passes(catches)
    drop = passes.log_likelihood(10) - passes.log_likelihood(estimate.upper)
    assert drop == pytest.approx(stats.chi2.ppf(0.95, 1) / 2)
    assert 10 < estimate.upper < 11


def test_all_caught_though_not_at_once():
    estimate = removal((44, 12, 1, 0))
    profile = removal((44, 12, 1, 0), variant="mle")
    assert (estimate.value, estimate.status) == (57, "bounded")
    assert (estimate.lower, estimate.upper) == (profile.lower, profile.upper)


@pytest.mark.parametrize("variant", VARIANTS)
def test_a_catch_that_did_not_decline(variant):
    # Seber & Whale (1970), Biometrics 26:393-400.
    for catches in [(0, 1), (7, 7), (5, 9)] if variant == "robson-regier" else [(5, 7, 8), (9, 2, 9), (0, 1)]:
        estimate = removal(catches, variant=variant)
        assert "did not decline" in estimate.notes[0]
        assert estimate.upper == math.inf
        assert sum(catches) <= estimate.lower
        if variant == "carle-strub":
            assert estimate.status == "low_confidence"
            assert "nothing to accept" in estimate.notes[0]
        else:
            assert (estimate.value, estimate.status) == (None, "no_estimate")


def test_beyond_three_passes_the_whole_sum_decides():
    # Seber & Whale (1970): sum of (k + 1 - 2 i) x catch i, here 28 and -28, though first equals last.
    assert Passes((20, 30, 2, 20)).declined
    assert not Passes((20, 2, 30, 20)).declined
    assert removal((20, 30, 2, 20), variant="mle").value is not None


@pytest.mark.parametrize(
    ("catches", "words"), [((), "One pass"), ((8,), "One pass"), ((0, 0, 0), "Nothing was")]
)
def test_too_little_to_go_by(catches, words):
    for variant in VARIANTS[:4]:
        estimate = removal(catches, variant=variant)
        assert (estimate.value, estimate.status, estimate.upper) == (None, "no_estimate", math.inf)
        assert estimate.lower == estimate.known_alive == sum(catches)
        assert words in estimate.notes[0]


def test_a_small_chance_of_capture_is_low_confidence():
    estimate = removal((60, 54, 46, 42, 38, 33))
    assert estimate.capture_probability < 0.2
    assert "below 20 %" in estimate.notes[0]
    assert estimate.status == "low_confidence"
    assert math.isfinite(estimate.upper)


def test_impossible_passes_are_refused():
    with pytest.raises(ValueError, match="catches, number 2: -3 is below zero"):
        removal((8, -3))
    with pytest.raises(ValueError, match="seber is made for at most 3 passes; there were 4"):
        removal((9, 5, 3, 1), variant="seber")
    with pytest.raises(ValueError, match="at most 2 passes"):
        removal((9, 5, 3), variant="robson-regier")
    with pytest.raises(ValueError, match="choose one of carle-strub"):
        removal((9, 5), variant="peterson")
    with pytest.raises(ValueError, match="2000000 in all"):
        removal((1_500_000, 500_000))


def test_farm_sized_catches_with_hardly_a_decline():
    estimate = removal((1667, 1667, 1666), variant="mle")
    assert (estimate.upper, estimate.status) == (math.inf, "low_confidence")
    zippin = removal((1667, 1667, 1666), variant="zippin")
    assert zippin.value == pytest.approx(removal((1667, 1667, 1666), variant="seber").value, rel=1e-4)


def test_a_chance_so_small_that_the_error_formula_fails():
    assert Passes((3, 3)).errors(1e9, 1e-12) == (None, None)


def test_a_tie_of_the_posterior_is_settled_exactly():
    # (N+1)/(N-T+1) x (kN-X-T+2)(kN-X-T+1)/((kN-X+3)(kN-X+2)) of Carle & Strub (1978) with T = 4, X = 0:
    # 7/3 x 10/15 x 9/14 = 1 at N = 6, and 6/2 x 8/13 x 7/12 = 14/13 at N = 5.
    assert Fraction(7, 3) * Fraction(10, 15) * Fraction(9, 14) == 1
    assert removal((0, 4)).value == 6
    assert removal((0, 13)).value == 51


catches = st.lists(st.integers(0, 60), min_size=2, max_size=6)


@given(catches.filter(sum))
@settings(max_examples=40, deadline=None)
def test_carle_strub_is_the_first_whole_number_that_holds(catches):
    # The inequality of Carle & Strub (1978) in exact fractions, tried from T upward.
    k, taken = len(catches), sum(catches)
    weighted = sum((k - place) * heads for place, heads in enumerate(catches, start=1))

    def holds(heads):
        ratio = Fraction(heads + 1, heads - taken + 1)
        for i in range(1, k + 1):
            ratio *= Fraction(k * heads - weighted - taken + 1 + k - i, k * heads - weighted + 2 + k - i)
        return ratio <= 1

    heads = round(removal(catches).value)
    assert holds(heads)
    for fewer in range(max(taken, heads - 100), heads):
        assert not holds(fewer)


@given(catches, st.sampled_from(VARIANTS[:3]), st.sampled_from([0.5, 0.95, 0.999]))
@settings(max_examples=60, deadline=None)
def test_any_passes_give_a_figure_between_its_limits(catches, variant, confidence):
    estimate = removal(catches, variant=variant, confidence=confidence)
    assert estimate.known_alive == sum(catches) <= estimate.lower <= estimate.upper
    if estimate.value is not None:
        assert estimate.lower <= estimate.value <= estimate.upper
        assert 0 < estimate.capture_probability <= 1
        assert estimate.value_integer >= sum(catches)


@given(catches.filter(sum))
@settings(max_examples=30, deadline=None)
def test_the_best_heads_beat_their_neighbors(catches):
    passes, estimate = Passes(tuple(catches)), removal(catches, variant="mle")
    assert (estimate.value is not None) == passes.declined
    if estimate.value is not None:
        around = np.linspace(max(estimate.value - 5, passes.taken), estimate.value + 5, 41)
        best = passes.log_likelihood(estimate.value)
        assert all(passes.log_likelihood(heads) <= best + 1e-9 for heads in around)


@given(st.integers(1, 60), st.integers(0, 60), st.integers(0, 60))
@settings(max_examples=30, deadline=None)
def test_closed_forms_never_fall_below_the_catch(first, second, third):
    for catches, variant in [((first, second), "robson-regier"), ((first, second, third), "seber")]:
        estimate = removal(catches, variant=variant)
        if estimate.value is not None:
            assert estimate.raw is None
            assert sum(catches) <= estimate.lower <= estimate.value <= estimate.upper
