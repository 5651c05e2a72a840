"""Sizes by sex: read anew after each measure, each sex told and each mending, and kept in between."""

import datetime as dt
import random
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind
from stock import turtle_book, turtle_records, turtle_sizes
from stock.drafts import SexDraft
from stock.marks.growth import growth_curve, size_summary
from stock.marks.measures import read_measure
from stock.models import Measure
from stock.templatetags.stock_format import number as figure
from tests.turtles.one_turtle import MAY, TODAY, marked_turtle

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]


def measure(turtle, typed, person):
    return turtle_records.record_measures(
        turtle, [read_measure("SCL_MAX", typed)], measured_on=MAY, key=uuid.uuid4(), by=person, today=TODAY
    )[0]


def means():
    """Return the kinds by name with the mean lengths of their females and males."""
    return {
        kind.kind: (kind.rows[0].females.mean.value, kind.rows[0].males.mean.value)
        for kind in turtle_sizes.kind_sizes()
    }


def test_sizes_follow_what_is_written_and_ask_little_in_between(hand, reader, django_assert_num_queries):
    person = hand.user
    female = marked_turtle(person)
    kind, pond = female.kind, female.cell.pond
    told = {"day": MAY, "by": person, "today": TODAY}
    turtle_book.note_sex(female, SexDraft("FEMALE", "EGGS", "CERTAIN"), **told)
    other = marked_turtle(person, "+2", kind, pond)
    turtle_sizes._KEPT.forget()
    assert means() == {}
    measure(female, "200", person)
    wrong = measure(other, "120", person)
    assert means() == {kind.common_name: (200, None)}
    turtle_book.note_sex(other, SexDraft("MALE", "CLAWS"), **told)
    assert means() == {kind.common_name: (200, 120)}
    turtle_records.correct_measure(
        wrong, read_measure("SCL_MAX", "130"), measured_on=MAY, key=uuid.uuid4(), by=person, today=TODAY
    )
    assert means() == {kind.common_name: (200, 130)}
    with django_assert_num_queries(2):
        means()
    Kind.objects.filter(pk=kind.pk).update(common_name="Another name")
    assert means() == {"Another name": (200, 130)}
    turtle_records.take_back(other.measures.get(replaces=wrong), key=uuid.uuid4(), by=person, today=TODAY)
    assert means() == {"Another name": (200, None)}


def test_the_page_asks_the_same_of_two_measures_and_of_two_hundred(hand, reader, django_assert_num_queries):
    turtle = marked_turtle(hand.user)
    told = {"day": MAY, "by": hand.user, "today": TODAY}
    turtle_book.note_sex(turtle, SexDraft("FEMALE", "EGGS", "CERTAIN"), **told)
    for number in range(200):
        measure(turtle, str(150 + number % 5), hand.user)
        if number in (1, 199):
            with django_assert_num_queries(3):
                assert len(turtle_sizes.kind_sizes()) == 1
            with django_assert_num_queries(2):
                turtle_sizes.kind_sizes()
    assert reader.get("/turtles/sizes/").status_code == 200


def put(turtle, what, day, stored, person, **more):
    made = {"turtle": turtle, "typed": str(stored), "unit": "G" if what == "MASS" else "MM", "by": person}
    return Measure.objects.create(what=what, measured_on=day, stored=stored, **made, **more)


def by_reading_all(sex):
    """Return the latest of every turtle by measure, and the first and last lengths, from every row that stands."""
    latest, lengths = {}, {}
    rows = Measure.objects.standing().filter(turtle__sex=sex).order_by("measured_on", "pk")
    for row in rows:
        latest[row.what, row.turtle_id] = row.stored
        if row.what == "SCL_MAX":
            lengths.setdefault(row.turtle_id, []).append((row.measured_on, row.stored))
    grown = [(taken[0], taken[-1]) for taken in lengths.values() if len(taken) > 1]
    return latest, sorted(
        (first, last, (last_on - first_on).days / 365.25) for (first_on, first), (last_on, last) in grown
    )


def test_first_and_latest_are_those_of_reading_every_measure(hand, monkeypatch):
    """By day, then by the order they were written; corrected ones and those taken back do not count."""
    person, rng = hand.user, random.Random(4)
    first = marked_turtle(person)
    turtles = [first, *(marked_turtle(person, f"+{n}", first.kind, first.cell.pond) for n in range(2, 22))]
    for place, turtle in enumerate(turtles):
        sex = SexDraft("MALE" if place % 3 == 0 else "FEMALE", "CLAWS")
        turtle_book.note_sex(turtle, sex, day=MAY, by=person, today=TODAY)
        for what in ("SCL_MAX", "MASS"):
            for _ in range(rng.randint(0, 6)):
                # Few days, so that some fall on one.
                day = MAY + dt.timedelta(days=120 * rng.randint(0, 5))
                row = put(turtle, what, day, 150 + 9 * rng.randint(0, 9), person)
                if rng.random() < 0.4:
                    put(turtle, what, day, 240, person, replaces=row, is_void=rng.random() < 0.5)
    curves = []

    def growth(*taken):
        curves.append(sorted(zip(*taken, strict=True)))
        return growth_curve(*taken)

    monkeypatch.setattr(turtle_sizes, "growth_curve", growth)
    turtle_sizes._KEPT.forget()
    (found,) = turtle_sizes.kind_sizes()
    for sex, rows, curve in (
        ("FEMALE", [(row.code, row.females) for row in found.rows], curves[0]),
        ("MALE", [(row.code, row.males) for row in found.rows], curves[1]),
    ):
        latest, grown = by_reading_all(sex)
        assert len(latest) > 6
        for code, sizes in rows:
            plain = size_summary([stored for (what, _), stored in latest.items() if what == code])
            assert (sizes.heads, sizes.smallest, sizes.median, sizes.largest) == (
                plain.heads, plain.smallest, plain.median, plain.largest,
            )  # fmt: skip
            assert sizes.mean.value == pytest.approx(plain.mean.value)
        assert curve == grown
        assert len(grown) > 2


def test_what_is_read_does_not_grow_with_the_measures_of_a_turtle(hand):
    """One row a turtle and measure comes from the database, and it is found through the index."""
    turtle = marked_turtle(hand.user)
    turtle_book.note_sex(turtle, SexDraft("FEMALE", "EGGS"), day=MAY, by=hand.user, today=TODAY)
    read = []
    for number in range(40):
        put(turtle, "SCL_MAX", MAY + dt.timedelta(days=number), 150 + number, hand.user)
        turtle_sizes._KEPT.forget()
        with CaptureQueriesContext(connection) as asked:
            turtle_sizes.kind_sizes()
        with connection.cursor() as cursor:
            (query,) = [one["sql"] for one in asked if "asked.what" in one["sql"]]
            cursor.execute(query)
            read.append(cursor.fetchall())
    assert {len(rows) for rows in read} == {1}
    assert (read[0][0][4], read[-1][0][4], read[-1][0][6]) == (None, 150, 189)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {query}")
            plan = [line[-1] for line in cursor.fetchall() if line[-1].startswith("SEARCH m ")]
        assert len(plan) == 2
        assert all("stock_measure_turtle (turtle_id=? AND what=?)" in line for line in plan)


def test_two_animals_are_too_few_for_limits(reader):
    """Student's limits of 900 g and 1,720 g reach below nothing: 1,310 g give or take 5,210 g (t of 12.706)."""
    turtle_sizes._KEPT.forget()
    kind = pond = None
    for mass in (900, 1720):
        turtle = marked_turtle(None, f"+{mass}", kind, pond)
        kind, pond = turtle.kind, turtle.cell.pond
        turtle_book.note_sex(turtle, SexDraft("FEMALE"), day=MAY, by=None, today=TODAY)
        turtle_records.record_measures(
            turtle,
            [read_measure("MASS", f"{mass} g")],
            measured_on=MAY,
            key=uuid.uuid4(),
            by=None,
            today=TODAY,
        )
    shown = reader.get(reverse("stock:turtle-sizes")).content.decode()
    assert figure(1310) in shown
    assert "too few for limits" in shown
    assert "−" not in shown.split("<table")[1].split("</table>")[0]
