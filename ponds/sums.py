"""Sums of figures of which some may not be known."""

from __future__ import annotations

from collections.abc import Iterable


def sum_known(figures: Iterable[int | None]) -> int | None:
    """Return the sum of the figures that are known; None where none is, which is not 0."""
    known = [figure for figure in figures if figure is not None]
    return sum(known) if known else None
