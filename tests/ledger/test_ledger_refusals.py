"""Bad input that once broke off in the database, and answers that once were wrong: each has its sentence now."""

import datetime as dt
import math
import uuid
from dataclasses import replace

import pytest

from ponds.models import Kind, Pond
from stock import ledger
from stock.book import by_pond_and_kind
from stock.check import differences
from stock.drafts import (
    BatchDraft,
    CatchLine,
    CountDraft,
    Draft,
    HaulDraft,
    Line,
    MarkDraft,
    PaperDraft,
)
from stock.models import Count, Move, Paper, Turtle
from stock.refusals import (
    BadHeads,
    BadLine,
    BatchMissing,
    BeforePondOpened,
    DayInFuture,
    LedgerRefusal,
    NoteTooLong,
    TurtleElsewhere,
    UnknownKind,
    UnknownPlace,
    UnknownTurtle,
)

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

TODAY = dt.date(2026, 6, 30)
MAY, JUNE = dt.date(2026, 5, 10), dt.date(2026, 6, 10)
BOUGHT = BatchDraft("P1", "BOUGHT", MAY)


@pytest.fixture
def farm(make_person):
    slider, cooter = (
        Kind.objects.create(code=code, common_name=code.title()) for code in ("slider", "cooter")
    )
    for code in "ABC":
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider, cooter)
    return make_person("owner", "wren")


@pytest.fixture
def post(farm):
    def post_lines(*lines, on=JUNE, made_as="BANK", key=None, **more):
        drafted = tuple(line if isinstance(line, Line) else Line("slider", *line) for line in lines)
        draft = Draft(key or uuid.uuid4(), on, drafted, made_as, **more)
        return ledger.record(draft, by=farm, today=TODAY)

    return post_lines


@pytest.fixture
def opened(post):
    post(
        Line("slider", "FEMALE", "BOUGHT", "A", 40, batch="P1", turtles=("T1", "T2")),
        on=MAY,
        batches=(BOUGHT,),
        marks=(MarkDraft("T1", "slider", "FEMALE", "A"), MarkDraft("T2", "slider", "FEMALE", "A")),
    )
    return post


def taken_back(receipt, farm):
    move = Move.objects.get(pk=receipt.move_id)
    return ledger.reverse(move, key=uuid.uuid4(), by=farm, today=TODAY)


def count(**changes):
    return replace(CountDraft("A", "slider", JUNE, "SEINED", females=30.0), **changes)


def haul(*catch, **more):
    return HaulDraft("SEINE", catch or (CatchLine("slider", "FEMALE", 3),), **more)


BAD = {
    "a mark of no kind": ({"marks": (MarkDraft("T9", "dragon", "FEMALE", "A"),)}, UnknownKind, "dragon"),
    "a mark of no class": ({"marks": (MarkDraft("T9", "slider", "HEN", "A"),)}, BadLine, "“HEN” is not a class"),
    "a mark outside": ({"marks": (MarkDraft("T9", "slider", "FEMALE", "SOLD"),)}, UnknownPlace, "no pond “SOLD”"),
    "a mark without code": ({"marks": (MarkDraft(" ", "slider", "FEMALE", "A"),)}, BadLine, "without its code"),
    "a long mark": ({"marks": (MarkDraft("T" * 41, "slider", "FEMALE", "A"),)}, NoteTooLong, "41 characters"),
    "a mark of another kind": (
        {"marks": (MarkDraft("T1", "cooter", "FEMALE", "A"),)}, UnknownTurtle, "belongs to a Slider, not to a Cooter",
    ),
    "a move made outside": ({"pond": "SOLD", "haul": haul()}, UnknownPlace, "no pond “SOLD”"),
    "a catch given twice": (
        {"pond": "A", "haul": haul(*[CatchLine("slider", "FEMALE", 3)] * 2)}, BadLine, "Slider females is given twice",
    ),
    "no effort": ({"pond": "A", "haul": haul(effort=0.0)}, BadLine, "effort of 0.0"),
    "a long effort": ({"pond": "A", "haul": haul(effort_typed="9" * 21)}, NoteTooLong, "21 characters"),
    "a count of no kind": ({"counts": (count(kind="dragon"),)}, UnknownKind, "dragon"),
    "a count in no pond": ({"counts": (count(pond="Z"),)}, UnknownPlace, "no pond “Z”"),
    "a count to come": ({"counts": (count(as_of=dt.date(2026, 7, 1)),)}, DayInFuture, "as of 1 Jul 2026"),
    "a count too early": ({"counts": (count(as_of=dt.date(2023, 7, 1)),)}, BeforePondOpened, "1 Jul 2023 is before"),
    "a count below none": ({"counts": (count(females=-1.0),)}, BadHeads, "“-1.0” counted"),
    "a count that is none": ({"counts": (count(females=math.nan),)}, BadHeads, "“nan” counted"),
    "a boundless count": ({"counts": (count(covariance=math.inf),)}, BadHeads, "“inf” is not a covariance"),
    "a count by hearsay": ({"counts": (count(how_known="HEARSAY"),)}, BadLine, "HEARSAY"),
    "a long batch code": ({"batches": (replace(BOUGHT, code="P" * 25),)}, NoteTooLong, "25 characters"),
    "a long seller": ({"batches": (replace(BOUGHT, party="P" * 121),)}, NoteTooLong, "party has 121"),
    "a batch out of nowhere": ({"batches": (replace(BOUGHT, code="P2", source="FOUND"),)}, BadLine, "FOUND"),
    "a long paper": ({"papers": (PaperDraft(licence="P" * 61),)}, NoteTooLong, "licence has 61"),
    "a character that is none": ({"note": "a\x00b"}, BadLine, "code 0"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_beside_the_lines_is_refused_in_words_and_nothing_is_written(opened, name):
    more, refusal, sentence = BAD[name]
    before = Move.objects.count()
    with pytest.raises(refusal, match=sentence):
        opened(("FEMALE", "A", "B", 1), **more)
    assert Move.objects.count() == before


def test_a_move_between_ponds_names_no_batch_that_is_not_there(opened):
    with pytest.raises(BatchMissing, match="no batch “P7”"):
        opened(("FEMALE", "A", "B", 1, "", "", "P7"))


@pytest.mark.parametrize(
    ("changes", "refusal"), [({"kind": "dragon"}, UnknownKind), ({"females": -3.0}, BadHeads)]
)
def test_a_bad_count_is_not_accepted(opened, farm, changes, refusal):
    with pytest.raises(refusal):
        ledger.accept_count(count(**changes), key=uuid.uuid4(), by=farm, today=TODAY)
    assert not Count.objects.exists()


def test_long_notes_on_what_is_not_a_move_are_refused_too(opened, farm):
    sold = Move.objects.get(pk=opened(("FEMALE", "A", "SOLD", 1)).move_id)
    long = "x" * 5_000_000
    with pytest.raises(NoteTooLong):
        ledger.reverse(sold, key=uuid.uuid4(), by=farm, today=TODAY, note=long)
    with pytest.raises(NoteTooLong):
        ledger.close_month(MAY, by=farm, today=TODAY, note=long)
    with pytest.raises(NoteTooLong):
        ledger.accept_count(count(), key=uuid.uuid4(), by=farm, today=TODAY, reason=long)


def test_a_key_is_answered_again_even_where_a_rule_changed_since(opened, farm):
    key = uuid.uuid4()
    first = opened(("FEMALE", "A", "B", 3), key=key)
    Pond.objects.get(code="B").kinds_allowed.clear()
    again = opened(("FEMALE", "A", "B", 3), key=key)
    assert (again.move_id, again.is_replay) == (first.move_id, True)


def test_one_move_twice_in_a_sheet_is_posted_once(opened, farm):
    draft = Draft(uuid.uuid4(), JUNE, (Line("slider", "FEMALE", "A", "B", 3),))
    receipts = ledger.record_all([draft, draft], by=farm, today=TODAY)
    assert [receipt.is_replay for receipt in receipts] == [False, True]
    assert len({receipt.move_id for receipt in receipts}) == 1
    assert differences() == []


def test_a_sheet_may_list_what_leaves_before_what_arrives_on_the_day(farm):
    leaves = Draft(uuid.uuid4(), JUNE, (Line("slider", "FEMALE", "A", "B", 5),), "OFFICE")
    arrives = Draft(
        uuid.uuid4(), JUNE, (Line("slider", "FEMALE", "BOUGHT", "A", 5, batch="P1"),), batches=(BOUGHT,)
    )
    receipts = ledger.record_all([leaves, arrives], by=farm, today=TODAY)
    assert receipts[0].move_id == Move.objects.get(key=leaves.key).pk
    heads = by_pond_and_kind(TODAY)
    assert [held.females for held in heads.values()] == [5]


def test_a_later_row_may_name_the_batch_of_an_earlier_one(farm):
    first = Draft(
        uuid.uuid4(), MAY, (Line("slider", "FEMALE", "BOUGHT", "A", 5, batch="P1"),), batches=(BOUGHT,)
    )
    second = Draft(uuid.uuid4(), JUNE, (Line("slider", "MALE", "BOUGHT", "A", 5, batch="P1"),))
    assert len(ledger.record_all([second, first], by=farm, today=TODAY)) == 2


def test_a_paper_typed_for_a_batch_that_stands_is_kept_once(opened, farm):
    paper = PaperDraft(party="Reed & Sons", document="permit 4")
    for _ in range(2):
        opened(("FEMALE", "BOUGHT", "A", 1, "", "", "P1"), batches=(replace(BOUGHT, paper=paper),))
    assert [kept.document for kept in Paper.objects.all()] == ["permit 4"]


def test_an_arrival_is_taken_back_with_its_batch(opened, farm):
    taken_back(opened(("FEMALE", "BOUGHT", "B", 6, "", "", "P1")), farm)
    assert differences() == []


def test_a_turtle_that_left_and_came_back_hinders_a_reversal(opened, farm):
    first = opened(("FEMALE", "A", "B", 1, "", "", "", ("T1",)), on=JUNE)
    opened(("FEMALE", "B", "C", 1, "", "", "", ("T1",)), on=dt.date(2026, 6, 12))
    opened(("FEMALE", "C", "B", 1, "", "", "", ("T1",)), on=dt.date(2026, 6, 14))
    with pytest.raises(TurtleElsewhere, match="T1 has moved on since"):
        taken_back(first, farm)
    assert differences() == []


def test_a_turtle_out_of_sight_and_found_again_is_not_put_back_where_it_was(opened, farm):
    sold = opened(("FEMALE", "A", "SOLD", 39))
    assert Turtle.objects.get(code="T1").cell is None
    opened(("FEMALE", "B", "C", 1, "", "", "", ("T1",)), on=dt.date(2026, 6, 12))
    taken_back(sold, farm)
    assert Turtle.objects.get(code="T1").cell.pond.code == "C"
    assert differences() == []


def test_a_purchase_is_mended_though_its_marked_turtle_moved_on(opened, farm):
    opened(("FEMALE", "A", "B", 1, "", "", "", ("T1",)), made_as="OFFICE")
    bought = Move.objects.get(happened_on=MAY)
    mended = Draft(
        uuid.uuid4(),
        MAY,
        (Line("slider", "FEMALE", "BOUGHT", "A", 42, batch="P1", turtles=("T1", "T2")),),
        batches=(BOUGHT,),
        marks=(MarkDraft("T1", "slider", "FEMALE", "A"), MarkDraft("T2", "slider", "FEMALE", "A")),
    )
    ledger.correct(bought, mended, by=farm, today=TODAY)
    assert Turtle.objects.get(code="T1").cell.pond.code == "B"
    assert sorted(held.females for held in by_pond_and_kind(TODAY).values()) == [1, 41]
    assert differences() == []


def test_a_correction_to_a_later_day_leaves_no_fewer_heads_than_marks_between(opened, farm):
    first = opened(("FEMALE", "BOUGHT", "B", 2, "", "", "P1"), on=MAY)
    opened(marks=(MarkDraft("T7", "slider", "FEMALE", "B"), MarkDraft("T8", "slider", "FEMALE", "B")), on=MAY)
    later = Draft(uuid.uuid4(), JUNE, (Line("slider", "FEMALE", "BOUGHT", "B", 2, batch="P1"),), "OFFICE")
    with pytest.raises(LedgerRefusal, match=r"fewer females than are marked there between 10 May 2026"):
        ledger.correct(Move.objects.get(pk=first.move_id), later, by=farm, today=TODAY)
    assert differences() == []


def test_a_turtle_booked_sold_and_seen_again_is_said_to_be_back(opened):
    opened(("FEMALE", "A", "SOLD", 1, "", "", "", ("T1",)))
    receipt = opened(("FEMALE", "B", "C", 1, "", "", "", ("T1",)), on=dt.date(2026, 6, 12))
    assert receipt.warnings == ("Turtle T1 was booked sold before; it is in the register again.",)
