"""Shares against published intervals."""

import math

import pytest
from scipy import stats

from stock.advisor.share import finite_share, share_interval

# Newcombe (1998), Statistics in Medicine 17:857-872, Table I, methods 3 (Wilson) and 5 (exact).
NEWCOMBE = [
    ("wilson", 81, 263, 0.2553, 0.3662),
    ("wilson", 15, 148, 0.0624, 0.1605),
    ("wilson", 0, 20, 0.0, 0.1611),
    ("clopper-pearson", 81, 263, 0.2527, 0.3676),
    ("clopper-pearson", 15, 148, 0.0578, 0.1617),
    ("clopper-pearson", 0, 20, 0.0, 0.1684),
]
# Brown, Cai & DasGupta (2001), Statistical Science 16:101-133, table of Jeffreys limits, n = 10.
JEFFREYS = [
    (0, 0.0, 0.217),
    (1, 0.011, 0.381),
    (2, 0.044, 0.503),
    (3, 0.093, 0.606),
    (4, 0.153, 0.696),
    (5, 0.224, 0.776),
]


@pytest.mark.parametrize(("method", "count", "n", "lower", "upper"), NEWCOMBE)
def test_newcombe_1998_table_1(method, count, n, lower, upper):
    estimate = share_interval(count, n, method=method)
    assert (estimate.lower, estimate.upper) == pytest.approx((lower, upper), abs=5e-5)
    assert estimate.value == pytest.approx(count / n)


@pytest.mark.parametrize(("count", "lower", "upper"), JEFFREYS)
def test_brown_cai_dasgupta_2001_jeffreys_limits(count, lower, upper):
    estimate = share_interval(count, 10, method="jeffreys")
    assert (estimate.lower, estimate.upper) == pytest.approx((lower, upper), abs=6e-4)
    mirrored = share_interval(10 - count, 10, method="jeffreys")
    assert (mirrored.lower, mirrored.upper) == pytest.approx((1 - estimate.upper, 1 - estimate.lower))


def test_wilson_is_the_headline_and_follows_its_closed_form():
    # Wilson (1927), J. Am. Stat. Assoc. 22:209-212: centre and half-width, recomputed here.
    z, p, n = stats.norm.ppf(0.95), 18 / 23, 23
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    estimate = share_interval(18, 23, confidence=0.9)
    assert (estimate.lower, estimate.upper) == pytest.approx((centre - half, centre + half), abs=1e-12)
    assert estimate.se == pytest.approx(math.sqrt(p * (1 - p) / n))
    assert estimate.variant == "wilson"


def test_none_looked_at_is_no_estimate():
    estimate = share_interval(0, 0)
    assert estimate.status == "no_estimate"
    assert estimate.value is None


@pytest.mark.parametrize("method", ["wilson", "clopper-pearson", "jeffreys"])
def test_at_the_ends_the_limit_is_the_end_and_no_error_is_claimed(method):
    nothing, everything = share_interval(0, 20, method=method), share_interval(20, 20, method=method)
    assert (nothing.lower, everything.upper) == (0.0, 1.0)
    assert nothing.se is None
    assert everything.se is None
    assert "certainty" in everything.notes[0]


def test_impossible_shares_are_refused():
    with pytest.raises(ValueError, match="5 is more than the 4"):
        share_interval(5, 4)
    with pytest.raises(ValueError, match="choose one of wilson"):
        share_interval(1, 4, method="wald")
    with pytest.raises(ValueError, match="below zero"):
        share_interval(-1, 4)


def test_cochran_1977_finite_correction():
    # Cochran (1977), Sampling Techniques, section 3.6: 37 of 100 from 500; total 140 to 230.
    estimate = finite_share(37, 100, 500, method="normal")
    assert (estimate.lower, estimate.upper) == pytest.approx((0.2799, 0.4601), abs=5e-4)
    assert (estimate.heads_lower, estimate.heads_upper) == pytest.approx((140, 230), abs=0.5)


def test_exact_limits_of_the_same_sample():
    # Derived from the hypergeometric tails by two routes; scanned again here, head by head.
    estimate = finite_share(37, 100, 500)
    assert (estimate.heads_lower, estimate.heads_upper) == (143, 231)
    assert (estimate.lower, estimate.upper) == pytest.approx((143 / 500, 231 / 500))
    small = finite_share(18, 23, 30)
    assert (small.heads_lower, small.heads_upper) == (20, 25)


@pytest.mark.parametrize(
    ("count", "n", "total"), [(0, 5, 40), (5, 5, 40), (3, 7, 25), (1, 1, 10), (9, 30, 31)]
)
def test_exact_limits_against_a_scan_of_every_number_of_heads(count, n, total):
    kept = [
        heads
        for heads in range(count, total - (n - count) + 1)
        if stats.hypergeom.sf(count - 1, total, heads, n) > 0.025
        and stats.hypergeom.cdf(count, total, heads, n) > 0.025
    ]
    estimate = finite_share(count, n, total)
    assert (estimate.heads_lower, estimate.heads_upper) == (kept[0], kept[-1])


@pytest.mark.parametrize("method", ["exact", "normal"])
def test_a_whole_pond_is_a_count(method):
    estimate = finite_share(18, 23, 23, method=method)
    assert estimate.value == estimate.lower == estimate.upper == 18 / 23
    assert estimate.se == 0
    assert "count, not a sample" in estimate.notes[-1]


def test_with_an_estimated_total_the_widest_interval_is_shown():
    estimate = finite_share(18, 23, 40.4, total_limits=(20, 60))
    apart = [finite_share(18, 23, total) for total in (23, 40, 60)]
    assert estimate.total == 40
    assert estimate.lower == min(each.lower for each in apart)
    assert estimate.upper == max(each.upper for each in apart)
    assert "themselves estimated" in estimate.notes[0]


def test_an_unlimited_total_falls_back_on_the_plain_interval():
    estimate = finite_share(18, 23, 40, total_limits=(30, math.inf))
    plain = share_interval(18, 23, method="clopper-pearson")
    assert estimate.lower <= plain.lower
    assert estimate.upper >= plain.upper
    assert estimate.heads_upper == math.inf
    assert estimate.to_json()["unbounded_fields"] == ["heads_upper"]


def test_finite_edges():
    assert finite_share(0, 0, 30).status == "no_estimate"
    single = finite_share(1, 1, 10, method="normal")
    assert single.status == "low_confidence"
    assert (single.lower, single.upper) == (0.1, 1.0)
    assert finite_share(0, 5, 40).se is None
    with pytest.raises(ValueError, match="hold 20, but 23"):
        finite_share(18, 23, 20)
    with pytest.raises(ValueError, match="not a lower and an upper"):
        finite_share(18, 23, 30, total_limits=(40, 30))
    with pytest.raises(ValueError, match="not a lower and an upper"):
        finite_share(18, 23, 30, total_limits=(math.nan, 30))
