"""What others know of rows of the nest book, for its pages: this part knows nothing of who dug a nest."""

from __future__ import annotations

from collections.abc import Callable, Collection

from django.utils.html import format_html_join
from django.utils.safestring import SafeString

# Each is called with the ids of rows that stand, and returns what to say of some of them. The register of marked
# turtles appends its own.
sayings: list[Callable[[Collection[int]], dict[int, SafeString]]] = []


def words_of(rows: Collection[int]) -> dict[int, SafeString]:
    """Return what is said of rows of the nest book, by id; rows of which nothing is said are left out."""
    said: dict[int, list[SafeString]] = {}
    for saying in sayings if rows else ():
        for row, words in saying(rows).items():
            said.setdefault(row, []).append(words)
    return {row: format_html_join(" ", "{}", ((one,) for one in words)) for row, words in said.items()}
