"""Marks and sex written on a turtle's page: tapped, typed, refused in words, never overwritten."""

import uuid

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from stock import turtle_book
from stock.marks import notch
from stock.marks.positions import mask_of, positions_in
from stock.models import Mark, MarkEvent, SexStep
from stock.scute_links import scute_links, tapped
from tests.turtles.one_turtle import CHIP, MAY, TODAY, marked_turtle, put_mark

pytestmark = pytest.mark.django_db


@pytest.fixture
def turtle(hand):
    return marked_turtle(hand.user)


def send(client, turtle, **typed):
    start = {"key": uuid.uuid4(), "day": "2024-06-01", "scheme": "NA16", **typed}
    return client.post(reverse("stock:turtle-mark", args=[turtle.pk]), start)


def test_scutes_are_tapped_by_links_alone(hand, turtle):
    """Three taps make a code; a tap on a marked scute takes it off again."""
    address = page = reverse("stock:turtle-mark", args=[turtle.pk])
    for place in ("R2", "R11", "L10"):
        shown = hand.get(address)
        chosen = tapped(shown.wsgi_request.GET.get("at", ""), notch.LETTER_SCHEME.usable_mask)
        kept = {"form": "NOTCH", "scheme": "NA16"}
        links = scute_links(page, "at", chosen, notch.LETTER_SCHEME.usable_mask, kept)
        assert links[place].replace("&", "&amp;") in shown.content.decode()
        address = links[place]
    shown = hand.get(address).content.decode()
    assert 'value="BKO"' in shown
    assert "right marginals 2 and 11, left marginal 10" in shown
    assert "at=R2+R11#shell" in shown


@given(st.integers(1, notch.LETTER_SCHEME.usable_mask))
def test_every_scute_tapped_twice_is_as_it_was(mask):
    allowed = notch.LETTER_SCHEME.usable_mask
    chosen = positions_in(mask & allowed)
    for place, href in scute_links("/x/", "at", chosen, allowed, {}).items():
        once = tapped(href.partition("at=")[2].partition("#")[0].replace("+", " "), allowed)
        assert set(once) ^ {place} == set(chosen)


@pytest.mark.parametrize("typed", ["", "R5", "R99", "X", "R2 R2", "R0", "<b>", "R2," * 200])
def test_what_an_address_says_is_never_trusted(typed):
    assert set(tapped(typed, notch.LETTER_SCHEME.usable_mask)) <= {"R2"}


def test_a_tag_is_put_on_in_any_form(hand, turtle):
    answer = send(hand, turtle, form="TAG", number="LA 00000 0 985 113007399202", site="left hind leg")
    assert answer.status_code == 303
    mark = Mark.objects.get()
    assert (mark.family, mark.tag, mark.site, mark.by_name) == ("iso", CHIP, "left hind leg", "hand")


def test_a_notch_code_waits_for_its_scheme_to_be_confirmed(hand, owner, turtle):
    refused = send(hand, turtle, form="NOTCH", code="bko")
    assert refused.status_code == 422
    assert "printed figure" in refused.content.decode()
    turtle_book.confirm_scheme("NA16", against="Nagle et al. 2017, figure 1", by=owner.user, today=TODAY)
    assert send(hand, turtle, form="NOTCH", code="bko").status_code == 303
    assert Mark.objects.get().mask == mask_of(["R2", "R11", "L10"])
    assert "code BKO" in hand.get(reverse("stock:turtle", args=[turtle.pk])).content.decode()


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"form": "NOTCH", "code": "ABD"}, "bridge"),
        ({"form": "NOTCH"}, "Tap the notched scutes"),
        ({"form": "NOTCH", "code": "AB", "scheme": ""}, "Choose the scheme"),
        ({"form": "TAG", "number": "98511300739920"}, "this has 14"),
        ({"form": "TAG", "number": "60030207938416"}, "060030207938416"),
        ({"form": "TAG"}, ""),
        ({"form": "PAINT"}, "Say in words"),
        ({"form": "HAT"}, "There is no sort of mark"),
        ({"form": "PAINT", "text": "red 5", "day": "2999-01-01"}, "is after today"),
    ],
)
def test_what_is_no_mark_is_said_and_nothing_typed_is_lost(hand, turtle, typed, says):
    answer = send(hand, turtle, note="kept words", **typed)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert "kept words" in answer.content.decode()
    assert Mark.objects.count() == 0


def test_a_code_of_another_turtle_is_refused_or_kept_as_a_conflict(hand, turtle):
    other = marked_turtle(hand.user, "+2", turtle.kind, turtle.cell.pond)
    put_mark(other, "TAG")
    refused = send(hand, turtle, form="TAG", number=CHIP)
    assert refused.status_code == 422
    assert "never" in refused.content.decode()
    assert send(hand, turtle, form="TAG", number=CHIP, is_conflict="on").status_code == 303
    assert sorted(Mark.objects.values_list("conflict", flat=True)) == [0, 1]


def test_the_same_paint_twice_is_pointed_out(hand, turtle):
    for number in range(2):
        address = send(hand, turtle, form="PAINT", text="white 5").url
        assert ("typed by mistake" in hand.get(address).content.decode()) is bool(number)
    assert Mark.objects.count() == 2


def read(client, mark, **typed):
    start = {"key": uuid.uuid4(), "day": "2025-06-01", "what": "READ", **typed}
    return client.post(reverse("stock:turtle-mark-event", args=[mark.turtle_id, mark.pk]), start)


def test_a_reading_with_doubt_says_which_scutes_and_changes_nothing(hand, turtle):
    mark = put_mark(turtle)
    address = reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk])
    shown = hand.get(f"{address}?faint=R11").content.decode()
    assert 'value="R11"' in shown
    assert 'class="marginal doubtful" data-position="R11"' in shown
    assert read(hand, mark, faint="R11").status_code == 303
    event = MarkEvent.objects.get()
    assert (event.what, event.faint_mask) == ("WORN", mask_of(["R11"]))
    assert Mark.objects.get().mask == mark.mask
    assert "not notched by this code" in read(hand, mark, faint="R1").content.decode()
    assert "Say which scutes" in read(hand, mark, what="WORN").content.decode()
    assert "is before that" in read(hand, mark, day="2020-01-01").content.decode()


def test_a_tag_is_lost(hand, turtle):
    put_mark(turtle)
    mark = put_mark(turtle, "TAG")
    assert read(hand, mark, what="LOST").status_code == 303
    assert "There is no reading" in read(hand, mark, what="RENEWED").content.decode()
    assert "lost or failed" in hand.get(reverse("stock:turtle", args=[turtle.pk])).content.decode()


def test_sex_is_written_with_its_method_and_revised(hand, turtle):
    def tell(**typed):
        start = {"key": uuid.uuid4(), "day": "2024-06-01", "certainty": "PROBABLE", **typed}
        return hand.post(reverse("stock:turtle-sex", args=[turtle.pk]), start, follow=True)

    turtle_page = reverse("stock:turtle", args=[turtle.pk])
    assert tell(sex="MALE", method="CLAWS").status_code == 200
    refused = tell(sex="FEMALE", method="CLAWS", certainty="CERTAIN")
    assert refused.status_code == 422
    assert "is an opinion" in refused.content.decode()
    tell(sex="FEMALE", method="EGGS", certainty="CERTAIN", day="2025-06-01")
    assert [step.sex for step in SexStep.objects.order_by("pk")] == ["MALE", "FEMALE"]
    turtle.refresh_from_db()
    assert turtle.sex == "FEMALE"
    shown = hand.get(turtle_page).content.decode()
    assert "certain, by eggs laid or felt" in shown
    assert "by foreclaws" in shown


def test_a_sex_told_by_looks_too_early_is_pointed_out(hand, turtle):
    from stock.marks.measures import read_measure
    from stock.turtle_records import record_measures

    record_measures(
        turtle, [read_measure("SCL_MAX", "82")], measured_on=MAY, key=uuid.uuid4(), by=hand.user, today=TODAY
    )
    sent = {
        "key": uuid.uuid4(), "day": "2024-06-01", "sex": "MALE", "method": "CLAWS", "certainty": "PROBABLE",
    }  # fmt: skip
    shown = hand.post(reverse("stock:turtle-sex", args=[turtle.pk]), sent, follow=True).content.decode()
    assert "can hardly be told by looks" in shown
