"""New females from the desk to the bank: ask, change by hand, save, print, make the tasks, carry them out."""

from __future__ import annotations

import re

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import expect

from stock.book import by_pond_and_kind
from stock.models import SavedPlacing, Task
from tests.browser.whole_page import whole, width_of
from tests.factories import KindFactory, PondFactory
from tests.pages.test_new_females import stand, the_farm

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def farm(owner):
    """Sliders in A, B and C, short of females in A; 160 new ones stand in Q."""
    slider = KindFactory(code="slider", common_name="Slider")
    for code, females, males in (("A", 210, 100), ("B", 330, 100), ("C", 120, 100), ("Q", 160, 0)):
        pond = PondFactory(
            code=code, name="Long Levee", head_limit=600 if code == "B" else 420, kinds=[slider]
        )
        stand(pond, slider, owner.user, FEMALE=females, MALE=males)
    return slider


def females(slider) -> dict[str, int]:
    held = by_pond_and_kind(the_farm().today())
    from ponds.models import Pond

    return {pond.code: held[pond.pk, slider.pk].females for pond in Pond.objects.all()}


def test_from_forty_new_females_to_ponds_that_hold_them(farm, owner_page, phone_page, hand, live_server):
    desk, phone = owner_page, phone_page
    phone.context.add_cookies(
        [
            {
                "name": settings.SESSION_COOKIE_NAME,
                "value": hand.cookies[settings.SESSION_COOKIE_NAME].value,
                "url": live_server.url,
            }
        ]
    )
    desk.set_viewport_size({"width": 360, "height": 780})
    desk.goto(live_server.url + reverse("stock:new-females"))
    desk.get_by_label("How many females").fill("40")
    desk.get_by_label("They stand in").select_option("Q")
    desk.get_by_role("button", name="Where should they go?").click()
    desk.get_by_role("heading", name="Change it by hand").wait_for()
    assert width_of(desk) == 360
    best = int(desk.get_by_label("Pond A", exact=True).input_value())
    assert best >= 30
    desk.get_by_text("The arithmetic of pond A, season by season").click()
    _change_by_hand(desk)
    _print_it(desk)
    _make_the_tasks(desk, live_server)
    _bring_them(phone, live_server, "A", 10)
    desk.reload()
    desk.get_by_text("10 of 15 done, 5 left").wait_for()
    _bring_them(phone, live_server, "B", 27)
    _bring_them(phone, live_server, "A", 3)
    desk.reload()
    desk.get_by_text("13 of 15 done, 2 left").wait_for()
    desk.get_by_text("done, and 2 more than planned").wait_for()
    assert females(farm) == {"A": 223, "B": 357, "C": 120, "Q": 120}
    desk.get_by_role("link", name="A", exact=True).first.click()
    desk.get_by_text("Slider: 223 females, 100 males").first.wait_for()
    desk.go_back()
    desk.get_by_role("link", name="Cancel it").click()
    desk.get_by_label("Why is the plan cancelled?").fill("None is left in Q.")
    desk.get_by_role("button", name="Cancel the plan").click()
    desk.get_by_text("Cancelled. 1 open task dropped.").wait_for()


def _change_by_hand(desk):
    a, b = (desk.get_by_label(f"Pond {code}", exact=True) for code in "AB")
    a.fill("500")
    desk.get_by_role("button", name="Set it beside the best").click()
    desk.get_by_role("alert").get_by_text("Pond A can take 110, not 500").wait_for()
    expect(a).to_have_value("500")
    a.fill("15")
    b.fill("25")
    desk.get_by_role("button", name="Set it beside the best").click()
    said = desk.locator("form[action='#by-hand']").locator("xpath=preceding-sibling::p[1]")
    # In A, the lower ratio, each of the ten moved would have been worth more.
    expect(said).to_contain_text(re.compile(r"hatched eggs, [1-9][\d\u202f]* fewer than the best"))


def _print_it(desk):
    expect(desk.get_by_role("heading", name="Change it by hand")).to_be_visible()
    desk.emulate_media(media="print")
    expect(desk.get_by_role("heading", name="Load sheet: 40 Slider females")).to_be_visible()
    expect(desk.get_by_role("heading", name="Change it by hand")).to_be_hidden()
    desk.emulate_media(media="screen")


def _make_the_tasks(desk, live_server):
    desk.get_by_role("button", name="Make these tasks: 15 to A, 25 to B (by hand)").click()
    desk.get_by_text("2 tasks made: females of Slider, 15 to A, 25 to B.").wait_for()
    assert list(Task.objects.order_by("pond__code").values_list("pond__code", "heads")) == [
        ("A", 15),
        ("B", 25),
    ]
    # Sent a second time, as by the Back button, it makes nothing twice.
    desk.go_back()
    desk.get_by_role("button", name="Make these tasks").click()
    desk.get_by_text("Nothing was made twice").wait_for()
    assert (Task.objects.count(), SavedPlacing.objects.count()) == (2, 1)
    desk.get_by_role("link", name="Load sheet").click()
    desk.get_by_role("heading", name="Load sheet: 40 Slider females from pond Q").wait_for()
    whole(desk).emulate_media(media="print")
    for size in ("A4", "Letter"):
        pages = re.findall(rb"/Type\s*/Page[^s]", desk.pdf(format=size))
        assert len(pages) == 1, size
    desk.emulate_media(media="screen")
    desk.goto(live_server.url + reverse("stock:placing-detail", args=[SavedPlacing.objects.get().key]))


def _bring_them(phone, live_server, code: str, heads: int):
    """Log at pond Q that so many went to a pond, from the plan's own link."""
    phone.goto(live_server.url + reverse("stock:placing-detail", args=[SavedPlacing.objects.get().key]))
    phone.get_by_role("row", name=re.compile(f"^{code}\\b")).get_by_role("link", name="Log it").tap()
    phone.wait_for_url("**/log/**")
    phone.get_by_role("radio", name="seine", exact=True).check()
    row = phone.get_by_role("group", name="Slider females")
    row.get_by_label("Moved").fill(str(heads))
    row.get_by_label("To pond").select_option(code)
    phone.get_by_role("button", name="Post it").tap()
    phone.get_by_text("Booked. If something is wrong").wait_for()
