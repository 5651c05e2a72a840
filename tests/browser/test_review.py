"""A month reviewed, decided, signed and closed at the desk; what is logged of it later lands on the first open day.

And what is printed: a pond's page is one page of paper, in Chromium's own print.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import expect

from stock.models import MonthClose, Move, PondReview, Task
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db(transaction=True)


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


@pytest.fixture
def farm(owner):
    """Three ponds opened in the month before this one; A has too many males."""
    farm = FarmOfPonds(owner.user)
    days = (farm.today - farm.today.replace(day=1)).days + 10
    for code, females in (("A", 190), ("B", 300), ("C", 270)):
        farm.pond(code, days=days, females=females, males=100, how_known="DRAINED")
    farm.month = farm.ago(days).replace(day=1)
    return farm


def test_a_month_is_reviewed_signed_closed_and_a_late_death_lands_on_the_first_open_day(
    farm, owner_page, phone_page, hand, live_server
):
    desk, month = owner_page, farm.month
    desk.goto(live_server.url + reverse("stock:review", args=[f"{month:%Y-%m}"]))
    desk.get_by_role("link", name="Review pond A", exact=True).first.click()
    desk.get_by_role("link", name=re.compile("^Decide: take out")).first.click()
    desk.get_by_role("button", name="Make it a task").click()
    desk.get_by_role("heading", name="What is decided?").wait_for()
    task = Task.objects.get()
    assert (task.pond.code, task.of_class, task.review_month) == ("A", "MALE", month)
    for number, left in enumerate(("2 ponds to go.", "1 pond to go.", "Every pond is signed"), start=1):
        desk.get_by_label("What is decided here, and why").fill(f"Signed as number {number}.")
        desk.get_by_role("button", name=re.compile(f"^Sign {month:%B}")).click()
        desk.get_by_role("status").get_by_text(f"{month:%B %Y} is signed. {left}").wait_for()
    assert set(PondReview.objects.values_list("pond__code", flat=True)) == {"A", "B", "C"}
    desk.get_by_text("Every pond is signed.").first.wait_for()
    desk.get_by_role("link", name=f"Close {month:%B %Y}").click()
    desk.get_by_role("button", name=f"Close {month:%B %Y}").click()
    desk.wait_for_url("**" + reverse("stock:month-list"))
    assert MonthClose.objects.get().month == month
    _log_a_death_of_the_closed_month(phone_page, hand, live_server, farm)
    death = Move.objects.get(made_as="BANK")
    assert (death.happened_on, death.booked_on) == (farm.ago(farm.today.day + 4), farm.today.replace(day=1))
    desk.goto(live_server.url + reverse("stock:review", args=[f"{month:%Y-%m}"]))
    later = desk.locator("section[aria-labelledby=later]")
    expect(later).to_contain_text(re.compile("1 (Slider )?female died in B"))


def _log_a_death_of_the_closed_month(phone, hand, live_server, farm):
    phone.context.add_cookies(
        [
            {
                "name": settings.SESSION_COOKIE_NAME,
                "value": hand.cookies[settings.SESSION_COOKIE_NAME].value,
                "url": live_server.url,
            }
        ]
    )
    phone.goto(live_server.url + reverse("stock:log") + "?pond=B")
    day: dt.date = farm.ago(farm.today.day + 4)
    assert day >= farm.month
    phone.locator("[name=day]").fill(day.isoformat())
    phone.get_by_label("no haul: found or carried only").check()
    phone.get_by_role("group", name="Slider females").get_by_label(re.compile("^Dead")).fill("1")
    phone.get_by_role("button", name="Post it").click()
    phone.get_by_text(f"because {farm.month:%B %Y} is closed").wait_for()


def test_a_pond_of_four_kinds_is_printed_on_one_page_and_so_is_the_farm(farm, owner_page, live_server):
    from tests.factories import KindFactory

    pond = farm.pond("D", days=20, females=90, males=30)
    for code in ("snapper", "cooter", "musk"):
        kind = KindFactory(code=code, common_name=f"{code.capitalize()} of the slough")
        pond.kinds_allowed.add(kind)
        farm.opening("D", days=20, kind=code, females=120, males=40, unsexed=12, juveniles=30)
        farm.post(("FEMALE", "D", "DIED", 3), days=3, kind=code)
    kind = pond.kinds_allowed.get(code="musk")
    for heads in range(1, 6):
        task = Task(pond=pond, kind=kind, verb="TAKE_OUT", of_class="MALE", heads=heads)
        task.by, task.decided_on, task.why = farm.by, farm.today, "The ratio is low."
        task.save()
    for address in (reverse("stock:pond-detail", args=["D"]), reverse("stock:farm-picture")):
        owner_page.goto(live_server.url + address)
        for paper in ("Letter", "A4"):
            assert pages_of(owner_page.pdf(format=paper)) == 1, f"{address} on {paper}"
