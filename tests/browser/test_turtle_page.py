"""Scutes tapped on a phone, an odd measure kept on purpose, and a picture, in a real browser."""

import pytest
from playwright.sync_api import expect

from stock.models import Mark, Measure, Photograph
from stock.turtle_book import confirm_scheme
from tests.browser.whole_page import width_of
from tests.turtles.one_turtle import TODAY, marked_turtle, picture

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_hand_marks_measures_and_pictures_a_turtle(
    hand_page, hand, live_server, settings, tmp_path, complaints
):
    settings.DATA_DIR = tmp_path
    turtle = marked_turtle(hand.user)
    confirm_scheme("NA16", against="A figure", by=hand.user, today=TODAY)
    page, home = hand_page, f"{live_server.url}/turtles/{turtle.pk}/"
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{home}mark/?form=NOTCH&at=")
    for place in ("Right marginal 2", "Right marginal 11", "Left marginal 10"):
        page.get_by_role("link", name=f"{place}, not notched").click()
        expect(page.get_by_role("link", name=f"{place}, notched")).to_be_visible()
    expect(page.get_by_label("Notch code")).to_have_value("BKO")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url(f"{home}#marks")
    assert Mark.objects.get().mask
    expect(page.locator("svg.shell .notched")).to_have_count(3)
    page.get_by_role("link", name="Measure", exact=True).click()
    page.get_by_label("Straight carapace length, greatest").fill("200")
    page.get_by_label("Mass", exact=False).last.fill("1.4")
    page.get_by_role("button", name="Write them down").click()
    page.get_by_role("button", name="They are right: keep them").wait_for()
    expect(page.get_by_role("main")).to_contain_text("it looks like kg")
    complaints.forgive("422")
    page.get_by_role("button", name="They are right: keep them").click()
    page.wait_for_url(f"{home}#measures")
    assert Measure.objects.count() == 2
    page.get_by_role("link", name="Add a picture").click()
    page.get_by_label("Picture").set_input_files(
        {"name": "rim.jpg", "mimeType": "image/jpeg", "buffer": picture(size=(600, 400))}
    )
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url(f"{home}#pictures")
    assert Photograph.objects.count() == 1
    shown = page.locator(".pictures img")
    shown.scroll_into_view_if_needed()
    page.wait_for_function("() => document.querySelector('.pictures img').naturalWidth > 0")
    assert width_of(page) <= 390
