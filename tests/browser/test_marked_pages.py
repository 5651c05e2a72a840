"""Pages about all marked turtles: scanned into at a desk, read on a phone, printed."""

import uuid

import pytest
from playwright.sync_api import expect

from stock import turtle_book, turtle_records
from stock.drafts import SexDraft
from stock.marks.measures import read_measure
from stock.models import Measure, Turtle
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def page(sign_in, hand, live_server):
    farm = MarkedFarm(hand.user)
    for number in range(2):
        turtle = farm.register(5, tag(f"98511300739000{number}"))
        turtle_book.note_sex(turtle, SexDraft("FEMALE"), day=farm.day(6), by=hand.user, today=TODAY)
        typed = [read_measure("SCL_MAX", "200"), read_measure("MASS", f"{900 + 820 * number} g")]
        turtle_records.record_measures(
            turtle, typed, measured_on=farm.day(6), key=uuid.uuid4(), by=hand.user, today=TODAY
        )
    farm.haul(8, "A", 10, turtle.code)
    return sign_in(hand)


def test_a_tag_scanned_at_the_desk_lands_in_the_search_box(page, live_server):
    page.goto(live_server.url + "/turtles/")
    page.keyboard.type("985113007390001")
    page.keyboard.press("Enter")
    page.wait_for_url("**/turtles/*/**")


def test_a_script_that_comes_late_does_not_take_the_keys_from_where_they_go(page, live_server):
    held = []
    page.route("**/app.js*", lambda route: held.append(route))
    page.goto(live_server.url + "/turtles/", wait_until="commit")
    other = page.get_by_role("link", name="Skip to the page")
    other.focus()
    expect(page.locator("[data-search-first]")).to_be_attached()
    held[0].continue_()
    page.wait_for_load_state()
    expect(other).to_be_focused()


def test_on_a_phone_the_search_box_is_unfolded_and_tables_are_cards(page, live_server):
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + "/turtles/")
    expect(page.locator("#id_q")).to_be_visible()
    expect(page.locator("#id_q")).not_to_be_focused()
    for address in ("/turtles/survival/", "/turtles/sizes/"):
        page.goto(live_server.url + address)
        expect(page.locator("table.cards").first).to_be_visible()
        wide = page.evaluate(
            "() => [...document.querySelectorAll('main, main *')]"
            ".filter((one) => one.getBoundingClientRect().right > 390).map((one) => one.outerHTML.slice(0, 80))"
        )
        assert wide == [], address


def test_the_drawings_of_the_schemes_are_printed(page, live_server):
    page.goto(live_server.url + "/turtles/schemes/")
    drawing = page.locator(".shell-drawing svg").first
    expect(drawing).to_be_attached()
    expect(drawing).to_be_hidden()
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    expect(drawing).to_be_visible()


def test_enter_in_a_field_asks_again_and_only_the_button_itself_answers(page, live_server, complaints):
    """Enter presses the first button of a form: that must not be the one that says it is so."""
    complaints.expected = ("422",)
    number = Turtle.objects.order_by("pk").first().pk
    page.goto(f"{live_server.url}/turtles/{number}/measure/")
    length = page.get_by_label("Straight carapace length, greatest")
    right = page.get_by_role("button", name="They are right: keep them")
    before = Measure.objects.count()
    length.fill("20")
    length.press("Enter")
    for _ in range(2):
        expect(right).to_be_visible()
        expect(length).to_have_value("20")
        page.evaluate("() => { document.body.dataset.seen = 'yes' }")
        length.press("Enter")
        # The answer is a new page, which asks again.
        expect(page.locator("body:not([data-seen])")).to_be_attached()
        expect(right).to_be_visible()
        assert Measure.objects.count() == before
    expect(page.get_by_role("button", name="Ask again")).to_have_count(0)
    right.click()
    expect(page.get_by_text("1 measure written.")).to_be_visible()
    assert Measure.objects.count() == before + 1
