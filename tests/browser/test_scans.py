"""Forty scans in one burst by a reader that types and presses Enter, beside 5,000 tags that look alike."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from stock.check import differences
from stock.drafts import Line, MarkDraft
from stock.models import HaulTurtle, Mark, Move, Turtle
from tests.turtles.marked_farm import MarkedFarm, tag

pytestmark = pytest.mark.django_db(transaction=True)
SCANS, LOOK_ALIKES = 40, 5000
# Neighbors in number, as tags out of one box are: the last digits alone tell them apart.
DIGITS = [f"98511300740{number:04}" for number in range(9999)]


@pytest.fixture
def farm(hand):
    """Pond A with 60 females, 43 of them tagged; every other number of the box is in the register too."""
    farm = MarkedFarm(hand.user, females=60)
    chosen = [DIGITS[number * 117] for number in range(SCANS + 2)]
    marks = tuple(
        MarkDraft(f"+{number:03}", "slider", "FEMALE", "A", (tag(digits),))
        for number, digits in enumerate(chosen)
    )
    farm.post(2, pond="A", marks=marks)
    far = farm.register(3, tag(DIGITS[9990]), pond="B")
    others = [digits for digits in DIGITS[:9990] if digits not in set(chosen)][:LOOK_ALIKES]
    Mark.objects.bulk_create(
        Mark(turtle=far, kind=far.kind, form="TAG", family="iso", tag=digits, put_on_on=farm.day(3))
        for digits in others
    )
    by_tag = dict(Mark.objects.filter(tag__in=chosen).values_list("tag", "turtle"))
    dead = Turtle.objects.get(pk=by_tag[chosen[-1]])
    farm.post(4, Line("slider", "FEMALE", "A", "DIED", 1, turtles=(dead.code,)), pond="A")
    farm.chosen, farm.by_tag = chosen, by_tag
    return farm


def scan(page, digits):
    """Type as a reader does: the digits in one burst, then Enter."""
    page.keyboard.type(digits)
    page.keyboard.press("Enter")


def test_forty_scans_in_a_row_each_on_its_turtle_and_in_order(farm, hand_page, live_server):
    page = hand_page
    page.goto(live_server.url + reverse("stock:log") + "?pond=A")
    page.get_by_label("seine").check()
    page.get_by_label("Went back").first.fill("50")
    page.get_by_text("Scan who was in hand").click()
    page.locator("#id_scans").focus()
    # The pages of the Log are laid by beside it; from then on nothing is asked of the server while it is scanned, so
    # that no scan waits for an answer.
    page.wait_for_function("() => localStorage.getItem('log-laid-by')")
    asked_of_server: list[str] = []
    page.on("request", lambda request: asked_of_server.append(request.url))
    for place, digits in enumerate(farm.chosen[:SCANS]):
        scan(page, digits)
        if place == 7:
            scan(page, digits)  # held over the reader a second time
    # From another pond, never seen, and dead.
    for digits in (DIGITS[9990], DIGITS[9998], farm.chosen[-1]):
        scan(page, digits)
    typed = [*farm.chosen[:8], *farm.chosen[7:SCANS], DIGITS[9990], DIGITS[9998], farm.chosen[-1]]
    expect(page.locator("#id_scans")).to_have_value("".join(f"{digits}\n" for digits in typed))
    assert asked_of_server == []
    page.get_by_role("button", name="Post it").click()
    page.get_by_text("Is this right?").wait_for()
    asked = page.locator(".problems.ask li")
    for words in ("stands in pond B", "is on no turtle of the register", "was booked died before"):
        expect(asked.filter(has_text=words).first).to_be_visible()
    page.get_by_label("Yes, I counted that").check()
    page.locator(".problems.ask").get_by_role("button", name="Post it").click()
    page.get_by_text("Booked.").wait_for()
    page.get_by_text("was scanned more than once; it is counted once").wait_for()
    seen = list(HaulTurtle.objects.order_by("place").values_list("turtle", flat=True))
    assert seen[:SCANS] == [farm.by_tag[digits] for digits in farm.chosen[:SCANS]]
    assert len(seen) == SCANS + 2
    assert DIGITS[9998] in Move.objects.latest("pk").note
    assert differences() == []
    # A scan into the search box opens its turtle.
    page.goto(live_server.url + reverse("stock:turtle-list"))
    page.locator("#id_q").focus()
    scan(page, farm.chosen[3])
    page.wait_for_url(f"**/turtles/{farm.by_tag[farm.chosen[3]]}/")
