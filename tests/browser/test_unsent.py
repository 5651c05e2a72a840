"""A log posted where there is no signal waits on the phone, is sent by itself, and is booked once."""

from __future__ import annotations

import re

import pytest
from django.conf import settings
from playwright.sync_api import expect

from stock.models import Move, RefusedPost
from tests.pages.bank import held, make_farm

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bank(sign_in, hand, live_server, complaints):
    """A phone at pond A whose Log pages are laid by."""
    make_farm()
    page = sign_in(hand)
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(live_server.url + "/log/")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => null)")
    page.wait_for_function("() => localStorage.getItem('log-laid-by') && navigator.serviceWorker.controller")
    # What a phone without a signal may say of itself; nothing else is forgiven.
    complaints.expected += ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "422")
    return page


# How often the page said what waits: it says nothing again and again, which nobody sees.
COUNT_WHAT_IS_SAID = """
window.said = 0;
const replaced = Element.prototype.replaceChildren;
Element.prototype.replaceChildren = function (...rows) {
    replaced.apply(this, rows);
    if (this.matches("[data-said]")) window.said += 1;
};
"""


# Under the lock none is under way, so nothing sets another timer behind our back.
SEND_NOTHING_BY_ITSELF = """async () => {
    addEventListener("online", (event) => event.stopImmediatePropagation(), true);
    await navigator.locks.request("unsent", () => {
        for (let timer = setTimeout(() => {}); timer > 0; timer -= 1) clearTimeout(timer);
    });
}"""


def type_log(page, live_server, heads):
    page.goto(live_server.url + "/log/?pond=A")
    page.get_by_label("seine").check()
    page.get_by_label("Went back").first.fill(str(heads - 1))
    page.get_by_label("Dead").nth(1).fill("1")


def send_by_hand(page):
    """Switch the network on and press “Send now”, while nothing that sends by itself can come before the press."""
    page.evaluate(SEND_NOTHING_BY_ITSELF)
    page.context.set_offline(False)
    page.wait_for_function("() => navigator.onLine")
    page.get_by_text("On this phone only").wait_for()
    page.get_by_role("button", name="Send now").click()


def booked():
    return list(Move.objects.exclude(made_as="OPENING"))


def test_a_log_typed_without_a_signal_arrives_once_when_there_is_one(bank, live_server):
    page = bank
    page.context.set_offline(True)
    type_log(page, live_server, 21)
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On this phone only: 1 log").wait_for()
    assert booked() == []
    # A second one of the same page, and the phone shut and opened in between.
    type_log(page, live_server, 11)
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On this phone only: 2 logs").wait_for()
    other = page.context.new_page()
    page.goto("about:blank")
    other.goto(live_server.url + "/log/")
    other.get_by_text("On this phone only: 2 logs").wait_for()
    assert booked() == []
    send_by_hand(other)
    other.get_by_text("On the server").nth(1).wait_for()
    expect(other.get_by_text("On this phone only")).to_be_hidden()
    assert len(booked()) == 2
    assert held("A") == (100, 38, 10)


def test_a_log_whose_answer_was_lost_is_booked_once(bank, live_server):
    page = bank
    type_log(page, live_server, 21)

    # The post reaches the server, its answer no page.
    page.evaluate(
        """() => { HTMLFormElement.prototype.submit = function () {
            fetch(location.href, { method: "POST", body: new FormData(this) }).then(() => location.assign("/log/"));
        }; }"""
    )
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On the server").wait_for()
    assert len(booked()) == 1
    assert held("A") == (100, 39, 10)


def test_logs_wait_through_a_session_that_ended_and_what_is_odd_waits_for_a_yes(
    bank, live_server, sign_in, hand
):
    page = bank
    type_log(page, live_server, 21)
    page.context.set_offline(True)
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On this phone only: 1 log").wait_for()
    type_log(page, live_server, 9999)
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On this phone only: 2 logs").wait_for()
    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.context.set_offline(False)
    page.get_by_text("Sign in to send.").wait_for()
    assert booked() == []
    sign_in(hand)
    page.goto(live_server.url + "/log/")
    page.get_by_text("On the server").first.wait_for()
    page.get_by_text("Needs you").wait_for()
    assert len(booked()) == 1
    assert RefusedPost.objects.count() == 1
    # It stays said on every page of the Log, whichever sent it, and the page that mends it says why at once.
    for address in ("/log/", "/log/?pond=B"):
        page.goto(live_server.url + address)
        page.get_by_text("Needs you: pond A").wait_for()
    page.add_init_script(COUNT_WHAT_IS_SAID)
    page.get_by_role("link", name="Mend it").click()
    page.get_by_role("heading", name="Is this right?").wait_for()
    expect(page.get_by_label("Went back").first).to_have_value("9998")
    # Once of what waits on the phone, once of what the server refused: that is the log of this page alone.
    page.wait_for_function("() => window.said >= 2")
    expect(page.get_by_text("Needs you")).to_be_hidden()


def test_a_copy_saved_on_the_phone_is_read_in_the_office_and_booked_once(
    bank, live_server, phone_page, owner, tmp_path
):
    page = bank
    page.context.set_offline(True)
    type_log(page, live_server, 21)
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("On this phone only: 1 log").wait_for()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save a copy to a file").click()
    copy = tmp_path / saved.value.suggested_filename
    saved.value.save_as(copy)
    desk, session = phone_page, settings.SESSION_COOKIE_NAME
    cookie = {"name": session, "value": owner.cookies[session].value, "url": live_server.url}
    desk.context.add_cookies([cookie])
    desk.goto(live_server.url + "/log/refused/")
    desk.get_by_label("The file unsent-logs.json").set_input_files(copy)
    desk.get_by_role("button", name="Read it").click()
    desk.get_by_text("1 log read: 1 waits below").wait_for()
    desk.get_by_role("link", name="Open and mend it").click()
    desk.get_by_role("button", name="Post it").click()
    desk.get_by_text("Booked. If something is wrong").wait_for()
    assert held("A") == (100, 39, 10)
    # The phone is heard of after all: its log is known by its key.
    send_by_hand(page)
    page.get_by_text("On the server").wait_for()
    assert len(booked()) == 1


def test_a_log_opened_from_a_ponds_page_lays_the_log_by_too(sign_in, hand, live_server, complaints):
    make_farm()
    page = sign_in(hand)
    page.goto(live_server.url + "/log/?pond=B")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => null)")
    page.wait_for_function("() => localStorage.getItem('log-laid-by') && navigator.serviceWorker.controller")
    kept = page.evaluate(
        "async () => (await (await caches.open('log-pages')).keys()).map((one) => one.url.replace(location.origin, ''))"
    )
    assert set(kept) >= {"/log/", "/log/no-signal/", "/log/?pond=A", "/log/?pond=B"}


def test_back_to_a_log_that_was_refused_opens_the_log_and_not_the_page_of_no_signal(bank, live_server):
    """No browser keeps the answer of a post: asked for it again, the worker must not take that for a lost signal."""
    page = bank
    type_log(page, live_server, 21)
    page.get_by_label("Went back").first.fill("12x")
    page.get_by_role("button", name="Post it").click()
    expect(page).to_have_title(re.compile("^Error: "))
    page.get_by_label("Went back").first.fill("20")
    page.get_by_role("button", name="Post it").click()
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("What came of it in pond A?")
    expect(page.get_by_text("No signal")).to_have_count(0)
    assert Move.objects.filter(made_as="BANK").count() == 1
