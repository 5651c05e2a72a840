"""A seining in three passes, typed at the bank and accepted; and one whose catch did not decline, which is not."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from stock.models import Count, Haul, Move, Survey
from tests.browser.whole_page import whole, width_of
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db(transaction=True)

PHONE = {"width": 360, "height": 740}


@pytest.fixture
def farm(owner):
    farm = FarmOfPonds(owner.user)
    farm.pond("A", females=340, males=110)
    return farm


def log_a_pass(page, live_server, females: int, males: int) -> None:
    """Type one pass held out, on the Log page of pond A, at phone width."""
    page.set_viewport_size(PHONE)
    page.goto(f"{live_server.url}{reverse('stock:log')}?pond=A")
    page.get_by_role("radio", name="seine", exact=True).check()
    page.get_by_text("Drags, water, drained or held out").click()
    page.get_by_label("Net drags, or trap-nights").fill("4")
    page.get_by_label(re.compile("^Water temperature")).fill("64")
    page.get_by_label("The catch was held out until the last haul").check()
    page.get_by_role("group", name="Slider females").get_by_label("Went back").fill(str(females))
    page.get_by_role("group", name="Slider males").get_by_label("Went back").fill(str(males))
    assert width_of(page) == 360
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("Booked. If something is wrong").wait_for()


def read_together(page) -> None:
    """Go from the receipt of the last haul to the survey."""
    page.get_by_role("link", name="Read it with other hauls").click()
    page.get_by_role("heading", name="Which hauls of pond A are read together?").wait_for()
    expect(page.get_by_role("checkbox", checked=True)).to_have_count(3)
    assert width_of(page) == 360
    page.get_by_role("button", name="Read them").click()
    page.get_by_role("heading", name="What do these hauls say of pond A?").wait_for()
    assert width_of(page) == 360


def test_three_passes_are_typed_read_accepted_and_seen_on_the_ponds_page(farm, owner_page, live_server):
    page = owner_page
    for females, males in ((150, 49), (82, 27), (46, 14)):
        log_a_pass(page, live_server, females, males)
    assert Haul.objects.filter(is_held_out=True, effort=4).count() == 3
    read_together(page)
    expect(page.get_by_text("The catch declined.")).to_be_visible()
    expect(page.get_by_role("table", name="Methods for Slider")).to_be_visible()
    expect(whole(page).get_by_text("There is nothing to accept")).to_have_count(0)
    page.get_by_role("link", name="What would accepting it mean?").click()
    page.get_by_role("heading", name="What does accepting this count of Slider mean?").wait_for()
    assert width_of(page) == 360
    page.get_by_role("button", name="Accept the count").click()
    page.get_by_text("Accepted: Slider in pond A.").wait_for()
    count = Count.objects.get(survey__isnull=False)
    # All that were caught, 278 females and 90 males, and those that the decline says were left.
    assert 278 < count.females < 340
    assert 90 < count.males < 115
    assert not Move.objects.filter(made_as="COUNT").exists()
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(live_server.url + reverse("stock:pond-detail", args=["A"]))
    day = f"{farm.today.day} {farm.today:%b %Y}"
    expect(page.get_by_text(re.compile(rf"counted {day}|{day} \(seined\)")).first).to_be_visible()
    page.goto(live_server.url + reverse("stock:count-list"))
    row = page.get_by_role("table", name="Counts accepted").locator("tbody tr").first
    expect(row).to_contain_text("passes held out")
    expect(row).to_contain_text(f"{count.females:.0f} ±")


def test_passes_whose_catch_did_not_decline_refuse_to_pretend(farm, owner_page, live_server):
    page = owner_page
    for females, males in ((40, 13), (44, 15), (52, 17)):
        log_a_pass(page, live_server, females, males)
    read_together(page)
    refusal = page.locator(".problems")
    expect(refusal).to_contain_text("There is nothing to accept")
    expect(refusal).to_contain_text("did not decline")
    expect(whole(page).get_by_role("link", name="What would accepting it mean?")).to_have_count(0)
    survey = Survey.objects.get()
    page.goto(live_server.url + reverse("stock:survey-accept", args=[survey.pk, "slider"]))
    page.get_by_text("There is nothing to accept. The catches").wait_for()
    assert Survey.objects.get().counts.count() == 0
    assert not Count.objects.filter(survey__isnull=False).exists()


def test_the_planner_answers_on_a_phone(farm, reader_page, live_server):
    page = reader_page
    page.set_viewport_size(PHONE)
    page.goto(live_server.url + reverse("stock:count-plan"))
    page.get_by_label("Pond", exact=False).first.select_option("A")
    page.get_by_role("radio", name="hold out").check()
    page.get_by_role("button", name="How many?").click()
    page.get_by_text("Pond A probably holds").wait_for()
    expect(page.get_by_role("table", name="What each further pass buys")).to_be_visible()
    assert width_of(page) == 360
