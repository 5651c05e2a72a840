"""The stock, moves and hauls sheets: all rows or none, each bad row named, twice loaded once posted."""

import datetime as dt
import io

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.urls import reverse

from ponds.models import Kind, Pond
from ponds.sheets import load, registered_sheets
from stock.book import by_pond_and_kind
from stock.check import differences
from stock.models import Batch, Count, Haul, Move

pytestmark = pytest.mark.django_db


@pytest.fixture
def two_ponds():
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1)).kinds_allowed.add(slider)


def loaded(what, text, **more):
    return load(registered_sheets()[what], f"{what}.csv", text.encode(), **more)


OPENING = """pond,kind,day,females,females plus or minus,males,how known
A,slider,2025-01-02,300,20,100,from the notebook
B,slider,2025-01-02,90,,30,seined
"""


def held(code):
    heads = by_pond_and_kind(dt.date(2026, 1, 1))
    return heads[Pond.objects.get(code=code).pk, Kind.objects.get(code="slider").pk]


def test_the_stock_sheet_opens_ponds_with_their_first_count(two_ponds):
    outcome = loaded("stock", OPENING)
    assert (outcome.bad_rows, outcome.written.new) == ([], 2)
    assert (held("A").females, held("B").males) == (300, 30)
    # 20 / 1.959964: plus-or-minus is a 95 % half-width (normal quantile).
    assert Count.objects.get(pond__code="A").females_se == pytest.approx(10.204269, abs=1e-5)
    assert Batch.objects.filter(note="Origin not known, before the register.").count() == 2
    assert differences() == []


def test_the_same_stock_sheet_again_changes_nothing(two_ponds):
    loaded("stock", OPENING)
    assert loaded("stock", OPENING).written.same == 2
    assert Move.objects.count() == 2


def test_another_opening_of_the_same_pond_and_kind_is_refused(two_ponds):
    loaded("stock", OPENING)
    again = loaded("stock", OPENING.replace("300", "310"))
    assert [(bad.row, bad.column) for bad in again.bad_rows] == [(2, "pond")]
    assert held("A").females == 300


def test_every_bad_row_is_named_and_nothing_is_written(two_ponds):
    text = (
        OPENING
        + "Z,slider,2025-01-02,5,,1,a guess\nA,slider,2019-01-02,1,,1,a guess\nB,toad,2025-01-02,1,,,a guess\n"
    )
    outcome = loaded("stock", text)
    assert outcome.bad_rows
    assert Move.objects.count() == 0
    outcome = loaded("stock", text.replace("A,slider,2019-01-02,1,,1,a guess\n", ""))
    assert {(bad.row, bad.column) for bad in outcome.bad_rows} == {(4, "pond"), (5, "kind")}
    assert Move.objects.count() == 0


MOVES = """day,move,pond,kind,class,from,to,heads,becomes,cause,batch,seller or buyer
2025-04-01,1,A,slider,female,A,B,10,,,,
2025-04-01,1,A,slider,male,A,sold,4,,,,Bend Hatchery
2025-03-01,,B,slider,female,bought,B,6,,,P7,Old Levee
2025-05-01,,A,slider,male,A,died,2,,bites,,
"""


def test_the_moves_sheet_posts_rows_of_one_move_together_in_the_order_of_days(two_ponds):
    loaded("stock", OPENING)
    outcome = loaded("moves", MOVES)
    assert (outcome.bad_rows, outcome.written.new) == ([], 3)
    assert (held("A").females, held("A").males, held("B").females) == (290, 94, 106)
    assert Move.objects.get(happened_on=dt.date(2025, 4, 1)).entries.count() == 2
    assert loaded("moves", MOVES).written.same == 3
    assert differences() == []


def test_a_dry_run_of_the_moves_sheet_writes_nothing(two_ponds):
    loaded("stock", OPENING)
    outcome = loaded("moves", MOVES, dry_run=True)
    assert (outcome.written.new, outcome.made) == (3, "3 moves from 4 rows")
    assert Move.objects.count() == 2


def test_a_slip_that_empties_a_pond_is_said_before_it_is_written(two_ponds):
    loaded("stock", OPENING)
    slip = MOVES.replace("male,A,sold,4", "male,A,sold,9999")
    outcome = loaded("moves", slip, dry_run=True)
    assert outcome.written.warnings == (
        "Row 2: 9\u202f899 Slider males more than the book holds in pond A on 1 Apr 2025.",
        "Row 5: 2 Slider males more than the book holds in pond A on 1 May 2025.",
    )


@pytest.mark.parametrize(
    ("line", "column", "value"),
    [
        ("2025-03-01,,A,slider,female,bought,Q,6", "to", "Q"),
        ("2025-03-01,,A,slider,female,Q,A,6", "from", "Q"),
        ("2025-03-01,,Q,slider,female,A,B,6", "pond", "Q"),
    ],
)
def test_a_pond_that_is_not_there_is_named_by_the_column_it_stands_in(two_ponds, line, column, value):
    loaded("stock", OPENING)
    outcome = loaded("moves", f"day,move,pond,kind,class,from,to,heads\n{line}\n")
    assert [(bad.row, bad.column, bad.value) for bad in outcome.bad_rows] == [(2, column, value)]
    assert "There is no pond “Q”" in outcome.bad_rows[0].reason


def test_what_cannot_be_read_and_what_the_register_does_not_have_are_named_in_one_go(two_ponds):
    loaded("stock", OPENING)
    lines = (
        "2025-03-01,A,slider,female,bought,Q,6\nsoon,A,slider,female,A,B,6\n2025-03-02,A,toad,male,A,B,6\n"
    )
    outcome = loaded("moves", f"day,pond,kind,class,from,to,heads\n{lines}2025-03-03,A,slider,male,A,B,6\n")
    assert {(bad.row, bad.column) for bad in outcome.bad_rows} == {(3, "day"), (2, "to"), (4, "kind")}
    assert outcome.is_more_to_check
    assert Move.objects.count() == 2


def command(*args):
    out = io.StringIO()
    call_command("load_sheet", *args, stdout=out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            "2025-04-01,A,slider,female,A,sold,99583",
            "99\u202f283 Slider females more than the book holds in pond A",
        ),
        (
            "2024-12-03,B,slider,female,bought,B,5",
            "3 Dec 2024 is before the day on which the stock of pond B was opened (2 Jan 2025)",
        ),
    ],
)
def test_the_command_writes_what_is_asked_about_only_where_it_is_told_yes(two_ponds, tmp_path, line, words):
    loaded("stock", OPENING)
    path = tmp_path / "moves.csv"
    path.write_text(f"day,pond,kind,class,from,to,heads\n{line}\n")
    said = io.StringIO()
    with pytest.raises(CommandError, match=r"Nothing was written .*--yes"):
        call_command("load_sheet", "moves", str(path), stdout=said)
    assert f"Is this right? Row 2: {words}" in said.getvalue()
    assert Move.objects.count() == 2
    assert "Dry run, nothing written: 1 new" in command("moves", str(path), "--dry-run")
    assert Move.objects.count() == 2
    assert "1 new, 0 changed" in command("moves", str(path), "--yes")
    assert Move.objects.count() == 3
    assert command("moves", str(path)) == "0 new, 0 changed, 1 as they were.\n"


def test_the_page_asks_again_where_the_book_has_changed_since_the_check(owner, two_ponds):
    loaded("stock", OPENING)
    text = "day,pond,kind,class,from,to,heads\n2025-04-01,A,slider,female,A,sold,290\n"
    owner.post(reverse("ponds:sheets"), {"what": "moves", "file": ContentFile(text.encode(), "moves.csv")})
    loaded("moves", "day,pond,kind,class,from,to,heads\n2025-03-01,A,slider,female,A,B,20\n")
    page = owner.post(reverse("ponds:sheet-write")).content.decode()
    assert "10 Slider females more than the book holds in pond A" in page
    assert held("A").females == 280
    assert owner.post(reverse("ponds:sheet-write")).status_code == 303
    assert held("A").females == 0


def test_the_hauls_sheet_keeps_the_catch_and_books_the_dead(two_ponds):
    loaded("stock", OPENING)
    outcome = loaded(
        "hauls",
        "day,pond,method,kind,class,caught,dead in net,carrying marks\n"
        "2025-03-10,A,seine,slider,female,60,1,0\n2025-03-10,A,seine,slider,male,25,,\n",
    )
    assert outcome.bad_rows == []
    # A 0 is who looked and found none, an empty cell nobody who looked.
    assert list(Haul.objects.get().lines.order_by("pk").values_list("carrying_marks", flat=True)) == [0, None]
    assert (held("A").females, Haul.objects.get().lines.count()) == (299, 2)
    twice = loaded(
        "hauls",
        "day,pond,method,kind,class,caught\n2025-03-11,A,seine,slider,female,6\n2025-03-11,A,seine,slider,female,5\n",
    )
    assert [bad.row for bad in twice.bad_rows] == [2, 3]


def test_the_hauls_sheet_takes_the_effort_and_an_older_sheet_is_still_the_same_haul(two_ponds):
    loaded("stock", OPENING)
    older = "day,pond,method,kind,class,caught\n2025-03-10,A,seine,slider,female,60\n"
    loaded("hauls", older)
    with_effort = older.replace("caught\n", "caught,effort\n").replace(",60\n", ",60,{}\n")
    loaded("hauls", with_effort.format(""))
    assert Haul.objects.get().effort is None
    loaded("hauls", with_effort.format("4.5").replace("03-10", "03-11"))
    assert [(haul.effort, haul.effort_typed) for haul in Haul.objects.filter(effort__gt=0)] == [(4.5, "4.5")]
    rows = ("2025-03-12,A,seine,slider,female,6,4", "2025-03-12,A,seine,slider,male,2,5")
    two = "\n".join(("day,pond,method,kind,class,caught,effort", *rows))
    assert "One haul has one effort" in loaded("hauls", two).bad_rows[0].reason
