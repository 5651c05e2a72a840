"""The frame in a real browser: sizes, reflow, focus, the small script, print."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser import frame_pages

SMALL = """least => [...document.querySelectorAll(
    "a, button, summary, select, textarea, input:not([type=hidden])")].filter(
    element => element.checkVisibility() && !element.closest("p, .skip") && !element.matches(".skip")
).map(element => {
    // A tick box is hit through its label as well, so the label's height counts.
    const hit = element.matches("[type=checkbox], [type=radio]") ? element.closest("label, .check") : element;
    const box = hit.getBoundingClientRect();
    return [element.outerHTML.slice(0, 80), Math.round(box.width), Math.round(box.height)];
}).filter(([, width, height]) => height < least || width < 24)"""


@pytest.fixture
def frame(owner_page, live_server, settings):
    """Return a function that opens a page of the frame at a width."""
    settings.ROOT_URLCONF = frame_pages.__name__

    def opened(name, width=390, height=800):
        owner_page.set_viewport_size({"width": width, "height": height})
        owner_page.goto(f"{live_server.url}/frame/{name}/")
        return owner_page

    return opened


@pytest.mark.parametrize("width", [320, 360, 390, 768, 1280])
@pytest.mark.parametrize("name", ["form", "list"])
def test_nothing_runs_off_the_side(frame, name, width):
    page = frame(name, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("name", "least"), [("form", 56), ("list", 44)])
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_controls_are_as_tall_as_a_finger_or_a_glove(frame, name, least, width):
    page = frame(name, width)
    if name == "list":
        # The link in a cell is text; its row is not a control.
        page.evaluate("document.querySelectorAll('tbody a').forEach(link => link.remove())")
    assert page.evaluate(SMALL, least) == []


def test_problems_take_the_focus_and_lead_to_the_control(frame):
    page = frame("form")
    page.get_by_role("button", name="Book it").click()
    expect(page).to_have_title(re.compile("^Error: "))
    expect(page.locator(".problems")).to_be_focused()
    page.get_by_role("link", name="Caught: This field is required.").click()
    expect(page).to_have_url(re.compile("#id_caught_0$"))


def test_the_sticky_bar_does_not_hide_what_has_the_focus(frame):
    page = frame("form", 390, 600)
    page.keyboard.press("Tab")
    seen = 0
    for _ in range(20):
        hidden = page.evaluate(
            """() => {
            const focused = document.activeElement, bar = document.querySelector(".bank-bar");
            if (focused === document.body || bar.contains(focused)) return null;
            return focused.getBoundingClientRect().top >= bar.getBoundingClientRect().top;
        }"""
        )
        assert hidden is not True, page.evaluate("document.activeElement.outerHTML")
        seen += hidden is False
        page.keyboard.press("Tab")
    assert seen > 5


def test_rows_are_added_up_to_the_most(frame):
    page = frame("form")
    add = page.get_by_role("button", name="Add a row")
    add.click()
    expect(page.locator("[name=form-1-heads]")).to_be_focused()
    page.keyboard.type("12")
    add.click()
    expect(add).to_be_hidden()
    expect(page.locator(".row > legend")).to_have_text(["Row 1", "Row 2", "Row 3"])
    frame_pages.sent.clear()
    page.get_by_role("button", name="Book it").click()
    page.wait_for_selector(".problems")
    (posted,) = frame_pages.sent
    assert (posted["form-TOTAL_FORMS"], posted["form-1-heads"]) == ("3", "12")


def test_a_form_is_sent_once_for_two_presses_and_keeps_the_button_name(frame):
    page = frame("form")
    frame_pages.sent.clear()
    page.evaluate(
        "const button = document.querySelector('.bank-bar button'); button.click(); button.click();"
    )
    page.wait_for_selector(".problems")
    (posted,) = frame_pages.sent
    assert posted["done"] == "yes"


def test_a_page_shown_for_the_first_time_keeps_the_locks_and_one_come_back_to_loses_them(frame):
    page = frame("form")
    locked = page.evaluate(
        """() => {
        const button = document.querySelector(".bank-bar button"), states = [];
        const note = () => states.push(button.getAttribute("aria-disabled") === "true");
        addEventListener("submit", (event) => event.preventDefault());
        note();
        button.click();
        note();
        for (const persisted of [false, true]) {
            dispatchEvent(new PageTransitionEvent("pageshow", { persisted }));
            note();
        }
        return states;
    }"""
    )
    assert locked == [False, True, True, False]


@pytest.fixture
def late_script(owner_page, live_server, settings):
    """A list at a phone's width whose script comes when the returned function is called."""
    settings.ROOT_URLCONF = frame_pages.__name__
    held = []
    owner_page.route("**/app.js*", lambda route: held.append(route))
    owner_page.set_viewport_size({"width": 390, "height": 800})
    owner_page.goto(f"{live_server.url}/frame/list/", wait_until="commit")

    def let_it_come():
        owner_page.wait_for_function("() => document.querySelector('.print-foot, tfoot, .chart')")
        held[0].continue_()
        owner_page.wait_for_load_state()

    return let_it_come


def test_a_script_that_comes_late_does_not_fold_what_is_typed_into(owner_page, late_script):
    box = owner_page.locator("#id_q")
    box.fill("P")
    late_script()
    expect(box).to_be_visible()
    expect(box).to_be_focused()


def test_a_script_that_comes_late_folds_what_nobody_touched(owner_page, late_script):
    expect(owner_page.locator("#id_q")).to_be_visible()
    late_script()
    expect(owner_page.locator("#id_q")).to_be_hidden()


def test_the_slash_key_goes_to_the_search_box_until_switched_off(frame):
    page = frame("list")
    page.keyboard.press("/")
    expect(page.locator("#id_q")).to_be_focused()
    page.keyboard.press("/")
    expect(page.locator("#id_q")).to_have_value("/")
    page.evaluate("localStorage.setItem('shortcuts', 'off'); document.activeElement.blur()")
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement === document.body")


def test_a_phone_shows_each_row_as_a_card_with_words(frame):
    page = frame("list", 360)
    cell = page.locator("td[data-label=Females]").nth(1)
    assert cell.evaluate("cell => getComputedStyle(cell, '::before').content") == '"Females"'
    assert cell.evaluate("cell => getComputedStyle(cell).display") == "flex"
    expect(page.get_by_role("table", name="Ponds")).to_have_count(1)
    expect(page.get_by_role("rowheader", name="P1")).to_have_count(1)
    expect(page.get_by_role("link", name="Females")).to_be_visible()


def test_print_leaves_the_frame_off_and_opens_the_figures(frame):
    page = frame("list", 1280)
    for part in (".site", ".filters"):
        expect(page.locator(part)).to_be_visible()
    expect(page.locator(".same-figures table")).to_be_hidden()
    page.emulate_media(media="print")
    for part in (".site", ".filters"):
        expect(page.locator(part)).to_be_hidden()
    expect(page.locator(".same-figures table")).to_be_visible()
    assert (
        page.locator(".scroll table").first.evaluate("table => getComputedStyle(table.tHead).display")
        == "table-header-group"
    )


def test_the_page_works_in_forced_colors_and_in_the_dark(frame):
    page = frame("list", 1280)
    page.emulate_media(color_scheme="dark")
    expect(page.locator("body")).to_have_css("background-color", "rgb(17, 21, 18)")
    page.emulate_media(color_scheme="light", forced_colors="active")
    assert page.locator(".chart .line").evaluate("line => getComputedStyle(line).stroke") != "none"
