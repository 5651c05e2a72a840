"""Trying a move on a pond: figures now and then, the limit it breaks, and a task made of it; by keyboard."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from ponds.models import Pond
from stock.book import by_pond_and_kind
from stock.models import Entry, Move, Task
from tests.browser.whole_page import whole, width_of
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db(transaction=True)
PHONE, DESK = 390, 1280


@pytest.fixture
def farm(owner):
    """A was drained and counted today, 240 females to 100 males, limit 360; B has 500 females to 130 males."""
    built = FarmOfPonds(owner.user)
    built.drained("A", females=240, males=100)
    built.drained("B", females=500, males=130)
    Pond.objects.filter(code="A").update(head_limit=365)
    return built


def booked(farm):
    """Return all that a booking would change: moves, entries, and the book of every pond."""
    held = by_pond_and_kind(farm.today)
    return Move.objects.count(), Entry.objects.count(), {where: held[where] for where in sorted(held)}


def tab_to(page, wanted):
    """Press Tab until the control is reached, as somebody without a mouse does."""
    control = wanted.element_handle()
    whole(page)
    for _ in range(200):
        page.keyboard.press("Tab")
        if page.evaluate("(control) => document.activeElement === control", control):
            return
    pytest.fail(f"{wanted} is not reached by Tab.")


def write(page, label, text):
    tab_to(page, page.get_by_label(label).first)
    page.keyboard.press("Control+A")
    page.keyboard.type(text)


def row(page, name):
    """Return a table's row in one line."""
    # On a phone a table's rows are drawn as cards.
    found = page.locator("tr").filter(has=page.locator("th", has_text=name)).first.inner_text()
    return " ".join(found.replace("\u202f", " ").split())


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_twenty_females_are_tried_and_made_a_task_by_keyboard(owner_page, farm, live_server, width):
    page, before = owner_page, booked(farm)
    page.set_viewport_size({"width": width, "height": 844})
    page.goto(live_server.url + reverse("stock:pond-detail", args=["A"]))
    tab_to(page, page.get_by_role("link", name="What if…"))
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="What would moves do to pond A?").wait_for()
    write(page, "Females in", "20")
    tab_to(page, page.get_by_label("From").first)
    # One key: after a second without one a list begins anew, and a busy machine may take that long.
    page.keyboard.press("p")
    expect(page.get_by_label("From").first).to_have_value("B")
    tab_to(page, page.get_by_role("button", name="Try it"))
    page.keyboard.press("Enter")

    # The ratio, the verdict and the head limit, now and then: 240 and 260 females to 100 males.
    page.get_by_text(
        "2.40 : 1 becomes 2.60 : 1: in band, not short of females as now. Nothing is booked."
    ).wait_for()
    whole(page)
    now, then = row(page, "A, now"), row(page, "A, then")
    for told, line in (("240", now), ("2.40 : 1", now), ("340 of 365", now), ("short of females", now),
                       ("260", then), ("2.60 : 1", then), ("360 of 365", then), ("in band", then)):  # fmt: skip
        assert told in line, (told, line)
    assert "480" in row(page, "B, then")
    assert "over" not in then
    # The season: fewer or more eggs with limits, of both ponds, and once all are settled.
    page.get_by_text("The moves cost about").wait_for()
    season = row(page, "Hatched, all settled")
    assert season.count(" to ") == 2, season
    expect(page.get_by_role("region", name="Season of pond B")).to_be_visible()
    assert width_of(page) == width
    assert booked(farm) == before
    assert not Task.objects.exists()

    # Thirty are more than the limit holds, and that stands against it.
    write(page, "Females in", "30")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="What stands against it").wait_for()
    page.get_by_text("Pond A would hold 370 of its limit of 365: 5 too many.").wait_for()
    assert "over" in row(whole(page), "A, then")
    tab_to(page, page.get_by_role("button", name="Make these tasks"))
    page.keyboard.press("Enter")
    page.get_by_text("No task was made: something stands against these moves, see below.").wait_for()
    assert not Task.objects.exists()
    expect(page.get_by_label("Females in")).to_have_value("30")
    expect(page.get_by_label("From").first).to_have_value("B")
    # More than stand there cannot be tried at all, and what was typed stays.
    write(page, "Females in", "501")
    page.keyboard.press("Enter")
    page.get_by_role("alert").get_by_text("501 females would leave pond B, which holds 500").wait_for()
    expect(page.get_by_label("Females in")).to_have_value("501")

    write(page, "Females in", "20")
    page.keyboard.press("Enter")
    page.get_by_text("2.40 : 1 becomes 2.60 : 1").first.wait_for()
    tab_to(page, page.get_by_role("button", name="Make these tasks"))
    page.keyboard.press("Enter")
    page.get_by_text("2 tasks made, at A, B. Each opens the Log with its task ticked.").wait_for()
    assert list(
        Task.objects.order_by("pond__code").values_list("pond__code", "verb", "of_class", "heads")
    ) == [
        ("A", "ADD", "FEMALE", 20),
        ("B", "TAKE_OUT", "FEMALE", 20),
    ]
    assert booked(farm) == before
    assert width_of(page) == width


def test_a_reader_may_try_and_book_nothing(reader_page, farm, live_server):
    page, before = reader_page, booked(farm)
    page.set_viewport_size({"width": PHONE, "height": 844})
    page.goto(live_server.url + reverse("stock:what-if", args=["A"]) + "?males_out=10")
    page.get_by_text("2.40 : 1 becomes 2.67 : 1").wait_for()
    expect(whole(page).get_by_role("button", name="Make these tasks")).to_have_count(0)
    assert booked(farm) == before
