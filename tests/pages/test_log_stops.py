"""The Log where the watch asks to stop all moves: said before and after, with its day; a fact is never refused."""

import html
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.models import Pond
from stock.models import Move, WatchNote
from stock.templatetags.stock_format import day as day_words
from stock.watch_book import acknowledge
from stock.watch_facts import farm_watch
from stock.watch_page import watch_lines
from tests.page_rules import page_faults
from tests.pages.bank import sent_log
from tests.pages.farm_of_ponds import FarmOfPonds
from tests.pages.test_watch import die

pytestmark = pytest.mark.django_db
LOG = "/log/"
STOP = "Stop all moves into the pond and out of it, and call a veterinarian."


@pytest.fixture
def farm(owner):
    return FarmOfPonds.of_a_quiet_year(owner.user)


def words(response) -> str:
    return html.unescape(response.content.decode())


def after(client, sent) -> list[str]:
    response = client.post(LOG, sent, follow=True)
    assert response.redirect_chain, words(response)[:3000]
    return [str(message) for message in response.context["messages"]]


def test_the_log_page_of_a_stopped_pond_says_so_with_the_day_it_was_said(hand, farm):
    told = f"The watch of {day_words(farm.today)}, pond B:"
    assert told not in words(hand.get(LOG, {"pond": "B"}))
    die(farm)
    for page in (LOG, "/log/sheet/"):
        shown = hand.get(page, {"pond": "B"})
        assert page_faults(shown) == []
        assert told in words(shown)
        assert STOP in words(shown)
        assert "The watch of" not in words(hand.get(page, {"pond": "A"}))


def test_a_move_out_of_a_stopped_pond_is_booked_and_the_receipt_says_what_the_watch_asks(hand, farm):
    die(farm)
    said = after(hand, sent_log({"of_class": "FEMALE", "back": "5", "moved": "5", "target": "C"}, pond="B"))
    assert said[0].startswith("Booked.")
    (caution,) = [sentence for sentence in said if "The watch of" in sentence]
    assert f"The watch of {day_words(farm.today)}, pond B: Slider, " in caution
    assert STOP in caution
    assert "move more only after the veterinarian has been and the signal is noted" in caution
    assert Move.objects.filter(entries__reason="MOVED", entries__heads=5).exists()


def test_a_move_into_a_stopped_pond_names_that_pond(hand, farm):
    die(farm)
    said = after(hand, sent_log({"of_class": "FEMALE", "back": "5", "moved": "5", "target": "B"}, pond="A"))
    assert [sentence for sentence in said if ", pond B: " in sentence and STOP in sentence]
    assert not [sentence for sentence in said if "pond A and" in sentence]


def test_a_log_that_waited_on_a_phone_is_answered_with_the_same_caution_once(hand, farm):
    die(farm)
    sent = sent_log({"of_class": "FEMALE", "back": "5", "moved": "5", "target": "C"}, pond="B")
    first = hand.post("/log/send/", sent)
    assert (first.status_code, first.json()["state"]) == (201, "saved")
    assert f"The watch of {day_words(farm.today)}, pond B: " in first.json()["why"]
    assert STOP in first.json()["why"]
    again = hand.post("/log/send/", sent)
    assert (again.status_code, "why" in again.json()) == (200, False)


def test_the_dead_and_what_went_back_are_no_moves_and_draw_no_caution(hand, farm):
    die(farm)
    said = after(hand, sent_log({"of_class": "FEMALE", "back": "5", "dead": "1"}, pond="B"))
    assert not [sentence for sentence in said if "The watch" in sentence]


def test_once_the_signal_is_noted_nothing_is_said(owner, hand, farm):
    die(farm)
    (line,) = watch_lines(farm_watch(farm.today))
    acknowledge(line, note="A dog; the fence is mended.", key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert WatchNote.objects.exists()
    assert "The watch of" not in words(hand.get(LOG, {"pond": "B"}))
    said = after(hand, sent_log({"of_class": "FEMALE", "moved": "2", "back": "9", "target": "C"}, pond="B"))
    assert not [sentence for sentence in said if "The watch" in sentence]


def test_the_kept_watch_costs_the_log_page_three_queries_and_no_more_with_more_ponds(hand, farm):
    def cost():
        hand.get(LOG, {"pond": "B"})
        with CaptureQueriesContext(connection) as asked:
            assert hand.get(LOG, {"pond": "B"}).status_code == 200
        return len(asked), [query["sql"] for query in asked if re.search("stock_(watch|move)", query["sql"])]

    die(farm)
    few, of_watch = cost()
    assert len(of_watch) <= 3, of_watch
    for code in "DEFGH":
        farm.pond(code, days=900, females=200, males=80)
    assert Pond.objects.count() == 8
    assert cost()[0] == few
