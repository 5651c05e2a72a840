"""How kinds live and grow up: survival of the young and years to breeding size, published where there is any."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

Triple = tuple[float, float, float]
"""Low (5 % point), expected and high (95 % point)."""

RAISED: Triple = (0.75, 0.90, 0.97)
RAISED_SOURCE = (
    "Assumption: hatchlings raised indoors through their first winter (common practice, no source). Wild "
    "sliders: 10.5 % from egg to pond (Frazer, Gibbons & Greene 1990)."
)
GROWN: Triple = (0.77, 0.90, 0.97)
GROWN_SOURCE = "Assumption for adults in fenced ponds; wild sliders 77.4 to 84.4 % (Frazer et al. 1991)."

_DATABASE = "Myhrvold et al. 2015, Ecology 96:3109, rounded up to whole years"
_CARRIED = "slider's, carried over: assumption"


@dataclass(frozen=True)
class LifeStages:
    """
    What the stage model of a kind needs beyond the survival of adults.

    Parameters
    ----------
    first_year : Triple
        Share of hatchlings kept back that live to be one year old.
    juvenile : Triple
        Share of juveniles that live through a year.
    female_years, male_years : int
        Years from hatching to breeding size.
    first_year_source, juvenile_source, years_source : str
    """

    first_year: Triple
    juvenile: Triple
    female_years: int
    male_years: int
    first_year_source: str
    juvenile_source: str
    years_source: str


_SLIDER = LifeStages(
    first_year=RAISED,
    juvenile=(0.539, 0.70, 0.829),
    female_years=8,
    male_years=4,
    first_year_source=RAISED_SOURCE,
    juvenile_source=(
        "Wild sliders of 1 to 3 years, South Carolina: 53.9 to 82.9 % (Frazer, Gibbons & Greene 1990); expected "
        "between. Young in a fenced pond should do better: type your own."
    ),
    years_source=(
        f"{_DATABASE}. Well-fed pond females may take 3 to 5 years (common practice, no source): type your own."
    ),
)


def _years(females: int, males: int, note: str = "") -> LifeStages:
    return replace(
        _SLIDER,
        female_years=females,
        male_years=males,
        juvenile_source=f"Wild sliders of 1 to 3 years (Frazer, Gibbons & Greene 1990); {_CARRIED}.",
        years_source=f"{_DATABASE}{note}.",
    )


_PAINTED = replace(
    _years(7, 5),
    juvenile=(0.21, 0.45, 0.51),
    juvenile_source=(
        "Wild painted turtles, Michigan: 21 to 51 % (Frazer et al. 1991, Am. Midl. Nat. 125:245); 45 % (Ernst & Lovich "
        "2009)."
    ),
)
_SNAPPER = replace(
    _years(9, 6),
    juvenile=(0.65, 0.77, 0.87),
    juvenile_source="Snappers of 2 to 12 years, Michigan: about 77 % (Congdon et al. 1994); range an assumption.",
)
_ALLIGATOR_SNAPPER = replace(
    _years(11, 11),
    juvenile=(0.70, 0.81, 0.90),
    juvenile_source="Alligator snappers, Suwannee: 81 % (Thomas et al. 2022); range an assumption.",
)

STAGES: Mapping[str, LifeStages] = MappingProxyType(
    {
        "Trachemys": _SLIDER,
        "Pseudemys": _years(7, 4),
        "Pseudemys floridana": _years(7, 3),
        "Pseudemys peninsularis": _years(7, 3, ", coastal plain cooter's carried over"),
        "Pseudemys nelsoni": _years(8, 6),
        "Graptemys": _years(8, 5),
        "Graptemys ouachitensis": _years(7, 4),
        "Graptemys oculifera": _years(9, 5, "; females 10 to 16 years in Mississippi (Jones & Selman 2009)"),
        "Graptemys flavimaculata": _years(9, 5),
        "Graptemys nigrinoda": _years(9, 5),
        "Graptemys pulchra": _years(14, 8),
        "Graptemys gibbonsi": _years(14, 8),
        "Graptemys pearlensis": _years(14, 8, ", Pascagoula map turtle's carried over"),
        "Chrysemys": _PAINTED,
        "Chelydra": _SNAPPER,
        "Macrochelys": _ALLIGATOR_SNAPPER,
        "Apalone": _years(9, 9),
        "Apalone mutica": _years(7, 7, "; no figure for males, the females' carried over"),
        "Apalone ferox": _years(9, 9, ", spiny softshell's carried over"),
        "Kinosternon": _years(5, 4),
        "Sternotherus": _years(6, 4),
        "Sternotherus carinatus": _years(6, 6),
    }
)
"""By scientific name, or its first word."""

UNKNOWN = replace(
    _SLIDER,
    juvenile_source=f"No figure at hand for this kind; {_CARRIED}.",
    years_source=f"No figure at hand for this kind; {_CARRIED}.",
)


def stages_of(scientific_name: str) -> LifeStages:
    """Return the stages of a kind by its scientific name: of the species, else of the genus, else the slider's.

    >>> stages_of("Graptemys pulchra").female_years, stages_of("Trachemys scripta elegans").male_years
    (14, 4)
    """
    words = scientific_name.split()
    for name in (" ".join(words[:2]), *words[:1]):
        if name.capitalize() in STAGES:
            return STAGES[name.capitalize()]
    return UNKNOWN
