"""Scutes that can be tapped: each a link to the same page with that scute marked, or not any more. Pure.

It works without a script: the tapped scutes stand in the address, and the page draws what the address says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import urlencode

from stock.marks import notch
from stock.marks.positions import bit_of, position_at
from stock.marks.scheme import Scheme


def tapped(typed: str, allowed: int) -> tuple[str, ...]:
    """Return the scutes an address names, "R2 L10", leaving out what is none and what may not be tapped."""
    found = []
    for one in typed.replace(",", " ").split()[:31]:
        try:
            mask = notch.mask_of([one.upper()])
        except ValueError:
            continue
        if mask & allowed:
            found.append(mask)
    whole = 0
    for mask in found:
        whole |= mask
    return notch.positions_in(whole)


def scute_links(
    page: str, name: str, chosen: Iterable[str], allowed: int, kept: Mapping[str, str]
) -> dict[str, str]:
    """
    Return the address behind each scute that can be tapped.

    Parameters
    ----------
    page : str
        Path of the page.
    name : str
        The query's name for the scutes.
    chosen : iterable of str
        Those marked now.
    allowed : int
        Mask of those that can be tapped.
    kept : mapping of str to str
        What else the address keeps.
    """
    now = set(chosen)
    links = {}
    for bit in range(allowed.bit_length()):
        if not allowed >> bit & 1:
            continue
        place = position_at(bit)
        then = sorted(now ^ {place}, key=bit_of)
        links[place] = f"{page}?{urlencode({**kept, name: ' '.join(then)})}#shell"
    return links


def code_of(scheme: Scheme, positions: Iterable[str]) -> str:
    """Return the code of tapped scutes; "" while they make none."""
    try:
        return notch.encode(scheme, positions)
    except ValueError:
        return ""
