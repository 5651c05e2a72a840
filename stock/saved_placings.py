"""The read side of saved placings: how far each stop is, what was posted for it, and what changed since."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Case, CharField, Count, F, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce, Length

from stock.models import PlacingStop, PlacingTask, SavedPlacing, Task, TaskMove
from stock.placing_grounds import Grounds, PondThen
from stock.pond_kind import PondKind
from stock.tasks import DROPPED, OPEN, state_of, with_progress
from stock.templatetags.stock_format import day as day_words

SAVED, TASKS_MADE, PART_DONE, DONE, CANCELLED, REPLACED = (
    "SAVED",
    "TASKS_MADE",
    "PART_DONE",
    "DONE",
    "CANCELLED",
    "REPLACED",
)
STATES = (
    (SAVED, "saved"),
    (TASKS_MADE, "tasks made"),
    (PART_DONE, "part done"),
    (DONE, "done"),
    (CANCELLED, "cancelled"),
    (REPLACED, "replaced"),
)
STATE_WORDS = dict(STATES)
STANDING = Q(tasks__task__done_by__isnull=False, tasks__task__done_by__move__reversed_by__isnull=True)


@dataclass(frozen=True)
class Stop:
    """
    One pond of a saved placing and how far it is.

    Parameters
    ----------
    id : int
    pond, pond_name : str
    heads, best : int
        Planned, and what the best placing gave.
    done : int
        Heads that moves which stand have brought for its tasks.
    task_id : int or None
        Its open task.
    dropped_why : str
        Why its last task was dropped, "" where none was or another is open.
    has_tasks : bool
    """

    id: int
    pond: str
    pond_name: str
    heads: int
    best: int
    done: int
    task_id: int | None
    dropped_why: str
    has_tasks: bool

    @property
    def left(self) -> int:
        return max(0, self.heads - self.done)

    @property
    def over(self) -> int:
        return max(0, self.done - self.heads)

    @property
    def words(self) -> str:
        """Say how far it is, as in "12 of 40 done, 28 left"."""
        if self.over:
            return f"done, and {self.over} more than planned"
        if not self.left:
            return "done"
        if self.done:
            return f"{self.done} of {self.heads} done, {self.left} left"
        return "not begun" if self.has_tasks else "no task yet"


@dataclass(frozen=True)
class Posted:
    """A move that did something of a placing: where, how many heads, when, and by whom."""

    key: uuid.UUID
    pond: str
    heads: int
    happened_on: dt.date
    by_name: str


def stops_of(placing: SavedPlacing) -> list[Stop]:
    """Return the stops in letter order: two queries."""
    stops = list(
        placing.stops.select_related("pond")
        .annotate(done=Coalesce(Sum("tasks__task__done_by__heads", filter=STANDING), 0))
        .order_by(Length("pond__code"), "pond__code")
    )
    tasks: dict[int, list] = {}
    links = PlacingTask.objects.filter(stop__placing=placing).values_list("task_id", "stop_id")
    stop_by_task = dict(links)
    if stop_by_task:
        for task in with_progress(Task.objects.filter(pk__in=stop_by_task)):
            tasks.setdefault(stop_by_task[task.pk], []).append(task)
    return [_stop(stop, sorted(tasks.get(stop.pk, []), key=lambda task: task.pk)) for stop in stops]


def _stop(stop: PlacingStop, tasks: Sequence) -> Stop:
    opened = next((task.pk for task in tasks if state_of(task) == OPEN), None)
    last = tasks[-1] if tasks else None
    dropped = last.dropped_why if last is not None and state_of(last) == DROPPED and opened is None else ""
    return Stop(
        id=stop.pk,
        pond=stop.pond.code,
        pond_name=stop.pond.name,
        heads=stop.heads,
        best=stop.best,
        done=stop.done,  # type: ignore[attr-defined]
        task_id=opened,
        dropped_why=dropped,
        has_tasks=bool(tasks),
    )


def posted_for(placing: SavedPlacing) -> list[Posted]:
    """Return the moves that stand and did something of it, newest first: one query."""
    ticks = (
        TaskMove.objects.filter(task__placing_stop__stop__placing=placing, move__reversed_by__isnull=True)
        .select_related("move", "task__pond")
        .order_by("-move__happened_on", "-pk")
    )
    return [
        Posted(tick.move.key, tick.task.pond.code, tick.heads, tick.move.happened_on, tick.move.by_name)
        for tick in ticks
    ]


def with_state(placings: QuerySet[SavedPlacing]) -> QuerySet[SavedPlacing]:
    """Annotate `placed` (heads planned), `done`, `left`, `ponds`, `task_count` and `state` in the same query."""
    of_stops = PlacingStop.objects.filter(placing=OuterRef("pk")).order_by().values("placing")
    planned = of_stops.annotate(n=Sum("heads")).values("n")
    ponds = of_stops.annotate(n=Count("pk")).values("n")
    ticks = (
        TaskMove.objects.filter(
            task__placing_stop__stop__placing=OuterRef("pk"), move__reversed_by__isnull=True
        )
        .order_by()
        .values("task__placing_stop__stop__placing")
    )
    tasks = PlacingTask.objects.filter(stop__placing=OuterRef("pk")).order_by().values("stop__placing")
    # A stop that got more than planned does not make up for one that got fewer.
    short = (
        PlacingStop.objects.filter(placing=OuterRef("pk"))
        .annotate(
            brought=Coalesce(
                Subquery(
                    TaskMove.objects.filter(
                        task__placing_stop__stop=OuterRef("pk"), move__reversed_by__isnull=True
                    )
                    .order_by()
                    .values("task__placing_stop__stop")
                    .annotate(n=Sum("heads"))
                    .values("n")
                ),
                0,
            )
        )
        .filter(brought__lt=F("heads"))
        .order_by()
        .values("placing")
    )
    return placings.annotate(
        placed=Coalesce(Subquery(planned), 0),
        ponds=Coalesce(Subquery(ponds), 0),
        done=Coalesce(Subquery(ticks.annotate(n=Sum("heads")).values("n")), 0),
        task_count=Coalesce(Subquery(tasks.annotate(n=Count("pk")).values("n")), 0),
        stops_short=Coalesce(Subquery(short.annotate(n=Count("pk")).values("n")), 0),
    ).annotate(
        state=Case(
            When(end__replaced_by__isnull=False, then=Value(REPLACED)),
            When(end__isnull=False, then=Value(CANCELLED)),
            When(stops_short=0, then=Value(DONE)),
            When(done__gt=0, then=Value(PART_DONE)),
            When(task_count__gt=0, then=Value(TASKS_MADE)),
            default=Value(SAVED),
            output_field=CharField(),
        )
    )


def open_plans(most: int) -> list[SavedPlacing]:
    """Return the newest placings that are not carried out yet, nor ended: one query."""
    rows = with_state(SavedPlacing.objects.select_related("kind", "source"))
    wanted = rows.filter(Q(state__in=(SAVED, TASKS_MADE, PART_DONE)))
    return list(wanted.order_by("-saved_on", "-pk")[:most])


def state_word(placing: SavedPlacing) -> str:
    """Return the state of a placing loaded by `with_state`, in words."""
    return STATE_WORDS[placing.state]  # type: ignore[attr-defined]


def name_of(placing: SavedPlacing) -> str:
    """Name a placing by day and author, as in "25 Nov 2026, by owner"."""
    return f"{day_words(placing.saved_on)}, by {placing.by_name}"


def changes_since(
    grounds: Grounds,
    done: Mapping[str, int],
    facts: Iterable[PondKind],
    *,
    planned: Iterable[str],
    can_take: Mapping[str, int],
) -> list[str]:
    """
    Say what changed since a placing was saved in the ponds it sends females to, and in others that can take some.

    What the placing itself brought is no change: `done` is pond's code to heads brought. `can_take` is pond's code to
    the heads it could take today; a pond that is no part of the placing and can take none does not matter to it.
    """
    now = {one.pond_code: one for one in facts}
    wanted = set(planned)
    said: list[str] = []
    for then in sorted(grounds.ponds, key=lambda pond: pond.code not in wanted):
        if then.code in wanted:
            said += _pond_changes(then, now.get(then.code), done.get(then.code, 0))
        elif can_take.get(then.code):
            said += _pond_changes(then, now.get(then.code), 0)
            if not then.cap:
                said.append(
                    f"Pond {then.code} could take none then; it could take {can_take[then.code]} now."
                )
    known = {pond.code for pond in grounds.ponds}
    said += [
        f"Pond {code} is kept for the kind now; it was not then."
        for code in now
        if code not in known and can_take.get(code)
    ]
    return said


def _pond_changes(then: PondThen, now: PondKind | None, done: int) -> list[str]:
    if now is None:
        return [
            f"Pond {then.code} holds none of the kind and is not kept for it any more, or it was retired."
        ]
    said = []
    if now.use.words != then.use:
        ends = f", due to end on {day_words(now.use.ends_on)}" if now.use.ends_on else ""
        said.append(f"Pond {then.code} was {_use(then.use)} and is now {_use(now.use.words)}{ends}.")
    females, males = now.heads.females - done, now.heads.males
    if (females, males) != (then.females, then.males):
        ours = f", the {done} of this plan left out" if done else ""
        said.append(
            f"Pond {then.code} held {then.females} females and {then.males} males by the book, and now holds {females} "
            f"and {males}{ours}."
        )
    counted = "" if now.last_count is None else now.last_count.as_of.isoformat()
    if counted > then.counted_on and now.last_count is not None:
        said.append(f"Pond {then.code} was counted on {day_words(now.last_count.as_of)}.")
    # A pond that was losing heads then was given none; one that is now can take none.
    if now.losing is not None and now.losing.is_losing and then.given:
        said.append(f"Pond {then.code} is losing heads: {now.losing.sentence}")
    return said


def _use(words: str) -> str:
    return "in quarantine" if words == "quarantine" else words
