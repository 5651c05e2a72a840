"""Yield figures learnt from seasons' books, and the coming season drawn from them."""

import math

import numpy as np
import pytest

from stock.advisor.yields import (
    PublishedFigures,
    SeasonBook,
    coming_season,
    delayed_fertility,
    learn_yields,
    season_prior,
    season_yield,
)

SLIDER = PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11))
PUBLISHED = {"slider": SLIDER}
NONE = SeasonBook(*([[]] * 10))


def book(rows, **changes):
    """Rows of (pond, season, females, nests, opened, eggs, eggs set, hatched, clear)."""
    table = np.array(rows, dtype=float).reshape(-1, 9).T
    columns = {
        "pond": table[0], "season": table[1], "females": table[2], "female_se": 0.05 * table[2], "nests": table[3],
        "opened": table[4], "eggs": table[5], "eggs_set": table[6], "hatched": table[7], "clear": table[8],
    }  # fmt: skip
    return SeasonBook(**columns | changes)


def good_pond(pond, season, rate=1.5, females=200):
    nests = round(rate * females)
    return (pond, season, females, nests, nests, 9 * nests, 9 * nests, round(7.2 * nests), round(0.7 * nests))


def learn(rows=None, kinds=("slider",), season=2026, **changes):
    return learn_yields(NONE if rows is None else rows, kinds, PUBLISHED, season=season, **changes)


def by_hand(figure):
    """The value from its parts, as the page that shows them says."""
    parts = (
        (figure.own, figure.own_share),
        (figure.kind, figure.kind_share),
        (figure.published, figure.published_share),
    )
    logs = 0.0
    for part, share in parts:
        if part is not None:
            logs += share * math.log(part if figure.scale == "log" else part / (1 - part))
    return math.exp(logs) if figure.scale == "log" else 1 / (1 + math.exp(-logs))


def test_a_farm_that_begins_has_the_published_figures():
    learnt = learn(kinds=("slider", "slider"))
    nests, eggs = learnt.nests.ponds[0], learnt.eggs.ponds[0]
    assert (eggs.value, nests.published_share, eggs.own, eggs.seasons) == (pytest.approx(9), 1, None, 0)
    # 0.7 of the females laying twice: 1.4 nests a female; the middle of the product lies near it.
    assert nests.value == pytest.approx(1.4, abs=0.06)
    low, high = learnt.nests.kinds["slider"][1:]
    # The range of the product against plain simulation by `season_yield`, for one female.
    spread = season_yield([1], laying=SLIDER.laying, nests=SLIDER.nests, eggs=SLIDER.eggs, rng=3).nests
    assert high / low == pytest.approx(float(spread.high[0] / spread.low[0]), rel=0.05)
    assert learnt.nests.published_seasons["slider"] > 0
    season = coming_season(learnt, [0, 100], rng=1)
    assert season.nests.high[0] == season.eggs.high[0] == 0
    assert season.nests.low[1] < 100 < season.nests.high[1]


def test_each_figure_opens_to_its_arithmetic():
    rows = [
        good_pond(pond, season, rate)
        for pond, rate in enumerate((1.2, 1.5, 2.0))
        for season in (2023, 2024, 2025)
    ]
    learnt = learn(book(rows), ("slider",) * 4)
    for figures in (learnt.nests, learnt.eggs, learnt.hatch, learnt.clear):
        for figure in figures.ponds:
            assert figure.own_share + figure.kind_share + figure.published_share == pytest.approx(1)
            assert figure.value == pytest.approx(by_hand(figure))
            assert figure.lower < figure.value < figure.upper
            assert figure.arithmetic.endswith(f"= {by_hand(figure) / (1 - by_hand(figure)):.4g}") or (
                figure.scale == "log" and figure.arithmetic.endswith(f"= {figure.value:.4g}")
            )
    rates = [pond.value for pond in learnt.nests.ponds]
    assert rates[0] < rates[3] < rates[2]
    # A pond without seasons has its kind's figure, and is less well known.
    assert (learnt.nests.ponds[3].own, learnt.nests.ponds[3].own_share) == (None, 0)
    assert learnt.nests.ponds[3].upper - learnt.nests.ponds[3].lower > learnt.nests.ponds[0].upper - rates[0]
    assert learnt.hatch.ponds[0].value == pytest.approx(0.8, abs=0.01)
    assert [pond.seasons for pond in learnt.nests.ponds] == [3, 3, 3, 0]
    assert learnt.nests.ponds[0].counted == pytest.approx(1 + 0.85 + 0.85**2)


def test_a_good_season_is_not_taken_for_good_ponds():
    """All ponds half as good again in one season: the season's doing. One pond always so: the pond's."""
    rows = [
        good_pond(pond, season, (2.0 if pond == 0 else 1.2) * (1.5 if season == 2024 else 1))
        for pond in range(6)
        for season in range(2021, 2026)
    ]
    learnt = learn(book(rows), ("slider",) * 6)
    factors = learnt.nests.season_factors
    others = np.mean([factors[season] for season in (2021, 2022, 2023, 2025)])
    assert factors[2024] / others == pytest.approx(1.5, abs=0.1)
    assert learnt.nests.ponds[0].value / learnt.nests.ponds[1].value == pytest.approx(2 / 1.2, abs=0.1)


def test_few_females_keep_less_of_their_own():
    rows = [good_pond(0, 2025, 2.0, 20), good_pond(1, 2025, 2.0, 2000), good_pond(2, 2025, 1.2, 500)]
    small, large, _ = learn(book(rows), ("slider",) * 3).nests.ponds
    assert small.own_share < large.own_share
    doubtful = book(rows, female_se=[10, 600, 50])
    assert learn(doubtful, ("slider",) * 3).nests.ponds[1].own_share < large.own_share


def test_the_owner_can_weigh_what_is_published():
    rows = book([good_pond(0, season, 3.0) for season in (2024, 2025)])
    values = [learn(rows, published_weight=weight).nests for weight in (0.1, 100)]
    assert values[1].ponds[0].value < values[0].ponds[0].value
    assert values[1].published_seasons["slider"] == pytest.approx(100)


def test_a_nest_book_not_kept_is_no_season_without_nests():
    rows = book([good_pond(0, 2024), good_pond(0, 2025)])
    missing = book([good_pond(0, 2024), (0, 2025, 200, np.nan, 0, 0, 0, 0, 0)])
    nothing = book([good_pond(0, 2024), (0, 2025, 200, 0, 0, 0, 0, 0, 0)])
    kept, left_out, zero = (learn(one).nests.ponds[0] for one in (rows, missing, nothing))
    assert (kept.seasons, left_out.seasons, zero.seasons) == (2, 1, 2)
    assert zero.value < left_out.value


def test_nests_without_females_are_left_out_and_said():
    learnt = learn(book([(0, 2025, 0, 7, 0, 0, 0, 0, 0)]))
    assert learnt.nests.ponds[0].seasons == 0
    assert "7 nests of seasons without settled females" in learnt.notes[0]


def test_zero_nests_everywhere():
    learnt = learn(book([(pond, 2025, 100, 0, 0, 0, 0, 0, 0) for pond in range(3)]), ("slider",) * 3)
    season = coming_season(learnt, [100] * 3, rng=1)
    assert 0 <= season.nests.low[0] < season.nests.expected[0] < 100
    assert np.isfinite(season.total_eggs.high)


def test_farm_totals_share_their_season():
    """With season effects the farm's total is less certain than that of ponds drawn apart."""
    rows = [
        good_pond(pond, season, 1.5 * (0.8 if season % 2 else 1.2))
        for pond in range(20)
        for season in range(2018, 2026)
    ]
    season = coming_season(learn(book(rows), ("slider",) * 20), [200] * 20, draws=8000, rng=2)
    apart = math.sqrt(float(((season.nests.high - season.nests.low) ** 2).sum()))
    assert float(season.total_nests.high - season.total_nests.low) > 2 * apart
    assert float(season.total_nests.high - season.total_nests.low) < float(
        (season.nests.high - season.nests.low).sum()
    )
    assert season.nest_prior.shared_sd == pytest.approx(0.2, abs=0.08)
    assert season.eggs.arithmetic == pytest.approx(9 * season.nests.arithmetic, rel=0.03)


def test_the_same_seed_gives_the_same_season():
    learnt = learn(book([good_pond(0, 2025)]))
    one, same, other = (coming_season(learnt, [200], female_se=[20], rng=seed) for seed in (1, 1, 2))
    assert one.eggs.expected[0] == same.eggs.expected[0] != other.eggs.expected[0]
    joint = coming_season(learnt, [[150, 250] * 500], rng=1)
    assert joint.nests.arithmetic[0] == pytest.approx(one.nests.arithmetic[0])


def test_a_doubtful_standing_widens_the_season():
    learnt = learn(book([good_pond(0, season) for season in range(2018, 2026)]))
    sure, unsure = (coming_season(learnt, [200], female_se=[error], draws=8000, rng=1) for error in (0, 80))
    assert unsure.nests.high[0] - unsure.nests.low[0] > 1.3 * (sure.nests.high[0] - sure.nests.low[0])


def test_short_of_males_fewer_hatch_and_more_are_clear():
    learnt = learn(book([good_pond(0, season) for season in range(2018, 2026)]))
    full, half, none = (coming_season(learnt, [200], fertility=[share], rng=1) for share in (1, 0.5, 0))
    assert half.hatched.expected[0] == pytest.approx(full.hatched.expected[0] / 2, rel=0.02)
    assert half.eggs.expected[0] == full.eggs.expected[0]
    assert half.clear.expected[0] > 5 * full.clear.expected[0]
    assert none.hatched.high[0] == 0
    assert none.clear.expected[0] == pytest.approx(none.eggs.expected[0])


def test_fertility_comes_late():
    # Full to 5:1, (5 / r) beyond: 10:1 is a half. Half of it by the ratio two years ago, half by three.
    ratios = [[3, 3, 3, 10], [3, 3, 10, 10], [3, 10, 10, 10], [10, 10, 10, 10]]
    assert delayed_fertility(ratios) == pytest.approx([1, 1, 0.75, 0.5])
    assert delayed_fertility([[10]]) == pytest.approx([0.5])
    assert delayed_fertility([[3, np.inf]], delay=(1,)) == pytest.approx([0])
    # Terrapins without males laid 99, 88, 30 and 4 % fertile eggs in four years (Barney 1922; Hildebrand 1929):
    # full for two seasons, none in the fourth.
    gone = [[3, 3, 3] + [np.inf] * years for years in (1, 2, 3, 4)]
    assert [float(delayed_fertility([ratios])[0]) for ratios in gone] == pytest.approx([1, 1, 0.5, 0])
    for ratios, delay in (([[]], (1,)), ([3], (1,)), ([[3]], (0, 0)), ([[-1]], (1,)), ([[3]], (-1,))):
        with pytest.raises(ValueError, match=r"ratio|delay"):
            delayed_fertility(ratios, delay=delay)


def test_what_ponds_share_is_split_from_their_own():
    rng = np.random.default_rng(5)
    shared, own = rng.normal(0, 0.2, 50_000), rng.normal(0, [[0.1], [0.3], [0.2]], (3, 50_000))
    prior = season_prior(np.exp(np.log([[50], [100], [200]]) + shared + own))
    assert prior.shared_sd == pytest.approx(0.2, abs=0.02)
    assert prior.own_sd == pytest.approx([0.1, 0.3, 0.2], abs=0.03)
    assert prior.median == pytest.approx([50, 100, 200], rel=0.02)
    empty = season_prior(np.zeros((2, 10)))
    assert (empty.median.tolist(), empty.shared_sd) == ([0, 0], 0)
    for wrong in ([1, 2], [[-1.0]], [[np.nan]]):
        with pytest.raises(ValueError, match="drawn"):
            season_prior(wrong)


@pytest.mark.parametrize(
    ("rows", "changes", "words"),
    [
        ([good_pond(0, 2026)], {}, "a row of season 2026 cannot teach season 2026"),
        ([good_pond(0, 2025)] * 2, {}, "two rows for one season"),
        ([good_pond(3, 2025)], {}, "counted from 0 to 0"),
        ([(0, 2025, 9, 5, 6, 40, 0, 0, 0)], {}, "more nests were opened than were dug"),
        ([(0, 2025, 9, 5, 0, 40, 0, 0, 0)], {}, "no nest opened"),
        ([(0, 2025, 9, 5, 5, 40, 10, 8, 3)], {}, "more eggs hatched or were clear than were set"),
        ([(0, 2025, -9, 5, 5, 40, 0, 0, 0)], {}, "females: every figure must be 0 or more"),
        ([(0, 2025, 9, 5.5, 5, 40, 0, 0, 0)], {}, "nests: whole numbers"),
        ([good_pond(0, 2025)], {"fertility": [2.0]}, "share of full fertility"),
        (
            [good_pond(0, 2025)],
            {"fertility": [1.0, 1.0]},
            "fertility: give one figure for each of the 1 rows",
        ),
    ],
)
def test_impossible_books_are_refused(rows, changes, words):
    with pytest.raises(ValueError, match=words):
        learn(book(rows, **changes))


def test_impossible_settings_are_refused():
    for changes, words in (
        ({"decay": 0}, "decay"),
        ({"decay": 1.5}, "decay"),
        ({"published_weight": 0}, "published_weight"),
        ({"confidence": 1}, "confidence"),
        ({"kinds": ("carp",)}, "no figures were given for carp"),
    ):
        with pytest.raises(ValueError, match=words):
            learn(**changes)
    learnt = learn()
    for arguments, words in (
        (([1, 2], {}), "2 pond-kinds were given, but 1"),
        (([1], {"draws": 0}), "at least one draw"),
        (([1], {"fertility": 2}), "fertility"),
        (([[1, 2]], {"female_se": [1]}), "none with joint draws"),
    ):
        with pytest.raises(ValueError, match=words):
            coming_season(learnt, arguments[0], **arguments[1], rng=1)
