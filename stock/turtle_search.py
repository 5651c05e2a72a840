"""Find marked turtles by any mark in any form: number, tag, notch code, paint; by a rim half read; by scan."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import connection
from django.db.models import Q

from ponds.models import Kind
from stock.marks import tag
from stock.marks.codes import place_mask
from stock.marks.notch import (
    LETTER_SCHEME,
    SCHEMES,
    Issued,
    Scheme,
    candidates,
    decode,
    encode,
    mask_of,
    near_codes,
    next_free,
    not_there,
    parse_positions,
    positions_in,
)
from stock.models import Mark, Turtle

SHORTEST_PART, LONGEST_PART = 4, 11
LONGEST_NUMBER = 9
MOST_FOUND = 500
# A turtle called by its number: "turtle 3", "Turtle no. 3", "#3", and "T-3" as the archive that goes out names it.
_CALLED = re.compile(r"(?:turtle\s*(?:no\.?\s*|#\s*)?|#\s*|t-)0*(\d{1,9})", re.IGNORECASE | re.ASCII)
_LOCK = threading.Lock()
_KEPT: dict[tuple[str, int | None], tuple[tuple, Issued]] = {}


@dataclass(frozen=True)
class Found:
    """Ids of the turtles that carry (or carried) what was typed, and how it was read."""

    ids: frozenset[int]
    notes: tuple[str, ...] = ()


def search(text: str) -> Found:
    """
    Find turtles by what somebody typed or a reader sent.

    Tried are the turtle's number, a tag in any printed form (or at least four characters of its number), a notch
    code in every scheme or by its positions, and the words of a painted or other mark.
    """
    typed = text.strip()
    if not typed:
        return Found(frozenset())
    ids: set[int] = set()
    notes: list[str] = []
    number = number_in(typed)
    if number is not None:
        ids |= set(Turtle.objects.filter(pk=number).values_list("pk", flat=True))
        if not ids and is_called(typed):
            notes.append(f"There is no turtle {number}.")
    marks = Q(text__icontains=typed)
    part = typed.replace(" ", "").upper()
    is_part = len(part) >= SHORTEST_PART and part.isascii() and part.isalnum()
    try:
        read = tag.parse(typed)
    except tag.TagRefused as refused:
        if len(part) > LONGEST_PART and part.isdecimal():
            notes.append(str(refused))
    else:
        marks |= Q(tag=read.code)
        is_part = (
            is_part and read.family != "iso"
        )  # nine digits may be an older tag, or the end of a longer number
        notes += [str(note) for note in read.notes]
    if is_part:
        marks |= Q(tag__contains=part)
    masks = masks_of(typed)
    if masks:
        marks |= Q(mask__in=masks)
    ids |= set(Mark.objects.filter(marks).values_list("turtle", flat=True)[:MOST_FOUND])
    return Found(frozenset(ids), tuple(notes))


def number_in(typed: str) -> int | None:
    """
    Return the number of the turtle that a text may name, plain or as it is called; None where it names none.

    >>> [number_in(text) for text in ("3", "#3", "Turtle 3", "T-0003", "BKO", "1234567890")]
    [3, 3, 3, 3, None, None]
    """
    if typed.isascii() and typed.isdecimal():
        return int(typed) if len(typed) <= LONGEST_NUMBER else None
    called = _CALLED.fullmatch(typed.strip())
    return int(called[1]) if called else None


def is_called(typed: str) -> bool:
    """Say whether a text calls a turtle by its number in so many words, so that it can mean no code."""
    return _CALLED.fullmatch(typed.strip()) is not None


def masks_of(typed: str) -> set[int]:
    """Return the notched scutes that a text stands for, in every scheme that can read it, and as positions."""
    masks: set[int] = set()
    for read in (
        parse_positions,
        *(lambda code, scheme=scheme: decode(scheme, code) for scheme in SCHEMES.values()),
    ):
        try:
            masks.add(mask_of(read(typed)))
        except ValueError:
            continue
    return masks - {0}


@dataclass(frozen=True)
class HalfRead:
    """What a worn rim may be: turtles, the fewest doubtful scutes first, and how many scutes each is off."""

    ids: tuple[int, ...]
    off: dict[int, int]
    sentence: str


def half_read(
    scheme: Scheme, clear: Iterable[str], doubtful: Iterable[str], kind: Kind | None = None
) -> HalfRead:
    """
    Return the turtles whose notches a reading fits; where none does, those one or two scutes off.

    Raises
    ------
    ValueError
        A scute that is neither a position nor a letter of the scheme, with a sentence.
    """
    clear, doubtful = tuple(clear), tuple(doubtful)
    issued = issued_in(scheme, kind)
    off: dict[int, int] = {}
    fits = [_mask(scheme, code) for code in candidates(scheme, issued, clear, doubtful)]
    sentence = (
        "1 code fits what was read. Hold it against the animal: it is not certain by itself."
        if len(fits) == 1
        else f"{len(fits)} codes fit what was read. Hold each against the animal: none is certain by itself."
    )
    if not fits:
        near = near_codes(scheme, issued, clear, doubtful)[:MOST_FOUND]
        off = {_mask(scheme, one.code): one.scutes_off for one in near}
        fits = list(off)
        codes = "1 code is" if len(fits) == 1 else f"{len(fits)} codes are"
        sentence = (
            f"No code fits. {codes} one or two scutes off: possible misreadings."
            if fits
            else "No code fits, and none is within two scutes. Read the rim again, or search by another mark."
        )
    order = {mask: place for place, mask in enumerate(fits[:MOST_FOUND])}
    rows = Mark.objects.filter(mask__in=order)
    if kind is not None:
        rows = rows.filter(kind=kind)
    found = sorted((order[mask], pk, mask) for mask, pk in rows.values_list("mask", "turtle") if mask)
    turtles = len({pk for _, pk, _ in found})
    if turtles > len(fits):
        sentence += f" They are on {turtles} turtles: some codes were given twice."
    return HalfRead(
        tuple(dict.fromkeys(pk for _, pk, _ in found)),
        {pk: off[mask] for _, pk, mask in found if mask in off},
        sentence,
    )


def free_code(
    scheme: Scheme, kind: Kind, *, notches: int = 3, min_distance: int = 2, damaged: Iterable[str] = ()
) -> str:
    """
    Return the next code of a scheme that no turtle of a kind has or had.

    Raises
    ------
    ValueError
        Softshells, or SchemeFull with what would free more.
    """
    closed = (*not_there(scheme, kind.scientific_name), *damaged)
    return next_free(
        scheme, issued_in(scheme, kind), notches=notches, min_distance=min_distance, unusable=closed
    )


def issued_in(scheme: Scheme, kind: Kind | None = None) -> Issued:
    """Return every notch code ever put on, of one kind or of all; kept until a mark is added."""
    rows = Mark.objects.filter(mask__isnull=False)
    if kind is not None:
        rows = rows.filter(kind=kind)
    # Marks are never changed nor deleted, so the last one tells whether one was added: where one posts at a time.
    stamp: tuple = tuple(rows.order_by("-pk").values_list("pk", "mask", "recorded_at")[:1])
    if connection.vendor == "postgresql":
        # Of two that post at the same time, the one with the earlier id may be there last.
        stamp = (*stamp, rows.count())
    name = (scheme.key, kind.pk if kind is not None else None)
    with _LOCK:
        kept = _KEPT.get(name)
    if kept is not None and kept[0] == stamp:
        return kept[1]
    masks = rows.order_by("pk").values_list("mask", flat=True)
    issued = Issued.from_masks(scheme, (mask for mask in masks if mask))
    with _LOCK:
        _KEPT[name] = (stamp, issued)
    return issued


def typed_scutes(text: str, scheme: Scheme) -> tuple[str, ...]:
    """
    Read scutes as typed: "R2 L10", "B K", "BK" in letter schemes.

    Raises
    ------
    ValueError
        With a sentence about the part that cannot be read.
    """
    parts = text.replace(",", " ").upper().split()
    if scheme.style == "letters":
        parts = [
            letter
            for part in parts
            for letter in ([part] if part[1:].isdecimal() and part[0] in "RL" else part)
        ]
    place_mask(scheme, parts)
    return tuple(parts)


def _mask(scheme: Scheme, code: str) -> int:
    try:
        return mask_of(decode(scheme, code))
    except ValueError:
        return mask_of(parse_positions(code))


def code_of_mask(scheme_key: str, mask: int) -> str:
    """Return a notch code as its scheme writes it; its positions where the scheme is not known or cannot."""
    scheme = SCHEMES.get(scheme_key, LETTER_SCHEME)
    try:
        return encode(scheme, positions_in(mask))
    except ValueError:
        return " ".join(positions_in(mask))
