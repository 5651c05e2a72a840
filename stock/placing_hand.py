"""A placing changed by hand, set beside the best one. Reads and writes nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ponds.svg_marks import figure_text
from stock.placing_advice import at_once_words, head_room
from stock.placing_answer import Advice, PondAdvice


@dataclass(frozen=True)
class HandPlacing:
    """
    What a placing by hand gives.

    Parameters
    ----------
    heads : mapping of str to int
        Pond code to females, as typed.
    placed, asked : int
        All of them, and how many there are to place.
    total : float
        Hatched eggs they add over the seasons; heads beyond a cap add nothing here.
    loss : float
        What that is short of the best placing of the heads asked about.
    share : float
        The total as a share of the best; 1 where the best adds nothing.
    problems : mapping of str to str
        Pond code to the sentence why so many cannot go there.
    sentence : str
        Of the whole placing: heads left over or too many; "" where they are all placed.
    """

    heads: Mapping[str, int]
    placed: int
    asked: int
    total: float
    loss: float
    share: float
    problems: Mapping[str, str]
    sentence: str

    @property
    def can_be_done(self) -> bool:
        return 0 < self.placed <= self.asked and not self.problems


def judge(advice: Advice, heads: Mapping[str, int]) -> HandPlacing:
    """Set a placing by hand beside the best one; a pond not named gets none."""
    problems = {}
    total = 0.0
    for code, count in heads.items():
        pond = advice.pond(code)
        if not count:
            continue
        if pond is None or not pond.is_open or count > pond.cap:
            problems[code] = _too_many(pond, code, count, advice)
        elif count < pond.at_least:
            problems[code] = f"Pond {code} cannot take {count} alone. {at_once_words(pond)}"
        if pond is not None:
            total += math.fsum(pond.gains[:count])
    placed = sum(heads.values())
    asked = advice.question.heads
    sentence = ""
    if placed > asked:
        sentence = f"{placed} are placed by hand, {placed - asked} more than the {asked} there are."
    elif placed < asked:
        sentence = f"{placed} of {asked} are placed by hand; {asked - placed} are left over."
    share = total / advice.total if advice.total else 1.0
    return HandPlacing(heads, placed, asked, total, advice.total - total, share, problems, sentence)


def _too_many(pond: PondAdvice | None, code: str, count: int, advice: Advice) -> str:
    if pond is None:
        return f"Pond {code} is not kept for {advice.kind.kind_name}; it cannot take {count}."
    if pond.obstacles:
        return f"Pond {code} cannot take {count}: {pond.obstacles[0].sentence}"
    facts = pond.facts
    room = head_room(facts) - pond.decided
    limit = (
        f"its limit of {figure_text(facts.head_limit)} leaves room for {figure_text(max(0, room))}"
        if facts.head_limit is not None
        else "it has no head limit"
    )
    return (
        f"Pond {code} can take {pond.cap}, not {count}: {limit}, and the band ends at {facts.band[1]:g} females "
        f"to each of its {facts.males_now} males"
        f"{f'; {pond.decided} are already decided for it (open task)' if pond.decided else ''}."
    )
