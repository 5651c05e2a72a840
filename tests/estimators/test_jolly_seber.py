"""Open ponds against the published voles and squirrels."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.estimators.open_population import from_histories, jolly_seber

# Field voles: Krebs (1989), Ecological Methodology, Tables 2.2 and 2.3. Animals by (sample last caught,
# sample caught), with caught and released at each sample.
VOLE_CELLS = {
    (1, 2): 15, (1, 3): 1, (2, 3): 15, (3, 4): 37, (2, 5): 1, (3, 5): 2, (4, 5): 61, (4, 6): 4, (5, 6): 75,
    (4, 7): 1, (5, 7): 3, (6, 7): 77, (4, 8): 1, (5, 8): 2, (6, 8): 4, (7, 8): 69, (8, 9): 8, (8, 10): 1,
    (9, 10): 14, (10, 11): 19,
}  # fmt: skip
VOLES_CAUGHT = (22, 41, 48, 82, 89, 101, 107, 91, 19, 27, 22)
VOLES_RELEASED = (21, 41, 46, 82, 88, 99, 106, 90, 19, 26, 22)

# Grey squirrels: Pollock, Nichols, Brownie & Hines (1990), Wildlife Monographs 107, Tables 4.3 and 4.4.
SQUIRRELS = (
    (46, 46, 48, 46, 51, 37, 41, 42, 47, 31, 8, 2, 1, 4, 9, 19, 19, 27, 36, 45, 74, 22, 3),
    (0, 42, 42, 42, 46, 37, 41, 39, 43, 26, 7, 2, 0, 3, 8, 17, 14, 20, 36, 34, 46, 20, 2),
    (46, 46, 48, 46, 50, 37, 41, 42, 47, 31, 8, 2, 1, 4, 9, 18, 19, 27, 36, 44, 73, 22, 2),
    (43, 44, 48, 45, 46, 35, 40, 37, 40, 26, 8, 2, 1, 3, 8, 17, 18, 24, 32, 33, 15, 2, None),
    (None, 1, 3, 9, 8, 17, 11, 12, 6, 20, 39, 45, 47, 45, 40, 31, 34, 32, 20, 18, 5, 0, None),
)


def raw(estimate):
    """The figure before any bound, as the tables print it."""
    return estimate.value if estimate.raw is None else estimate.raw


@pytest.fixture(scope="module")
def vole_counts():
    samples = range(1, 12)
    marked = tuple(sum(heads for (_, b), heads in VOLE_CELLS.items() if b == i) for i in samples)
    again = tuple(sum(heads for (a, _), heads in VOLE_CELLS.items() if a == i) for i in samples)
    around = tuple(sum(heads for (a, b), heads in VOLE_CELLS.items() if a < i < b) for i in samples)
    return VOLES_CAUGHT, marked, VOLES_RELEASED, again, around


@pytest.fixture(scope="module")
def voles(vole_counts):
    return jolly_seber(*vole_counts)


@pytest.fixture(scope="module")
def squirrels():
    return jolly_seber(*SQUIRRELS)


def test_voles_marked_at_large(voles):
    published = (17.5, 17.2, 40.7, 70.6, 87.5, 91.7, 76.0, 9.3, 15.0)
    assert [sample.marked_at_large.value for sample in voles[1:10]] == pytest.approx(published, abs=0.06)


def test_voles_heads_and_the_bound_of_those_handled(voles):
    published = (45.9, 49.5, 88.8, 97.7, 111.6, 120.8, 90.8, 20.7)
    assert [raw(sample.heads) for sample in voles[1:9]] == pytest.approx(published, abs=0.06)
    tenth = voles[9].heads
    assert (tenth.value, tenth.raw, tenth.known_alive, tenth.status) == (27, 26.25, 27, "bounded")
    # 91 were handled at the eighth sample.
    assert (voles[7].heads.value, voles[7].heads.status) == (91, "bounded")


def test_voles_survival(voles):
    published = (0.832, 0.395, 0.862, 0.824, 0.925, 0.853, 0.651, 0.104, 0.738)
    errors = (0.126, 0.077, 0.055, 0.043, 0.032, 0.043, 0.046, 0.033, 0.101)
    assert [sample.survival.value for sample in voles[:9]] == pytest.approx(published, abs=0.0006)
    assert [sample.survival.se for sample in voles[:9]] == pytest.approx(errors, abs=0.0006)


def test_voles_arrivals(voles):
    published = (31.4, 47.9, 24.6, 22.1, 27.3, 12.8, 11.4)
    assert [raw(sample.arrivals) for sample in voles[1:8]] == pytest.approx(published, abs=0.06)
    # With the 27 handled at the tenth sample instead of 26.25.
    assert voles[8].arrivals.value == pytest.approx(11.7, abs=0.06)
    assert voles[8].arrivals.raw == pytest.approx(10.95, abs=0.006)
    assert voles[8].arrivals.status == "bounded"


def test_what_is_not_defined_is_none(voles):
    assert [sample.marked_at_large is None for sample in voles] == [True] + [False] * 9 + [True]
    assert [sample.heads is None for sample in voles] == [True] + [False] * 9 + [True]
    assert [sample.survival is None for sample in voles] == [False] * 9 + [True] * 2
    assert [sample.arrivals is None for sample in voles] == [True] + [False] * 8 + [True] * 2


def test_jolly_1965_without_adjustment(vole_counts):
    # M = m + R z / r and N = n M / m, by hand for samples 2 and 3; sample 8 saw no one around it.
    samples = jolly_seber(*vole_counts, adjusted=False)
    assert samples[1].marked_at_large.value == pytest.approx(15 + 41 * 1 / 16)
    assert samples[1].heads.value == pytest.approx(41 * (15 + 41 / 16) / 15)
    assert samples[2].heads.value == pytest.approx(48 * (16 + 46 / 39) / 16)
    assert samples[1].survival.value == pytest.approx((16 + 46 / 39) / (15 + 41 / 16 - 15 + 41))
    assert samples[1].heads.variant == "unadjusted"


def test_squirrels_heads(squirrels):
    published = (47.1, 51.3, 56.0, 60.5, 54.9, 52.3, 56.5, 54.6, 58.9, 51.8)
    assert [raw(sample.heads) for sample in squirrels[1:11]] == pytest.approx(published, abs=0.11)
    published = (58.3, 55.3, 66.4, 74.5, 58.4, 76.0, 110.3, 21.9)
    assert [raw(sample.heads) for sample in squirrels[14:22]] == pytest.approx(published, abs=0.11)
    errors = (0.39, 0.70, 1.19, 1.51, 1.23, 0.60, 2.06, 1.57, 4.59, 5.99)
    assert [sample.heads.se for sample in squirrels[1:11]] == pytest.approx(errors, abs=0.006)
    errors = (4.30, 8.14, 7.91, 2.13, 6.12, 18.10)
    assert [sample.heads.se for sample in squirrels[15:21]] == pytest.approx(errors, abs=0.006)


def test_squirrels_survival(squirrels):
    published = {1: 0.94, 2: 0.96, 3: 1.00, 4: 0.99, 5: 0.94, 6: 0.95, 8: 0.90, 9: 0.92, 10: 0.84, 11: 1.00,
                 15: 0.93, 16: 0.98, 18: 0.93, 19: 0.99, 21: 0.21}  # fmt: skip
    for sample, survival in published.items():
        assert raw(squirrels[sample - 1].survival) == pytest.approx(survival, abs=0.006)
    # Printed as 1.00.
    for sample, figure in {7: 1.006, 17: 1.019, 20: 1.019}.items():
        survival = squirrels[sample - 1].survival
        assert (survival.value, survival.raw, survival.status) == (
            1,
            pytest.approx(figure, abs=0.0006),
            "bounded",
        )
    errors = (0.037, 0.030, 0.004, 0.023, 0.041, 0.038, 0.030, 0.052, 0.067, 0.066, 0.000)
    assert [sample.survival.se for sample in squirrels[:11]] == pytest.approx(errors, abs=0.0016)
    errors = (0.115, 0.068, 0.071, 0.067, 0.071, 0.168, 0.048)
    assert [sample.survival.se for sample in squirrels[14:21]] == pytest.approx(errors, abs=0.0016)


def test_squirrels_arrivals(squirrels):
    published = {2: 6.3, 3: 4.5, 4: 5.1, 7: 3.9, 8: 3.7, 9: 8.7, 10: 2.2, 15: 1.0, 16: 13.1, 17: 6.8, 19: 18.2,
                 20: 33.9}  # fmt: skip
    for sample, arrivals in published.items():
        assert raw(squirrels[sample - 1].arrivals) == pytest.approx(arrivals, abs=0.06)
    # Printed as 0.0.
    for sample, figure in {5: -0.765, 11: -4.75, 18: -10.80, 21: -0.84}.items():
        arrivals = squirrels[sample - 1].arrivals
        assert (arrivals.value, arrivals.status) == (0, "bounded")
        assert arrivals.raw == pytest.approx(figure, abs=0.006)
    errors = {2: 0.77, 3: 1.27, 4: 1.53, 5: 1.06, 7: 1.22, 8: 1.45, 9: 3.30, 10: 6.60, 11: 5.99, 15: 6.57,
              16: 8.25, 17: 10.14, 18: 6.28, 19: 4.22, 20: 8.86, 21: 2.23}  # fmt: skip
    for sample, error in errors.items():
        assert squirrels[sample - 1].arrivals.se == pytest.approx(error, abs=0.02)


def test_small_samples_are_low_confidence(squirrels):
    for sample in (12, 13, 14):
        assert squirrels[sample - 1].heads.status in ("low_confidence", "bounded")
        assert "too few to lean on" in squirrels[sample - 1].heads.notes[0]
    assert [squirrels[i].heads.status for i in (1, 2, 3)] == ["ok"] * 3
    # No marked animal at the thirteenth: heads, but no error.
    assert (squirrels[12].heads.se, squirrels[12].heads.upper) == (None, None)


def test_heads_no_more_than_those_known_keep_an_upper_limit():
    # By hand (Pollock et al. 1990): M = 1 + 3 x 1 / 3 = 2, N = 3 x 2 / 2 = 3; both released were seen
    # again, so the variance is 3 x 1 x (1 - 2/3) / 1 = 1.
    captures = from_histories(["011", "101", "111"])
    heads = jolly_seber(*captures[:5])[1].heads
    assert (heads.value, heads.se, heads.known_alive, heads.lower) == (3, pytest.approx(1), 3, 3)
    assert heads.upper == pytest.approx(3 + 1.959964, abs=1e-6)


def test_the_last_numbers_may_be_left_out(voles, vole_counts):
    caught, marked, released, again, around = vole_counts
    assert jolly_seber(caught, marked, released, again[:-1], around[:-1]) == voles


def test_no_one_seen_again_gives_no_error():
    # R z / r of the adjusted form stays finite with r = 0 (Seber 1982, p. 204).
    counts = ([9, 8, 9, 9], [0, 3, 4, 4], [9, 6, 9, 9], [9, 0, 2, 0], [0, 6, 2, 0])
    sample = jolly_seber(*counts)[1]
    assert sample.marked_at_large.value == 3 + 7 * 6 / 1
    assert (sample.marked_at_large.se, sample.heads.se, sample.survival.se, sample.arrivals.se) == (None,) * 4
    assert sample.marked_at_large.upper is None
    plain = jolly_seber(*counts, adjusted=False)
    assert (
        plain[1].marked_at_large.status == plain[1].heads.status == plain[0].survival.status == "no_estimate"
    )
    assert plain[1].survival.status == plain[1].arrivals.status == "no_estimate"


def test_none_marked_caught():
    counts = ([9, 8, 9, 9], [0, 0, 4, 5], [9, 8, 9, 9], [5, 1, 3, 0], [0, 5, 2, 0])
    adjusted, plain = jolly_seber(*counts)[1], jolly_seber(*counts, adjusted=False)[1]
    assert adjusted.heads.value == pytest.approx(9 * (9 * 5 / 2))
    assert (adjusted.heads.se, adjusted.heads.status) == (None, "low_confidence")
    assert plain.heads.status == plain.arrivals.status == "no_estimate"
    assert plain.survival.value is not None


def test_an_interval_without_marked_animals():
    nothing = jolly_seber([5, 0, 0, 4], [0] * 4, [0, 0, 0, 4], [0] * 4, [0] * 4)
    assert nothing[0].survival.status == nothing[1].survival.status == "no_estimate"
    assert "No marked animal was at large" in nothing[0].survival.notes[0]
    assert nothing[1].heads.value == nothing[1].heads.lower == 0


@pytest.mark.parametrize("k", [0, 1, 2])
def test_fewer_than_three_samples_are_no_estimate(k):
    samples = jolly_seber([7, 6][:k], [0, 2][:k], [7, 6][:k], [2, 0][:k] if k == 2 else [0] * k, [0] * k)
    assert len(samples) == k
    for sample in samples:
        assert all(estimate.status == "no_estimate" for estimate in sample)
        assert "three samples" in sample.heads.notes[0]


def test_contradicting_counts_are_refused():
    good = ([9, 8, 9], [0, 3, 4], [9, 8, 9], [5, 2, 0], [0, 2, 0])
    assert len(jolly_seber(*good)) == 3
    for place, values, words in [
        (1, [0, 9, 4], "marked, sample 2: 9 marked among 8 caught"),
        (2, [9, 8, 10], "released, sample 3: 10 released of 9"),
        (3, [5, 9, 0], "seen_again, sample 2: 9 seen again of 8"),
        (4, [0, 1, 0], "seen_around, sample 2: 3 marked caught and 1 passed over, but 5"),
        (3, [5, 2, 1], "seen_again: 1 are said to be seen again after the last"),
        (1, [0, 3], "marked: 2 numbers for 3 samples"),
        (0, [9, -8, 9], "caught, number 2: -8 is below zero"),
    ]:
        counts = list(good)
        counts[place] = values
        with pytest.raises(ValueError, match=words):
            jolly_seber(*counts)


def test_histories_are_counted():
    # Nine animals over four samples, counted by hand.
    histories = ["1101", "1011", "0110", "0111", "1000", "0012", "1200", "0001", "0101"]
    captures = from_histories(histories)
    assert captures.caught == (4, 5, 4, 6)
    assert captures.marked == (0, 2, 3, 5)
    assert captures.released == (4, 4, 4, 5)
    assert captures.seen_again == (3, 4, 3, 0)
    assert captures.seen_around == (0, 1, 2, 0)
    assert captures.first_recaptures == ((2, 1, 0), (2, 2), (3,))
    assert from_histories([[int(sign) for sign in history] for history in histories]) == captures
    assert from_histories(dict.fromkeys(histories, 1)) == captures
    assert from_histories({"101": 12, "110": 3}).caught == (15, 3, 12)
    assert from_histories([]).caught == ()


def test_impossible_histories_are_refused():
    with pytest.raises(ValueError, match="number 2: '10' has 2 samples; the first has 3"):
        from_histories(["101", "10"])
    with pytest.raises(ValueError, match="sign other than 0, 1 and 2"):
        from_histories(["1x1"])
    for history in ("0210", "0220", "2001"):
        with pytest.raises(ValueError, match="goes on after a 2"):
            from_histories([history])
    with pytest.raises(ValueError, match="histories, 101: -1 is below zero"):
        from_histories({"101": -1})


@st.composite
def many_histories(draw):
    k = draw(st.integers(1, 7))
    history = st.text("01", min_size=k, max_size=k)
    return draw(st.lists(history, min_size=1, max_size=40))


@given(many_histories(), st.booleans(), st.sampled_from([0.5, 0.95, 0.999]))
@settings(max_examples=30, deadline=None)
def test_any_histories_give_figures_between_their_limits(histories, adjusted, confidence):
    captures = from_histories(histories)
    samples = jolly_seber(*captures[:5], adjusted=adjusted, confidence=confidence)
    for place, sample in enumerate(samples):
        alive = sum(1 for history in histories if "1" in history[: place + 1] and "1" in history[place:])
        if sample.heads is not None and sample.heads.value is not None:
            assert sample.heads.value >= sample.heads.known_alive == alive
        for estimate in sample:
            if estimate is None or estimate.value is None:
                continue
            assert math.isfinite(estimate.value)
            if estimate.lower is not None and estimate.upper is not None:
                assert estimate.lower <= estimate.value <= estimate.upper
        if sample.survival is not None and sample.survival.value is not None:
            assert 0 <= sample.survival.value <= 1


@given(many_histories(), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_the_order_of_the_animals_does_not_matter(histories, random):
    shuffled = histories.copy()
    random.shuffle(shuffled)
    assert from_histories(shuffled) == from_histories(histories)
