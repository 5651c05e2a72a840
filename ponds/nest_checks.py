"""Whether a day of nests is plausible: questions to the person who typed it, never refusals. Imports no Django."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from ponds.clutches import ClutchCount
from ponds.svg_marks import figure_text

MANY_TIMES = 3
"""Nests above so many times the most ever dug there in a day are asked about; an assumption."""
FEWEST_DAYS = 5
"""So many days must be in the book before its busiest is a measure."""
FEWEST_NESTS = 10
"""Fewer nests are never too many."""
BELOW, ABOVE = 0.5, 1.5
"""Eggs a nest are asked about below half the kind's low and above one and a half times its high; an assumption."""


@dataclass(frozen=True)
class DaysBefore:
    """
    What the nest book has of a pond and kind.

    Parameters
    ----------
    days : int
        Rows that stand.
    most_nests : int
        The most nests of any of them.
    same_day : int or None
        Nests it has for the very day; None where it has no row for it.
    """

    days: int
    most_nests: int
    same_day: int | None


def doubts(
    *,
    pond: str,
    kind: str,
    nests: int,
    eggs: int | None,
    before: DaysBefore,
    eggs_a_nest: tuple[float, float] | None,
) -> tuple[str, ...]:
    """
    Return what is odd about a day of nests, a sentence each; none where nothing is.

    Parameters
    ----------
    pond, kind : str
        As the person reads them, such as "A" and "Slider".
    nests : int
        Nests dug.
    eggs : int or None
        Eggs picked; None where they were not counted.
    before : DaysBefore
        What the book has of that pond and kind.
    eggs_a_nest : (low, high) or None
        The kind's 5 % and 95 % points; None where they are not known.

    Returns
    -------
    tuple of str
        Questions.
    """
    found = []
    if before.same_day is not None:
        found.append(are_these_more(pond=pond, kind=kind, nests=nests, held=before.same_day))
    if (
        nests >= FEWEST_NESTS
        and before.days >= FEWEST_DAYS
        and nests > MANY_TIMES * max(before.most_nests, 1)
    ):
        found.append(
            f"{nests_text(nests)} in a day: the most ever dug of {kind} at pond {pond} is "
            f"{figure_text(before.most_nests)}, on one of "
            f"{figure_text(before.days)} days in the book."
        )
    if eggs is not None and nests and eggs_a_nest:
        mean, (low, high) = eggs / nests, eggs_a_nest
        if not BELOW * low <= mean <= ABOVE * high:
            found.append(
                f"{figure_text(eggs)} eggs from {nests_text(nests)} are {mean:.1f} a nest; {kind} lays "
                f"{low:g} to {high:g}."
            )
    return tuple(found)


def are_these_more(*, pond: str, kind: str, nests: int, held: int, where: str = "in the book") -> str:
    """Return the question about nests of a day that has some of that pond and kind already."""
    more = f"Are these {nests_text(nests)} more?"
    return f"Pond {pond} has {nests_text(held)} of {kind} {where} for this day already. {more}"


def disagreements(
    clutches: Sequence[ClutchCount], *, nests: int | None, eggs: int | None, broken: int | None
) -> tuple[str, ...]:
    """Return where typed figures are not the sums of a line of clutches; figures left empty never disagree."""
    if not clutches:
        return ()
    sums = {"nests": len(clutches), "eggs": sum(one.eggs for one in clutches), "broken": sum(
        one.broken for one in clutches
    )}  # fmt: skip
    typed = {"nests": nests, "eggs": eggs, "broken": broken}
    apart = [name for name, figure in typed.items() if figure is not None and figure != sums[name]]
    if not apart:
        return ()
    of_typed = ", ".join(f"{figure_text(typed[name])} {name}" for name in apart)
    of_line = ", ".join(f"{figure_text(sums[name])} {name}" for name in apart)
    return (
        f"The line of clutches comes to {of_line}; you typed {of_typed}. If only some nests were counted one by one, "
        "that is right.",
    )


def sign(questions: Sequence[str]) -> str:
    """Return a short mark of these questions: a confirmation holds for the very figures that were asked about.

    >>> sign(["a"]) == sign(["a"]), sign(["a"]) == sign(["b"])
    (True, False)
    """
    return hashlib.sha256("\n".join(questions).encode()).hexdigest()[:16]


def nests_text(count: int) -> str:
    """Write nests with their figure, such as "1 nest" or "1,200 nests"."""
    return f"{figure_text(count)} nest{'' if count == 1 else 's'}"
