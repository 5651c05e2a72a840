"""A line of clutches as it is typed at the bank, such as "9 8 10 (1)". Imports no Django."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ponds.svg_marks import figure_text

MOST_CLUTCHES = 500
MOST_EGGS = 200
_PART = re.compile(r"\s*[,;]?\s*(?:\(\s*(\d{1,9})\s*\)|(\d{1,9}))", re.ASCII)


@dataclass(frozen=True)
class ClutchCount:
    """One nest counted by itself: its eggs, and how many of those were broken."""

    eggs: int
    broken: int = 0


def read_clutches(line: str) -> tuple[ClutchCount, ...]:
    """
    Read a line of clutches.

    Parameters
    ----------
    line : str
        The eggs of each nest, with spaces or commas between; broken ones in brackets after their nest.

    Returns
    -------
    tuple of ClutchCount
        In the order typed.

    Raises
    ------
    ValueError
        With a sentence that names what cannot be read.

    Examples
    --------
    >>> read_clutches("9 8 10 (1)")
    (ClutchCount(eggs=9, broken=0), ClutchCount(eggs=8, broken=0), ClutchCount(eggs=10, broken=1))
    """
    found: list[ClutchCount] = []
    has_broken = False
    place = 0
    text = line.strip()
    while place < len(text):
        part = _PART.match(text, place)
        if part is None or (part.end() < len(text) and text[part.end()] not in " \t\r\n,;()"):
            word = text[place:].strip(" ,;").split()
            raise ValueError(
                f"“{(word or [text])[0][:20]}” cannot be read. Write the eggs of each nest with spaces between, broken "
                "ones in brackets after their nest, such as 9 8 10 (1)."
            )
        place = part.end()
        if part[1] is None:
            found.append(_clutch(int(part[2])))
            has_broken = False
        else:
            found[-1:] = [_with_broken(found, int(part[1]), has_broken)]
            has_broken = True
    if len(found) > MOST_CLUTCHES:
        raise ValueError(
            f"{figure_text(len(found))} clutches in one line are too many; {MOST_CLUTCHES} is the most."
        )
    return tuple(found)


def clutch_line(clutches: Iterable[ClutchCount]) -> str:
    """Write clutches as they are typed.

    >>> clutch_line([ClutchCount(9), ClutchCount(10, 1)])
    '9 10 (1)'
    """
    return " ".join(f"{one.eggs} ({one.broken})" if one.broken else str(one.eggs) for one in clutches)


def _clutch(eggs: int) -> ClutchCount:
    if eggs > MOST_EGGS:
        raise ValueError(f"{figure_text(eggs)} eggs in one nest are too many; {MOST_EGGS} is the most.")
    return ClutchCount(eggs)


def _with_broken(found: list[ClutchCount], broken: int, has_broken: bool) -> ClutchCount:
    if not found or has_broken:
        raise ValueError(
            f"({broken}) stands without a nest before it. Broken eggs follow their nest, such as 10 (1)."
        )
    last = found[-1]
    if broken > last.eggs:
        raise ValueError(
            f"{figure_text(broken)} broken of {last.eggs} eggs: broken ones are part of the nest's eggs."
        )
    return ClutchCount(last.eggs, broken)
