"""Marked turtles after moves are taken back or corrected: where they stand, and what they may still do."""

import uuid

import pytest

from stock import ledger, turtle_book
from stock.check import differences
from stock.drafts import CatchLine, Draft, HaulDraft, Line, MarkDraft, Seen
from stock.models import Mark, MarkEvent, Move
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
TAGS = [f"98511300739{number:04}" for number in range(10)]


@pytest.fixture
def farm(make_person):
    made = MarkedFarm(make_person("owner", "wren"))
    yield made
    assert differences() == []


def place(turtle):
    turtle.refresh_from_db()
    if turtle.cell is None:
        return None
    return turtle.cell.pond.code if turtle.cell.pond else turtle.cell.outside


def to(target, turtle, source="A"):
    return Line("slider", "FEMALE", source, target, 1, turtles=(turtle.code,))


def take_back(farm, receipt):
    move = Move.objects.get(pk=receipt.move_id)
    return ledger.reverse(move, key=uuid.uuid4(), by=farm.person, today=TODAY)


def test_once_the_later_move_is_taken_back_the_earlier_one_can_be(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    first = farm.post(8, to("B", turtle), pond="A")
    second = farm.post(9, to("SOLD", turtle, source="B"), pond="B")
    take_back(farm, second)
    assert place(turtle) == "B"
    take_back(farm, first)
    assert place(turtle) == "A"


def test_a_correction_to_an_earlier_day_carries_the_named_turtle(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    moved = farm.post(10, to("B", turtle), pond="A")
    draft = Draft(uuid.uuid4(), farm.day(8), (to("B", turtle),), pond="A")
    ledger.correct(Move.objects.get(pk=moved.move_id), draft, by=farm.person, today=TODAY)
    assert place(turtle) == "B"


def test_a_mistaken_scan_taken_back_does_not_hide_an_earlier_day(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    mistaken = farm.haul(12, "B", 4, turtle.code)
    take_back(farm, mistaken)
    assert place(turtle) == "A"
    farm.post(9, to("SOLD", turtle), pond="A")
    assert place(turtle) == "SOLD"


def last_seen(turtle):
    turtle.refresh_from_db()
    return turtle.last_seen_on


def test_a_haul_taken_back_saw_nobody(farm):
    """What else had the turtle in hand stays: an earlier haul, a later one, a move, at last its first mark."""
    turtle = farm.register(5, tag(TAGS[0]))
    other = farm.register(5, tag(TAGS[1]))
    earlier = farm.haul(8, "A", 4, turtle.code)
    latest = farm.haul(20, "A", 4, turtle.code, other.code)
    moved = farm.post(10, to("B", turtle), pond="A")
    assert (last_seen(turtle), last_seen(other)) == (farm.day(20), farm.day(20))
    take_back(farm, latest)
    assert (last_seen(turtle), last_seen(other)) == (farm.day(10), farm.day(5))
    take_back(farm, moved)
    assert last_seen(turtle) == farm.day(8)
    take_back(farm, earlier)
    assert last_seen(turtle) == farm.day(5)


def test_a_corrected_haul_saw_whom_the_correction_names(farm):
    turtle, other = farm.register(5, tag(TAGS[0])), farm.register(5, tag(TAGS[1]))
    wrong = farm.haul(20, "A", 4, turtle.code)
    draft = Draft(
        uuid.uuid4(), farm.day(18), pond="A", haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 4),)),
        seen=(Seen(other.code, "slider", "FEMALE"),),
    )  # fmt: skip
    ledger.correct(Move.objects.get(pk=wrong.move_id), draft, by=farm.person, today=TODAY)
    assert (last_seen(turtle), last_seen(other)) == (farm.day(5), farm.day(18))


def test_a_marking_corrected_to_another_day_is_first_and_last_of_that_day(farm):
    turtle = farm.register(20, tag(TAGS[0]))
    mark = MarkDraft(turtle.code, "slider", "FEMALE", "A")
    draft = Draft(uuid.uuid4(), farm.day(7), pond="A", marks=(mark,))
    ledger.correct(Move.objects.get(mark_steps__turtle=turtle), draft, by=farm.person, today=TODAY)
    assert (last_seen(turtle), turtle.first_marked_on) == (farm.day(7), farm.day(7))


def test_a_turtle_whose_marking_was_taken_back_was_last_seen_then(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    seen = farm.haul(9, "A", 4, turtle.code)
    take_back(farm, seen)
    ledger.reverse(Move.objects.get(mark_steps__turtle=turtle), key=uuid.uuid4(), by=farm.person, today=TODAY)
    assert last_seen(turtle) == farm.day(5)


def test_a_tag_noted_as_lost_and_read_again_brings_its_turtle_back(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    turtle_book.note_mark(
        turtle.marks.get(), "LOST", key=uuid.uuid4(), day=farm.day(7), by=farm.person, today=TODAY
    )
    assert place(turtle) is None
    farm.haul(10, "A", 4, turtle.code)
    assert place(turtle) == "A"


def test_marks_lost_after_a_sale_do_not_stand_in_the_way_of_taking_it_back(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    sold = farm.post(8, to("SOLD", turtle), pond="A")
    turtle_book.note_mark(
        turtle.marks.get(), "REMOVED", key=uuid.uuid4(), day=farm.day(8), by=farm.person, today=TODAY
    )
    take_back(farm, sold)
    assert place(turtle) == "A"


def test_a_code_and_its_conflict_come_in_one_posting(farm):
    drafts = [
        Draft(
            uuid.uuid4(),
            farm.day(5),
            pond="A",
            marks=(MarkDraft("+1", "slider", "FEMALE", "A", (tag(TAGS[0], is_conflict=conflict),)),),
        )
        for conflict in (False, True)
    ]
    ledger.record_all(drafts, by=farm.person, today=TODAY)
    assert sorted(Mark.objects.values_list("conflict", flat=True)) == [0, 1]


def test_what_became_of_the_last_mark_is_kept_in_its_own_words(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    turtle_book.note_mark(
        turtle.marks.get(), "REMOVED", key=uuid.uuid4(), day=farm.day(7), by=farm.person, today=TODAY
    )
    assert MarkEvent.objects.get().what == "REMOVED"


def test_one_marked_and_moved_in_one_log_stands_where_it_went(farm):
    draft = MarkDraft("+1", "slider", "FEMALE", "A", (tag(TAGS[0]),))
    farm.haul(8, "A", 4, lines=(Line("slider", "FEMALE", "A", "B", 1, turtles=("+1",)),), marks=(draft,))
    assert place(Mark.objects.get().turtle) == "B"
