"""The functions over arrays: the same as scipy, and as the estimators of one survey; and what they promise."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.estimators.drawn import crossing, exact_limits_over, tail
from stock.estimators.marked_sexes import Marks, chapman, headline, lognormal_over
from stock.estimators.multi_haul import schnabel
from stock.estimators.passes import Passes
from stock.estimators.passes_over import PassesOver, headline_passes
from stock.estimators.removal import removal
from stock.estimators.several_sexes import SeveralHauls, headline_several, schnabel_over
from stock.estimators.sex_ratio import survey_ratio
from stock.estimators.sexes_over import Heads, sum_limits
from stock.estimators.survey import read_survey
from stock.estimators.two_sample import two_sample
from tests.estimators.survey_makers import haul, passes


def drawn_surveys(seed, count, most=3000):
    """Return marked, caught and recaptured of so many ponds."""
    rng = np.random.default_rng(seed)
    heads = rng.integers(2, most, count)
    marked, caught = (rng.binomial(heads, rng.uniform(0.02, 0.9, count)) for _ in range(2))
    return heads, marked, caught, rng.hypergeometric(marked, heads - marked, caught)


def test_tails_are_those_of_the_hypergeometric_distribution():
    heads, marked, caught, seen = drawn_surveys(1, 400)
    few = tail(seen, heads, marked, caught, as_few=True)
    many = tail(seen, heads, marked, caught, as_few=False)
    assert few == pytest.approx(stats.hypergeom.cdf(seen, heads, marked, caught), rel=1e-7)
    assert many == pytest.approx(stats.hypergeom.sf(seen - 1, heads, marked, caught), rel=1e-7)


def test_two_hauls_over_arrays_are_two_hauls_one_by_one():
    _, marked, caught, seen = drawn_surveys(2, 250)
    value, se = chapman(Marks.of(marked, caught, seen))
    lower, upper = exact_limits_over(marked, caught, seen, 0.95)
    for at in np.flatnonzero((marked > 0) & (caught > 0)):
        alone = two_sample(int(marked[at]), int(caught[at]), int(seen[at]), interval="exact")
        assert (value[at], se[at]) == pytest.approx((alone.value, alone.se or 0.0))
        assert min(lower[at], value[at]) == pytest.approx(alone.lower)
        assert max(upper[at], value[at]) == pytest.approx(alone.upper)


def test_a_tail_of_exactly_half_the_doubt_is_contradicted():
    # One marked among 8 caught of 320 heads with 1 marked: 8 / 320 = 0.025 exactly.
    assert exact_limits_over(1, 8, 1, 0.95)[1] == 319


def test_lognormal_limits_of_the_carp():
    # Krebs (1989), Box 2.1; Chao (1987): (2155.72, 2663.95).
    marks = Marks.of(948, 421, 167)
    value, se = chapman(marks)
    lower, upper = lognormal_over(value, se, marks.known(1.0), 0.95)
    assert (lower[0], upper[0]) == pytest.approx((2155.72, 2663.95), abs=0.01)


def drawn_catches(seed, count):
    rng = np.random.default_rng(seed)
    for _ in range(count):
        left, chance = int(rng.integers(5, 800)), rng.uniform(0.05, 0.8)
        catches = []
        for _ in range(int(rng.integers(2, 6))):
            catches.append(int(rng.binomial(left, chance)))
            left -= catches[-1]
        if sum(catches):
            yield tuple(catches)


def test_passes_over_arrays_are_passes_one_by_one():
    for catches in drawn_catches(3, 120):
        over, alone = PassesOver([catches]), Passes(catches)
        assert over.carle_strub()[0] == removal(catches).value
        assert bool(over.declined[0]) is alone.declined
        for here, there in zip(over.profile_limits(0.95), alone.limits(0.95), strict=True):
            assert here[0] == pytest.approx(there, rel=1e-6)


def test_several_hauls_over_arrays_are_several_hauls_one_by_one():
    rng = np.random.default_rng(4)
    for _ in range(60):
        heads, marked = int(rng.integers(20, 900)), 0
        rows = []
        for _ in range(int(rng.integers(2, 7))):
            seen, fresh = int(rng.binomial(marked, 0.08)), int(rng.binomial(heads - marked, 0.08))
            marked += fresh
            rows.append((seen + fresh, seen, seen + fresh))
        columns = tuple(zip(*rows, strict=True))
        alone = schnabel(*columns)
        if alone.value is None:
            continue
        over, _ = schnabel_over(SeveralHauls.of(*columns), 0.95)
        assert over.value[0] == pytest.approx(alone.value)
        if sum(columns[1]) < 30:
            assert (over.lower[0], over.upper[0]) == pytest.approx((alone.lower, alone.upper))
        else:
            # Drawn without replacement there is less chance than in Poisson's or Student's limits.
            assert alone.lower - 1 <= over.lower[0] <= over.upper[0] <= alone.upper + 1


def test_the_likelihood_of_two_hauls_lies_about_petersens_heads():
    # Of one haul looking for marks the likelihood is the hypergeometric one, greatest at M C / R.
    hauls = SeveralHauls.of((948, 421), (0, 167), (948, 421))
    lower, upper, best = hauls.likelihood_limits(0.95)
    assert best[0] == pytest.approx(948 * 421 / 167, abs=1)
    # Exact limits 2154 and 2682.
    assert (lower[0], upper[0]) == pytest.approx((2154, 2682), abs=25)


def test_a_crossing_is_found_by_doubling_and_halving():
    found = crossing(np.array([1.0, 1.0]), lambda heads: heads < np.array([3.5, 1e6]))
    assert found == pytest.approx([3.5, 1e6])


def test_limits_of_a_sum_add_the_squares_of_the_arms():
    # Zou & Donner (2008): 10 (8, 13) and 20 (16, 24) give 30 - sqrt(4 + 16), 30 + sqrt(9 + 16).
    parts = [
        Heads(*(np.array([figure]) for figure in figures))
        for figures in ((10.0, 1.0, 8.0, 13.0, False), (20.0, 2.0, 16.0, 24.0, False))
    ]
    lower, upper = sum_limits(np.array([30.0]), parts)
    assert (lower[0], upper[0]) == pytest.approx((30 - math.sqrt(20), 35))


counts = st.integers(0, 120)


@st.composite
def marks(draw):
    marked, caught = draw(counts), draw(counts)
    return marked, caught, draw(st.integers(0, min(marked, caught)))


@settings(max_examples=80, deadline=None)
@given(females=marks(), males=marks())
def test_two_hauls_keep_their_promises(females, males):
    of_females, of_males = Marks.of(*females), Marks.of(*males)
    read = headline(of_females, of_males, of_females + of_males)
    keep(read, (of_females.known(1.0)[0], of_males.known(1.0)[0]))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(counts, counts), min_size=2, max_size=5))
def test_passes_keep_their_promises(catches):
    females, males = ([row[sex] for row in catches] for sex in (0, 1))
    adults = [sum(row) for row in catches]
    keep(headline_passes([females], [males], [adults]), (sum(females), sum(males)))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(marks(), marks()), min_size=2, max_size=5))
def test_several_hauls_keep_their_promises(rows):
    hauls = []
    for sex in (0, 1):
        out, columns = 0, []
        for row in rows:
            _, caught, seen = row[sex]
            seen = min(seen, out)
            columns.append((caught, seen, caught))
            out += caught - seen
        hauls.append(tuple(zip(*columns, strict=True)))
    both = [np.add(one, other) for one, other in zip(*hauls, strict=True)]
    females, males, adults = (SeveralHauls.of(*columns) for columns in (*hauls, both))
    keep(headline_several(females, males, adults), (females.known[0], males.known[0]))


def keep(read, known):
    """Females and males add up, limits hold the value, nothing is below the heads known, variances add up."""
    females, males, total = (group.value[0] for group in (read.females, read.males, read.total))
    if sum(known):
        assert females + males == pytest.approx(total, rel=1e-9)
    assert total >= sum(known) - 1e-9
    for group, least in zip((read.females, read.males), known, strict=True):
        assert group.value[0] >= least - 1e-9
    for group in (read.total, read.females, read.males):
        assert group.lower[0] <= group.value[0] * (1 + 1e-12) <= group.upper[0] * (1 + 1e-11)
        assert not np.isnan([group.se[0], group.lower[0], group.upper[0]]).any()
    if sum(known):
        variance = read.females.se[0] ** 2 + read.males.se[0] ** 2 + 2 * read.covariance[0]
        assert variance == pytest.approx(read.total.se[0] ** 2, abs=1e-6 + 1e-9 * read.females.se[0] ** 2)


def test_the_sexes_may_change_places():
    one = read_survey([haul(300, 100, marked="all"), haul(220, 80, seen=(60, 25), day=1)]).headline
    other = read_survey([haul(100, 300, marked="all"), haul(80, 220, seen=(25, 60), day=1)]).headline
    assert one.females.value == other.males.value
    assert (one.total.value, one.total.lower, one.total.upper) == pytest.approx(
        (other.total.value, other.total.lower, other.total.upper)
    )


def test_females_per_male_of_a_reading():
    reading = read_survey([haul(300, 100, marked="all"), haul(220, 80, seen=(60, 25), day=1)]).headline
    found = survey_ratio(reading)
    assert found.value == pytest.approx(reading.females.value / reading.males.value)
    # The sexes apart: variances of the logarithms add (McKnight & Ligon 2017).
    relative = math.hypot(reading.females.se / reading.females.value, reading.males.se / reading.males.value)
    assert found.se == pytest.approx(found.value * relative)
    assert found.lower < found.value < found.upper


def test_females_per_male_where_no_male_was_caught():
    found = survey_ratio(read_survey(passes((60, 0), (30, 0), (12, 0))).headline)
    assert found.value == math.inf
    assert found.upper == math.inf
    # Wilson's lower limit of 102 of 102, and the pond nearly emptied: far more than 26 to one.
    assert found.lower > 26


def test_females_per_male_of_a_drain_down_are_counted():
    found = survey_ratio(read_survey([haul(90, 30, method="DRAIN_DOWN", is_complete=True)]).headline)
    assert (found.value, found.se, found.lower, found.upper) == (3, 0, 3, 3)
    nobody = read_survey([haul(method="DRAIN_DOWN", is_complete=True)]).headline
    assert survey_ratio(nobody) is None
