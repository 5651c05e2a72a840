"""Sizes by sex: read anew after each measure, each sex told and each mending, and kept in between."""

import uuid

import pytest

from ponds.models import Kind
from stock import turtle_book, turtle_records, turtle_sizes
from stock.drafts import SexDraft
from stock.marks.measures import read_measure
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
