"""Marked turtles going out: as sheets that load back, and as a Darwin Core archive. Reads and writes nothing.

So many queries whatever the register holds: each table is read once.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid

import openpyxl

from ponds.lists import guard_cell
from stock import darwin_core
from stock.darwin_core import EventRow, FactRow, OccurrenceRow
from stock.marks import notch
from stock.marks.measures import DEFINITIONS
from stock.models import HaulTurtle
from stock.turtle_export_lives import SYMBOLS, Life, lives
from stock.turtle_export_sheet import mark_rows, sheet_rows
from stock.turtle_page import mark_words

__all__ = ["darwin_core_zip", "lives", "mark_rows", "sheet_csv", "sheet_rows", "turtles_xlsx"]
NAMESPACE = uuid.UUID("6d0f5c8e-64f7-4f0a-8d8e-4f6d2f4d9a11")
STAGES = {"JUVENILE": "juvenile"}


def sheet_csv(rows: list[list[str]]) -> str:
    """Return the rows as CSV text, formulas disarmed."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\r\n").writerows([[guard_cell(cell) for cell in row] for row in rows])
    return written.getvalue()


def turtles_xlsx(rows: list[list[str]], marks: list[list[str]]) -> bytes:
    """Return both sheets as a workbook in which every cell is text: a tag keeps its zeros."""
    book = openpyxl.Workbook(write_only=True)
    for what, lines in (("turtles", rows), ("marks", marks)):
        page = book.create_sheet(what)
        for row in lines:
            page.append([guard_cell(cell) for cell in row])
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def darwin_core_zip(lived: list[Life], *, farm: str, made_on: dt.date) -> bytes:
    """Return every handling of these turtles as a Darwin Core archive (`stock/darwin_core.py`)."""
    events: dict[str, EventRow] = {}
    occurrences: list[OccurrenceRow] = []
    facts: list[FactRow] = []
    for life in lived:
        for day in life.days():
            event = _urn("event", life.turtle.pk, day)
            haul = life.hauls.get(day)
            pond, of_class = (haul.haul.pond.code, "") if haul else life.place_on(day)
            of_class = of_class or life.place_on(day)[1]
            parent = ""
            if haul:
                parent = _urn("haul", haul.haul_id)
                events[parent] = _event(parent, "", "Haul", day, haul, pond)
            events[event] = _event(event, parent, "Handling", day, haul, pond)
            occurrences.append(_occurrence(life, event, day, of_class))
            facts += _facts(life, event, day)
    return darwin_core.archive(
        events.values(), occurrences, facts, title=f"Marked turtles of {farm}", made_on=made_on
    )


def _event(name: str, parent: str, what: str, day: dt.date, haul: HaulTurtle | None, pond: str) -> EventRow:
    return EventRow(
        eventID=name,
        parentEventID=parent,
        eventType=what,
        eventDate=darwin_core.event_date(day),
        samplingProtocol=str(haul.haul.get_method_display()) if haul else "",
        samplingEffort=haul.haul.effort_typed if haul else "",
        locationID=f"POND-{pond}" if pond else "",
        waterBody=f"Pond {pond}" if pond else "",
        eventRemarks="",
    )


def _occurrence(life: Life, event: str, day: dt.date, of_class: str) -> OccurrenceRow:
    turtle = life.turtle
    codes = [mark.tag for mark in life.marks if mark.tag and mark.put_on_on <= day]
    by = next(
        (row.observer or (row.by.get_username() if row.by else "") for row in life.measures.get(day, [])), ""
    )
    return OccurrenceRow(
        eventID=event,
        occurrenceID=_urn("occurrence", turtle.pk, day),
        basisOfRecord="LivingSpecimen",
        individualCount=1,
        occurrenceStatus="present",
        organismID=f"T-{turtle.pk}",
        organismName=f"Turtle {turtle.pk}",
        organismScope="individual",
        scientificName=turtle.kind.scientific_name,
        taxonRank=darwin_core.taxon_rank(turtle.kind.scientific_name),
        vernacularName=turtle.kind.common_name,
        sex=turtle.sex.lower(),
        lifeStage=STAGES.get(of_class, "adult" if of_class else ""),
        degreeOfEstablishment="captive",
        otherCatalogNumbers=" | ".join(codes),
        recordedBy=by,
        informationWithheld=darwin_core.WITHHELD,
        occurrenceRemarks="",
    )


def _facts(life: Life, event: str, day: dt.date) -> list[FactRow]:
    facts = [
        FactRow(
            eventID=event,
            measurementID=f"urn:uuid:{row.key}",
            measurementType=DEFINITIONS[row.what].title if row.what in DEFINITIONS else row.what,
            verbatimMeasurementType=row.what,
            measurementValue=str(row.stored),
            measurementUnit="g" if row.what == "MASS" else "mm",
            measurementDeterminedBy=row.observer or (row.by.get_username() if row.by else ""),
            measurementDeterminedDate=row.measured_on.isoformat(),
            measurementMethod=DEFINITIONS[row.what].tool if row.what in DEFINITIONS else "",
            measurementRemarks=f"typed as {row.typed} {SYMBOLS.get(row.unit, row.unit)}",
        )
        for row in life.measures.get(day, [])
    ]
    for mark in life.marks:
        if mark.put_on_on != day:
            continue
        title, code, words = mark_words(mark)
        scheme = notch.SCHEMES.get(mark.scheme)
        kind = {
            "NOTCH": "marginal notch code",
            "TAG": "PIT tag ISO 11784 code" if mark.family == "iso" else "tag",
        }
        facts.append(
            FactRow(
                eventID=event,
                measurementID=_urn("mark", mark.pk, day),
                measurementType=kind.get(mark.form, "other mark"),
                verbatimMeasurementType=title,
                measurementValue=code,
                measurementUnit="",
                measurementDeterminedBy=mark.by_name,
                measurementDeterminedDate=day.isoformat(),
                measurementMethod=scheme.source if scheme else "",
                measurementRemarks=words,
            )
        )
    return facts


def _urn(what: str, *which: object) -> str:
    name = "|".join(str(part) for part in (what, *which))
    return f"urn:uuid:{uuid.uuid5(NAMESPACE, name)}"
