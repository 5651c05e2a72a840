"""The whole-farm plan as open tasks: sealed into the page that shows it, and made from that seal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from django.core import signing
from django.db import transaction

from ponds.models import Kind, Pond
from stock import task_book
from stock.book import by_pond_and_kind
from stock.farm_plan_answer import PlanAnswer, PondPlan
from stock.models import Task
from stock.planning import CLASS_WORDS
from stock.refusals import Refused
from stock.tasks import open_tasks

SALT = "farm-plan"
GOOD_FOR_SECONDS = 24 * 3600
LONGEST_WHY = 300


@dataclass(frozen=True)
class PlannedTask:
    """One task to be made: heads of a kind and class to add to a pond or take out of it, and why."""

    pond: str
    kind: str
    verb: str
    of_class: str
    heads: int
    why: str


@dataclass(frozen=True)
class SealedPlan:
    """The tasks of a plan, and what its ponds held by the book when it was made: (pond, kind, females, males)."""

    tasks: tuple[PlannedTask, ...]
    stood: tuple[tuple[str, str, int, int], ...]


class SealBroken(Refused):
    """The plan sent back is not the one that was shown, or too old; `sentence` says which."""


def planned_tasks(answer: PlanAnswer) -> tuple[PlannedTask, ...]:
    """Return one task for each pond, kind and class that changes, in letter order."""
    return tuple(
        _task(answer, pond, of_class, change)
        for pond in answer.ponds
        for of_class, change in (
            ("MALE", pond.males - pond.males_before),
            ("FEMALE", pond.females - pond.females_before),
        )
        if change
    )


def _task(answer: PlanAnswer, pond: PondPlan, of_class: str, change: int) -> PlannedTask:
    """Say with the task where the heads go or come from, and what it does to the pond."""
    kind = pond.facts.kind_code
    ways = []
    for move in answer.moves:
        if (move.kind, move.of_class) != (kind, of_class):
            continue
        if change < 0 and move.source == pond.code:
            ways.append(f"{move.heads} {f'to {move.target}' if move.target else 'sold'}")
        if change > 0 and move.target == pond.code:
            ways.append(f"{move.heads} {f'from {move.source}' if move.source else 'bought'}")
    turns = ""
    if pond.males_before and pond.males:
        turns = f"; {pond.before_words} becomes {pond.after_words}"
    first = " Males first." if of_class == "FEMALE" and change > 0 else ""
    why = f"Whole-farm plan: {', '.join(ways)}{turns}.{first}"
    return PlannedTask(
        pond=pond.code,
        kind=kind,
        verb=Task.Verb.ADD if change > 0 else Task.Verb.TAKE_OUT,
        of_class=of_class,
        heads=abs(change),
        why=why if len(why) <= LONGEST_WHY else f"{why[: LONGEST_WHY - 1]}…",
    )


def seal(answer: PlanAnswer) -> str:
    """Return the plan's tasks as signed text, to be sent back by the page that shows them."""
    stood = [
        (pond.code, pond.facts.kind_code, pond.facts.heads.females, pond.facts.heads.males)
        for pond in answer.ponds
        if pond.is_changed
    ]
    tasks = [
        (one.pond, one.kind, str(one.verb), one.of_class, one.heads, one.why) for one in planned_tasks(answer)
    ]
    return signing.dumps({"stood": stood, "tasks": tasks}, salt=SALT, compress=True)


def unseal(text: str) -> SealedPlan:
    """
    Return what was sealed.

    Raises
    ------
    SealBroken
        If it was changed, or is older than a day.
    """
    try:
        held = signing.loads(text, salt=SALT, max_age=GOOD_FOR_SECONDS)
    except signing.SignatureExpired:
        raise SealBroken(
            "The plan is older than a day. Ask again and make the tasks of the new answer."
        ) from None
    except signing.BadSignature:
        raise SealBroken("Ask for a plan first, then make the tasks of the answer shown.") from None
    return SealedPlan(
        tasks=tuple(PlannedTask(*task) for task in held["tasks"]),
        stood=tuple((pond, kind, females, males) for pond, kind, females, males in held["stood"]),
    )


def changes_since(plan: SealedPlan, today: dt.date) -> list[str]:
    """Say which ponds of the plan hold other heads by now; empty where none does."""
    ponds = dict(Pond.objects.values_list("code", "pk"))
    kinds = {kind.code: kind for kind in Kind.objects.all()}
    held = by_pond_and_kind(today)
    said = []
    for pond, kind, females, males in plan.stood:
        now = held.get((ponds[pond], kinds[kind].pk))
        for of_class, was, there in (
            ("FEMALE", females, now.females if now else 0),
            ("MALE", males, now.males if now else 0),
        ):
            if was != there:
                words = f"{kinds[kind].common_name} {CLASS_WORDS[of_class][1]}"
                said.append(f"Pond {pond} held {was} {words} and now holds {there}.")
    return said


def waiting(kinds: Collection[str]) -> list[str]:
    """Return the sentences of open tasks that add or take out heads of these kinds (codes): one query."""
    return [
        f"{task.sentence} ({task.pond})"
        for task in open_tasks()
        if task.kind in kinds and task.verb != Task.Verb.RECOUNT and task.heads_left
    ]


@transaction.atomic
def make_tasks(plan: SealedPlan, *, by, today: dt.date) -> list[Task]:
    """
    Make the tasks: all of them or none. The same plan made again on the same day gives the tasks that stand.

    Raises
    ------
    TaskRefused
        As `task_book.make`.
    """
    ponds = {pond.code: pond for pond in Pond.objects.filter(code__in=[one.pond for one in plan.tasks])}
    kinds = {kind.code: kind for kind in Kind.objects.filter(code__in=[one.kind for one in plan.tasks])}
    return [
        task_book.make(
            pond=ponds[one.pond],
            verb=one.verb,
            kind=kinds[one.kind],
            of_class=one.of_class,
            heads=one.heads,
            why=one.why,
            by=by,
            today=today,
        )
        for one in plan.tasks
    ]
