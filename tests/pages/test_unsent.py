"""What a phone sends of itself, once there is a signal: always an answer with the key, never a page."""

from __future__ import annotations

import pytest
from django.urls import reverse

from stock.models import Move, RefusedPost
from tests.pages.bank import held, make_farm, sent_log

pytestmark = pytest.mark.django_db
SEND = "/log/send/"


@pytest.fixture(autouse=True)
def farm():
    make_farm()


def test_it_is_booked_once_and_its_key_is_repeated(hand):
    sent = sent_log({"of_class": "FEMALE", "back": "20", "dead": "1"})
    first = hand.post(SEND, sent)
    again = hand.post(SEND, sent)
    assert (first.status_code, again.status_code) == (201, 200)
    href = reverse("stock:move-detail", args=[sent["key"]])
    assert first.json() == again.json() == {"key": sent["key"], "state": "saved", "href": href}
    assert held("A") == (99, 40, 10)


def test_the_same_key_with_other_figures_books_nothing_and_waits_to_be_mended(hand):
    sent = sent_log({"of_class": "FEMALE", "back": "20", "dead": "1"})
    hand.post(SEND, sent)
    answer = hand.post(SEND, {**sent, "rows-0-dead": "2"})
    assert answer.status_code == 422
    assert answer.json()["key"] == sent["key"]
    assert "posted before, with other figures" in answer.json()["why"]
    assert held("A") == (99, 40, 10)


def test_what_is_odd_waits_on_the_server_for_a_yes(hand):
    sent = sent_log({"of_class": "FEMALE", "back": "9000", "dead": "1"})
    answer = hand.post(SEND, sent)
    assert (answer.status_code, answer.json()["state"]) == (422, "refused")
    refused = RefusedPost.objects.get()
    assert answer.json()["href"] == f"/log/?refused={refused.pk}"
    assert refused.sentence == answer.json()["why"] != ""
    assert hand.get(answer.json()["href"]).status_code == 200
    assert Move.objects.exclude(made_as="OPENING").count() == 0


@pytest.mark.parametrize(
    "fault", [{"day": "tomorrow"}, {"pond": "Z"}, {"rows-0-dead": "many"}, {"key": "none"}]
)
def test_a_fault_is_said_in_words_and_kept(hand, fault):
    answer = hand.post(SEND, {**sent_log({"of_class": "FEMALE", "back": "20", "dead": "1"}), **fault})
    assert (answer.status_code, answer.json()["state"]) == (422, "refused")
    assert answer.json()["why"].endswith(".")
    assert RefusedPost.objects.count() == 1
    assert held("A") == (100, 40, 10)


def test_the_token_is_of_who_is_signed_in_and_never_kept(hand):
    answer = hand.get(SEND)
    assert answer.json()["author"] == hand.user.get_username()
    assert "no-store" in answer.headers["Cache-Control"]


def test_nobody_is_sent_to_sign_in_and_a_reader_is_refused(client, reader):
    assert client.post(SEND, sent_log()).status_code == 302
    assert reader.post(SEND, sent_log()).status_code == 403


def test_the_worker_may_speak_for_every_address_and_is_asked_anew(client):
    answer = client.get("/log/worker.js")
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert (answer.headers["Service-Worker-Allowed"], answer.headers["Cache-Control"]) == ("/", "no-cache")


def test_what_was_refused_is_told_to_who_sent_it_until_it_is_mended(hand, owner):
    sent = sent_log({"of_class": "FEMALE", "back": "9000", "dead": "1"})
    hand.post(SEND, sent)
    (told,) = hand.get(SEND, {"refused": ""}).json()["refused"]
    refused = RefusedPost.objects.get()
    assert (told["pond"], told["href"]) == ("A", f"/log/?refused={refused.pk}")
    assert told["why"] == refused.sentence
    assert owner.get(SEND, {"refused": ""}).json()["refused"] == []
    page = hand.get(told["href"])
    assert page.context["asked"]
    assert "Is this right?" in page.content.decode()
    hand.post(SEND, {**sent, "confirmed": page.context["asked_name"]})
    assert hand.get(SEND, {"refused": ""}).json()["refused"] == []


def test_the_page_that_mends_says_what_the_ledger_said(hand):
    sent = sent_log({"of_class": "FEMALE", "back": "20", "dead": "1"})
    hand.post(SEND, sent)
    hand.post(SEND, {**sent, "rows-0-dead": "2"})
    refused = RefusedPost.objects.get()
    page = hand.get(f"/log/?refused={refused.pk}").content.decode()
    assert "posted before, with other figures" in page


def test_the_list_and_today_name_the_pond_even_where_there_is_none_of_that_name(hand, owner):
    for pond in ("A", "Z"):
        hand.post(SEND, {**sent_log({"of_class": "FEMALE", "back": "20", "dead": "many"}), "pond": pond})
    listed, today = (owner.get(address).content.decode() for address in ("/log/refused/", "/"))
    for pond in "AZ":
        assert f", pond {pond}" in listed
        assert f", pond {pond}:" in today
