"""The read side of the hatch log: what became of the eggs of each pond, and of each lot."""

import datetime as dt

import pytest

from ponds import hatch_log, lot_book
from ponds.hatch_log import by_lot, by_pond
from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft
from ponds.models import EggLot
from tests.ponds.lots import TODAY, a_lot, a_pond, draft

pytestmark = pytest.mark.django_db
CANDLED, HATCHED = dt.date(2023, 5, 16), dt.date(2023, 7, 8)


def test_baskets_counted_by_themselves_trace_to_their_ponds():
    a_lot(
        eggs=(20, 10),
        ponds="AB",
        candlings=(CandlingDraft(CANDLED, 2, 1, 1), CandlingDraft(CANDLED, 4, 0, 2)),
        hatches=(HatchDraft(HATCHED, 15, 1, 1, 1), HatchDraft(HATCHED, 5, 0, 0, 2, is_last=True)),
    )
    first, second = by_pond()
    assert (first.pond, first.kind, first.season) == ("A", "slider", 2023)
    assert (first.eggs_set, first.eggs_followed, first.hatched, first.clear, first.dead, first.uncounted) == (
        20, 20, 15, 3, 2, 0,
    )  # fmt: skip
    assert (second.pond, second.eggs_followed, second.hatched, second.clear, second.uncounted) == (
        "B", 10, 5, 4, 1,
    )  # fmt: skip


def test_what_is_still_in_is_open_and_counts_for_no_share():
    a_lot(eggs=(20, 10), candlings=(CandlingDraft(CANDLED, 2, 1, 1),))
    (row,) = by_pond()
    assert (row.eggs_set, row.eggs_open, row.eggs_followed, row.clear) == (30, 30, 0, 0)


def test_a_basket_that_is_done_is_followed_while_another_of_its_pond_is_open():
    a_lot(eggs=(20, 10), hatches=(HatchDraft(HATCHED, 18, 1, 1, 1),))
    (row,) = by_pond()
    assert (row.eggs_followed, row.hatched, row.eggs_open) == (20, 18, 10)


def test_a_whole_count_of_an_unmixed_lot_belongs_to_its_pond():
    a_lot(eggs=(20, 10), candlings=(CandlingDraft(CANDLED, 3, 0),), hatches=(HatchDraft(HATCHED, 25, 1, 1),))
    (row,) = by_pond()
    assert (row.eggs_followed, row.hatched, row.clear, row.dead, row.eggs_untraced) == (30, 25, 4, 1, 0)


def test_a_whole_count_of_a_mixed_lot_is_untraced_and_never_shared_out():
    a_lot(eggs=(20, 10), ponds="AB", hatches=(HatchDraft(HATCHED, 25, 4, 1),))
    for row, eggs in zip(by_pond(), (20, 10), strict=True):
        assert (row.eggs_set, row.eggs_untraced, row.eggs_followed, row.hatched) == (eggs, eggs, 0, 0)


def test_eggs_belong_to_the_season_they_were_dug_in():
    pond = a_pond()
    late = BasketDraft(pond, dt.date(2023, 8, 30), 12)
    a_lot("X", set_on=dt.date(2023, 9, 2), baskets=(late,), today=dt.date(2023, 10, 1))
    assert [(row.season, row.eggs_set) for row in by_pond()] == [(2023, 12)]
    assert by_pond(seasons=[2023]) == by_pond()
    assert by_pond(seasons=[2024]) == []


def test_a_mended_basket_and_a_lot_taken_back_count_as_they_stand():
    import uuid

    lot = a_lot("X", eggs=(20,))
    lot_book.mend(
        row=lot.by_number[1], key=uuid.uuid4(), changes={"pond": a_pond("B"), "eggs": 19}, today=TODAY
    )
    lot_book.mend(row=lot.row, key=uuid.uuid4(), changes={"incubator": "Shelf"}, today=TODAY)
    lot_book.log_hatch(lot=lot.first, key=uuid.uuid4(), draft=HatchDraft(HATCHED, 19, basket=1), today=TODAY)
    other = a_lot("Y", eggs=(7,))
    lot_book.take_back(row=other.row, key=uuid.uuid4(), today=TODAY)
    assert [(row.pond, row.eggs_set, row.hatched) for row in by_pond()] == [("B", 19, 19)]
    (one,) = by_lot()
    assert (one.lot.incubator, one.eggs, one.hatched, one.left, one.is_done) == ("Shelf", 19, 19, 0, True)


def test_each_lot_is_summed_and_one_without_baskets_is_there_too():
    a_lot("X", eggs=(20, 10, 5), ponds="BAB", candlings=(CandlingDraft(CANDLED, 3, 0, 2),))
    a_lot("Z", baskets=(), set_on=dt.date(2023, 6, 1))
    empty, one = by_lot()
    assert (empty.lot.code, empty.eggs, empty.ponds, empty.is_done, empty.baskets) == ("Z", 0, (), False, 0)
    assert (one.lot.code, one.ponds, one.baskets, one.containers, one.eggs, one.left) == (
        "X", ("A", "B"), 3, 2, 35, 32,
    )  # fmt: skip
    assert (one.is_candled, one.is_done, one.counted_on) == (True, False, CANDLED)
    assert [found.lot.code for found in by_lot(EggLot.objects.standing().filter(code="X"))] == ["X"]


def test_the_lots_sums_agree_with_what_the_lot_itself_says():
    state = a_lot(
        eggs=(20, 10),
        ponds="AB",
        candlings=(CandlingDraft(CANDLED, 2, 1, 1), CandlingDraft(CANDLED, 1, 1)),
        hatches=(HatchDraft(HATCHED, 9, 0, 0, 2), HatchDraft(HATCHED, 3, is_last=True)),
    )
    (one,) = by_lot()
    whole = state.whole()
    assert (one.eggs, one.hatched, one.clear, one.dead, one.left, one.is_done) == (
        whole.eggs, whole.hatched, whole.clear, whole.dead, whole.left, whole.is_done,
    )  # fmt: skip


def test_three_lots_and_three_hundred_cost_four_queries(django_assert_num_queries):
    def fill(numbers):
        lot_book.open_lots(
            [
                draft(f"S-{number}", eggs=(20, 10), ponds="AB", hatches=(HatchDraft(HATCHED, 20, basket=1),))
                for number in numbers
            ],
            today=TODAY,
        )

    fill(range(3))
    for read in (by_pond, by_lot, lambda: by_pond(seasons=[2023])):
        with django_assert_num_queries(4):
            read()
    fill(range(3, 300))
    for read in (by_pond, by_lot, lambda: by_pond(seasons=[2023])):
        with django_assert_num_queries(4):
            read()
    assert sum(row.eggs_set for row in by_pond()) == 9000
    assert hatch_log.by_pond()[0].hatched == 6000
