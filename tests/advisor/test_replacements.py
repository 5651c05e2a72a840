"""Hatchlings to keep back, held to published replacement figures, to the matrix algebra and to plain counting."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from stock.advisor.demography import growth, net_reproduction, replacement_factor
from stock.advisor.life_stages import RAISED, STAGES, UNKNOWN, stages_of
from stock.advisor.replacements import (
    Rates,
    holding_share,
    in_the_end,
    levers,
    needed,
    spread_young,
    stage_matrix,
    years_ahead,
)

KINDS = Path(__file__).resolve().parents[2] / "ponds" / "data" / "kinds.csv"
SLIDER = Rates(first_year=0.9, juvenile=0.7, adult=0.9, years=8)


def test_farm_style_stages_by_hand():
    # 0.95 in the first year, 0.95 a year for three more, adults 0.90, each leaving 0.3888 kept hatchlings: by ages,
    # growth solves x^4 (x - 0.9) = 0.3888 x 0.95^4, found by halving.
    rates = Rates(0.95, 0.95, 0.90, 4)
    low, high = 0.9, 2.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if middle**4 * (middle - 0.9) > 0.3888 * 0.95**4 else (middle, high)
    assert levers(rates, 0.3888)[0].growth_rate == pytest.approx(low, abs=1e-9)


@pytest.mark.parametrize(
    ("survival", "lost"), [(0.774, 226), (0.814, 186), (0.876, 124), (0.95, 50), (0.98, 20)]
)
def test_a_thousand_females_lose_what_is_published(survival, lost):
    # Wild sliders and mud turtles (Frazer et al. 1990, 1991) and two farm figures: 1,000 x (1 - survival).
    need = needed(1000, Rates(1.0, 1.0, survival, 5))
    assert need.lost_a_year == pytest.approx(lost)
    # Where no young die, as many hatchlings are kept as breeders die.
    assert need.hatchlings.value == lost


def test_sliders_by_hand():
    # 100 of 1,000 die; of hatchlings 0.9 x 0.7^7 = 7.41 % grow up: 1,349.2 a year.
    need = needed(1000, SLIDER)
    assert SLIDER.grows_up == pytest.approx(0.9 * 0.7**7)
    assert need.hatchlings.raw == pytest.approx(100 / (0.9 * 0.7**7))
    assert need.hatchlings.value == 1350
    assert (need.low, need.high) == pytest.approx((need.hatchlings.raw,) * 2)


def test_ranges_are_drawn_together_not_multiplied():
    stages = stages_of("Trachemys scripta elegans")
    need = needed(
        1000, SLIDER, first_year=stages.first_year, juvenile=stages.juvenile, adult=(0.77, 0.90, 0.97)
    )
    assert need.low < need.hatchlings.raw < need.high
    # All three at their ends at once would be 230 / (0.75 x 0.539^7) and 30 / (0.97 x 0.829^7).
    assert need.high < 230 / (0.75 * 0.539**7)
    assert need.low > 30 / (0.97 * 0.829**7)
    assert need == needed(
        1000, SLIDER, first_year=stages.first_year, juvenile=stages.juvenile, adult=(0.77, 0.90, 0.97)
    )


@pytest.mark.parametrize(
    "rates", [SLIDER, Rates(0.95, 0.95, 0.9, 4), Rates(0.5, 0.8, 0.97, 14), Rates(1, 1, 0.8, 1)]
)
def test_keeping_what_holds_the_stock_holds_it(rates):
    kept = holding_share(rates)
    found, moved = levers(rates, kept)
    assert found.growth_rate == pytest.approx(1, abs=1e-9)
    # R0 = 1 and the factor on all births is 1 (Caswell 2001, section 5.3).
    transitions = stage_matrix(rates)
    births = stage_matrix(rates, kept) - transitions
    assert net_reproduction(transitions, births).value == pytest.approx(1, abs=1e-9)
    assert replacement_factor(transitions, births).value == pytest.approx(1, abs=1e-9)
    # Elasticities sum to 1 over the matrix; each year of youth and the births have one and the same.
    assert moved.adult + moved.juvenile + moved.first_year + moved.kept == pytest.approx(1, abs=1e-9)
    assert moved.first_year == pytest.approx(moved.kept)
    assert moved.juvenile == pytest.approx((rates.years - 1) * moved.kept)
    # The steady number kept back leads to as many breeders as there were.
    assert in_the_end(rates, kept * 500) == pytest.approx(500)


def test_an_elasticity_is_what_one_percent_does():
    kept = holding_share(SLIDER)
    _, moved = levers(SLIDER, kept)
    for better, said in (
        (Rates(0.9, 0.7, 0.909, 8), moved.adult),
        (Rates(0.9, 0.707, 0.9, 8), moved.juvenile),
        (Rates(0.909, 0.7, 0.9, 8), moved.first_year),
    ):
        changed = growth(stage_matrix(better, kept)).growth_rate - 1
        assert changed == pytest.approx(said / 100, rel=0.05)
    assert growth(stage_matrix(SLIDER, kept * 1.01)).growth_rate - 1 == pytest.approx(
        moved.kept / 100, rel=0.05
    )


def test_without_hatchlings_kept_the_stock_shrinks_as_its_adults_die():
    found, moved = levers(SLIDER, 0.0)
    assert found.growth_rate == pytest.approx(0.9)
    assert moved is None


def test_ratio_drifts_as_published():
    # 300 females and 100 males of wild sliders (0.774 and 0.834 a year, Frazer et al. 1991), none added:
    # 2.784, 2.584, 2.398, 2.225, 2.065 to one; 300 x 0.774^5 females and 100 x 0.834^5 males.
    females = years_ahead(300, Rates(0.9, 0.7, 0.774, 8), years=5)
    males = years_ahead(100, Rates(0.9, 0.7, 0.834, 4), years=5)
    ratios = [f / m for f, m in zip(females, males, strict=True)]
    assert ratios == pytest.approx([3.0, 2.784, 2.584, 2.398, 2.225, 2.065], abs=6e-4)
    assert (females[-1], males[-1]) == pytest.approx((83.33, 40.35), abs=0.005)


def test_years_ahead_equal_the_matrix_year_by_year():
    rates, kept = Rates(0.9, 0.8, 0.92, 4), 300.0
    heads = np.zeros(5)
    heads[-1] = 1000
    matrix = stage_matrix(rates)
    told = years_ahead(1000, rates, kept=kept, years=15)
    heads[0] = kept  # hatched in the season at hand, counted with it
    for year in range(1, 16):
        heads = matrix @ heads
        heads[0] = kept
        assert told[year] == pytest.approx(heads[-1])
    assert years_ahead(1000, rates, kept=kept, years=400)[-1] == pytest.approx(in_the_end(rates, kept))


def test_young_that_stand_are_spread_over_their_years():
    # 70 young of 8 years: ten of each age, the oldest breeding next year.
    coming = spread_young(70, SLIDER)
    assert coming == pytest.approx([10 * 0.7**year for year in range(1, 8)])
    assert years_ahead(0, SLIDER, coming=coming, years=1)[1] == pytest.approx(7)
    assert spread_young(10, Rates(0.9, 0.7, 0.9, 1)) == pytest.approx([7])


def test_degenerate_lives():
    assert holding_share(Rates(0.9, 0.7, 1.0, 8)) == 0
    assert holding_share(Rates(0.0, 0.7, 0.9, 8)) == math.inf
    assert in_the_end(Rates(0.9, 0.7, 1.0, 8), 5) == math.inf
    assert in_the_end(Rates(0.9, 0.7, 1.0, 8), 0) == 0
    assert needed(0, SLIDER).hatchlings.value == 0
    none_grow = needed(100, Rates(0.9, 0.0, 0.9, 8))
    assert none_grow.hatchlings.status == "no_estimate"
    assert none_grow.high == math.inf


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"adult": 1.2}, "adult"),
        ({"juvenile": -0.1}, "juvenile"),
        ({"years": 0}, "0 years"),
        ({"years": 90}, "90 years"),
    ],
)
def test_impossible_lives_are_refused(change, words):
    with pytest.raises(ValueError, match=words):
        Rates(**({"first_year": 0.9, "juvenile": 0.7, "adult": 0.9, "years": 8} | change))


def test_every_kind_shipped_has_its_stages_with_sources():
    with KINDS.open(encoding="utf-8") as rows:
        names = [row["scientific name"] for row in csv.DictReader(rows)]
    for name in names:
        stages = stages_of(name)
        assert stages is not UNKNOWN
    for stages in (*STAGES.values(), UNKNOWN):
        assert stages.first_year == RAISED
        assert 0 < stages.juvenile[0] <= stages.juvenile[1] <= stages.juvenile[2] < 1
        assert 1 <= stages.male_years <= stages.female_years <= 14
        assert all((stages.first_year_source, stages.juvenile_source, stages.years_source))


def test_years_to_maturity_are_those_published():
    # Myhrvold et al. 2015: females and males, years, rounded up.
    for name, females, males in (
        ("Trachemys scripta elegans", 8, 4), ("Pseudemys concinna", 7, 4), ("Graptemys gibbonsi", 14, 8),
        ("Chelydra serpentina", 9, 6), ("Macrochelys temminckii", 11, 11), ("Kinosternon subrubrum", 5, 4),
        ("Sternotherus odoratus", 6, 4), ("Sternotherus carinatus", 6, 6), ("Apalone spinifera", 9, 9),
    ):  # fmt: skip
        assert (stages_of(name).female_years, stages_of(name).male_years) == (females, males)
    assert stages_of("Emys orbicularis") is UNKNOWN
    assert stages_of("") is UNKNOWN
