"""The season on a desktop and a phone: see who falls behind, open a figure, look at the hatchery."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.browser.whole_page import width_of
from tests.pages.test_season import clock, farm  # noqa: F401

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.usefixtures("farm")
def test_from_the_pond_that_falls_behind_to_its_figures_and_the_hatchery(owner_page, live_server):
    page = owner_page
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 844})
        page.goto(live_server.url + reverse("stock:season"))
        page.get_by_role("heading", name="Which ponds fall behind?", exact=True).wait_for()
        assert width_of(page) == width
        page.get_by_role("link", name="See its figures").click()
        page.get_by_text("It falls behind the other ponds.").wait_for()
        page.get_by_role("heading", name="Nests a settled female").wait_for()
        assert width_of(page) == width
        page.goto(live_server.url + reverse("stock:season-shelf"))
        page.get_by_role("heading", name="By week and kind").wait_for()
        assert width_of(page) == width
