"""A logged move read back into the Log page, so that it can be corrected where it was typed."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from stock.forms.fields import new_key
from stock.forms.log import NO_HAUL
from stock.forms.log_scans import typed_again
from stock.forms.log_typed import move_papers, typed_entries
from stock.models import Entry, Move
from stock.moves_read import place_of

FIELD_OF_REASON = {"MOVED": "moved", "SOLD": "sold", "CULLED": "culled", "DIED": "dead", "ESCAPED": "escaped"}
CAME_IN = ("BOUGHT", "RAISED", "WILD")


def fits_log(move: Move) -> bool:
    """Return whether a move says nothing that the Log page could not say."""
    if move.made_as != Move.MadeAs.BANK or move.pond is None or is_marking(move):
        return False
    batches = set()
    for entry in typed_entries(move):
        if entry.reason in CAME_IN and place_of(entry.target) == move.pond.code:
            batches.add(entry.batch_id)
        elif place_of(entry.source) != move.pond.code:
            return False
    return len(batches) <= 1


def is_marking(move: Move) -> bool:
    """Return whether a move put marks on or lost the last one: such a move is taken back, not corrected."""
    return move.mark_steps.filter(how__in=["MARKED", "LOST_MARKS"]).exists()


def start_of(move: Move) -> dict[str, Any]:
    """Return the starting values of every form of the Log page, loaded by `with_entries`."""
    entries = typed_entries(move)
    haul = getattr(move, "haul", None)
    head: dict[str, Any] = {
        "key": new_key(),
        "pond": move.pond.code if move.pond else "",
        "day": move.happened_on,
        "how": haul.method if haul else NO_HAUL,
        "note": move.note,
        "scans": typed_again(move),
        "tasks": [str(task) for task in move.tasks_done.values_list("task", flat=True)],
    }
    if haul:
        head.update(
            effort=haul.effort_typed,
            water=haul.water_typed,
            is_held_out=haul.is_held_out,
            is_complete=haul.is_complete,
        )
    came = [entry for entry in entries if entry.reason in CAME_IN]
    batch = came[0].batch if came else None
    papers = move_papers(move)
    return {
        "head": head,
        "rows": _rows(move, [entry for entry in entries if entry.reason not in CAME_IN]),
        "batch": _batch_start(batch) if batch else {},
        "arrivals": [
            {"kind": entry.target.kind.code, "of_class": entry.target.of_class, "heads": entry.heads}
            for entry in came
        ],
        "sale": {
            name: getattr(papers[0], name) for name in ("party", "licence", "document", "purpose", "disposal")
        }
        if papers
        else {},
    }


def _batch_start(batch) -> dict[str, str]:
    return {
        "source": batch.source,
        "code": batch.code,
        "party": batch.party,
        "generation": batch.generation,
        "note": batch.note,
    }


def _rows(move: Move, entries: list[Entry]) -> list[dict[str, Any]]:
    """Put what left, and what went back, into rows: one for each kind, class and target pond.

    Heads sexed at the bank get a row of their own, filled first from those that went back.
    """
    parts: dict[tuple[str, str], list[tuple[str, str, str, int]]] = defaultdict(list)
    for entry in entries:
        if field := FIELD_OF_REASON.get(entry.reason):
            cell = (entry.source.kind.code, entry.source.of_class)
            target = place_of(entry.target) if field == "moved" else ""
            parts[cell].append((field, target, entry.cause, entry.heads))
    marks: dict[tuple[str, str], tuple[int | None, int]] = {}
    haul = getattr(move, "haul", None)
    for line in haul.lines.select_related("kind") if haul else ():
        cell = (line.kind.code, line.of_class)
        gone = sum(heads for *_, heads in parts[cell])
        if line.caught > gone or line.caught == 0:
            parts[cell].insert(0, ("back", "", "", line.caught - gone))
        marks[cell] = (line.carrying_marks, line.newly_marked)
    rows = []
    for entry in entries:
        if entry.reason in ("SEXED", "MATURED"):
            cell = (entry.target.kind.code, entry.target.of_class)
            was = {"of_class": entry.source.of_class, "sexed_as": cell[1]}
            rows += [{**taken, **was} for taken in _rows_of(cell, _take(parts[cell], entry.heads))]
    for cell, left in parts.items():
        made = _rows_of(cell, left)
        if cell in marks and made:
            made[0].update(carrying_marks=marks[cell][0], newly_marked=marks[cell][1] or None)
        rows += made
    return rows


def _take(parts: list[tuple[str, str, str, int]], heads: int) -> list[tuple[str, str, str, int]]:
    """Take so many heads out of the parts, in their order, and return what was taken."""
    taken, left = [], []
    for field, target, cause, held in parts:
        part = min(held, heads)
        heads -= part
        if part:
            taken.append((field, target, cause, part))
        if held > part or not held:
            left.append((field, target, cause, held - part))
    parts[:] = left
    return taken


def _rows_of(cell: tuple[str, str], parts: list[tuple[str, str, str, int]]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for field, target, cause, heads in parts:
        row = next((row for row in rows if field not in row), None)
        if row is None:
            row = {"kind": cell[0], "of_class": cell[1], "fixed": True}
            rows.append(row)
        row[field] = heads
        if field == "moved":
            row["target"] = target
        if field == "dead" and cause != "NOT_KNOWN":
            row["cause"] = cause
    return rows
