"""Head counts from two hauls against published worked examples."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.estimators.estimate import Estimate
from stock.estimators.two_sample import INTERVALS, VARIANTS, add_estimates, tag_loss, two_sample

# Carp: Krebs (1989), Ecological Methodology, Box 2.1.
CARP = (948, 421, 167)
# Cottontails, central Oregon: Skalski, Robson & Simmons (1983), Ecology 64:752-760.
COTTONTAILS = (87, 14, 7)


def test_carp_krebs_1989_box_2_1():
    petersen = two_sample(*CARP, variant="petersen", interval="normal")
    assert petersen.value == pytest.approx(2389.87, abs=0.01)
    assert (petersen.lower, petersen.upper) == pytest.approx((2152.94, 2685.39), abs=0.01)
    assert (round(petersen.value), round(petersen.lower), round(petersen.upper)) == (2390, 2153, 2685)
    assert two_sample(*CARP).value == pytest.approx(2382.80, abs=0.01)
    assert two_sample(*CARP, variant="bailey").value == pytest.approx(2381.29, abs=0.01)


def test_carp_errors_and_limits_from_the_formulae():
    # Seber (1970), Bailey (1951) and Chao (1987) written out anew for the carp of Krebs, Box 2.1.
    marked, caught, seen = CARP
    chapman = two_sample(*CARP)
    assert chapman.se == pytest.approx(129.056, abs=0.001)
    assert chapman.se**2 == pytest.approx(
        (marked + 1) * (caught + 1) * (marked - seen) * (caught - seen) / ((seen + 1) ** 2 * (seen + 2))
    )
    assert two_sample(*CARP, variant="petersen").se == pytest.approx(143.645, abs=0.001)
    assert two_sample(*CARP, variant="bailey").se == pytest.approx(142.11, abs=0.01)
    assert (chapman.lower, chapman.upper) == pytest.approx((2155.72, 2663.95), abs=0.01)
    assert (chapman.status, chapman.variant, chapman.known_alive) == ("ok", "chapman", 1202)


@pytest.mark.parametrize(("hauls", "limits"), [(CARP, (2154, 2682)), (COTTONTAILS, (116, 371))])
def test_exact_limits_are_those_no_tail_contradicts(hauls, limits):
    # The hypergeometric distribution of scipy, tried at every number of heads.
    marked, caught, seen = hauls
    heads = np.arange(marked + caught - seen, 4000)
    few, many = (
        stats.hypergeom.cdf(seen, heads, marked, caught),
        stats.hypergeom.sf(seen - 1, heads, marked, caught),
    )
    kept = heads[(few > 0.025) & (many > 0.025)]
    estimate = two_sample(*hauls, interval="exact")
    assert (estimate.lower, estimate.upper) == (kept[0], kept[-1]) == limits


def test_ricker_1975_example_3_1():
    assert two_sample(109, 177, 57).value == pytest.approx(336.586, abs=0.001)


def test_cottontails_skalski_1983():
    estimate = two_sample(*COTTONTAILS)
    assert estimate.value == 164
    assert estimate.se == pytest.approx(35.8236, abs=1e-4)
    assert (estimate.lower, estimate.upper) == pytest.approx((121.199, 274.153), abs=0.001)


def test_a_wald_limit_below_the_animals_handled_is_raised_to_them():
    # Published limits 93.8 and 234.2 (Skalski 1983); 94 animals had been handled.
    estimate = two_sample(*COTTONTAILS, interval="wald")
    assert (estimate.raw_lower, estimate.upper) == pytest.approx((93.8, 234.2), abs=0.06)
    assert (estimate.lower, estimate.known_alive, estimate.status) == (94, 94, "bounded")
    assert estimate.raw is None
    assert "93.8; 94 are known" in estimate.notes[0]


def test_no_recapture_is_a_lower_limit():
    # With R = 0 the least N has C(N - M, C) / C(N, C) > 0.025 (hypergeometric); scipy's tail.
    least = next(n for n in range(70, 1000) if stats.hypergeom.cdf(0, n, 30, 40) > 0.025)
    for interval in ("lognormal", "wald", "exact"):
        chapman = two_sample(30, 40, 0, interval=interval)
        assert (chapman.value, chapman.lower, chapman.upper) == (1270, least, math.inf)
        assert chapman.status == "low_confidence"
        assert "No marked animal recaptured" in chapman.notes[0]
    petersen = two_sample(30, 40, 0, variant="petersen", interval="normal")
    assert (petersen.value, petersen.se, petersen.lower, petersen.upper) == (None, None, least, math.inf)
    assert petersen.status == "no_estimate"
    bailey = two_sample(30, 40, 0, variant="bailey")
    assert (bailey.value, bailey.upper, bailey.status) == (1230, math.inf, "low_confidence")


@pytest.mark.parametrize("variant", ["petersen", "chapman"])
@pytest.mark.parametrize("hauls", [(30, 30, 30), (50, 10, 10), (10, 50, 10)])
def test_no_animal_unseen_means_bounded_and_exact_limits(variant, hauls):
    estimate = two_sample(*hauls, variant=variant)
    exact = two_sample(*hauls, variant=variant, interval="exact")
    assert (estimate.value, estimate.status) == (max(hauls), "bounded")
    # Petersen's variance does not fall to 0 where only the marked were all caught.
    assert (estimate.se is None) == (variant == "chapman" or hauls[1] == hauls[2])
    assert (estimate.lower, estimate.upper) == (exact.lower, exact.upper)
    assert estimate.lower == max(hauls) < estimate.upper


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize(("hauls", "words"), [((0, 12, 0), "No marked"), ((9, 0, 0), "Nothing was caught")])
def test_nothing_marked_or_nothing_caught_is_no_estimate(variant, hauls, words):
    estimate = two_sample(*hauls, variant=variant, known_alive=4)
    assert (estimate.value, estimate.status, estimate.upper) == (None, "no_estimate", math.inf)
    assert words in estimate.notes[0]
    assert estimate.lower == estimate.known_alive >= 4


def test_fewer_than_seven_recaptures_is_low_confidence():
    # Robson & Regier (1964), Trans. Am. Fish. Soc. 93:215-226.
    assert two_sample(60, 50, 6).status == "low_confidence"
    assert "fewer than 7" in two_sample(60, 50, 6).notes[0]
    assert two_sample(60, 50, 7).status == "ok"


def test_heads_known_alive_bound_the_figure():
    estimate = two_sample(60, 50, 30, known_alive=150)
    assert (estimate.value, estimate.lower, estimate.upper, estimate.status) == (150, 150, 150, "bounded")
    assert estimate.raw == pytest.approx(61 * 51 / 31 - 1)
    assert two_sample(60, 50, 30, known_alive=90, interval="wald").lower == 90


def test_bailey_takes_more_sightings_than_marks():
    # Bailey (1951), Biometrika 38:293-306: M (C + 1) / (R + 1).
    estimate = two_sample(10, 40, 25, variant="bailey")
    assert estimate.value == pytest.approx(10 * 41 / 26)
    assert estimate.known_alive == 11
    assert two_sample(10, 40, 40, variant="bailey").known_alive == 10
    # Clopper & Pearson's limits of 25 of 40, by the beta distribution.
    exact = two_sample(10, 40, 25, variant="bailey", interval="exact")
    low, high = stats.beta.ppf(0.025, 25, 16), stats.beta.ppf(0.975, 26, 15)
    assert (exact.lower, exact.upper) == pytest.approx((10 / high, 10 / low))


def test_petersen_normal_limits_may_have_no_end():
    assert two_sample(50, 20, 1, variant="petersen", interval="normal").upper == math.inf
    single = two_sample(50, 1, 1, variant="petersen", interval="normal")
    assert (single.value, single.se, single.upper) == (50, None, 1999)
    other = two_sample(5, 1, 1, variant="petersen", interval="normal", retention=0.5, retention_se=0.1)
    assert (other.lower, other.upper) == (5, math.inf)


def test_marks_lost_lower_the_count():
    # M replaced by M x retention (Seber 1982, section 3.2.4).
    estimate = two_sample(100, 80, 20, retention=0.9)
    assert estimate.value == pytest.approx(91 * 81 / 21 - 1)
    assert estimate.known_alive == 100
    widened = two_sample(100, 80, 20, retention=0.9, retention_se=0.05)
    assert widened.se == pytest.approx(math.hypot(estimate.se, 100 * 0.05 * 81 / 21))
    assert widened.lower < estimate.lower < estimate.upper < widened.upper
    normal = two_sample(100, 80, 20, variant="petersen", interval="normal", retention=0.9)
    wider = two_sample(100, 80, 20, variant="petersen", interval="normal", retention=0.9, retention_se=0.05)
    assert wider.lower < normal.lower < normal.upper < wider.upper


def test_exact_limits_with_marks_lost():
    # Each of the marked drawn keeps its mark by a coin: both distributions are scipy's, summed in full.
    drawn = np.arange(15)

    def chance(heads, holding):
        return stats.hypergeom.pmf(drawn, heads, 87, 14) @ holding

    few, many = stats.binom.cdf(7, drawn, 0.9), stats.binom.sf(6, drawn, 0.9)
    kept = [n for n in range(87, 1000) if chance(n, few) > 0.025 and chance(n, many) > 0.025]
    estimate = two_sample(*COTTONTAILS, interval="exact", retention=0.9)
    assert (estimate.lower, estimate.upper) == (kept[0], kept[-1]) == (103, 334)
    widest = two_sample(*COTTONTAILS, interval="exact", retention=0.9, retention_se=0.05)
    assert widest.lower < 103 < 334 < widest.upper


def test_large_hauls_take_the_binomial_limits():
    # Clopper & Pearson's limits of 300 of 30,000, by the beta distribution: a little wider than exact.
    estimate = two_sample(30_000, 30_000, 300, interval="exact")
    low, high = stats.beta.ppf(0.025, 300, 29_701), stats.beta.ppf(0.975, 301, 29_700)
    assert (estimate.lower, estimate.upper) == pytest.approx((30_000 / high, 30_000 / low))
    # Garwood's (1936) 5.5716 for a count of 1.
    huge = two_sample(10**12, 10**12, 1, interval="exact")
    assert huge.lower == pytest.approx(10**24 / 5.5716, rel=1e-4)


def test_impossible_hauls_are_refused():
    with pytest.raises(ValueError, match="21 marked among 20 caught"):
        two_sample(30, 20, 21)
    with pytest.raises(ValueError, match="12 marked were caught, but 10 marked were at large"):
        two_sample(10, 20, 12)
    with pytest.raises(ValueError, match="petersen only, not with chapman"):
        two_sample(10, 20, 2, interval="normal")
    with pytest.raises(ValueError, match="choose one of petersen"):
        two_sample(10, 20, 2, variant="schnabel")
    with pytest.raises(ValueError, match="every mark is lost"):
        two_sample(10, 20, 2, retention=0)
    with pytest.raises(ValueError, match="not a whole number"):
        two_sample(10.5, 20, 2)
    with pytest.raises(ValueError, match="cannot be used here"):
        two_sample(10, 20, 2, retention_se=math.nan)


def test_double_tags_seber_1982():
    # Seber (1982), section 3.2.4: (48 x 45) / 40.
    loss = tag_loss(40, 8, 5)
    assert (loss.loss_a, loss.loss_b) == pytest.approx((0.111111, 0.166667), abs=1e-6)
    assert (loss.value, loss.known_alive, loss.status) == (54.0, 53, "ok")
    assert loss.se == pytest.approx(math.sqrt(48 * 45 * 8 * 5 / 40**3))
    assert loss.loss_a_se == pytest.approx(math.sqrt(1 / 9 * 8 / 9 / 45))
    assert loss.lower < 54 < loss.upper


def test_tag_loss_needs_animals_with_both():
    loss = tag_loss(0, 8, 5)
    assert (loss.value, loss.status, loss.loss_a, loss.lower) == (None, "no_estimate", None, 13)
    one_sided = tag_loss(12, 3, 0)
    assert (one_sided.value, one_sided.se, one_sided.loss_a, one_sided.status) == (
        15,
        None,
        0,
        "low_confidence",
    )
    with pytest.raises(ValueError, match="only_a: -1 is below zero"):
        tag_loss(3, -1, 2)


def test_the_sexes_add():
    females, males = two_sample(60, 50, 20), two_sample(30, 24, 9)
    both = add_estimates([females, males])
    assert both.value == pytest.approx(females.value + males.value)
    assert both.se**2 == pytest.approx(females.se**2 + males.se**2)
    assert both.known_alive == females.known_alive + males.known_alive
    assert both.known_alive < both.lower < both.value < both.upper
    assert both.upper - both.lower < females.upper + males.upper - females.lower - males.lower
    assert both.status == "ok"


def test_a_sum_is_no_better_than_its_parts():
    females = two_sample(60, 50, 20)
    without_error = add_estimates([females, two_sample(30, 30, 30)])
    assert (without_error.se, without_error.status) == (None, "bounded")
    assert without_error.upper == pytest.approx(females.upper + 31)
    unlimited = add_estimates([females, two_sample(30, 20, 0)])
    assert (unlimited.upper, unlimited.status) == (math.inf, "low_confidence")
    assert unlimited.lower == pytest.approx(females.lower + two_sample(30, 20, 0).lower)
    none = add_estimates([females, two_sample(30, 20, 0, variant="petersen")])
    assert (none.value, none.se, none.status, none.upper) == (None, None, "no_estimate", math.inf)
    assert add_estimates([Estimate(value=12.0, se=1.0), Estimate(value=3.0, se=1.0)]).upper == math.inf
    with pytest.raises(ValueError, match="nothing to add"):
        add_estimates([])
    with pytest.raises(ValueError, match=r"0\.9 and 0\.95"):
        add_estimates([two_sample(60, 50, 20), two_sample(60, 50, 20, confidence=0.9)])


@st.composite
def hauls(draw, most=400):
    marked, caught = draw(st.integers(0, most)), draw(st.integers(0, most))
    return marked, caught, draw(st.integers(0, min(marked, caught)))


@given(
    hauls(),
    st.sampled_from(VARIANTS),
    st.sampled_from(INTERVALS[:3]),
    st.sampled_from([(1.0, 0.0), (0.8, 0.0), (0.95, 0.04)]),
    st.sampled_from([0, 5, 500]),
    st.sampled_from([0.5, 0.95, 0.999]),
)
@settings(max_examples=60, deadline=None)
def test_any_hauls_give_a_figure_between_its_limits(hauls, variant, interval, kept, known, confidence):
    estimate = two_sample(
        *hauls,
        variant=variant,
        interval=interval,
        retention=kept[0],
        retention_se=kept[1],
        known_alive=known,
        confidence=confidence,
    )
    assert estimate.known_alive >= known
    assert estimate.known_alive <= estimate.lower <= estimate.upper
    if estimate.value is not None:
        assert estimate.lower <= estimate.value <= estimate.upper
        assert estimate.value >= max(hauls[0], known)
    elif variant != "petersen":
        assert 0 in hauls[:2]


@given(hauls(), st.booleans())
@settings(max_examples=30, deadline=None)
def test_the_two_hauls_may_change_places(hauls, is_exact):
    marked, caught, seen = hauls
    interval = "exact" if is_exact else "lognormal"
    there = two_sample(marked, caught, seen, interval=interval)
    back = two_sample(caught, marked, seen, interval=interval)
    assert (there.value, there.se, there.lower, there.upper) == pytest.approx(
        (back.value, back.se, back.lower, back.upper)
    )


@given(hauls(most=60), st.integers(2, 9))
@settings(max_examples=30, deadline=None)
def test_petersen_scales_with_the_hauls(hauls, times):
    small = two_sample(*hauls, variant="petersen")
    large = two_sample(*(times * count for count in hauls), variant="petersen")
    assert (small.value is None) == (large.value is None)
    if small.value is not None:
        assert large.value == pytest.approx(times * small.value)


@given(st.lists(hauls(), min_size=1, max_size=4))
@settings(max_examples=30, deadline=None)
def test_a_sum_does_not_depend_on_the_order(several):
    parts = [two_sample(*each) for each in several]
    forward, backward = add_estimates(parts), add_estimates(reversed(parts))
    assert (forward.value, forward.lower, forward.upper) == pytest.approx(
        (backward.value, backward.lower, backward.upper)
    )
    if forward.value is not None:
        assert forward.known_alive <= forward.lower <= forward.value <= forward.upper
