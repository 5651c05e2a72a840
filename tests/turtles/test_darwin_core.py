"""The Darwin Core archive against the published term lists, the text guide's schema, and its own descriptions."""

import csv
import datetime as dt
import io
import json
import re
import zipfile
from dataclasses import replace

import pytest
from defusedxml import ElementTree

from stock import darwin_core
from stock.darwin_core import EventRow, FactRow, OccurrenceRow
from tests.turtles.darwin_core_terms import REQUIRED, TERMS

TEXT = "{http://rs.tdwg.org/dwc/text/}"
EVENT = EventRow("E2", "E1", "Handling", "2026-03-14", "seine", "4 drags", "A", "Pond A", "=cold, wet")
HAUL = replace(EVENT, eventID="E1", parentEventID="", eventType="Haul", eventRemarks="")
SEEN = OccurrenceRow(
    "E2", "O1", "LivingSpecimen", 1, "present", "T-1", "T-1", "individual", "Trachemys scripta elegans", "subspecies",
    "Red-eared slider", "female", "adult", "captive", "060030207938416", "pat", darwin_core.WITHHELD, "",
)  # fmt: skip
FACT = FactRow(
    "E2",
    "M1",
    "straight carapace length, maximum",
    "Length",
    "203",
    "mm",
    "pat",
    "2026-03-14",
    "calipers",
    "",
)


def opened(**rows):
    asked = {"events": [HAUL, EVENT], "occurrences": [SEEN], "facts": [FACT], **rows}
    packed = darwin_core.archive(**asked, title="Turtles of a farm", made_on=dt.date(2026, 3, 15))
    return zipfile.ZipFile(io.BytesIO(packed))


def rows_of(packed, file):
    return list(csv.DictReader(io.StringIO(packed.read(file).decode(), newline="")))


def test_every_column_is_a_published_term_of_its_class():
    for table in darwin_core.TABLES:
        of_class = table.row_type.removeprefix(darwin_core.DWC)
        extra = set() if of_class == "Event" else {"eventID"}  # the link to the core
        assert set(darwin_core.columns(table)) <= TERMS[of_class] | extra
        assert set(darwin_core.columns(table)) >= REQUIRED[of_class] | {table.key}


def test_the_description_of_the_files_keeps_to_the_text_guide():
    """Element order and attributes as in tdwg_dwc_text.xsd: files, id or coreid, then fields that name their term."""
    packed = opened()
    root = ElementTree.fromstring(packed.read("meta.xml"))
    assert [one.tag for one in root] == [f"{TEXT}core", f"{TEXT}extension", f"{TEXT}extension"]
    for described, table in zip(root, darwin_core.TABLES, strict=True):
        key = "id" if described.tag == f"{TEXT}core" else "coreid"
        tags = [one.tag.removeprefix(TEXT) for one in described]
        assert tags == ["files", key, *["field"] * (len(tags) - 2)]
        assert set(described.attrib) <= {
            "linesTerminatedBy", "fieldsTerminatedBy", "fieldsEnclosedBy", "ignoreHeaderLines", "rowType", "encoding",
            "dateFormat",
        }  # fmt: skip
        assert described.find(f"{TEXT}files/{TEXT}location").text in packed.namelist()
        headings = packed.read(table.file).decode().split("\r\n")[0].split(",")
        for field in described.findall(f"{TEXT}field"):
            assert set(field.attrib) == {"index", "term"}
            assert field.get("term") == darwin_core.DWC + headings[int(field.get("index"))]
        assert headings[int(described.find(f"{TEXT}{key}").get("index"))] == "eventID"


def test_rows_hold_what_the_table_description_says():
    """Types, required, unique, enumerated values and keys of datapackage.json, checked on the files themselves."""
    packed = opened()
    package = json.loads(packed.read("datapackage.json"))
    by_name = {one["name"]: rows_of(packed, one["path"]) for one in package["resources"]}
    for resource in package["resources"]:
        schema, rows = resource["schema"], by_name[resource["name"]]
        assert [field["name"] for field in schema["fields"]] == list(rows[0])
        for field in schema["fields"]:
            values = [row[field["name"]] for row in rows]
            limits = field.get("constraints", {})
            assert not limits.get("required") or all(values)
            assert not limits.get("unique") or len(set(values)) == len(values)
            assert not limits.get("enum") or {value for value in values if value} <= set(limits["enum"])
            reads = {
                "date": dt.date.fromisoformat,
                "integer": int,
                "string": str,
            }[field["type"]]
            assert all(reads(value) is not None for value in values if value)
        assert len({row[schema["primaryKey"]] for row in rows}) == len(rows)
        for link in schema["foreignKeys"]:
            target = by_name[link["reference"]["resource"] or resource["name"]]
            named = {row[link["fields"]] for row in rows} - {""}
            assert named <= {row[link["reference"]["fields"]] for row in target}
    assert {field["name"] for field in package["resources"][1]["schema"]["fields"]} >= {"otherCatalogNumbers"}


def test_numbers_stay_text_and_formulas_are_disarmed():
    packed = opened()
    (seen,) = rows_of(packed, "occurrence.csv")
    assert seen["otherCatalogNumbers"] == "060030207938416"
    assert re.fullmatch(r"\d{15}", seen["otherCatalogNumbers"])
    assert seen["informationWithheld"] == "The place of the farm is not given."
    assert rows_of(packed, "event.csv")[1]["eventRemarks"] == "'=cold, wet"
    assert [darwin_core.guard_text(cell) for cell in ("-5.5", "-x", "+1 more", "A")] == [
        "-5.5",
        "'-x",
        "'+1 more",
        "A",
    ]


def test_no_place_on_the_map_is_told():
    names = {name for table in darwin_core.TABLES for name in darwin_core.columns(table)}
    assert not {
        name for name in names if "Latitude" in name or "Longitude" in name or "locality" in name.lower()
    }


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ({"facts": [FACT, FACT]}, "M1 stands twice"),
        ({"facts": [replace(FACT, eventID="E9")]}, "event E9 is named"),
        ({"occurrences": [replace(SEEN, eventID="E9")]}, "event E9 is named"),
        ({"events": [EVENT]}, "event E1 is named"),
    ],
)
def test_a_set_that_does_not_hold_together_is_refused(rows, says):
    with pytest.raises(ValueError, match=says):
        opened(**rows)


def test_days_are_written_as_the_standard_wants():
    """ISO 8601: an interval is written with a solidus."""
    assert darwin_core.event_date(dt.date(2024, 5, 1)) == "2024-05-01"
    assert darwin_core.event_date(dt.date(2024, 5, 1), dt.date(2024, 5, 3)) == "2024-05-01/2024-05-03"
    with pytest.raises(ValueError, match="before"):
        darwin_core.event_date(dt.date(2024, 5, 3), dt.date(2024, 5, 1))


@pytest.mark.parametrize(
    ("name", "rank"),
    [
        ("", ""),
        ("Graptemys", "genus"),
        ("Chrysemys picta", "species"),
        ("Trachemys scripta elegans", "subspecies"),
    ],
)
def test_the_rank_follows_from_the_name(name, rank):
    assert darwin_core.taxon_rank(name) == rank
