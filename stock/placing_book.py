"""Saved placings are written here and nowhere else: saved, turned into tasks, and ended."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from ponds.models import Kind, Pond
from stock import task_book
from stock.models import PlacingEnd, PlacingStop, PlacingTask, SavedPlacing, Task
from stock.placing_answer import Advice
from stock.placing_grounds import grounds_of
from stock.placing_hand import HandPlacing, judge
from stock.placing_tasks import Source, decided_for, promised_from, why_of
from stock.refusals import Refused
from stock.saved_placings import name_of, stops_of

LONGEST_NOTE = LONGEST_WHY = 300


class PlacingRefused(Refused):
    """A placing that was not written; `sentence` says why and what to do."""


@transaction.atomic
def save(
    advice: Advice,
    hand: HandPlacing,
    *,
    key: uuid.UUID,
    note: str = "",
    instead_of: SavedPlacing | None = None,
    by: User,
    today: dt.date,
) -> tuple[SavedPlacing, bool]:
    """
    Save a placing with what it rests on; the same key with the same content gives the first one again.

    Parameters
    ----------
    advice : Advice
        What was asked and answered.
    hand : HandPlacing
        The heads for each pond, as `judge` sees them: the best placing, or one changed by hand.
    key : UUID
        Made where the placing was shown.
    note : str
    instead_of : SavedPlacing, optional
        An earlier one whose place it takes: that one ends, and its open tasks are dropped.
    by, today
        Who saves it, and the farm's day.

    Returns
    -------
    (SavedPlacing, bool)
        And whether it was saved now.

    Raises
    ------
    PlacingRefused
        If it cannot be done, the key was used for another, or the earlier one has ended.
    """
    heads = {code: count for code, count in hand.heads.items() if count}
    known = SavedPlacing.objects.filter(key=key).first()
    if known is not None:
        return _same(known, advice, heads), False
    if not hand.can_be_done:
        raise PlacingRefused(
            " ".join([*hand.problems.values(), hand.sentence]).strip() or "It places no females."
        )
    source = Pond.objects.filter(code=advice.question.source).first() if advice.question.source else None
    ponds = {pond.code: pond for pond in Pond.objects.filter(code__in=heads)}
    best = {pond.code: pond.given for pond in advice.getting}
    try:
        with transaction.atomic():
            placing = SavedPlacing.objects.create(
                key=key,
                kind_id=advice.question.kind_id,
                source=source,
                heads=advice.question.heads,
                is_by_hand=heads != best,
                note=note.strip()[:LONGEST_NOTE],
                grounds=grounds_of(advice, hand),
                saved_on=today,
                by=by,
                by_name=by.get_username(),
            )
    except IntegrityError:
        # Sent twice at once: the other one was first.
        return _same(SavedPlacing.objects.get(key=key), advice, heads), False
    PlacingStop.objects.bulk_create(
        PlacingStop(placing=placing, pond=ponds[code], heads=count, best=best.get(code, 0))
        for code, count in heads.items()
    )
    if instead_of is not None:
        _end(
            instead_of,
            f"Changed: the plan of {name_of(placing)} took its place.",
            by=by,
            replaced_by=placing,
        )
    return placing, True


def _same(placing: SavedPlacing, advice: Advice, heads: Mapping[str, int]) -> SavedPlacing:
    stops = dict(placing.stops.values_list("pond__code", "heads"))
    asked = advice.question
    if (placing.kind_id, placing.heads, stops) != (asked.kind_id, asked.heads, dict(heads)):
        raise PlacingRefused(
            f"This page has saved another plan already ({name_of(placing)}). Ask again, and save the new answer from "
            "there."
        )
    return placing


@transaction.atomic
def make_tasks(
    placing: SavedPlacing, advice: Advice, source: Source, *, by: User, today: dt.date
) -> list[Task]:
    """
    Make a task for each stop that still has heads to get and no open task: all of them or none.

    Parameters
    ----------
    placing : SavedPlacing
    advice : Advice
        The answer of today, without this placing's own tasks: what its ponds can take now.
    source : Source
        Where the females stand today, without this placing's own tasks.
    by, today
        Who makes them, and the farm's day.

    Raises
    ------
    PlacingRefused
        If the placing has ended, a pond cannot take its heads any more, the females cannot be had, or other tasks
        were made since the answer.
    TaskRefused
        As `task_book.make`.
    """
    # One at a time for a kind: what is decided for its ponds must hold while tasks are made.
    kind = Kind.objects.select_for_update().get(pk=placing.kind_id)
    end = PlacingEnd.objects.filter(placing=placing).first()
    if end is not None:
        raise PlacingRefused(f"This plan is not carried out any further. {end.why}")
    stops = stops_of(placing)
    own = set(PlacingTask.objects.filter(stop__placing=placing).values_list("task_id", flat=True))
    told = {pond.code: pond.decided for pond in advice.decided}
    if decided_for(kind.code, but_not=own) != told or source.promised != promised_from(
        source.code, kind.code, but_not=own
    ):
        raise PlacingRefused("Other tasks for these females were made just now. Look at the plan again.")
    wanted = [stop for stop in stops if stop.left and stop.task_id is None]
    if not wanted:
        return []
    # Heads of its open tasks come to these ponds and from this source as well.
    reckoned = {stop.pond: stop.left for stop in stops if stop.left}
    problems = judge(advice, reckoned).problems
    if problems:
        raise PlacingRefused(" ".join(problems.values()))
    if not_yet := source.not_yet(sum(reckoned.values())):
        raise PlacingRefused(not_yet)
    ponds = {pond.code: pond for pond in Pond.objects.filter(code__in=[stop.pond for stop in wanted])}
    made = []
    for stop in wanted:
        advised = advice.pond(stop.pond)
        task = task_book.make(
            pond=ponds[stop.pond],
            verb=Task.Verb.ADD,
            kind=kind,
            of_class="FEMALE",
            heads=stop.left,
            why=why_of(advice, advised, stop.left) if advised else "",
            by=by,
            today=today,
        )
        try:
            with transaction.atomic():
                PlacingTask.objects.create(stop_id=stop.id, task=task)
        except IntegrityError:
            raise PlacingRefused(
                f"A task with the same words stands for pond {stop.pond} and belongs to another plan. Drop it or "
                "carry it out first."
            ) from None
        made.append(task)
    return made


@transaction.atomic
def cancel(placing: SavedPlacing, *, why: str, by: User) -> int:
    """
    End a placing for a reason and drop its open tasks; what was brought stays. Return the tasks dropped.

    Raises
    ------
    PlacingRefused
        Without a reason, or if it has ended or is done.
    """
    if not why.strip():
        raise PlacingRefused("Say in a few words why the plan is cancelled.")
    return _end(placing, why.strip()[:LONGEST_WHY], by=by)


def _end(placing: SavedPlacing, why: str, *, by: User, replaced_by: SavedPlacing | None = None) -> int:
    Kind.objects.select_for_update().get(pk=placing.kind_id)
    end = PlacingEnd.objects.filter(placing=placing).first()
    if end is not None:
        raise PlacingRefused(f"The plan of {name_of(placing)} is not carried out any further. {end.why}")
    stops = stops_of(placing)
    if not any(stop.left for stop in stops):
        raise PlacingRefused("This plan is done; there is nothing left to cancel.")
    PlacingEnd.objects.create(
        placing=placing, why=why, replaced_by=replaced_by, by=by, by_name=by.get_username()
    )
    opened = [stop.task_id for stop in stops if stop.task_id is not None]
    for task in Task.objects.filter(pk__in=opened):
        task_book.drop(task, why=why[:250], by=by)
    return len(opened)
