"""Which rims can be notched: marginal scutes by genus, and what to heed before the file is put to the shell.

Genera and counts are from field protocols and keys named in each row; where a row says "common practice" no source
was found. A kind that is not listed is not refused: its marginals are to be counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stock.marks.positions import in_words, mask_of, position_at
from stock.marks.scheme import Scheme

TOOTHED = "The rear rim is toothed by nature: take a photograph with each mark."
NOT_CONFIRMED = "Which scutes lie on the bridge is not confirmed for this kind: look before you notch."


@dataclass(frozen=True)
class Rim:
    """
    The rim of a group of kinds.

    Parameters
    ----------
    group : str
        The group in words.
    genera : tuple of str
        Its genera, older names too.
    marginals : int
        Marginal scutes a side; 0 where the rim is skin.
    source : str
        Where the count is from.
    notes : tuple of str
        What to heed.
    """

    group: str
    genera: tuple[str, ...]
    marginals: int
    source: str
    notes: tuple[str, ...] = ()


RIMS = (
    Rim(
        "sliders, painted turtles and terrapins",
        ("Trachemys", "Chrysemys", "Malaclemys"),
        12,
        "British Columbia species at risk, turtle field protocol: marking",
    ),
    Rim("cooters", ("Pseudemys",), 12, "As sliders", (f"Young animals: {TOOTHED[0].lower()}{TOOTHED[1:]}",)),
    Rim("map turtles", ("Graptemys",), 12, "As sliders", (TOOTHED,)),
    Rim(
        "snapping turtles",
        ("Chelydra",),
        12,
        "Common practice, no source",
        ("The rear rim is strongly toothed: drill a hole or file a deep square, not a V.",),
    ),
    Rim(
        "alligator snapping turtles",
        ("Macrochelys", "Macroclemys"),
        12,
        "Common practice, no source",
        (
            "The rear rim is strongly toothed: drill a hole or file a deep square, not a V.",
            "The extra row above the marginals (supramarginals) is never counted.",
        ),
    ),
    Rim(
        "musk and mud turtles",
        ("Sternotherus", "Kinosternon"),
        11,
        "Turtles of the World, Linnaeus Naturalis, genera Sternotherus and Kinosternon",
        (NOT_CONFIRMED,),
    ),
    Rim(
        "softshells",
        ("Apalone", "Trionyx", "Pelodiscus", "Amyda", "Rafetus"),
        0,
        "Common practice, no source",
    ),
)


def rim_of(scientific_name: str) -> Rim | None:
    """Return the rim of a kind by its genus, the first word of its scientific name; None where it is not listed."""
    genus = scientific_name.strip().partition(" ")[0].capitalize()
    return next((rim for rim in RIMS if genus in rim.genera), None)


def check_rim(
    scheme: Scheme,
    scientific_name: str,
    positions: Iterable[str] = (),
    *,
    left: int | None = None,
    right: int | None = None,
) -> tuple[str, ...]:
    """
    Ask whether an animal of a kind may be marked with these notches.

    Parameters
    ----------
    scheme : Scheme
        The scheme.
    scientific_name : str
        The kind, genus first.
    positions : iterable of str
        The scutes to be notched.
    left, right : int, optional
        Marginals counted on the animal in hand, where somebody counted.

    Returns
    -------
    tuple of str
        What to heed, in sentences.

    Raises
    ------
    ValueError
        If the kind has no marginal scutes, a position is not there in the kind or the scheme, or a count cannot be.
    """
    name, rim = scientific_name.strip() or "this kind", rim_of(scientific_name)
    mask = mask_of(positions)
    if rim is not None and not rim.marginals:
        raise ValueError(
            f"{name} is a softshell: its rim is skin without scutes and takes no notch. Use a tag."
        )
    marginals = scheme.marginals if rim is None else rim.marginals
    for bit in range(mask.bit_length()):
        place = position_at(bit)
        if not mask >> bit & 1:
            continue
        if int(place[1:]) > marginals:
            raise ValueError(
                f"{in_words([place]).capitalize()} is not there in {name}, which has {marginals} marginals a side."
            )
        if not scheme.usable_mask >> bit & 1:
            raise ValueError(scheme.why_closed(bit))
    notes = list(rim.notes) if rim else [f"The rim of {name} is not known here: count its marginals first."]
    if rim is not None and scheme.marginals != marginals:
        notes.append(
            f"{scheme.title} is drawn for {scheme.marginals} marginals a side; {name} has {marginals}: "
            "use the scheme made for them, so that no code means two things."
        )
    for side, counted in (("left", left), ("right", right)):
        if counted is None:
            continue
        if isinstance(counted, bool) or not isinstance(counted, int) or not 0 < counted <= 20:
            raise ValueError(
                f"{counted!r} is no count of {side} marginals; give a whole number, 12 or near it."
            )
        if counted != marginals:
            notes.append(
                f"The {side} side has {counted} marginals instead of {marginals}: photograph it and count from the "
                "front; positions behind the scute too many or too few are ambiguous."
            )
    return tuple(notes)


def not_there(scheme: Scheme, scientific_name: str) -> tuple[str, ...]:
    """
    Return the scutes of a scheme that a kind does not have, to be given to `next_free` as unusable.

    Raises
    ------
    ValueError
        If the kind has no marginal scutes.
    """
    check_rim(scheme, scientific_name)
    rim = rim_of(scientific_name)
    places = (position_at(bit) for bit in scheme.bits)
    return tuple(place for place in places if rim is not None and int(place[1:]) > rim.marginals)
