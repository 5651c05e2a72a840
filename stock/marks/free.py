"""The next free code of a scheme, and how many codes a scheme has.

Whether a code is far enough from fifty thousand others is not asked of each pair: every issued code darkens the
codes about it on a map of all sets of usable scutes, a bit for each set, and a code is free where the map stayed
light. The map of 16 scutes is 8 kB, that of 24 is 2 MB.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

from stock.marks.codes import neighbors, place_mask, write
from stock.marks.issued import Issued, Masks
from stock.marks.positions import (
    LEFT_BIT,
    LEFT_MASK,
    MOST_MARGINALS,
    RIGHT_MASK,
    in_words,
    listed,
    position_at,
)
from stock.marks.scheme import Scheme

MOST_APART = 2 * MOST_MARGINALS
# Flipping one of the three lowest scutes moves bits within a byte of the map: these stay, by the shift they take.
_WITHIN_A_BYTE = ((1, 0x55), (2, 0x33), (4, 0x0F))


class SchemeFull(ValueError):
    """No code is left under what was asked; the sentence says what would free more."""


def next_free(
    scheme: Scheme,
    used: Iterable[str | Collection[str]] | Issued,
    *,
    notches: int = 3,
    min_distance: int = 2,
    unusable: Iterable[str] = (),
    fixed: Iterable[str] = (),
    keep_mirrors_apart: bool = False,
    keep_neighbors_apart: bool = False,
) -> str:
    """
    Return the first code, in scheme order, that is far enough from every code ever issued.

    The same question always has the same answer, so two people may be told the same code: a register reserves it.

    Parameters
    ----------
    scheme : Scheme
        The scheme to mark under.
    used : iterable of str or of places, or Issued
        Every code ever issued in the scope, also those of animals dead or sold: a code never comes back.
    notches : int
        How many notches the code has; the same on every animal, so that a lost one shows.
    min_distance : int
        Least number of scutes in which it differs from each code issued, 1 or more; see `distance`.
    unusable : iterable of str
        Scutes that are damaged, missing or not there on the animal in hand: places, or letters.
    fixed : iterable of str
        Scutes that the code must notch, such as that of the site.
    keep_mirrors_apart : bool
        Whether to pass over a code whose mirror image was issued.
    keep_neighbors_apart : bool
        Whether to pass over a code that becomes an issued one when a notch is read one scute off.

    Returns
    -------
    str
        The code.

    Raises
    ------
    SchemeFull
        If none is left (a `ValueError`); the message says how many more notches or a smaller distance would free.
    ValueError
        If a code issued cannot be read, a scute is not known, or the numbers are not whole and 1 or more.
    """
    _check_whole(notches, "notches")
    _check_whole(min_distance, "min_distance")
    issued = Issued.of(scheme, used)
    if min_distance > MOST_APART:
        raise ValueError(
            f"min_distance: no two marks differ in {min_distance} scutes; give {MOST_APART} or less."
        )
    spoilt, wanted = place_mask(scheme, unusable), place_mask(scheme, fixed)
    if spoilt & wanted:
        raise ValueError(f"{_told(spoilt & wanted)} is to be notched and cannot be; choose another.")
    blocked = _Blocked(scheme, issued, spoilt)
    free = blocked.free(notches, min_distance, wanted)
    if keep_mirrors_apart:
        free = free[~np.isin(_mirrored(free), issued.masks)]
    if keep_neighbors_apart:
        free = free[~np.isin(free, _shifted(scheme, issued.masks))]
    if len(free):
        return write(scheme, int(free[0]))
    apart = keep_mirrors_apart or keep_neighbors_apart
    raise SchemeFull(_full(blocked, notches, min_distance, wanted, apart))


def capacity(scheme: Scheme, *, notches: int | None = None, unusable: Iterable[str] = ()) -> int:
    """
    Count the codes a scheme has.

    Parameters
    ----------
    scheme : Scheme
        The scheme.
    notches : int, optional
        Only codes of exactly so many notches; otherwise of any number.
    unusable : iterable of str
        Scutes that cannot be notched: places, or letters.

    Returns
    -------
    int
        The number of codes.

    Raises
    ------
    ValueError
        If a scute is not known or `notches` is not whole and 1 or more.
    """
    if notches is not None:
        _check_whole(notches, "notches")
    spoilt = place_mask(scheme, unusable)
    if scheme.style == "additive":
        numbers = _numbers(scheme)
        numbers = numbers[numbers & np.uint32(spoilt) == 0]
        return int(np.sum(np.bitwise_count(numbers) == notches)) if notches else len(numbers)
    usable = scheme.usable_mask & ~spoilt
    left, right = (usable & LEFT_MASK).bit_count(), (usable & RIGHT_MASK).bit_count()
    return sum(
        comb(left, on_left) * comb(right, on_right)
        for on_left in range(scheme.least_left, min(left, scheme.most_left) + 1)
        for on_right in range(scheme.least_right, min(right, scheme.most_right) + 1)
        if on_left + on_right and notches in (None, on_left + on_right)
    )


class _Blocked:
    """What codes issued forbid, for one scheme and the scutes left on one animal."""

    def __init__(self, scheme: Scheme, issued: Issued, spoilt: int) -> None:
        self.scheme, self.issued, self.spoilt = scheme, issued, spoilt
        self.bits = tuple(bit for bit in scheme.bits if not spoilt >> bit & 1)
        self._inside = _project(issued.masks, self.bits)
        # Notches on scutes that a new code cannot have count toward the distance from the start.
        open_mask = sum(1 << bit for bit in self.bits)
        self._outside = np.bitwise_count(issued.masks & ~np.uint32(open_mask))

    def free(self, notches: int, min_distance: int, wanted: int = 0) -> Masks:
        """Return the free codes as masks, in scheme order."""
        if notches > len(self.bits):
            return np.empty(0, np.uint32)
        legal = _legal(self.scheme, notches, self.spoilt)
        legal = legal[legal & np.uint32(wanted) == wanted]
        at = _project(legal, self.bits)
        is_dark = self._map(min_distance)[at >> 3] >> (at & 7).astype(np.uint8) & 1
        free: Masks = legal[is_dark == 0]
        return free

    def _map(self, min_distance: int) -> NDArray[np.uint8]:
        scutes = max(len(self.bits), 3)
        # How far about itself a code issued darkens; below zero where what is outside keeps it far enough.
        reaches = np.minimum(min_distance - 1 - self._outside.astype(np.int64), scutes)
        dark = np.zeros(1 << scutes - 3, np.uint8)
        for reach in range(int(max(reaches, default=-1)), -1, -1):
            dark = _widened(dark, scutes)
            seeds = np.zeros(1 << scutes, bool)
            seeds[self._inside[reaches == reach]] = True
            dark |= np.packbits(seeds, bitorder="little")
        return dark


def _widened(dark: NDArray[np.uint8], scutes: int) -> NDArray[np.uint8]:
    """Darken every set of scutes that differs in one scute from a dark one."""
    wide = dark.copy()
    for shift, stay in _WITHIN_A_BYTE:
        wide |= (dark & np.uint8(stay)) << shift | dark >> shift & np.uint8(stay)
    for bit in range(scutes - 3):
        pairs, out = (one.reshape(-1, 2, 1 << bit) for one in (dark, wide))
        out |= pairs[:, ::-1]
    return wide


def _project(masks: Masks, bits: tuple[int, ...]) -> Masks:
    """Number the sets of scutes by these bits alone, the first bit lowest."""
    at = np.zeros(len(masks), np.uint32)
    for place, bit in enumerate(bits):
        at |= (masks >> np.uint32(bit) & np.uint32(1)) << np.uint32(place)
    return at


@lru_cache(maxsize=16)
def _legal(scheme: Scheme, notches: int, spoilt: int) -> Masks:
    """Return the scheme's codes of so many notches as masks, in scheme order."""
    if scheme.style == "additive":
        numbers = _numbers(scheme)
        written: Masks = numbers[(np.bitwise_count(numbers) == notches) & (numbers & np.uint32(spoilt) == 0)]
        return written
    bits = [bit for bit in scheme.bits if not spoilt >> bit & 1]
    masks = _choices(bits, notches)
    on_left = np.bitwise_count(masks & np.uint32(LEFT_MASK))
    on_right = np.bitwise_count(masks & np.uint32(RIGHT_MASK))
    legal: Masks = masks[
        (on_left >= scheme.least_left)
        & (on_left <= scheme.most_left)
        & (on_right >= scheme.least_right)
        & (on_right <= scheme.most_right)
    ]
    return legal


def _choices(bits: list[int], size: int) -> Masks:
    """Return every choice of `size` of the bits as a mask, in the order of the bits (ABC, ABH, ...)."""
    # chosen[k]: the choices of k from the bits looked at so far, which are the last ones.
    chosen: list[Masks] = [np.zeros(1, np.uint32), *[np.empty(0, np.uint32) for _ in range(size)]]
    for bit in reversed(bits):
        for k in range(size, 0, -1):
            chosen[k] = np.concatenate([chosen[k - 1] | np.uint32(1 << bit), chosen[k]])
    return chosen[size]


@lru_cache(maxsize=8)
def _numbers(scheme: Scheme) -> Masks:
    """Return the notches of every number of an additive scheme, from 1 upwards; without those it cannot write."""
    masks = np.zeros(1, np.int64)
    for digits in scheme.digit_masks:
        decade = np.array([-1 if digit is None else digit for digit in digits], np.int64)
        both = decade[:, None] | masks[None, :]  # -1 stays -1: it has every bit
        masks = both.ravel()
    written = masks[1:]
    return written[written >= 0].astype(np.uint32)


def _mirrored(masks: Masks) -> Masks:
    shift = np.uint32(LEFT_BIT)
    return (masks & np.uint32(RIGHT_MASK)) << shift | (masks & np.uint32(LEFT_MASK)) >> shift


def _shifted(scheme: Scheme, masks: Masks) -> Masks:
    found = [
        masks[np.bitwise_count(masks & np.uint32(pair)) == 1] ^ np.uint32(pair) for pair in neighbors(scheme)
    ]
    return np.concatenate(found) if found else masks[:0]


def _check_whole(number: int, name: str) -> None:
    if isinstance(number, bool) or not isinstance(number, int) or number < 1:
        raise ValueError(f"{name}: {number!r} cannot be used; give a whole number, 1 or more.")


def _full(blocked: _Blocked, notches: int, min_distance: int, wanted: int, apart: bool) -> str:
    """Say that nothing is left and what would free more."""
    issued, scutes = len(blocked.issued), len(blocked.bits)
    code = f"code of {notches} notch{'' if notches == 1 else 'es'}"
    ways = []
    for more in range(notches + 1, min(notches + 3, scutes) + 1):
        left = len(blocked.free(more, min_distance, wanted))
        if left:
            ways.append(f"{more} notches on each new animal ({_codes(left)} left)")
            break
    # The smaller the distance the more is left: the greatest that leaves any is found by halving.
    enough, too_far = 0, min_distance
    while too_far - enough > 1:
        between = (enough + too_far) // 2
        if len(blocked.free(notches, between, wanted)):
            enough = between
        else:
            too_far = between
    if enough:
        left = len(blocked.free(notches, enough, wanted))
        ways.append(f"a smaller distance of {enough} ({_codes(left)} left)")
    if blocked.spoilt & blocked.scheme.usable_mask:
        whole = _Blocked(blocked.scheme, blocked.issued, 0)
        left = len(whole.free(notches, min_distance, wanted))
        if left:
            ways.append(f"an animal whose {_told(blocked.spoilt)} can be notched ({_codes(left)} left)")
    if apart:
        left = len(blocked.free(notches, min_distance, wanted))
        if left:
            ways.append(
                f"not asking that mirror images or neighboring scutes be kept apart ({_codes(left)} left)"
            )
    freed = listed(ways, "or") if ways else "another scheme, or a tag"
    if not issued:
        return f"There is no {code} here: {scutes} scutes may be notched. What would give one: {freed}."
    return (
        f"No {code} is left that differs in at least {min_distance} scute{'' if min_distance == 1 else 's'} from "
        f"{'the' if issued == 1 else 'each of the'} {_codes(issued)} issued; {scutes} scutes may be notched, and codes "
        f"are never used again. What would free more: {freed}."
    )


def _codes(count: int) -> str:
    return f"{count:,} code{'' if count == 1 else 's'}".replace(",", "\u202f")


def _told(mask: int) -> str:
    return in_words(position_at(bit) for bit in range(mask.bit_length()) if mask >> bit & 1)
