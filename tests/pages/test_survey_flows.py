"""What came and went around a survey's hauls: other moves of a haul's day, and what lies long after."""

from __future__ import annotations

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stock import ledger
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line
from stock.models import Count, Haul
from stock.survey_flows import first_logged
from stock.surveys import read
from tests.page_rules import page_faults
from tests.pages.bank import make_farm, today
from tests.pages.survey_farm import ago, haul, passes, survey
from tests.pages.test_surveys import accept_url, sent, words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def buy(heads: int, *, days: int, code: str = "bought") -> None:
    lines = (Line("slider", "FEMALE", "BOUGHT", "A", heads, batch=code),)
    batch = BatchDraft(code, "BOUGHT", ago(days))
    draft = Draft(uuid.uuid4(), ago(days), lines, pond="A", batches=(batch,))
    ledger.record(draft, by=None, today=today())


def sell(heads: int, *, days: int) -> None:
    draft = Draft(uuid.uuid4(), ago(days), (Line("slider", "FEMALE", "A", "SOLD", heads),), pond="A")
    ledger.record(draft, by=None, today=today())


def counted(one) -> tuple[float, float]:
    """Return the heads as the first method reads them and as the count says them."""
    (reading,) = read(one)
    head = reading.reading.headline
    return head.total.value, reading.figures(head).adults


def test_what_came_in_the_morning_is_in_the_reading_already():
    buy(20, days=3)
    read_as, says = counted(survey(*passes((60, 24), (24, 9), (9, 3))))
    assert says == pytest.approx(read_as)


def test_what_came_in_the_evening_is_added_to_the_reading():
    hauls = passes((60, 24), (24, 9), (9, 3))
    buy(20, days=3)
    read_as, says = counted(survey(*hauls))
    assert says == pytest.approx(read_as + 20)


def test_what_was_sold_in_the_morning_is_not_taken_off_again():
    sell(15, days=3)
    hauls = passes((50, 24), (20, 9), (8, 3))
    sell(4, days=3)
    read_as, says = counted(survey(*hauls))
    assert says == pytest.approx(read_as - 4)


def test_what_came_before_the_first_haul_did_not_come_between():
    buy(20, days=5)
    first = haul({"FEMALE": 40, "MALE": 16}, days=5, is_held_out=True)
    buy(7, days=5, code="evening")
    one = survey(first, *passes((24, 9), (9, 3)))
    assert read(one)[0].moved_between == 7


def test_a_haul_corrected_later_still_came_before_the_evenings_moves():
    assert first_logged({5: None, 6: 5, 7: 6}) == {5: 5, 6: 5, 7: 5}
    hauls = passes((60, 24), (24, 9), (9, 3))
    buy(20, days=3)
    moves = [one.move for one in hauls]
    again = []
    for one, move in zip(hauls, moves, strict=True):
        draft = Draft(uuid.uuid4(), ago(3), pond="A", haul=_as_logged(one))
        receipt = ledger.correct(move, draft, by=None, today=today())
        again.append(Haul.objects.get(move_id=receipt.move_id))
    read_as, says = counted(survey(*again))
    assert says == pytest.approx(read_as + 20)


def test_what_lies_after_a_survey_is_summed_by_day():
    one = survey(*passes((60, 24), (24, 9), (9, 3)))
    for heads in (3, 4, 5):
        sell(heads, days=1)
    sell(6, days=0)
    (reading,) = read(one)
    assert sorted(flow.heads for flow in reading.flows if flow.day > ago(3)) == [-12, -6]
    assert reading.floor().females == 18
    with CaptureQueriesContext(connection) as few:
        read(one)
    for _ in range(5):
        sell(1, days=0)
    with CaptureQueriesContext(connection) as more:
        (reading,) = read(one)
    assert len(few) == len(more)
    assert len([flow for flow in reading.flows if flow.day > ago(3)]) == 2


def _as_logged(one: Haul) -> HaulDraft:
    lines = tuple(CatchLine("slider", line.of_class, line.caught) for line in one.lines.all())
    return HaulDraft(
        "SEINE", lines, effort=one.effort, effort_typed=one.effort_typed, is_held_out=one.is_held_out
    )


def test_an_owner_who_knows_the_hour_says_so_and_sees_the_figures_first(owner):
    buy(20, days=3)
    one = survey(*passes((60, 24), (24, 9), (9, 3)))
    page = owner.get(accept_url(one))
    assert page_faults(page) == []
    assert "20 females came (bought) by other moves than these hauls" in words(page)
    assert page.context["form"]["day_order"].value() == "BEFORE"
    before = page.context["first"].figures.adults
    asked = sent(one, owner, day_order="AFTER")
    shown = owner.post(accept_url(one), asked)
    assert "You chose another order of the day than the one shown" in words(shown)
    assert shown.context["first"].figures.adults == pytest.approx(before + 20)
    assert f"After the haul: the count says {before + 20:.0f} heads" in words(shown)
    assert not Count.objects.exists()
    again = {**asked, "as_read": shown.context["form"]["as_read"].value()}
    assert owner.post(accept_url(one), again).status_code == 303
    count = Count.objects.get()
    assert count.females + count.males == pytest.approx(before + 20)


def test_a_day_with_moves_on_both_sides_is_first_read_as_it_was_logged(owner):
    buy(20, days=3)
    hauls = passes((60, 24), (24, 9), (9, 3))
    sell(4, days=3)
    one = survey(*hauls)
    form = owner.get(accept_url(one)).context["form"]
    assert [code for code, _ in form.fields["day_order"].choices] == ["LOGGED", "BEFORE", "AFTER"]
    response = owner.post(accept_url(one), sent(one, owner, day_order="NOON"))
    assert "There is no order “NOON”. Choose one from the list." in words(response)
    response = owner.post(accept_url(one), sent(one, owner, day_order="LOGGED"))
    assert response.status_code == 303


def test_a_day_without_other_moves_asks_nothing(owner):
    one = survey(*passes((60, 24), (24, 9), (9, 3)))
    assert "day_order" not in owner.get(accept_url(one)).context["form"].fields
