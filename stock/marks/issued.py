"""Codes issued so far as one array of masks, so that fifty thousand are searched in less than a millisecond."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from stock.marks.codes import place_mask, read, write
from stock.marks.positions import LEFT_MASK, RIGHT_MASK, mask_of, positions_in
from stock.marks.scheme import Scheme

Masks = NDArray[np.uint32]


@dataclass(frozen=True, eq=False)
class Issued:
    """
    The codes that a scheme has ever given out in one scope, also those of animals dead, sold or lost.

    Parameters
    ----------
    scheme : Scheme
        The scheme they belong to.
    masks : array of uint32, shape (n,)
        The notched places of each, as `mask_of` writes them; each once, in the order of issue.
    """

    scheme: Scheme
    masks: Masks

    @classmethod
    def of(cls, scheme: Scheme, codes: Iterable[str | Collection[str]] | Issued) -> Issued:
        """
        Gather codes, each as text or as its places; those already gathered are returned as they are.

        A code on scutes that the scheme no longer notches is taken: it was cut once and counts for ever.

        Raises
        ------
        ValueError
            If one cannot be read, or if the codes gathered belong to another scheme.
        """
        if isinstance(codes, Issued):
            if codes.scheme != scheme:
                raise ValueError(f"These codes belong to {codes.scheme.title}, not to {scheme.title}.")
            return codes
        if isinstance(codes, str):
            raise ValueError(f"{codes!r} is one code; give the codes issued as a list.")
        reading = _quick_reader(scheme)
        found = dict.fromkeys(reading(code) if isinstance(code, str) else mask_of(code) for code in codes)
        if 0 in found:
            raise ValueError("One of the codes issued has no notch; give only marks that were cut.")
        return cls(scheme, np.fromiter(found, np.uint32, len(found)))

    @classmethod
    def from_masks(cls, scheme: Scheme, masks: Iterable[int]) -> Issued:
        """
        Gather codes from stored masks, which spares reading their text.

        Raises
        ------
        ValueError
            If one holds a bit that is no place on the rim, or none at all.
        """
        stored = np.array(list(masks), dtype=np.int64)
        if np.any((stored <= 0) | (stored & ~(RIGHT_MASK | LEFT_MASK) != 0)):
            raise ValueError("A stored mask is not a set of places on the rim of a shell.")
        unique, first = np.unique(stored, return_index=True)
        return cls(scheme, unique[np.argsort(first)].astype(np.uint32))

    def __len__(self) -> int:
        return len(self.masks)

    def codes(self) -> tuple[str, ...]:
        """Return the codes as text, in the order of issue; as `shown`."""
        return tuple(shown(self.scheme, int(mask)) for mask in self.masks)


def shown(scheme: Scheme, mask: int) -> str:
    """Write a mark as its code, or by its places ("R5 L10") where it is on a scute the scheme has no symbol for."""
    try:
        return write(scheme, mask)
    except ValueError:
        return " ".join(positions_in(mask))


def _quick_reader(scheme: Scheme) -> Callable[[str], int]:
    """Return a reader for many codes: what they are made of is read once; what it does not know goes the long way."""
    parts: dict[str, int] = {}

    def side(as_code: str) -> int:
        mask = parts.get(as_code)
        if mask is None:
            parts[as_code] = mask = read(scheme, as_code)
        return mask

    def read_sides(code: str) -> int:
        left, dash, right = code.partition("-")
        if dash and left[-1:].isdigit() and right[:1].isdigit():
            try:
                return side(f"{left}-0") | side(f"0-{right}")
            except ValueError:
                pass  # the long way names the whole code
        return read(scheme, code)

    def read_letters(code: str) -> int:
        mask = 0
        for letter in code:
            bit = letters.get(letter)
            if bit is None or mask & bit:
                return read(scheme, code)
            mask |= bit
        return mask or read(scheme, code)

    if scheme.is_two_sided:
        return read_sides
    letters = {symbol: 1 << bit for symbol, bit in scheme.bit_by_symbol.items()}
    return read_letters if scheme.style == "letters" else partial(read, scheme)


def candidates(
    scheme: Scheme,
    issued: Iterable[str | Collection[str]] | Issued,
    clear: Iterable[str],
    doubtful: Iterable[str] = (),
) -> tuple[str, ...]:
    """
    Return the issued codes that a worn or half-read rim may be.

    A code fits that has every clear notch and no notch elsewhere than on a clear or doubtful scute. One fit alone is
    still to be confirmed by a person against the animal.

    Parameters
    ----------
    scheme : Scheme
        The scheme of the codes.
    issued : iterable of str or of places, or Issued
        Every code issued. For many searches gather them once with `Issued.of`.
    clear : iterable of str
        Scutes with a notch seen for certain: places, or letters.
    doubtful : iterable of str
        Scutes where a notch is faint, or that are unreadable, damaged or missing.

    Returns
    -------
    tuple of str
        The codes that use the fewest doubtful scutes first, and in the order of issue where they use as many.

    Raises
    ------
    ValueError
        If a code cannot be read, or a scute is neither a place nor a letter of the scheme.
    """
    register = Issued.of(scheme, issued)
    seen, unsure = place_mask(scheme, clear), place_mask(scheme, doubtful)
    masks = register.masks
    has_all = masks & np.uint32(seen) == seen
    fits = masks[has_all & (masks & ~np.uint32(seen | unsure) == 0)]
    used = np.bitwise_count(fits & ~np.uint32(seen))
    return tuple(shown(scheme, int(mask)) for mask in fits[np.argsort(used, kind="stable")])


@dataclass(frozen=True)
class PossibleMisreading:
    """
    An issued code that is not what was read, but close to it.

    Parameters
    ----------
    code : str
        The code.
    scutes_off : int
        Scutes that must have been read wrongly, or lost or gained a notch.
    """

    code: str
    scutes_off: int


def near_codes(
    scheme: Scheme,
    issued: Iterable[str | Collection[str]] | Issued,
    clear: Iterable[str],
    doubtful: Iterable[str] = (),
    *,
    within: int = 2,
) -> tuple[PossibleMisreading, ...]:
    """
    Return the issued codes that a reading misses by few scutes, for when `candidates` finds none.

    Parameters
    ----------
    scheme, issued, clear, doubtful
        As `candidates`.
    within : int
        The most scutes read wrongly.

    Returns
    -------
    tuple of PossibleMisreading
        From 1 scute off, nearest first, and in the order of issue where they are as near.

    Raises
    ------
    ValueError
        As `candidates`, or if `within` is below 1.
    """
    if within < 1:
        raise ValueError(f"within: {within} scutes off are not a misreading; give 1 or more.")
    register = Issued.of(scheme, issued)
    seen, unsure = np.uint32(place_mask(scheme, clear)), np.uint32(place_mask(scheme, doubtful))
    off = np.bitwise_count((register.masks ^ seen) & ~(unsure & ~seen))
    near = np.flatnonzero((off >= 1) & (off <= within))
    return tuple(
        PossibleMisreading(shown(scheme, int(register.masks[at])), int(off[at]))
        for at in near[np.argsort(off[near], kind="stable")]
    )
