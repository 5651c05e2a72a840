"""Laying curves against published dates, and the running season forecast from what has been dug."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ponds.seasons import Season
from stock.advisor.laying_curve import WEEKS
from stock.advisor.season_forecast import WEEK_SPREADS, WEEKS_TOGETHER, check_dug
from stock.advisor.yields import (
    CURVES,
    LayingCurve,
    LearntCurve,
    SeasonPrior,
    falling_behind,
    forecast,
    forecast_eggs,
    learn_curve,
)

SLIDER = CURVES["red-eared-slider"]
EDGES = np.minimum(7.0 * np.arange(WEEKS + 1), 365)


def day(month, of_month):
    return (dt.date(2025 if month < 9 else 2024, month, of_month) - dt.date(2024, 9, 1)).days


def between(curve, begins, ends):
    """Share dug from one day to the end of another."""
    shares = curve.dug_before([day(*begins), day(*ends) + 1])
    return float(shares[1] - shares[0])


def prior(median=(100.0,), own=0.3, shared=0.2):
    return SeasonPrior(np.array(median, dtype=float), np.full(len(median), own), shared)


def dig(curve, totals, weeks, *, shift=0.0):
    """Nests by week exactly by the curve, whole."""
    shares = np.concatenate([[0], np.cumsum(curve.weekly(shift_days=shift))])
    return np.diff(np.rint(np.outer(totals, shares)), axis=1)[:, :weeks]


def test_published_shares_of_may():
    # Aresco (2004), J. Herpetol. 38:249: 55 % of slider nests and 47 % of cooter nests in May.
    assert between(SLIDER, (5, 1), (5, 31)) == pytest.approx(0.55, abs=0.02)
    assert between(CURVES["coastal-plain-cooter"], (5, 1), (5, 31)) == pytest.approx(0.47, abs=0.02)
    # The same: mid-April to mid-July.
    assert between(SLIDER, (4, 10), (7, 20)) > 0.95


@pytest.mark.parametrize(
    ("kind", "begins", "ends"),
    [
        # Jones (2006): ringed map, mid-May to mid-July. Ewert, Lang & Nelson (2005): snapper in Louisiana, May.
        ("ringed-map", (5, 10), (7, 20)),
        ("common-snapper", (4, 20), (5, 31)),
        # Nesting table of Krueger & Janzen: the two ends of the year.
        ("peninsula-cooter", (9, 25), (6, 30)),
        ("southern-painted-turtle", (5, 20), (7, 31)),
    ],
)
def test_nearly_all_nests_fall_within_the_published_dates(kind, begins, ends):
    first, last = day(*begins), day(*ends) + 1
    shares = CURVES[kind].dug_before([first, last])
    assert 0.97 < shares[1] - shares[0] < 1


def test_every_curve_has_a_source_and_adds_up():
    for curve in CURVES.values():
        assert curve.source
        weekly = curve.weekly()
        assert weekly.shape == (WEEKS,)
        assert weekly.sum() == pytest.approx(1)
        assert (weekly >= 0).all()


def test_weeks_are_those_of_the_nesting_year():
    """Week 1 begins on 1 September, as in the nest book."""
    season = Season(2025)
    assert SLIDER.weekly().argmax() + 1 == pytest.approx(season.week_of(dt.date(2025, 5, 12)), abs=1)


def test_a_late_season_is_moved_and_a_long_tail_drawn_out():
    late = SLIDER.weekly(shift_days=14)
    assert late[2:] == pytest.approx(SLIDER.weekly()[:-2], abs=0.002)
    drawn_out = SLIDER.weekly(tail=1.5)
    assert (np.cumsum(drawn_out)[40], drawn_out.sum()) == (
        pytest.approx(np.cumsum(drawn_out)[40]),
        pytest.approx(1),
    )
    assert np.cumsum(drawn_out)[40] < np.cumsum(SLIDER.weekly())[40] - 0.05
    assert SLIDER.weekly(shift_days=[0, 7], stretch=[1, 1.1]).shape == (2, WEEKS)


def test_impossible_curves_are_refused():
    for opens, peak, closes, steepness in (
        ((5, 1), (4, 1), (7, 1), 4),
        ((4, 1), (5, 1), (9, 2), 4),
        ((4, 1), (4, 1), (4, 1), 4),
        ((4, 1), (5, 1), (7, 1), -1),
    ):
        with pytest.raises(ValueError, match=r"opens|steepness"):
            LayingCurve(opens, peak, closes, steepness, "none")
    for arguments in ({"shift_days": 200}, {"stretch": 0}, {"tail": 0.1}):
        with pytest.raises(ValueError, match="shift_days, stretch, tail"):
            SLIDER.weekly(**arguments)
    for past in ([[1, 2]], [[-1] * WEEKS]):
        with pytest.raises(ValueError, match="past_by_week"):
            learn_curve(SLIDER, past)


def test_without_seasons_the_curve_is_the_published_one():
    for past in ([], [[0] * WEEKS]):
        learnt = learn_curve(SLIDER, past)
        assert learnt.weekly() == pytest.approx(SLIDER.weekly(), abs=0.003)
        assert (learnt.seasons, learnt.published_share) == (0, 1)
        assert learnt.shift_sd_days == pytest.approx(SLIDER.shift_sd_days)


def test_the_curve_bends_toward_the_farms_own_seasons():
    later = [1000 * SLIDER.weekly(shift_days=20 + off) for off in (-5, 0, 5, 0)]
    learnt = learn_curve(SLIDER, later)
    assert learnt.peak_day - learn_curve(SLIDER, []).peak_day == pytest.approx(20 * 4 / 5, abs=1.5)
    # A season of 1000 nests counts 1000 / (1000 + 30), the published curve as one.
    assert learnt.published_share == pytest.approx(1 / (1 + 4 * 1000 / 1030))
    assert "80 % from the nest book of 4 seasons" in learnt.source
    # Seasons within a few days of each other: the next one is less uncertain than on a new farm.
    assert learnt.shift_sd_days < SLIDER.shift_sd_days
    assert learnt.tail_sd < SLIDER.tail_sd


def test_a_few_nests_of_a_season_bend_the_curve_little():
    few = [n * SLIDER.weekly(shift_days=20) for n in (3,)]
    learnt = learn_curve(SLIDER, few)
    assert learnt.published_share == pytest.approx(1 / (1 + 3 / 33))
    assert learnt.peak_day - learn_curve(SLIDER, []).peak_day == pytest.approx(
        20 * (3 / 33) / (36 / 33), abs=1.5
    )


def test_a_stray_row_far_off_the_season_is_no_season():
    stray = np.zeros(WEEKS)
    stray[50] = 12
    seasons = [1000 * SLIDER.weekly(shift_days=off) for off in (-5, 0, 5, 0)]
    learnt, without = learn_curve(SLIDER, [stray, *seasons]), learn_curve(SLIDER, seasons)
    assert (learnt.left_out, learnt.seasons) == (1, 4)
    assert learnt.shift_sd_days == without.shift_sd_days
    assert learnt.weekly() == pytest.approx(without.weekly())
    assert "1 more left out" in learnt.source
    assert "left out" not in without.source


@given(
    st.lists(
        st.lists(st.integers(0, 3000), min_size=WEEKS, max_size=WEEKS)
        | st.dictionaries(st.integers(0, WEEKS - 1), st.integers(1, 50), max_size=3).map(
            lambda held: [held.get(week, 0) for week in range(WEEKS)]
        ),
        max_size=6,
    )
)
@settings(max_examples=100, deadline=None)
def test_whatever_nest_books_are_kept_a_running_season_can_be_forecast(past):
    learnt = learn_curve(SLIDER, np.array(past).reshape(-1, WEEKS))
    now = forecast(learnt, np.zeros((2, 36)), prior((100.0, 300.0)), draws=50)
    assert np.isfinite(now.nests.high).all()
    assert (now.nests.low <= now.nests.high).all()


def test_before_the_season_the_forecast_is_what_was_expected():
    for dug in ([], np.zeros((3, 10)), np.zeros((3, 0))):
        # Large ponds, so that the luck of single nests does not add to what is expected.
        now = forecast(SLIDER, dug, prior((5000, 10_000, 0)), draws=20_000)
        for pond, median in enumerate((5000, 10_000)):
            drawn = stats.lognorm(np.hypot(0.3, 0.2), scale=median)
            assert now.nests.expected[pond] == pytest.approx(drawn.mean(), rel=0.03)
            assert now.nests.low[pond] == pytest.approx(drawn.ppf(0.05), rel=0.05)
            assert now.nests.high[pond] == pytest.approx(drawn.ppf(0.95), rel=0.05)
        assert now.nests.high[2] == 0
        assert float(now.share_dug.expected) == pytest.approx(0, abs=1e-6)
        assert now.expected_by_week.shape == (3, WEEKS)
        assert now.expected_by_week.sum(axis=1) == pytest.approx(now.nests.expected, rel=0.02)
        assert abs(float(now.days_late.expected)) < 1


def test_after_the_season_the_forecast_is_what_was_dug():
    dug = dig(SLIDER, [80, 120], WEEKS)
    now = forecast(SLIDER, dug, prior((100, 100)))
    assert now.nests.low.tolist() == now.nests.high.tolist() == [80, 120]
    assert float(now.total_nests.expected) == 200
    assert now.total_by_week.expected == pytest.approx(dug.sum(axis=0))


def test_the_total_is_never_below_what_is_dug_and_closes_in():
    truth, widths = np.array([160.0, 240.0, 80.0]), []
    for week in (34, 38, 42, 46):
        dug = dig(SLIDER, truth, week)
        now = forecast(SLIDER, dug, prior((100, 150, 80)))
        assert (now.nests.low >= dug.sum(axis=1)).all()
        assert (now.nests.low <= truth).all()
        assert (truth <= now.nests.high).all()
        widths.append(float(now.total_nests.high - now.total_nests.low))
    assert widths == sorted(widths, reverse=True)


def test_a_late_season_is_not_taken_for_a_poor_one():
    """Twenty ponds, each as expected, but 12 days late: the week tells, the total holds."""
    totals = np.full(20, 100.0)
    now = forecast(SLIDER, dig(SLIDER, totals, 40, shift=12), prior(totals))
    assert float(now.days_late.low) > 2
    assert float(now.total_nests.low) < 2000 < float(now.total_nests.high)
    naive = 2000 * SLIDER.weekly()[:40].sum()
    assert now.dug.sum() < 0.85 * naive


def test_levels_of_one_pond_by_brute_force():
    """Curve and timing known: the total's posterior written out as a sum over totals."""
    weekly = SLIDER.weekly()
    fixed = LearntCurve(SLIDER, np.arange(366.0), SLIDER.dug_before(np.arange(366.0)), 0.0, 0.0, 9, 0.0)
    week = 39
    dug = dig(SLIDER, [150], week)
    now = forecast(fixed, dug, prior((100,), own=0.3, shared=0.0), stretch_sd=0.0, draws=40_000)
    logs = np.linspace(-1.5, 1.5, 2001)
    posterior = np.zeros_like(logs)
    for spread in WEEK_SPREADS:
        # A pond by itself swings with the farm's weeks and with its own.
        size = 1 / (spread**2 + 0.2**2)
        expected = 100 * np.exp(logs)[:, None] * weekly[:week]
        chances = stats.nbinom.logpmf(dug[0], size, size / (size + expected)).sum(axis=1) / WEEKS_TOGETHER
        posterior += np.exp(chances + stats.norm.logpdf(logs, 0, 0.3))
    total = np.sum(posterior * 100 * np.exp(logs)) / posterior.sum()
    assert float(now.expected_by_week.sum()) == pytest.approx(total, rel=0.02)
    assert float(now.total_nests.expected) == pytest.approx(150, rel=0.1)


def test_a_season_not_begun_when_it_should_have_been():
    now = forecast(SLIDER, np.zeros((2, 44)), prior((100, 100)))
    assert float(now.total_nests.high) < 120
    assert "Nothing has been dug yet" in now.notes[0]


def test_nests_where_no_female_stands():
    now = forecast(SLIDER, dig(SLIDER, [100, 7], 40), prior((100, 0)))
    assert now.nests.high[1] == now.dug[1]
    assert "no settled female" in now.notes[0]


def test_the_same_seed_gives_the_same_forecast():
    dug = dig(SLIDER, [100], 38)
    one, other = (forecast(SLIDER, dug[0], prior(), rng=4).nests.expected for _ in range(2))
    assert one == other


@pytest.mark.parametrize(
    ("dug", "words"),
    [
        ([[1, 2]], "for each of the 2 ponds"),
        ([[1.5], [1]], "counted whole"),
        ([[-1], [1]], "counted whole"),
        (np.zeros((2, 54)), "at most 53"),
    ],
)
def test_impossible_weeks_are_refused(dug, words):
    with pytest.raises(ValueError, match=words):
        check_dug(dug, 2)


def test_impossible_priors_are_refused():
    for wrong in (
        SeasonPrior([1.0], [1.0, 2.0], 0.1),
        SeasonPrior([-1.0], [1.0], 0.1),
        SeasonPrior([1.0], [1.0], -1),
    ):
        with pytest.raises(ValueError, match=r"prior|shared_sd"):
            forecast(SLIDER, [], wrong)
    with pytest.raises(ValueError, match="at least one draw"):
        forecast(SLIDER, [], prior(), draws=0)


def test_eggs_are_those_found_and_those_to_come():
    a_nest = SeasonPrior(np.array([9.0, 9.0]), np.full(2, 0.1), 0.05)
    dug = dig(SLIDER, [200, 200], 40)
    now = forecast(SLIDER, dug, prior((200, 200)))
    opened = np.array([100, 0])
    eggs = np.array([1200, 0])
    each, total = forecast_eggs(now, a_nest, opened=opened, eggs=eggs)
    assert (each.low > eggs).all()
    # Twelve eggs a nest in the first pond say something of its own nests, and a little of the other's.
    per_nest = [
        (each.expected[0] - 1200) / (now.nests.expected[0] - 100),
        each.expected[1] / now.nests.expected[1],
    ]
    assert 10 < per_nest[0] < 12
    assert 9 < per_nest[1] < per_nest[0]
    assert float(total.high - total.low) < float((each.high - each.low).sum())
    after = forecast(SLIDER, dig(SLIDER, [200, 200], WEEKS), prior((200, 200)))
    done, _ = forecast_eggs(after, a_nest, opened=[200, 200], eggs=[1700, 1900])
    assert done.low.tolist() == done.high.tolist() == [1700, 1900]
    for wrong in (
        {"opened": [500, 0], "eggs": [0, 0]},
        {"opened": [1], "eggs": [1]},
        {"opened": [0, 0], "eggs": [-1, 0]},
    ):
        with pytest.raises(ValueError, match="opened, eggs"):
            forecast_eggs(now, a_nest, **wrong)


def test_a_pond_that_falls_behind_is_named():
    totals = np.full(12, 150.0)
    truth = totals.copy()
    truth[4] = 45
    found = falling_behind(SLIDER, dig(SLIDER, truth, 42), prior(totals, own=0.2))
    assert np.flatnonzero(found.named).tolist() == [4]
    assert 33 < found.first_week[4] <= 42
    assert found.chance[4] <= found.limit < 0.025
    assert found.expected[4] == pytest.approx(150 * SLIDER.weekly()[:42].sum(), rel=0.15)
    # A bad or late season of the whole farm names nobody.
    bad = falling_behind(SLIDER, dig(SLIDER, 0.6 * totals, 42), prior(totals, own=0.2))
    late = falling_behind(SLIDER, dig(SLIDER, totals, 38, shift=14), prior(totals, own=0.2))
    assert not bad.named.any()
    assert not late.named.any()


def test_false_names_are_held_down_over_a_season():
    """
    Ponds drawn as the prior says, looked at after every second week: the share ever named.

    Eight seasons of 40 ponds with a chance of 1 in 40 each: at most 8 names are expected; the bound is three
    standard errors above.
    """
    rng = np.random.default_rng(8)
    median, seasons, names = np.full(40, 120.0), 8, 0
    for _ in range(seasons):
        levels = median * np.exp(0.25 * rng.standard_normal(40) + 0.2 * rng.standard_normal())
        weekly = SLIDER.weekly(shift_days=rng.normal(0, 5))
        dug = rng.poisson(np.outer(levels, weekly * rng.gamma(10, 0.1, WEEKS)))
        ever = np.zeros(40, dtype=bool)
        for week in (36, 38, 40, 42, 45):
            ever |= falling_behind(SLIDER, dug[:, :week], prior(median, own=0.25)).named
        names += int(ever.sum())
    assert names <= seasons + 3 * np.sqrt(seasons)


def test_early_or_empty_seasons_name_nobody():
    early = falling_behind(SLIDER, np.zeros((4, 20)), prior((100,) * 4))
    assert not early.named.any()
    assert "Too little of the season" in early.notes[0]
    assert not falling_behind(SLIDER, [], prior((0, 0))).named.any()
    alone = falling_behind(SLIDER, np.zeros((1, 45)), prior((100,)))
    assert alone.named.all()
    assert "One pond alone" in alone.notes[0]
    with pytest.raises(ValueError, match="false_chance"):
        falling_behind(SLIDER, [], prior(), false_chance=0)
