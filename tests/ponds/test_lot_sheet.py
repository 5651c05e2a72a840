"""The lots sheet: it loads all or none, names each bad row, and the export loads back."""

import datetime as dt
import io

import pytest
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft
from ponds.lot_sheet import LOTS_SHEET, lots_csv, lots_xlsx
from ponds.lots import read_lot
from ponds.models import Basket, Candling, EggLot, Hatch
from ponds.sheets import load, registered_sheets, template_csv
from tests.ponds.lots import DUG_ON, a_kind, a_lot, a_pond

pytestmark = pytest.mark.django_db
HEADINGS = (
    "lot,kind,set on,incubator,temperature,temperature unit,basket,container,pond,dug on,eggs,candled on,candled clear,"
    "candled dead,hatched on,hatched,hatch clear,hatch dead,nothing left"
)
GOOD = (
    "s-1,slider,2023-05-02,Room 1,82,F,1,,A,2023-05-01,18,2023-05-16,2,1,2023-07-08,14,1,,",
    "s-1,slider,2023-05-02,Room 1,82,F,2,,A,2023-05-01,20,,,,,,,,",
    "s-1,slider,2023-05-02,Room 1,82,F,,,,,,,,,2023-07-09,17,1,1,yes",
    "s-2,slider,2023-05-03,,,,,,,,,,,,,,,,",
)


def sheet(*rows: str) -> bytes:
    return "\n".join([HEADINGS, *rows]).encode()


def loaded(*rows: str, **more):
    return load(LOTS_SHEET, "lots.csv", sheet(*rows), **more)


@pytest.fixture(autouse=True)
def farm():
    a_pond()


def test_a_sheet_sets_lots_with_baskets_candlings_and_hatches(django_assert_max_num_queries):
    with django_assert_max_num_queries(25):
        outcome = loaded(*GOOD)
    assert str(outcome.written) == "4 new, 0 changed, 0 as they were"
    state = read_lot("S-1")
    assert [(one.number, one.container, one.eggs) for one in state.baskets] == [(1, 1, 18), (2, 1, 20)]
    whole = state.whole()
    assert (whole.hatched, whole.clear, whole.dead, whole.left, whole.is_done) == (31, 4, 2, 1, True)
    assert read_lot("S-2").row.temperature_mk is None


def test_the_same_sheet_twice_writes_once_and_new_rows_go_into_the_lot():
    loaded(*GOOD)
    assert str(loaded(*GOOD).written) == "0 new, 0 changed, 4 as they were"
    more = "s-2,slider,2023-05-03,,,,1,,A,2023-05-02,12,,,,,,,,"
    assert str(loaded(*GOOD, more).written) == "1 new, 0 changed, 4 as they were"
    assert (EggLot.objects.count(), Basket.objects.count(), Candling.objects.count(), Hatch.objects.count()) == (
        2, 3, 1, 2,
    )  # fmt: skip


def test_a_dry_run_counts_and_writes_nothing():
    outcome = loaded(*GOOD, dry_run=True)
    assert (str(outcome.written), outcome.is_written) == ("4 new, 0 changed, 0 as they were", False)
    assert not EggLot.objects.exists()


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("new,slider,2023-05-02,,,,,,,,,,,,,,,,", "lot", "a page has that address"),
        ("s 3,slider,2023-05-02,,,,,,,,,,,,,,,,", "lot", "is not a lot's code"),
        ("s-3,newt,2023-05-02,,,,,,,,,,,,,,,,", "kind", "There is no kind newt"),
        ("s-3,slider,,,,,,,,,,,,,,,,,", "set on", "Needed"),
        ("s-3,slider,2999-05-02,,,,,,,,,,,,,,,,", "set on", "is not between"),
        ("s-3,slider,2099-05-02,,,,,,,,,,,,,,,,", "set on", "still to come"),
        ("s-3,slider,2023-05-02,,82,,,,,,,,,,,,,,", "temperature unit", "write F or C"),
        ("s-3,slider,2023-05-02,,82,C,,,,,,,,,,,,,", "temperature", "82 °C is not between 15 and 40"),
        ("s-3,slider,2023-05-02,,hot,F,,,,,,,,,,,,,", "temperature", "hot is not a number"),
        ("s-1,slider,2023-05-02,Room 2,82,F,3,,A,2023-05-01,5,,,,,,,,", "incubator", "“Room 1” in row 2"),
        ("s-3,slider,2023-05-02,,,,,,A,2023-05-01,5,,,,,,,,", "basket", "number its basket 1, 2, 3"),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-01,,,,,,,,,", "eggs", "Needed for basket 1"),
        ("s-3,slider,2023-05-02,,,,1,,Q,2023-05-01,5,,,,,,,,", "pond", "There is no pond Q"),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-03,5,,,,,,,,", "dug on", "after lot S-3 was set"),
        (
            "s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,2023-05-16,6,0,,,,,",
            "candled clear",
            "was set with 5 eggs",
        ),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,2023-05-16,,0,,,,,", "candled clear", "Needed where"),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,,,,2023-05-09,3,,,", "hatched on", "before day 20"),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,,,,,3,,,", "hatched on", "Needed where"),
        ("s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,,,,2023-07-09,3,1,2,", "hatched", "and 6 more"),
        (
            "s-3,slider,2023-05-02,,,,1,,A,2023-05-01,5,,,,2023-07-09,3,1,,maybe",
            "nothing left",
            "neither yes nor no",
        ),
        (
            "s-1,slider,2023-05-02,Room 1,82,F,1,,A,2023-05-01,19,,,,,,,,",
            "eggs",
            "Basket 1 has “18” in row 2",
        ),
        (
            "s-1,slider,2023-05-02,Room 1,82,F,3,1,A,2023-05-01,9,,,,,,,,",
            "container",
            "holds baskets 1 and 2",
        ),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_written(row, column, words):
    outcome = loaded(*GOOD, row)
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(6, column)]
    assert words in outcome.bad_rows[0].reason
    assert not EggLot.objects.exists()


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (
            "s-1,slider,2023-05-02,Shelf,82,F,3,,A,2023-05-01,9,,,,,,,,",
            "lot",
            "stands already, of other facts: Slider",
        ),
        (
            "s-1,slider,2023-05-02,Room 1,82,F,1,,A,2023-05-01,9,,,,,,,,",
            "basket",
            "stands already: 18 eggs of pond A",
        ),
    ],
)
def test_a_row_against_what_stands_is_refused(row, column, words):
    loaded(*GOOD)
    outcome = loaded(row)
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(2, column)]
    assert words in outcome.bad_rows[0].reason
    assert Basket.objects.count() == 2


def test_the_export_loads_back_as_it_was_and_into_an_empty_book(transactional_db):
    from ponds import guards
    from tests.factories import PondFactory

    PondFactory(code="B", opened_on=dt.date(2020, 1, 1))
    a_pond()
    a_lot(
        "X-1",
        note="=1+1",
        baskets=(
            BasketDraft(a_pond(), DUG_ON, 18, note="top row"),
            BasketDraft(a_pond("B"), DUG_ON, 20),
            BasketDraft(a_pond("B"), DUG_ON, 7, container=9),
        ),
        candlings=(
            CandlingDraft(dt.date(2023, 5, 16), 2, 1, 1, "by wren"),
            CandlingDraft(dt.date(2023, 5, 26), 1, 0, 1),
            CandlingDraft(dt.date(2023, 5, 26), 0, 1),
        ),
        hatches=(
            HatchDraft(dt.date(2023, 7, 8), 12, 0, 1, 1, is_last=True),
            HatchDraft(dt.date(2023, 7, 9), 20, 2, 0),
        ),
    )
    a_lot("X-2", baskets=(), temperature=None)
    exported = lots_csv().encode("utf-8-sig")
    same = load(LOTS_SHEET, "lots.csv", exported)
    assert same.bad_rows == []
    assert str(same.written) == "0 new, 0 changed, 6 as they were"
    assert str(load(LOTS_SHEET, "lots.xlsx", lots_xlsx()).written) == "0 new, 0 changed, 6 as they were"

    from django.db import connection

    guards.remove(connection, "ponds")
    with connection.cursor() as cursor:
        for table in ("hatch", "candling", "basket", "egglot"):
            cursor.execute(f"DELETE FROM ponds_{table}")
    assert load(LOTS_SHEET, "lots.csv", exported).bad_rows == []
    assert lots_csv().encode("utf-8-sig") == exported


def test_days_and_counts_of_the_workbook_are_days_and_counts():
    a_lot("X-1", eggs=(18,))
    heading, row = load_workbook(io.BytesIO(lots_xlsx())).active.iter_rows(values_only=True)
    found = dict(zip(heading, row, strict=True))
    assert (found["set on"].date(), found["eggs"], found["lot"]) == (dt.date(2023, 5, 2), 18, "X-1")
    assert list(heading) == [column.name for column in LOTS_SHEET.columns]


def test_the_command_prints_the_template_and_loads(tmp_path):
    assert registered_sheets()["lots"] is LOTS_SHEET
    said = io.StringIO()
    call_command("load_sheet", "lots", "--template", stdout=said)
    assert said.getvalue().startswith("lot,kind,set on,")
    assert "needed" in template_csv(LOTS_SHEET)
    path = tmp_path / "lots.csv"
    path.write_bytes(sheet(*GOOD))
    call_command("load_sheet", "lots", str(path), "--dry-run", stdout=said)
    assert not EggLot.objects.exists()
    call_command("load_sheet", "lots", str(path), stdout=said)
    assert EggLot.objects.count() == 2
    path.write_bytes(sheet("s-9,newt,2023-05-02,,,,,,,,,,,,,,,,"))
    with pytest.raises(CommandError, match="Nothing was written"):
        call_command("load_sheet", "lots", str(path), stderr=said)
    assert "There is no kind newt" in said.getvalue()


def test_the_templates_own_example_loads():
    kind = a_kind()
    cells = [column.example.replace("2026", "2023") for column in LOTS_SHEET.columns]
    cells[1] = kind.code
    text = ",".join(column.name for column in LOTS_SHEET.columns) + "\n" + ",".join(cells)
    assert load(LOTS_SHEET, "lots.csv", text.encode()).bad_rows == []
    assert read_lot("2023-014").whole().is_done
