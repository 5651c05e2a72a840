"""Tables as cards on a phone stay tables for a screen reader; charts print beside their figures, none over another."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter

import pytest
from django.urls import reverse

from tests.pages.farm_of_ponds import FarmOfPonds
from tests.pages.test_replacements import farm as farm_of_kinds

pytestmark = pytest.mark.django_db(transaction=True)
farm = farm_of_kinds
TABLE_ROLES = ("table", "row", "rowheader", "columnheader", "cell")
UNSAID = """() => [...document.querySelectorAll("table.cards, table.cards :is(thead, tbody, tfoot, tr, th, td)")]
    .filter((part) => !part.hasAttribute("role")).length"""
COLUMNS = """() => [...document.querySelectorAll("table.cards tbody tr")].map(
    (row) => [...row.cells].filter((cell) => cell.checkVisibility()).map((cell) => Number(cell.ariaColIndex)))"""
# A table that runs on in a second column has a box in each; neither may reach into the next or beyond the page.
OVERLAPS = """() => [...document.querySelectorAll(".same-figures .table")].flatMap((table) => {
    const boxes = [...table.tBodies[0].getClientRects()], edge = table.closest(".scroll").getBoundingClientRect().right;
    return boxes.filter((box, at) => box.right > (boxes[at + 1]?.left ?? edge) + 1).map(() => table.caption.innerText);
})"""
A4_BETWEEN_MARGINS = {"width": 680, "height": 960}


def told(page) -> Counter:
    """Return the roles of the accessibility tree that the browser hands to a screen reader."""
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    roles = Counter(node["role"]["value"] for node in tree if not node["ignored"])
    return Counter({role: roles[role] for role in TABLE_ROLES})


def test_cards_on_a_phone_are_told_as_the_table_they_are(owner, owner_page, live_server):
    ponds = FarmOfPonds.of_a_quiet_year(owner.user)
    month = ponds.today.replace(day=1) - dt.timedelta(days=1)
    owner_page.set_viewport_size({"width": 360, "height": 740})
    owner_page.goto(live_server.url + reverse("stock:review", args=[f"{month:%Y-%m}"]))
    owner_page.get_by_role("heading", level=1).wait_for()
    on_phone = told(owner_page)
    assert owner_page.evaluate(UNSAID) == 0
    # Empty cells are not shown as cards: what is shown says its own column.
    shown = owner_page.evaluate(COLUMNS)
    heads = owner_page.locator("table.cards thead th").count()
    assert len(shown) == 3
    assert all(columns == sorted(set(columns)) and columns[-1] <= heads for columns in shown)
    owner_page.set_viewport_size({"width": 1280, "height": 900})
    at_desk = told(owner_page)
    assert on_phone["table"] >= 1
    assert on_phone["row"] >= 4
    assert [on_phone[role] for role in ("table", "row", "rowheader")] == [
        at_desk[role] for role in ("table", "row", "rowheader")
    ]


def test_replacements_print_on_three_pages_with_every_figure(farm, owner_page, live_server):
    owner_page.goto(live_server.url + reverse("stock:replacements"))
    for paper in ("Letter", "A4"):
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", owner_page.pdf(format=paper))) <= 3, paper
    owner_page.emulate_media(media="print")
    owner_page.set_viewport_size(A4_BETWEEN_MARGINS)
    cells = owner_page.locator(".same-figures td")
    assert cells.count() > 60
    assert owner_page.evaluate(
        "() => [...document.querySelectorAll('.same-figures td')].every((cell) => cell.getClientRects().length > 0)"
    )
    assert owner_page.evaluate(OVERLAPS) == []
