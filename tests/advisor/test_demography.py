"""Stage matrices against the published turtles."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from stock.advisor.demography import (
    generation_time,
    growth,
    net_reproduction,
    released_recruits,
    replacement_factor,
    yearly_replacements,
)


def stage_matrix(size, entries):
    matrix = np.zeros((size, size))
    for (row, column), figure in entries.items():
        matrix[row - 1, column - 1] = figure
    return matrix


# Crouse, Crowder & Caswell (1987), Ecology 68:1412-1423, Table 4: loggerhead, seven stages.
CROUSE = stage_matrix(
    7,
    {(1, 5): 127, (1, 6): 4, (1, 7): 80}
    | {(2, 1): 0.6747, (2, 2): 0.7370, (3, 2): 0.0486, (3, 3): 0.6610, (4, 3): 0.0147, (4, 4): 0.6907}
    | {(5, 4): 0.0518, (6, 5): 0.8091, (7, 6): 0.8091, (7, 7): 0.8089},
)


def crowder(adult):
    """Crowder et al. (1994), Ecological Applications 4:437-445: loggerhead, five stages."""
    return stage_matrix(
        5,
        {(1, 4): 4.665, (1, 5): 61.896, (2, 1): 0.675, (2, 2): 0.703, (3, 2): 0.047, (3, 3): 0.657}
        | {(4, 3): 0.019, (4, 4): 0.682, (5, 4): 0.061, (5, 5): adult},
    )


def split(matrix):
    births = np.zeros_like(matrix)
    births[0] = matrix[0]
    return matrix - births, births


def test_loggerhead_of_crouse_1987():
    result = growth(CROUSE)
    assert result.growth_rate == pytest.approx(0.945031, abs=1e-6)
    assert result.intrinsic_rate == pytest.approx(-0.056538, abs=1e-6)
    stable = [20.65, 66.975, 11.46, 0.66, 0.04, 0.03, 0.18]
    assert result.stable_stage * 100 == pytest.approx(stable, abs=0.006)
    worth = [1, 1.40, 6.00, 115.845, 568.78, 507.37, 587.67]
    assert result.reproductive_value == pytest.approx(worth, abs=0.006)
    staying = np.diagonal(result.elasticity)
    assert staying[[1, 2, 3, 6]] == pytest.approx([0.1807, 0.1187, 0.1385, 0.2295], abs=1e-4)
    assert result.elasticity.sum() == pytest.approx(1, abs=1e-12)
    # Births, staying and growing, in percent.
    parts = [result.elasticity[0].sum(), staying.sum(), np.diagonal(result.elasticity, -1).sum()]
    assert parts == pytest.approx([0.051, 0.667, 0.282], abs=6e-4)
    assert any("not a forecast" in note for note in result.notes)


def test_net_reproduction_of_crouse_1987():
    assert net_reproduction(*split(CROUSE)).value == pytest.approx(0.366058, abs=1e-6)
    assert replacement_factor(*split(CROUSE)).value == pytest.approx(2.73180, abs=1e-5)


def test_loggerhead_of_crowder_1994():
    result = growth(crowder(0.8091))
    assert result.growth_rate == pytest.approx(0.951582, abs=1e-6)
    assert net_reproduction(*split(crowder(0.8091))).value == pytest.approx(0.454816, abs=1e-6)
    one = released_recruits(crowder(0.8091), 4, 4, 8.774)
    assert one.sustained_per_recruit == pytest.approx(8.77437, abs=1e-4)
    assert one.value == 1


def test_loggerhead_of_crowder_1994_with_the_adult_survival_rounded():
    result = growth(crowder(0.809))
    assert result.growth_rate == pytest.approx(0.951549, abs=1e-6)
    assert result.intrinsic_rate == pytest.approx(-0.049664, abs=1e-6)
    assert result.stable_stage * 100 == pytest.approx([23.85, 64.77, 10.34, 0.73, 0.31], abs=0.006)
    assert result.reproductive_value == pytest.approx([1, 1.41, 7.45, 115.57, 434.21], abs=0.006)


@pytest.mark.parametrize(
    ("births", "rate"),
    [
        ((0.042, 0.069, 0.069), 0.8741),
        ((0.42, 0.69, 0.69), 0.9185),
        ((1.30, 1.98, 2.57), 0.9581),
        ((2.22, 3.38, 4.38), 0.9819),
    ],
)
def test_desert_tortoise_of_doak_1994(births, rate):
    # Doak, Kareiva & Klepetka (1994), Ecological Applications 4:446-460, Table 5: eight stages.
    matrix = np.diag([0, 0.567, 0.567, 0.604, 0.560, 0.678, 0.851, 0.860])
    matrix += np.diag([0.716, 0.149, 0.149, 0.235, 0.225, 0.249, 0.016], -1)
    matrix[0, 5:] = births
    assert growth(matrix).growth_rate == pytest.approx(rate, abs=6e-5)


def test_farm_style_stages():
    # Synthetic: 0.95 in the first year, 0.95 over four juvenile years (stay 0.7304, grow 0.2196, by the fixed-duration
    # formula of Crouse et al. 1987), adults 0.90, each leaving 0.3888 young.
    assert growth([[0, 0, 0.3888], [0.95, 0.7304, 0], [0, 0.2196, 0.9]]).growth_rate == pytest.approx(
        1.0997, abs=5e-5
    )


def test_slider_life_table_of_frazer_1990():
    # Frazer et al. (1990), wild sliders of South Carolina: R0 .137, r -.1675, declining 15 % a year.
    rate = math.exp(-0.1675)
    assert rate == pytest.approx(0.8458, abs=5e-5)
    assert generation_time(0.137, rate).value == pytest.approx(11.9, abs=0.05)


@pytest.mark.parametrize(
    ("survival", "needed"),
    # Frazer et al. (1990, 1991) female survival of sliders and mud turtles, and three round figures.
    [(0.774, 226), (0.814, 186), (0.876, 124), (0.95, 50), (0.98, 20)],
)
def test_replacements_of_a_thousand_females(survival, needed):
    assert yearly_replacements(1000, survival).value == needed


def test_replacements_are_whole_and_never_below_none():
    assert yearly_replacements(10, 0.95).value == 1
    assert yearly_replacements(10, 0.95).raw == pytest.approx(0.5)
    assert yearly_replacements(300, 0.9, 0.2).value == 0
    assert yearly_replacements(300, 0.9, 0.1).value == 0
    assert yearly_replacements(0, 0.9).value == 0
    for figures in ((-1, 0.9, 0), (1, 1.2, 0), (1, 0.9, -1)):
        with pytest.raises(ValueError, match=r"adults|survival|own_recruits"):
            yearly_replacements(*figures)


@st.composite
def turtles(draw):
    """Stages that stay or grow on, the last ones breeding."""
    size = draw(st.integers(2, 6))
    moves = np.zeros((size, size))
    for stage in range(size):
        lives = draw(st.floats(0.2, 0.95))
        grows = draw(st.floats(0.1, 0.9)) if stage < size - 1 else 0.0
        moves[stage, stage] = lives * (1 - grows)
        if grows:
            moves[stage + 1, stage] = lives * grows
    births = np.zeros((size, size))
    births[0, -1] = draw(st.floats(0.1, 40))
    return moves, births


@settings(deadline=None)
@given(turtles())
def test_the_replacement_factor_holds_the_stock(pair):
    moves, births = pair
    held = moves + births * replacement_factor(moves, births).value
    assert growth(held).growth_rate == pytest.approx(1, abs=1e-9)


@settings(deadline=None)
@given(turtles())
def test_a_sensitivity_is_the_slope_of_the_growth_rate(pair):
    matrix = sum(pair)
    result = growth(matrix)
    assert result.elasticity.sum() == pytest.approx(1, abs=1e-12)
    assert matrix @ result.stable_stage == pytest.approx(result.growth_rate * result.stable_stage)
    assert result.reproductive_value @ matrix == pytest.approx(result.growth_rate * result.reproductive_value)
    step = 1e-6 * matrix[1, 0]
    raised = matrix.copy()
    raised[1, 0] += step
    lowered = matrix.copy()
    lowered[1, 0] -= step
    slope = (growth(raised).growth_rate - growth(lowered).growth_rate) / (2 * step)
    assert slope == pytest.approx(result.sensitivity[1, 0], rel=1e-3, abs=1e-6)


@settings(deadline=None)
@given(turtles(), st.integers(1, 400))
def test_releasing_what_is_asked_holds_what_is_wanted(pair, wanted):
    """Run the stock forward, year by year, with and without the released heads."""
    matrix = sum(pair)
    rate = growth(matrix).growth_rate
    result = released_recruits(matrix, 1, len(matrix) - 1, wanted)
    if rate >= 1:
        assert result.value == 0
        return
    assert result.raw <= result.value < result.raw + 1
    if rate < 0.98:
        heads = np.zeros(len(matrix))
        for _ in range(2000):
            heads = matrix @ heads
            heads[1] += result.raw
        assert heads[-1] == pytest.approx(wanted)


@settings(deadline=None)
@given(arrays.arrays(float, (3, 3), elements=st.floats(0, 0.3)))
def test_any_stock_has_a_growth_rate_or_says_why_not(matrix):
    result = growth(matrix)
    assert result.notes
    if result.status == "no_estimate":
        assert not np.linalg.matrix_power(matrix > 0, 3).any()
    else:
        assert result.growth_rate == pytest.approx(np.abs(np.linalg.eigvals(matrix)).max(), abs=1e-5)


def test_stages_past_breeding_are_worth_nothing():
    # By hand: breeders .5 + .6, then a stage that lives on at .4 and has no young.
    result = growth([[0.6, 0, 0], [0.5, 0.3, 0], [0, 0.2, 0.4]])
    assert result.growth_rate == pytest.approx(0.6)
    assert result.reproductive_value.tolist() == [1, 0, 0]
    assert result.elasticity[0, 0] == pytest.approx(1)


def test_a_first_stage_without_future():
    result = growth([[0.3, 0], [0, 0.9]])
    assert result.growth_rate == pytest.approx(0.9)
    assert result.reproductive_value.tolist() == [0, 1]
    assert "first stage adds nothing" in result.notes[0]


def test_parts_that_keep_the_same_pace_have_no_one_make_up():
    result = growth([[0.8, 0], [0, 0.8]])
    assert (result.growth_rate, result.status) == (pytest.approx(0.8), "low_confidence")
    assert result.stable_stage is None
    # Barely circular: what feeds back is so little that the parts as good as stand alone.
    assert growth([[0, 1e-300], [0.1, 0]]).elasticity is None


def test_a_stock_that_dies_out_has_no_rate():
    for matrix in ([[0, 0], [0.5, 0]], [[0.0]]):
        result = growth(matrix)
        assert (result.status, result.growth_rate, result.intrinsic_rate) == ("no_estimate", None, None)


def test_no_young_or_no_deaths_leave_no_factor():
    moves = [[0, 0], [0.5, 0.9]]
    assert net_reproduction(moves, np.zeros((2, 2))).value == 0
    assert "No young" in replacement_factor(moves, np.zeros((2, 2))).notes[0]
    deathless = replacement_factor([[0, 0], [0.5, 1]], [[0, 2], [0, 0]])
    assert (deathless.status, deathless.value) == ("no_estimate", None)
    assert "never die" in deathless.notes[0]


def test_releases_by_hand():
    # 10 % of adults die a year: 300 adults need 30; half of the yearlings grow up, so 60 of them.
    matrix = [[0, 0], [0.5, 0.9]]
    assert released_recruits(matrix, 1, 1, 300).value == 30
    assert released_recruits(matrix, 0, 1, 300).value == 60
    assert released_recruits(matrix, 0, 1, 301).value == 61
    assert released_recruits(matrix, 0, 0, 7).value == 7
    backwards = released_recruits(matrix, 1, 0, 7)
    assert backwards.status == "no_estimate"
    assert "never become" in backwards.notes[0]
    # A stage that grows by itself elsewhere does not bear on it.
    beside = [[0, 0, 0], [0.5, 0.9, 0], [0, 0, 1]]
    assert released_recruits(beside, 0, 1, 300).value == 60


def test_generation_times_at_the_ends():
    assert generation_time(1, 1).status == "no_estimate"
    for figures in ((0, 0.9), (0.5, 0), (-1, 0.9)):
        with pytest.raises(ValueError, match="net_reproduction_value"):
            generation_time(*figures)


@pytest.mark.parametrize(
    ("matrix", "words"),
    [
        ([[1, 2]], "square table"),
        ([], "square table"),
        ([[-1.0]], "0 or more"),
        ([[math.nan]], "0 or more"),
        ([[0, 5, 0], [0.6, 0.5, 0], [0.5, 0.4, 0]], "stage 1 that live on sum to 1.1"),
    ],
)
def test_impossible_matrices_are_refused(matrix, words):
    with pytest.raises(ValueError, match=words):
        growth(matrix)
    with pytest.raises(ValueError, match=words):
        released_recruits(matrix, 0, 0, 1)


def test_impossible_pairs_and_stages_are_refused():
    with pytest.raises(ValueError, match="it has 1 stages and the transitions have 2"):
        net_reproduction(np.zeros((2, 2)), [[1]])
    with pytest.raises(ValueError, match=r"stage 2 that live on sum to 1\.2"):
        net_reproduction([[0, 0.7], [0.2, 0.5]], np.zeros((2, 2)))
    for stages in ((2, 0), (0, 2)):
        with pytest.raises(ValueError, match="stage 2 is not one of the 2"):
            released_recruits([[0, 0], [0.5, 0.9]], *stages, 5)
    with pytest.raises(ValueError, match="wanted"):
        released_recruits([[0, 0], [0.5, 0.9]], 0, 0, -5)
