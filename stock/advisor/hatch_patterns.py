"""Which sex hatches at which temperature, kind by kind: published anchors, a curve for each, and how far it errs."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize

from stock.advisor.hatch_sex import COLDEST_C, WARMEST_C, male_share
from stock.estimators.estimate import check_number

Floats = NDArray[np.float64]

COOL_MALES = "males when cool, females when warm"
BOTH_ENDS = "females at both ends, males between"
GENETIC = "sex is genetic"
NOT_KNOWN = "not known"

TOO_WARM_C = 32.5
"""Above about 32 to 33 C fewer eggs hatch (common practice, no source)."""

ROOM_ERROR_C = 2.0
"""Air may differ from the nest material by about so much (J. Exp. Biol. 2018, jeb188698)."""

CLUTCHES_SPREAD_C = 0.5
"""Clutches differ in sex as much as about so many degrees do."""

CLUTCHES_AT_C = 29.4
"""At which 19 slider clutches gave 0 to 100 % males (Wibbels & Murdock)."""

_LOWEST_C, _HIGHEST_C = 20.0, 34.0
_MOST_SURE = 0.99


@dataclass(frozen=True)
class Curve:
    """A logistic change between the sexes: its pivot (C), and how steep it is on the logit scale, a degree C."""

    pivot: float
    steepness: float


@dataclass(frozen=True)
class Pattern:
    """
    How sex follows temperature in a kind.

    Parameters
    ----------
    name : str
        "males when cool, females when warm", "females at both ends, males between", "sex is genetic" or
        "not known".
    curves : tuple of Curve
        From males to females as it gets warmer: expected, and two that bound it. Empty where sex is genetic
        or not known.
    cool : tuple of Curve
        From females to males at the cool end, as many as ``curves``; empty where there is none, or none known.
    source : str
    note : str
        What a keeper of the kind must know; "" where nothing.
    """

    name: str
    curves: tuple[Curve, ...]
    cool: tuple[Curve, ...]
    source: str
    note: str = ""

    @property
    def has_curve(self) -> bool:
        return bool(self.curves)


@dataclass(frozen=True)
class Share:
    """A share of females, 0 to 1: expected, and the least and most that the bounding curves give."""

    low: float
    expected: float
    high: float


@dataclass(frozen=True)
class Warmth:
    """Degrees C that give a wanted share of females: expected, and from the mildest to the safest curve."""

    low: float
    expected: float
    high: float


def _curves(*pairs: tuple[float, float]) -> tuple[Curve, ...]:
    return tuple(Curve(*pair) for pair in pairs)


_SLIDER = Pattern(
    COOL_MALES,
    _curves((29.3, 2.4), (29.4, 3.0), (28.9, 1.8)),
    (),
    "Slider: 26.6 °C all male, 31 °C all female, 29.2 °C one to one; 28.6 °C few females (Sheehan et al. 1999, "
    "Environ. Health Perspect. 107:155); 29.4 °C 79 males to 78 females (Wibbels & Murdock). The curve is set by eye "
    "to these anchors: an assumption between them.",
    "An 82 °F room gives sliders that are nearly all male. Young of such a room are planned as male until sexed; "
    "females take about 88 °F.",
)
_COOTER = Pattern(
    COOL_MALES,
    _curves((28.4, 2.4), (28.6, 3.0), (28.0, 1.8)),
    (),
    "Suwannee cooter: pivot 28.4 °C (Jackson & Walker 1997); steepness the slider's, an assumption. Other cooters "
    "carried over.",
    "At 82 °F mixed, mostly male.",
)
_MAP = Pattern(
    COOL_MALES,
    _curves((29.5, 2.4), (30.0, 3.0), (29.0, 1.8)),
    (),
    "Cagle's map turtle: pivot about 30.0 °C, other map turtles 0.5 to 1.0 lower; steepness the slider's, an "
    "assumption.",
    "At 82 °F mostly male.",
)
_PAINTED = Pattern(
    COOL_MALES,
    _curves((27.5, 2.4), (27.8, 3.0), (27.2, 1.8)),
    (),
    "Painted turtle: pivot 27.5 °C in the north, all male at 22 to 26, all female from 30 (Schwarzkopf & Brooks "
    "1985); both at 28 (Etchberger 1992); steepness the slider's, an assumption.",
    "At 82 °F mixed: more females than in sliders.",
)
_SNAPPER = Pattern(
    BOTH_ENDS,
    _curves((27.4, 3.0), (27.7, 4.0), (27.0, 2.0)),
    _curves((21.1, 3.0), (20.8, 4.0), (21.4, 2.0)),
    "Common snapper: males at 23 to 27 °C, all female at 30.5; at 27.5 166 females to 116 males over 30 northern "
    "clutches, at 21.5 76 % male (O'Steen 1998, J. Exp. Biol. 201:439). The curve is set by eye to these anchors.",
    "Snappers give females when warm and when cold, males between. The southern pivot is not published: sex your own.",
)
_WARM_FEMALES = Pattern(
    BOTH_ENDS,
    _curves((26.5, 2.0), (27.5, 3.0), (25.0, 1.5)),
    (),
    "Females at both ends, upper pivot about 25 to 28 °C (pattern: reptile incubation tables of Krueger & Janzen, "
    "ROSIE); curve and pivot an assumption.",
    "At 82 °F mostly female. Cold rooms give females again; from which temperature down is not known here.",
)
_MUD = Pattern(
    NOT_KNOWN,
    (),
    (),
    "Mud turtle: the eastern form gives males when cool, the Gulf form females at both ends (ROSIE, Krueger & Janzen).",
    "Which form stands here decides: sex your own hatchlings.",
)
_SOFTSHELL = Pattern(
    GENETIC,
    (),
    (),
    "Softshells: sex is genetic (ZW; ROSIE, Krueger & Janzen).",
    "Half hatch female at any temperature: keep twice as many as the females wanted.",
)
UNKNOWN = Pattern(NOT_KNOWN, (), (), "No figure at hand for this kind.", "Sex your own hatchlings.")

PATTERNS: Mapping[str, Pattern] = MappingProxyType(
    {
        "Trachemys": _SLIDER,
        "Pseudemys": _COOTER,
        "Graptemys": _MAP,
        "Chrysemys": _PAINTED,
        "Chelydra": _SNAPPER,
        "Macrochelys": _WARM_FEMALES,
        "Sternotherus": _WARM_FEMALES,
        "Kinosternon": _MUD,
        "Apalone": _SOFTSHELL,
        "Pelodiscus": _SOFTSHELL,
    }
)
"""By the first word of the scientific name."""


def pattern_of(scientific_name: str) -> Pattern:
    """Return how sex follows temperature in a kind, by the genus of its scientific name.

    >>> pattern_of("Trachemys scripta elegans").name
    'males when cool, females when warm'
    >>> pattern_of("").name
    'not known'
    """
    return PATTERNS.get((scientific_name.split() or [""])[0].capitalize(), UNKNOWN)


def _females(pattern: Pattern, which: int, temperature_c: ArrayLike) -> Floats:
    curve = pattern.curves[which]
    males = male_share(temperature_c, pivotal=curve.pivot, slope=-curve.steepness)
    if pattern.cool:
        cool = pattern.cool[which]
        males = males * male_share(temperature_c, pivotal=cool.pivot, slope=cool.steepness)
    return 1.0 - males


def female_share(pattern: Pattern, temperature_c: float) -> Share | None:
    """
    Return the share of females expected from eggs kept at a temperature through the middle of incubation.

    Parameters
    ----------
    pattern : Pattern
    temperature_c : float
        Degrees C beside the eggs.

    Returns
    -------
    Share or None
        One half without doubt where sex is genetic; None where the pattern is not known.

    Raises
    ------
    ValueError
        If the temperature lies outside 0 to 60 C.
    """
    degrees = check_number(temperature_c, "temperature_c", low=COLDEST_C, high=WARMEST_C)
    if pattern.name == GENETIC:
        return Share(0.5, 0.5, 0.5)
    if not pattern.has_curve:
        return None
    shares = [float(_females(pattern, which, degrees)) for which in range(len(pattern.curves))]
    return Share(min(shares), shares[0], max(shares))


def temperature_for(pattern: Pattern, females: float) -> Warmth | None:
    """
    Return the temperature on the warm side that gives a wanted share of females.

    Parameters
    ----------
    pattern : Pattern
    females : float
        Share wanted, 0 to 1. A curve never quite reaches 0 or 1: 0.99 and 0.01 are taken for them.

    Returns
    -------
    Warmth or None
        None where no temperature changes the sex or the pattern is not known.

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1.
    """
    wanted = check_number(females, "females", low=0, high=1)
    if not pattern.has_curve:
        return None
    wanted = min(max(wanted, 1 - _MOST_SURE), _MOST_SURE)
    found = [_warmth(pattern, which, wanted) for which in range(len(pattern.curves))]
    return Warmth(min(found), found[0], max(found))


def _warmth(pattern: Pattern, which: int, wanted: float) -> float:
    """Return where the warm branch of one curve reaches a share; where males are fewest wanted, its coolest."""
    floor = _LOWEST_C
    if pattern.cool:
        # Between the pivots the share of females has its least; the warm branch begins there.
        floor = float(
            optimize.minimize_scalar(
                lambda degrees: float(_females(pattern, which, degrees)),
                bounds=(pattern.cool[which].pivot, pattern.curves[which].pivot),
                method="bounded",
            ).x
        )

    def beyond(degrees: float) -> float:
        return float(_females(pattern, which, degrees)) - wanted

    if beyond(floor) >= 0:
        return floor
    if beyond(_HIGHEST_C) <= 0:
        return _HIGHEST_C
    return float(optimize.brentq(beyond, floor, _HIGHEST_C, xtol=1e-9))


def is_nearly_male(share: Share | None) -> bool:
    """Whether young of a room are planned as male until sexed: at least 85 % of them are expected to be."""
    return share is not None and not math.isclose(share.expected, 0.5) and share.expected <= 0.15
