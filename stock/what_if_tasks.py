"""Moves that were tried, made into tasks: one for each pond and class that changes, all of them or none."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from ponds.models import Kind, Pond
from stock import task_book
from stock.models import Task
from stock.what_if import ratio_words
from stock.what_if_answer import TriedMove, WhatIfAnswer


@transaction.atomic
def make_tasks(answer: WhatIfAnswer, *, by, today: dt.date) -> list[Task]:
    """
    Make the tasks, males first; the same answer made again on the same day gives the tasks that stand.

    Raises
    ------
    TaskRefused
        As `task_book.make`.
    """
    kind = Kind.objects.get(pk=answer.question.kind_id)
    codes = [pond.code for pond in answer.ponds]
    ponds = {pond.code: pond for pond in Pond.objects.filter(code__in=codes)}
    turns = {pond.code: f"{ratio_words(pond.now)} becomes {ratio_words(pond.then)}" for pond in answer.ponds}
    made = []
    for move in sorted(answer.question.moves, key=lambda move: move.of_class == "FEMALE"):
        for code, verb, where in _ends(answer.question.pond, move):
            made.append(
                task_book.make(
                    pond=ponds[code],
                    verb=verb,
                    kind=kind,
                    of_class=move.of_class,
                    heads=move.heads,
                    why=f"Tried as what-if: {where}; {turns[code]}.",
                    by=by,
                    today=today,
                )
            )
    return made


def _ends(pond: str, move: TriedMove) -> list[tuple[str, str, str]]:
    """Return pond, verb and other end in words, the pond the heads leave first."""
    if move.is_in:
        ends = [(move.other, Task.Verb.TAKE_OUT, f"to {pond}")] if move.other else []
        return [*ends, (pond, Task.Verb.ADD, f"from {move.other}" if move.other else "bought")]
    ends = [(move.other, Task.Verb.ADD, f"from {pond}")] if move.other else []
    return [(pond, Task.Verb.TAKE_OUT, f"to {move.other}" if move.other else "sold"), *ends]
