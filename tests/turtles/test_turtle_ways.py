"""What pages say of a turtle's ways: a marking that moves no head, dead and alive again, sex beside its class."""

import html

import pytest
from django.urls import reverse

from stock.drafts import Line, SexDraft
from stock.models import Move
from stock.turtle_book import note_sex
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = pytest.mark.django_db
DIGITS = "985113007399202"


@pytest.fixture
def farm(owner):
    return MarkedFarm(owner.user)


def shown(client, address):
    return html.unescape(client.get(address).content.decode())


def test_a_marking_names_its_turtle_where_moves_are_listed(farm, owner):
    turtle = farm.register(5, tag(DIGITS))
    move = Move.objects.get(mark_steps__turtle=turtle)
    for address in (reverse("stock:move-list"), reverse("stock:move-detail", args=[move.key])):
        page = shown(owner, address)
        assert f"turtle {turtle.pk} marked in A" in page
        assert "nothing moved" not in page


def test_the_list_of_moves_asks_as_much_of_one_marking_as_of_ten(farm, owner, django_assert_max_num_queries):
    address = reverse("stock:move-list")
    farm.register(5, tag(DIGITS))
    owner.get(address)
    with django_assert_max_num_queries(20) as first:
        owner.get(address)
    for number in range(9):
        farm.register(5, tag(f"98511300739{number:04}"))
    with django_assert_max_num_queries(len(first)):
        owner.get(address)


def test_one_booked_dead_and_met_alive_says_what_the_book_carries_and_what_to_do(farm, owner):
    turtle = farm.register(5, tag(DIGITS))
    page = reverse("stock:turtle", args=[turtle.pk])
    died = farm.post(7, Line("slider", "FEMALE", "A", "DIED", 1, turtles=(turtle.code,)), pond="A")
    dead = shown(owner, page)
    assert "died, from pond A" in dead
    assert (
        f"turtle {turtle.pk}</a>: died" in shown(owner, reverse("stock:move-detail", args=[died.key])).lower()
    )
    assert "went with a move" not in dead
    assert "It was booked dead" not in dead
    farm.haul(9, "A", 3, turtle.code)
    back = shown(owner, page)
    assert "It was booked dead on 8 Mar 2026 and met in pond A on 10 Mar 2026." in back
    assert "the book still carries that death of one head" in back
    assert reverse("stock:move-detail", args=[died.key]) in back


def test_a_finding_that_is_not_its_class_says_that_no_head_was_moved(farm, owner):
    turtle = farm.register(5, tag(DIGITS), sex=SexDraft("FEMALE", "CLAWS", "PROBABLE"))
    page = reverse("stock:turtle", args=[turtle.pk])
    assert "counted among" not in shown(owner, page)
    note_sex(turtle, SexDraft("MALE", "TAIL_VENT", "PROBABLE"), day=farm.day(8), by=owner.user, today=TODAY)
    told = shown(owner, page)
    assert "It is a male by its findings and counted among the females of pond A." in told
    assert "log a move “sexed” there, from female to male" in told
    assert f"{reverse('stock:log')}?pond=A" in told
