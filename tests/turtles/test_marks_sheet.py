"""The marks sheet: marks put on and what became of them, all rows or none, each fault named in one round."""

import datetime as dt

import pytest

from ponds.models import Kind, Pond
from ponds.sheets import load, registered_sheets
from stock.check import differences
from stock.models import Mark, MarkEvent, Move, Turtle

pytestmark = pytest.mark.django_db
CHIP = "985113007399202"
HEADINGS = "turtle,mark,code,put on,what,day,faint,note\n"


@pytest.fixture
def turtle():
    kind = Kind.objects.create(
        code="painted", common_name="Painted turtle", scientific_name="Chrysemys picta", marginals_a_side=12
    )
    Pond.objects.create(code="A", opened_on=dt.date(2020, 1, 1)).kinds_allowed.add(kind)
    loaded("stock", "pond,kind,day,females,males,how known\nA,painted,2024-01-02,40,40,drained\n")
    loaded("turtles", f"day,pond,kind,class,tag\n2024-03-14,A,painted,female,{CHIP}\n")
    return Turtle.objects.get()


def loaded(what, text):
    return load(registered_sheets()[what], f"{what}.csv", text.encode())


def marks(*rows, headings=HEADINGS):
    return loaded("marks", headings + "".join(f"{row}\n" for row in rows))


def test_a_mark_and_what_became_of_it_are_written_once(turtle):
    rows = [
        f"{turtle.pk},paint,white 5,2024-05-01,,,,quick drying",
        f"{turtle.pk},paint,white 5,2024-05-01,lost or failed,2024-06-01,,worn off",
        f"{turtle.pk},tag,985 113 007 399 202,2024-03-14,read,2024-07-01,,",
    ]
    for new in (3, 0):
        outcome = marks(*rows)
        assert (outcome.bad_rows, outcome.written.new) == ([], new)
    assert sorted(Mark.objects.values_list("form", "text", "note")) == [
        ("PAINT", "white 5", "quick drying"), ("TAG", "", ""),
    ]  # fmt: skip
    assert list(MarkEvent.objects.order_by("happened_on").values_list("what", "note")) == [
        ("LOST", "worn off"), ("READ", ""),
    ]  # fmt: skip
    assert Move.objects.filter(mark_steps__how="LOST_MARKS").count() == 0
    assert differences() == []


def test_the_last_mark_that_was_lost_takes_its_turtle_out_of_the_marked(turtle):
    row = f"{turtle.pk},tag,{CHIP},2024-03-14,taken off,2024-07-01,,broke"
    for new in (1, 0):
        outcome = marks(row)
        assert (outcome.bad_rows, outcome.written.new) == ([], new)
    turtle.refresh_from_db()
    assert turtle.cell is None
    assert MarkEvent.objects.get().note == "broke"
    assert differences() == []


def test_all_that_is_wrong_is_named_in_one_round_and_nothing_is_written(turtle):
    other = loaded("turtles", "day,pond,kind,class,tag\n2024-03-14,A,painted,male,985113007399203\n")
    assert other.bad_rows == []
    outcome = marks(
        f"{turtle.pk},paint,white 5,2024-05-01,,,,",
        f"{turtle.pk},tag,98511300739920,2024-05-01,,,,",
        "77,paint,white 6,2024-05-01,,,,",
        ",paint,white 7,2024-05-01,,,,",
        f"{turtle.pk},paint,white 5,2024-05-01,lost or failed,,,",
        f"{turtle.pk},paint,white 5,2024-05-01,lost or failed,2024-04-01,,",
        f"{turtle.pk},paint,white 5,2024-05-01,notched again,2024-06-01,,",
        f"{turtle.pk},notch,BKO,2024-05-01,read with doubt,2024-06-01,L1,",
        f"{turtle.pk},notch,BKO,2024-05-01,lost or failed,2024-06-01,R2,",
    )
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [
        (3, "code"), (4, "turtle"), (5, "animal"), (6, "day"), (7, "day"), (8, "what"), (9, "faint"),
        (10, "faint"),
    ]  # fmt: skip
    refused = marks(
        f"{turtle.pk},tag,985113007399203,2024-05-01,,,,",
        f"{turtle.pk},notch,BKO,2024-05-01,,,,",
        f"{turtle.pk},notch,BKO,2024-05-01,lost or failed,2024-06-01,,",
        f"{turtle.pk},paint,white 5,2999-05-01,,,,",
    )
    said = {(bad.row, bad.column): bad.reason for bad in refused.bad_rows}
    assert sorted(said) == [(2, "code"), (3, "code"), (5, "put on")]
    assert "codes are never used again" in said[2, "code"]
    assert "printed figure" in said[3, "code"]
    assert (Mark.objects.count(), MarkEvent.objects.count()) == (2, 0)


def test_an_animal_of_another_name_is_refused(turtle):
    headings = "animal,turtle,mark,code,put on\n"
    outcome = marks("T-900-12345678,,paint,white 5,2024-05-01", headings=headings)
    assert [bad.column for bad in outcome.bad_rows] == ["animal"]
    assert "Load the turtles sheet it came with first" in outcome.bad_rows[0].reason


def test_rows_that_are_written_already_cost_no_query_each(turtle, django_assert_max_num_queries):
    rows = [f"{turtle.pk},paint,white {number},2024-05-01,,,," for number in range(30)]
    assert marks(*rows).bad_rows == []
    with django_assert_max_num_queries(12):
        assert marks(*rows).written.same == 30
