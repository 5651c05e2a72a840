"""What was typed into the Log page is not lost where the session ended: posted it waits, not posted it comes back."""

from __future__ import annotations

import pytest
from django.conf import settings
from playwright.sync_api import expect

from stock.models import Move
from tests.browser.whole_page import whole
from tests.pages.bank import held, make_farm

pytestmark = pytest.mark.django_db(transaction=True)

PUT_BACK = "Put back what you typed (on this phone only)"


@pytest.fixture
def typed(sign_in, hand, live_server):
    """The Log page of pond A, typed into, on a phone whose session has ended since."""
    make_farm()
    page = sign_in(hand)
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(live_server.url + "/log/?pond=A")
    expect(page.get_by_role("button", name=PUT_BACK)).to_be_hidden()
    page.get_by_label("seine").check()
    page.get_by_label("Went back").first.fill("21")
    page.locator("#id_note").fill("ice on the bank")
    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    return page


def test_what_was_typed_and_not_posted_is_put_back_and_posted(typed, sign_in, hand, live_server):
    page = typed
    page.goto(live_server.url + "/moves/")
    page.wait_for_url("**/sign-in/**")
    sign_in(hand)
    page.goto(live_server.url + "/log/?pond=A")
    expect(page.get_by_label("Went back").first).to_have_value("")
    page.get_by_role("button", name=PUT_BACK).click()
    expect(page.get_by_label("Went back").first).to_have_value("21")
    expect(page.locator("#id_note")).to_have_value("ice on the bank")
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("Booked.").wait_for()
    assert_booked_once_and_not_offered_again(page, live_server)


def test_what_was_posted_is_sent_after_the_next_sign_in(typed, sign_in, hand, live_server):
    page = typed
    page.get_by_role("button", name="Post it").click()
    page.wait_for_url("**/sign-in/**")
    sign_in(hand)
    page.goto(live_server.url + "/log/?pond=A")
    page.get_by_text("On the server").wait_for()
    expect(page.get_by_role("button", name=PUT_BACK)).to_be_hidden()
    assert_booked_once_and_not_offered_again(page, live_server)


def assert_booked_once_and_not_offered_again(page, live_server):
    # The receipt's scripts forget what was kept.
    whole(page)
    assert held("A") == (100, 40, 10)
    assert Move.objects.exclude(made_as="OPENING").get().note == "ice on the bank"
    page.goto(live_server.url + "/log/?pond=A")
    expect(page.get_by_role("button", name=PUT_BACK)).to_be_hidden()
