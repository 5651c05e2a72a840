"""Notch codes: places written as a code of their scheme and read back, and how two codes are told apart.

What a register keeps is the places and the scheme; the code is written from them. The same text means different
scutes under different schemes.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator

from stock.marks.positions import (
    LEFT_BIT,
    bit_of,
    in_words,
    listed,
    mask_of,
    mirror_mask,
    position_at,
)
from stock.marks.scheme import Scheme

LONGEST_CODE = 120
_DASH = re.compile(r"\s*[-\u2010-\u2015\u2212]\s*")
_SIDED = re.compile(r"[LR]\s*\d[\d,\s]*", re.ASCII)


def encode(scheme: Scheme, positions: Iterable[str]) -> str:
    """
    Write notches as the code of a scheme.

    Parameters
    ----------
    scheme : Scheme
        The scheme the animal was marked under.
    positions : iterable of str
        The notched scutes, such as "R2", in any order.

    Returns
    -------
    str
        The code, always in the same order: "BKO", "10-2,11", "442".

    Raises
    ------
    ValueError
        If there is none, one is no place on the rim or stands there twice, the scheme does not notch it, the number
        of notches breaks the scheme's rules, or (additive) the notches are not those that their sum stands for.

    Examples
    --------
    >>> from stock.marks.notch import LETTER_SCHEME, encode
    >>> encode(LETTER_SCHEME, ["L10", "R2", "R11"])
    'BKO'
    """
    mask = mask_of(_each_place(positions))
    check(scheme, mask)
    return write(scheme, mask)


def decode(scheme: Scheme, code: str) -> tuple[str, ...]:
    """
    Read a code: which scutes it says are notched.

    Letters may stand in any order and either case; left-right numbers as "10-2,11", "L10R2,11" or "L10R2R11".

    Parameters
    ----------
    scheme : Scheme
        The scheme the code belongs to.
    code : str
        The code as written.

    Returns
    -------
    tuple of str
        The places, in scheme order.

    Raises
    ------
    ValueError
        If it cannot be read, a symbol is not known or comes twice, or as `encode`.

    Examples
    --------
    >>> from stock.marks.notch import LETTER_SCHEME, decode
    >>> decode(LETTER_SCHEME, "BKO")
    ('R2', 'R11', 'L10')
    """
    mask = read(scheme, code)
    try:
        check(scheme, mask)
    except ValueError as broken:
        raise ValueError(f"{code.strip()}: {broken}") from None
    return tuple(position_at(bit) for bit in scheme.bits if mask >> bit & 1)


def normalize(scheme: Scheme, code: str) -> str:
    """
    Write a code as the scheme writes it: "ba" becomes "AB".

    Raises
    ------
    ValueError
        As `decode`.
    """
    return encode(scheme, decode(scheme, code))


def distance(a: str | Collection[str], b: str | Collection[str]) -> int:
    """
    Count the scutes in which two marks differ.

    At 2 or more one lost or one added notch cannot turn one into the other; at 4 or more neither can a notch read one
    scute off, and one lost or added notch can be mended; at 6 two can.

    Parameters
    ----------
    a, b : collection of str, or str
        Notched places ("R2"), or codes of one letter scheme ("BKO"). Codes of other schemes: decode them first.

    Returns
    -------
    int
        The number of scutes notched in one and not in the other.

    Raises
    ------
    ValueError
        If one is text but not letters, one is a code and the other places, or a place is none.

    References
    ----------
    Hamming (1950), Bell System Technical Journal 29:147-160.
    """
    if isinstance(a, str) != isinstance(b, str):
        raise ValueError("Give two codes or two sets of places, not one of each.")
    return len(_marked(a) ^ _marked(b))


def mirror(scheme: Scheme, code: str) -> str | None:
    """
    Return the code that is read when left and right are changed over, as on an animal on its back.

    Returns
    -------
    str or None
        The code; its own where the mark is even; None where the mirror image is no code of the scheme, so that the
        slip would show.

    Raises
    ------
    ValueError
        As `decode`.
    """
    return _if_code(scheme, mirror_mask(mask_of(decode(scheme, code))))


def misreads(scheme: Scheme, code: str) -> tuple[str, ...]:
    """
    Return the codes that are read when one notch is taken for one on the next scute of the same side.

    The gap that the bridge leaves is not crossed, nor are the nuchal scute and the tail.

    Returns
    -------
    tuple of str
        The codes, sorted; what would be no code of the scheme is left out.

    Raises
    ------
    ValueError
        As `decode`.
    """
    shifted = (_if_code(scheme, mask) for mask in shifts(scheme, mask_of(decode(scheme, code))))
    return tuple(sorted(read_as for read_as in shifted if read_as is not None))


def shifts(scheme: Scheme, mask: int) -> Iterator[int]:
    """Yield the masks with one notch moved to the next usable scute of its side, for `misreads`."""
    for pair in neighbors(scheme):
        if (mask & pair).bit_count() == 1:
            yield mask ^ pair


def neighbors(scheme: Scheme) -> tuple[int, ...]:
    """Return each two scutes next to one another that the scheme notches, as masks of two bits."""
    usable = scheme.usable_mask
    pairs = (0b11 << bit for bit in range(LEFT_BIT + 15) if bit != LEFT_BIT - 1)
    return tuple(pair for pair in pairs if pair & usable == pair)


def check(scheme: Scheme, mask: int) -> None:
    """
    Refuse places that are no code of the scheme.

    Raises
    ------
    ValueError
        With the scute, or the rule, that is broken.
    """
    closed = mask & ~scheme.usable_mask
    if closed:
        raise ValueError(scheme.why_closed((closed & -closed).bit_length() - 1))
    broken = scheme.broken_rule(mask)
    if broken:
        raise ValueError(broken)
    if scheme.style == "additive" and _digits_mask(scheme, _sum(scheme, mask)) != mask:
        total = _sum(scheme, mask)
        meant = _digits_mask(scheme, total)
        written = f"{total} is written with {_told(meant)}" if meant else f"{total} is no code of this scheme"
        raise ValueError(
            f"The notches on {_told(mask)} sum to {total}, but {written}; look again or re-check the scheme."
        )


def write(scheme: Scheme, mask: int) -> str:
    """
    Write places as a code without asking whether the scheme would notch them, for marks that are there already.

    Raises
    ------
    ValueError
        If the scheme has no symbol for one of them.
    """
    if scheme.style == "additive":
        if mask & ~sum(1 << bit for bit in scheme.value_at):
            raise ValueError(f"{_told(mask)}: this scheme has no value for one of them.")
        return str(_sum(scheme, mask))
    shown: dict[str, list[str]] = {"L": [], "R": []}
    left = mask
    for bit, row in scheme.row_at.items():
        if mask >> bit & 1 and row.symbol:
            shown[row.position[0]].append(row.symbol)
            left &= ~(1 << bit)
    if left:
        raise ValueError(scheme.why_closed((left & -left).bit_length() - 1))
    if scheme.style == "letters":
        return "".join(sorted(shown["L"] + shown["R"]))
    return "-".join(",".join(sorted(shown[side], key=int)) or "0" for side in ("L", "R"))


def read(scheme: Scheme, code: str) -> int:
    """
    Read a code as a mask without asking whether the scheme would notch those scutes, for marks that are there already.

    Raises
    ------
    ValueError
        If the text cannot be read, a symbol is not known or comes twice.
    """
    if not isinstance(code, str):
        raise ValueError(f"{code!r} is not a code; give it as text.")
    typed = code.strip().upper()
    if not typed:
        raise ValueError("No code was given.")
    if len(typed) > LONGEST_CODE:
        raise ValueError(f"The text has {len(typed)} characters; no code is longer than {LONGEST_CODE}.")
    mask = 0
    for symbol in _READERS[scheme.style](scheme, typed):
        bit = scheme.bit_by_symbol.get(symbol)
        if bit is None:
            raise ValueError(_unknown(scheme, symbol, code.strip()))
        if mask >> bit & 1:
            raise ValueError(f"{symbol} stands twice in {code.strip()}; a scute is notched once.")
        mask |= 1 << bit
    return mask


def place_mask(scheme: Scheme, places: Iterable[str]) -> int:
    """
    Read single scutes, each given by its place ("R2") or, where letters or values stand for them, by its symbol ("B").

    Repeats count once: this is what was seen, or what is damaged.

    Raises
    ------
    ValueError
        If one is neither.
    """
    mask = 0
    for place in places:
        symbol = str(place).strip().upper()
        bit = None if scheme.is_two_sided else scheme.bit_by_symbol.get(symbol)
        mask |= 1 << (bit_of(symbol) if bit is None else bit)
    return mask


def _each_place(positions: Iterable[str]) -> Iterable[str]:
    if isinstance(positions, str):
        raise ValueError(f"{positions!r} is text; give the places one by one, as ['R2', 'L11'].")
    return positions


def _marked(mark: str | Collection[str]) -> set[str] | set[int]:
    if not isinstance(mark, str):
        return {bit_of(place) for place in mark}
    letters = mark.strip().upper()
    if letters and not (letters.isascii() and letters.isalpha()):
        raise ValueError(f"{mark!r} is not a code of letters; decode it and give its places.")
    return set(letters)


def _if_code(scheme: Scheme, mask: int) -> str | None:
    try:
        check(scheme, mask)
    except ValueError:
        return None
    return write(scheme, mask)


def _told(mask: int) -> str:
    return in_words(position_at(bit) for bit in range(mask.bit_length()) if mask >> bit & 1)


def _sum(scheme: Scheme, mask: int) -> int:
    return sum(value for bit, value in scheme.value_at.items() if mask >> bit & 1)


def _digits_mask(scheme: Scheme, number: int) -> int:
    """Return the notches of a number; 0 where the scheme cannot write it."""
    mask = 0
    for digits in scheme.digit_masks:
        number, digit = divmod(number, 10)
        notches = digits[digit]
        if notches is None:
            return 0
        mask |= notches
    return 0 if number else mask


def _letters(scheme: Scheme, typed: str) -> Iterable[str]:
    return re.sub(r"[\s,.\-]", "", typed)


def _sides(scheme: Scheme, typed: str) -> Iterator[str]:
    """Yield "L10", "R2", ...: the side with each number."""
    if _SIDED.match(typed):
        parts = [(part[0], part[1:]) for part in _SIDED.findall(typed)]
        rest = _SIDED.sub("", typed)
    else:
        sides = _DASH.split(typed)
        if len(sides) != 2:
            raise ValueError(
                f"{typed} is not a left-right code; write the left numbers, a dash and the right ones, as 10-2,11, "
                "with 0 for a side that has none."
            )
        parts, rest = list(zip("LR", sides, strict=True)), ""
    if rest.strip(" ,;-"):
        raise ValueError(
            f"{rest.strip()!r} in {typed} is not understood; write the code as 10-2,11 or L10R2,11."
        )
    for side, numbers in parts:
        for number in numbers.replace(",", " ").split():
            if not (number.isascii() and number.isdigit()):
                raise ValueError(f"{number!r} in {typed} is not a scute's number; write the code as 10-2,11.")
            if number.strip("0"):
                yield f"{side}{int(number)}"


def _number(scheme: Scheme, typed: str) -> Iterator[str]:
    """Yield the values that a number is the sum of."""
    most = 10 ** len(scheme.digit_masks) - 1
    if not (typed.isascii() and typed.isdigit()) or not 0 < int(typed) <= most:
        raise ValueError(f"{typed} is not a number of this scheme; they run from 1 to {most}.")
    mask = _digits_mask(scheme, int(typed))
    if not mask:
        raise ValueError(f"{typed} cannot be written with this scheme's values; a digit of it has no scutes.")
    for bit in scheme.bits:
        if mask >> bit & 1:
            yield scheme.row_at[bit].symbol


def _unknown(scheme: Scheme, symbol: str, code: str) -> str:
    if scheme.is_two_sided:
        side = {"L": "left", "R": "right"}[symbol[0]]
        return f"{code}: the {side} side has no scute {symbol[1:]} in this scheme."
    known = listed(scheme.row_at[bit].symbol for bit in scheme.bits)
    return f"{code}: {symbol} is no letter of this scheme; it has {known}."


_READERS = {"letters": _letters, "left-right": _sides, "site": _sides, "additive": _number}
