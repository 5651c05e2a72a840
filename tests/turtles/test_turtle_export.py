"""Turtles going out: a sheet that loads back the same, and a Darwin Core archive of every handling."""

import csv
import io
import uuid
import zipfile

import openpyxl
import pytest
from django.urls import reverse

from ponds.sheets import load, registered_sheets
from stock import turtle_export
from stock.drafts import SexDraft
from stock.marks.measures import read_measure
from stock.models import Measure
from stock.turtle_book import note_sex
from stock.turtle_records import record_measures
from tests.turtles.one_turtle import CHIP, MAY, TODAY, marked_turtle, put_mark

pytestmark = pytest.mark.django_db


@pytest.fixture
def turtle(hand):
    """A turtle with a code and a chip, measured twice."""
    found = marked_turtle(hand.user)
    put_mark(found)
    put_mark(found, "TAG", tag="060030207938416")
    note_sex(found, SexDraft("FEMALE", "EGGS", "CERTAIN"), day=MAY, by=hand.user, today=TODAY)
    for day, length in ((MAY, "8 in"), (TODAY, "210")):
        typed = [read_measure("SCL_MAX", length), read_measure("MASS", "3 lb 1 oz")]
        record_measures(
            found, typed, measured_on=day, key=uuid.uuid4(), by=hand.user, today=TODAY, note="-wet"
        )
    return found


def get(client, form):
    answer = client.get(reverse("stock:turtle-export", args=[form]))
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == f'attachment; filename="{form}"'
    return answer.content


def test_the_sheet_loads_back_and_changes_nothing(reader, turtle):
    content = get(reader, "turtles.csv")
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))
    assert [row["carapace length"] for row in rows] == ["8 in", "210 mm"]
    assert {row["tag"] for row in rows} == {"060030207938416"}
    assert rows[0]["sex method"] == "eggs laid or felt"
    assert rows[0]["note"] == "'-wet"
    before = Measure.objects.standing().count()
    outcome = load(registered_sheets()["turtles"], "turtles.csv", content)
    assert outcome.bad_rows == []
    assert (outcome.written.new, outcome.written.same) == (0, 2)
    assert Measure.objects.standing().count() == before
    assert type(turtle).objects.count() == 1


def test_turtles_that_their_marks_cannot_tell_load_back_as_the_animals_they_are(hand, reader, turtle):
    """One code on two turtles, and one that only paint marks: their marks alone would make new ones."""
    twin = marked_turtle(hand.user, "+2", turtle.kind, turtle.cell.pond)
    put_mark(twin, "TAG", tag="060030207938416", conflict=1)
    painted = marked_turtle(hand.user, "+3", turtle.kind, turtle.cell.pond)
    put_mark(painted, "PAINT", text="white 5")
    content = get(reader, "turtles.csv")
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))
    assert [row["animal"].rsplit("-", 1)[0] for row in rows] == [
        f"T-{one.pk}" for one in (turtle, turtle, twin, painted)
    ]
    assert {row["turtle"] for row in rows} == {""}  # a number would be another turtle's elsewhere
    outcome = load(registered_sheets()["turtles"], "turtles.csv", content)
    assert outcome.bad_rows == []
    assert (outcome.written.new, outcome.written.same) == (0, 4)
    assert type(turtle).objects.count() == 3


def test_the_workbook_keeps_zeros(reader, turtle):
    page = openpyxl.load_workbook(io.BytesIO(get(reader, "turtles.xlsx"))).active
    headings, first, *_ = list(page.iter_rows(values_only=True))
    assert first[headings.index("tag")] == "060030207938416"
    assert first[headings.index("notch")] == "BKO"


def test_every_handling_goes_into_the_archive(reader, turtle):
    packed = zipfile.ZipFile(io.BytesIO(get(reader, "darwin-core.zip")))

    def rows(name):
        return list(csv.DictReader(io.StringIO(packed.read(name).decode(), newline="")))

    events, seen, facts = rows("event.csv"), rows("occurrence.csv"), rows("measurement.csv")
    assert [row["eventDate"] for row in events] == ["2024-05-01", "2026-06-30"]
    assert {row["organismID"] for row in seen} == {f"T-{turtle.pk}"}
    assert {row["sex"] for row in seen} == {"female"}
    assert {row["scientificName"] for row in seen} == {"Trachemys scripta elegans"}
    said = {(row["measurementType"], row["measurementValue"], row["measurementUnit"]) for row in facts}
    assert said >= {
        ("Straight carapace length, greatest", "203", "mm"),
        ("Mass", "1389", "g"),
        ("marginal notch code", "BKO", ""),
        ("PIT tag ISO 11784 code", "060030207938416", ""),
    }
    assert packed.read("event.csv") == zipfile.ZipFile(io.BytesIO(get(reader, "darwin-core.zip"))).read(
        "event.csv"
    )


def test_no_such_export(reader):
    assert reader.get(reverse("stock:turtle-export", args=["secret.db"])).status_code == 404


def test_the_exports_ask_the_same_of_the_database_however_many_turtles(
    hand, turtle, django_assert_max_num_queries
):
    with django_assert_max_num_queries(8) as first:
        turtle_export.lives()
    for number in range(3):
        other = marked_turtle(hand.user, f"+{number}", turtle.kind, turtle.cell.pond)
        put_mark(other, "TAG", tag=f"98511300739920{number + 3}")
    with django_assert_max_num_queries(len(first)):
        assert len(turtle_export.lives()) == 4
    assert CHIP not in str(turtle_export.sheet_rows(turtle_export.lives()))
