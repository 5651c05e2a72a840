"""Moves in plain words: what went where, in one sentence. Reads and writes nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stock.models import Cause
from stock.planning import CLASS_WORDS

OUTSIDE_WORDS = {
    "OPENING": "the opening",
    "BOUGHT": "outside, bought",
    "RAISED": "raised here",
    "WILD": "the wild",
    "DIED": "dead",
    "SOLD": "sold",
    "CULLED": "culled",
    "ESCAPED": "escaped",
    "UNSEEN": "unseen",
}
CAUSE_WORDS = {code: str(words) for code, words in Cause.choices} | {"NOT_KNOWN": "cause not known"}


@dataclass(frozen=True)
class Part:
    """One entry as read: places are pond codes or outside words; `batch` is a batch's code or empty."""

    source: str
    target: str
    kind: str
    of_class: str
    to_class: str
    heads: int
    reason: str
    cause: str = ""
    batch: str = ""


def is_pond(place: str) -> bool:
    """Return whether a place is a pond's code: outside words are longer."""
    return 0 < len(place) <= 3


def place_words(place: str) -> str:
    """Return a pond's code as it is, and a place beyond the ponds in words.

    >>> place_words("A"), place_words("DIED")
    ('A', 'dead')
    """
    return OUTSIDE_WORDS.get(place, place)


def class_words(of_class: str, heads: int) -> str:
    """Return "female" or "females".

    >>> class_words("FEMALE", 1), class_words("FEMALE", 2), class_words("UNSEXED", 2)
    ('female', 'females', 'unsexed')
    """
    return CLASS_WORDS[of_class][0 if heads == 1 else 1]


def part_sentence(part: Part, *, says_kind: bool = True) -> str:
    """Say one entry.

    >>> part_sentence(Part("A", "C", "Slider", "FEMALE", "FEMALE", 12, "MOVED"))
    '12 Slider females A to C'
    >>> part_sentence(Part("A", "DIED", "Slider", "MALE", "MALE", 2, "DIED", "BITES"), says_kind=False)
    '2 males died in A (bites)'
    >>> part_sentence(Part("A", "DIED", "Slider", "MALE", "MALE", 1, "DIED", "DISEASE"))
    '1 Slider male died in A (looked sick)'
    >>> part_sentence(Part("UNSEEN", "A", "Slider", "MALE", "MALE", 7, "BEYOND_BOOK"))
    '7 Slider males more than the book held in A'
    >>> part_sentence(Part("SOLD", "A", "Slider", "MALE", "MALE", 1, "SOLD"))
    '1 Slider male sold from A, taken back'
    """
    kind = f"{part.kind} " if says_kind else ""
    who = f"{part.heads} {kind}{class_words(part.of_class, part.heads)}"
    source, target = part.source, part.target
    cause = f" ({CAUSE_WORDS.get(part.cause, part.cause)})" if part.cause else ""
    if part.reason in ("SEXED", "MATURED"):
        word = "sexed" if part.reason == "SEXED" else "matured,"
        return f"{who} {word} {CLASS_WORDS[part.to_class][0]} in {target}"
    if is_pond(source) and is_pond(target):
        return f"{who} {source} to {target}"
    out = is_pond(source)
    pond = source if out else target
    back = ", taken back" if out != (part.reason in ("DIED", "SOLD", "CULLED", "ESCAPED")) else ""
    said = {
        "DIED": f"died in {pond}{cause}",
        "SOLD": f"sold from {pond}",
        "CULLED": f"culled from {pond}",
        "ESCAPED": f"escaped from {pond}",
        "BOUGHT": f"bought into {pond}",
        "RAISED": f"raised here into {pond}",
        "WILD": f"from the wild into {pond}",
        "OPENING": f"stood in {pond} at the opening",
        "BEYOND_BOOK": f"more than the book held in {pond}",
        "COUNT_RESET": f"{'fewer' if out else 'more'} in {pond} by the count",
    }
    if part.reason in ("BEYOND_BOOK", "COUNT_RESET"):
        back = ", taken back" if part.reason == "BEYOND_BOOK" and out else ""
    return f"{who} {said.get(part.reason, f'{source} to {target}')}{back}"


def sentence(parts: Iterable[Part]) -> str:
    """Say a move, the kind once for as long as it stays the same.

    >>> sentence([Part("A", "C", "Slider", "FEMALE", "FEMALE", 12, "MOVED"),
    ...           Part("A", "DIED", "Slider", "MALE", "MALE", 2, "DIED")])
    '12 Slider females A to C; 2 males died in A'
    """
    said, kind = [], ""
    for part in parts:
        said.append(part_sentence(part, says_kind=part.kind != kind))
        kind = part.kind
    return "; ".join(said)
