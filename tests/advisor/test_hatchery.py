"""From eggs a week to baskets, shelf places and hatch days."""

import pytest

from stock.advisor.yields import hatch_days, hatchery_plan

SLIDER = (62, 67, 72)
FILL = {"eggs_a_basket": 100, "hatch_share": 0.8}


@pytest.mark.parametrize(
    ("temperature", "days", "tolerance"),
    [
        # Jackson (1988): sliders 66 days at 28 C; Les et al. (2007): 61 at 28.5 C. 67 at 82 F (27.8 C) is the start.
        (28, 66, 1),
        (28.5, 61, 3),
        # Tucker & Warner (1999): 62.5 days in Illinois sliders, artificial incubation about 29 C.
        (29, 62.5, 2.5),
    ],
)
def test_slider_days_against_published_ones(temperature, days, tolerance):
    carried = hatch_days(SLIDER, 27.8, temperature)
    assert carried.expected == pytest.approx(days, abs=tolerance)
    assert carried.low < carried.expected < carried.high
    assert "assumption" in carried.notes[0]


def test_days_at_their_own_temperature_stay_as_they_are():
    kept = hatch_days((70, 78, 86), 28, 28)
    assert (kept.low, kept.expected, kept.high, kept.notes) == (70, 78, 86, ())
    assert "guess" in hatch_days((70, 78, 86), 28, 31).notes[1]


def test_chinese_softshells_by_another_formula():
    # Yang (1998): 30.59 + 109 / (T - 22.53): 51.3 days at 27.8 C, 45.2 at 30 C. Within a tenth by degree-days.
    assert hatch_days((49, 51.3, 54), 27.8, 30).expected == pytest.approx(45.2, rel=0.1)


def test_one_weeks_eggs():
    plan = hatchery_plan([0, 450], hatch_days(SLIDER, 27.8, 27.8), **FILL, set_share=0.9, water_liters=3)
    week = plan.weeks[1]
    # 405 eggs: five baskets of 100, three containers of two baskets.
    assert (week.eggs_set, week.baskets, week.containers, week.shelf_places) == (405, 5, 3, 3)
    assert week.water_liters == 9
    # Set on days 7 to 13: hatching from day 7 + 62 to day 13 + 72.
    assert (week.hatch_from, week.hatch_until) == (69, 85)
    assert sum(one.hatching for one in plan.weeks) == pytest.approx(0.8 * 405)
    hatching = [one.week for one in plan.weeks if one.hatching > 1e-9]
    assert (min(hatching), max(hatching)) == (69 // 7 + 1, 85 // 7 + 1)
    # The containers stand until the last day to hatch, and no longer.
    assert [one.week for one in plan.weeks if one.shelf_places] == list(range(2, 85 // 7 + 2))
    assert (plan.most_shelf_places, plan.most_containers, plan.eggs_set) == (3, 3, 405)


def test_shelves_fill_while_eggs_come_faster_than_they_hatch():
    plan = hatchery_plan([200] * 20, hatch_days(SLIDER, 27.8, 27.8), **FILL)
    # One container a week, standing 72 days and the week of setting: 12 weeks at once.
    assert plan.most_shelf_places == 12
    assert plan.weeks[0].water_liters is None
    assert sum(week.eggs_set for week in plan.weeks) == 4000


def test_days_without_spread_and_no_eggs():
    plan = hatchery_plan([100], hatch_days((60, 60, 60), 28, 28), eggs_a_basket=50, hatch_share=1)
    assert sum(week.hatching for week in plan.weeks) == pytest.approx(100)
    assert hatchery_plan([], hatch_days(SLIDER, 28, 28), **FILL).weeks == ()
    nothing = hatchery_plan([0, 0], hatch_days(SLIDER, 28, 28), **FILL)
    assert (nothing.most_shelf_places, nothing.weeks[0].hatch_from) == (0, None)


def test_impossible_plans_are_refused():
    for days, at, temperature in (((5, 4, 6), 28, 28), ((1, 2), 28, 28), (SLIDER, 10, 28), (SLIDER, 28, 40)):
        with pytest.raises(ValueError, match=r"incubation_days|at_c|temperature_c"):
            hatch_days(days, at, temperature)
    days = hatch_days(SLIDER, 28, 28)
    for eggs, changes in (
        ([-1], {}),
        ([1] * 54, {}),
        ([1], {"eggs_a_basket": 0}),
        ([1], {"hatch_share": 1.2}),
        ([1], {"baskets_a_container": 0}),
        ([1], {"water_liters": -1}),
        ([1], {"set_share": 2}),
    ):
        with pytest.raises(
            ValueError, match=r"eggs_by_week|eggs_a_basket|hatch_share|baskets|water|set_share"
        ):
            hatchery_plan(eggs, days, **(FILL | changes))
