"""What is asked before a mark is written: the same paint, two marks typed, a head the book has not; a rim tapped."""

import html
import re
import uuid

import pytest
from django.urls import reverse

from stock.check import differences
from stock.drafts import PutOn
from stock.models import Mark, MarkEvent, Turtle
from tests.turtles.marked_farm import MarkedFarm, notch, tag

pytestmark = pytest.mark.django_db
NEW = reverse("stock:turtle-new")
DIGITS = "985113007399202"


@pytest.fixture
def farm(owner):
    made = MarkedFarm(owner.user)
    made.confirm()
    yield made
    assert differences() == []


def sent(**given):
    return {
        "key": str(uuid.uuid4()), "pond": "A", "kind": "slider", "of_class": "FEMALE", "method": "CLAWS",
        "day": "2026-03-09", "form": "TAG", "scheme": "NA16", "code": "", "number": "", "text": "", **given,
    }  # fmt: skip


def asked(client, address, given):
    answer = client.post(address, given)
    assert answer.status_code == 422
    page, right = html.unescape(answer.content.decode()), answer.context["form"].may_be_right
    if right:
        # Enter in a field presses the first button of its form, which must not answer what is asked.
        form = next(part for part in page.split("<form")[1:] if f'value="{right}"' in part)
        first, answers, *_ = re.findall(r"<button[^>]*>", form)
        assert ("name=" not in first, 'name="right"' in answers) == (True, True)
    return page, right


def test_the_same_paint_in_the_same_pond_is_asked_about_before_a_second_turtle_is_made(farm, hand):
    paint = sent(form="PAINT", text="red 5")
    assert hand.post(NEW, paint).status_code == 303
    first = Turtle.objects.get()
    assert hand.post(NEW, paint).status_code == 303  # the very same form once more writes nothing
    assert Turtle.objects.count() == 1
    again = sent(form="PAINT", text="Red 5", day="2026-03-12")
    page, right = asked(hand, NEW, again)
    assert (
        f"Turtle {first.pk} carries “red 5” already, put on 9 Mar 2026, pond A: is this the same animal?"
        in page
    )
    assert "It is so: write it down" in page
    assert Turtle.objects.count() == 1
    assert hand.post(NEW, {**again, "right": right}).status_code == 303
    assert Turtle.objects.count() == 2


def test_the_same_paint_elsewhere_on_another_day_or_beside_a_tag_is_not_asked_about(farm, hand):
    assert hand.post(NEW, sent(form="PAINT", text="red 5")).status_code == 303
    elsewhere = sent(form="PAINT", text="red 5", pond="B")
    page, _ = asked(hand, NEW, elsewhere)
    assert "carries “red 5” already" in page  # put on the same day
    assert hand.post(NEW, {**elsewhere, "day": "2026-03-12"}).status_code == 303
    assert hand.post(NEW, sent(text="red 5", number=DIGITS)).status_code == 303


def test_every_mark_that_is_typed_is_written_whatever_what_it_is_stands_on(farm, hand):
    assert hand.post(NEW, sent(code="BKO", number=DIGITS, text="white 5")).status_code == 303
    turtle = Turtle.objects.get()
    assert {(mark.form, mark.tag or mark.text or "BKO") for mark in turtle.marks.all()} == {
        ("NOTCH", "BKO"), ("TAG", DIGITS), ("OTHER", "white 5"),
    }  # fmt: skip
    # A code alone is what is meant, though the choice still stands on the tag.
    assert hand.post(NEW, sent(code="ABC")).status_code == 303
    assert [mark.form for mark in Turtle.objects.latest("pk").marks.all()] == ["NOTCH"]
    page, right = asked(hand, NEW, sent(code="ZZZ", number="985113007399203"))
    assert 'value="ZZZ"' in page
    assert right == ""
    page, _ = asked(hand, NEW, sent())
    assert Turtle.objects.count() == 2


def test_one_more_mark_is_written_at_a_time_and_what_else_is_typed_is_refused_with_the_choice(farm, hand):
    turtle = farm.register(5, PutOn("PAINT", text="red"))
    page, right = asked(
        hand, reverse("stock:turtle-mark", args=[turtle.pk]), sent(form="TAG", number=DIGITS, code="BKO")
    )
    assert "“What it is” stands on microchip or tag: here one mark is written at a time" in page
    assert right == ""
    assert Mark.objects.count() == 1


def test_a_second_standing_code_of_the_same_form_is_asked_about(farm, hand):
    turtle = farm.register(5, notch("BKO"))
    address = reverse("stock:turtle-mark", args=[turtle.pk])
    assert hand.post(address, sent(form="TAG", number=DIGITS)).status_code == 303
    again = sent(form="NOTCH", code="ABC")
    page, right = asked(hand, address, again)
    assert (
        f"Turtle {turtle.pk} carries the notch code BKO already, put on 6 Mar 2026: a turtle has one." in page
    )
    assert hand.post(address, {**again, "right": right}).status_code == 303
    assert hand.post(address, {**again, "right": right}).status_code == 303
    assert Mark.objects.filter(form="NOTCH").count() == 2
    page, _ = asked(hand, address, sent(form="NOTCH", code="ABX"))
    assert "(2 stand on it)" in page


def test_a_head_the_book_has_not_is_asked_about_and_said_afterwards(farm, hand):
    given = sent(number=DIGITS, pond="B", of_class="MALE")
    page, right = asked(hand, NEW, given)
    assert "The book has no male Slider in pond B on 9 Mar 2026: are pond, kind and class right?" in page
    answer = hand.post(NEW, {**given, "right": right}, follow=True)
    said = html.unescape(answer.content.decode())
    assert "1 head was booked beyond the book in pond B: it had no unmarked male head left there." in said


def test_a_pond_whose_heads_are_all_marked_is_asked_about(farm, hand):
    for number in range(6):
        farm.register(5, tag(f"98511300739{number:04}"), of_class="MALE")
    page, _ = asked(hand, NEW, sent(number=DIGITS, of_class="MALE"))
    assert "The book has 6 male Slider in pond A on 9 Mar 2026, and all of them are marked turtles" in page


def test_a_rim_is_tapped_for_a_new_turtle_and_a_scheme_not_confirmed_says_so_first(farm, hand):
    page = hand.get(NEW, {"scheme": "NA16", "at": "R2 R11 L10", "pond": "A"}).content.decode()
    assert 'value="BKO"' in page
    assert "pond=A&amp;form=NOTCH&amp;scheme=NA16&amp;at=R2+R11#shell" in page
    assert "not confirmed" not in page
    for address in (NEW, reverse("stock:turtle-mark", args=[farm.register(5, tag(DIGITS)).pk])):
        assert "not confirmed" in hand.get(address, {"scheme": "LR16", "at": ""}).content.decode()


def test_a_worn_rim_is_tapped_notched_then_in_doubt_then_cleared(farm, hand):
    page = reverse("stock:turtle-list")
    turtle = farm.register(5, notch("BKO"))
    empty = hand.get(page).content.decode()
    assert "rim=NA16&amp;clear=R2&amp;faint=#shell" in empty
    once = hand.get(page, {"rim": "NA16", "clear": "R2 R11 L10", "faint": ""})
    assert [row.record.pk for row in once.context["table"].rows] == [turtle.pk]
    shown = once.content.decode()
    assert "rim=NA16&amp;clear=R2+R11&amp;faint=L10#shell" in shown
    twice = hand.get(page, {"rim": "NA16", "clear": "B K", "faint": "O"}).content.decode()
    assert "rim=NA16&amp;clear=R2+R11&amp;faint=#shell" in twice
    assert "in doubt left marginal 10" in twice


def test_possible_misreadings_say_on_how_many_turtles_their_codes_are(farm, hand):
    farm.register(5, notch("BKO"))
    farm.register(5, notch("BKO", is_conflict=True))
    page = hand.get(reverse("stock:turtle-list"), {"rim": "NA16", "clear": "B K", "faint": ""})
    assert (
        "1 code is one or two scutes off: possible misreadings. They are on 2 turtles"
        in page.content.decode()
    )


def by_mistake(hand, turtle, **code):
    mark = turtle.marks.get(**code)
    address = reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk])
    given = {"key": str(uuid.uuid4()), "day": "2026-03-10", "what": "MISTAKEN"}
    assert hand.post(address, given).status_code == 303
    assert MarkEvent.objects.filter(mark=mark, what="MISTAKEN").exists()


@pytest.mark.parametrize(
    ("put_on", "typed", "says"),
    [
        (tag(DIGITS), {"form": "TAG", "number": DIGITS}, f"Tag {DIGITS} was typed by mistake on turtle"),
        (notch("BKO"), {"form": "NOTCH", "code": "BKO"}, "Notch code BKO was typed by mistake on turtle"),
    ],
)
def test_a_code_typed_by_mistake_goes_to_the_right_turtle_after_one_question(farm, hand, put_on, typed, says):
    wrong = farm.register(5, put_on, PutOn("PAINT", text="red"))
    right_one = farm.register(5, PutOn("PAINT", text="blue"))
    by_mistake(hand, wrong, form=put_on.form)
    address = reverse("stock:turtle-mark", args=[right_one.pk])
    page, right = asked(hand, address, sent(**typed))
    assert says in page
    given = sent(**typed, right=right)
    for _ in range(2):
        assert hand.post(address, given).status_code == 303
    assert right_one.marks.filter(form=put_on.form).count() == 1
    for turtle in (wrong, right_one):
        shown = hand.get(reverse("stock:turtle", args=[turtle.pk])).content.decode()
        assert '<span class="tag tag-bad">conflict</span>' not in shown
    assert "on another turtle too" not in hand.get(reverse("stock:turtle-list")).content.decode()
    # As a new turtle's it is another turtle's now.
    taken, may = asked(hand, NEW, sent(**typed))
    assert may == ""
    assert "codes are never used again" in taken


def test_a_conflict_ends_where_one_of_the_two_was_typed_by_mistake(farm, hand):
    first = farm.register(5, tag(DIGITS), PutOn("PAINT", text="red"))
    second = farm.register(5, tag(DIGITS, is_conflict=True), PutOn("PAINT", text="blue"))
    pages = [reverse("stock:turtle", args=[turtle.pk]) for turtle in (first, second)]
    conflict = '<span class="tag tag-bad">conflict</span>'
    assert all(conflict in hand.get(page).content.decode() for page in pages)
    listed = hand.get(reverse("stock:turtle-list")).content.decode()
    assert listed.count(f"{DIGITS} (on another turtle too)") == 2
    by_mistake(hand, first, form="TAG")
    assert not any(conflict in hand.get(page).content.decode() for page in pages)
    listed = hand.get(reverse("stock:turtle-list")).content.decode()
    assert "on another turtle too" not in listed
    assert listed.count(DIGITS) == 1


def test_the_list_says_which_marks_are_lost_and_which_notch_codes_are_met_twice(farm, hand):
    first = farm.register(5, notch("BKO"), tag(DIGITS))
    farm.register(5, notch("BKO", is_conflict=True))
    mark = first.marks.get(form="TAG")
    address = reverse("stock:turtle-mark-event", args=[first.pk, mark.pk])
    lost = {"key": str(uuid.uuid4()), "day": "2026-03-10", "what": "LOST"}
    assert hand.post(address, lost).status_code == 303
    listed = hand.get(reverse("stock:turtle-list")).content.decode()
    assert f"{DIGITS} (lost)" in listed
    assert listed.count("BKO (on another turtle too)") == 2


def test_notched_again_on_the_day_of_a_doubtful_reading_it_is_due_no_more(farm, hand):
    turtle = farm.register(5, notch("BKO"))
    mark = turtle.marks.get()
    address = reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk])
    page = reverse("stock:turtle", args=[turtle.pk])
    doubtful = {"key": str(uuid.uuid4()), "day": "2026-03-10", "what": "WORN", "faint": "R11"}
    assert hand.post(address, doubtful).status_code == 303
    assert "notch again" in hand.get(page).content.decode()
    again = {"key": str(uuid.uuid4()), "day": "2026-03-10", "what": "RENEWED"}
    assert hand.post(address, again).status_code == 303
    shown = hand.get(page).content.decode()
    assert "notch again" not in shown
    assert "marginal doubtful" not in shown
