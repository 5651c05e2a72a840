"""The day something was signed, closed or cancelled on is the farm's, on its pages as on its prints."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.urls import reverse

from stock import append_only, ledger
from stock.models import MonthClose, PlacingEnd, PondReview
from tests.pages.hand_worked import MAY, TODAY, make_farm
from tests.pages.test_extract import text_of
from tests.pages.test_new_females import farm, words  # noqa: F401
from tests.pages.test_saved_placings import open_again, save

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

# 20:00 on 30 June on a farm in Chicago is 1 July in UTC.
LATE = dt.datetime(2024, 7, 1, 1, 0, tzinfo=dt.UTC)


def recorded_late(model, field: str) -> None:
    append_only.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {model._meta.db_table} SET {field} = %s", [LATE])
    append_only.install(connection)


def test_a_month_signed_and_closed_late_in_the_evening(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    make_farm(owner.user)
    month, pond = (
        reverse("stock:review", args=["2024-05"]),
        reverse("stock:review-pond", args=["2024-05", "A"]),
    )
    assert owner.post(f"{pond}sign/", {"key": uuid.uuid4(), "words": "Seen."}).status_code == 303
    for closed in (dt.date(2024, 4, 1), MAY):
        ledger.close_month(closed, by=owner.user, today=TODAY)
    recorded_late(PondReview, "recorded_at")
    recorded_late(MonthClose, "closed_at")
    assert words(owner.get(pond)).count("Signed by owner on 30 Jun 2024.") == 2
    assert "Closed by owner on 30 Jun 2024" in words(owner.get(month))
    assert "1 Jul 2024" not in words(owner.get("/months/")).split("<table")[1]
    assert words(owner.get("/months/")).count("30 Jun 2024") == 2
    said = text_of(owner.get(month, {"as": "pdf"}).content)
    assert "closed by owner on 30 Jun 2024" in said
    assert "owner on 30 Jun 2024" in said.split("Pond A: May 2024")[1]


def test_a_plan_cancelled_late_in_the_evening(owner, farm):  # noqa: F811
    placing = save(owner, heads=150)
    cancel = reverse("stock:placing-cancel", args=[placing.key])
    assert owner.post(cancel, {"why": "The truck broke down."}).status_code == 303
    recorded_late(PlacingEnd, "recorded_at")
    assert "Cancelled on 30 Jun 2024 by owner." in words(open_again(owner, placing))
