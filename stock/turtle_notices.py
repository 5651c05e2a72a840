"""What a turtle's page says where its ways do not fit: dead and alive again, its sex and the class it is counted in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from ponds.svg_marks import day_text
from stock.models import MarkStep, Turtle
from stock.move_words import class_words, is_pond
from stock.moves_read import place_of

GONE_WORDS = {"DIED": "died", "SOLD": "sold", "CULLED": "culled", "ESCAPED": "escaped", "WILD": "set free"}
BOOKED = GONE_WORDS | {"DIED": "dead"}
ALIVE = ("FOUND", "SEEN", "MOVED", "MARKED")


@dataclass(frozen=True)
class CameBack:
    """A turtle booked gone by one move and met in a pond by a later one."""

    gone: MarkStep
    met: MarkStep
    words: str


def came_back(steps: Sequence[MarkStep]) -> CameBack | None:
    """Return the latest such pair of a turtle's steps, the newest step first; None where there is none."""
    standing = [
        step for step in steps if getattr(step.move, "reversed_by", None) is None and step.how != "REVERSED"
    ]
    for met, gone in pairwise(standing):
        place = place_of(gone.target) if gone.target else ""
        if place not in BOOKED or met.how not in ALIVE:
            continue
        at = place_of(met.target) if met.target else ""
        if not is_pond(at):
            continue
        fate = "death" if place == "DIED" else "loss"
        words = (
            f"It was booked {BOOKED[place]} on {day_text(gone.move.happened_on)} and met in pond {at} on "
            f"{day_text(met.move.happened_on)}. The register put its mark back in pond {at}; the book still "
            f"carries that {fate} of one head. If it was another head, correct that move and name the right "
            "turtle or none; if none went, take the move back."
        )
        return CameBack(gone, met, words)
    return None


def class_differs(turtle: Turtle) -> str:
    """Say that a turtle's sex is not the class it is counted in; "" where it is, or nothing is known."""
    cell = turtle.cell
    if cell is None or cell.pond is None or turtle.sex not in ("FEMALE", "MALE"):
        return ""
    if cell.of_class == turtle.sex or cell.of_class == "JUVENILE":
        return ""
    return (
        f"It is a {turtle.get_sex_display()} by its findings and counted among the {class_words(cell.of_class, 2)} of "
        f"pond {cell.pond.code}. What is written of its sex moves no head: log a move “sexed” there, from "
        f"{class_words(cell.of_class, 1)} to {class_words(turtle.sex, 1)}, and name turtle {turtle.code}; or, if the "
        "finding is wrong, write the right one."
    )


def step_says(step: MarkStep) -> str:
    """Return how a turtle took a step, in a word or two: "died", "sold", "went with a move"."""
    place = place_of(step.target) if step.target else ""
    if step.how == MarkStep.How.MOVED and place in GONE_WORDS:
        return GONE_WORDS[place]
    return str(step.get_how_display())
