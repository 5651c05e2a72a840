"""What the turtles sheet writes beside the ledger: further marks, sexes and measures; and what it asks about."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from dataclasses import replace
from typing import Any

from ponds.farm import the_farm
from ponds.sheets import BadRow
from ponds.svg_marks import day_text
from stock import turtle_records
from stock.measures_asked import known_of
from stock.models import Mark, MarkStep, Measure, SexStep
from stock.refusals import LedgerRefusal
from stock.turtle_book import note_sex, put_mark
from stock.turtle_records import measure_key
from stock.turtle_sheet_lines import Line, carried

MOST_SAID = 50


def turtle_ids(lines: list[Line]) -> set[int]:
    """Return the numbers of the turtles that these rows are of."""
    return {line.turtle.pk for line in lines if line.turtle is not None}


def check_ponds(lines: list[Line], bad_rows: list[BadRow]) -> None:
    """
    Hold each row's pond against where its turtle stood on that day by the register; one query.

    A row that has something to write is refused: where a turtle stands is booked at the pond. One whose marks and
    measures are all in the register already is only pointed out.
    """
    steps: dict[int, list[tuple[dt.date, str, str]]] = defaultdict(list)
    rows = MarkStep.objects.filter(turtle__in=turtle_ids(lines), move__reversed_by=None).exclude(
        how="REVERSED"
    )
    for turtle, day, pond, outside in rows.order_by("move__happened_on", "pk").values_list(
        "turtle", "move__happened_on", "target__pond__code", "target__outside"
    ):
        steps[turtle].append((day, pond or "", outside or ""))
    standing = _standing(lines)
    for line in lines:
        if line.turtle is None or not (mine := steps[line.turtle.pk]):
            continue
        day = line.row["day"]
        _, pond, outside = [step for step in mine if step[0] <= day][-1] if mine[0][0] <= day else mine[0]
        if pond == line.row["pond"] or not (pond or outside):
            continue
        told = (
            f"Turtle {line.turtle.pk} stands in pond {pond} by the register on {day_text(day)}"
            if pond
            else (f"Turtle {line.turtle.pk} is booked {outside.lower()} by the register on {day_text(day)}")
        )
        known = all((line.turtle.pk, one.code, day, one.stored) in standing for one in line.typed)
        if line.animal or known:
            line.notes.append(f"{told}, not in pond {line.row['pond']}; it is left there.")
        else:
            bad_rows.append(
                line.row.bad(
                    "pond",
                    f"{told}. Mend the row, or log it at pond {line.row['pond']} first: a log finds a turtle where the "
                    "register does not have it.",
                )
            )


def note_other_ponds(lines: list[Line]) -> None:
    """Say of a turtle that the sheet itself marks where a later row has it in another pond."""
    for line in lines:
        if line.first is not None and line.first.row["pond"] != line.row["pond"]:
            line.notes.append(
                f"It was marked in pond {line.first.row['pond']} (row {line.first.row.number}) and is in pond "
                f"{line.row['pond']} here. The register has it where it was marked until a log moves it."
            )


def put_marks(lines: list[Line], bad_rows: list[BadRow], *, by: Any) -> set[uuid.UUID]:
    """Put on the marks that a known turtle does not carry yet; return the keys of the rows that had some."""
    today = the_farm().today()
    new: set[uuid.UUID] = set()
    has = {(mark.turtle_id, *carried(mark)) for mark in Mark.objects.filter(turtle__in=turtle_ids(lines))}
    for line in lines:
        for put_on in line.put_on:
            if line.turtle is None or (line.turtle.pk, *carried(put_on)) in has:
                continue
            has.add((line.turtle.pk, *carried(put_on)))
            key = uuid.uuid5(line.key, f"mark|{put_on.form}|{carried(put_on)[1]}")
            try:
                put_mark(line.turtle, put_on, day=line.row["day"], by=by, today=today, key=key)
            except LedgerRefusal as refused:
                column = {"NOTCH": "notch", "TAG": "tag", "PAINT": "paint"}.get(put_on.form, "other mark")
                bad_rows.append(line.row.bad(column, str(refused)))
            new.add(line.key)
    return new


def note_sexes(lines: list[Line], bad_rows: list[BadRow], *, by: Any) -> set[uuid.UUID]:
    """Write the sexes told of known turtles, each day's once; return the keys of the rows that had one."""
    today = the_farm().today()
    new: set[uuid.UUID] = set()
    told = [
        line
        for line in lines
        if line.draft is None
        and line.row["sex"]
        and (line.row["sex method"] or line.row["certainty"] or line.animal)
    ]
    if not told:
        return new
    names = ("turtle_id", "sexed_on", "sex", "method", "certainty")
    has = set(SexStep.objects.filter(turtle__in=turtle_ids(told)).values_list(*names))
    for line in told:
        if line.turtle is None:
            continue
        sex, day = line.sex, line.row["day"]
        if (step := (line.turtle.pk, day, sex.sex, sex.method, sex.certainty)) in has:
            continue
        has.add(step)
        try:
            note_sex(line.turtle, sex, day=day, by=by, today=today, key=uuid.uuid5(line.key, "sex"))
        except LedgerRefusal as refused:
            bad_rows.append(line.row.bad("sex", str(refused)))
        new.add(line.key)
    return new


def write_measures(lines: list[Line], bad_rows: list[BadRow], *, by: Any) -> set[uuid.UUID]:
    """Write every row's measures that do not stand yet; return the keys of the rows that had some."""
    measured = [line for line in lines if line.typed and line.turtle is not None]
    handlings = [
        turtle_records.Handling(
            line.turtle,
            line.typed,
            line.row["day"],
            line.key,
            line.row["measured by"] or "",
            (line.row["note"] or "") if line.draft is None or line.animal else "",
        )
        for line in measured
        if line.turtle is not None
    ]
    try:
        written = turtle_records.record_handlings(handlings, by=by, today=the_farm().today())
    except turtle_records.TurtleRowRefused as refused:
        bad_rows.append(measured[refused.place].row.bad("day", refused.sentence))
        return set()
    return {line.key for line, (_, is_new) in zip(measured, written, strict=True) if is_new}


def _standing(lines: list[Line]) -> set[tuple[int, str, dt.date, int]]:
    return set(
        Measure.objects.standing()
        .filter(turtle__in=turtle_ids(lines))
        .values_list("turtle", "what", "measured_on", "stored")
    )


def not_yet_measured(lines: list[Line]) -> list[Line]:
    """Return the lines without the measures that stand already, same turtle, day and figure: one query."""
    standing = _standing(lines)
    return [
        replace(
            line,
            typed=tuple(
                one
                for one in line.typed
                if line.turtle is None
                or (line.turtle.pk, one.code, line.row["day"], one.stored) not in standing
            ),
        )
        for line in lines
    ]


def asked(lines: list[Line]) -> list[str]:
    """Return what a person should look at, row by row, once all is written: odd measures, odd tags; three queries."""
    found: list[tuple[int, str]] = []
    # These rows' own measures are held against each other in the order of their days, as they would be typed.
    mine = {measure_key(line.key, one.code) for line in lines for one in line.typed}
    known = known_of(turtle_ids([line for line in lines if line.typed]), but=mine)
    for line in lines:
        found += [(line.row.number, note) for note in line.notes]
        if line.turtle is None or not line.typed:
            continue
        day, observer, turtle = line.row["day"], line.row["measured by"] or "", known[line.turtle.pk]
        found += [
            (line.row.number, one.sentence) for one in turtle.asked(line.typed, on=day, observer=observer)
        ]
        turtle.add(line.typed, on=day, observer=observer)
    said = [f"Row {number}: {sentence}" for number, sentence in sorted(found, key=lambda one: one[0])]
    if len(said) > MOST_SAID:
        said = [*said[:MOST_SAID], f"And {len(said) - MOST_SAID} more rows like these."]
    return said
