"""Eggs from the bank to the hatch on a phone: nests by clutch, a lot, candling and hatching basket by basket."""

import datetime as dt

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from ponds.farm import the_farm
from ponds.lots import read_lot
from ponds.models import NestDay
from tests.browser.whole_page import width_of
from tests.ponds.lots import a_pond

pytestmark = pytest.mark.django_db(transaction=True)
PHONE = {"width": 360, "height": 740}


def fits(page) -> bool:
    return width_of(page) <= page.evaluate("() => document.documentElement.clientWidth")


def test_eggs_are_followed_from_the_bank_to_the_hatch(hand_page, live_server, complaints):
    page = hand_page
    page.set_viewport_size(PHONE)
    a_pond()
    today = the_farm().today()
    set_on = today - dt.timedelta(days=70)

    page.goto(live_server.url + reverse("ponds:nest-new") + "?pond=A")
    page.get_by_label("By clutch").fill("9 8 40 (1)")
    page.get_by_role("button", name="Book these nests").click()
    question = page.get_by_role("alert")
    question.get_by_text("57 eggs from 3 nests are 19.0 a nest; Slider lays 6.5 to 11.").wait_for()
    expect(page.get_by_label("By clutch")).to_have_value("9 8 40 (1)")
    assert fits(page)
    question.get_by_label("It is right as typed").check()
    question.get_by_role("button", name="Book it").click()
    page.get_by_text("3 nests, 57 eggs").first.wait_for()
    assert NestDay.objects.get().clutches.count() == 3
    complaints.forgive("422")

    page.goto(live_server.url + reverse("ponds:lot-new") + "?pond=A")
    page.get_by_label("Code of the lot").fill("spring-1")
    page.get_by_label("Kind").select_option("slider")
    page.get_by_label("Set on").fill(f"{set_on:%Y-%m-%d}")
    page.get_by_label("Temperature it is set to").fill("82")
    for row, eggs in ((0, "30"), (1, "26")):
        page.locator(f"[name=baskets-{row}-dug_on]").fill(f"{set_on:%Y-%m-%d}")
        page.locator(f"[name=baskets-{row}-eggs]").fill(eggs)
    assert fits(page)
    page.get_by_role("button", name="Set this lot").click()
    page.get_by_text("Lot SPRING-1 is set: 56 eggs in 2 baskets.").wait_for()
    assert fits(page)

    page.get_by_role("link", name="Log a candling").click()
    for clear in ("3", "2"):
        page.get_by_label("Day").fill(f"{set_on + dt.timedelta(days=14):%Y-%m-%d}")
        page.get_by_label("Clear").fill(clear)
        page.get_by_label("Dead").fill("0")
        assert fits(page)
        page.get_by_role("button", name="Book this candling").click()
        page.get_by_text(f"{clear} clear, 0 dead on").first.wait_for()
    page.get_by_role("heading", name="What became of lot SPRING-1?").wait_for()

    page.get_by_role("link", name="Hatch basket 1").click()
    page.get_by_label("Hatched").fill("28")
    page.get_by_role("button", name="Book this hatch").click()
    page.get_by_text("Basket 1 of lot SPRING-1 was set with 30 eggs; 3 are counted already").first.wait_for()
    complaints.forgive("422")
    page.get_by_label("Hatched").fill("25")
    page.get_by_label("Dead").fill("2")
    page.get_by_role("button", name="Book this hatch").click()
    page.get_by_text("Lot SPRING-1, basket 1: 25 hatched, 0 clear, 2 dead").wait_for()
    page.get_by_label("Hatched").fill("20")
    page.get_by_label("Nothing is left in it").check()
    page.get_by_role("button", name="Book this hatch").click()
    page.get_by_text("Nothing is left in it.").wait_for()
    whole = read_lot("SPRING-1").whole()
    assert (whole.hatched, whole.clear, whole.dead, whole.left, whole.is_done) == (45, 5, 2, 4, True)

    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Taken back, lot SPRING-1: 20 hatched").wait_for()
    assert read_lot("SPRING-1").whole().left == 24
    for name in ("lot-list", "nest-season", "nest-totals", "nest-list"):
        page.goto(live_server.url + reverse(f"ponds:{name}"))
        assert fits(page), name
