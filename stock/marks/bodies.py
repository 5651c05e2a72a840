"""How long, wide and heavy a kind grows: the figures a typed measure is held against.

They only make the register ask, never refuse. Where no source is named, the figure is common practice in
field guides and no single source was found; bounds of shape and mass for a length are the register's own, wide
enough to let a healthy animal through.
"""

from __future__ import annotations

from dataclasses import dataclass

FEMALE, MALE = "FEMALE", "MALE"
# Through the two means of Sarnat et al. 1981 (Anatomical Record 199, no. 3), hatchling and two-year-old sliders:
# 32.47 mm 6.94 g and 75.21 mm 80.63 g. Juveniles only: for adults it may be a little high.
SLIDER_MASS, SLIDER_POWER = 2.67964e-4, 2.91984
SMALLEST_HATCHLING_MM = 15


@dataclass(frozen=True)
class Body:
    """
    What a group of kinds is like.

    Parameters
    ----------
    genera : tuple of str
        Its genera, older names too.
    mass_low, mass_high : float
        Mass in g over the cube of the straight carapace length in mm, from the leanest to the heaviest.
    width : (float, float)
        Carapace width over straight carapace length, least and most.
    plastron : (float, float)
        Plastron length over straight carapace length.
    grown : dict
        Straight carapace length in mm from which a female or a male is grown enough to be sexed by looks.
    """

    genera: tuple[str, ...]
    mass_low: float
    mass_high: float
    width: tuple[float, float]
    plastron: tuple[float, float]
    grown: dict[str, int]


_TERRAPIN = ((0.60, 1.05), (0.80, 1.00))
BODIES = (
    Body(("Trachemys",), 1.0e-4, 2.8e-4, *_TERRAPIN, {FEMALE: 165, MALE: 100}),
    Body(("Pseudemys",), 1.0e-4, 2.8e-4, *_TERRAPIN, {FEMALE: 220, MALE: 150}),
    Body(("Graptemys",), 1.0e-4, 2.8e-4, *_TERRAPIN, {FEMALE: 165, MALE: 80}),
    Body(("Malaclemys",), 1.0e-4, 2.8e-4, *_TERRAPIN, {FEMALE: 150, MALE: 95}),
    Body(("Chrysemys",), 1.0e-4, 2.8e-4, *_TERRAPIN, {FEMALE: 110, MALE: 75}),
    Body(("Sternotherus", "Kinosternon"), 1.2e-4, 3.0e-4, (0.55, 1.00), (0.65, 1.02), {FEMALE: 75, MALE: 65}),
    Body(("Chelydra",), 1.5e-4, 4.5e-4, (0.60, 1.10), (0.60, 0.85), {FEMALE: 200, MALE: 200}),
    Body(
        ("Macrochelys", "Macroclemys"), 1.5e-4, 4.5e-4, (0.60, 1.10), (0.60, 0.85), {FEMALE: 330, MALE: 370}
    ),
    Body(("Apalone", "Trionyx"), 0.6e-4, 1.8e-4, (0.60, 1.10), (0.60, 0.85), {FEMALE: 200, MALE: 100}),
)
HEIGHT = (0.20, 0.65)  # shell height over straight carapace length

# Greatest straight carapace length in mm: of either sex, or of females and males.
LONGEST = {
    "Trachemys scripta": (328, 328),  # 1070 sliders of Texas, 30 to 328 mm (Mendeley Data 8n4x87fctp)
    "Pseudemys concinna": (437, 437),
    "Pseudemys floridana": (400, 400),
    "Pseudemys peninsularis": (400, 400),
    "Pseudemys nelsoni": (380, 380),
    "Graptemys pseudogeographica": (270, 150),
    "Graptemys ouachitensis": (260, 160),
    "Chrysemys picta": (254, 254),
    "Chrysemys dorsalis": (160, 160),
    "Chelydra serpentina": (494, 494),
    "Macrochelys temminckii": (800, 800),
    "Apalone spinifera": (540, 235),
    "Apalone mutica": (356, 266),
    "Sternotherus odoratus": (150, 150),
    "Sternotherus carinatus": (176, 176),
    "Kinosternon subrubrum": (127, 127),
    "Malaclemys terrapin": (238, 140),
}
ROOM_ABOVE = 1.1  # of the longest known


def body_of(scientific_name: str) -> Body | None:
    """Return what a kind's genus is like; None where it is not listed."""
    genus = scientific_name.strip().partition(" ")[0].capitalize()
    return next((body for body in BODIES if genus in body.genera), None)


def longest(scientific_name: str, sex: str = "") -> int | None:
    """Return the greatest straight carapace length known of a species and sex, in mm; None where it is not listed."""
    species = " ".join(scientific_name.split()[:2]).capitalize()
    if species not in LONGEST:
        return None
    female, male = LONGEST[species]
    return {FEMALE: female, MALE: male}.get(sex, max(female, male))


def expected_mass(scientific_name: str, length_mm: float) -> float | None:
    """
    Return the mass in g to be expected of a length in mm.

    Sliders by the power law above; other listed kinds by the middle (geometric) of their bounds.
    """
    body = body_of(scientific_name)
    if body is None:
        return None
    if "Trachemys" in body.genera:
        return float(SLIDER_MASS * length_mm**SLIDER_POWER)
    return float((body.mass_low * body.mass_high) ** 0.5 * length_mm**3)


def mass_limits(scientific_name: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return, as shares of the expected mass, between what nothing is said and between what it is only noted."""
    body = body_of(scientific_name)
    if body is None or "Trachemys" in body.genera:
        return (0.6, 1.5), (0.4, 2.2)
    half = (body.mass_high / body.mass_low) ** 0.5
    return (1 / half, half), (1 / half / 1.5, half * 1.5)
