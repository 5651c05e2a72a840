"""A nest of the nest book linked to the marked female that dug it, and taken back."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from ponds.models import NestDay
from stock import turtle_book
from stock.drafts import SexDraft
from stock.models import NestOfTurtle
from stock.refusals import LedgerRefusal
from tests.turtles.one_turtle import TODAY, marked_turtle

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]


def test_a_nest_is_linked_once_shown_and_taken_back(hand):
    turtle = marked_turtle(hand.user)
    pond = turtle.cell.pond
    dug_on = dt.date(2024, 6, 2)
    nests = NestDay.objects.create(pond=pond, kind=turtle.kind, dug_on=dug_on, nests=1, by=hand.user)
    page = reverse("stock:turtle-nest", args=[turtle.pk])
    assert f"2024-06-02, pond {pond.code}: 1 of 1 not linked" in hand.get(page).content.decode()

    typed = {"key": str(uuid.uuid4()), "nest": str(nests.pk), "eggs": "many"}
    wrong = hand.post(page, typed)
    assert wrong.status_code == 422
    assert "“many” is no number of eggs" in wrong.content.decode()
    for _ in range(2):  # sent twice by mistake
        assert hand.post(page, {**typed, "eggs": "11"}).status_code == 303
    link = NestOfTurtle.objects.get()
    assert (link.turtle, link.nest_day, link.eggs, link.by) == (turtle, nests, 11, hand.user)
    assert "11 eggs" in hand.get(reverse("stock:turtle", args=[turtle.pk])).content.decode()
    assert turtle_book.link_nest(turtle, nests, by=hand.user, key=link.key) == link
    with pytest.raises(LedgerRefusal, match="All 1 nests of that row have their females"):
        turtle_book.link_nest(turtle, nests, by=hand.user)
    male = {"day": TODAY, "by": hand.user, "today": TODAY}
    with pytest.raises(LedgerRefusal, match="so she is a female"):
        turtle_book.note_sex(turtle, SexDraft("MALE", "TAIL_VENT"), **male)

    away = reverse("stock:turtle-take-back", args=[turtle.pk, "nest", link.key])
    assert "it stays in the nest book" in hand.get(away).content.decode()
    assert hand.post(away, {"key": str(uuid.uuid4())}).status_code == 303
    assert not NestOfTurtle.objects.standing().exists()
    turtle_book.note_sex(turtle, SexDraft("MALE", "TAIL_VENT"), **male)
    with pytest.raises(LedgerRefusal, match="is a male by the register"):
        turtle_book.link_nest(turtle, nests, by=hand.user)
