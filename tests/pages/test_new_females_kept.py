"""New females: what was typed stays when refused, and the watch is asked before tasks; bad days of a season."""

from __future__ import annotations

import math
import re
import uuid
from html import unescape

import pytest
from django.urls import reverse

from stock.models import SavedPlacing, Task
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db
PAGE, TASKS, SAVE = "/new-females/", "/new-females/tasks/", "/new-females/save/"


@pytest.fixture
def farm(owner):
    """Three ponds of sliders for a year and more, one death in each of the last months."""
    return FarmOfPonds.of_a_quiet_year(owner.user)


def words(response):
    return " ".join(unescape(response.content.decode()).split())


def asked(**more):
    return {"heads": "20", "kind": "slider", "pond-A": "12", "pond-B": "8"} | more


@pytest.mark.parametrize("heads", ["20000", "200000", "9999999999999"])
def test_one_figure_is_the_most_that_can_be_placed(owner, farm, heads):
    text = words(owner.get(PAGE, {"heads": heads, "kind": "slider"}))
    assert f"{heads} is more than 10 000, the most that can be placed at once." in text
    assert "100 000" not in text
    assert "a whole number from 1 to 10 000" in words(owner.get(PAGE, {"heads": "", "kind": "slider"}))
    text = words(owner.get(PAGE, asked(**{"pond-A": heads})))
    assert f"Pond A: {heads} is more than 10 000, the most that can be placed at once." in text
    assert f'value="{heads}"' in text
    assert "100 000" not in text


def test_a_plan_by_hand_waits_while_the_question_is_refused(owner, farm):
    page = owner.get(PAGE, asked(heads="many", **{"pond-B": "8 or so"}))
    text = words(page)
    assert "advice" not in page.context
    assert '<input type="hidden" name="pond-A" value="12">' in text
    assert '<input type="hidden" name="pond-B" value="8 or so">' in text
    # Mended, the same form shows the plan by hand with what was typed, and what is wrong in it.
    text = words(owner.get(PAGE, dict(page.context["kept_by_hand"]) | {"heads": "20", "kind": "slider"}))
    assert 'name="pond-A" id="id_pond-A" value="12"' in text
    assert 'name="pond-B" id="id_pond-B" value="8 or so"' in text
    assert "“8 or so” is not a whole number" in text


def test_a_plan_that_is_not_kept_keeps_its_heads_and_note(owner, farm):
    long = "x" * 301
    page = owner.post(SAVE, asked(key=str(uuid.uuid4()), note=long), follow=True)
    text = words(page)
    assert "The note has more than 300 characters. Shorten it." in text
    assert f'value="{long}"' in text
    assert 'name="pond-A" id="id_pond-A" value="12"' in text
    page = owner.post(SAVE, asked(heads="0", key=str(uuid.uuid4()), note="From the north."), follow=True)
    assert '<input type="hidden" name="pond-A" value="12">' in words(page)
    assert not SavedPlacing.objects.exists()


def test_no_task_is_made_where_the_watch_asks_to_stop_unless_it_is_for_later(owner, farm):
    plan = asked(key=str(uuid.uuid4()))
    assert "It is for later" not in words(owner.get(PAGE, asked()))
    farm.post(("FEMALE", "B", "DIED", 15), days=1)
    text = words(owner.get(PAGE, asked()))
    assert "The watch, pond B:" in text
    assert "It is for later: after the veterinarian has been and the signal is noted." in text
    # On the load sheet too.
    assert "Pond B: the watch asks to stop all moves in and out. Only after the veterinarian has been" in text
    refused = words(owner.post(TASKS, plan, follow=True))
    assert (
        "No task was made. The watch asks to stop all moves of pond B. Say below that it is for later"
        in refused
    )
    assert (Task.objects.count(), SavedPlacing.objects.count()) == (0, 0)
    # A plan may be saved all the same; its tasks ask again, and so does its load sheet.
    owner.post(SAVE, plan)
    saved = SavedPlacing.objects.get()
    here = reverse("stock:placing-detail", args=[saved.key])
    assert "The watch, pond B:" in words(owner.get(here))
    sheet = words(owner.get(reverse("stock:placing-sheet", args=[saved.key])))
    assert "Pond B: the watch asks to stop all moves in and out." in sheet
    make = reverse("stock:placing-tasks", args=[saved.key])
    assert "No task was made. The watch asks to stop all moves of pond B." in words(
        owner.post(make, follow=True)
    )
    assert not Task.objects.exists()
    owner.post(make, {"in_spite": "yes"})
    assert sorted(Task.objects.values_list("pond__code", "heads")) == [("A", 12), ("B", 8)]
    # A plan that leaves the pond out asks nothing.
    other = asked(**{"pond-A": "12", "pond-B": "", "pond-C": "8", "key": str(uuid.uuid4()), "second": "yes"})
    owner.post(TASKS, other)
    assert Task.objects.filter(pond__code="C", heads=8).exists()


@pytest.mark.parametrize("page", ["/season/hatchery/", "/season/A/slider/"])
@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("on=yesterday", "This is not a day; write it as year-month-day, such as 2026-05-31."),
        ("on=2999-01-01", "1 Jan 2999 is after today"),
        ("on=1985-01-01", "1 Jan 1985 is before any book."),
        ("season=1800", "“1800” is not in the list."),
    ],
)
def test_a_bad_day_in_the_address_is_said(owner, farm, page, query, sentence):
    answer = owner.get(f"{page}?{query}")
    assert answer.status_code == 200
    text = words(answer)
    assert sentence in text
    assert "Below is season" in text
    assert "The address asks for" not in words(owner.get(page))


def test_new_females_and_the_ponds_own_page_let_the_same_males_leave(owner, farm):
    codes = [f"P{letter}" for letter in "ABCDEFGH"]
    for nth, code in enumerate(codes):
        farm.pond(code, days=300, females=300 + nth, males=250 + nth)
    page = owner.get(PAGE, {"heads": "20", "kind": "slider"})
    rows = {row.pond.code: row for row in page.context["rows"]}
    of_whole_heads = []
    for code in codes:
        row = rows[code]
        leaving = int(re.match(r".*: (\d+) males must leave", row.pond.obstacles[0].sentence)[1])
        assert row.males_leaving == leaving
        text = words(owner.get(reverse("stock:pond-detail", args=[code])))
        assert f"{leaving} males leave first, before any female comes." in text
        facts = row.pond.facts
        of_whole_heads.append(math.ceil(facts.males_now - facts.females_now / 1.5) == leaving)
    # The standing's own figures decide: of whole heads some would come out another.
    assert not all(of_whole_heads)
