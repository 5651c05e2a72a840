"""Counts as the standing takes them: the unsexed shared out, errors carried over, and draws made from a standing."""

import numpy as np
import pytest

from stock.advisor.joint_draws import joint_draws
from stock.advisor.placing import gains_table
from stock.advisor.standing_counts import counted_by_sex


def test_a_count_by_sex_is_taken_as_it_is():
    found = counted_by_sex(300, 12, 100, 6, 20, how_known="SEINED")
    assert (found.females, found.female_se, found.males, found.male_se, found.covariance) == (
        300,
        12,
        100,
        6,
        20,
    )
    assert (found.ratio, found.is_error_assumed) == (3.0, False)


def test_unsexed_heads_are_shared_out_with_the_errors_of_that():
    # 40 unsexed of 300 : 100 are 30 and 10. By hand: p = 0.75, U / T^2 = 40 / 160 000 = 0.00025; dF'/dF =
    # 1 + 0.025, dF'/dM = -0.075, dF'/dU = 0.75; var = 1.025^2 144 + 0.075^2 36 + 0.75^2 16 + 40 x 0.75 x 0.25.
    found = counted_by_sex(300, 12, 100, 6, 0, 40, 4, how_known="SEINED")
    assert (found.females, found.males, found.unsexed) == (330, 110, 40)
    assert found.female_se**2 == pytest.approx(151.29 + 0.2025 + 9.0 + 7.5)


def test_shared_out_unsexed_agree_with_drawing_them_at_random():
    rng = np.random.default_rng(3)
    females, males, unsexed = (
        rng.normal(300, 12, 200_000),
        rng.normal(100, 6, 200_000),
        rng.normal(40, 4, 200_000),
    )
    share = females / (females + males)
    taken = rng.binomial(np.maximum(unsexed.round().astype(int), 0), share)
    drawn = np.cov(females + taken, males + unsexed - taken)
    found = counted_by_sex(300, 12, 100, 6, 0, 40, 4, how_known="SEINED")
    assert found.female_se == pytest.approx(drawn[0, 0] ** 0.5, rel=0.02)
    assert found.male_se == pytest.approx(drawn[1, 1] ** 0.5, rel=0.02)
    assert found.covariance == pytest.approx(drawn[0, 1], abs=1.0)


@pytest.mark.parametrize(
    "heads", [(None, 0, 100, 5), (300, 5, None, 0), (None, None, None, None), (0, 0, 0, 0, 0, 80, 5)]
)
def test_what_does_not_tell_females_from_males_is_no_count_by_sex(heads):
    assert counted_by_sex(*heads, how_known="SEINED") is None


def test_a_pond_counted_empty_is_a_count():
    found = counted_by_sex(0, 0, 0, 0, how_known="DRAINED")
    assert (found.females, found.males, found.ratio) == (0, 0, None)


@pytest.mark.parametrize(
    ("how", "half"), [("DRAINED", 0), ("SEINED", 0.1), ("NOTEBOOK", 0.15), ("GUESS", 0.3)]
)
def test_without_a_plus_or_minus_only_a_drained_pond_is_known_exactly(how, half):
    found = counted_by_sex(300, 0, 100, 0, how_known=how)
    assert found.female_se == pytest.approx(300 * half / 1.959964)
    assert found.is_error_assumed == (how != "DRAINED")


def test_draws_have_the_moments_asked_for_and_stay_the_same():
    drawn = joint_draws([300, 80], [100, 40], [20, 0], [8, 0], [-60, 0], draws=100_000, rng=7)
    moments = np.cov(drawn.females[0], drawn.males[0])
    assert drawn.females[0].mean() == pytest.approx(300, abs=0.3)
    assert (moments[0, 0], moments[1, 1], moments[0, 1]) == pytest.approx((400, 64, -60), rel=0.03)
    assert set(drawn.females[1]) == {80.0}
    again = joint_draws([300], [100], [20], [8], [-60], draws=100_000, rng=7)
    assert np.array_equal(again.females[0], drawn.females[0])


def test_a_book_is_one_column_and_no_draw_loses_the_males():
    assert joint_draws([300], [100], [0], [0], [0], draws=1000, rng=1).females.shape == (1, 1)
    assert joint_draws([30], [2], [3], [5], [0], draws=1000, rng=1).males.min() == 0.5


def test_gains_of_drawn_heads_that_never_stray_are_those_of_the_heads_themselves():
    figures = {
        "laying": [0.4, 0.7, 0.9], "nests": [1, 2, 3], "eggs": [6, 9, 11], "hatch": [0.5, 0.7, 0.9],
        "survival": [0.8, 0.9, 0.97], "max_heads": 30, "seasons": 4, "draws": 400, "rng": 5, "full_to": 3.2,
    }  # fmt: skip
    plain = gains_table([300, 90], [100, 40], kinds=[1, 1], **figures)
    wide = gains_table(
        np.tile([[300.0], [90.0]], 400), np.tile([[100.0], [40.0]], 400), kinds=[1, 1], **figures
    )
    assert wide.gains == pytest.approx(plain.gains, abs=1e-5)
    # One draw below 1.5 to 1 takes the long way, year by year; the others do not move.
    females = np.tile([[300.0], [90.0]], 400)
    females[0, 0] = 120
    mixed = gains_table(females, np.tile([[100.0], [40.0]], 400), kinds=[1, 1], keep=400, **figures)
    whole = gains_table(
        np.tile([[300.0], [90.0]], 400), np.tile([[100.0], [40.0]], 400), kinds=[1, 1], keep=400, **figures
    )
    assert mixed.draw_gains[1:] == pytest.approx(whole.draw_gains[1:], abs=1e-5)
    assert mixed.draw_gains[0, 0, 0] != pytest.approx(whole.draw_gains[0, 0, 0], abs=1e-3)
