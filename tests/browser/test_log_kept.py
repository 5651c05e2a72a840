"""What was typed into the Log page comes back after the session ended between typing and posting."""

from __future__ import annotations

import pytest
from django.conf import settings

from stock.models import Move
from tests.pages.bank import held, make_farm

pytestmark = pytest.mark.django_db(transaction=True)

PUT_BACK = "Put back what you typed (on this phone only)"


def test_a_log_typed_before_the_session_ended_is_put_back_and_posted(sign_in, hand, live_server):
    make_farm()
    page = sign_in(hand)
    page.set_viewport_size({"width": 360, "height": 780})
    log = live_server.url + "/log/?pond=A"
    page.goto(log)
    assert not page.get_by_role("button", name=PUT_BACK).is_visible()
    page.get_by_label("seine").check()
    page.get_by_label("Went back").first.fill("21")
    page.locator("#id_note").fill("ice on the bank")
    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.get_by_role("button", name="Post it").click()
    page.wait_for_url("**/sign-in/**")
    sign_in(hand)
    page.goto(log)
    assert page.get_by_label("Went back").first.input_value() == ""
    page.get_by_role("button", name=PUT_BACK).click()
    assert page.get_by_label("Went back").first.input_value() == "21"
    assert page.locator("#id_note").input_value() == "ice on the bank"
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("Booked.").wait_for()
    assert held("A") == (100, 40, 10)
    assert Move.objects.exclude(made_as="OPENING").get().note == "ice on the bank"
    page.goto(log)
    assert not page.get_by_role("button", name=PUT_BACK).is_visible()
