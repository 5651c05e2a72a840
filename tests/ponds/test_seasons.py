"""Seasons: one nesting year, 1 September to 31 August, named for the year it ends in."""

import datetime as dt

import pytest

from ponds.seasons import Season, nests_in_season, season_of, seasons_between


@pytest.mark.parametrize(
    ("day", "year"),
    [
        (dt.date(2025, 8, 31), 2025),
        (dt.date(2025, 9, 1), 2026),
        (dt.date(2026, 1, 1), 2026),
        (dt.date(2026, 5, 15), 2026),
        (dt.date(2026, 8, 31), 2026),
    ],
)
def test_season_of_a_day(day, year):
    season = season_of(day)
    assert season == Season(year)
    assert season.holds(day)
    assert season.starts_on <= day <= season.ends_on


def test_every_day_lies_in_one_season_only():
    days = [dt.date(2023, 1, 1) + dt.timedelta(days=step) for step in range(3 * 366)]
    for day in days:
        assert [year for year in range(2020, 2030) if Season(year).holds(day)] == [season_of(day).year]


def test_weeks_count_from_the_first_of_september():
    season = Season(2026)
    assert season.week_of(dt.date(2025, 9, 1)) == 1
    assert season.week_of(dt.date(2025, 9, 7)) == 1
    assert season.week_of(dt.date(2025, 9, 8)) == 2
    assert season.week_of(dt.date(2026, 8, 31)) == 53
    with pytest.raises(ValueError, match="not in season 2026, which runs from 2025-09-01 to 2026-08-31"):
        season.week_of(dt.date(2026, 9, 1))


def test_a_leap_day_makes_a_longer_season():
    assert Season(2024).days == 366
    assert Season(2025).days == 365


def test_nests_in_a_season_leave_out_the_neighbors():
    rows = [
        (dt.date(2025, 8, 31), 5),
        (dt.date(2025, 9, 1), 1),
        (dt.date(2026, 5, 1), 10),
        (dt.date(2026, 9, 1), 7),
    ]
    assert nests_in_season(rows, Season(2026)) == 11


def test_seasons_between_two_days_come_newest_first():
    found = seasons_between(dt.date(2023, 10, 1), dt.date(2026, 5, 1))
    assert [season.year for season in found] == [2026, 2025, 2024]
