"""The door and the people in a real browser: a new hand's first sign-in, and what the browser complains of."""

from __future__ import annotations

import re

from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.whole_page import width_of

PHONE = {"width": 360, "height": 740}


def test_an_owner_adds_a_hand_who_signs_in_on_a_phone_and_chooses_a_password(
    owner_page, live_server, browser
):
    page = owner_page
    page.goto(live_server.url + reverse("people-list"))
    page.get_by_role("link", name="Add a person").click()
    page.get_by_label("Name").fill("ana ruiz")
    page.get_by_label("Hand: logs what the seine brought").check()
    page.get_by_role("button", name="Add this person").click()
    expect(page.get_by_role("alert")).to_contain_text("such as ana.ruiz")
    expect(page.get_by_label("Name")).to_have_value("ana ruiz")
    page.get_by_label("Name").fill("ana.ruiz")
    page.get_by_role("button", name="Add this person").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What does ana.ruiz sign in with?")
    password = page.locator("code").inner_text()
    assert re.fullmatch(r"([a-z2-9]{5}-){3}[a-z2-9]{5}", password)

    page.context.clear_cookies()
    page.set_viewport_size(PHONE)
    page.goto(live_server.url + reverse("me"))
    page.get_by_label("Name").fill("ana.ruiz")
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which password do you choose?")
    assert width_of(page) <= PHONE["width"]
    page.get_by_label("Present password").fill(password)
    page.get_by_label("New password", exact=True).fill("heron by the north gate")
    page.get_by_label("New password again").fill("heron by the north gate")
    page.get_by_role("button", name="Keep this password").click()
    expect(page.get_by_role("status")).to_contain_text("Your new password holds.")


def test_the_door_works_by_keyboard_alone(page, live_server, make_person):
    make_person("reader", "wren", "four-ordinary-words-here")
    page.goto(live_server.url + reverse("sign-in") + "?next=" + reverse("me"))
    page.get_by_label("Name").focus()
    page.keyboard.type("wren")
    page.keyboard.press("Tab")
    page.keyboard.type("four-ordinary-words-here")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Do you want another password?")


def test_the_owner_reads_the_health_of_the_book(owner_page, live_server):
    owner_page.goto(live_server.url + reverse("health"))
    expect(owner_page.get_by_role("heading", level=1)).to_have_text("Is the book safe on this machine?")


def test_a_page_error_and_a_breach_of_the_policy_are_both_noticed(page, live_server, complaints):
    """The fence of every browser test is itself tested: without it none of them would show a broken page."""
    page.goto(live_server.url + reverse("sign-in"))
    page.evaluate(
        """() => {
            setTimeout(() => { throw new Error("a script failed"); }, 0);
            const styled = document.createElement("style");
            styled.textContent = "p { color: red }";
            document.head.append(styled);
        }"""
    )
    complaints.forgive("a script failed")
    complaints.forgive("style-src")
