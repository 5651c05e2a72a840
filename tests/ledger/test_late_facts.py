"""What happened in a closed month is held against its own day, and booked on the first open one."""

import datetime as dt
import uuid

import pytest

from ponds.models import Kind, Pond, PondState
from stock import ledger
from stock.book import by_pond_and_kind
from stock.check import differences
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line
from stock.models import Move
from stock.refusals import AlreadyOpened, CannotReverse, KeptApart, PondNotOpen

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 30)
OPENED = dt.date(2026, 5, 1)
LATE = dt.date(2026, 5, 20)
JUNE = dt.date(2026, 6, 1)


@pytest.fixture
def farm(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    snapper = Kind.objects.create(code="snapper", common_name="Snapper")
    slider.not_with.add(snapper)
    for code in "ABCD":
        pond = Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1))
        pond.kinds_allowed.add(slider, snapper)
    return make_person("owner", "wren")


@pytest.fixture
def post(farm):
    def one(source, target, heads, on, *, kind="slider", made_as="BANK", **more):
        is_outside = source in ("BOUGHT", "OPENING")
        batches = (BatchDraft(f"{source} {kind}", source, on),) if is_outside else ()
        line = Line(kind, "FEMALE", source, target, heads, batch=batches[0].code if batches else "")
        draft = Draft(uuid.uuid4(), on, (line,), made_as, batches=batches, **more)
        return ledger.record(draft, by=farm, today=TODAY)

    return one


@pytest.fixture
def closed(post, farm):
    """Pond A: 50 females since 1 May, May closed, 10 sold on 1 June."""
    post("OPENING", "A", 50, OPENED, made_as="OPENING")
    ledger.close_month(OPENED, by=farm, today=TODAY)
    post("A", "SOLD", 10, JUNE)
    return post


def females(pond="A", on=TODAY):
    heads = by_pond_and_kind(on).get((Pond.objects.get(code=pond).pk, Kind.objects.get(code="slider").pk))
    return heads.females if heads else 0


def test_a_late_count_equal_to_the_book_of_its_day_changes_nothing(closed, farm):
    count = CountDraft("A", "slider", LATE, "DRAINED", females=50)
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY, resets_book=True, reason="Drained.")
    assert females() == 40


def test_a_late_count_resets_by_the_gap_of_its_own_day_once(closed, farm):
    for _ in range(2):
        count = CountDraft("A", "slider", LATE, "DRAINED", females=53)
        ledger.accept_count(
            count, key=uuid.uuid4(), by=farm, today=TODAY, resets_book=True, reason="Drained."
        )
        assert females() == 43
    assert differences() == []


def test_heads_a_late_haul_put_back_are_held_against_the_book_of_that_day(closed):
    haul = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 48),))
    draft = Draft(uuid.uuid4(), LATE, (), pond="A", haul=haul)
    receipt = ledger.record(draft, by=None, today=TODAY)
    assert (receipt.beyond_book, females()) == ((), 40)


def test_a_late_death_from_before_anything_stood_there_does_not_take_a_head_that_came_later(closed):
    receipt = closed("A", "DIED", 3, dt.date(2026, 4, 10))
    assert [beyond.heads for beyond in receipt.beyond_book] == [3]
    assert females() == 40
    assert differences() == []


def test_a_late_death_within_the_stock_of_its_day_is_taken_from_it(closed):
    assert closed("A", "DIED", 3, LATE).beyond_book == ()
    assert females() == 37


def test_an_opening_stands_once_unless_it_is_taken_back(post, farm):
    receipt = post("OPENING", "A", 50, OPENED, made_as="OPENING")
    with pytest.raises(AlreadyOpened, match="opened with Slider on 1 May 2026"):
        post("OPENING", "A", 60, OPENED, made_as="OPENING")
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    post("OPENING", "A", 60, OPENED, made_as="OPENING")
    assert females() == 60


def test_office_moves_of_one_day_may_stand_in_any_order(post, farm):
    post("OPENING", "A", 5, OPENED, made_as="OPENING")
    drafts = [
        Draft(uuid.uuid4(), JUNE, (Line("slider", "FEMALE", source, target, 5),), "OFFICE")
        for source, target in (("B", "C"), ("A", "B"))
    ]
    ledger.record_all(drafts, by=farm, today=TODAY)
    assert (females("A"), females("B"), females("C")) == (0, 0, 5)
    assert differences() == []


def test_an_office_move_minds_quarantine_and_rest_and_the_bank_is_only_warned(post):
    post("OPENING", "A", 50, OPENED, made_as="OPENING")
    for code, state in (("B", "QUARANTINE"), ("C", "RESTING")):
        PondState.objects.create(pond=Pond.objects.get(code=code), from_on=OPENED, state=state)
    for target, words in (("B", "in quarantine"), ("C", "resting")):
        with pytest.raises(PondNotOpen, match=words):
            post("A", target, 5, JUNE, made_as="OFFICE")
        assert len(post("A", target, 5, JUNE).warnings) == 1
    with pytest.raises(PondNotOpen, match="nothing goes out"):
        post("B", "SOLD", 1, JUNE, made_as="OFFICE")
    # Deaths are deaths, and a quarantine pond is where what was bought is held.
    post("B", "DIED", 1, JUNE, made_as="OFFICE")
    post("BOUGHT", "B", 4, JUNE, made_as="OFFICE")
    assert females("B") == 8


def test_no_heads_are_left_in_a_retired_pond(post, farm):
    post("OPENING", "A", 5, OPENED, made_as="OPENING")
    sold = post("A", "SOLD", 5, LATE)
    Pond.objects.filter(code="A").update(retired_on=JUNE)
    with pytest.raises(CannotReverse, match="was retired on 1 Jun 2026"):
        ledger.reverse(Move.objects.get(pk=sold.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    post("OPENING", "B", 5, OPENED, made_as="OPENING")
    with pytest.raises(PondNotOpen, match="was retired"):
        post("B", "A", 5, LATE, made_as="OFFICE")


def test_kinds_kept_apart_are_judged_with_what_comes_along_and_what_came_later(post, farm):
    post("OPENING", "A", 5, OPENED, made_as="OPENING")
    post("OPENING", "B", 5, OPENED, kind="snapper", made_as="OPENING")
    lines = (Line("slider", "FEMALE", "A", "D", 1), Line("snapper", "FEMALE", "B", "D", 1))
    with pytest.raises(KeptApart):
        ledger.record(Draft(uuid.uuid4(), JUNE, lines, "OFFICE"), by=farm, today=TODAY)
    post("B", "D", 1, JUNE, kind="snapper")
    with pytest.raises(KeptApart):
        post("A", "D", 1, LATE, made_as="OFFICE")
