"""Tasks are written here and nowhere else: made, and dropped with a reason."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from ponds.models import Kind, Pond
from ponds.svg_marks import day_text, figure_text
from stock.drafts import MOST_HEADS
from stock.models import Task
from stock.refusals import Refused
from stock.tasks import DONE, DROPPED, OPEN, state_of, with_progress

LONGEST_WHY = 300


class TaskRefused(Refused):
    """A task that was not written; `sentence` says why, `field` which field it is about."""


def make(
    *,
    pond: Pond,
    verb: str,
    kind: Kind | None = None,
    of_class: str = "",
    heads: int | None = None,
    why: str = "",
    due_on: dt.date | None = None,
    review_month: dt.date | None = None,
    by,
    today: dt.date,
) -> Task:
    """
    Make an open task; the same open decision made again on the same day returns the one that stands.

    Raises
    ------
    TaskRefused
        For a retired pond, a task that does not say which heads, or a day that is past.
    """
    if pond.retired_on is not None:
        raise TaskRefused(
            f"Pond {pond.code} was retired on {day_text(pond.retired_on)}; choose another.", field="pond"
        )
    if verb != Task.Verb.RECOUNT:
        if kind is None:
            raise TaskRefused("Choose the kind that is to be added or taken out.", field="kind")
        if not of_class:
            raise TaskRefused("Choose females, males, unsexed or juveniles.", field="of_class")
        if heads is None or not 1 <= heads <= MOST_HEADS:
            raise TaskRefused(
                f"Say how many heads: a whole number from 1 to {figure_text(MOST_HEADS)}.", field="heads"
            )
        if verb == Task.Verb.ADD and not pond.kinds_allowed.filter(pk=kind.pk).exists():
            raise TaskRefused(
                f"{kind.common_name} is not allowed in pond {pond.code}. Choose another pond, or allow the kind "
                "there under Settings.",
                field="kind",
            )
    else:
        of_class, heads = "", None
    if due_on is not None and due_on < today:
        raise TaskRefused(
            f"{day_text(due_on)} is past; today is {day_text(today)}. Give today or a later day.",
            field="due_on",
        )
    task = Task(
        pond=pond,
        verb=verb,
        kind=kind,
        of_class=of_class,
        heads=heads,
        why=why.strip(),
        decided_on=today,
        due_on=due_on,
        review_month=review_month,
        by=by,
        by_name=by.get_username() if by is not None else "the register",
    )
    try:
        task.full_clean(exclude=["by", "by_name"])
    except ValidationError as error:
        raise TaskRefused(" ".join(error.messages)) from error
    with transaction.atomic():
        # Made again from the same page, by a reload or a second press: one decision is one task.
        Pond.objects.select_for_update().get(pk=pond.pk)
        same = with_progress(
            Task.objects.filter(
                pond=pond,
                verb=verb,
                kind=kind,
                of_class=of_class,
                heads=heads,
                decided_on=today,
                why=task.why,
            )
        )
        for standing in same:
            if state_of(standing) == OPEN:
                return standing
        task.save()
    return task


def drop(task: Task, *, why: str, by) -> Task:
    """Drop an open task for a reason; it stays in the list of dropped tasks."""
    if not why.strip():
        raise TaskRefused("Say in a few words why it is dropped.", field="why")
    if len(why.strip()) > LONGEST_WHY:
        raise TaskRefused(
            f"The reason has {figure_text(len(why.strip()))} characters; 300 fit. Shorten it.", field="why"
        )
    with transaction.atomic():
        Task.objects.select_for_update().get(pk=task.pk)
        current = with_progress(Task.objects.filter(pk=task.pk)).get()
        if state_of(current) == DROPPED:
            raise TaskRefused(f"This task was dropped already: {current.dropped_why}")
        if state_of(current) == DONE:
            raise TaskRefused(
                "This task is done; there is nothing to drop. Reverse the move that did it instead."
            )
        current.dropped_at = timezone.now()
        current.dropped_why = f"{why.strip()} ({by.get_username()})"[:300]
        current.save(update_fields=["dropped_at", "dropped_why"])
    return current
