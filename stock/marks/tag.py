"""Tag numbers (ISO 11784 and 11785): read from whatever a person types or a reader sends, and written in every form.

A number is text of 15 digits from end to end, never a number in the arithmetic sense: its leading zeros are real.
Two animals with one number are possible and are recorded as a conflict; nothing here knows who carries what.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from stock.marks.countries import FIRST_MAKER, TEST, is_country, is_maker
from stock.marks.tag_frame import (
    MOST_NATIONAL,
    TagBits,
    check_digits,
    crc,
    frame,
    from_dot_hex,
    from_frame,
    read_frame,
    reverse_bits,
    to_dot_hex,
)
from stock.marks.tag_words import MESSAGES, Note, TagRefused, conflict

__all__ = [
    "FAMILIES",
    "MESSAGES",
    "Note",
    "Tag",
    "TagBits",
    "TagRefused",
    "close_to",
    "conflict",
    "crc",
    "frame",
    "from_dot_hex",
    "from_frame",
    "look_alikes",
    "parse",
    "read_frame",
    "to_dot_hex",
]

FAMILIES = {
    "iso": "15 digits (ISO 11784)",
    "nine-digit": "older, 9 digits, 125 kHz",
    "ten-character": "older, 10 characters",
}
LONGEST_LINE = 200
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_EXPONENT = re.compile(r"\d(?:[.,]\d*)?E\+?\d{1,3}|\d+E\+?\d{1,3}", re.ASCII)  # never with 3 digits and a dot
_WHOLE_FLOAT = re.compile(r"(?<=\d{14})[.,]0+$", re.ASCII)
# Fifteen digits in one run, as three and twelve, or by threes; a zero before them allowed. Looked for at every place.
_DECIMAL = re.compile(
    r"(?<![0-9A-Z.\-])(?=0?(\d{3}[ .\-]?\d{12}|\d{3}(?:[ .\-]\d{3}){4})(?![0-9A-Z]))", re.ASCII
)
_GROUPED = re.compile(r"[\d .\-]+", re.ASCII)
_DOT_HEX = re.compile(r"(?<![0-9A-Z.])[0-9A-F]{3}\.[0-9A-F]{10}(?![0-9A-Z.])")
_HEX = re.compile(r"(?<![0-9A-Z.])[0-9A-F]{16}(?![0-9A-Z.])")
_NINE = re.compile(r"(\d{3})\*?(\d{3})\*?(\d{3})", re.ASCII)
_TEN = re.compile(r"[0-9A-F]{10}")
_NOT_DIGITS_14 = re.compile(r"[1-8]\d{13}", re.ASCII)


@dataclass(frozen=True)
class Tag:
    """
    A tag as read.

    Parameters
    ----------
    code : str
        What is stored and compared: the 15 digits, or an older tag's text as it is.
    family : str
        A key of `FAMILIES`.
    digits : str or None
        The 15 digits; None for an older tag, which has none and must never be given any.
    country, national_id : int or None
        The first three digits as a number (country, maker or test) and the last twelve.
    notes : tuple of Note
        Sentences the reader must see, each with its `code`.
    bits : TagBits or None
        All fields, where the text held them (16 hexadecimal characters).
    raw : str
        The text as it came.
    """

    code: str
    family: str
    digits: str | None = None
    country: int | None = None
    national_id: int | None = None
    notes: tuple[Note, ...] = ()
    bits: TagBits | None = None
    raw: str = ""

    @property
    def is_guess(self) -> bool:
        """Whether a person must confirm the number: a digit was put in."""
        return any(note.code == "PIT03" for note in self.notes)

    @property
    def is_maker(self) -> bool:
        """Whether the first three digits are a maker's and not a country's."""
        return self.country is not None and is_maker(self.country)


def parse(text: str) -> Tag:
    """
    Read a tag number from what was typed, printed or sent by a reader.

    Understood are 15 digits with spaces, dots or a dash between; 16 with a zero before; the dotted form
    "3D9.1A4FC41122"; 16 hexadecimal characters from either end; a reader's line, with control characters, "LA",
    counters before or a time after the number; and older tags of 9 digits or 10 characters, kept as they are.

    Parameters
    ----------
    text : str
        One line, or several with the same tag.

    Returns
    -------
    Tag
        With ``digits``, ``country``, ``national_id`` and ``notes``.

    Raises
    ------
    TagRefused
        A `ValueError` whose sentence says what is wrong and how to mend it; its ``code`` is that of the message.
    ValueError
        If it is not text.

    References
    ----------
    ISO 11784 for the fields; ISO 3166-1 for countries.
    """
    if not isinstance(text, str):
        raise ValueError(f"{text!r} is not text; give the tag number as text, or its leading zeros are lost.")
    if len(text) > LONGEST_LINE:
        raise TagRefused("PIT27", n=len(text))
    typed = _CONTROL.sub(" ", text).strip().strip("'\"").strip()
    if not typed:
        raise TagRefused("PIT20")
    line = _WHOLE_FLOAT.sub("", typed.upper())
    if _EXPONENT.fullmatch(line) and not _TEN.fullmatch(line) and not _HEX.fullmatch(line):
        raise TagRefused("PIT04")
    line = re.sub(r"[\s_,;|:]+", " ", line)
    if "LR" in line.split():
        raise TagRefused("PIT21", line=typed)
    decimal = {re.sub(r"\D", "", found) for found in _DECIMAL.findall(line)}
    packed = re.sub(r"\D", "", line)
    if (
        not decimal
        and _GROUPED.fullmatch(line)
        and (len(packed) == 15 or (len(packed) == 16 and packed[0] == "0"))
    ):
        decimal = {packed[-15:]}
    if decimal:
        return _iso(_only(decimal, typed), text)
    dotted = {from_dot_hex(found) for found in _DOT_HEX.findall(line)}
    if dotted:
        return _iso(_only(dotted, typed), text)
    whole = {bits for found in _HEX.findall(line) if (bits := _from_either_end(found)) is not None}
    if whole:
        digits = _only({bits.digits for bits in whole}, typed)
        return _iso(digits, text, next(bits for bits in whole if bits.digits == digits))
    return _older(line, text) or _short(line, typed, text)


def look_alikes(digits: str) -> frozenset[str]:
    """
    Return the numbers that one wrong digit, or two neighbors changed over, make of a number.

    At most 149: small enough to look each up among fifty thousand.

    Raises
    ------
    TagRefused
        If these are not 15 digits, or the last 12 do not fit.
    """
    digits = check_digits(digits)
    wrong = {f"{digits[:at]}{other}{digits[at + 1 :]}" for at in range(15) for other in "0123456789"}
    swapped = {f"{digits[:at]}{digits[at + 1]}{digits[at]}{digits[at + 2 :]}" for at in range(14)}
    return frozenset(wrong | swapped) - {digits}


def close_to(digits: str, others: Collection[str]) -> tuple[Note, ...]:
    """
    Say which other numbers are so close that this one may be mistyped. For typed numbers; a scan does not err so.

    Raises
    ------
    TagRefused
        As `look_alikes`.
    """
    known = others if isinstance(others, (set, frozenset, dict)) else set(others)
    return tuple(Note("PIT13", other=other) for other in sorted(look_alikes(digits)) if other in known)


def _iso(digits: str, raw: str, bits: TagBits | None = None, *before: Note) -> Tag:
    notes = [*before, *_check(digits)]
    if bits is not None:
        if not bits.animal:
            notes.append(Note("PIT11"))
        if bits.reserved:
            notes.append(Note("PIT40", n=bits.reserved))
        if bits.retagging:
            notes.append(Note("PIT41", n=bits.retagging))
    return Tag(digits, "iso", digits, int(digits[:3]), int(digits[3:]), tuple(notes), bits, raw)


def _check(digits: str) -> list[Note]:
    """Refuse a number that no tag can have; return what is to be said of one that it can."""
    country, national = int(digits[:3]), int(digits[3:])
    if national > MOST_NATIONAL:
        raise TagRefused("PIT05")
    if not country:
        raise TagRefused("PIT06")
    if not national:
        raise TagRefused("PIT09")
    if country == TEST:
        return [Note("PIT07")]
    if country < FIRST_MAKER and not is_country(country):
        return [Note("PIT08", ccc=f"{country:03}")]
    return []


def _only(found: set[str], line: str) -> str:
    """Return the one number of a line; where several stand there, the only one that a tag can have."""
    possible = {digits for digits in found if _is_possible(digits)} or found
    if len(possible) > 1:
        raise TagRefused("PIT22", numbers=" and ".join(sorted(possible)), line=line)
    return next(iter(possible))


def _is_possible(digits: str) -> bool:
    try:
        _check(digits)
    except TagRefused:
        return False
    return True


def _from_either_end(found: str) -> TagBits | None:
    """
    Read 16 characters whose first is either end of the 64 bits.

    Ordinary tags tell by themselves: they begin 8000 one way and end 0001 the other. What is not ordinary is read the
    way in which it has the fewer oddities.
    """
    number = int(found, 16)
    left, right = TagBits.from_number(number), TagBits.from_number(reverse_bits(number, 64))
    is_left = number >> 49 & 0x3FFF == 0
    is_right = found.endswith("0001") and not found.startswith("8000")
    if is_right and found.isdigit():  # no decimal digit has four ones: the country is below 1000
        if _is_possible(right.digits):
            raise TagRefused("PIT28", digits=right.digits)
        return None
    if is_left != is_right:
        return left if is_left else right
    if not is_left and sum(c.isalpha() for c in found) < 2:
        return None  # a number with a digit or a letter too many
    odd_left, odd_right = _oddities(left), _oddities(right)
    if min(odd_left, odd_right) > 1:
        raise TagRefused("PIT25", line=found)
    if odd_left == odd_right:
        raise TagRefused("PIT24", numbers=f"{left.digits} or {right.digits}")
    return left if odd_left < odd_right else right


def _oddities(bits: TagBits) -> int:
    if bits.country > TEST or not bits.country or not bits.national_id:
        return 9
    is_strange = bits.country < FIRST_MAKER and not is_country(bits.country)
    return (not bits.animal) + (bits.reserved > 0) + is_strange


def _older(line: str, raw: str) -> Tag | None:
    """Keep an older tag's text as it is."""
    nine = _NINE.fullmatch(line.replace(" ", ""))
    if nine:
        return Tag("".join(nine.groups()), "nine-digit", notes=(Note("PIT30"),), raw=raw)
    packed = re.sub(r"[ \-]", "", line)
    if not _TEN.fullmatch(packed):
        return None
    notes = (Note("PIT31"), Note("PIT32")) if packed.isdigit() else (Note("PIT31"),)
    return Tag(packed, "ten-character", notes=notes, raw=raw)


def _short(line: str, typed: str, raw: str) -> Tag:
    """Say what is wrong with what is no number; a lost first zero is put back and said."""
    packed = re.sub(r"[ .\-]", "", line)
    if packed.isascii() and packed.isdigit():
        restored = f"0{packed}"
        if _NOT_DIGITS_14.fullmatch(packed) and _is_possible(restored):
            return _iso(restored, raw, None, Note("PIT03", s=packed))
        raise TagRefused("PIT01", n=len(packed))
    digits = sum(c in "0123456789" for c in packed)
    if 2 * digits > len(packed) <= 20 and not re.fullmatch(r"[0-9A-F]+\.[0-9A-F]*[A-F][0-9A-F]*", line):
        at = next(at for at, c in enumerate(typed) if c not in "0123456789 .-_,;|:\xa0")
        raise TagRefused("PIT02", c=typed[at], k=at + 1)
    raise TagRefused("PIT23", line=typed)
