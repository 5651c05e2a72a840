"""Sheets: headings, cells, all rows or none, the template, and the command."""

import csv
import datetime as dt
import io

import pytest
from django.core.management import CommandError, call_command

from ponds.cell_values import Choice, Code, Codes, Day, Number, PondCode, Text, WholeNumber, YesNo
from ponds.models import Pond, PondState
from ponds.pond_sheet import PONDS_SHEET
from ponds.sheet_files import read_rows
from ponds.sheets import (
    BadRow,
    load,
    parse_rows,
    registered_sheets,
    template_csv,
    template_xlsx,
    told_once,
)
from tests.factories import KindFactory, PondFactory, UserFactory

pytestmark = pytest.mark.django_db

SLIDER_POND = (
    "code,opened on,name,water area,area unit,head limit,kinds\nA,2019-03-01,Levee,2.5,acres,8000,slider\n"
)


def load_ponds(text: str, **options):
    return load(PONDS_SHEET, "ponds.csv", text.encode(), **options)


@pytest.fixture
def slider():
    return KindFactory(code="slider", common_name="Slider")


def test_headings_are_matched_whatever_their_order_case_and_dashes(slider):
    outcome = load_ponds("KINDS, Opened_On ,CODE,head-limit\nslider,2019-03-01,A,8000\n")
    assert outcome.bad_rows == []
    pond = Pond.objects.get(code="A")
    assert (pond.head_limit, pond.opened_on.year, pond.kinds_allowed.get()) == (8000, 2019, slider)


def test_the_typed_area_and_its_unit_are_kept(slider):
    assert load_ponds(SLIDER_POND).written.new == 1
    pond = Pond.objects.get(code="A")
    assert (pond.water_area_typed, pond.water_area_unit) == ("2.5", "ACRE")
    assert pond.water_area_cm2 == 101_171_411  # 2.5 acres of 4046.8564224 m2


def test_the_same_sheet_again_changes_nothing_and_a_changed_row_changes_its_pond(slider):
    load_ponds(SLIDER_POND)
    again = load_ponds(SLIDER_POND)
    assert (again.written.new, again.written.changed, again.written.same) == (0, 0, 1)
    assert PondState.objects.count() == 1
    changed = load_ponds(SLIDER_POND.replace("Levee", "New Levee"))
    assert (changed.written.new, changed.written.changed, changed.written.same) == (0, 1, 0)
    assert Pond.objects.get().name == "New Levee"


def test_a_column_that_is_not_in_the_sheet_is_left_alone(slider):
    load_ponds(SLIDER_POND)
    load_ponds("code,opened on,head limit\nA,2019-03-01,9000\n")
    pond = Pond.objects.get()
    assert (pond.head_limit, pond.name, pond.water_area_typed) == (9000, "Levee", "2.5")
    assert pond.kinds_allowed.get() == slider


def test_a_dry_run_counts_and_writes_nothing(slider):
    outcome = load_ponds(SLIDER_POND, dry_run=True)
    assert (outcome.written.new, outcome.is_written) == (1, False)
    assert Pond.objects.count() == 0


def test_one_bad_row_keeps_every_row_out(slider):
    outcome = load_ponds(SLIDER_POND + "B,2019-02-30,,,,,\nC,2019-01-01,,2.5 rods,,lots,\n")
    assert Pond.objects.count() == 0
    assert [(bad.row, bad.column, bad.value) for bad in outcome.bad_rows] == [
        (3, "opened on", "2019-02-30"),
        (4, "water area", "2.5 rods"),
        (4, "head limit", "lots"),
    ]
    assert "not in the calendar" in outcome.bad_rows[0].reason


@pytest.mark.parametrize(
    ("text", "row", "column", "words"),
    [
        (
            "code,opened on,color\nA,2019-01-01,red\n",
            1,
            "color",
            "No column of that name. There are: code, opened on",
        ),
        ("code,opened on,Code\nA,2019-01-01,B\n", 1, "code", "stands twice"),
        ("code\nA\n", 1, "opened on", "needed and is not in the sheet"),
        ("code,opened on\n", 1, "", "no rows below"),
        ("code,opened on\nA,\n", 2, "opened on", "Needed, and nothing stands here: First day"),
        ("code,opened on\nA,2019-01-01,stray\n", 2, "column 3", "no heading"),
        ("code,opened on\nA1,2019-01-01\n", 2, "code", "not a pond's code"),
        ("code,opened on\nA,2999-01-01\n", 2, "opened on", "not between"),
        ("code,opened on\nA,2099-01-01\n", 2, "opened on", "still to come"),
        ("code,opened on\nA,2019-01-01\na,2019-01-01\n", 3, "code", "Row 2 is about the same pond"),
        ("code,opened on,kinds\nA,2019-01-01,newt\n", 2, "kinds", "load_sheet kinds ponds/data/kinds.csv"),
        ("code,opened on,area unit\nA,2019-01-01,miles\n", 2, "area unit", "miles is not one of: acres"),
        (
            'code,opened on,water area\nA,2019-01-01,"2,5"\n',
            2,
            "water area",
            "write a decimal with a point: 2.5",
        ),
        (
            "code,opened on,water area\nA,2019-01-01,99999\n",
            2,
            "water area",
            "look at the figure and its unit",
        ),
        ("code,opened on,head limit\nA,2019-01-01,-3\n", 2, "head limit", "not between 1"),
        ("code,opened on,head limit\nA,2019-01-01,2.5\n", 2, "head limit", "not a whole number"),
        (f"code,opened on,note\nA,2019-01-01,{'x' * 5000}\n", 2, "note", "4000 is the most"),
    ],
)
def test_a_bad_sheet_says_row_column_and_reason(text, row, column, words):
    outcome = load_ponds(text)
    assert outcome.written is None
    bad = outcome.bad_rows[0]
    assert (bad.row, bad.column) == (row, column)
    assert words in bad.reason
    assert Pond.objects.count() == 0


def test_the_same_fault_in_many_rows_is_told_once_with_the_rows_named():
    lines = "".join(f"{code},2019-01-01,newt\n" for code in "ABCDEFGHJKLM")
    outcome = load_ponds(f"code,opened on,kinds\n{lines}N,2019-01-01,\n")
    assert len(outcome.bad_rows) == 12
    (newts,) = told_once(outcome.bad_rows)
    assert (newts.rows, newts.words) == (tuple(range(2, 14)), "2 to 13")
    assert str(newts).startswith("rows 2 to 13, kinds, 'newt': There is no kind newt")
    scattered = [BadRow(row, "kinds", "newt", "There is no kind newt.") for row in range(2, 24, 2)]
    assert told_once(scattered)[0].words == "2, 4, 6, 8, 10, 12, 14, 16 and 3 more"
    assert [one.words for one in told_once([BadRow(2, "a", "x", "No."), BadRow(3, "a", "y", "No.")])] == [
        "2",
        "3",
    ]


def test_an_unreadable_file_is_one_bad_row():
    outcome = load(PONDS_SHEET, "ponds.xlsm", b"x")
    assert "without macros" in outcome.bad_rows[0].reason


def test_opening_can_be_moved_back_but_not_forward():
    load_ponds("code,opened on\nA,2019-03-01\n")
    assert load_ponds("code,opened on\nA,2019-01-01\n").written.changed == 1
    refused = load_ponds("code,opened on\nA,2019-06-01\n")
    assert "booked as opened on 1 Jan 2019" in refused.bad_rows[0].reason


def test_kinds_not_kept_together_are_refused(slider):
    snapper = KindFactory(code="snapper", common_name="Snapper")
    slider.not_with.add(snapper)
    refused = load_ponds("code,opened on,kinds\nA,2019-01-01,slider snapper\n")
    assert "Slider and Snapper are not kept together" in refused.bad_rows[0].reason
    assert Pond.objects.count() == 0


@pytest.mark.parametrize("what", sorted(registered_sheets()))
def test_every_template_names_columns_needs_types_and_an_example_and_reads_as_headings_alone(what):
    sheet = registered_sheets()[what]
    headings, needs, types, meanings, examples = list(csv.reader(io.StringIO(template_csv(sheet))))
    assert headings == [column.name for column in sheet.columns]
    assert [need.removeprefix("# ") == "needed" for need in needs] == [
        column.needed for column in sheet.columns
    ]
    assert all(types)
    assert all(meanings)
    for column, example in zip(sheet.columns, examples, strict=True):
        text = example.removeprefix("# ").removeprefix("example: ")
        if column.example:
            column.parse(text)
    for name, content in (
        (f"{what}.csv", template_csv(sheet).encode()),
        (f"{what}.xlsx", template_xlsx(sheet)),
    ):
        rows, bad_rows = parse_rows(sheet, read_rows(name, content))
        assert rows == []
        assert [bad.reason for bad in bad_rows] == ["There are headings but no rows below them."]


@pytest.mark.parametrize(
    ("read", "cell", "value"),
    [
        (Day(), "2026-5-1", "2026-05-01"),
        (Day(), "2026-05-01 00:00:00", "2026-05-01"),
        (YesNo(), "Yes", "True"),
        (YesNo(), "n", "False"),
        (WholeNumber(), "12.0", "12"),
        (Number(), "2.50", "2.50"),
        (Text(3), "abc", "abc"),
        (PondCode(), "aa", "AA"),
        (Codes(), "b, a b", "('a', 'b')"),
        (Choice([("IN_USE", "in use")]), "In  Use", "IN_USE"),
        (Choice([("IN_USE", "in use")]), "in_use", "IN_USE"),
    ],
)
def test_cells_are_read(read, cell, value):
    assert str(read(cell)) == value


@pytest.mark.parametrize(
    ("read", "cell"),
    [
        (Day(), "5/1/2026"),
        (Day(), "2026-13-01"),
        (Day(), "2026-05-01 08:30:00"),
        (YesNo(), "maybe"),
        (WholeNumber(0, 10), "11"),
        (WholeNumber(), "#REF!"),
        (Number(0, 1), "1.1"),
        (Text(3), "abcd"),
        (Text(3), "a\x07"),
        (Code(), "River Cooter"),
        (PondCode(), "AAAA"),
    ],
)
def test_cells_that_cannot_be_are_refused_with_a_sentence(read, cell):
    with pytest.raises(ValueError, match=r"\.$"):
        read(cell)


# ---- the command ----


@pytest.fixture
def sheet_file(tmp_path, slider):
    path = tmp_path / "ponds.csv"
    path.write_text(SLIDER_POND, encoding="utf-8")
    return path


def run(*args) -> str:
    out = io.StringIO()
    call_command("load_sheet", *args, stdout=out)
    return out.getvalue()


def test_the_command_dry_runs_then_loads_then_leaves_alone(sheet_file):
    assert "Dry run, nothing written: 1 new, 0 changed" in run("ponds", str(sheet_file), "--dry-run")
    assert Pond.objects.count() == 0
    person = UserFactory(username="wren", role="owner")
    assert run("ponds", str(sheet_file), "--by", "wren") == "1 new, 0 changed, 0 as they were.\n"
    assert PondState.objects.get().by == person
    assert run("ponds", str(sheet_file)) == "0 new, 0 changed, 1 as they were.\n"


def test_the_command_fails_with_every_bad_row(sheet_file, capsys):
    sheet_file.write_text(SLIDER_POND + "B,soon,,,,,\n", encoding="utf-8")
    err = io.StringIO()
    with pytest.raises(CommandError, match="Nothing was written: 1 thing to mend"):
        call_command("load_sheet", "ponds", str(sheet_file), stderr=err)
    assert "row 3, opened on, 'soon': soon is not a day" in err.getvalue()
    assert Pond.objects.count() == 0


def test_the_command_prints_a_template():
    assert run("ponds", "--template").splitlines()[0].startswith("code,opened on,name")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("ponds",), "Name the file"),
        (("ponds", "/nowhere/ponds.csv"), "cannot be read: No such file"),
        (("unicorns", "x.csv"), "invalid choice"),
    ],
)
def test_the_command_refuses_what_it_cannot_do(args, words):
    with pytest.raises(CommandError, match=words):
        call_command("load_sheet", *args)


def test_the_command_refuses_an_unknown_person(sheet_file):
    with pytest.raises(CommandError, match="Nobody here signs in as wren"):
        call_command("load_sheet", "ponds", str(sheet_file), "--by", "wren")


def test_a_pond_code_is_never_used_again():
    PondFactory(code="A", retired_on="2020-01-01")
    from ponds.places import proposed_code

    assert proposed_code() == "B"
    PondFactory(code="Z")
    assert proposed_code() == "AA"


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        # ISO 8601: calendar, week and ordinal date of one day; the week year may differ from the calendar's.
        ("2024-02-29", dt.date(2024, 2, 29)),
        ("2024-W09-4", dt.date(2024, 2, 29)),
        ("2024-060", dt.date(2024, 2, 29)),
        ("2020-W53-5", dt.date(2021, 1, 1)),
    ],
)
def test_a_day_in_every_form_of_the_standard(cell, day):
    assert Day()(cell) == day


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("2023-02-29", "not in the calendar"),
        ("2023-W53-1", "not in the calendar"),
        ("2023-366", "not in the calendar"),
        ("2023-000", "not in the calendar"),
        ("03/04/2024", "two ways"),
    ],
)
def test_a_day_that_is_none_or_could_be_two_is_refused(cell, says):
    with pytest.raises(ValueError, match=says):
        Day()(cell)


@pytest.mark.parametrize(
    ("cell", "order", "day"),
    [
        # A first or second figure over 12 can only be the day; 5 and 5 are one day either way.
        ("14/05/2026", "", "2026-05-14"),
        ("05/14/2026", "", "2026-05-14"),
        ("05.05.2026", "", "2026-05-05"),
        ("2026/5/14", "", "2026-05-14"),
        ("20260514", "", "2026-05-14"),
        ("14 May 2026", "", "2026-05-14"),
        ("Sept. 3rd, 2026", "", "2026-09-03"),
        ("14-may-2026", "", "2026-05-14"),
        ("03/04/2026", "day-first", "2026-04-03"),
        ("03/04/2026", "month-first", "2026-03-04"),
        ("2026-03-04", "day-first", "2026-03-04"),
    ],
)
def test_days_are_read_where_they_are_certain_or_somebody_said_how(cell, order, day):
    assert str(Day()(cell, order)) == day


@pytest.mark.parametrize(
    ("cell", "order", "says"),
    [
        ("03/04/2026", "", "2026-04-03 with the day first, 2026-03-04 with the month first"),
        ("14/05/2026", "month-first", "no month 14, yet days were said to be written month first"),
        ("14/05/26", "", "a year of two digits"),
        ("14 May 26", "", "a year of two digits"),
        # Serial 46156: 46156 days after 1899-12-30, as spreadsheet programs count (ECMA-376 part 1, 18.17.4.1).
        ("46156", "", "mean 2026-05-14 by it"),
        ("ju 4 2026", "", "is not a day"),
        ("14 Mai 2026", "", "no month mai"),
        ("31/04/2026", "", "not in the calendar"),
        ("00/04/2026", "", "not in the calendar"),
    ],
)
def test_a_day_that_is_not_certain_is_asked_about(cell, order, says):
    with pytest.raises(ValueError, match=says):
        Day()(cell, order)


def test_a_unit_is_taken_from_the_cell_or_its_heading_and_two_that_differ_are_refused(slider):
    load_ponds("code,opened on,water area (ha),Bank Area\nA,2019-03-01,1.5,0.2 acres\n")
    pond = Pond.objects.get(code="A")
    assert (pond.water_area_typed, pond.water_area_unit, pond.bank_area_unit) == ("1.5", "HECTARE", "ACRE")
    for text, words in (
        ("code,opened on,water area (ha)\nB,2019-03-01,1 acre\n", "another unit than its heading"),
        ("code,opened on,water area,area unit\nB,2019-03-01,1 acre,ha\n", "write one of the two"),
        ("code,opened on,water area (rods)\nB,2019-03-01,1\n", "rods is not a unit of area"),
    ):
        assert words in load_ponds(text).bad_rows[0].reason


def test_remarks_are_told_and_a_row_that_only_looks_like_one_is_not_passed_over(slider):
    outcome = load_ponds("opened on,code\n2019-03-01,# like this\n2019-03-01,A\n# the last row,\n")
    assert (outcome.written.new, outcome.remarks) == (1, (2, 4))
    for first in ("#3", "#REF!"):
        refused = load_ponds(f"code,opened on\nB,2019-03-01\n{first},2019-03-01\n")
        assert [(bad.row, bad.column) for bad in refused.bad_rows] == [(3, "code")]


def test_the_command_is_told_how_days_are_written(sheet_file):
    sheet_file.write_text(SLIDER_POND.replace("2019-03-01", "03/04/2019"), encoding="utf-8")
    with pytest.raises(CommandError, match="1 thing to mend"):
        call_command("load_sheet", "ponds", str(sheet_file), stderr=io.StringIO())
    run("ponds", str(sheet_file), "--days", "day-first")
    assert Pond.objects.get().opened_on == dt.date(2019, 4, 3)
