"""Marked turtles changed under the triggers: entries, hauls and lost marks that no longer agree are each named."""

import uuid

import pytest
from django.db import connection

from stock import append_only, ledger, turtle_book
from stock.check import differences
from stock.drafts import Line
from stock.models import Entry, HaulLine, MarkEvent, MarkStep
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
TAGS = [f"98511300739{number:04}" for number in range(4)]


@pytest.fixture
def turtles(make_person):
    """Two sold together, one moved to B by a haul, one that lost its only tag in A."""
    farm = MarkedFarm(make_person("owner", "wren"))
    made = [farm.register(5, tag(one)) for one in TAGS]
    codes = [turtle.code for turtle in made]
    farm.post(8, Line("slider", "FEMALE", "A", "SOLD", 2, turtles=tuple(codes[:2])), pond="A")
    farm.haul(9, "A", 3, codes[2], lines=(Line("slider", "FEMALE", "A", "B", 1, turtles=(codes[2],)),))
    turtle_book.note_mark(
        made[3].marks.get(), "LOST", key=uuid.uuid4(), day=farm.day(10), by=farm.person, today=TODAY
    )
    assert differences() == []
    return made


def tamper(statement, *values):
    # PostgreSQL drops no trigger of a table whose foreign keys are still to be looked at.
    connection.check_constraints()
    append_only.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
    connection.check_constraints()
    append_only.install(connection)
    return differences()


def test_an_entry_of_fewer_heads_than_turtles_is_found(turtles):
    sold = Entry.objects.get(reason="SOLD")
    said = tamper("UPDATE stock_entry SET heads = 1 WHERE id = %s", sold.pk)
    assert f"Entry {sold.pk} moves 1 heads but names 2 marked turtles." in said


def test_a_turtle_put_on_another_entry_is_found(turtles):
    sold = Entry.objects.get(reason="SOLD")
    step = MarkStep.objects.get(turtle=turtles[2], how="MOVED")
    said = tamper("UPDATE stock_markstep SET entry_id = %s WHERE id = %s", sold.pk, step.pk)
    assert any(
        one.startswith(f"Turtle {turtles[2].code}: step {step.pk} leads to pond B") and "its entry" in one
        for one in said
    )
    assert f"Entry {sold.pk} moves 2 heads but names 3 marked turtles." in said


def test_a_haul_of_fewer_marked_heads_than_turtles_is_found(turtles):
    line = HaulLine.objects.get()
    said = tamper("UPDATE stock_haulline SET carrying_marks = 0 WHERE id = %s", line.pk)
    assert f"Haul {line.haul_id} names 1 turtles carrying marks, but its catch has 0." in said


def test_a_lost_mark_without_its_step_is_found(turtles):
    event, step = MarkEvent.objects.get(), MarkStep.objects.get(how="LOST_MARKS")
    said = tamper("DELETE FROM stock_markstep WHERE id = %s", step.pk)
    assert (
        f"Turtle {turtles[3].code}: its mark {event.mark_id} went by move {event.move_id}, which did not take the "
        "turtle out of the marked."
    ) in said


def test_a_turtle_seen_by_a_haul_that_was_taken_back_is_found(turtles):
    """As registers held it that were kept before a haul taken back saw nobody."""
    owner = turtles[2].marks.get().by
    haul = HaulLine.objects.get().haul
    ledger.reverse(haul.move, key=uuid.uuid4(), by=owner, today=TODAY)
    assert differences() == []
    said = tamper("UPDATE stock_turtle SET last_seen_on = %s WHERE id = %s", haul.happened_on, turtles[2].pk)
    assert any(one.startswith(f"Turtle {turtles[2].code}: last seen on {haul.happened_on}") for one in said)
