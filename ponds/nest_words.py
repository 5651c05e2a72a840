"""What others know of rows of the nest book: this part knows nothing of who dug a nest, or of what stands where."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from ponds.models import NestDay

# Each is called with the ids of rows that stand, and returns what to say of some of them. The register of marked
# turtles appends its own.
sayings: list[Callable[[Collection[int]], dict[int, SafeString]]] = []
# Each is called with rows about to be booked, and returns what it asks of each, in their order. The register of heads
# appends its own: whether the kind digs on that day, and whether a female stands there.
askings: list[Callable[[Sequence[NestDay]], Sequence[tuple[str, ...]]]] = []


def asked_of(rows: Sequence[NestDay]) -> list[tuple[str, ...]]:
    """Return what others ask of rows of the nest book, in their order; an empty tuple where nobody asks anything."""
    asked: list[tuple[str, ...]] = [()] * len(rows)
    for asking in askings if rows else ():
        asked = [held + more for held, more in zip(asked, asking(rows), strict=True)]
    return asked


def words_of(rows: Collection[int]) -> dict[int, SafeString]:
    """Return what is said of rows of the nest book, by id; rows of which nothing is said are left out."""
    said: dict[int, list[SafeString]] = {}
    for saying in sayings if rows else ():
        for row, words in saying(rows).items():
            said.setdefault(row, []).append(words)
    return {row: format_html_join(" ", "{}", ((one,) for one in words)) for row, words in said.items()}
