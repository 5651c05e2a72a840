"""Laying curves by kind, from published nesting dates."""

from collections.abc import Mapping
from types import MappingProxyType

from stock.advisor.laying_curve import LayingCurve

_TABLE = "nesting table of Krueger & Janzen, after Ernst & Lovich 2009"
_SHAPE = "shape within the dates an assumption"


def _curve(
    opens: tuple[int, int], peak: tuple[int, int], closes: tuple[int, int], steepness: float, source: str
) -> LayingCurve:
    return LayingCurve(opens, peak, closes, steepness, source)


_SLIDER = _curve(
    (4, 10), (5, 12), (7, 31), 5.0,
    "Aresco 2004, J. Herpetol. 38:249: north-west Florida, mid-April to mid-July, peak in May with 55 % of nests; "
    f"stragglers later; {_SHAPE}, set to about that share in May",
)  # fmt: skip
_PANHANDLE_COOTER = _curve(
    (4, 10), (5, 12), (8, 5), 3.2,
    f"Aresco 2004, J. Herpetol. 38:249: same season as sliders, 47 % of nests in May; {_SHAPE}, set to that share",
)  # fmt: skip
_MAP = _curve((5, 1), (6, 5), (7, 31), 3.0, f"May to July ({_TABLE}); peak and {_SHAPE}")
_RINGED_MAP = _curve(
    (5, 10),
    (6, 15),
    (7, 20),
    3.0,
    f"Jones 2006: Mississippi, mid-May to mid-July, peak in mid-June; {_SHAPE}",
)
_PAINTED = _curve((5, 20), (6, 15), (7, 31), 3.0, f"20 May to 31 July ({_TABLE}); peak and {_SHAPE}")


def _like(curve: LayingCurve, whose: str) -> LayingCurve:
    return LayingCurve(
        curve.opens,
        curve.peak,
        curve.closes,
        curve.steepness,
        f"{whose} curve carried over: assumption; {curve.source}",
    )


CURVES: Mapping[str, LayingCurve] = MappingProxyType(
    {
        "red-eared-slider": _SLIDER,
        "river-cooter": _curve(
            (3, 20), (5, 10), (8, 5), 3.0,
            f"20 March to July or August ({_TABLE}); Jackson & Walker 1997: late March to early August; "
            f"peak and {_SHAPE}",
        ),
        "coastal-plain-cooter": _PANHANDLE_COOTER,
        "peninsula-cooter": _curve(
            (9, 25), (2, 10), (6, 30), 1.0,
            f"late September to June in peninsular Florida ({_TABLE}); peak and {_SHAPE}"
        ),
        "florida-red-bellied-cooter": _like(_PANHANDLE_COOTER, "coastal plain cooter's"),
        "mississippi-map": _MAP,
        "false-map": _MAP,
        "ouachita-map": _MAP,
        "ringed-map": _RINGED_MAP,
        "yellow-blotched-map": _like(_RINGED_MAP, "ringed map turtle's"),
        "black-knobbed-map": _like(_RINGED_MAP, "ringed map turtle's"),
        "alabama-map": _MAP,
        "pascagoula-map": _MAP,
        "pearl-river-map": _MAP,
        "painted-turtle": _like(_PAINTED, "southern painted turtle's"),
        "southern-painted-turtle": _PAINTED,
        "common-snapper": _curve(
            (4, 20), (5, 12), (5, 31), 3.0,
            f"20 April to 31 May; north Louisiana in May (Ewert, Lang & Nelson 2005, in the {_TABLE}); "
            f"peak and {_SHAPE}",
        ),
        "alligator-snapper": _curve(
            (4, 20), (5, 15), (6, 30), 3.0, f"20 April to 30 June ({_TABLE}); peak and {_SHAPE}"
        ),
        "spiny-softshell": _curve((5, 1), (6, 5), (7, 31), 3.0, f"May to July ({_TABLE}); peak and {_SHAPE}"),
        "smooth-softshell": _curve((5, 1), (6, 5), (7, 31), 3.0, f"Moler 2006: May to July; peak and {_SHAPE}"),
        "florida-softshell": _curve(
            (3, 25), (5, 20), (8, 5), 3.0, f"Iverson & Moler 1997: late March to early August; peak and {_SHAPE}"
        ),
        "eastern-mud-turtle": _curve(
            (9, 1), (4, 15), (8, 31), 1.0,
            f"practically all year ({_TABLE}); in Louisiana also in November and March (Anderson & Horne 2009); "
            f"peak and {_SHAPE}",
        ),
        "common-musk-turtle": _curve((3, 1), (5, 10), (7, 31), 3.0, f"March to July ({_TABLE}); peak and {_SHAPE}"),
        "razorback-musk-turtle": _curve(
            (5, 1), (6, 1), (7, 10), 3.0, f"May to 10 July ({_TABLE}); peak and {_SHAPE}"
        ),
    }
)  # fmt: skip
"""Laying curve by code of kind, Gulf South."""
