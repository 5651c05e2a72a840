"""The door: who gets in, who is held and for how long, and what a wrong try is told."""

from __future__ import annotations

import datetime as dt

import pytest
from axes.models import AccessAttempt, AccessFailureLog
from django.db.models import F
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from config.models import OneTimePassword

pytestmark = pytest.mark.django_db

PASSWORD = "four-ordinary-words-here"
COOL_OFF = dt.timedelta(minutes=5)


@pytest.fixture
def wren(make_person):
    return make_person("hand", "wren", PASSWORD)


def knock(password, name="wren", address="10.0.0.7", **more):
    """Try the door from one address, as a fresh browser."""
    return Client().post(
        reverse("sign-in"), {"username": name, "password": password}, REMOTE_ADDR=address, **more
    )


def let_pass(wait: dt.timedelta) -> None:
    """Move every remembered try into the past."""
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - wait)


def test_the_right_password_opens_the_door_and_leads_back_to_the_page_asked_for(wren):
    client = Client()
    asked = client.get(reverse("me"))
    assert asked.status_code == 302
    answer = client.post(asked.headers["Location"], {"username": "wren", "password": PASSWORD})
    assert (answer.status_code, answer.headers["Location"]) == (303, reverse("me"))
    assert client.get(reverse("me")).status_code == 200


def test_the_door_leads_to_no_other_site(wren):
    answer = Client().post(
        reverse("sign-in") + "?next=https://elsewhere.example/", {"username": "wren", "password": PASSWORD}
    )
    assert answer.headers["Location"] == "/"


def test_fifty_wrong_tries_are_held_from_the_sixth_on(wren):
    answers = [knock("wrong").status_code for _ in range(50)]
    assert answers[:5] == [200] * 5
    assert answers[5:] == [429] * 45
    # Even the right password opens nothing there now, and the page says for how long.
    held = knock(PASSWORD)
    assert held.status_code == 429
    assert "5 minutes" in held.content.decode()


def test_the_victim_signs_in_from_another_address_at_once(wren):
    for _ in range(50):
        knock("wrong")
    assert knock(PASSWORD, address="10.0.0.8").status_code == 303


def test_another_person_signs_in_from_the_held_address(wren, make_person):
    make_person("hand", "heron", PASSWORD)
    for _ in range(50):
        knock("wrong")
    assert knock(PASSWORD, name="heron").status_code == 303


def test_the_hold_ends_by_itself(wren):
    for _ in range(50):
        knock("wrong")
    let_pass(COOL_OFF - dt.timedelta(seconds=20))
    assert knock(PASSWORD).status_code == 429
    let_pass(dt.timedelta(seconds=21))
    assert knock(PASSWORD).status_code == 303


def test_tries_during_the_hold_do_not_prolong_it(wren):
    for _ in range(6):
        knock("wrong")
    let_pass(COOL_OFF - dt.timedelta(seconds=20))
    for _ in range(20):
        assert knock("wrong").status_code == 429
    let_pass(dt.timedelta(seconds=21))
    assert knock(PASSWORD).status_code == 303


def test_only_wrong_tries_in_a_row_count(wren):
    for _ in range(3):
        for _ in range(5):
            assert knock("wrong").status_code == 200
        assert knock(PASSWORD).status_code == 303


def test_another_browser_at_the_same_address_is_held_too(wren):
    for number in range(6):
        knock("wrong", HTTP_USER_AGENT=f"browser {number}")
    assert knock(PASSWORD, HTTP_USER_AGENT="one more").status_code == 429


def test_thirty_wrong_tries_under_many_names_hold_the_address_for_five_minutes(wren):
    for number in range(29):
        assert knock("wrong", name=f"guess-{number}").status_code == 200
    assert knock("wrong", name="guess-29").status_code == 200
    held = knock(PASSWORD)
    assert held.status_code == 429
    assert "5 minutes" in held.content.decode()
    assert knock(PASSWORD, address="10.0.0.8").status_code == 303
    # Tries meanwhile do not prolong it.
    assert knock("wrong", name="guess-30").status_code == 429
    AccessFailureLog.objects.update(attempt_time=F("attempt_time") - COOL_OFF - dt.timedelta(seconds=1))
    assert knock(PASSWORD).status_code == 303


def test_wrong_tries_spread_over_more_than_fifteen_minutes_hold_no_address(wren):
    for number in range(29):
        knock("wrong", name=f"guess-{number}")
    AccessFailureLog.objects.update(attempt_time=F("attempt_time") - dt.timedelta(minutes=16))
    for number in range(5):
        knock("wrong", name=f"again-{number}")
    assert knock(PASSWORD).status_code == 303


def test_every_wrong_try_is_logged_without_its_password(wren, caplog):
    for _ in range(50):
        knock("wrong-and-secret")
    kept = AccessFailureLog.objects.filter(username="wren", ip_address="10.0.0.7")
    assert (kept.count(), kept.filter(locked_out=True).count()) == (6, 1)
    lines = [record.getMessage() for record in caplog.records]
    failures = [
        line for line in lines if "login failure by" in line and "wren" in line and "10.0.0.7" in line
    ]
    refusals = [line for line in lines if line == "Too Many Requests: /sign-in/"]
    # The sixth is both: a failure, and the first to be answered 429.
    assert (len(failures), len(refusals)) == (6, 45)
    assert "wrong-and-secret" not in caplog.text
    assert not AccessAttempt.objects.filter(post_data__contains="wrong-and-secret").exists()


def test_an_unknown_name_a_wrong_password_and_a_disabled_person_get_one_answer(wren, make_person):
    gone = make_person("hand", "stork", PASSWORD)
    gone.is_active = False
    gone.save()
    pages = []
    for name, password in (("wren", "wrong"), ("nobody-here", "wrong"), ("stork", PASSWORD)):
        answer = knock(password, name=name)
        assert answer.status_code == 200
        page = answer.content.decode()
        assert "do not belong together" in page
        token = answer.context["csrf_token"]
        pages.append(page.replace(str(token), "").replace(name, "NAME"))
    assert pages[0] == pages[1] == pages[2]


def test_an_unknown_name_is_held_just_the_same():
    answers = [knock("wrong", name="nobody-here").status_code for _ in range(7)]
    assert answers == [200] * 5 + [429] * 2


def test_empty_fields_get_their_sentences_and_count_as_no_try():
    for _ in range(10):
        answer = Client().post(reverse("sign-in"), {"username": "", "password": ""})
        assert answer.status_code == 200
    page = answer.content.decode()
    assert "Type your name, as the owner gave it to you." in page
    assert "Type your password." in page
    assert not AccessAttempt.objects.exists()


def test_a_name_with_a_nul_or_a_thousand_letters_is_answered_in_words(wren):
    for name in ("wr\0en", "w" * 5000):
        answer = knock("wrong", name=name)
        assert answer.status_code == 200
        assert "There is a problem" in answer.content.decode()


def test_signing_out_takes_a_post_and_ends_the_session(hand):
    assert hand.get(reverse("sign-out")).status_code == 405
    assert hand.get(reverse("me")).status_code == 200
    hand.post(reverse("sign-out"))
    assert hand.get(reverse("me")).status_code == 302


def test_a_one_time_password_opens_only_the_page_that_asks_for_another(wren):
    OneTimePassword.objects.create(user=wren, expires_at=timezone.now() + dt.timedelta(hours=1))
    client = Client()
    client.post(reverse("sign-in"), {"username": "wren", "password": PASSWORD})
    for address in ("/settings/people/", "/settings/health/"):
        assert client.get(address).headers["Location"] == reverse("me")
    assert "one-time password" in client.get(reverse("me")).content.decode()
    client.post(
        reverse("me"),
        {"present": PASSWORD, "chosen": "entirely-my-own-words", "again": "entirely-my-own-words"},
    )
    assert client.get(reverse("health")).status_code == 403
    assert not OneTimePassword.objects.exists()
    assert knock(PASSWORD).status_code == 200
    assert knock("entirely-my-own-words").status_code == 303


def test_an_expired_one_time_password_opens_nothing(wren):
    OneTimePassword.objects.create(user=wren, expires_at=timezone.now() - dt.timedelta(seconds=1))
    answer = knock(PASSWORD)
    assert answer.status_code == 200
    assert "not used in time" in answer.content.decode()


@override_settings(BEHIND_HTTPS=True, TRUSTED_PROXIES=["127.0.0.1"])
def test_behind_the_proxy_the_address_it_saw_counts_and_not_what_the_client_wrote(wren):
    for number in range(6):
        knock("wrong", address="127.0.0.1", HTTP_X_FORWARDED_FOR=f"9.9.9.{number}, 10.0.0.7")
    held = knock(PASSWORD, address="127.0.0.1", HTTP_X_FORWARDED_FOR="10.0.0.7")
    free = knock(PASSWORD, address="127.0.0.1", HTTP_X_FORWARDED_FOR="10.0.0.7, 10.0.0.8")
    assert (held.status_code, free.status_code) == (429, 303)


def test_without_the_proxy_a_forwarded_address_is_not_believed(wren):
    for number in range(6):
        knock("wrong", HTTP_X_FORWARDED_FOR=f"9.9.9.{number}")
    assert knock(PASSWORD, HTTP_X_FORWARDED_FOR="9.9.9.77").status_code == 429
