"""The scans of a Log page: who was in hand, and with which of its lines each turtle went."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from django.db.models import F

from stock.drafts import LONGEST_NOTE, Line, Seen
from stock.models import Cell, HaulTurtle, MarkStep, Move
from stock.moves_read import place_of
from stock.scans import Scan, Scans, read_scans

if TYPE_CHECKING:
    from stock.forms.log import LogEntry

WHOLLY = ("moved", "sold", "culled", "dead", "escaped")


def scans_of(entry: LogEntry) -> Scans:
    """Read the scans of a page whose head is valid."""
    head = entry.head.cleaned_data
    return read_scans(
        head.get("scans") or "",
        head.get("pond") or "",
        {pond.code for pond in entry.choices.ponds},
        before=_before(entry.original) if entry.original is not None else {},
    )


def _before(move: Move) -> dict[int, Cell | None]:
    """Return where the turtles of a move stood before it, of those that are where it put them still."""
    steps = MarkStep.objects.filter(move=move, turtle__cell=F("target")).select_related("source__pond")
    return {step.turtle_id: step.source for step in steps.order_by("-pk")}


def class_of(entry: LogEntry, scan: Scan) -> str:
    """Return the class a scanned turtle left the net as: sexed at the bank, it is what it was sexed as."""
    for row in entry.used_rows:
        if (row.typed["kind"], row.typed["of_class"]) == (scan.kind, scan.of_class) and row.heads:
            return row.class_after
    return scan.of_class


def with_turtles(
    entry: LogEntry, scans: Scans, lines: list[Line]
) -> tuple[list[Line], tuple[Seen, ...], list[str]]:
    """
    Return the lines with the turtles that went with them, all turtles in hand, and what cannot be placed.

    A turtle goes where its line of the scans says; else with the rest of its kind and class where all of them
    went one way; else it went back.
    """
    faults: list[str] = []
    seen = []
    for scan in scans.scans:
        of_class = class_of(entry, scan)
        seen.append(Seen(scan.code, scan.kind, of_class))
        goes = scan.goes or _all_went(entry, scan)
        if not goes or goes == "BACK":
            continue
        place = next(
            (
                at
                for at, line in enumerate(lines)
                if (line.kind, line.of_class, line.target) == (scan.kind, of_class, goes)
                and len(line.turtles) < line.heads
            ),
            None,
        )
        if place is not None:
            lines[place] = replace(lines[place], turtles=(*lines[place].turtles, scan.code))
        elif scan.goes:
            faults.append(
                f"Turtle {scan.code} is said to go to {goes if len(goes) <= 3 else goes.lower()}, but no row of its "
                "kind and class goes there, or it has fewer heads than turtles. Mend the row or the scan."
            )
    return lines, tuple(seen), faults


def _all_went(entry: LogEntry, scan: Scan) -> str:
    """Return where all heads of a scan's kind and class went, "" where they did not go one way."""
    ways = {"sold": "SOLD", "culled": "CULLED", "dead": "DIED", "escaped": "ESCAPED"}
    targets: set[str] = set()
    for row in entry.used_rows:
        if (row.typed["kind"], row.typed["of_class"]) != (scan.kind, scan.of_class):
            continue
        if row.typed.get("back"):
            return ""
        targets |= {ways.get(name) or row.typed["target"] for name in WHOLLY if row.typed.get(name)}
    return targets.pop() if len(targets) == 1 else ""


def noted(note: str, scans: Scans) -> str:
    """Return the note with the scans that are on no turtle of the register, so that none is lost."""
    if not scans.unknown:
        return note
    words = f"Scanned, not in the register: {', '.join(scans.unknown)}."
    return f"{note}\n{words}".strip()[:LONGEST_NOTE]


def typed_again(move: Move) -> str:
    """Return the scans of a move as somebody would type them: numbers, and where each went."""
    went = {}
    for step in MarkStep.objects.filter(move=move, how="MOVED", target__isnull=False).select_related(
        "target__pond", "turtle"
    ):
        went[step.turtle_id] = place_of(step.target) if step.target is not None else ""
    in_haul = HaulTurtle.objects.filter(haul__move=move).order_by("place").values_list("turtle", flat=True)
    found = MarkStep.objects.filter(move=move, how__in=["SEEN", "FOUND"]).values_list("turtle", flat=True)
    ids = dict.fromkeys([*in_haul, *found, *went])
    return "\n".join(
        f"{pk} {went[pk].lower() if len(went[pk]) > 3 else went[pk]}" if pk in went else str(pk) for pk in ids
    )
