"""The schemes shipped, and how to make others of their form.

Their positions were not checked against the printed figures of the papers they name: a farm confirms its scheme
against the figure before it cuts the first notch, and `Scheme.confirm` says at what to look.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import replace

from stock.marks.positions import SIDES
from stock.marks.scheme import Scheme, ScutePosition

BRIDGE = "lies on the bridge"
NOT_THERE = "is not there in kinds with {marginals} marginals a side"


def letter_scheme(
    key: str = "NA16",
    *,
    first_side: str = "R",
    marginals: int = 12,
    closed: Iterable[int] = (4, 5, 6, 7),
    title: str = "Letters round the rim",
) -> Scheme:
    """
    Make the letter scheme: A to L along one side from the front, M to X along the other from the back.

    Parameters
    ----------
    key, title : str
        Its id and name.
    first_side : str
        The side that has A: "R" or "L".
    marginals : int
        12, or 11 in musk and mud turtles: letters stay with the marginal's number counted from the front, so that L
        and M are not there.
    closed : iterable of int
        Marginals on the bridge, which are not notched.

    Raises
    ------
    ValueError
        If the side is not known or there are not 1 to 12 marginals.

    References
    ----------
    Nagle, Kinney, Gibbons & Congdon (2017), Herpetological Review 48:327-330; on which side A stands is not checked
    against the printed figure. That D to G and R to U are the bridge: field protocol of the University of North
    Carolina at Greensboro's box turtle study.
    """
    if first_side not in SIDES:
        raise ValueError(f"first_side: {first_side!r} is not a side; choose R or L.")
    if not 1 <= marginals <= 12:
        raise ValueError(f"marginals: {marginals} do not fit the letters; give 1 to 12 a side.")
    other = "L" if first_side == "R" else "R"
    round_the_rim = [(first_side, at) for at in range(1, 13)] + [(other, at) for at in range(12, 0, -1)]
    bridge = set(closed)
    return Scheme(
        key,
        title,
        "Nagle, Kinney, Gibbons & Congdon (2017), Herpetological Review 48:327-330",
        "letters",
        tuple(
            _row(f"{side}{at}", letter, at, bridge, marginals)
            for (side, at), letter in zip(round_the_rim, "ABCDEFGHIJKLMNOPQRSTUVWX", strict=True)
        ),
        marginals=marginals,
        confirm=f"The letter A stands on the {SIDES[first_side]} side, beside the nuchal scute.",
    )


def numbered_scheme(
    key: str,
    title: str,
    source: str,
    *,
    style: str = "left-right",
    closed: Iterable[int] = (4, 5, 6, 7),
    relabelled: bool = False,
    marginals: int = 12,
) -> Scheme:
    """
    Make a scheme of numbers on each side, written left-right.

    Parameters
    ----------
    key, title, source, style, marginals
        As `Scheme`.
    closed : iterable of int
        Marginals on the bridge.
    relabelled : bool
        Whether the open scutes are numbered anew without a gap; else each has its marginal's number.
    """
    bridge = set(closed)
    labels = itertools.count(1)
    symbol_at = {
        at: str(next(labels)) if relabelled and at not in bridge else str(at)
        for at in range(1, marginals + 1)
    }
    if relabelled:  # the number of a closed scute belongs to another
        symbol_at |= dict.fromkeys(bridge, "")
    rows = [
        _row(f"{side}{at}", symbol, at, bridge, marginals)
        for side in ("R", "L")
        for at, symbol in symbol_at.items()
    ]
    return Scheme(
        key,
        title,
        source,
        style,
        tuple(rows),
        marginals=marginals,
        confirm=f"Marginals {', '.join(map(str, sorted(bridge)))} of each side are not notched.",
    )


def additive_scheme(key: str, title: str, source: str, layout: Mapping[str, int]) -> Scheme:
    """
    Make a scheme whose code is the sum of the notched scutes' values.

    Parameters
    ----------
    key, title, source : str
        As `Scheme`.
    layout : mapping of str to int
        The value of each scute that may be notched, by place, in scheme order.
    """
    rows = tuple(ScutePosition(position, str(value)) for position, value in layout.items())
    return Scheme(
        key,
        title,
        source,
        "additive",
        rows,
        confirm="Each scute of the drawing carries the value that the printed figure gives it.",
    )


def for_eleven(scheme: Scheme) -> Scheme:
    """
    Return a scheme as it stands on kinds with 11 marginals a side: marginal 12 is not there.

    A scheme of its own, because the same code may not stand for two sets of scutes.
    """
    reason = NOT_THERE.format(marginals=11)
    rows = tuple(
        replace(row, usable=False, reason=reason) if row.position[1:] == "12" else row for row in scheme.rows
    )
    return replace(
        scheme, key=f"{scheme.key}-11", title=f"{scheme.title}, 11 marginals", rows=rows, marginals=11
    )


def _row(position: str, symbol: str, at: int, bridge: set[int], marginals: int) -> ScutePosition:
    if at > marginals:
        return ScutePosition(position, symbol, False, NOT_THERE.format(marginals=marginals))
    return ScutePosition(position, symbol, at not in bridge, BRIDGE if at in bridge else "")


LETTER_SCHEME = letter_scheme()
LETTER_SCHEME_11 = for_eleven(LETTER_SCHEME)
LEFT_RIGHT_SCHEME = numbered_scheme(
    "LR16", "Numbers left-right", "Cagle (1939), Copeia 1939:170-173; not checked against the printed figure"
)
RELABELLED_SCHEME = numbered_scheme(
    "LR18",
    "Numbers 1 to 9 left-right",
    "British Columbia species at risk, turtle field protocol: marking",
    closed=(4, 5, 6),
    relabelled=True,
)
ADDITIVE_SCHEME = additive_scheme(
    "SUM16",
    "Sum of values 1, 2, 4, 7",
    "Values after Ernst, Hershey & Barbour (1974), Trans. Kentucky Acad. Sci. 35:27-28; the layout is a "
    "sample of our own and waits for the printed figure",
    {
        position: value * 10**decade
        for decade, places in enumerate(
            (
                ("R1", "R2", "R3", "R8"),
                ("R9", "R10", "R11", "R12"),
                ("L12", "L11", "L10", "L9"),
                ("L8", "L3", "L2", "L1"),
            )
        )
        for position, value in zip(places, (1, 2, 4, 7), strict=True)
    },
)
SITE_SCHEME = replace(
    numbered_scheme(
        "SITE18",
        "Site and individual",
        "British Columbia species at risk, turtle field protocol: marking",
        style="site",
        closed=(4, 5, 6),
        relabelled=True,
    ),
    least_left=1,
    most_left=1,
    least_right=1,
    most_right=3,
    confirm="The left notch names the pond of marking, which need not be the pond the turtle is in today.",
)
SCHEMES = {
    scheme.key: scheme
    for scheme in (
        LETTER_SCHEME,
        LETTER_SCHEME_11,
        LEFT_RIGHT_SCHEME,
        RELABELLED_SCHEME,
        ADDITIVE_SCHEME,
        SITE_SCHEME,
    )
}
