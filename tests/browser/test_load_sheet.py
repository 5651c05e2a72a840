"""The load sheet of sixty stops: printed over several pages, each with its header, and read on a phone."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from ponds.farm import the_farm
from stock import ledger
from stock.drafts import BatchDraft, Draft, Line
from stock.models import SavedPlacing
from tests.browser.whole_page import resize, width_of
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db(transaction=True)
PONDS, FEMALES = 60, 400


@pytest.fixture
def plan(owner):
    """A saved plan by hand: 400 females over 60 ponds, six or seven to each."""
    slider = KindFactory(code="slider", common_name="Red-eared slider", listing="CITES Appendix II")
    today = the_farm().today()
    day, drafts, by_hand = today - dt.timedelta(days=500), [], {}
    for nth in range(PONDS):
        pond = PondFactory(name=f"Old Levee {nth}", head_limit=600, kinds=[slider])
        batch = BatchDraft(f"B-{pond.code}", "OPENING", day)
        lines = tuple(
            Line("slider", of_class, "OPENING", pond.code, heads, batch=batch.code)
            for of_class, heads in (("FEMALE", 250), ("MALE", 100))
        )
        drafts.append(Draft(uuid.uuid4(), day, lines, made_as="OPENING", pond=pond.code, batches=(batch,)))
        by_hand[f"pond-{pond.code}"] = str(7 if nth < FEMALES - 6 * PONDS else 6)
    ledger.record_all(drafts, by=owner.user, today=today)
    key = uuid.uuid4()
    asked = {"heads": str(FEMALES), "kind": "slider", "key": str(key), **by_hand}
    assert owner.post(reverse("stock:new-females-save"), asked).url == reverse(
        "stock:placing-detail", args=[key]
    )
    return SavedPlacing.objects.get(key=key)


def number_of(text: str) -> int:
    return int(re.sub(r"\D", "", text))


def test_sixty_stops_are_printed_and_read_on_a_phone(reader_page, plan, live_server):
    page = reader_page
    page.goto(live_server.url + reverse("stock:placing-sheet", args=[plan.key]))
    page.get_by_role("heading", name="Load sheet: 400 Red-eared slider females").wait_for()
    table = page.locator("table.load")
    brought = [number_of(text) for text in table.locator("tbody td.bring strong").all_inner_texts()]
    assert len(brought) == PONDS
    assert sum(brought) == FEMALES == number_of(table.locator("tfoot .bring").inner_text())
    expect(table.locator("tfoot")).to_contain_text("All, 60 stops")

    page.emulate_media(media="print")
    heading, total = table.locator("thead"), table.locator("tfoot")
    assert heading.evaluate("(part) => getComputedStyle(part).display") == "table-header-group"
    # The total stands once, after the last stop, not at the foot of every page.
    assert total.evaluate("(part) => getComputedStyle(part).display") == "table-row-group"
    assert table.locator("tbody tr").first.evaluate("(row) => getComputedStyle(row).breakInside") == "avoid"
    for size in ("A4", "Letter"):
        pages = re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=size))
        assert 2 <= len(pages) <= 5, (size, len(pages))
    page.emulate_media(media="screen")

    resize(page, 390, 844)
    assert width_of(page) == 390
    # On a phone each stop is a card: the heads and what the pond takes lie inside the screen.
    for cell in (table.locator("tbody td.bring").first, table.locator("tbody td.takes").first):
        box = cell.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
