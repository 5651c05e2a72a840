"""Origins: replayed from entries, kept at month ends, the same whichever way they are read."""

import datetime as dt
import uuid

import pytest

from ponds.models import Kind, Pond
from stock import ledger, mixes
from stock.check import differences
from stock.drafts import BatchDraft, Draft, Line
from stock.models import Batch, Move, StockMix

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 30)


@pytest.fixture
def farm(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1)).kinds_allowed.add(slider)
    return make_person("owner", "wren")


def post(by, on, source, target, heads, batch="", made_as="BANK"):
    batches = (BatchDraft(batch, source, on),) if batch else ()
    line = Line("slider", "FEMALE", source, target, heads, batch=batch)
    return ledger.record(Draft(uuid.uuid4(), on, (line,), made_as, batches=batches), by=by, today=TODAY)


def mix_of(pond, on=TODAY):
    kind = Kind.objects.get().pk
    mix = mixes.mixes_on(on)[Pond.objects.get(code=pond).pk, kind, "FEMALE"]
    names = {str(pk): code for pk, code in Batch.objects.values_list("pk", "code")}
    return {names.get(name, name): tuple(share) for name, share in mix.batches.items()}, dict(mix.seasons)


def test_unmarked_heads_leave_in_proportion_with_bounds(farm):
    post(farm, dt.date(2025, 3, 1), "BOUGHT", "A", 60, "P1")
    post(farm, dt.date(2026, 3, 1), "BOUGHT", "A", 40, "P2")
    post(farm, dt.date(2026, 5, 1), "A", "B", 50)
    # 50 of 100 leave: 30 and 20 expected; at least 10 of P1 (50 - 40) and none of P2 must be among them.
    assert mix_of("B")[0] == {"P1": (30.0, 10, 50), "P2": (20.0, 0, 40)}
    assert mix_of("A")[0] == {"P1": (30.0, 10, 50), "P2": (20.0, 0, 40)}
    assert mix_of("B")[1] == {2026: 50.0}
    assert mix_of("A")[1] == {2025: 30.0, 2026: 20.0}


def test_kept_months_say_what_a_replay_says(farm):
    for number in range(8):
        post(farm, dt.date(2026, 1 + number % 6, 3), "BOUGHT", "A", 20, f"P{number}")
        post(farm, dt.date(2026, 1 + number % 6, 9), "A", "B", 7)
    before = {pond: mix_of(pond) for pond in "AB"}
    assert mixes.roll(TODAY) > 0
    assert StockMix.objects.exists()
    for pond, mix in before.items():
        shares, seasons = mix_of(pond)
        assert {name: pytest.approx(share) for name, share in shares.items()} == mix[0]
        assert seasons == pytest.approx(mix[1])
    assert differences() == []


def test_a_back_dated_posting_drops_what_was_kept_from_its_month_on(farm):
    post(farm, dt.date(2026, 1, 3), "BOUGHT", "A", 20, "P1")
    post(farm, dt.date(2026, 4, 3), "A", "B", 5)
    mixes.roll(TODAY)
    post(farm, dt.date(2026, 3, 3), "BOUGHT", "A", 20, "P2")
    assert not StockMix.objects.filter(month__gte=dt.date(2026, 3, 1)).exists()
    assert mix_of("B")[0] == {"P1": (2.5, 0, 5), "P2": (2.5, 0, 5)}


def test_a_move_taken_back_leaves_no_trace_of_a_journey(farm):
    post(farm, dt.date(2024, 3, 1), "BOUGHT", "A", 60, "P1")
    receipt = post(farm, dt.date(2026, 5, 1), "A", "B", 60)
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    assert mix_of("A") == ({"P1": (60.0, 60, 60)}, {2024: 60.0})
    assert differences() == []
