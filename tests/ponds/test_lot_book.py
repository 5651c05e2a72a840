"""The hatch log's door: lots, baskets and counts are written, mended, taken back, and each refusal."""

import datetime as dt
import uuid
from dataclasses import replace

import pytest
from django.db import DatabaseError, connection, transaction

from ponds import lot_book
from ponds.lot_book import AlreadyMended, KeyUsed, NotYours
from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft, TemperatureDraft, next_code, read_code
from ponds.lot_state import CodeUsed, LotRefused, TooManyEggs, WrongDay, WrongPond
from ponds.lots import read_lot, read_lots
from ponds.models import Basket, Candling, EggLot, Hatch, NeverChanged
from ponds.units import measure
from tests.factories import KindFactory, PondFactory, UserFactory
from tests.ponds.lots import DUG_ON, SET_ON, TODAY, a_kind, a_lot, a_pond, draft

pytestmark = pytest.mark.django_db
CANDLED = dt.date(2023, 5, 16)
HATCHED = dt.date(2023, 7, 8)


def candle(lot, clear, dead=0, basket=None, **more):
    return lot_book.candle(
        lot=lot.first,
        key=more.pop("key", uuid.uuid4()),
        draft=CandlingDraft(more.pop("candled_on", CANDLED), clear, dead, basket),
        today=TODAY,
        **more,
    )


def hatch(lot, hatched, clear=0, dead=0, basket=None, **more):
    facts = {name: more.pop(name) for name in ("is_last", "hatched_on") if name in more}
    return lot_book.log_hatch(
        lot=lot.first,
        key=more.pop("key", uuid.uuid4()),
        draft=HatchDraft(
            facts.get("hatched_on", HATCHED), hatched, clear, dead, basket, facts.get("is_last", False)
        ),
        today=TODAY,
        **more,
    )


def test_a_lot_is_set_with_its_baskets_two_to_a_container():
    person = UserFactory(role="hand")
    state = a_lot(by=person)
    read = read_lot("2023-001")
    assert (read.row.by, read.row.temperature_mk, read.row.temperature_typed) == (person, 300_928, "82")
    assert [(one.number, one.eggs, one.container, one.pond.code) for one in read.baskets] == [
        (1, 18, 1, "A"),
        (2, 20, 1, "A"),
        (3, 16, 2, "A"),
    ]
    assert read.whole().eggs == state.whole().eggs == 54


def test_a_code_is_never_used_again_even_after_the_lot_was_taken_back():
    lot = a_lot()
    with pytest.raises(
        CodeUsed, match=r"2023-001 was set on 2 May 2023; a code is never used again.*2023-002"
    ):
        a_lot("2023-001")
    lot_book.take_back(row=lot.row, key=uuid.uuid4(), today=TODAY)
    assert read_lot("2023-001") is None
    with pytest.raises(CodeUsed, match="and was taken back; a code is never used again"):
        a_lot("2023-001")
    with pytest.raises(DatabaseError), transaction.atomic():
        EggLot(code="2023-001", kind=a_kind(), set_on=SET_ON).save()


def test_the_same_key_gives_the_first_lot_again_and_refuses_other_facts():
    asked = draft()
    first = lot_book.open_lot(asked, today=TODAY)
    again = lot_book.open_lot(asked, today=TODAY)
    assert again.first == first.first
    assert Basket.objects.count() == 3
    with pytest.raises(KeyUsed, match="sent before with other figures"):
        lot_book.open_lot(replace(asked, incubator="Room 2"), today=TODAY)


def test_codes_are_suggested_by_season_and_read_in_capitals():
    assert next_code(TODAY) == "2024-001"
    a_lot("2024-009")
    a_lot("2024-x")
    assert next_code(TODAY) == "2024-010"
    assert read_code(" r1-07 ") == "R1-07"


@pytest.mark.parametrize("code", ["", "new", "a b", "-1", "x" * 21, "2023/1", "ä"])
def test_a_code_that_no_address_can_hold_is_refused(code):
    with pytest.raises(LotRefused, match="code") as refused:
        read_code(code)
    assert refused.value.field == "code"


def test_counts_by_basket_and_of_the_whole_lot_never_come_to_more_than_was_set():
    lot = a_lot()
    candle(lot, 2, 1, basket=1)
    hatch(lot, 12, 1, 2, basket=1)
    with pytest.raises(
        TooManyEggs,
        match=r"Basket 1 of lot 2023-001 was set with 18 eggs; 18 are counted already \(12 hatched, 3 clear, 3 dead\), "
        r"and 1 more \(1 hatched, 0 clear, 0 dead\) make 19",
    ) as refused:
        hatch(lot, 1, basket=1)
    assert refused.value.field == "hatched"
    hatch(lot, 30)
    with pytest.raises(TooManyEggs, match="Lot 2023-001 was set with 54 eggs; 48 are counted already"):
        candle(lot, 7, basket=2)
    candle(lot, 6, basket=2)
    assert read_lot("2023-001").whole().left == 0
    assert read_lot("2023-001").whole().is_done


def test_each_basket_and_the_lot_are_done_when_nothing_is_left():
    lot = a_lot(eggs=(18, 20))
    hatch(lot, 10, basket=1, is_last=True)
    read = read_lot("2023-001")
    assert (read.tallies()[1].is_done, read.tallies()[2].is_done, read.whole().is_done) == (
        True,
        False,
        False,
    )
    hatch(lot, 20, basket=2)
    read = read_lot("2023-001")
    assert (read.whole().is_done, read.whole().left) == (True, 8)


def test_a_count_is_mended_within_the_eggs_it_leaves_free():
    lot = a_lot(eggs=(18,))
    row = hatch(lot, 15, 1, 2, basket=1)
    key = uuid.uuid4()
    changes = {"hatched": 16, "clear": 1, "dead": 1}
    mended = lot_book.mend(row=row, key=key, changes=changes, today=TODAY)
    assert lot_book.mend(row=row, key=key, changes=changes, today=TODAY) == mended
    assert Hatch.objects.standing().get() == mended
    with pytest.raises(AlreadyMended, match="corrected already: now 16 hatched"):
        lot_book.mend(row=row, key=uuid.uuid4(), changes={"hatched": 1}, today=TODAY)
    with pytest.raises(TooManyEggs, match="18 eggs; none is counted yet, and 19 more"):
        lot_book.mend(row=mended, key=uuid.uuid4(), changes={"dead": 2}, today=TODAY)
    lot_book.take_back(row=mended, key=uuid.uuid4(), note="wrong lot", today=TODAY)
    assert read_lot("2023-001").whole().counted == 0
    with pytest.raises(AlreadyMended, match="taken back already"):
        lot_book.take_back(row=mended, key=uuid.uuid4(), today=TODAY)


def test_a_basket_keeps_its_counts_when_it_is_mended_and_not_fewer_eggs_than_counted():
    lot = a_lot(eggs=(18, 20))
    candle(lot, 4, basket=1)
    basket = lot.by_number[1]
    other = a_pond("B")
    mended = lot_book.mend(row=basket, key=uuid.uuid4(), changes={"pond": other, "eggs": 17}, today=TODAY)
    read = read_lot("2023-001")
    assert [(one.number, one.eggs, one.pond.code) for one in read.baskets] == [(1, 17, "B"), (2, 20, "A")]
    assert read.tallies()[1].clear == 4
    with pytest.raises(TooManyEggs, match=r"Of basket 1 4 eggs are counted already .* more than 3"):
        lot_book.mend(row=mended, key=uuid.uuid4(), changes={"eggs": 3}, today=TODAY)
    hatch(lot, 31)
    with pytest.raises(TooManyEggs, match="Of lot 2023-001 35 eggs are counted already"):
        lot_book.mend(row=lot.by_number[2], key=uuid.uuid4(), changes={"eggs": 17}, today=TODAY)


def test_a_basket_or_lot_with_counts_is_not_taken_back_before_them():
    lot = a_lot(eggs=(18, 20))
    row = candle(lot, 4, basket=1)
    with pytest.raises(
        TooManyEggs, match=r"Basket 1 of lot 2023-001 has been counted .*Take those counts back first"
    ):
        lot_book.take_back(row=lot.by_number[1], key=uuid.uuid4(), today=TODAY)
    with pytest.raises(TooManyEggs, match=r"Lot 2023-001 has been counted \(0 hatched, 4 clear, 0 dead\)"):
        lot_book.take_back(row=lot.row, key=uuid.uuid4(), today=TODAY)
    whole = hatch(lot, 30)
    with pytest.raises(TooManyEggs, match="Lot 2023-001 has been counted"):
        lot_book.take_back(row=lot.by_number[2], key=uuid.uuid4(), today=TODAY)
    for count in (row, whole):
        lot_book.take_back(row=count, key=uuid.uuid4(), today=TODAY)
    lot_book.take_back(row=lot.by_number[1], key=uuid.uuid4(), today=TODAY)
    with pytest.raises(LotRefused, match="has had a basket 1 already; a number is never used again"):
        lot_book.add_baskets(
            lot=lot.first, key=uuid.uuid4(), baskets=[BasketDraft(a_pond(), DUG_ON, 5, number=1)], today=TODAY
        )
    lot_book.take_back(row=lot.row, key=uuid.uuid4(), today=TODAY)
    assert not Basket.objects.standing().exists()
    with pytest.raises(AlreadyMended, match="was taken back; nothing more goes into it"):
        candle(lot, 1)


def test_a_lots_facts_are_mended_and_stay_true_to_what_is_in_it():
    lot = a_lot()
    candle(lot, 1, basket=1)
    mended = lot_book.mend(row=lot.row, key=uuid.uuid4(), changes={"incubator": "Shelf 4"}, today=TODAY)
    assert read_lot("2023-001").row == mended
    assert read_lot("2023-001").whole().clear == 1
    snapper = KindFactory(common_name="Snapper")
    for changes, field, words in (
        ({"set_on": dt.date(2023, 4, 1)}, "set_on", "Basket 1 was dug on 1 May 2023, after 1 Apr 2023"),
        ({"set_on": dt.date(2023, 5, 20)}, "set_on", "counted on 16 May 2023, before 20 May 2023"),
        ({"set_on": TODAY + dt.timedelta(days=1)}, "set_on", "still to come"),
        ({"kind": snapper}, "pond", "Pond A is for Slider, not Snapper"),
        ({"note": "x" * 301}, "note", "301 characters; 300 is the most"),
    ):
        with pytest.raises(LotRefused, match=words) as refused:
            lot_book.mend(row=mended, key=uuid.uuid4(), changes=changes, today=TODAY)
        assert refused.value.field == field


def test_baskets_are_added_once_however_often_the_form_is_sent():
    lot = a_lot(eggs=(18,))
    key, more = uuid.uuid4(), [BasketDraft(a_pond(), DUG_ON, 20), BasketDraft(a_pond("B"), DUG_ON, 7)]
    for _ in range(2):
        rows = lot_book.add_baskets(lot=lot.first, key=key, baskets=more, today=TODAY)
    assert [(row.number, row.container) for row in rows] == [(2, 1), (3, 2)]
    assert Basket.objects.count() == 3
    with pytest.raises(KeyUsed):
        lot_book.add_baskets(lot=lot.first, key=key, baskets=[replace(more[0], eggs=4)], today=TODAY)


@pytest.mark.parametrize(
    ("changes", "refusal", "field", "words"),
    [
        ({"eggs": 0}, LotRefused, "eggs", "0 eggs in a basket are not between 1 and 1\u202f000"),
        ({"eggs": 1001}, LotRefused, "eggs", "1\u202f001 eggs"),
        ({"number": 401}, LotRefused, "number", "401 is not between 1 and 400"),
        ({"container": 0}, LotRefused, "container", "0 is not between"),
        (
            {"container": 1},
            LotRefused,
            "container",
            "Container 1 of lot 2023-001 holds baskets 1 and 2 already",
        ),
        (
            {"dug_on": dt.date(2023, 5, 3)},
            WrongDay,
            "dug_on",
            "dug on 3 May 2023, after lot 2023-001 was set",
        ),
        ({"dug_on": dt.date(2022, 5, 1)}, WrongDay, "dug_on", "366 days before lot 2023-001 was set"),
        ({"note": "x" * 301}, LotRefused, "note", "300 is the most"),
    ],
)
def test_a_basket_that_cannot_be_is_refused_and_nothing_is_written(changes, refusal, field, words):
    lot = a_lot(eggs=(18, 20))
    wrong = replace(BasketDraft(a_pond(), DUG_ON, 10), **changes)
    with pytest.raises(refusal, match=words) as refused, transaction.atomic():
        lot_book.add_baskets(
            lot=lot.first, key=uuid.uuid4(), baskets=[BasketDraft(a_pond(), DUG_ON, 10), wrong], today=TODAY
        )
    assert (refused.value.field, refused.value.place) == (field, 1)
    assert Basket.objects.count() == 2


@pytest.mark.parametrize(
    ("pond", "refusal", "words"),
    [
        ({"opened_on": dt.date(2023, 5, 2)}, WrongDay, "opened on 2 May 2023; 1 May 2023 is before that"),
        ({"retired_on": dt.date(2023, 4, 1)}, WrongDay, "was retired on 1 Apr 2023"),
    ],
)
def test_eggs_come_from_a_pond_that_was_there(pond, refusal, words):
    other = PondFactory(code="Q", **pond)
    with pytest.raises(refusal, match=words):
        a_lot(baskets=(BasketDraft(other, DUG_ON, 10),))
    assert not EggLot.objects.exists()


def test_eggs_of_a_kind_the_pond_is_not_for_are_refused():
    with pytest.raises(WrongPond, match="Pond A is for Slider, not Snapper"):
        a_lot(kind=KindFactory(common_name="Snapper"))


@pytest.mark.parametrize(
    ("log", "words"),
    [
        (
            lambda lot: candle(lot, 1, candled_on=dt.date(2023, 5, 1)),
            "was set on 2 May 2023; 1 May 2023 is before",
        ),
        (lambda lot: candle(lot, 1, candled_on=TODAY + dt.timedelta(days=1)), "still to come"),
        (lambda lot: hatch(lot, 1, hatched_on=dt.date(2023, 5, 12)), "day 10 of lot .* before day 20"),
        (lambda lot: candle(lot, -1), "-1 is below 0"),
        (lambda lot: candle(lot, 1, basket=9), "has no basket 9; its baskets are 1, 2, 3"),
    ],
)
def test_a_count_that_cannot_be_is_refused(log, words):
    lot = a_lot()
    with pytest.raises(LotRefused, match=words):
        log(lot)
    assert not Candling.objects.exists()
    assert not Hatch.objects.exists()


def test_eggs_thrown_out_early_are_logged_without_a_hatching():
    lot = a_lot()
    assert hatch(lot, 0, 10, 8, basket=1, hatched_on=dt.date(2023, 5, 12)).clear == 10


def test_a_temperature_beside_the_eggs_is_kept_as_typed():
    lot = a_lot()
    asked = TemperatureDraft(CANDLED, measure("81.5", "F"), "between baskets 1 and 2")
    key = uuid.uuid4()
    row = lot_book.log_temperature(lot=lot.first, key=key, draft=asked, today=TODAY)
    assert lot_book.log_temperature(lot=lot.first, key=key, draft=asked, today=TODAY) == row
    assert (row.temperature_mk, row.temperature_typed, row.temperature_unit) == (300_650, "81.5", "F")
    with pytest.raises(
        LotRefused, match="28 °F is not between 59 and 104 °F; look at the figure and its unit"
    ):
        lot_book.log_temperature(
            lot=lot.first, key=uuid.uuid4(), draft=replace(asked, temperature=measure("28", "F")), today=TODAY
        )
    with pytest.raises(LotRefused, match="82 °C is not between"):
        a_lot("X", temperature=measure("82", "C"))


def test_a_hand_mends_their_own_rows_and_an_owner_any():
    hand, other, owner = (UserFactory(username=name, role=role) for name, role in
                          (("wren", "hand"), ("heron", "hand"), ("stork", "owner")))  # fmt: skip
    lot = a_lot(by=hand)
    row = candle(lot, 3, basket=1, by=hand)
    today = row.recorded_at.date()
    with pytest.raises(NotYours, match="entered by wren"):
        lot_book.mend(row=row, key=uuid.uuid4(), changes={"clear": 2}, by=other, today=today)
    late = today + dt.timedelta(days=32)
    with pytest.raises(NotYours, match="Ask an owner"):
        lot_book.take_back(row=row, key=uuid.uuid4(), by=hand, today=late)
    mended = lot_book.mend(row=row, key=uuid.uuid4(), changes={"clear": 2}, by=hand, today=max(today, TODAY))
    assert (
        lot_book.mend(row=mended, key=uuid.uuid4(), changes={"clear": 1}, by=owner, today=TODAY).by == owner
    )


def test_a_hand_does_not_take_a_lot_back_with_what_others_put_into_it():
    hand, other = (UserFactory(username=name, role="hand") for name in ("wren", "heron"))
    lot = a_lot(eggs=(18,), by=hand)
    more = [BasketDraft(a_pond(), DUG_ON, 20)]
    lot_book.add_baskets(lot=lot.first, key=uuid.uuid4(), baskets=more, by=other, today=TODAY)
    today = read_lot(lot.code).row.recorded_at.date()
    with pytest.raises(NotYours, match="entered by heron"):
        lot_book.take_back(row=lot.row, key=uuid.uuid4(), by=hand, today=today)
    assert len(read_lot(lot.code).baskets) == 2


def test_many_lots_are_set_and_read_with_few_queries(django_assert_max_num_queries):
    drafts = [draft(f"S-{number}", eggs=(18, 20)) for number in range(3, 120)]
    with django_assert_max_num_queries(14):
        lot_book.open_lots(drafts, today=TODAY)
    with django_assert_max_num_queries(6):
        states = read_lots([asked.code for asked in drafts])
    assert sum(state.whole().eggs for state in states.values()) == 117 * 38


def test_one_bad_lot_of_many_stops_all_and_is_named():
    bad = draft("S-2", hatches=(HatchDraft(HATCHED, 18, basket=1), HatchDraft(HATCHED, 21, basket=2)))
    with pytest.raises(TooManyEggs) as refused:
        lot_book.open_lots([draft("S-1"), bad], today=TODAY)
    assert refused.value.place == (1, "hatches", 1)
    assert not EggLot.objects.exists()


@pytest.mark.parametrize("table", ["egglot", "basket", "candling", "hatch", "eggtemperature"])
def test_the_database_changes_and_deletes_nothing(table):
    lot = a_lot()
    candle(lot, 1)
    hatch(lot, 1)
    lot_book.log_temperature(
        lot=lot.first, key=uuid.uuid4(), draft=TemperatureDraft(CANDLED, measure("82", "F")), today=TODAY
    )
    for statement in (f"UPDATE ponds_{table} SET note = 'x'", f"DELETE FROM ponds_{table}"):
        with (
            pytest.raises(DatabaseError, match="append-only"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    with pytest.raises(NeverChanged):
        lot.first.save()
    with pytest.raises(NeverChanged):
        EggLot.objects.update(note="x")


def test_a_code_taken_in_the_same_moment_is_refused_in_words(monkeypatch):
    open_one = lot_book._opened

    def overtaken(code, *rest):
        found = open_one(code, *rest)
        EggLot(code=code, kind=a_kind(), set_on=SET_ON).save()
        return found

    monkeypatch.setattr(lot_book, "_opened", overtaken)
    with pytest.raises(CodeUsed, match="used this very moment"), transaction.atomic():
        a_lot("X-1")
    assert not EggLot.objects.exists()
