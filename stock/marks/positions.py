"""Places on the rim of a shell: "R2" is the second marginal scute of the animal's own right side.

Left and right are the animal's, seen from above with its head up. Marginal 1 is next to the nuchal scute over the
neck; the last meets its partner above the tail. A set of places is also one whole number, a bit for each, which is
what searches compare and what a database can hold: R1 is bit 0, L1 is bit 16, whatever the scheme.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

MOST_MARGINALS = 15  # a few animals have a scute more than their kind; all masks stay below 2**31
LEFT_BIT = 16
RIGHT_MASK = (1 << MOST_MARGINALS) - 1
LEFT_MASK = RIGHT_MASK << LEFT_BIT
SIDES = {"R": "right", "L": "left"}
_PLACE = re.compile(r"([LR])\s*(\d{1,3})", re.ASCII)


def split_position(position: str) -> tuple[str, int]:
    """
    Return side ("L" or "R") and marginal number of a place such as "R2".

    Raises
    ------
    ValueError
        If it is not such a place; the message says what one looks like.
    """
    found = _PLACE.fullmatch(position.strip().upper()) if isinstance(position, str) else None
    if found is None:
        raise ValueError(
            f"{position!r} is not a place on the rim; write the side and the marginal, as R2 or L11."
        )
    side, marginal = found[1], int(found[2])
    if marginal == 0:
        raise ValueError("Number 0 is the nuchal scute over the neck; it is never notched.")
    if marginal > MOST_MARGINALS:
        raise ValueError(
            f"There is no {SIDES[side]} marginal {marginal}; a side has 12, or 11 in some kinds."
        )
    return side, marginal


def bit_of(position: str) -> int:
    """
    Return the bit (0 to 30) that stands for a place.

    Raises
    ------
    ValueError
        As `split_position`.
    """
    side, marginal = split_position(position)
    return marginal - 1 + (LEFT_BIT if side == "L" else 0)


def position_at(bit: int) -> str:
    """Return the place that a bit stands for.

    >>> position_at(1), position_at(26)
    ('R2', 'L11')
    """
    return f"L{bit - LEFT_BIT + 1}" if bit >= LEFT_BIT else f"R{bit + 1}"


def mask_of(positions: Iterable[str]) -> int:
    """
    Return the places as one whole number, below 2**31; the same places give the same number in any order.

    Raises
    ------
    ValueError
        If one is not a place on the rim, or stands there twice.
    """
    mask = 0
    for position in positions:
        bit = 1 << bit_of(position)
        if mask & bit:
            raise ValueError(f"{in_words([position]).capitalize()} is given twice; a scute is notched once.")
        mask |= bit
    return mask


def positions_in(mask: int) -> tuple[str, ...]:
    """
    Return the places of a mask, right side first, each side from the front.

    Raises
    ------
    ValueError
        If the number holds a bit that is no place on the rim.
    """
    if isinstance(mask, bool) or not isinstance(mask, int) or mask < 0 or mask & ~(RIGHT_MASK | LEFT_MASK):
        raise ValueError(f"{mask!r} is not a set of places on the rim of a shell.")
    return tuple(position_at(bit) for bit in range(mask.bit_length()) if mask >> bit & 1)


def mirror_mask(mask: int) -> int:
    """Return the same places with left and right changed over."""
    return (mask & RIGHT_MASK) << LEFT_BIT | (mask & LEFT_MASK) >> LEFT_BIT


def parse_positions(text: str) -> tuple[str, ...]:
    """
    Read places typed in a row: "R2 R11 L10", "r2,r11,l10" or "R2R11L10".

    Returns
    -------
    tuple of str
        The places, right side first, each side from the front.

    Raises
    ------
    ValueError
        If there are none, if one comes twice, or if something else stands between them.
    """
    typed = text.strip().upper()
    if not typed or re.sub(r"[\s,;+]", "", _PLACE.sub("", typed)):
        raise ValueError(f"{text!r} is not a row of places on the rim; write them as R2 R11 L10.")
    return positions_in(mask_of(f"{side}{marginal}" for side, marginal in _PLACE.findall(typed)))


def in_words(positions: Iterable[str]) -> str:
    """
    Say places as words, for a message or a screen reader.

    >>> in_words(["R2", "L10", "R11"])
    'right marginals 2 and 11, left marginal 10'
    >>> in_words([])
    'no marginal'

    Raises
    ------
    ValueError
        If one is not a place on the rim.
    """
    split = [split_position(position) for position in positions]
    told = []
    for letter, side in SIDES.items():
        numbers = sorted({marginal for at, marginal in split if at == letter})
        if numbers:
            told.append(f"{side} marginal{'s' if len(numbers) > 1 else ''} {listed(map(str, numbers))}")
    return ", ".join(told) or "no marginal"


def listed(words: Iterable[str], last: str = "and") -> str:
    """Join words as a sentence does.

    >>> listed(["2", "3", "11"])
    '2, 3 and 11'
    """
    *before, end = list(words) or ["none"]
    return f"{', '.join(before)} {last} {end}" if before else end
