"""A marking logged for the wrong pond: taken back its code was never on the animal, corrected it is put on again."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from stock import ledger, turtle_book
from stock.check import differences
from stock.drafts import CatchLine, Draft, HaulDraft, Line, MarkDraft
from stock.ledger_marks import standing_marks
from stock.mark_ends import ends_of, met_twice
from stock.models import HaulLine, Mark, MarkEvent, Move, Turtle
from stock.refusals import CodeTaken
from stock.scans import read_scans
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = pytest.mark.django_db
CODE = "985113007399202"


def place(turtle):
    return turtle.cell.pond.code if turtle.cell else None


@pytest.fixture
def farm(owner):
    return MarkedFarm(owner.user)


def mark_of(pond, code=CODE, name="+1"):
    return MarkDraft(name, "slider", "FEMALE", pond, (tag(code),))


def marking(farm, day=5, pond="A"):
    return Move.objects.get(pk=farm.post(day, pond=pond, marks=(mark_of(pond),)).move_id)


def take_back(farm, move):
    ledger.reverse(move, key=uuid.uuid4(), by=farm.person, today=TODAY)


def test_a_marking_taken_back_was_never_on_the_animal(farm):
    take_back(farm, marking(farm))
    ghost = Turtle.objects.get()
    assert ends_of([ghost.marks.get().pk]) == {ghost.marks.get().pk: "MISTAKEN"}
    assert ghost.marks.get().events.get().note == "Its marking was taken back."
    assert not standing_marks().exists()
    assert read_scans(CODE, "A", ["A", "B"]).scans == []
    assert differences() == []


def test_what_was_noted_of_a_mark_in_between_does_not_bring_it_back(farm):
    both = MarkDraft("+1", "slider", "FEMALE", "A", (tag(CODE), tag("985113007399203")))
    move = Move.objects.get(pk=farm.post(5, pond="A", marks=(both,)).move_id)
    lost = Mark.objects.get(tag=CODE)
    turtle_book.note_mark(lost, "LOST", key=uuid.uuid4(), day=farm.day(9), by=farm.person, today=TODAY)
    take_back(farm, move)
    assert set(ends_of([mark.pk for mark in Mark.objects.all()]).values()) == {"MISTAKEN"}


def test_the_code_is_free_for_the_turtle_that_carries_it_after_a_question(farm, hand):
    take_back(farm, marking(farm))
    with pytest.raises(CodeTaken):
        marking(farm, day=6, pond="B")
    again = MarkDraft("+1", "slider", "FEMALE", "B", (tag(CODE, is_conflict=True),))
    farm.post(6, pond="B", marks=(again,))
    ghost, true = Turtle.objects.order_by("pk")
    assert (place(ghost), place(true)) == (None, "B")
    assert met_twice(Mark.objects.all()) == set()
    # A scan means the one that carries it, without a word about the other.
    scans = read_scans(CODE, "B", ["A", "B"])
    assert ([one.code for one in scans.scans], scans.faults, scans.asked) == ([true.code], [], [])


def test_a_marking_corrected_puts_its_own_code_on_again(farm):
    move = marking(farm)
    right = Draft(uuid.uuid4(), dt.date(2026, 3, 6), pond="B", marks=(mark_of("B"),))
    ledger.correct(move, right, by=farm.person, today=TODAY)
    was, now = Turtle.objects.order_by("pk")
    assert (place(was), place(now)) == (None, "B")
    assert [one.code for one in read_scans(CODE, "B", ["A", "B"]).scans] == [now.code]
    assert met_twice(Mark.objects.all()) == set()
    assert differences() == []
    # Its own code, and once: another's is refused as ever.
    again = Move.objects.get(replaces=move)
    twice = tuple(mark_of("B", name=f"+{number}") for number in (1, 2))
    with pytest.raises(CodeTaken):
        ledger.correct(
            again, Draft(uuid.uuid4(), farm.day(5), pond="B", marks=twice), by=farm.person, today=TODAY
        )


def test_a_haul_that_marked_a_turtle_still_has_it_when_it_is_corrected(farm):
    receipt = farm.haul(5, "A", 4, marks=(mark_of("A"),))
    haul = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 6),))
    right = Draft(uuid.uuid4(), farm.day(5), pond="A", haul=haul, marks=(mark_of("A"),))
    ledger.correct(Move.objects.get(pk=receipt.move_id), right, by=farm.person, today=TODAY)
    standing = HaulLine.objects.get(haul__move__reversed_by=None)
    assert (standing.caught, standing.newly_marked, standing.haul.turtles.count()) == (6, 1, 1)


def test_a_turtle_met_since_keeps_its_mark_though_its_marking_is_replaced(farm):
    """Later whereabouts hold: whatever was wrong with the move, the mark was scanned on the animal."""
    move = marking(farm)
    turtle = Turtle.objects.get()
    farm.haul(10, "B", 3, turtle.code)
    sold = Line("slider", "MALE", "A", "SOLD", 1)
    ledger.correct(move, Draft(uuid.uuid4(), farm.day(5), (sold,), pond="A"), by=farm.person, today=TODAY)
    assert place(Turtle.objects.get()) == "B"
    assert not MarkEvent.objects.exists()
    assert standing_marks().count() == 1


def test_a_code_typed_by_mistake_is_nobodys_and_one_taken_off_is_asked_about(farm):
    right, wrong = "985113007399210", "985113007399211"
    turtle = farm.register(5, tag(wrong), tag(right))
    mark = turtle.marks.get(tag=wrong)
    turtle_book.note_mark(mark, "MISTAKEN", key=uuid.uuid4(), day=farm.day(5), by=farm.person, today=TODAY)
    scans = read_scans(wrong, "A", ["A", "B"])
    assert (scans.scans, scans.unknown) == ([], [wrong])
    other = farm.register(6, tag(wrong, is_conflict=True))
    assert [one.code for one in read_scans(wrong, "A", ["A", "B"]).scans] == [other.code]
    kept = turtle.marks.get(tag=right)
    turtle_book.note_mark(kept, "REMOVED", key=uuid.uuid4(), day=farm.day(7), by=farm.person, today=TODAY)
    scans = read_scans(right, "A", ["A", "B"])
    assert [one.code for one in scans.scans] == [turtle.code]
    assert scans.asked[-1].startswith(f"“{right}” was noted as taken off on turtle {turtle.pk}")
    # Put on another since, it means that one.
    third = farm.register(8, tag(right, is_conflict=True))
    scans = read_scans(right, "A", ["A", "B"])
    assert ([one.code for one in scans.scans], scans.asked) == ([third.code], [])


def test_the_pages_say_of_what_was_taken_back_that_it_was(farm, owner):
    take_back(farm, marking(farm))
    ghost = Turtle.objects.get()
    for address in (reverse("stock:turtle-list"), reverse("stock:turtle", args=[ghost.pk])):
        text = owner.get(address).content.decode()
        assert "its marking was taken back" in text
