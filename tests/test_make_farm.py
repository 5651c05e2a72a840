"""The made farm: of the size asked for, the same from the same seed, under the ledger's rules; never over another."""

import datetime as dt
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from ponds.farm import the_farm
from ponds.models import NestDay, Pond
from stock.check import differences
from stock.made_farm import KEPT, MadeFarm
from stock.models import Entry, Haul, MonthEnd, Move

LAST = dt.date(2026, 5, 31)


def test_the_same_seed_gives_the_same_farm_and_another_seed_another():
    def drafts(seed):
        return list(MadeFarm(ponds=12, moves=300, years=2, last=LAST, seed=seed).drafts())

    assert drafts(7) == drafts(7)
    assert drafts(7) != drafts(8)


def test_moves_come_oldest_first_and_stay_within_the_years():
    drafts = list(MadeFarm(ponds=12, moves=500, years=2, last=LAST, seed=1).drafts())
    days = [draft.happened_on for draft in drafts]
    assert len(drafts) == 500
    assert days == sorted(days)
    assert days[0] == dt.date(2024, 5, 31)
    assert days[-1] <= LAST
    assert len({draft.key for draft in drafts}) == 500


@pytest.mark.django_db
def test_the_command_makes_the_farm_through_the_ledger_with_progress(monkeypatch):
    monkeypatch.setattr("stock.management.commands.make_farm.MOVES_A_CHUNK", 250)
    said = StringIO()
    call_command("make_farm", ponds=30, moves=600, years=2, seed=3, stdout=said)

    assert (Pond.objects.count(), Move.objects.count()) == (30, 600)
    assert Pond.objects.filter(code__in=["A", "Z", "AD"]).count() == 3
    assert {"OPENING", "BOUGHT", "DIED", "SOLD", "MOVED", "SEXED"} <= set(
        Entry.objects.values_list("reason", flat=True)
    )
    assert not Entry.objects.filter(reason="BEYOND_BOOK").exists()
    assert Haul.objects.count() > 30
    assert MonthEnd.objects.filter(is_pond=True).count() > 300
    assert NestDay.objects.count() > 13 * 30
    assert differences() == []
    assert Move.objects.latest("happened_on").happened_on < the_farm().today()
    progress = [line for line in said.getvalue().splitlines() if "a second" in line]
    assert [int(line.split()[0]) for line in progress] == [250, 500, 600]
    assert Pond.objects.get(code="J").kinds_allowed.count() == len(KEPT[9])


@pytest.mark.django_db
def test_a_farm_that_stands_is_not_touched():
    Pond.objects.create(code="A", opened_on=dt.date(2020, 1, 1))
    with pytest.raises(CommandError, match="holds 1 ponds and 0 moves; nothing was touched"):
        call_command("make_farm", ponds=3, moves=10, years=1, stdout=StringIO())
    assert Pond.objects.count() == 1


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"ponds": 0}, "--ponds 0: give a whole number from 1 to 1,000"),
        ({"moves": -5}, "--moves -5"),
        ({"years": 61}, "--years 61"),
    ],
)
def test_a_size_that_cannot_be_is_refused(asked, words):
    with pytest.raises(CommandError, match=words):
        call_command("make_farm", **{"ponds": 3, "moves": 10, "years": 1} | asked, stdout=StringIO())
