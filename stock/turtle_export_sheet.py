"""Marked turtles as rows of the turtles sheet (all that stands, each on its day), their marks' lives as a sheet beside.

Loaded back where they came from they change nothing; loaded into a register that has none of them, they make the
turtles anew. What keeps them apart is the column "animal", not their marks: two turtles may carry one code.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict

from stock.marks import notch
from stock.marks.sexes import CERTAINTIES, METHODS, SEXES
from stock.marks_sheet import BECAME, FORMS, MARKS_SHEET, PUT_ON
from stock.models import HeadClass, Mark, Measure
from stock.turtle_export_lives import SYMBOLS, Life
from stock.turtle_page import mark_words
from stock.turtle_sheet import MEASURE_COLUMNS, TURTLES_SHEET
from stock.turtle_sheet_find import animal_name

_COLUMN = {"NOTCH": "notch", "TAG": "tag", "PAINT": "paint", "OTHER": "other mark"}


def sheet_rows(lived: list[Life]) -> list[list[str]]:
    """Return the register's turtles as rows of the turtles sheet, headings first."""
    headings = [column.name for column in TURTLES_SHEET.columns]
    return [
        headings,
        *([said.get(name, "") for name in headings] for life in lived for said in _rows_of(life)),
    ]


def _rows_of(life: Life) -> list[dict[str, str]]:
    """Return one turtle's rows in the order of their days; a day has as many as its marks and measures need."""
    first_day = life.turtle.first_marked_on or min(life.days(), default=life.turtle.last_seen_on)
    marks: dict[dt.date, list[Mark]] = defaultdict(list)
    for mark in life.standing:
        marks[mark.put_on_on].append(mark)
    days = {*life.measures, *marks, *(told.sexed_on for told in life.sexes)}
    if life.turtle.batch or not days or (life.events and not life.standing):
        # Elsewhere the marks sheet that comes after it takes such a turtle out of the marked: it must be there by then.
        days.add(first_day)
    found = []
    for day in sorted(days):
        pond, of_class = life.place_on(day)
        same = {
            "day": day.isoformat(),
            "pond": pond,
            "kind": life.turtle.kind.code,
            "class": dict(HeadClass.choices).get(of_class, ""),
            "animal": _animal(life),
        }
        own = _measure_rows(life.measures.get(day, []))
        marked = _mark_rows(marks[day]) or [_known_marks(life, day)]
        sexed = [
            {
                "sex": SEXES.get(told.sex, ""),
                "sex method": METHODS.get(told.method, ""),
                "certainty": CERTAINTIES.get(told.certainty, ""),
            }
            for told in life.sexes
            if told.sexed_on == day
        ]
        for place in range(max(len(own), len(marked), len(sexed), 1)):
            parts = [some[place] for some in (marked, sexed, own) if place < len(some)]
            found.append({**same, **{name: said for part in parts for name, said in part.items()}})
    if life.turtle.batch:
        # Where it is read: in the row that marks the turtle.
        lead = next((row for row in found if any(row.get(name) for name in _COLUMN.values())), found[0])
        lead["batch"] = life.turtle.batch.code
    return found


def mark_rows(lived: list[Life]) -> list[list[str]]:
    """Return every mark of the register's turtles and what became of it as rows of the marks sheet, headings first."""
    carriers: dict[tuple, set[int]] = defaultdict(set)
    for life in lived:
        for mark in (*life.marks, *life.slips):
            carriers[_code(mark)].add(life.turtle.pk)
    headings = [column.name for column in MARKS_SHEET.columns]
    return [
        headings,
        *(
            [said.get(name, "") for name in headings]
            for life in lived
            for mark in sorted((*life.marks, *life.slips), key=lambda one: (one.put_on_on, one.pk))
            for said in _history(life, mark, is_met_twice=len(carriers[_code(mark)]) > 1)
        ),
    ]


def _history(life: Life, mark: Mark, *, is_met_twice: bool) -> list[dict[str, str]]:
    """Return the row that puts a mark on, then one for each thing that became of it, in the order of days."""
    code = mark_words(mark)[1] if mark.form == "NOTCH" else mark.tag or mark.text
    put_on = mark.put_on_on.isoformat()
    same = {
        "animal": _animal(life),
        "mark": dict(FORMS)[mark.form],
        "code": code,
        "notch scheme": mark.scheme if mark.scheme in notch.SCHEMES else "",
        "site": mark.site,
        # The other turtle's may be put on first where they are loaded: then this one is met again.
        "conflict": "yes" if mark.conflict or is_met_twice else "no",
        "put on": put_on,
    }
    became = dict(BECAME)
    return [
        {**same, "what": became[PUT_ON], "day": put_on, "note": mark.note},
        *(
            {
                **same,
                "what": became[event.what],
                "day": event.happened_on.isoformat(),
                "faint": " ".join(notch.positions_in(event.faint_mask or 0)),
                "note": event.note,
            }
            for event in life.events[mark.pk]
        ),
    ]


def _code(mark: Mark) -> tuple:
    return (mark.family, mark.tag) if mark.tag else (mark.kind_id, mark.mask or mark.text)


def _animal(life: Life) -> str:
    """Return what both sheets call a turtle."""
    first = min(life.steps, key=lambda step: step.pk) if life.steps else None
    return animal_name(life.turtle.pk, first.move.key if first else None)


def _mark_rows(marks: list[Mark]) -> list[dict[str, str]]:
    """Return the marks put on on one day, as many in a row as share its columns."""
    rows: list[dict[str, str]] = []
    for mark in marks:
        said = _mark_cells(mark)
        row = next((row for row in rows if _goes_with(row, said)), None)
        if row is None:
            rows.append(said)
        else:
            row |= said
    return rows


def _goes_with(row: dict[str, str], said: dict[str, str]) -> bool:
    shared = {"site", "conflict"}
    return not (row.keys() & said.keys() - shared) and all(
        name not in row or name not in said or row[name] == said[name] for name in shared
    )


def _mark_cells(mark: Mark) -> dict[str, str]:
    if mark.form == "NOTCH":
        _, code, _ = mark_words(mark)
        said = {"notch": code, "notch scheme": mark.scheme if mark.scheme in notch.SCHEMES else ""}
    else:
        said = {_COLUMN[mark.form]: mark.tag or mark.text, "site": mark.site}
    return {**said, "conflict": "yes" if mark.conflict else "no"}


def _known_marks(life: Life, day: dt.date) -> dict[str, str]:
    """Return the first code and the first tag carried by then, so that a row can be read without those above it."""
    said: dict[str, str] = {}
    for form in ("NOTCH", "TAG"):
        mark = next((one for one in life.standing if one.form == form and one.put_on_on < day), None)
        if mark is not None:
            said |= {**_mark_cells(mark), **({"conflict": "yes"} if said.get("conflict") == "yes" else {})}
    return said


def _measure_rows(measures: list[Measure]) -> list[dict[str, str]]:
    """Return the measures of one day: one row for each who measured and each time a measure was taken again."""
    rows: dict[tuple[str, str, int], dict[str, str]] = {}
    taken: Counter[tuple[str, str, str]] = Counter()
    for one in measures:
        name = (one.observer, one.note, one.what)
        row = rows.setdefault(
            (one.observer, one.note, taken[name]), {"measured by": one.observer, "note": one.note}
        )
        row[MEASURE_COLUMNS[one.what]] = f"{one.typed} {SYMBOLS.get(one.unit, '')}".strip()
        taken[name] += 1
    return list(rows.values())
