"""A nest of the nest book linked to the marked female that dug it, and taken back."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from ponds import nest_book
from ponds.models import NestDay
from stock import turtle_book, turtle_nests
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
    assert f"2 Jun 2024, pond {pond.code}: 1 of 1 not linked" in hand.get(page).content.decode()

    typed = {"key": str(uuid.uuid4()), "nest": str(nests.pk), "eggs": "many"}
    wrong = hand.post(page, typed)
    assert wrong.status_code == 422
    assert "“many” is no number of eggs" in wrong.content.decode()
    for _ in range(2):  # sent twice by mistake
        assert hand.post(page, {**typed, "eggs": "11"}).status_code == 303
    link = NestOfTurtle.objects.get()
    assert (link.turtle, link.nest_day, link.eggs, link.by) == (turtle, nests, 11, hand.user)
    assert "11 eggs" in hand.get(reverse("stock:turtle", args=[turtle.pk])).content.decode()
    assert turtle_nests.link_nest(turtle, nests, by=hand.user, key=link.key, eggs=11) == link
    with pytest.raises(LedgerRefusal, match="All 1 nests of that row have their females"):
        turtle_nests.link_nest(turtle, nests, by=hand.user)
    male = {"day": TODAY, "by": hand.user, "today": TODAY}
    with pytest.raises(LedgerRefusal, match="so she is a female"):
        turtle_book.note_sex(turtle, SexDraft("MALE", "TAIL_VENT"), **male)

    away = reverse("stock:turtle-take-back", args=[turtle.pk, "nest", link.key])
    assert "it stays in the nest book" in hand.get(away).content.decode()
    assert hand.post(away, {"key": str(uuid.uuid4())}).status_code == 303
    assert not NestOfTurtle.objects.standing().exists()
    turtle_book.note_sex(turtle, SexDraft("MALE", "TAIL_VENT"), **male)
    with pytest.raises(LedgerRefusal, match="is a male by the register"):
        turtle_nests.link_nest(turtle, nests, by=hand.user)


def test_a_link_follows_the_row_that_was_corrected(hand, reader):
    """The book's row is replaced twice; the link is read through to what stands, and counts there."""
    turtle = marked_turtle(hand.user)
    pond, kind = turtle.cell.pond, turtle.kind
    row = NestDay.objects.create(pond=pond, kind=kind, dug_on=dt.date(2024, 6, 2), nests=2, by=hand.user)
    link = turtle_nests.link_nest(turtle, row, by=hand.user, eggs=9)
    first = row
    for day, nests in ((3, 3), (4, 1)):
        row = nest_book.replace(
            row=row, key=uuid.uuid4(), kind=kind, dug_on=dt.date(2024, 6, day), nests=nests, by=hand.user, today=TODAY
        )  # fmt: skip
    link.refresh_from_db()
    assert link.nest_day == first  # nothing was rewritten
    page = reverse("stock:turtle", args=[turtle.pk])
    shown = reader.get(page).content.decode()
    assert f"4 Jun 2024, pond {pond.code}: 9 eggs" in shown
    assert "corrected in the nest book" in shown
    away = hand.get(reverse("stock:turtle-take-back", args=[turtle.pk, "nest", link.key])).content.decode()
    assert "Nest of 4 Jun 2024" in away
    book = reader.get(reverse("ponds:nest-list")).content.decode()
    assert f'Dug by <a href="{page}">turtle {turtle.pk}</a>' in book
    correct = hand.get(reverse("ponds:nest-correct", args=[row.key])).content.decode()
    assert f">turtle {turtle.pk}</a>" in correct

    # Its one nest has its female: the row that stands offers none, nor does one who comes by the old row.
    assert list(turtle_nests.free_nests(turtle)) == []
    with pytest.raises(LedgerRefusal, match="All 1 nests of that row have their females"):
        turtle_nests.link_nest(turtle, first, by=hand.user)
    assert turtle_nests.link_nest(turtle, row, by=hand.user, eggs=9, key=link.key) == link

    nest_book.take_back(row=row, key=uuid.uuid4(), by=hand.user, today=TODAY)
    assert "taken back in the nest book" in reader.get(page).content.decode()
    with pytest.raises(LedgerRefusal, match="was taken back in the nest book"):
        turtle_nests.link_nest(turtle, first, by=hand.user)
    assert "Dug by" not in reader.get(reverse("ponds:nest-list")).content.decode()


def test_nests_ask_the_same_of_the_database_however_often_they_were_corrected(
    hand, django_assert_num_queries
):
    turtle = marked_turtle(hand.user)
    for number in range(20):
        row = NestDay.objects.create(
            pond=turtle.cell.pond, kind=turtle.kind, dug_on=dt.date(2024, 6, 2), nests=1, by=hand.user
        )
        turtle_nests.link_nest(turtle, row, by=hand.user)
        for _ in range(number % 4):
            row = nest_book.replace(
                row=row, key=uuid.uuid4(), kind=turtle.kind, dug_on=row.dug_on, nests=1, by=hand.user, today=TODAY
            )  # fmt: skip
        if number in (0, 19):
            with django_assert_num_queries(3):
                assert len(turtle_nests.nests_of(turtle)) == number + 1
            with django_assert_num_queries(1):
                assert turtle_nests.females_of([row.pk]) == {row.pk: {turtle.pk: 1}}


def test_the_nest_page_asks_once_for_free_nests_however_many_links_were_corrected(
    hand, django_assert_num_queries, monkeypatch
):
    """Old corrections are followed in the database for the rows at hand, never gathered farm-wide."""
    turtle = marked_turtle(hand.user)
    made = {"pond": turtle.cell.pond, "kind": turtle.kind, "by": hand.user}

    def forbidden(rows):
        raise AssertionError("the whole book was read")

    monkeypatch.setattr(turtle_nests, "rows_now", forbidden)
    for number in range(30):
        row = first = NestDay.objects.create(dug_on=dt.date(2024, 6, 2), nests=3, **made)
        NestOfTurtle.objects.create(turtle=turtle, nest_day=first, by=hand.user)
        taken = NestOfTurtle.objects.create(turtle=turtle, nest_day=first, by=hand.user)
        NestOfTurtle.objects.create(turtle=turtle, nest_day=first, by=hand.user, replaces=taken, is_void=True)
        for nests in (2, 1 + number % 2):
            row = NestDay.objects.create(dug_on=dt.date(2024, 6, 3), nests=nests, replaces=row, **made)
        if number % 3 == 0 and number % 2:  # the second nest linked on the row that stands
            NestOfTurtle.objects.create(turtle=turtle, nest_day=row, by=hand.user)
        if number in (1, 29):
            with django_assert_num_queries(1):
                free = list(turtle_nests.free_nests(turtle)[:60])
            # By hand: odd rows hold two nests, one linked through the corrections; each third has none left.
            assert len(free) == len([one for one in range(number + 1) if one % 2 and one % 3])
            assert {row.linked for row in free} == {1}
            assert {row.nests for row in free} == {2}
