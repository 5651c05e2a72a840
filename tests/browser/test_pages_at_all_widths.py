"""Every page of the table of addresses, as its owner sees it, on a small phone, a phone and a desk.

The heights are our own measure for fingers and for gloves, 44 and 56 CSS pixels; the first is that of WCAG 2.2,
2.5.5 (https://www.w3.org/TR/WCAG22/#target-size-enhanced), which lets links in sentences and cells off.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Error

from tests import address_rows
from tests.address_rows import Row
from tests.browser.whole_page import resize

pytestmark = pytest.mark.django_db(transaction=True)

WIDTHS = {320: 640, 390: 844, 1280: 900}
BY_FINGER, IN_GLOVES = 44, 56
# A sheet to fill is a file, and the answer for the machine that watches is three words.
NOT_PAGES = {
    "ponds:lot-sheet",
    "ponds:sheet-template",
    "stock:log-send",
    "stock:log-worker",
    "stock:turtle-photo-file",
    "up",
}
MEASURE = """([finger, gloves]) => {
    const faults = [], least = document.body.classList.contains("bank") ? gloves : finger;
    const page = document.documentElement;
    if (page.scrollWidth > page.clientWidth) faults.push(`runs to ${page.scrollWidth} of ${page.clientWidth}`);
    const heads = document.querySelectorAll("h1").length;
    if (heads !== 1) faults.push(`${heads} headings of the first rank`);
    // Links in sentences, cells and facts are text.
    const TEXT = "p, td, tbody th, dd, main ul:not(.worst-first)";
    const controls = "a, button, summary, select, textarea, input:not([type=hidden])";
    for (const control of document.querySelectorAll(controls)) {
        const isText = control.matches("a:not(.button)") && control.closest(TEXT);
        if (!control.checkVisibility() || control.matches(".skip") || isText) continue;
        // A tick box is hit through its label as well.
        const hit = control.matches("[type=checkbox], [type=radio]") ? control.closest("label, .check") : control;
        const {width, height} = hit.getBoundingClientRect();
        if (height < least - 0.5 || width < 24) {
            faults.push(`${Math.round(width)} x ${Math.round(height)}: ${control.outerHTML.slice(0, 90)}`);
        }
    }
    return faults;
}"""


@pytest.fixture
def address_of(monkeypatch) -> Callable[[Row], str]:
    """Return a function from a row to its address, whose rows in the database are made once and shared."""
    made = {made for row in address_rows.ROWS for made in row.path.values() if callable(made)}
    for make in made | {address_rows.move_key}:
        monkeypatch.setattr(address_rows, make.__name__, functools.cache(make))

    def address(row: Row) -> str:
        path = {
            name: getattr(address_rows, value.__name__)() if callable(value) else value
            for name, value in row.path.items()
        }
        return reverse(row.name, kwargs=path or None)

    return address


def test_every_page_fits_and_can_be_hit(owner_page, live_server, address_of):
    page = owner_page
    rows = [row for row in address_rows.ROWS if "owner" in row.get and row.name not in NOT_PAGES]
    addresses = {row.name: address_of(row) for row in rows}
    faults = []
    for name, address in addresses.items():
        try:
            assert page.goto(live_server.url + address).ok, address
        except Error as error:
            # A file to keep has no width.
            if "Download is starting" not in str(error):
                raise
            continue
        for width, height in WIDTHS.items():
            resize(page, width, height)
            faults += [
                f"{name} at {width}: {fault}" for fault in page.evaluate(MEASURE, [BY_FINGER, IN_GLOVES])
            ]
    assert faults == []
    assert len(addresses) > 35
