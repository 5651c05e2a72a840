"""Origins where a move is taken back after its month was closed: from then on as if it had never been made."""

import datetime as dt
import random
import uuid

import pytest

from ponds.models import Kind, Pond
from stock import ledger, mixes
from stock.advisor.mix import Cell, Entry, replay
from stock.check import differences
from stock.drafts import BatchDraft, Draft, Line
from stock.models import Batch, Move, StockMix

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "ABCD":
        Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1)).kinds_allowed.add(slider)
    return make_person("owner", "wren")


def post(by, on, source, target, heads, batch="", today=None):
    batches = (BatchDraft(batch, source, on),) if batch else ()
    line = Line("slider", "FEMALE", source, target, heads, batch=batch)
    draft = Draft(uuid.uuid4(), on, (line,), "BANK", batches=batches)
    return Move.objects.get(pk=ledger.record(draft, by=by, today=today or on).move_id)


def take_back(by, move, on):
    ledger.reverse(move, key=uuid.uuid4(), by=by, today=on)


def close(by, *months):
    for month in months:
        ledger.close_month(dt.date(2026, month, 1), by=by, today=dt.date(2026, month + 1, 2))


def mix_of(pond, on):
    mix = mixes.mixes_on(on)[Pond.objects.get(code=pond).pk, Kind.objects.get().pk, "FEMALE"]
    names = {str(pk): code for pk, code in Batch.objects.values_list("pk", "code")}
    return {names.get(name, name): tuple(share) for name, share in mix.batches.items()}, dict(mix.seasons)


@pytest.mark.parametrize("is_rolled", [False, True])
def test_a_sale_taken_back_late_gives_the_same_heads_back(farm, is_rolled):
    post(farm, dt.date(2024, 3, 1), "BOUGHT", "A", 400, "P1")
    sold = post(farm, dt.date(2026, 3, 5), "A", "SOLD", 200)
    close(farm, 3)
    if is_rolled:
        mixes.roll(dt.date(2026, 5, 9))
    take_back(farm, sold, dt.date(2026, 5, 10))
    # By the book they were sold in March, and stand there again from the first open day on: as if never sold.
    assert mix_of("A", dt.date(2026, 3, 31)) == ({"P1": (200.0, 200, 200)}, {2024: 200.0})
    assert mix_of("A", dt.date(2026, 4, 1)) == ({"P1": (400.0, 400, 400)}, {2024: 400.0})
    assert mix_of("A", dt.date(2026, 5, 10)) == ({"P1": (400.0, 400, 400)}, {2024: 400.0})
    mixes.roll(dt.date(2026, 7, 1))
    assert StockMix.objects.filter(month=dt.date(2026, 4, 1)).count() == 1
    assert mix_of("A", dt.date(2026, 7, 1)) == ({"P1": (400.0, 400, 400)}, {2024: 400.0})
    assert differences() == []


def test_what_a_wrong_move_carried_on_to_a_third_pond_is_undone_too(farm):
    post(farm, dt.date(2025, 10, 1), "BOUGHT", "A", 100, "P1")
    post(farm, dt.date(2025, 10, 1), "BOUGHT", "B", 100, "P2")
    wrong = post(farm, dt.date(2026, 3, 5), "A", "B", 50)
    post(farm, dt.date(2026, 4, 5), "B", "C", 30)
    mixes.roll(dt.date(2026, 5, 1))
    # As it was known in April: of B's 150 a third were of P1.
    assert mix_of("C", dt.date(2026, 4, 30))[0] == {"P1": (10.0, 0, 30), "P2": (20.0, 0, 30)}
    close(farm, 3, 4)
    take_back(farm, wrong, dt.date(2026, 5, 10))
    for on in (dt.date(2026, 5, 10), dt.date(2026, 6, 1)):
        assert mix_of("C", on)[0] == {"P2": (30.0, 30, 30)}
        assert mix_of("A", on) == ({"P1": (100.0, 100, 100)}, {2026: 100.0})
        mixes.roll(dt.date(2026, 6, 1))
    # C had no entry in May, and is kept anew in it.
    assert StockMix.objects.filter(month=dt.date(2026, 5, 1)).count() == 3
    assert differences() == []


def test_taken_back_late_twice_over_is_replayed_from_the_first_of_both(farm):
    """What May takes back stands in March; what June takes back in April, which was kept with the first of them."""
    post(farm, dt.date(2025, 10, 1), "BOUGHT", "A", 100, "P1")
    first = post(farm, dt.date(2026, 3, 5), "A", "SOLD", 40)
    second = post(farm, dt.date(2026, 4, 5), "A", "B", 30)
    close(farm, 3, 4)
    take_back(farm, first, dt.date(2026, 5, 10))
    close(farm, 5)
    mixes.roll(dt.date(2026, 6, 2))
    take_back(farm, second, dt.date(2026, 6, 10))
    assert mix_of("A", dt.date(2026, 5, 31)) == ({"P1": (70.0, 70, 70)}, {2026: 70.0})
    assert mix_of("A", dt.date(2026, 6, 10)) == ({"P1": (100.0, 100, 100)}, {2026: 100.0})
    mixes.roll(dt.date(2026, 8, 1))
    assert mix_of("A", dt.date(2026, 8, 1)) == ({"P1": (100.0, 100, 100)}, {2026: 100.0})
    assert differences() == []


def test_heads_that_came_late_into_the_book_came_in_the_season_of_their_own_day(farm):
    """Booked in October, for May's close; they came in May, one nesting year earlier."""
    post(farm, dt.date(2026, 5, 2), "BOUGHT", "A", 10, "P1")
    close(farm, 5)
    late = dt.date(2026, 10, 3)
    post(farm, dt.date(2026, 5, 20), "BOUGHT", "A", 30, "P2", today=late)
    assert mix_of("A", late) == ({"P1": (10.0, 10, 10), "P2": (30.0, 30, 30)}, {2026: 40.0})


@pytest.mark.parametrize("seed", range(4))
def test_from_each_day_on_all_is_as_if_what_was_taken_back_had_never_been(farm, seed):
    """Against a plain replay from the first entry, of the moves that stood on that day; rolled at any time."""
    rng = random.Random(seed)
    post(farm, dt.date(2025, 10, 1), "BOUGHT", "A", 300, "P1")
    post(farm, dt.date(2025, 11, 1), "BOUGHT", "B", 300, "P2")
    moves = []
    for month in range(1, 9):
        for _ in range(rng.randint(1, 3)):
            source, target = rng.sample(["A", "B", "C", "SOLD"], 2)
            if source in ("SOLD", "C"):
                source, target = "A", rng.choice("BC")
            day = dt.date(2026, month, rng.randint(3, 26))
            moves.append(post(farm, day, source, target, rng.randint(1, 12)))
        if rng.random() < 0.6:
            mixes.roll(dt.date(2026, month + 1, 1))
        close(farm, month)
        standing = [move for move in moves if not Move.objects.filter(reverses=move).exists()]
        if rng.random() < 0.7:
            take_back(farm, rng.choice(standing), dt.date(2026, month + 1, 2))
        today = dt.date(2026, month + 1, 2)
        assert _plain(mixes.mixes_on(today)) == _plain(_replayed(today))
    mixes.roll(dt.date(2026, 11, 1))
    assert _plain(mixes.mixes_on(dt.date(2026, 11, 1))) == _plain(_replayed(dt.date(2026, 11, 1)))
    assert differences() == []


def _replayed(day):
    """A plain replay of the moves that stood on that day, in the book's order."""
    from stock.models import Entry as Row

    def cell(row):
        return Cell(str(row.pond_id or row.outside), str(row.kind_id), row.of_class, row.pond_id is None)

    taken_back = set(
        Move.objects.filter(reverses__isnull=False, booked_on__lte=day).values_list("reverses", flat=True)
    )
    rows = Row.objects.filter(booked_on__lte=day, move__reverses=None).select_related("source", "target")
    entries = [
        Entry(
            cell(row.source), cell(row.target), row.heads, row.happened_on.year + (row.happened_on.month >= 9),
            str(row.batch_id) if row.batch_id else None,
        )
        for row in rows.order_by("booked_on", "pk")
        if row.move_id not in taken_back
    ]  # fmt: skip
    return {
        (int(cell.place), int(cell.kind), cell.stock_class): mix
        for cell, mix in replay(entries).items()
        if mix.heads > 0 or mix.owed > 0
    }


def _plain(state):
    return {
        key: (
            mix.heads,
            mix.owed,
            {name: (pytest.approx(share.expected), *share[1:]) for name, share in mix.batches.items()},
            {season: pytest.approx(heads) for season, heads in mix.seasons.items()},
        )
        for key, mix in state.items()
    }
