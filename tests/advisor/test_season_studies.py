"""A small part of `python -m tests.simulator.season_studies`, with seeds of its own."""

import dataclasses

import numpy as np
import pytest

from stock.bench import yields
from tests.simulator.nests import NestPlan, live_seasons
from tests.simulator.season_studies import COLUMNS, WEEK_COLUMNS, Study, ask, by_week, study, tell

PLAN = NestPlan(ponds=20, cooter_ponds=6, seasons=4)


@pytest.fixture(scope="module")
def cases():
    return ask(PLAN, farms=6, seed=40, weekly_farms=1, weekly_every=4)


def test_limits_of_coming_seasons_cover(cases):
    """
    Six farms of four seasons share 24 season effects, and each season's ponds are right or wrong together: the
    bounds are some three errors wide.
    """
    means = dict(zip(COLUMNS, cases.coming.mean(axis=0), strict=True))
    assert len(cases.coming) == 24
    for what in ("nests", "eggs", "hatched"):
        assert 0.8 < means[what] < 0.99
    assert means["farm nests"] > 0.7
    # They narrow as seasons become known.
    width = [cases.coming[cases.coming[:, 1] == season, -1].mean() for season in (0, 3)]
    assert width[1] < 0.6 * width[0]


def test_learnt_figures_err_less_than_the_rule_of_thumb(cases):
    errors = cases.errors[:, 2:8].mean(axis=0)
    assert errors[0] < errors[2] / 10
    assert errors[3] < errors[5] / 5


def test_learnt_figures_err_less_than_own_means(monkeypatch):
    """On many farms, for what is the whole farm's season no pond can tell; a part of `manage.py bench yields`."""
    monkeypatch.setattr(yields, "FARMS", 12)
    measured = yields.measure()
    assert measured.missed == ()
    assert len(measured.figures["ratios"]) == 4
    assert all(0 < ratio < 0.95 for ratio in measured.figures["ratios"].values())


def test_the_error_falls_while_the_season_runs(cases):
    weeks = cases.weeks
    error = WEEK_COLUMNS.index("error")
    means = [weeks[weeks[:, 3] == week, error].mean() for week in (34, 38, 41, 44, 47)]
    assert means == sorted(means, reverse=True)
    assert means[-1] < means[0] / 5
    inside = weeks[:, 4:6].mean(axis=0)
    assert (inside > 0.8).all()


def test_few_ponds_in_order_are_named(cases):
    in_order, named = cases.names[:, 3].sum(), cases.names[:, 4].sum()
    # One name in 40 ponds and season is allowed; two standard errors above that.
    allowed = in_order / 40
    assert named <= allowed + 2 * np.sqrt(allowed)


def test_the_simulator_gives_the_same_farm_again_and_lays_by_the_published_dates():
    one, same, other = (
        live_seasons(NestPlan(ponds=12, cooter_ponds=4, seasons=2), seed) for seed in (1, 1, 2)
    )
    assert np.array_equal(one.found, same.found)
    assert not np.array_equal(one.found, other.found)
    assert (one.opened <= one.found.sum(axis=2)).all()
    assert (one.hatched + one.clear <= one.eggs_set).all()
    assert (one.opened_eggs <= one.eggs).all()
    # Aresco (2004): about 55 % of slider nests in May, mid-April to mid-July; over a dozen farms.
    days = sum(
        live_seasons(NestPlan(ponds=4, cooter_ponds=0, seasons=2), seed).found.sum(axis=(0, 1))
        for seed in range(12)
    )
    assert 0.4 < days[242:273].sum() / days.sum() < 0.6
    assert days[219:331].sum() / days.sum() > 0.95


def test_failing_ponds_lay_half_and_weeks_add_up():
    plan = NestPlan(ponds=30, cooter_ponds=0, seasons=3, raid=0.0)
    whole, half = (live_seasons(dataclasses.replace(plan, fails=chance), 5) for chance in (0.0, 1.0))
    assert half.failed.all()
    assert half.found.sum() / whole.found.sum() == pytest.approx(0.5, abs=0.1)
    assert by_week(whole.found[0]).sum(axis=1).tolist() == whole.found[0].sum(axis=1).tolist()


def test_a_study_tells_every_cell_and_what_it_missed():
    done = study(NestPlan(ponds=6, cooter_ponds=2, seasons=3), farms=1, seed=9, weekly_farms=0)
    told = tell(done)
    assert "seasons known" in told
    assert "red-eared-slider, all" in told
    assert set(done.ratios) >= {"all: nests/own", "all: eggs/rule"}
    assert "all limits met" in tell(Study([], {}, []))
    assert "missed: too wide" in tell(Study([], {}, ["too wide"]))
