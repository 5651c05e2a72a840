"""Load one changed sheet into the small farm, take it back, and say what was wrong with how it was received."""

from __future__ import annotations

import copy
import random
import re
from dataclasses import dataclass, field
from functools import lru_cache

from django.apps import apps
from django.db import connection, transaction

from ponds.sheet_files import read_rows
from ponds.sheets import Outcome, load, parse_rows, registered_sheets
from tests.sheet_faults.changes import FAULTS, HARMLESS, LOADS, REFUSED, Case, csv_of
from tests.sheet_faults.valid import SHEETS, Grid, grid_of

WHATS = ("kinds", *SHEETS, "marks")
CHANGES = {**HARMLESS, **FAULTS}
# A sentence begins with a capital, a figure, a quotation, or the cell's own text, and ends with a full stop.
SENTENCE = re.compile(r"\S.{14,}[.]\Z", re.DOTALL)


@dataclass
class Tally:
    """What came of all the sheets with one change."""

    sheets: int = 0
    loaded: int = 0
    refused: int = 0
    wrong: list[str] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)


@lru_cache
def _tables() -> str:
    models = [model for app in ("ponds", "stock") for model in apps.get_app_config(app).get_models()]
    names = sorted({model._meta.db_table for model in models})
    return "SELECT " + ", ".join(f'(SELECT COUNT(*) FROM "{name}")' for name in names)


def _rows_of_all_tables() -> tuple[int, ...]:
    with connection.cursor() as cursor:
        cursor.execute(_tables())
        return tuple(cursor.fetchone())


def _loaded(what: str, name: str, content: bytes, days: str) -> tuple[Outcome, tuple[int, ...]]:
    """Load in a transaction that is taken back; return what came of it and the rows of every table it left."""
    with transaction.atomic():
        outcome = load(registered_sheets()[what], name, content, days=days)
        left = _rows_of_all_tables()
        transaction.set_rollback(True)
    return outcome, left


def _values(what: str, case: Case) -> list[dict]:
    rows, _ = parse_rows(registered_sheets()[what], read_rows(case.name, case.content), days=case.days)
    return [dict(row.values) for row in rows]


@dataclass(frozen=True)
class Clean:
    """What the valid sheet reads as, and how many rows of every table stand without it and with it."""

    values: list[dict]
    before: tuple[int, ...]
    after: tuple[int, ...]


def clean(what: str) -> Clean:
    """Load the valid sheet and take it back."""
    case = Case("sheet.csv", csv_of(grid_of(what)), LOADS)
    before = _rows_of_all_tables()
    outcome, after = _loaded(what, case.name, case.content, "")
    if not outcome.is_written:
        raise ValueError(f"The valid {what} sheet was refused: {[str(bad) for bad in outcome.bad_rows]}")
    return Clean(_values(what, case), before, after)


def make(what: str, change: str, seed: int) -> Case | None:
    """Return the sheet of `what` with one change, the same for the same seed; None where it cannot have it."""
    chance = random.Random(f"{change}|{what}|{seed}")
    grid: Grid = copy.deepcopy(grid_of(what))
    return CHANGES[change](registered_sheets()[what], grid, chance)


def trial(what: str, case: Case, known: Clean) -> tuple[Outcome, list[str]]:
    """Load the case; return what came of it, and a sentence for everything that should not have been."""
    outcome, left = _loaded(what, case.name, case.content, case.days)
    wrong = []
    if _rows_of_all_tables() != known.before:
        wrong.append("the trial itself left rows behind")
    if outcome.bad_rows:
        if left != known.before:
            wrong.append("a refused sheet left rows behind")
        wrong += _wrong_sentences(outcome)
        if case.expect == LOADS:
            wrong.append(f"was to load: {outcome.bad_rows[0]}")
        elif not _names(outcome, case):
            wrong.append(
                f"{case.places} not named, but {[(bad.row, bad.column) for bad in outcome.bad_rows]}"
            )
    elif case.expect == REFUSED:
        wrong.append("was to be refused, and was loaded")
    elif case.expect == LOADS:
        if left != known.after:
            wrong.append("did not load in full")
        if _values(what, case) != known.values:
            wrong.append("loaded other values than it holds")
    return outcome, wrong


def _names(outcome: Outcome, case: Case) -> bool:
    if not case.places:
        return True
    found = {(bad.row, bad.column) for bad in outcome.bad_rows}
    if case.is_strict:
        return set(case.places) <= found
    rows, headings = {row for row, _ in case.places}, {name for _, name in case.places}
    return any(row in rows or heading in headings for row, heading in found)


def _wrong_sentences(outcome: Outcome) -> list[str]:
    wrong = []
    for bad in outcome.bad_rows:
        if not SENTENCE.match(bad.reason):
            wrong.append(f"no sentence: {bad}")
        if (
            "Traceback" in bad.reason
            or "Error" in bad.reason
            or "{" in bad.reason
            or "None" in bad.reason.split()
        ):
            wrong.append(f"a program's words: {bad}")
        if bad.row > 1 and not bad.column:
            wrong.append(f"no column named: {bad}")
    return wrong
