"""Notch schemes as tables: which scute carries which letter or number, which may be notched, how many notches.

No other file knows a scheme by its name: a scheme that a farm loads as rows works as those below do. Positions here
are from memory of the papers named, or from field protocols that follow them; a farm confirms its scheme against the
printed figure before it cuts the first notch (`confirm` says at what to look).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from stock.marks.positions import LEFT_MASK, MOST_MARGINALS, RIGHT_MASK, SIDES, bit_of, in_words, position_at

STYLES = ("letters", "left-right", "additive", "site")
BRIDGE = "lies on the bridge"
NOT_THERE = "is not there in kinds with {marginals} marginals a side"
MOST_USABLE = 24


@dataclass(frozen=True)
class ScutePosition:
    """
    One row of a scheme.

    Parameters
    ----------
    position : str
        The place on the rim, such as "R2".
    symbol : str
        What stands for it in a code: a letter, or a number as text; "" for a closed scute that has none.
    usable : bool
        Whether the scheme notches it.
    reason : str
        Why not, to follow "left marginal 5 ...".
    """

    position: str
    symbol: str
    usable: bool = True
    reason: str = ""


@dataclass(frozen=True)
class Scheme:
    """
    A notch scheme.

    Parameters
    ----------
    key, title, source : str
        Its id in the register, its name, and where it was published.
    style : str
        How a code is written: ``letters`` in scheme order; ``left-right`` numbers ("10-2,11"); ``additive``, the sum
        of the scutes' values; ``site``, left-right numbers whose left side names the place of marking.
    rows : tuple of ScutePosition
        In scheme order, which is also the order in which codes are given out.
    marginals : int
        Marginal scutes a side.
    least_left, most_left, least_right, most_right : int
        How many notches each side may have.
    confirm : str
        What the farm looks at in the printed figure before it uses the scheme.

    Raises
    ------
    ValueError
        If a scute or symbol comes twice, nothing may be notched, a value of an additive scheme is not a digit followed
        by zeros, or the style is not known.
    """

    key: str
    title: str
    source: str
    style: str
    rows: tuple[ScutePosition, ...]
    marginals: int = 12
    least_left: int = 0
    most_left: int = MOST_MARGINALS
    least_right: int = 0
    most_right: int = MOST_MARGINALS
    confirm: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "rows", tuple(self.rows))
        if self.style not in STYLES:
            raise ValueError(f"style: {self.style!r} is not known; choose one of {', '.join(STYLES)}.")
        bits = [bit_of(row.position) for row in self.rows]
        if len(set(bits)) != len(bits):
            raise ValueError(f"{self.title}: a scute has two rows; each may have one.")
        # Numbers may come on both sides in left-right codes, where the side is written.
        symbols = [
            (row.symbol, row.position[0].upper() if self.is_two_sided else "")
            for row in self.rows
            if row.symbol
        ]
        if len(set(symbols)) != len(symbols):
            raise ValueError(f"{self.title}: two scutes have the same symbol; a code could be read two ways.")
        if not 0 < len(self.bits) <= MOST_USABLE:
            raise ValueError(
                f"{self.title}: {len(self.bits)} scutes may be notched; a scheme needs 1 to {MOST_USABLE} of them."
            )
        for row in self.rows:
            _check_symbol(self, row)

    @property
    def is_two_sided(self) -> bool:
        """Whether its codes write the left side apart from the right."""
        return self.style in ("left-right", "site")

    @cached_property
    def bits(self) -> tuple[int, ...]:
        """The bits of the scutes that may be notched, in scheme order."""
        return tuple(bit_of(row.position) for row in self.rows if row.usable)

    @cached_property
    def usable_mask(self) -> int:
        """The scutes that may be notched, as a mask."""
        return sum(1 << bit for bit in self.bits)

    @cached_property
    def row_at(self) -> dict[int, ScutePosition]:
        """The rows by bit, closed scutes too."""
        return {bit_of(row.position): row for row in self.rows}

    @cached_property
    def bit_by_symbol(self) -> dict[str, int]:
        """The bits by symbol, closed scutes too; in two-sided schemes the symbol is led by its side."""
        return {
            (row.position[0].upper() if self.is_two_sided else "") + row.symbol: bit
            for bit, row in self.row_at.items()
            if row.symbol
        }

    @cached_property
    def value_at(self) -> dict[int, int]:
        """The values by bit in an additive scheme."""
        return {bit: int(row.symbol) for bit, row in self.row_at.items() if row.symbol}

    @cached_property
    def digit_masks(self) -> tuple[tuple[int | None, ...], ...]:
        """
        The notches that stand for each digit, by decade and digit, in an additive scheme.

        A digit is written with the fewest scutes of its decade that sum to it, in scheme order where two choices are
        as short; None where none do. With the values 1, 2, 4, 7 each digit takes two notches at most.
        """
        decades: list[list[int]] = [[] for _ in range(max(len(row.symbol) for row in self.rows))]
        for bit in self.bits:
            decades[len(self.row_at[bit].symbol) - 1].append(bit)
        return tuple(
            tuple(_fewest(digit * 10**power, bits, self.value_at) for digit in range(10))
            for power, bits in enumerate(decades)
        )

    def why_closed(self, bit: int) -> str:
        """Say why a scute that the scheme does not notch is not a part of it, in one sentence."""
        place = in_words([position_at(bit)]).capitalize()
        row = self.row_at.get(bit)
        if row is not None and row.reason:
            return f"{place} {row.reason} and is not part of this scheme."
        return f"{place} is not part of this scheme."

    def broken_rule(self, mask: int) -> str:
        """Say which rule on the number of notches a set of places breaks; "" where it breaks none."""
        if not mask:
            return "There is no notch; a code needs one at least."
        for side, part, least, most in (
            ("L", LEFT_MASK, self.least_left, self.most_left),
            ("R", RIGHT_MASK, self.least_right, self.most_right),
        ):
            notches = (mask & part).bit_count()
            if not least <= notches <= most:
                wanted = str(least) if least == most else f"{least} to {most}"
                return (
                    f"The {SIDES[side]} side has {notches} notch{'' if notches == 1 else 'es'}; "
                    f"this scheme wants {wanted} there."
                )
        return ""


def _check_symbol(scheme: Scheme, row: ScutePosition) -> None:
    symbol = row.symbol
    if not symbol and not row.usable:
        return
    if scheme.style == "letters":
        fits, wanted = len(symbol) == 1 and symbol.isascii() and symbol.isupper(), "one capital letter"
    elif scheme.style == "additive":
        fits = symbol.isascii() and symbol.isdigit() and symbol[0] != "0" and not symbol[1:].strip("0")
        wanted = "a digit followed by zeros, as 4 or 700"
    else:
        fits = symbol.isascii() and symbol.isdigit() and symbol[0] != "0" and len(symbol) <= 2
        wanted = "a number from 1 to 99"
    if not fits:
        raise ValueError(f"{scheme.title}: the symbol of {row.position} is {symbol!r}; it must be {wanted}.")


def _fewest(total: int, bits: list[int], value_at: Mapping[int, int]) -> int | None:
    """Return the fewest of the bits whose values sum to a total, as a mask."""
    for size in range(len(bits) + 1):
        for chosen in itertools.combinations(bits, size):
            if sum(value_at[bit] for bit in chosen) == total:
                return sum(1 << bit for bit in chosen)
    return None


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
    Nagle, Kinney, Gibbons & Congdon (2017), Herpetological Review 48:327-330, from memory. That D to G and R to U are
    the bridge: field protocol of the University of North Carolina at Greensboro's box turtle study.
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
    "LR16", "Numbers left-right", "Cagle (1939), Copeia 1939:170-173, from memory"
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
    "Values after Ernst, Hershey & Barbour (1974), Trans. Kentucky Acad. Sci. 35:27-28, from memory; the layout is a "
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
