"""The watch in a browser: from Today to the signal, noted by keyboard, quiet afterwards."""

import pytest
from playwright.sync_api import expect

from tests.browser.whole_page import width_of
from tests.pages.farm_of_ponds import FarmOfPonds


@pytest.mark.parametrize("width", [390])
def test_a_signal_is_read_and_noted_on_a_phone(owner_page, live_server, django_user_model, width):
    farm = FarmOfPonds(django_user_model.objects.first())
    for code in "AB":
        farm.pond(code, days=300, females=300, males=100)
    farm.post(("FEMALE", "B", "DIED", 18), days=1)
    owner_page.set_viewport_size({"width": width, "height": 800})
    owner_page.goto(f"{live_server.url}/")
    owner_page.get_by_role("link", name="See why").first.click()
    expect(owner_page.get_by_role("heading", name="Pond B, Slider")).to_be_in_viewport()
    assert width_of(owner_page) <= width
    owner_page.get_by_text("It was looked into").press("Enter")
    owner_page.get_by_label("What did you find or do?").fill("Otter; trap set, vet called.")
    owner_page.get_by_role("button", name="Keep the note").press("Enter")
    expect(owner_page.get_by_text("Looked into, and not grown since")).to_be_visible()
    expect(owner_page.get_by_text("Otter; trap set, vet called.").first).to_be_visible()
