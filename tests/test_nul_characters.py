"""A NUL (code 0) is no text and PostgreSQL takes none: every address answers it with a page, never with a 500."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from tests.address_rows import ROWS
from tests.page_rules import page_faults

pytestmark = pytest.mark.django_db

NUL = "a\0b"
CODED = {"code", "name"}
TYPED = [
    "batch",
    "batch-code",
    "batch-source",
    "batch-party",
    "batch-note",
    "code",
    "common_name",
    "cause",
    "day",
    "dug_on",
    "due_on",
    "document",
    "eggs",
    "effort",
    "farm",
    "head-day",
    "head-note",
    "how",
    "kind",
    "kind_code",
    "kinds",
    "licence",
    "listing",
    "location",
    "lines-0-kind",
    "lines-0-batch",
    "lines-0-heads",
    "lines-0-source",
    "lines-0-target",
    "move",
    "name",
    "nests",
    "next",
    "note",
    "of_class",
    "party",
    "pond",
    "ponds",
    "rows-0-kind",
    "baskets-0-pond",
    "baskets-0-eggs",
    "basket",
    "clutches",
    "incubator",
    "probe",
    "temperature",
    "rows-0-of_class",
    "rows-0-back",
    "rows-0-target",
    "sale-party",
    "sex",
    "state",
    "tasks",
    "verb",
    "water",
    "what",
    "why",
    "zone",
]
FORMSETS = {
    f"{prefix}-{name}": number
    for prefix in ("rows", "arrivals", "lines", "figures", "baskets")
    for name, number in (("TOTAL_FORMS", "1"), ("INITIAL_FORMS", "0"))
}


def path_of(row) -> dict:
    return {key: made() if callable(made) else made for key, made in row.path.items()}


@pytest.mark.parametrize("row", [row for row in ROWS if CODED & set(row.path)], ids=lambda row: row.name)
def test_a_nul_in_the_path_leads_nowhere(owner, row):
    # Written by hand, as some of these paths would not even be made with a NUL.
    path = {key: "not-there" if key in CODED else value for key, value in path_of(row).items()}
    address = reverse(row.name, kwargs=path).replace("not-there", "a%00b")
    response = owner.get(address) if row.get else owner.post(address)
    assert response.status_code == 404
    assert "Where is that page?" in response.content.decode()
    assert page_faults(response) == []


@pytest.mark.parametrize("row", [row for row in ROWS if row.get], ids=lambda row: row.name)
def test_a_nul_in_the_query_is_not_understood(owner, row):
    asked = dict.fromkeys(("q", "pond", "batch", "like", "task", "next", "kind", "sort", "a\0"), NUL)
    response = owner.get(reverse(row.name, kwargs=path_of(row) or None), asked)
    assert response.status_code == 400
    assert "It could not be read, so nothing was changed." in response.content.decode()


@pytest.mark.parametrize("row", [row for row in ROWS if row.post], ids=lambda row: row.name)
def test_a_nul_in_any_field_gets_an_answer(owner, row):
    sent = {**dict.fromkeys(TYPED, NUL), **FORMSETS, "key": str(uuid.uuid4())}
    response = owner.post(reverse(row.name, kwargs=path_of(row) or None), sent)
    assert response.status_code in {200, 302, 303, 400, 404, 409, 422}


def test_the_batch_of_a_paper_is_looked_for_as_text(hand):
    assert hand.post(reverse("stock:paper-add"), {"batch": NUL}).status_code == 404
