"""The question what some moves would do to a pond, and its answer, as plain values. Imports no Django."""

from __future__ import annotations

from dataclasses import dataclass

from ponds.svg_marks import figure_text
from stock.pond_kind import PondKind

OUTSIDE = ""
"""Bought or sold: no pond of the farm at the other end."""

Limits = tuple[float, float, float]


@dataclass(frozen=True)
class TriedMove:
    """Heads of one class that come into the pond asked about or leave it; `other` is the pond at the other end."""

    of_class: str
    is_in: bool
    heads: int
    other: str

    @property
    def noun(self) -> str:
        word = "female" if self.of_class == "FEMALE" else "male"
        return word if self.heads == 1 else f"{word}s"

    @property
    def words(self) -> str:
        """Such as "40 females in from B" or "3 males out, sold"."""
        if self.is_in:
            end = f"from {self.other}" if self.other else "bought"
            return (
                f"{figure_text(self.heads)} {self.noun} in {end}"
                if self.other
                else f"{figure_text(self.heads)} {self.noun} in, {end}"
            )
        return f"{figure_text(self.heads)} {self.noun} out " + (
            f"to {self.other}" if self.other else "and sold"
        )


@dataclass(frozen=True)
class WhatIfQuestion:
    """What is tried: the pond's code, the kind (id) and the moves."""

    pond: str
    kind_id: int
    moves: tuple[TriedMove, ...]

    def change(self, code: str, of_class: str) -> tuple[int, int]:
        """Return heads of a class that come into a pond and that leave it."""
        into = leaves = 0
        for move in self.moves:
            if move.of_class != of_class:
                continue
            if (move.is_in and code == self.pond) or (not move.is_in and code == move.other):
                into += move.heads
            if (not move.is_in and code == self.pond) or (move.is_in and code == move.other):
                leaves += move.heads
        return into, leaves


@dataclass(frozen=True)
class TriedYield:
    """
    Nests, eggs or hatched eggs without the moves and with them.

    `now` and `then` are 5 % point, mean and 95 % point; `by_hand` the products of the middling figures.
    """

    words: str
    now: Limits
    then: Limits
    by_hand: tuple[float, float]


@dataclass(frozen=True)
class TriedPond:
    """
    One pond before the moves and after.

    Parameters
    ----------
    now, then : PondKind
    rows : tuple of TriedYield
        This season's; empty where its yield cannot be told, and `why_none` says why.
    settled : TriedYield or None
        Hatched eggs of a season once the females that moved have settled, at the same heads.
    arithmetic : str
        The product that leads to `rows`.
    """

    now: PondKind
    then: PondKind
    rows: tuple[TriedYield, ...] = ()
    settled: TriedYield | None = None
    why_none: str = ""
    arithmetic: str = ""

    @property
    def code(self) -> str:
        return self.now.pond_code

    @property
    def lines(self) -> tuple[tuple[str, PondKind, float], ...]:
        """The two lines of a table: when, the pond and its use of the head limit."""
        return ("now", self.now, self.now.head_use), ("then", self.then, self.then.head_use)

    @property
    def room_then(self) -> float | None:
        return self.then.head_room

    @property
    def is_over(self) -> bool:
        return self.room_then is not None and self.room_then < 0


@dataclass(frozen=True)
class WhatIfAnswer:
    """
    The answer.

    Parameters
    ----------
    question : WhatIfQuestion
    ponds : tuple of TriedPond
        The pond asked about, then the others the moves touch, in the order of the moves.
    more_eggs : Limits or None
        Eggs the moves add this season, all ponds together: 5 % point, mean and 95 % point; below 0 they cost eggs.
    warnings : tuple of str
        What stands against the moves, worst first.
    notes : tuple of str
        How the figures were come by.
    """

    question: WhatIfQuestion
    ponds: tuple[TriedPond, ...]
    more_eggs: Limits | None
    warnings: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def pond(self) -> TriedPond:
        return self.ponds[0]

    @property
    def cost(self) -> float:
        """Eggs the moves cost; 0 where they add some."""
        return 0.0 if self.more_eggs is None else max(0.0, -self.more_eggs[1])
