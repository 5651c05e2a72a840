"""Origins: replayed from entries, kept at month ends, the same whichever way they are read."""

import datetime as dt
import io
import uuid
from types import SimpleNamespace

import pytest
from django.core.management import call_command
from django.db import connection

from ponds.models import Kind, Pond
from stock import ledger, mixes, spare_moments
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


def fill_months(farm, months=5):
    """Post a purchase and a move in each of the first months of the year."""
    for month in range(1, months + 1):
        post(farm, dt.date(2026, month, 3), "BOUGHT", "A", 20, f"P{month}")
        post(farm, dt.date(2026, month, 9), "A", "B", 7)


def kept_months():
    months = StockMix.objects.order_by("month").values_list("month", flat=True).distinct()
    return [(month.year, month.month) for month in months]


def first_months(number):
    return [(2026, month) for month in range(1, number + 1)]


@pytest.fixture
def slow_replay(monkeypatch):
    """A clock that only replaying moves on: a tenth of a second a month. Returns what it shows."""
    clock = SimpleNamespace(now=100.0)
    replay = mixes.replay

    def replay_slowly(entries, state):
        clock.now += 0.1
        return replay(entries, state)

    for module in (mixes, spare_moments):
        monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: clock.now))
    monkeypatch.setattr(mixes, "replay", replay_slowly)
    return clock


def test_a_roll_keeps_to_its_budget_and_the_next_one_goes_on(farm, slow_replay):
    fill_months(farm)
    seen = []
    assert mixes.roll(TODAY, seconds=0.35, progress=seen.append) == 6
    assert slow_replay.now == pytest.approx(100.3)
    assert seen == [dt.date(2026, month, 1) for month in (1, 2, 3)]
    assert kept_months() == first_months(3)
    assert differences() == []
    # However short the time, every roll keeps one month.
    mixes.roll(TODAY, seconds=0)
    assert kept_months() == first_months(4)
    mixes.roll(TODAY, seconds=0)
    assert kept_months() == first_months(5)
    assert mixes.roll(TODAY, seconds=0) == 0
    assert differences() == []


def test_after_a_posting_there_is_a_moment_for_rolling_and_then_a_rest(
    farm, slow_replay, monkeypatch, django_capture_on_commit_callbacks
):
    monkeypatch.setattr(mixes._rest, "until", 0.0)
    fill_months(farm)

    def post_today():
        with django_capture_on_commit_callbacks(execute=True):
            post(farm, TODAY, "A", "B", 1)

    post_today()
    assert slow_replay.now <= 100 + mixes.MOMENT + 1e-9
    assert kept_months() == first_months(3)
    post_today()
    assert kept_months() == first_months(3)
    slow_replay.now += mixes.REST * mixes.MOMENT + 0.01
    post_today()
    assert kept_months() == first_months(5)
    assert differences() == []


def test_a_later_posting_between_two_months_is_kept_with_its_month(farm):
    fill_months(farm)

    def post_once(month):
        if month == dt.date(2026, 2, 1):
            post(farm, dt.date(2026, 4, 20), "BOUGHT", "B", 11, "LATE")

    mixes.roll(TODAY, progress=post_once)
    assert kept_months() == first_months(5)
    assert mix_of("B")[0]["LATE"] == (11.0, 11, 11)
    assert differences() == []


def test_a_roll_stops_where_a_posting_dropped_the_months_it_stands_on(farm):
    fill_months(farm)

    def post_once(month):
        if month == dt.date(2026, 3, 1):
            post(farm, dt.date(2026, 2, 20), "BOUGHT", "B", 11, "LATE")

    mixes.roll(TODAY, progress=post_once)
    assert kept_months() == first_months(1)
    assert differences() == []
    mixes.roll(TODAY)
    assert kept_months() == first_months(5)
    assert mix_of("B")[0]["LATE"] == (11.0, 11, 11)
    assert differences() == []


def test_a_roll_stops_where_the_months_it_stands_on_were_dropped_and_kept_anew(farm):
    fill_months(farm)
    rolled = []

    def post_and_roll_once(month):
        if month == dt.date(2026, 3, 1) and not rolled:
            post(farm, dt.date(2026, 2, 20), "BOUGHT", "B", 11, "LATE")
            rolled.append(mixes.roll(dt.date(2026, 4, 1)))

    mixes.roll(TODAY, progress=post_and_roll_once)
    assert rolled[0] > 0
    assert kept_months() == first_months(3)
    mixes.roll(TODAY)
    assert kept_months() == first_months(5)
    assert differences() == []


@pytest.mark.parametrize("day", [dt.date(2026, 3, 20), dt.date(2026, 2, 25)])
def test_a_posting_while_a_month_is_replayed_is_not_lost(farm, monkeypatch, day):
    # January and March have entries; the other posting comes into March, or into February, which had none.
    for on in (dt.date(2026, 1, 3), dt.date(2026, 3, 3)):
        post(farm, on, "BOUGHT", "A", 20, f"P{on.month}")
    mixes.roll(dt.date(2026, 2, 1))
    assert kept_months() == [(2026, 1)]
    replay = mixes.replay

    def replay_and_post(entries, state):
        monkeypatch.setattr(mixes, "replay", replay)
        after = replay(entries, state)
        post(farm, day, "A", "SOLD", 4)
        return after

    monkeypatch.setattr(mixes, "replay", replay_and_post)
    assert mixes.roll(TODAY) == 0
    assert kept_months() == [(2026, 1)]
    mixes.roll(TODAY)
    assert kept_months() == sorted({(2026, 1), (2026, day.month), (2026, 3)})
    assert sum(share[0] for share in mix_of("A")[0].values()) == pytest.approx(36)
    assert differences() == []


def test_a_roll_gives_way_to_who_is_posting(farm, monkeypatch):
    fill_months(farm)
    answers = iter([True, True, False])
    with monkeypatch.context() as busy:
        busy.setattr(mixes, "try_lock_book_alone", lambda: next(answers))
        assert mixes.roll(TODAY) == 4
    assert kept_months() == first_months(2)
    mixes.roll(TODAY)
    assert kept_months() == first_months(5)


def test_a_month_of_nothing_but_moves_taken_back_is_passed_over(farm):
    fill_months(farm, months=2)
    for on in (dt.date(2026, 3, 5), dt.date(2026, 5, 5)):
        receipt = post(farm, on, "A", "B", 3)
        ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    post(farm, dt.date(2026, 4, 9), "A", "B", 7)
    mixes.roll(TODAY)
    assert kept_months() == [(2026, 1), (2026, 2), (2026, 4)]
    assert mixes.roll(TODAY) == 0
    assert differences() == []


@pytest.mark.django_db(transaction=True)
def test_others_may_post_while_a_month_is_replayed_and_between_two(make_person, farm, monkeypatch):
    fill_months(farm)
    StockMix.objects.all().delete()
    is_held = []
    replay = mixes.replay

    def replay_and_look(entries, state):
        is_held.append(connection.in_atomic_block)
        return replay(entries, state)

    monkeypatch.setattr(mixes, "replay", replay_and_look)
    mixes.roll(TODAY, progress=lambda month: is_held.append(connection.in_atomic_block))
    assert is_held == [False] * 10
    assert kept_months() == first_months(5)
    assert differences() == []


def test_loading_a_sheet_from_the_command_line_rolls_to_the_end(farm, tmp_path):
    sheet = tmp_path / "moves.csv"
    rows = [f"2025-{month:02}-07,{month},A,slider,female,bought,A,{month},P{month}" for month in range(1, 7)]
    sheet.write_text("\n".join(["day,move,pond,kind,class,from,to,heads,batch", *rows]), encoding="utf-8")
    said = io.StringIO()
    call_command("load_sheet", "moves", str(sheet), "--dry-run", stdout=said)
    assert not StockMix.objects.exists()
    call_command("load_sheet", "moves", str(sheet), stdout=said)
    assert kept_months() == [(2025, month) for month in range(1, 7)]
    assert "Origins of 6 months kept, 6 rows" in said.getvalue()
    assert differences() == []


def test_a_full_roll_says_how_far_it_is_and_that_it_gave_way(farm, slow_replay, monkeypatch):
    fill_months(farm)
    monkeypatch.setattr(mixes, "REPORT_EVERY", 0.25)
    said = []
    with monkeypatch.context() as busy:
        busy.setattr(mixes, "try_lock_book_alone", lambda: False)
        mixes.roll_all(said.append)
    assert said == ["Somebody is posting: the other months' origins are kept after later postings."]
    said.clear()
    slow_replay.now = 100
    mixes.roll_all(said.append)
    assert said == ["Origins kept through 2026-03, 0.3 s", "Origins of 5 months kept, 10 rows, 0.5 s"]


def test_a_reader_between_whose_looks_months_are_dropped_still_reads_the_truth(farm, monkeypatch):
    fill_months(farm)
    expected = mix_of("A")
    mixes.roll(TODAY)
    kept = mixes._kept

    def look_and_drop(*, before):
        monkeypatch.setattr(mixes, "_kept", kept)
        seen = kept(before=before)
        mixes.forget_from(dt.date(2026, 3, 1))
        return seen

    monkeypatch.setattr(mixes, "_kept", look_and_drop)
    shares, seasons = mix_of("A")
    assert {name: pytest.approx(share) for name, share in shares.items()} == expected[0]
    assert seasons == pytest.approx(expected[1])
