"""Sex by temperature for each kind, held to published anchors at 26 to 32 C."""

import csv
from pathlib import Path

import numpy as np
import pytest

from stock.advisor.hatch_patterns import (
    BOTH_ENDS,
    COOL_MALES,
    GENETIC,
    NOT_KNOWN,
    PATTERNS,
    UNKNOWN,
    female_share,
    is_nearly_male,
    pattern_of,
    temperature_for,
)

KINDS = Path(__file__).resolve().parents[2] / "ponds" / "data" / "kinds.csv"
SLIDER = pattern_of("Trachemys scripta elegans")
ROOM_C = (82 - 32) * 5 / 9  # 82 F = 27.8 C


@pytest.mark.parametrize(
    ("degrees", "low", "high"),
    [
        (26.6, 0.0, 0.02),  # all male (Bull, Wibbels and others, as told with Sheehan et al. 1999)
        (28.6, 0.05, 0.45),  # a minority of females: Sheehan et al. 1999, EHP 107:155
        (29.2, 0.40, 0.60),  # about one to one
        (29.4, 0.40, 0.60),  # 79 males to 78 females of 157: Wibbels & Murdock
        (31.0, 0.97, 1.0),  # all female
    ],
)
def test_sliders_at_published_anchors(degrees, low, high):
    assert low <= female_share(SLIDER, degrees).expected <= high


# Percent male from 26 to 32 C by three curves set by eye to those anchors: pivot 29.3, 2.4 a degree; 29.4, 3.0;
# 28.9, 1.8. Worked out by hand and rounded as printed.
@pytest.mark.parametrize(
    ("degrees", "central", "narrow", "wide"),
    [
        (26, 100, 100, 99.5),
        (27, 99.6, 100, 97),
        (27.8, 97, 99, 88),
        (28, 96, 98.5, 83.5),
        (28.6, 84, 92, 63),
        (29, 67, 77, 46),
        (29.5, 38, 43, 25),
        (30, 16, 14, 12),
        (31, 2, 1, 2),
        (32, 0.2, 0, 0.4),
    ],
)
def test_sliders_by_the_worked_table(degrees, central, narrow, wide):
    share = female_share(SLIDER, degrees)
    assert 100 * (1 - share.expected) == pytest.approx(central, abs=0.6)
    assert 100 * (1 - share.low) == pytest.approx(max(central, narrow, wide), abs=0.6)
    assert 100 * (1 - share.high) == pytest.approx(min(central, narrow, wide), abs=0.6)


def test_82_f_gives_sliders_that_are_nearly_all_male():
    share = female_share(SLIDER, ROOM_C)
    assert 0.005 <= share.low <= share.expected <= share.high <= 0.13  # 88 to 99 % male
    assert is_nearly_male(share)
    assert not is_nearly_male(female_share(pattern_of("Apalone ferox"), ROOM_C))
    assert not is_nearly_male(None)


@pytest.mark.parametrize(
    ("name", "degrees", "low", "high"),
    [
        # Suwannee cooter, pivot 28.4 C (Jackson & Walker 1997): half there, 15 to 30 % female at 82 F.
        ("Pseudemys concinna", 28.4, 0.5, 0.5),
        ("Pseudemys concinna", ROOM_C, 0.15, 0.30),
        # Map turtles, pivot 29 to 30 C: mostly male at 82 F.
        ("Graptemys ouachitensis", ROOM_C, 0.0, 0.15),
        ("Graptemys ouachitensis", 32, 0.95, 1.0),
        # Painted: all male at 22 to 26, both at 28, all female from 30 C (Schwarzkopf & Brooks 1985; Etchberger 1992).
        ("Chrysemys picta", 22, 0.0, 0.01),
        ("Chrysemys picta", 26, 0.0, 0.05),
        ("Chrysemys picta", 27.5, 0.5, 0.5),
        ("Chrysemys picta", 28, 0.5, 0.9),
        ("Chrysemys picta", 30, 0.98, 1.0),
        # Common snapper (O'Steen 1998): 166 of 282 female at 27.5; 24 % at 21.5; males at 23 to 26; all female at 30.5.
        ("Chelydra serpentina", 27.5, 0.53, 0.65),
        ("Chelydra serpentina", 21.5, 0.20, 0.28),
        ("Chelydra serpentina", 23, 0.0, 0.05),
        ("Chelydra serpentina", 26, 0.0, 0.05),
        ("Chelydra serpentina", 30.5, 0.99, 1.0),
        ("Chelydra serpentina", 20, 0.9, 1.0),
        # Alligator snapper and musk turtles, upper pivot 25 to 28 C: mostly female at 82 F.
        ("Macrochelys temminckii", ROOM_C, 0.7, 1.0),
        ("Sternotherus odoratus", ROOM_C, 0.7, 1.0),
        # Softshells are ZW: half of each at any temperature.
        ("Apalone spinifera", 26, 0.5, 0.5),
        ("Apalone spinifera", 32, 0.5, 0.5),
    ],
)
def test_other_kinds_at_their_anchors(name, degrees, low, high):
    assert low - 1e-9 <= female_share(pattern_of(name), degrees).expected <= high + 1e-9


def test_every_kind_shipped_has_its_pattern():
    expected = {
        "Trachemys": COOL_MALES, "Pseudemys": COOL_MALES, "Graptemys": COOL_MALES, "Chrysemys": COOL_MALES,
        "Chelydra": BOTH_ENDS, "Macrochelys": BOTH_ENDS, "Sternotherus": BOTH_ENDS,
        "Apalone": GENETIC, "Kinosternon": NOT_KNOWN,
    }  # fmt: skip
    with KINDS.open(encoding="utf-8") as rows:
        names = [row["scientific name"] for row in csv.DictReader(rows)]
    assert len(names) > 20
    for name in names:
        pattern = pattern_of(name)
        assert pattern.name == expected[name.split()[0]]
        assert pattern is not UNKNOWN
        assert pattern.source
        assert pattern.note


# Least and most percent female at 26, 27, 28, 29, 30, 31 and 32 C that the anchors above leave to each genus.
AT_26_TO_32_C = {
    # All male at 26.6 C, one to one at 29.2, all female at 31 (as above).
    "Trachemys": ((0, 1), (0, 5), (0, 45), (5, 60), (60, 97), (97, 100), (98, 100)),
    # Pivot 28.4 C, 15 to 30 % at 82 F.
    "Pseudemys": ((0, 15), (0, 30), (15, 50), (50, 100), (80, 100), (95, 100), (98, 100)),
    # Pivot 29 to 30 C.
    "Graptemys": ((0, 2), (0, 5), (0, 15), (0, 50), (50, 100), (90, 100), (95, 100)),
    # All male to 26 C, pivot 27.5, both at 28, all female from 30.
    "Chrysemys": ((0, 5), (0, 50), (50, 90), (90, 100), (98, 100), (99, 100), (99, 100)),
    # Males to 26 C and both sexes at 27.5, 59 % female; all female at 30.5.
    "Chelydra": ((0, 5), (5, 59), (59, 95), (95, 100), (98, 100), (99, 100), (99, 100)),
    # Upper pivot 25 to 28 C, mostly female at 82 F.
    "Macrochelys": ((0, 90), (10, 100), (70, 100), (90, 100), (95, 100), (98, 100), (98, 100)),
    "Sternotherus": ((0, 90), (10, 100), (70, 100), (90, 100), (95, 100), (98, 100), (98, 100)),
    "Apalone": ((50, 50),) * 7,
}


def test_every_kind_shipped_hatches_by_its_anchors_from_26_to_32_c():
    with KINDS.open(encoding="utf-8") as rows:
        names = [row["scientific name"] for row in csv.DictReader(rows)]
    looked_at = 0
    for name in names:
        pattern, genus = pattern_of(name), name.split()[0]
        for degrees, limits in zip(range(26, 33), AT_26_TO_32_C.get(genus, (None,) * 7), strict=True):
            share = female_share(pattern, degrees)
            if limits is None:
                # Mud turtles: one form hatches males when cool, the other females at both ends; nothing is told.
                assert (genus, share) == ("Kinosternon", None)
                continue
            low, high = limits
            assert low - 1e-9 <= 100 * share.expected <= high + 1e-9, (name, degrees)
            looked_at += 1
    assert looked_at > 100


@pytest.mark.parametrize("genus", [genus for genus, pattern in PATTERNS.items() if pattern.has_curve])
def test_warmer_never_gives_fewer_females_on_the_warm_side(genus):
    pattern = PATTERNS[genus]
    shares = [female_share(pattern, degrees) for degrees in np.arange(25, 33.01, 0.25)]
    for share in shares:
        assert 0 <= share.low <= share.expected <= share.high <= 1
    expected = [share.expected for share in shares]
    assert expected == sorted(expected)


@pytest.mark.parametrize("genus", [genus for genus, pattern in PATTERNS.items() if pattern.has_curve])
@pytest.mark.parametrize("wanted", [0.2, 0.5, 0.9, 0.97])
def test_temperature_and_share_undo_each_other(genus, wanted):
    pattern = PATTERNS[genus]
    warmth = temperature_for(pattern, wanted)
    assert female_share(pattern, warmth.expected).expected == pytest.approx(wanted, abs=1e-6)
    # The warmest of the curves is safe for all of them, the coolest for one only.
    assert female_share(pattern, warmth.high).low >= wanted - 1e-6
    assert female_share(pattern, warmth.low).high >= wanted - 1e-6


def test_88_f_is_what_slider_females_take():
    # 31 C is 87.8 F: all female by the anchors.
    warmth = temperature_for(SLIDER, 0.97)
    assert 30.5 < warmth.expected < 31.1
    # All or none is not reached: 99 and 1 % are taken for them.
    assert temperature_for(SLIDER, 1.0) == temperature_for(SLIDER, 0.99)
    assert temperature_for(SLIDER, 0.0) == temperature_for(SLIDER, 0.01)


def test_where_no_temperature_helps():
    assert temperature_for(pattern_of("Apalone mutica"), 0.9) is None
    assert temperature_for(pattern_of("Kinosternon subrubrum"), 0.9) is None
    assert female_share(pattern_of("Kinosternon subrubrum"), 28) is None
    assert female_share(pattern_of("Testudo graeca"), 28) is None


def test_fewer_females_than_a_snapper_ever_has_are_not_promised():
    # Between the pivots a few females remain; asked for none, the coolest place of the warm side is given.
    pattern = pattern_of("Chelydra serpentina")
    warmth = temperature_for(pattern, 0.0)
    assert 22 < warmth.low <= warmth.high < 27


def test_fahrenheit_given_as_celsius_is_refused():
    with pytest.raises(ValueError, match="temperature_c"):
        female_share(SLIDER, 82)
    with pytest.raises(ValueError, match="females"):
        temperature_for(SLIDER, 90)
