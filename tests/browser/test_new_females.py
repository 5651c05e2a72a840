"""Asking where new females go, on a phone: ask, read, change by hand, make the tasks, print."""

from __future__ import annotations

import pytest
from django.urls import reverse

from stock.models import Task
from tests.factories import KindFactory, PondFactory
from tests.pages.test_new_females import stand

pytestmark = pytest.mark.django_db(transaction=True)


def test_ask_change_and_make_the_tasks_on_a_phone(owner_page, owner, live_server):
    slider = KindFactory(code="slider", common_name="Slider")
    for code, females in (("A", 210), ("B", 240), ("C", 120)):
        pond = PondFactory(code=code, name="Long Levee", head_limit=420, kinds=[slider])
        stand(pond, slider, owner.user, FEMALE=females, MALE=100)
    page = owner_page
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(live_server.url + reverse("stock:new-females"))
    page.get_by_label("How many females").fill("60")
    page.get_by_role("button", name="Where should they go?").click()
    page.get_by_text("60 females of Slider: 45 to A, 15 to B.").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    page.get_by_text("The arithmetic of pond A, season by season").click()
    page.get_by_label("Pond A", exact=True).fill("500")
    page.get_by_role("button", name="Set it beside the best").click()
    page.get_by_role("alert").get_by_text("Pond A can take 110, not 500").wait_for()
    assert page.get_by_label("Pond A", exact=True).input_value() == "500"
    page.get_by_label("Pond A", exact=True).fill("30")
    page.get_by_role("button", name="Set it beside the best").click()
    page.get_by_role("button", name="Make these tasks: 30 to A, 15 to B (by hand)").wait_for()
    page.emulate_media(media="print")
    assert page.get_by_role("heading", name="Load sheet: 45 Slider females").is_visible()
    assert not page.get_by_role("heading", name="Change it by hand").is_visible()
    page.emulate_media(media="screen")
    page.get_by_role("button", name="Make these tasks").click()
    page.get_by_text("2 tasks made: females of Slider, 30 to A, 15 to B.").wait_for()
    assert list(Task.objects.order_by("pond__code").values_list("pond__code", "heads")) == [
        ("A", 30),
        ("B", 15),
    ]
