"""The read side of tasks: which are open, how far each is done, and each in one sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Case, CharField, Count, F, Q, QuerySet, Sum, Value, When
from django.db.models.functions import Coalesce, Length

from stock.models import Task, TaskMove
from stock.planning import CLASS_WORDS

OPEN, DONE, DROPPED = "OPEN", "DONE", "DROPPED"
STATES = ((OPEN, "open"), (DONE, "done"), (DROPPED, "dropped"))
STATE_WORDS = dict(STATES)


@dataclass(frozen=True)
class OpenTask:
    """A task that is neither dropped nor done. `heads` and `heads_left` are None for a recount."""

    id: int
    pond: str
    verb: str
    kind: str
    kind_name: str
    of_class: str
    heads: int | None
    heads_done: int
    heads_left: int | None
    why: str
    decided_on: dt.date
    due_on: dt.date | None
    sentence: str

    def is_overdue(self, today: dt.date) -> bool:
        return self.due_on is not None and self.due_on < today

    @property
    def progress(self) -> str:
        """Say how far it is, or "" where nothing is done yet."""
        return f"{self.heads_done} of {self.heads} done" if self.heads_done else ""


def with_progress(tasks: QuerySet[Task]) -> QuerySet[Task]:
    """Annotate `heads_done`, `times_done` and `state` (OPEN, DONE, DROPPED) in the same query."""
    standing = Q(done_by__isnull=False, done_by__move__reversed_by__isnull=True)
    return tasks.annotate(
        heads_done=Coalesce(Sum("done_by__heads", filter=standing), 0),
        times_done=Count("done_by", filter=standing),
    ).annotate(
        state=Case(
            When(dropped_at__isnull=False, then=Value(DROPPED)),
            When(verb=Task.Verb.RECOUNT, times_done__gt=0, then=Value(DONE)),
            When(~Q(verb=Task.Verb.RECOUNT) & Q(heads_done__gte=F("heads")), then=Value(DONE)),
            default=Value(OPEN),
            output_field=CharField(),
        )
    )


def open_tasks(pond_ids: Iterable[int] | None = None, *, also: Iterable[int] = ()) -> list[OpenTask]:
    """
    Return the open tasks (of some ponds), in the order of the ponds, then oldest decision first: one query.

    `also` names tasks to return whether or not they are open, such as those that a move being corrected ticked.
    """
    wanted = list(also)
    # Dropped ones go before anything is summed up.
    may_be_open = Q(dropped_at=None)
    if pond_ids is not None:
        may_be_open &= Q(pond__in=list(pond_ids))
    tasks = Task.objects.filter(may_be_open | Q(pk__in=wanted) if wanted else may_be_open)
    tasks = with_progress(tasks).filter(Q(state=OPEN) | Q(pk__in=wanted)).select_related("pond", "kind")
    return [
        open_task(task) for task in tasks.order_by(Length("pond__code"), "pond__code", "decided_on", "pk")
    ]


def decided_heads(tasks: Iterable[OpenTask], pond: str, kind: str) -> dict[tuple[str, str], int]:
    """Return (verb, class) -> heads that open tasks still add to, or take out of, a pond and kind (their codes)."""
    found: dict[tuple[str, str], int] = {}
    for task in tasks:
        if (task.pond, task.kind) == (pond, kind) and task.heads_left:
            way = (task.verb, task.of_class)
            found[way] = found.get(way, 0) + task.heads_left
    return found


def done_heads(pond_id: int, day: dt.date) -> dict[str, dict[tuple[str, str], int]]:
    """
    Return kind code -> (verb, class) -> heads that tasks added to a pond, or took out, after a day: one query.

    By the book's days, as the pond stood on that day: what was logged late for a closed month came after it. What was
    taken back is not among them, and what was done of a task dropped later is.
    """
    rows = (
        TaskMove.objects.filter(
            task__pond=pond_id,
            task__kind__isnull=False,
            move__booked_on__gt=day,
            move__reversed_by__isnull=True,
        )
        .values("task__kind__code", "task__verb", "task__of_class")
        .annotate(all_heads=Sum("heads"))
        .order_by()
    )
    found: dict[str, dict[tuple[str, str], int]] = {}
    for row in rows:
        of_kind = found.setdefault(row["task__kind__code"], {})
        of_kind[row["task__verb"], row["task__of_class"]] = row["all_heads"]
    return found


def state_of(task: Task) -> str:
    """Return OPEN, DONE or DROPPED of a task loaded by `with_progress`."""
    return task.state  # type: ignore[attr-defined]


def task_sentence(task: Task) -> str:
    """Say what is to be done, as in "Take out 12 Slider males"."""
    if task.verb == Task.Verb.RECOUNT:
        return f"Recount {task.kind.common_name}" if task.kind else "Recount"
    words = CLASS_WORDS[task.of_class][0 if task.heads == 1 else 1]
    verb = "Add" if task.verb == Task.Verb.ADD else "Take out"
    return f"{verb} {task.heads} {task.kind.common_name if task.kind else ''} {words}"


def open_task(task: Task) -> OpenTask:
    """Return an open task loaded by `with_progress` with its pond and kind, as plain values."""
    done = task.heads_done  # type: ignore[attr-defined]
    return OpenTask(
        id=task.pk,
        pond=task.pond.code,
        verb=task.verb,
        kind=task.kind.code if task.kind else "",
        kind_name=task.kind.common_name if task.kind else "",
        of_class=task.of_class,
        heads=task.heads,
        heads_done=done,
        heads_left=None if task.heads is None else max(0, task.heads - done),
        why=task.why,
        decided_on=task.decided_on,
        due_on=task.due_on,
        sentence=task_sentence(task),
    )
