"""A survey that changed since its page was opened: nothing unseen is accepted and nobody's change is wiped out."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from stock import ledger, survey_book
from stock.drafts import CatchLine, Draft, HaulDraft
from stock.models import Count, Haul, Survey
from stock.survey_book import SurveyDraft
from stock.surveys import read
from tests.page_rules import page_faults
from tests.pages.bank import make_farm, today
from tests.pages.survey_farm import ago, haul, survey
from tests.pages.test_surveys import accept_url, declining, sent, shown, words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def change(one: Survey, *hauls: int, **more) -> None:
    """Change what belongs to a survey, as somebody does who has just read it."""
    survey_book.change(one, SurveyDraft(hauls, **more), as_read=survey_book.as_it_is(one))


def test_figures_that_were_not_shown_are_not_accepted(owner):
    one = declining()
    asked = sent(one, owner, resets_book="on", reason="the book was a guess", method_reason="as ever")
    seen = owner.get(accept_url(one)).context["first"].figures.adults
    more = haul({"FEMALE": 9, "MALE": 5}, is_held_out=True)
    kept = tuple(row.haul_id for row in one.members.all())
    change(one, *kept, more.pk)
    response = owner.post(accept_url(one), asked)
    assert "The survey changed since you read it" in words(response)
    assert response.context["first"].figures.adults != seen
    assert not Count.objects.exists()
    form = response.context["form"]
    assert (form["reason"].value(), form["method_reason"].value()) == ("the book was a guess", "as ever")
    again = {**asked, "as_read": form["as_read"].value()}
    assert owner.post(accept_url(one), again).status_code == 303
    assert Count.objects.get().females == response.context["first"].figures.females


def test_marks_said_to_be_there_before_change_what_was_read_too(owner):
    first = haul({"UNSEXED": 109}, days=5, newly={"UNSEXED": 109})
    one = survey(first, haul({"UNSEXED": 177}, days=1, carrying={"UNSEXED": 57}))
    asked = sent(one, owner)
    kept = tuple(row.haul_id for row in one.members.all())
    change(one, *kept, marks_checked=(40, 3, 2))
    assert "The survey changed since you read it" in words(owner.post(accept_url(one), asked))
    assert not Count.objects.exists()


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(hand):
    first, second, third = (haul({"FEMALE": heads}) for heads in (20, 12, 7))
    one = survey(first, second)
    address = reverse("stock:survey-change", args=[one.pk])
    opened = hand.get(address).context["form"]["as_read"].value()
    change(one, first.pk, second.pk, third.pk, marked_before={("slider", "FEMALE"): 40})
    mine = {"key": str(uuid.uuid4()), "hauls": [first.pk, second.pk], "note": "mine", "as_read": opened}
    response = hand.post(address, mine)
    assert "Somebody changed this survey since you opened the page" in words(response)
    assert page_faults(response) == []
    assert {row.haul_id for row in one.members.all()} == {first.pk, second.pk, third.pk}
    form = response.context["form"]
    assert (form["note"].value(), form["hauls"].value()) == ("mine", [str(first.pk), str(second.pk)])
    again = {**mine, "as_read": form["as_read"].value()}
    assert hand.post(address, again).status_code == 303
    assert {row.haul_id for row in one.members.all()} == {first.pk, second.pk}
    # The same page sent twice finds its own change and is no clash.
    assert hand.post(address, again).status_code == 303
    assert Survey.objects.get().note == "mine"


def test_a_corrected_pass_keeps_its_place_in_the_day(owner):
    first, second, third = (haul({"UNSEXED": heads}, is_held_out=True) for heads in (54, 27, 12))
    one = survey(first, second, third)
    assert "in the order in which they were first logged" in shown(owner, one)
    wrong = first
    for heads in (56, 55):
        mended = HaulDraft("SEINE", (CatchLine("slider", "UNSEXED", heads),), is_held_out=True)
        draft = Draft(uuid.uuid4(), ago(3), pond="A", haul=mended)
        receipt = ledger.correct(wrong.move, draft, by=None, today=today())
        wrong = Haul.objects.get(move_id=receipt.move_id)
    change(one, wrong.pk, second.pk, third.pk)
    (reading,) = read(one)
    assert [catch.caught["UNSEXED"] for catch in reading.catches] == [55, 27, 12]
    assert reading.can_be_accepted


def test_hauls_of_different_days_need_no_word_on_their_order(owner):
    assert "first logged" not in shown(
        owner, survey(haul({"FEMALE": 9}, days=4), haul({"FEMALE": 5}, days=3))
    )
