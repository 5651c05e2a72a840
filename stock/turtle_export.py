"""Marked turtles going out: as a sheet that loads back, and as a Darwin Core archive. Reads and writes nothing.

So many queries whatever the register holds: each table is read once.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid
from collections import defaultdict
from dataclasses import dataclass, field

import openpyxl

from ponds.lists import guard_cell
from stock import darwin_core
from stock.darwin_core import EventRow, FactRow, OccurrenceRow
from stock.marks import notch
from stock.marks.measures import DEFINITIONS
from stock.marks.sexes import CERTAINTIES, METHODS, SEXES
from stock.models import HaulTurtle, HeadClass, Mark, MarkEvent, MarkStep, Measure, SexStep, Turtle
from stock.turtle_page import mark_words
from stock.turtle_sheet import MEASURE_COLUMNS, TURTLES_SHEET

NAMESPACE = uuid.UUID("6d0f5c8e-64f7-4f0a-8d8e-4f6d2f4d9a11")
SYMBOLS = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}
STAGES = {"JUVENILE": "juvenile"}


@dataclass
class Life:
    """Everything of one turtle that goes out, by day."""

    turtle: Turtle
    marks: list[Mark] = field(default_factory=list)
    measures: dict[dt.date, list[Measure]] = field(default_factory=lambda: defaultdict(list))
    hauls: dict[dt.date, HaulTurtle] = field(default_factory=dict)
    steps: list[MarkStep] = field(default_factory=list)
    sex: SexStep | None = None

    def place_on(self, day: dt.date) -> tuple[str, str]:
        """Return the pond's code and the class it was counted in on a day, or before; the first known otherwise."""
        before = [
            step for step in self.steps if step.target and step.target.pond and step.move.happened_on <= day
        ]
        step = (
            before[-1]
            if before
            else next((one for one in self.steps if one.target and one.target.pond), None)
        )
        if step is None or step.target is None or step.target.pond is None:
            return "", ""
        return step.target.pond.code, step.target.of_class

    def days(self) -> list[dt.date]:
        """Return the days it was in hand."""
        days = {*self.measures, *self.hauls, *(mark.put_on_on for mark in self.marks)}
        return sorted(days)


def lives(*, kind: str = "") -> list[Life]:
    """Return every turtle of the register with what goes out of it, in the order of their numbers; seven queries."""
    turtles = Turtle.objects.select_related("kind", "batch", "cell__pond").order_by("pk")
    if kind:
        turtles = turtles.filter(kind__code=kind)
    found = {turtle.pk: Life(turtle) for turtle in turtles}
    mine = {"turtle__kind__code": kind} if kind else {}
    gone = set(
        MarkEvent.objects.filter(
            what="MISTAKEN", **{f"mark__{name}": code for name, code in mine.items()}
        ).values_list("mark_id", flat=True)
    )
    for mark in Mark.objects.filter(**mine).select_related("by").order_by("put_on_on", "pk"):
        if mark.pk not in gone:
            found[mark.turtle_id].marks.append(mark)
    for measure in (
        Measure.objects.standing().filter(**mine).select_related("by").order_by("measured_on", "what", "pk")
    ):
        found[measure.turtle_id].measures[measure.measured_on].append(measure)
    seen = HaulTurtle.objects.filter(haul__move__reversed_by=None, **mine).select_related(
        "haul__pond", "haul__move"
    )
    for one in seen.order_by("haul__happened_on", "pk"):
        found[one.turtle_id].hauls[one.haul.happened_on] = one
    for step in (
        MarkStep.objects.filter(**mine)
        .select_related("move", "target__pond")
        .order_by("move__happened_on", "pk")
    ):
        found[step.turtle_id].steps.append(step)
    for told in SexStep.objects.filter(**mine).order_by("sexed_on", "pk"):
        found[told.turtle_id].sex = told
    return list(found.values())


def sheet_rows(lived: list[Life]) -> list[list[str]]:
    """Return the register's turtles as rows of the turtles sheet, headings first; loaded back they change nothing."""
    headings = [column.name for column in TURTLES_SHEET.columns]
    rows = [headings]
    for life in lived:
        marks = {mark.form: mark for mark in life.marks}
        if not marks:
            continue
        first_day = min(mark.put_on_on for mark in life.marks)
        for day in sorted({first_day, *life.measures}):
            if day < first_day:
                continue
            said = _said(life, marks, day, is_first=day == first_day)
            rows.append([said.get(name, "") for name in headings])
    return rows


def _said(life: Life, marks: dict[str, Mark], day: dt.date, *, is_first: bool) -> dict[str, str]:
    pond, of_class = life.place_on(day)
    said = {
        "day": day.isoformat(),
        "pond": pond,
        "kind": life.turtle.kind.code,
        "class": dict(HeadClass.choices).get(of_class, ""),
        "sex": SEXES.get(life.turtle.sex, ""),
    }
    cannot_be_told = not any(mark.form in ("NOTCH", "TAG") and not mark.conflict for mark in life.marks)
    if cannot_be_told or any(mark.conflict for mark in marks.values()):
        # Its marks alone would be read as another turtle's, or as those of a new one.
        said["turtle"] = str(life.turtle.pk)
    if (chip := marks.get("TAG")) is not None:
        said |= {"tag": chip.tag or "", "site": chip.site, "conflict": "yes" if chip.conflict else ""}
    if (cut := marks.get("NOTCH")) is not None:
        _, code, _ = mark_words(cut)
        said |= {"notch": code, "notch scheme": cut.scheme}
    other = marks.get("OTHER") or marks.get("PAINT")
    if other is not None and (is_first or not (chip or cut)):
        said["other mark"] = other.text
    if is_first:
        said["batch"] = life.turtle.batch.code if life.turtle.batch else ""
        if life.sex is not None:
            said |= {
                "sex": SEXES.get(life.sex.sex, ""),
                "sex method": METHODS.get(life.sex.method, ""),
                "certainty": CERTAINTIES.get(life.sex.certainty, ""),
            }
    for measure in life.measures.get(day, []):
        said[MEASURE_COLUMNS[measure.what]] = f"{measure.typed} {SYMBOLS.get(measure.unit, '')}".strip()
        said["measured by"] = measure.observer
        said["note"] = measure.note or said.get("note", "")
    return said


def turtles_csv(rows: list[list[str]]) -> str:
    """Return the rows as CSV text, formulas disarmed."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\r\n").writerows([[guard_cell(cell) for cell in row] for row in rows])
    return written.getvalue()


def turtles_xlsx(rows: list[list[str]]) -> bytes:
    """Return the rows as a workbook in which every cell is text: a tag keeps its zeros."""
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet("turtles")
    for row in rows:
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
