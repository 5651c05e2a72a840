"""The write door, one sentence a test. Ponds and kinds are made here; heads only ever through the ledger."""

import datetime as dt
import uuid

import pytest
from django.db import IntegrityError, connection, transaction

from ponds.models import Kind, NeverChanged, Pond
from stock import ledger
from stock.book import by_pond_and_kind
from stock.check import differences
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line, MarkDraft
from stock.models import Batch, Cell, Count, Entry, Haul, MonthEnd, Move, Paper, Turtle
from stock.refusals import (
    AlreadyReversed,
    BadHeads,
    BatchMissing,
    BeforePondOpened,
    CannotClose,
    CannotReset,
    CannotReverse,
    DayInFuture,
    KeptApart,
    KeyReused,
    KindNotAllowed,
    NotEnoughHeads,
    NoteTooLong,
    NothingToPost,
    SamePlace,
    TurtleElsewhere,
    UnknownKind,
    UnknownPlace,
    WhichTurtles,
)

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 30)
MAY = dt.date(2026, 5, 10)
JUNE = dt.date(2026, 6, 10)


@pytest.fixture
def farm(make_person):
    """Two ponds of sliders, one of snappers kept apart from sliders, and an owner."""
    slider = Kind.objects.create(code="slider", common_name="Slider")
    snapper = Kind.objects.create(code="snapper", common_name="Snapper")
    slider.not_with.add(snapper)
    for code in "ABC":
        pond = Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1))
        pond.kinds_allowed.add(slider, *([snapper] if code == "C" else []))
    return make_person("owner", "wren")


@pytest.fixture
def post(farm):
    """Return a function that posts lines, given as (class, source, target, heads[, more])."""

    def post_lines(*lines, on=JUNE, made_as="BANK", key=None, **more):
        draft = Draft(
            key=key or uuid.uuid4(),
            happened_on=on,
            made_as=made_as,
            lines=tuple(
                Line("slider", of_class, source, target, heads, **(rest[0] if rest else {}))
                for of_class, source, target, heads, *rest in lines
            ),
            **more,
        )
        return ledger.record(draft, by=farm, today=TODAY)

    return post_lines


@pytest.fixture
def opened(post):
    """Pond A with 300 females, 100 males and 20 unsexed since May."""
    batch = BatchDraft("B1", "OPENING", MAY)
    post(
        ("FEMALE", "OPENING", "A", 300, {"batch": "B1"}),
        ("MALE", "OPENING", "A", 100, {"batch": "B1"}),
        ("UNSEXED", "OPENING", "A", 20, {"batch": "B1"}),
        on=MAY,
        made_as="OPENING",
        pond="A",
        batches=(batch,),
    )
    return post


def held(pond, of_class="FEMALE", on=TODAY, kind="slider"):
    heads = by_pond_and_kind(on).get((Pond.objects.get(code=pond).pk, Kind.objects.get(code=kind).pk))
    names = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}
    return getattr(heads, names[of_class]) if heads else 0


def the_move(receipt):
    return Move.objects.get(pk=receipt.move_id)


def test_what_goes_in_stands_from_its_day_on(opened):
    assert held("A", on=MAY - dt.timedelta(days=1)) == 0
    assert held("A", on=MAY) == held("A") == 300
    assert differences() == []


def test_one_haul_is_one_move_with_a_reason_for_each_entry(opened):
    catch = (CatchLine("slider", "FEMALE", 60), CatchLine("slider", "MALE", 25, dead_in_net=1))
    receipt = opened(
        ("FEMALE", "A", "B", 10),
        ("MALE", "A", "SOLD", 5),
        ("MALE", "A", "DIED", 1, {"cause": "DROWNED"}),
        pond="A",
        haul=HaulDraft("SEINE", catch),
    )
    reasons = sorted(Entry.objects.filter(move=receipt.move_id).values_list("reason", "heads"))
    assert reasons == [("DIED", 1), ("MOVED", 10), ("SOLD", 5)]
    assert (held("A"), held("A", "MALE"), held("B")) == (290, 94, 10)
    assert Haul.objects.get().lines.count() == 2
    assert differences() == []


def test_a_haul_of_which_all_went_back_is_a_move_without_entries(opened):
    receipt = opened(pond="A", haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 40),)))
    assert not Entry.objects.filter(move=receipt.move_id).exists()
    assert held("A") == 300


def test_what_is_handled_beyond_the_book_comes_first_from_the_unsexed(opened):
    receipt = opened(("MALE", "A", "SOLD", 130))
    entries = Entry.objects.filter(move=receipt.move_id).values_list("reason", "heads")
    assert sorted(entries) == [("BEYOND_BOOK", 10), ("SEXED", 20), ("SOLD", 130)]
    assert [beyond.heads for beyond in receipt.beyond_book] == [10]
    assert held("A", "MALE") == held("A", "UNSEXED") == 0
    assert differences() == []


def test_heads_seen_and_put_back_prove_that_they_stand_there(opened):
    receipt = opened(pond="B", haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 7),)))
    assert [(beyond.pond, beyond.heads) for beyond in receipt.beyond_book] == [("B", 7)]
    assert held("B") == 7


def test_an_office_move_the_book_does_not_hold_is_refused_with_the_way_out(opened):
    with pytest.raises(NotEnoughHeads) as refusal:
        opened(("FEMALE", "A", "B", 301), made_as="OFFICE")
    assert refusal.value.sentence == (
        "Pond A holds 300 Slider females by the book on 10 Jun 2026; 301 were asked for. "
        "Ask for 300 or fewer, or log the move at the bank if 301 were handled there."
    )
    assert held("B") == 0


def test_a_back_dated_office_move_is_checked_against_every_later_day(opened):
    opened(("FEMALE", "A", "SOLD", 290), on=JUNE)
    with pytest.raises(NotEnoughHeads, match="moves booked later leave only 10"):
        opened(("FEMALE", "A", "B", 11), on=MAY, made_as="OFFICE")
    opened(("FEMALE", "A", "B", 10), on=MAY, made_as="OFFICE")
    assert (held("A"), held("A", on=dt.date(2026, 5, 31)), held("B", on=MAY)) == (0, 290, 10)
    assert differences() == []


def test_a_back_dated_fact_is_filled_up_where_a_later_day_would_fall_below_none(opened):
    opened(("FEMALE", "A", "SOLD", 300), on=JUNE)
    receipt = opened(("FEMALE", "A", "DIED", 4), on=MAY)
    assert (held("A", on=MAY), held("A")) == (300, 0)
    assert held("A", "UNSEXED") == 16
    assert receipt.beyond_book == ()
    assert differences() == []


def test_the_same_key_again_gives_the_first_receipt(opened):
    key = uuid.uuid4()
    first = opened(("FEMALE", "A", "B", 5), key=key)
    again = opened(("FEMALE", "A", "B", 5), key=key)
    assert (again.move_id, again.is_replay, first.is_replay) == (first.move_id, True, False)
    assert held("B") == 5


def test_the_same_key_with_other_content_is_refused(opened):
    key = uuid.uuid4()
    opened(("FEMALE", "A", "B", 5), key=key)
    with pytest.raises(KeyReused):
        opened(("FEMALE", "A", "B", 6), key=key)
    assert held("B") == 5


def test_a_reversal_takes_a_move_back_on_its_own_day_once(opened, farm):
    move = the_move(opened(("FEMALE", "A", "B", 5)))
    receipt = ledger.reverse(move, key=uuid.uuid4(), by=farm, today=TODAY)
    assert receipt.happened_on == move.happened_on
    assert (held("A"), held("B", on=JUNE)) == (300, 0)
    with pytest.raises(AlreadyReversed):
        ledger.reverse(move, key=uuid.uuid4(), by=farm, today=TODAY)
    with pytest.raises(CannotReverse):
        ledger.reverse(the_move(receipt), key=uuid.uuid4(), by=farm, today=TODAY)
    assert differences() == []


def test_a_purchase_already_moved_on_is_corrected_but_not_reversed(post, farm):
    batch = BatchDraft("P1", "BOUGHT", MAY)
    bought = the_move(post(("FEMALE", "BOUGHT", "A", 40, {"batch": "P1"}), on=MAY, batches=(batch,)))
    post(("FEMALE", "A", "B", 30), on=JUNE)
    with pytest.raises(NotEnoughHeads, match="cannot be taken back"):
        ledger.reverse(bought, key=uuid.uuid4(), by=farm, today=TODAY)
    line = Line("slider", "FEMALE", "BOUGHT", "A", 35, batch="P1")
    draft = Draft(uuid.uuid4(), MAY, (line,), made_as="OFFICE", batches=(batch,))
    receipt = ledger.correct(bought, draft, by=farm, today=TODAY)
    assert (held("A"), held("A", on=MAY), held("B")) == (5, 35, 30)
    assert the_move(receipt).replaces == bought
    assert ledger.correct(bought, draft, by=farm, today=TODAY).is_replay
    assert differences() == []


def test_a_correction_that_leaves_too_few_for_later_moves_is_refused_in_the_office(post, farm):
    batch = BatchDraft("P1", "BOUGHT", MAY)
    bought = the_move(post(("FEMALE", "BOUGHT", "A", 40, {"batch": "P1"}), on=MAY, batches=(batch,)))
    post(("FEMALE", "A", "B", 30), on=JUNE)
    line = Line("slider", "FEMALE", "BOUGHT", "A", 20, batch="P1")
    with pytest.raises(NotEnoughHeads):
        ledger.correct(
            bought,
            Draft(uuid.uuid4(), MAY, (line,), made_as="OFFICE", batches=(batch,)),
            by=farm,
            today=TODAY,
        )
    assert (held("A"), held("B")) == (10, 30)


def test_after_a_close_a_late_fact_is_booked_on_the_first_open_day(opened, farm):
    ledger.close_month(MAY, by=farm, today=TODAY)
    receipt = opened(("FEMALE", "A", "DIED", 3), on=MAY)
    assert (receipt.happened_on, receipt.booked_on, receipt.is_late) == (MAY, dt.date(2026, 6, 1), True)
    assert (held("A", on=dt.date(2026, 5, 31)), held("A", on=dt.date(2026, 6, 1))) == (300, 297)
    assert differences() == []


def test_the_database_itself_refuses_an_entry_in_a_closed_month(opened, farm):
    ledger.close_month(MAY, by=farm, today=TODAY)
    entry = Entry.objects.first()
    with pytest.raises(IntegrityError, match="closed"), transaction.atomic():
        Entry.objects.create(
            move=entry.move, line=99, source=entry.source, target=entry.target, heads=1,
            reason="OPENING", happened_on=MAY, booked_on=MAY,
        )  # fmt: skip


def test_months_are_closed_in_order_once_they_are_over(farm):
    with pytest.raises(CannotClose, match="not over"):
        ledger.close_month(TODAY, by=farm, today=TODAY)
    ledger.close_month(dt.date(2026, 4, 1), by=farm, today=TODAY)
    with pytest.raises(CannotClose, match="already"):
        ledger.close_month(dt.date(2026, 4, 30), by=farm, today=TODAY)
    with pytest.raises(CannotClose, match="already"):
        ledger.close_month(dt.date(2026, 3, 1), by=farm, today=TODAY)
    ledger.close_month(MAY, by=farm, today=TODAY)


def test_sexing_changes_the_class_within_the_pond(opened):
    opened(("UNSEXED", "A", "A", 12, {"to_class": "FEMALE"}))
    assert (held("A"), held("A", "UNSEXED")) == (312, 8)
    assert Entry.objects.latest("pk").reason == "SEXED"


def test_an_opening_is_the_first_count_with_its_error(farm):
    draft = ledger.opening_draft(
        pond="A", kind="slider", day=MAY, heads={"FEMALE": 90, "MALE": 30}, how_known="SEINED",
        plus_or_minus={"FEMALE": 19.59964}, batch=BatchDraft("OLD", "OPENING", MAY), key=uuid.uuid4(),
    )  # fmt: skip
    ledger.record(draft, by=farm, today=TODAY)
    count = Count.objects.get()
    assert (count.females, count.males, count.males_se, count.juveniles) == (90, 30, 0, None)
    # 95 % half-width / 1.959964 (normal quantile).
    assert count.females_se == pytest.approx(10, abs=1e-6)
    assert Batch.objects.get().source == "OPENING"


def test_a_count_leaves_the_book_alone_unless_it_resets_it(opened, farm):
    counted = CountDraft("A", "slider", JUNE, "SEINED", females=280, females_se=12, males=101, males_se=5)
    ledger.accept_count(counted, key=uuid.uuid4(), by=farm, today=TODAY)
    assert held("A") == 300
    with pytest.raises(CannotReset):
        ledger.accept_count(counted, key=uuid.uuid4(), by=farm, today=TODAY, resets_book=True)
    key = uuid.uuid4()
    done = ledger.accept_count(
        counted, key=key, by=farm, today=TODAY, resets_book=True, reason="Owner's decision after two hauls."
    )
    assert (held("A"), held("A", "MALE"), held("A", "UNSEXED")) == (280, 101, 20)
    assert set(done.move.entries.values_list("reason", flat=True)) == {"COUNT_RESET"}
    again = ledger.accept_count(
        counted, key=key, by=farm, today=TODAY, resets_book=True, reason="Owner's decision after two hauls."
    )
    assert again == done
    assert differences() == []


@pytest.mark.parametrize(
    ("lines", "more", "refusal", "words"),
    [
        ([("FEMALE", "A", "B", -3)], {}, BadHeads, "“-3” heads in line 1"),
        ([("FEMALE", "A", "B", 0)], {}, BadHeads, "whole number from 1"),
        ([("FEMALE", "A", "B", 10**9)], {}, BadHeads, "100\u202f000"),
        ([("FEMALE", "A", "B", 1)], {"on": dt.date(2026, 7, 1)}, DayInFuture, "after today"),
        ([("FEMALE", "A", "B", 1)], {"on": dt.date(2023, 12, 31)}, BeforePondOpened, "opened on 1 Jan 2024"),
        ([("FEMALE", "A", "Z", 1)], {}, UnknownPlace, "no pond “Z”"),
        ([("FEMALE", "A", "A", 1)], {}, SamePlace, "the same place"),
        ([("FEMALE", "BOUGHT", "A", 1)], {}, BatchMissing, "name their batch"),
        ([("FEMALE", "A", "B", 1)], {"note": "x" * 5_000_000}, NoteTooLong, "5\u202f000\u202f000 characters"),
        ([], {}, NothingToPost, "Nothing was typed"),
    ],
)
def test_bad_input_gets_its_sentence_and_nothing_is_written(opened, lines, more, refusal, words):
    before = (Move.objects.count(), Entry.objects.count(), MonthEnd.objects.count(), Batch.objects.count())
    with pytest.raises(refusal, match=words):
        opened(*lines, **more)
    assert (
        Move.objects.count(), Entry.objects.count(), MonthEnd.objects.count(), Batch.objects.count()
    ) == before  # fmt: skip


def test_a_kind_is_refused_where_it_is_not_allowed_or_not_kept_with_another(opened, farm):
    def snappers(target, **more):
        batch = BatchDraft("S1", "BOUGHT", JUNE)
        line = Line("snapper", "FEMALE", "BOUGHT", target, 2, batch="S1")
        return ledger.record(
            Draft(uuid.uuid4(), JUNE, (line,), batches=(batch,), **more), by=farm, today=TODAY
        )

    with pytest.raises(KindNotAllowed, match="not allowed in pond B"):
        snappers("B")
    opened(("FEMALE", "A", "C", 5))
    with pytest.raises(KeptApart, match="not kept together with Slider"):
        snappers("C", made_as="OFFICE")
    assert snappers("C").warnings == (
        "Snapper is not kept together with Slider, which stand in pond C or come into it.",
    )


def test_an_unknown_kind_is_refused(farm):
    line = Line("toad", "FEMALE", "A", "B", 1)
    with pytest.raises(UnknownKind, match="toad"):
        ledger.record(Draft(uuid.uuid4(), JUNE, (line,)), by=farm, today=TODAY)


def test_a_batch_is_posted_whole_or_not_at_all_and_checked_in_the_order_of_days(opened, farm):
    def move(heads, source, target, on):
        return Draft(uuid.uuid4(), on, (Line("slider", "FEMALE", source, target, heads),), made_as="OFFICE")

    later_first = [move(50, "B", "C", JUNE), move(50, "A", "B", MAY)]
    assert len(ledger.record_all(later_first, by=farm, today=TODAY)) == 2
    with pytest.raises(NotEnoughHeads) as refusal:
        ledger.record_all([move(10, "A", "B", JUNE), move(11, "B", "C", JUNE)], by=farm, today=TODAY)
    assert refusal.value.draft == 1
    assert (held("A"), held("B"), held("C")) == (250, 0, 50)
    assert differences() == []


def test_papers_stand_with_the_batch_and_with_the_move(opened):
    from stock.drafts import PaperDraft

    bought = BatchDraft(
        "P9", "BOUGHT", JUNE, "Old Levee Turtles", "SECOND", paper=PaperDraft(document="Bill 7")
    )
    opened(
        ("FEMALE", "BOUGHT", "B", 4, {"batch": "P9"}),
        ("MALE", "A", "SOLD", 2),
        batches=(bought,),
        papers=(PaperDraft(party="Bend Hatchery", licence="L-3"),),
    )
    assert Paper.objects.filter(batch__code="P9", document="Bill 7").count() == 1
    assert Paper.objects.filter(move__isnull=False, party="Bend Hatchery").count() == 1


def test_the_ledger_is_never_changed_nor_deleted(opened):
    entry = Entry.objects.first()
    with pytest.raises(NeverChanged):
        entry.save()
    with pytest.raises(NeverChanged):
        Entry.objects.update(heads=1)
    for table in ("stock_entry", "stock_move", "stock_batch", "stock_cell", "stock_count"):
        if table == "stock_count":
            continue
        for statement in (f"UPDATE {table} SET id = id", f"DELETE FROM {table}"):
            with (
                pytest.raises(IntegrityError, match="append-only"),
                transaction.atomic(),
                connection.cursor() as cursor,
            ):
                cursor.execute(statement)


def test_the_database_refuses_a_change_of_kind_or_of_class_between_ponds(opened):
    entry = Entry.objects.first()
    slider, snapper = Kind.objects.get(code="slider"), Kind.objects.get(code="snapper")
    pond_a, pond_b = Pond.objects.get(code="A"), Pond.objects.get(code="B")
    females = Cell.objects.get(pond=pond_a, of_class="FEMALE")
    other_kind = Cell.objects.create(pond=pond_b, kind=snapper, of_class="FEMALE")
    other_class = Cell.objects.create(pond=pond_b, kind=slider, of_class="MALE")
    for target, words in ((other_kind, "same kind"), (other_class, "class changes only")):
        with pytest.raises(IntegrityError, match=words), transaction.atomic():
            Entry.objects.create(
                move=entry.move, line=98, source=females, target=target, heads=1,
                reason="MOVED", happened_on=JUNE, booked_on=JUNE,
            )  # fmt: skip


def test_marked_turtles_must_be_named_in_the_office_and_are_lost_from_sight_at_the_bank(post, farm):
    batch = BatchDraft("M", "BOUGHT", MAY)
    marks = tuple(MarkDraft(f"T{number}", "slider", "FEMALE", "A") for number in range(3))
    post(("FEMALE", "BOUGHT", "A", 4, {"batch": "M"}), on=MAY, batches=(batch,), marks=marks)
    post(("FEMALE", "A", "B", 1, {"turtles": ("T2",)}), on=JUNE, made_as="OFFICE")
    assert Turtle.objects.get(code="T2").cell.pond.code == "B"
    with pytest.raises(WhichTurtles, match="T0, T1"):
        post(("FEMALE", "A", "SOLD", 2), on=JUNE, made_as="OFFICE")
    with pytest.raises(TurtleElsewhere):
        post(("FEMALE", "A", "SOLD", 2, {"turtles": ("T2",)}), on=JUNE, made_as="OFFICE")
    moved = post(("FEMALE", "A", "SOLD", 2), on=JUNE)
    assert Turtle.objects.get(code="T0").cell is None
    assert differences() == []
    ledger.reverse(the_move(moved), key=uuid.uuid4(), by=farm, today=TODAY)
    assert Turtle.objects.get(code="T0").cell.pond.code == "A"
    assert differences() == []
