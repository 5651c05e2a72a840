"""The 64 bits of an animal tag, the checksum over them, and the 128 bits that go on the air.

Bit 63 of the number says animal or not; below it stand the retagging counter (3 bits), the user field (5), six
reserved bits, the mark that more follows (1), country or maker (10) and national number (38). On the air the lowest
bit goes first.

References
----------
ISO 11784 and ISO 11785 as told by Priority 1 Design's description of the FDX-B protocol, checked against captured
tags (see the tests).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from stock.marks.tag_words import TagRefused

MOST_NATIONAL = 2**38 - 1
HEADER = "0" * 10 + "1"
_POLYNOMIAL = 0x8408  # x^16 + x^12 + x^5 + 1, lowest bit first
_DIGITS = re.compile(r"[0-9]{15}")
_WIDTHS = {"retagging": 3, "user_field": 5, "reserved": 6}


@dataclass(frozen=True)
class TagBits:
    """
    What the 64 bits of a tag say.

    Parameters
    ----------
    country : int
        Country or maker, 0 to 1023; above 999 cannot be printed.
    national_id : int
        National number, 0 to 274 877 906 943.
    animal : bool
        The bit that says animal.
    retagging, user_field, reserved : int
        0 to 7, 0 to 31, 0 to 63.
    more : bool
        Whether the trailer carries more.

    Raises
    ------
    ValueError
        If a number does not fit its bits.
    """

    country: int
    national_id: int
    animal: bool = True
    retagging: int = 0
    user_field: int = 0
    reserved: int = 0
    more: bool = False

    def __post_init__(self) -> None:
        for name, width in {"country": 10, "national_id": 38, **_WIDTHS}.items():
            number = getattr(self, name)
            if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number < 1 << width:
                raise ValueError(f"{name}: {number!r} does not fit; it runs from 0 to {(1 << width) - 1}.")

    @classmethod
    def of(
        cls,
        digits: str,
        *,
        animal: bool = True,
        retagging: int = 0,
        user_field: int = 0,
        reserved: int = 0,
        more: bool = False,
    ) -> TagBits:
        """
        Make the bits of a printed number.

        Raises
        ------
        TagRefused
            If these are not 15 digits, or the last 12 do not fit.
        """
        digits = check_digits(digits)
        return cls(int(digits[:3]), int(digits[3:]), animal, retagging, user_field, reserved, more)

    @classmethod
    def from_number(cls, number: int) -> TagBits:
        """Take 64 bits apart; bit 63 is the animal bit."""
        return cls(
            number >> 38 & 0x3FF,
            number & MOST_NATIONAL,
            bool(number >> 63 & 1),
            number >> 60 & 7,
            number >> 55 & 31,
            number >> 49 & 63,
            bool(number >> 48 & 1),
        )

    @property
    def number(self) -> int:
        """The 64 bits as a number."""
        return (
            self.animal << 63
            | self.retagging << 60
            | self.user_field << 55
            | self.reserved << 49
            | self.more << 48
            | self.country << 38
            | self.national_id
        )

    @property
    def digits(self) -> str:
        """
        The 15 digits as printed.

        Raises
        ------
        TagRefused
            If the country number is above 999.
        """
        if self.country > 999:
            raise TagRefused("PIT26", n=self.country)
        return f"{self.country:03}{self.national_id:012}"

    @property
    def left_hex(self) -> str:
        """Sixteen characters with the animal bit leftmost ("8000F65A4FC41122")."""
        return f"{self.number:016X}"

    @property
    def right_hex(self) -> str:
        """Sixteen characters in the order of the air ("448823F25A6F0001")."""
        return f"{reverse_bits(self.number, 64):016X}"

    @property
    def crc(self) -> int:
        """The checksum of the 64 bits."""
        return kermit(self.number.to_bytes(8, "little"))

    def block(self, trailer: int = 0) -> str:
        """Return the frame without header and control bits: 26 characters in the order of the air."""
        return f"{int(self._air(trailer), 2):026X}"

    def frame(self, trailer: int = 0) -> str:
        """Return all 128 bits in the order of the air, header first: 32 characters."""
        air = self._air(trailer)
        controlled = "".join(f"{air[at : at + 8]}1" for at in range(0, len(air), 8))
        return f"{int(HEADER + controlled, 2):032X}"

    def _air(self, trailer: int) -> str:
        if isinstance(trailer, bool) or not isinstance(trailer, int) or not 0 <= trailer < 1 << 24:
            raise ValueError(f"trailer: {trailer!r} does not fit; it runs from 0 to {(1 << 24) - 1}.")
        whole = trailer << 80 | self.crc << 64 | self.number
        return f"{whole:0104b}"[::-1]


def check_digits(digits: str) -> str:
    """
    Return a printed number that is 15 digits and fits its bits.

    Raises
    ------
    TagRefused
        If it does not; whether such a tag is a likely one is for `parse` to say.
    """
    if not isinstance(digits, str):
        raise ValueError(f"{digits!r} is not text; give the 15 digits as text, or leading zeros are lost.")
    if not _DIGITS.fullmatch(digits):
        strange = next(((at, c) for at, c in enumerate(digits, start=1) if c not in "0123456789"), None)
        if strange is None:
            raise TagRefused("PIT01", n=len(digits))
        raise TagRefused("PIT02", c=strange[1], k=strange[0])
    if int(digits[3:]) > MOST_NATIONAL:
        raise TagRefused("PIT05")
    return digits


def kermit(octets: bytes) -> int:
    """
    Return the CRC-16 of bytes: polynomial 0x1021, start 0, lowest bit first, nothing added at the end.

    >>> f"{kermit(b'123456789'):04X}"
    '2189'
    """
    register = 0
    for octet in octets:
        register ^= octet
        for _ in range(8):
            register = register >> 1 ^ (_POLYNOMIAL if register & 1 else 0)
    return register


def residue(block: str) -> int:
    """
    Return what is left when a receiver runs its register over number and checksum: 0 where they agree.

    Parameters
    ----------
    block : str
        At least the first 20 of the characters that `TagBits.block` writes.
    """
    register = 0
    for bit in f"{int(block[:20], 16):080b}":
        top = register >> 15 ^ int(bit)
        register = register << 1 & 0xFFFF ^ (0x1021 if top else 0)
    return register


def reverse_bits(number: int, width: int) -> int:
    """Return a number of so many bits read from the other end."""
    return int(f"{number:0{width}b}"[::-1], 2)


def crc(digits: str, *, animal: bool = True) -> int:
    """
    Return the checksum that a tag of this number sends.

    Parameters
    ----------
    digits : str
        15 digits.
    animal : bool
        The animal bit.

    Returns
    -------
    int
        0 to 65535, CRC-16/KERMIT.

    Raises
    ------
    TagRefused
        A `ValueError`, if these are not 15 digits or the last 12 do not fit.
    """
    return TagBits.of(digits, animal=animal).crc


def frame(digits: str, *, animal: bool = True) -> str:
    """
    Return the 128 bits that a tag of this number sends, all fields but the number at rest.

    For a tag with a trailer, counter or reserved bits use `TagBits`.

    Parameters
    ----------
    digits, animal
        As `crc`.

    Returns
    -------
    str
        32 hexadecimal characters in the order of the air, header first.

    Raises
    ------
    TagRefused
        As `crc`.
    """
    return TagBits.of(digits, animal=animal).frame()


def from_frame(text: str, *, any_trailer: bool = False) -> str:
    """
    Read the number from a frame, once everything that guards it agrees.

    Parameters
    ----------
    text : str
        32 hexadecimal characters as `frame` writes them; spaces are passed over.
    any_trailer : bool
        Whether to accept a trailer that is not zero although the tag says that nothing follows. No checksum covers
        the trailer, so that this is the one place where a wrong bit would not show.

    Returns
    -------
    str
        15 digits.

    Raises
    ------
    TagRefused
        A `ValueError`, if the length, the header, a control bit, the checksum or the trailer is wrong.
    """
    return read_frame(text, any_trailer=any_trailer)[0].digits


def read_frame(text: str, *, any_trailer: bool = False) -> tuple[TagBits, int]:
    """
    Read all fields and the trailer from a frame.

    Parameters
    ----------
    text, any_trailer
        As `from_frame`.

    Returns
    -------
    tuple of TagBits, int
        The fields, and the 24 bits of the trailer.

    Raises
    ------
    TagRefused
        As `from_frame`.
    """
    if not isinstance(text, str):
        raise ValueError(f"{text!r} is not text; give the frame as 32 characters.")
    packed = "".join(text.split())
    right = sum(c in "0123456789abcdefABCDEF" for c in packed)
    if len(packed) != 32 or right != 32:
        raise TagRefused("PIT42", n=right, all=len(packed))
    bits = f"{int(packed, 16):0128b}"
    if not bits.startswith(HEADER) or "0" in bits[19::9]:
        raise TagRefused("PIT43")
    air = "".join(bits[at : at + 8] for at in range(11, 128, 9))
    whole = int(air[::-1], 2)
    tag, sent, trailer = TagBits.from_number(whole & (1 << 64) - 1), whole >> 64 & 0xFFFF, whole >> 80
    if sent != tag.crc:
        raise TagRefused("PIT12")
    if trailer and not tag.more and not any_trailer:
        raise TagRefused("PIT44")
    return tag, trailer


def to_dot_hex(digits: str) -> str:
    """
    Write a number as three and ten hexadecimal characters with a dot between ("3D9.1A4FC41122").

    Raises
    ------
    TagRefused
        As `crc`.
    """
    tag = TagBits.of(digits)
    return f"{tag.country:03X}.{tag.national_id:010X}"


def from_dot_hex(text: str) -> str:
    """
    Read the number from its dotted form.

    Raises
    ------
    TagRefused
        If the first part is above 999 or the second above 274 877 906 943.
    ValueError
        If it is not three and ten hexadecimal characters with a dot between.
    """
    if not isinstance(text, str) or not re.fullmatch(r"[0-9A-Fa-f]{3}\.[0-9A-Fa-f]{10}", text.strip()):
        raise ValueError(f"{text!r} is not the dotted form; it looks like 3D9.1A4FC41122.")
    country, national = (int(part, 16) for part in text.strip().split("."))
    if national > MOST_NATIONAL:
        raise TagRefused("PIT05")
    if country > 999:
        raise TagRefused("PIT26", n=country)
    return f"{country:03}{national:012}"
