"""What is said of where the new females stand now, and the plan as open tasks, one a pond."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from ponds.models import Kind, Pond
from stock import task_book
from stock.models import Task
from stock.placing_answer import Advice, PondAdvice
from stock.pond_kind import PondKind
from stock.tasks import open_tasks

LONGEST_WHY = 300


@dataclass(frozen=True)
class Source:
    """
    Where the new females stand before they are placed.

    Parameters
    ----------
    code : str
        The pond; "" where they are not on the farm yet.
    females, unsexed : int
        Of the kind, by the book.
    in_quarantine : bool
    released_on : date or None
        The day its quarantine is due to end.
    sentences : tuple of str
        What to know before they are moved.
    """

    code: str = ""
    females: int = 0
    unsexed: int = 0
    in_quarantine: bool = False
    released_on: dt.date | None = None
    sentences: tuple[str, ...] = ()


def source_of(code: str, heads: int, kind: PondKind, facts: Sequence[PondKind]) -> Source:
    """Return what is known of the pond the new females stand in; `kind` is any row of their kind."""
    there = [one for one in facts if one.pond_code == code]
    if not there:
        return Source()
    mine = next((one for one in there if one.kind_id == kind.kind_id), None)
    use = there[0].use
    females, unsexed = (mine.heads.females, mine.heads.unsexed) if mine else (0, 0)
    said = []
    if use.in_quarantine:
        day = (
            f"on {use.ends_on.day} {use.ends_on:%b %Y}" if use.ends_on else "at its end, which has no day yet"
        )
        said.append(
            f"Pond {code} is in quarantine. Nothing leaves it until it is released, {day}: this is the plan for then, "
            "by the book of today."
        )
    if unsexed:
        said.append(
            f"{unsexed} of this kind stand there unsexed. Only what is sexed female can be placed: sex them first, "
            "then ask again with the number found."
        )
    if heads > females:
        said.append(
            f"By the book {females} females of this kind stand in pond {code}, fewer than the {heads} asked about."
        )
    return Source(code, females, unsexed, use.in_quarantine, use.ends_on, tuple(said))


def decided_for(kind: str) -> dict[str, int]:
    """Return pond's code -> females of a kind (its code) that open tasks still add there: one query."""
    found: dict[str, int] = {}
    for task in open_tasks():
        if (task.verb, task.kind, task.of_class) == (Task.Verb.ADD, kind, "FEMALE") and task.heads_left:
            found[task.pond] = found.get(task.pond, 0) + task.heads_left
    return found


def why_of(advice: Advice, pond: PondAdvice, heads: int) -> str:
    """Return the reason a task carries: short, with its numbers."""
    males = pond.facts.males_now
    seasons = advice.question.seasons
    adds = sum(pond.gains[:heads])
    by_hand = "" if heads == pond.given else f" Changed by hand from {pond.given}."
    ratio = (
        f"by {pond.facts.whose} {pond.females_before / males:.2f} : 1"
        f"{' once earlier tasks are done' if pond.decided else ''} becomes "
        f"{(pond.females_before + heads) / males:.2f} : 1; "
        if males
        else ""
    )
    return (
        f"New females, {advice.question.heads} in all{_from(advice)}: {ratio}about {adds:.0f} hatched eggs more over "
        f"{seasons} season{'s' if seasons > 1 else ''}.{by_hand}"
    )[:LONGEST_WHY]


def _from(advice: Advice) -> str:
    return f", from pond {advice.question.source}" if advice.question.source else ""


@transaction.atomic
def make_tasks(advice: Advice, heads: Mapping[str, int], source: Source, *, by, today: dt.date) -> list[Task]:
    """
    Make one open task for each pond that gets some: all of them or none.

    The same plan made again on the same day gives the tasks that stand.

    Raises
    ------
    TaskRefused
        As `task_book.make`.
    """
    kind = Kind.objects.get(pk=advice.question.kind_id)
    due_on = source.released_on if source.released_on and source.released_on >= today else None
    ponds = Pond.objects.in_letter_order().filter(code__in=[code for code, count in heads.items() if count])
    made = []
    for pond in ponds:
        advised = advice.pond(pond.code)
        made.append(
            task_book.make(
                pond=pond,
                verb=Task.Verb.ADD,
                kind=kind,
                of_class="FEMALE",
                heads=heads[pond.code],
                why=why_of(advice, advised, heads[pond.code]) if advised else "",
                due_on=due_on,
                by=by,
                today=today,
            )
        )
    return made
