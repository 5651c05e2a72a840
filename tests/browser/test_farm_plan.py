"""Planning the farm and the years ahead on a phone: ask, read, make the tasks, print."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from stock.models import Task
from tests.browser.whole_page import whole, width_of
from tests.factories import KindFactory, PondFactory
from tests.pages.test_new_females import stand

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def farm(owner):
    slider = KindFactory(code="slider", common_name="Slider", scientific_name="Trachemys scripta elegans")
    for code, females in (("A", 240), ("B", 400)):
        pond = PondFactory(code=code, name="Long Levee", head_limit=600, kinds=[slider])
        stand(pond, slider, owner.user, FEMALE=females, MALE=100)


def test_plan_the_farm_and_make_its_tasks_on_a_phone(owner_page, farm, live_server):
    page = owner_page
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(live_server.url + reverse("stock:new-females"))
    page.get_by_role("link", name="which moves between ponds bring every pond into band?").click()
    page.get_by_label("Leave these ponds alone").fill("Q")
    _the_page_says_how_long_it_has_been_searching(whole(page))
    page.get_by_role("button", name="Plan the farm").click()
    page.get_by_role("link", name="There is no pond Q in use").wait_for()
    expect(page.get_by_label("Leave these ponds alone")).to_have_value("Q")
    page.get_by_label("Leave these ponds alone").fill("")
    page.get_by_role("button", name="Plan the farm").click()
    page.get_by_text("4 heads handled at 2 ponds bring the pond that is out of band back into it.").wait_for()
    assert width_of(page) == 360
    expect(page.get_by_role("heading", name="Do it")).to_be_visible()
    page.emulate_media(media="print")
    expect(page.get_by_role("heading", name="The moves")).to_be_visible()
    expect(page.get_by_role("heading", name="Do it")).to_be_hidden()
    page.emulate_media(media="screen")
    page.get_by_role("button", name="Make these tasks").click()
    page.get_by_text("2 tasks made for 2 ponds. Males first, then females.").wait_for()
    assert list(Task.objects.order_by("pond__code").values_list("pond__code", "verb", "heads")) == [
        ("A", "TAKE_OUT", 4),
        ("B", "ADD", 4),
    ]


def _the_page_says_how_long_it_has_been_searching(page):
    """While the answer is looked for the seconds are counted; here it is held back, and the clock stands still."""
    page.clock.install()
    page.evaluate(
        "() => { window.hold = (event) => event.preventDefault(); addEventListener('submit', hold); }"
    )
    page.clock.pause_at(dt.datetime.now(dt.UTC) + dt.timedelta(minutes=1))
    page.get_by_role("button", name="Plan the farm").click()
    page.get_by_text("Searching: 0 of at most 5 seconds.").wait_for()
    page.clock.run_for(1000)
    page.get_by_text("Searching: 1 of at most 5 seconds.").wait_for()
    page.clock.resume()
    page.evaluate("() => removeEventListener('submit', window.hold)")


def test_think_a_sale_through_on_a_phone(reader_page, farm, live_server):
    page = reader_page
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(live_server.url + reverse("stock:replacements"))
    page.get_by_label("Males sold").fill("60")
    page.get_by_role("textbox", name="Temperature beside the eggs").fill("82")
    page.get_by_role("button", name="Set side by side").click()
    page.get_by_role("heading", name="As it is, and what if").wait_for()
    page.get_by_text("At 82 °F: 3 % female (1 to 12).").wait_for()
    assert width_of(page) == 360
    page.get_by_label("Males sold").fill("6000")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("alert").get_by_text("6000 males cannot be sold: 200 Slider males stand").wait_for()
