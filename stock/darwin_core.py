"""Turtles seen, measured and marked, as a Darwin Core archive with a description of its tables. Pure.

The archive is a star as the Darwin Core text guide (TDWG 2009, current text of the standard) wants it: events at its
middle, occurrences and measurements or facts beside them, each row naming its event. One event is one handling of one
turtle, so a fact named by its event is that turtle's; a haul is the event above. `meta.xml` describes the files to
readers of the standard, `datapackage.json` to readers of Frictionless tables.

Where the farm lies is not told: no coordinate is exported, and that it was withheld is said.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any
from xml.sax.saxutils import quoteattr

DWC = "http://rs.tdwg.org/dwc/terms/"
FORMULA = ("=", "+", "-", "@", "\t", "\r")
WITHHELD = "The place of the farm is not given."
# As in the UCUM (Unified Code for Units of Measure).
UCUM = {"mm": "mm", "g": "g"}


@dataclass(frozen=True)
class EventRow:
    """One handling, or the haul that handlings belong to."""

    eventID: str
    parentEventID: str
    eventType: str
    eventDate: str
    samplingProtocol: str
    samplingEffort: str
    locationID: str
    waterBody: str
    eventRemarks: str


@dataclass(frozen=True)
class OccurrenceRow:
    """One turtle in one handling."""

    eventID: str
    occurrenceID: str
    basisOfRecord: str
    individualCount: int
    occurrenceStatus: str
    organismID: str
    organismName: str
    organismScope: str
    scientificName: str
    taxonRank: str
    vernacularName: str
    sex: str
    lifeStage: str
    degreeOfEstablishment: str
    otherCatalogNumbers: str
    recordedBy: str
    informationWithheld: str
    occurrenceRemarks: str


@dataclass(frozen=True)
class FactRow:
    """One measure or mark of the turtle of an event."""

    eventID: str
    measurementID: str
    measurementType: str
    verbatimMeasurementType: str
    measurementValue: str
    measurementUnit: str
    measurementDeterminedBy: str
    measurementDeterminedDate: str
    measurementMethod: str
    measurementRemarks: str


@dataclass(frozen=True)
class Table:
    """One file of the archive: its rows' class, the class of Darwin Core it holds, and its own key."""

    file: str
    row: type
    row_type: str
    key: str
    title: str


TABLES = (
    Table("event.csv", EventRow, f"{DWC}Event", "eventID", "Hauls and handlings"),
    Table(
        "occurrence.csv",
        OccurrenceRow,
        f"{DWC}Occurrence",
        "occurrenceID",
        "One turtle in one handling a row",
    ),
    Table(
        "measurement.csv",
        FactRow,
        f"{DWC}MeasurementOrFact",
        "measurementID",
        "Measures and marks, each of the turtle of its event",
    ),
)
# What a reader may count on, by column: Frictionless table schema, version 1.
_FIELDS: dict[str, dict[str, Any]] = {
    "eventDate": {"type": "date", "format": "%Y-%m-%d"},
    "measurementDeterminedDate": {"type": "date", "format": "%Y-%m-%d"},
    "individualCount": {"type": "integer", "constraints": {"minimum": 0}},
    "sex": {"type": "string", "constraints": {"enum": ["female", "male", "indeterminate"]}},
    "basisOfRecord": {"type": "string", "constraints": {"required": True}},
    "occurrenceStatus": {"type": "string", "constraints": {"enum": ["present", "absent"]}},
    "measurementType": {"type": "string", "constraints": {"required": True}},
}


def event_date(first: dt.date, last: dt.date | None = None) -> str:
    """Return a day, or the days from first to last, as ISO 8601 writes them: 2024-05-01/2024-05-03."""
    if last is None or last == first:
        return first.isoformat()
    if last < first:
        raise ValueError(f"{last} is before {first}: an event ends after it begins.")
    return f"{first.isoformat()}/{last.isoformat()}"


def taxon_rank(scientific_name: str) -> str:
    """Return the rank of a name by its words: genus, species or subspecies; "" for none."""
    return {0: "", 1: "genus", 2: "species"}.get(len(scientific_name.split()), "subspecies")


def archive(
    events: Iterable[EventRow],
    occurrences: Iterable[OccurrenceRow],
    facts: Iterable[FactRow],
    *,
    title: str,
    made_on: dt.date,
) -> bytes:
    """
    Return the archive as the bytes of a zip file.

    Parameters
    ----------
    events, occurrences, facts : iterable
        Rows in any order; each occurrence and fact names its event, an event may name the one above it.
    title : str
        Whose turtles they are.
    made_on : date
        Day of the export.

    Raises
    ------
    ValueError
        If a key stands twice or a row names an event that is not there.
    """
    tables: list[list[Any]] = [list(events), list(occurrences), list(facts)]
    _check(tables)
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        for table, rows in zip(TABLES, tables, strict=True):
            packed.writestr(table.file, _csv(table, rows))
        packed.writestr("meta.xml", meta_xml())
        packed.writestr("datapackage.json", json.dumps(data_package(title, made_on), indent=1) + "\n")
        packed.writestr("README.txt", _readme(title, made_on))
    return written.getvalue()


def columns(table: Table) -> list[str]:
    """Return the columns of a table, each a term of Darwin Core."""
    return [field.name for field in fields(table.row)]


def meta_xml() -> str:
    """Return the description of the files as the Darwin Core text guide wants it."""
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<archive xmlns="http://rs.tdwg.org/dwc/text/">',
    ]
    for table in TABLES:
        element, key = ("core", "id") if table is TABLES[0] else ("extension", "coreid")
        written_as = (
            'encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\r\\n" fieldsEnclosedBy="&quot;" '
            'ignoreHeaderLines="1"'
        )
        parts.append(f" <{element} {written_as} rowType={quoteattr(table.row_type)}>")
        parts.append(f"  <files><location>{table.file}</location></files>")
        parts.append(f'  <{key} index="0"/>')
        parts += [
            f'  <field index="{place}" term={quoteattr(DWC + name)}/>'
            for place, name in enumerate(columns(table))
            # The key of the star is told once, as id or coreid; the core repeats it as its own term.
            if place or table is TABLES[0]
        ]
        parts.append(f" </{element}>")
    return "\n".join([*parts, "</archive>", ""])


def data_package(title: str, made_on: dt.date) -> dict[str, Any]:
    """Return the description of the tables as a Frictionless data package."""
    resources = []
    for table in TABLES:
        described = []
        for name in columns(table):
            about: dict[str, Any] = {
                "name": name,
                "type": "string",
                **_FIELDS.get(name, {}),
                "rdfType": DWC + name,
            }
            if name in (table.key, "eventID"):
                about["constraints"] = {"required": True, **({"unique": True} if name == table.key else {})}
            described.append(about)
        schema: dict[str, Any] = {"fields": described, "primaryKey": table.key, "missingValues": [""]}
        link = {"fields": "eventID", "reference": {"resource": "event", "fields": "eventID"}}
        if table is TABLES[0]:
            link = {"fields": "parentEventID", "reference": {"resource": "", "fields": "eventID"}}
        schema["foreignKeys"] = [link]
        resources.append(
            {
                "name": table.file.removesuffix(".csv"),
                "path": table.file,
                "title": table.title,
                "profile": "tabular-data-resource",
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "header": True},
                "schema": schema,
            }
        )
    return {
        "profile": "tabular-data-package",
        "name": "turtles",
        "title": title,
        "created": f"{made_on.isoformat()}T00:00:00Z",
        "resources": resources,
    }


def guard_text(cell: str) -> str:
    """Put a quote before text that a spreadsheet would take for a formula; figures are left alone."""
    if not cell.startswith(FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def _csv(table: Table, rows: Sequence[Any]) -> str:
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\r\n")
    names = columns(table)
    writer.writerow(names)
    for row in rows:
        writer.writerow([guard_text(str(getattr(row, name))) for name in names])
    return written.getvalue()


def _check(tables: Sequence[Sequence[Any]]) -> None:
    known = {row.eventID for row in tables[0]}
    for table, rows in zip(TABLES, tables, strict=True):
        keys = [getattr(row, table.key) for row in rows]
        if len(set(keys)) != len(keys):
            twice = next(key for key in keys if keys.count(key) > 1)
            raise ValueError(f"{table.file}: {table.key} {twice} stands twice; each row needs its own.")
        named: Callable[[Any], str] = (
            (lambda row: row.parentEventID) if table is TABLES[0] else (lambda row: row.eventID)
        )
        for row in rows:
            if named(row) and named(row) not in known:
                raise ValueError(f"{table.file}: event {named(row)} is named and is not in event.csv.")


def _readme(title: str, made_on: dt.date) -> str:
    lines = [
        title,
        f"Made on {made_on}.",
        "",
        *(f"{table.file}: {table.title}." for table in TABLES),
        "meta.xml: the files in Darwin Core's own terms. datapackage.json: every column with its type and keys.",
        "",
        "An empty cell is not known. A microchip number is text of 15 digits; its first digit may be 0.",
        "Measures are in mm and g; what was typed stands in the remarks where it was typed in another unit.",
        WITHHELD,
    ]
    return "\r\n".join(lines) + "\r\n"
