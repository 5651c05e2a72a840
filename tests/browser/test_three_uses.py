"""The three uses as one thread: review a pond and decide, log it at the bank, ask where new females go."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from stock.drafts import BatchDraft
from stock.models import Move, Task
from stock.tasks import open_tasks
from tests.browser.whole_page import whole, width_of
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db(transaction=True)

DESK = {"width": 1280, "height": 900}
FORM = "[...new FormData(document.querySelector('form[data-log]'))]"
SEND = """old => {
    const form = document.createElement("form");
    form.method = "post";
    form.action = "/log/";
    for (const [name, value] of old) {
        const input = document.createElement("input");
        input.name = name;
        input.value = value;
        form.append(input);
    }
    document.body.append(form);
    form.submit();
}"""
PHRASE = "heron-willow-marble-otter-lantern"


@pytest.fixture
def farm(owner):
    """Pond A has too few females for its males; B and C stand in the band. All were bought and never counted."""
    farm = FarmOfPonds(owner.user)
    for code, females in (("B", 300), ("A", 190), ("C", 270)):
        farm.pond(code)
        farm.post(
            ("FEMALE", "BOUGHT", code, females, {"batch": code}),
            ("MALE", "BOUGHT", code, 100, {"batch": code}),
            days=300 + 365 * 4,
            batches=(BatchDraft(code, "BOUGHT", farm.ago(300 + 365 * 4)),),
        )
    return farm


def figures(page) -> dict[str, str]:
    """Return the figures that head a pond's page, by their words."""
    found = whole(page).locator("#main dl.figures-row > div").all()
    return {
        figure.locator("dt").inner_text().removesuffix(", by the book"): figure.locator("dd").inner_text()
        for figure in found
    }


def pond_page(page, live_server, code: str):
    page.goto(live_server.url + reverse("stock:pond-detail", args=[code]))
    return page


def test_the_three_uses_as_one_thread(farm, owner, page, phone_page, make_person, live_server):
    owner.user.set_password(PHRASE)
    owner.user.save()
    make_person("hand", "ibis", PHRASE)
    desk, phone = page, phone_page
    _review_pond_a_and_decide(desk, live_server)
    old_form, receipt = _log_the_seine(phone, live_server)
    _sending_it_again_posts_nothing(phone, old_form, receipt)
    _see_it_ticked(desk, live_server)
    _ask_where_new_females_go(desk)
    _undo_opens_the_task_again(phone)
    pond_page(desk, live_server, "A")
    expect(task_line(desk).locator(".tag")).to_have_text("open")
    assert figures(desk)["Males"] == "100"


def task_line(page):
    """Return the line of the decision on the pond's page."""
    return page.locator("section[aria-labelledby=tasks] li").filter(has_text="Take out 24 Slider males")


def _sign_in(page, name: str):
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PHRASE)
    page.get_by_role("button", name="Sign in").click()


def _review_pond_a_and_decide(desk, live_server):
    desk.set_viewport_size(DESK)
    desk.goto(live_server.url + reverse("stock:pond-list"))
    _sign_in(desk, "owner")
    worst = desk.get_by_role("table", name="Every pond").locator("tbody tr").first
    expect(worst).to_contain_text("short of females")
    worst.get_by_role("link").first.click()
    desk.get_by_role("heading", name="What stands in pond A?").wait_for()
    assert figures(desk) == {"Females": "190", "Males": "100", "Unsexed": "0", "Juveniles": "0"}
    expect(desk.get_by_text("1.90 : 1", exact=True).first).to_be_visible()
    # 190 females are in the band, 2.5 to 4.5, with at most 76 males: 24 of the 100 are to go.
    desk.get_by_role("link", name="Make it a task: take out 24 males").click()
    desk.get_by_role("button", name="Make it a task").click()
    desk.get_by_text("Take out 24 Slider males, pond A: a task now.").wait_for()
    assert [(task.pond, task.verb, task.heads) for task in open_tasks()] == [("A", "TAKE_OUT", 24)]
    desk.get_by_role("button", name="Sign out").click()
    desk.get_by_role("heading", name="Who is at the book?").wait_for()


def _log_the_seine(phone, live_server) -> tuple[list, str]:
    phone.goto(live_server.url + reverse("stock:log"))
    _sign_in(phone, "ibis")
    phone.get_by_role("link", name=re.compile(r"^A\b")).tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text("What came of it in pond A?")
    # The key of a log is made when the page's scripts run.
    _type_the_haul(whole(phone))
    assert width_of(phone) == 390
    old_form = phone.evaluate(FORM)
    before = Move.objects.count()
    phone.get_by_role("button", name="Post it").dblclick()
    phone.get_by_text("Booked. If something is wrong").wait_for()
    assert Move.objects.count() == before + 1, "Two presses of the button are one move."
    # The one that drowned is out of the pond as well.
    expect(phone.get_by_text("Take out 24 Slider males, pond A: 25 by this move")).to_be_visible()
    expect(phone.get_by_role("button", name="Undo")).to_be_visible()
    return old_form, phone.url


def _type_the_haul(phone):
    phone.get_by_role("checkbox", name="Take out 24 Slider males").check()
    phone.get_by_role("radio", name="seine", exact=True).check()
    phone.get_by_role("group", name="Slider females").get_by_label("Went back").fill("150")
    males = phone.get_by_role("group", name="Slider males")
    males.get_by_label("Went back").fill("60")
    males.get_by_label(re.compile("^Dead")).fill("1")
    males.get_by_text("Sold, culled, escaped").tap()
    males.get_by_label("Sold").fill("24")
    males.get_by_label("Cause of death").select_option("drowned in the net")
    expect(males.locator("[data-sum]")).to_have_text("85")
    phone.get_by_text("Buyer and papers of what was sold").tap()
    phone.get_by_role("textbox", name="Buyer", exact=True).fill("Gar Hole Turtle Company")


def _sending_it_again_posts_nothing(phone, old_form: list, receipt: str):
    moves = Move.objects.count()
    phone.reload()
    assert Move.objects.count() == moves
    # Whether going back shows the old form again is the browser's choice; sent again it is known by its key.
    phone.go_back()
    phone.evaluate(SEND, old_form)
    phone.get_by_text("This was posted already, once: here it is.").wait_for()
    expect(phone).to_have_url(receipt)
    assert Move.objects.count() == moves


def _see_it_ticked(desk, live_server):
    _sign_in(desk, "owner")
    desk.get_by_role("heading", name="How do the ponds stand?").wait_for()
    expect(desk.get_by_text("By ibis").first).to_be_visible()
    pond_page(desk, live_server, "A")
    # Of 100 males one drowned and 24 were sold, which leaves 190 females to 75 males.
    said = "Slider: 190 females, 75 males, 2.53 : 1; unsettled; ratio: in band by the book."
    expect(desk.get_by_text(said)).to_be_visible()
    assert (figures(desk)["Females"], figures(desk)["Males"]) == ("190", "75")
    expect(task_line(desk).locator(".tag")).to_have_text("done")
    expect(
        desk.get_by_text("24 Slider males sold from A; 1 male died in A (drowned in the net)")
    ).to_be_visible()


def _ask_where_new_females_go(desk):
    desk.get_by_role("navigation", name="Places").get_by_role("link", name="New females").click()
    desk.get_by_label("How many females").fill("40")
    desk.get_by_role("button", name="Where should they go?").click()
    # All three are in the band, where a female adds the same anywhere: the lowest ratios get them, until they meet.
    desk.get_by_text("40 females of Slider: 24 to A, 16 to C.").wait_for()
    reasons = desk.get_by_role("table", name="The reason for each pond").locator("tbody tr")
    expect(reasons.nth(0)).to_contain_text("190 females to 75 males (2.53 : 1) become 214 (2.85 : 1)")
    expect(reasons.nth(2)).to_contain_text(
        "B Ratio: in band by the book, 3.00 : 1. Gets none", use_inner_text=True
    )
    desk.get_by_role("button", name="Make these tasks: 24 to A, 16 to C").click()
    desk.get_by_text("2 tasks made: females of Slider, 24 to A, 16 to C.").wait_for()
    added = {task.pond: task for task in open_tasks() if task.verb == "ADD"}
    assert {code: task.heads for code, task in added.items()} == {"A": 24, "C": 16}
    assert all(task.why for task in added.values())


def _undo_opens_the_task_again(phone):
    assert Task.objects.get(verb="TAKE_OUT").pk not in {task.id for task in open_tasks()}
    phone.get_by_role("button", name="Undo").tap()
    phone.get_by_text("Taken back. The move and its reversal both stay in the book.").wait_for()
    assert Task.objects.get(verb="TAKE_OUT").pk in {task.id for task in open_tasks()}
