"""Notch schemes as tables: which scute carries which letter or number, which may be notched, how many notches.

No code knows a scheme by its name: a scheme that a farm loads as rows works as those of `schemes.py` do.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from stock.marks.positions import LEFT_MASK, MOST_MARGINALS, RIGHT_MASK, SIDES, bit_of, in_words, position_at

STYLES = ("letters", "left-right", "additive", "site")
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
