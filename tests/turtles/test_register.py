"""Marked turtles in the ledger: marked, moved, lost sight of, dead, back; and what `check_ledger` says of each."""

import uuid

import pytest
from django.db import IntegrityError, transaction

from stock import ledger, turtle_book
from stock.book import balances
from stock.check import differences
from stock.drafts import Draft, Line, MarkDraft, Seen, SexDraft
from stock.models import Cell, HaulLine, HaulTurtle, Mark, MarkEvent, MarkStep, Move, Turtle
from stock.refusals import (
    BadHeads,
    BadLine,
    CodeTaken,
    SchemeNotConfirmed,
    TurtleElsewhere,
    UnknownTurtle,
    WhichTurtles,
)
from tests.turtles.marked_farm import TODAY, MarkedFarm, notch, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
TAGS = [f"98511300739{number:04}" for number in range(100)]


@pytest.fixture
def farm(make_person):
    made = MarkedFarm(make_person("owner", "wren"))
    made.confirm()
    yield made
    assert differences() == []


def place(turtle):
    turtle.refresh_from_db()
    if turtle.cell is None:
        return None
    return turtle.cell.pond.code if turtle.cell.pond else turtle.cell.outside


def heads(pond, of_class="FEMALE"):
    cell = Cell.objects.get(pond__code=pond, of_class=of_class)
    return sum(one.heads for one in balances(TODAY) if one.cell_id == cell.pk)


def test_a_head_of_the_pond_is_marked_and_stays_one_head(farm):
    turtle = farm.register(
        5, notch("BKO"), tag(TAGS[0]), sex=SexDraft("FEMALE", "CLAWS", "PROBABLE"), batch="P1"
    )
    assert turtle.code == str(turtle.pk)
    assert (place(turtle), heads("A")) == ("A", 20)
    assert (turtle.sex, turtle.batch.code, turtle.first_marked_on) == ("FEMALE", "P1", farm.day(5))
    assert {mark.form for mark in turtle.marks.all()} == {"NOTCH", "TAG"}


def test_the_same_key_gives_the_same_turtle(farm):
    key = uuid.uuid4()
    first = farm.register(5, tag(TAGS[0]), key=key)
    assert farm.register(5, tag(TAGS[0]), key=key) == first
    assert Turtle.objects.count() == 1


def test_a_scheme_is_held_against_its_figure_before_its_first_use(farm):
    with pytest.raises(SchemeNotConfirmed, match="The owner confirms it"):
        farm.register(5, notch("1-2", scheme="LR16"))
    farm.confirm("LR16")
    farm.register(5, notch("1-2", scheme="LR16"))


def test_codes_are_never_used_again_not_even_after_death_or_under_another_scheme(farm):
    turtle = farm.register(5, notch("ABX"), tag(TAGS[0]))
    farm.post(6, Line("slider", "FEMALE", "A", "DIED", 1, turtles=(turtle.code,)), pond="A")
    farm.confirm("LR16")
    for again in (notch("ABX"), notch("1-1,2", scheme="LR16"), tag(TAGS[0])):
        with pytest.raises(CodeTaken, match=f"on turtle {turtle.code} since"):
            farm.register(7, again)
    with pytest.raises(IntegrityError), transaction.atomic():
        Mark.objects.create(
            turtle=turtle, kind=turtle.kind, form="TAG", family="iso", tag=TAGS[0], put_on_on=farm.day(8)
        )


def test_a_tag_on_a_second_animal_is_recorded_as_a_conflict(farm):
    farm.register(5, tag(TAGS[0]))
    second = farm.register(6, tag(TAGS[0], is_conflict=True))
    third = farm.register(6, tag(TAGS[0], is_conflict=True))
    assert [second.marks.get().conflict, third.marks.get().conflict] == [1, 2]


@pytest.mark.parametrize(
    ("put_on", "words"),
    [
        (notch("BKO", scheme="NA16"), None),
        (tag("", is_conflict=False), "family and a number"),
    ],
)
def test_a_mark_says_what_is_wrong_with_it(farm, put_on, words):
    if words is None:
        farm.register(5, put_on)
        return
    with pytest.raises(BadLine, match=words):
        farm.register(5, put_on)


def test_a_scan_moves_the_named_turtle_and_keeps_the_haul_in_order(farm):
    turtles = [farm.register(5, tag(TAGS[number])) for number in range(3)]
    codes = [turtle.code for turtle in reversed(turtles)]
    to_b = Line("slider", "FEMALE", "A", "B", 2, turtles=(codes[0],))
    farm.haul(10, "A", 9, *codes, lines=(to_b,))
    assert [place(turtle) for turtle in turtles] == ["A", "A", "B"]
    assert [one.turtle.code for one in HaulTurtle.objects.order_by("place")] == codes
    assert HaulLine.objects.get().carrying_marks == 3


def test_more_scans_than_catch_are_asked_about(farm):
    codes = [farm.register(5, tag(TAGS[number])).code for number in range(3)]
    with pytest.raises(BadHeads, match="3 carried marks"):
        farm.haul(10, "A", 2, *codes)
    with pytest.raises(BadLine, match="named twice"):
        farm.haul(10, "A", 5, codes[0], codes[0])


def test_a_turtle_marked_at_the_haul_is_counted_as_newly_marked(farm):
    draft_mark = MarkDraft("+1", "slider", "FEMALE", "A", (tag(TAGS[5]),))
    farm.haul(10, "A", 4, marks=(draft_mark,))
    row = HaulTurtle.objects.get()
    assert row.is_new
    assert (HaulLine.objects.get().newly_marked, HaulLine.objects.get().carrying_marks) == (1, None)


def test_the_office_is_asked_which_turtles_go(farm):
    marked = [farm.register(5, tag(TAGS[number]), of_class="MALE") for number in range(5)]
    line = Line("slider", "MALE", "A", "SOLD", 3)
    with pytest.raises(WhichTurtles, match="Name which marked turtles go"):
        farm.post(10, line, pond="A", made_as="OFFICE")
    named = tuple(turtle.code for turtle in marked[:2])
    farm.post(10, Line("slider", "MALE", "A", "SOLD", 3, turtles=named), pond="A", made_as="OFFICE")
    assert [place(turtle) for turtle in marked] == ["SOLD", "SOLD", "A", "A", "A"]


def test_an_unscanned_truckload_at_the_bank_posts_and_the_longest_unseen_are_not_known(farm):
    marked = [farm.register(5 + number, tag(TAGS[number]), of_class="MALE") for number in range(5)]
    receipt = farm.post(20, Line("slider", "MALE", "A", "SOLD", 3), pond="A")
    assert [place(turtle) for turtle in marked] == [None, None, "A", "A", "A"]
    assert heads("A", "MALE") == 3
    assert any(
        f"the whereabouts of turtle {marked[0].code}, {marked[1].code} (longest unseen)" in warning
        for warning in receipt.warnings
    )
    # Taken back, they stand where they stood.
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm.person, today=TODAY)
    assert [place(turtle) for turtle in marked] == ["A"] * 5


def test_losing_the_last_mark_takes_a_turtle_out_of_the_marked_and_its_head_stays(farm):
    turtle = farm.register(5, notch("BKO"), tag(TAGS[0]))
    first, second = turtle.marks.order_by("pk")
    note = {"by": farm.person, "today": TODAY, "day": farm.day(9)}
    assert turtle_book.note_mark(first, "LOST", key=uuid.uuid4(), **note) is not None
    assert place(turtle) == "A"
    assert turtle_book.note_mark(second, "LOST", key=uuid.uuid4(), **note) is None
    assert (place(turtle), heads("A")) == (None, 20)
    step = turtle.steps.get(how="LOST_MARKS")
    ledger.reverse(step.move, key=uuid.uuid4(), by=farm.person, today=TODAY)
    assert place(turtle) == "A"
    assert set(ledger.marks_that_stand([turtle.code])) == {second}


def test_a_turtle_found_where_the_book_does_not_have_it_is_logged_as_found(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    farm.haul(10, "B", 4, turtle.code)
    assert place(turtle) == "B"
    assert turtle.steps.get(how="FOUND").source.pond.code == "A"
    farm.post(12, pond="B", seen=(Seen(turtle.code, "slider", "FEMALE"),))
    assert turtle.steps.filter(how="SEEN").count() == 1
    turtle.refresh_from_db()
    assert turtle.last_seen_on == farm.day(12)


@pytest.mark.parametrize("gone", ["DIED", "SOLD"])
def test_one_booked_dead_or_sold_and_scanned_alive_comes_back_flagged(farm, gone):
    turtle = farm.register(5, tag(TAGS[0]))
    farm.post(8, Line("slider", "FEMALE", "A", gone, 1, turtles=(turtle.code,)), pond="A")
    assert place(turtle) == gone
    receipt = farm.haul(10, "A", 4, turtle.code)
    assert place(turtle) == "A"
    assert any(f"Turtle {turtle.code} was booked {gone.lower()} before" in one for one in receipt.warnings)


def test_a_reversal_undoes_a_place_unless_the_turtle_was_seen_elsewhere_since(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    moved = farm.post(8, Line("slider", "FEMALE", "A", "B", 1, turtles=(turtle.code,)), pond="A")
    move = Move.objects.get(pk=moved.move_id)
    farm.post(9, Line("slider", "FEMALE", "B", "SOLD", 1, turtles=(turtle.code,)), pond="B")
    with pytest.raises(TurtleElsewhere, match="has moved on since"):
        ledger.reverse(move, key=uuid.uuid4(), by=farm.person, today=TODAY)


def test_a_correction_carries_the_named_turtles(farm):
    first, second = (farm.register(5, tag(TAGS[number])) for number in range(2))
    receipt = farm.haul(
        8, "A", 6, first.code, lines=(Line("slider", "FEMALE", "A", "B", 2, turtles=(first.code,)),)
    )
    line = Line("slider", "FEMALE", "A", "B", 3, turtles=(second.code,))
    ledger.correct(
        Move.objects.get(pk=receipt.move_id),
        Draft(uuid.uuid4(), farm.day(8), (line,), pond="A"),
        by=farm.person,
        today=TODAY,
    )
    assert [place(first), place(second)] == ["A", "B"]


def test_a_registration_taken_back_leaves_its_number_and_codes_used(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    ledger.reverse(turtle.steps.get().move, key=uuid.uuid4(), by=farm.person, today=TODAY)
    assert place(turtle) is None
    with pytest.raises(CodeTaken):
        farm.register(6, tag(TAGS[0]))
    with pytest.raises(UnknownTurtle, match="No turtle has the number 999999"):
        farm.post(7, pond="A", marks=(MarkDraft("999999", "slider", "FEMALE", "A"),))
    farm.post(7, pond="A", marks=(MarkDraft(turtle.code, "slider", "FEMALE", "A"),))
    assert place(turtle) == "A"


def test_marks_read_with_doubt_stay_and_a_code_notched_again_stands_again(farm):
    turtle = farm.register(5, notch("BKO"), tag(TAGS[0]))
    mark = turtle.marks.get(form="NOTCH")
    for days, what in enumerate(("WORN", "LOST", "RENEWED"), 6):
        turtle_book.note_mark(mark, what, key=uuid.uuid4(), day=farm.day(days), by=farm.person, today=TODAY)
        assert (mark in ledger.marks_that_stand()) == (what != "LOST")
    assert MarkEvent.objects.filter(mark=mark).count() == 3


def test_sex_is_revised_by_the_animals_day_and_not_against_her_nests(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    for days, sex in ((20, "FEMALE"), (10, "MALE")):
        turtle_book.note_sex(
            turtle, SexDraft(sex, "TAIL_VENT"), day=farm.day(days), by=farm.person, today=TODAY
        )
    turtle.refresh_from_db()
    assert turtle.sex == "FEMALE"
    assert MarkStep.objects.count() == 1
