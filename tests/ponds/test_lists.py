"""The list page: page sizes, search, and an export that no spreadsheet program takes for formulas."""

import csv
import datetime as dt
import io
from decimal import Decimal
from types import SimpleNamespace

import django_filters
import django_tables2 as tables
import openpyxl
import pytest
from django.contrib.auth.models import Group
from django.test import RequestFactory

from config.templatetags import page
from ponds import lists
from ponds.lists import (
    DayColumn,
    ListPage,
    NumberColumn,
    PlainTable,
    guard_cell,
    nearest_page_size,
    unguard_text,
)

# The starts that OWASP names for CSV injection, and text that only looks like them.
HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "=cmd|' /C calc'!A0", "'=1", "''-3"]
HARMLESS = ["Pond A", "'tis high", "a=b", "", "3-4", "é", "'"]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_that_a_spreadsheet_would_run_is_quoted(text):
    assert guard_cell(text) == f"'{text}"
    assert unguard_text(guard_cell(text)) == text


@pytest.mark.parametrize("text", HARMLESS)
def test_other_text_is_left_alone(text):
    assert guard_cell(text) == text
    assert unguard_text(text) == text


@pytest.mark.parametrize("value", [-3, -2.5, Decimal("-1.20"), 0, dt.date(2026, 3, 4)])
def test_numbers_and_days_stay_numbers_and_days(value):
    guarded = guard_cell(value)
    assert guarded == value
    assert type(guarded) is type(value)


def test_what_has_no_figure_is_empty_and_instants_carry_their_offset():
    assert [guard_cell(value) for value in (None, float("inf"), float("nan"))] == ["", "", ""]
    assert guard_cell(dt.datetime(2026, 3, 4, 5, 6, 7, tzinfo=dt.UTC)) == "2026-03-04T05:06:07+00:00"
    assert [guard_cell(value) for value in (True, False)] == ["yes", "no"]


class MoveTable(PlainTable):
    caption = "Moves"
    row_header = "note"
    note = tables.Column()
    change = NumberColumn(decimals=1)
    happened_on = DayColumn()


ROWS = [
    {"note": "=SUM(A1)", "change": -3, "happened_on": dt.date(2026, 3, 4)},
    {"note": 'a, "b"\nc', "change": 12500.25, "happened_on": dt.date(2026, 3, 5)},
    {"note": "bell \x07", "change": None, "happened_on": None},
]


class Moves(ListPage):
    table_class = MoveTable
    export_name = "moves"


def export_of(rows, export_format):
    view = Moves()
    view.setup(RequestFactory().get("/", {"_export": export_format, "pond": "A / 1"}))
    view.object_list = rows
    return view.create_export(export_format)


def test_the_csv_holds_numbers_as_numbers_and_text_as_text():
    response = export_of(ROWS, "csv")
    lines = list(csv.reader(io.StringIO(response.content.decode(), newline="")))
    assert lines == [
        ["Note", "Change", "Happened on"],
        ["'=SUM(A1)", "-3", "2026-03-04"],
        ['a, "b"\nc', "12500.25", "2026-03-05"],
        ["bell \x07", "", ""],
    ]
    assert response["Content-Disposition"] == 'attachment; filename="moves_pond-a-1.csv"'


def test_the_workbook_has_no_formula_and_real_numbers():
    sheet = openpyxl.load_workbook(io.BytesIO(export_of(ROWS, "xlsx").content)).active
    assert [[cell.data_type for cell in row] for row in sheet.iter_rows(min_row=2, max_row=3)] == [
        ["s", "n", "d"],
        ["s", "n", "d"],
    ]
    assert sheet["A2"].value == "'=SUM(A1)"
    assert (sheet["B2"].value, sheet["B3"].value) == (-3, 12500.25)
    assert sheet["A4"].value == "bell "


@pytest.mark.parametrize(
    ("asked", "given"),
    [(None, 25), ("50", 50), ("100000", 100), ("9" * 40, 100), ("0", 25), ("-1", 25), ("x", 25), ("60", 50)],
)
def test_the_page_size_is_one_of_three(asked, given):
    assert nearest_page_size(asked) == given


def table_for(query, rows):
    view = Moves()
    view.setup(RequestFactory().get(f"/?{query}"))
    view.object_list = rows
    return view.get_table()


@pytest.mark.parametrize(
    ("query", "page_number", "shown"),
    [
        ("", 1, 25),
        ("page=2", 2, 5),
        ("page=99", 2, 5),
        ("page=-4", 1, 25),
        ("page=x", 1, 25),
        ("page=" + "9" * 50, 1, 25),
        ("per_page=100000", 1, 30),
    ],
)
def test_a_page_that_is_not_there_leads_to_one_that_is(query, page_number, shown):
    table = table_for(query, ROWS * 10)
    assert (table.page.number, len(table.paginated_rows)) == (page_number, shown)


def test_sorting_comes_from_the_address_and_nonsense_is_ignored():
    assert [row["change"] for row in table_for("sort=-change", ROWS[:2]).data] == [12500.25, -3]
    assert [row["change"] for row in table_for("sort=nonsense", ROWS[:2]).data] == [-3, 12500.25]


def test_only_csv_and_workbooks_are_sent():
    valid = [
        name
        for name in ("csv", "xlsx", "json", "yaml", "", None)
        if lists.GuardedExport.is_valid_format(name)
    ]
    assert valid == ["csv", "xlsx"]


class GroupFilter(django_filters.FilterSet):
    since = django_filters.NumberFilter(field_name="pk", lookup_expr="gte", label="From number")

    class Meta:
        model = Group
        fields = ("since",)


class GroupTable(PlainTable):
    caption = "Groups"
    row_header = "name"
    pk = NumberColumn()

    class Meta(PlainTable.Meta):
        model = Group
        fields = ("name", "pk")
        empty_text = "No group matches; show all of them instead."


class GroupList(ListPage):
    model = Group
    table_class = GroupTable
    filterset_class = GroupFilter
    template_name = "includes/filters.html"
    search_fields = ("name",)
    export_name = "groups"


@pytest.fixture
def groups(db):
    Group.objects.all().delete()
    return Group.objects.bulk_create(Group(name=name) for name in ("north hand", "south hand", "north owner"))


def answer(query):
    response = GroupList.as_view()(RequestFactory().get(f"/groups/?{query}"))
    if hasattr(response, "render"):
        response.render()
    return response


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("", ["north hand", "south hand", "north owner"]),
        ("q=hand", ["north hand", "south hand"]),
        ("q=NORTH+hand", ["north hand"]),
        ("q=nobody", []),
        ("q=%00north+owner", ["north owner"]),
    ],
)
def test_every_word_searched_for_must_be_found(groups, query, names):
    table = answer(f"{query}&sort=pk").context_data["table"]
    assert [row.get_cell("name") for row in table.rows] == names


def test_a_filter_that_cannot_be_read_is_told_and_exports_nothing(groups):
    response = answer("since=x&_export=csv&q=north")
    text = response.content.decode()
    assert response["Content-Type"].startswith("text/html")
    assert "There is a problem" in text
    assert 'href="#id_since"' in text
    assert 'value="x"' in text
    assert 'value="north"' in text


def test_a_list_costs_one_count_and_one_page(groups, django_assert_num_queries):
    with django_assert_num_queries(2):
        context = answer("q=north").context_data
        shown = context["table"].as_html(RequestFactory().get("/groups/?q=north"))
    assert "2 rows" in shown


def test_the_table_says_what_it_is_and_how_it_is_sorted(groups):
    request = RequestFactory().get("/groups/?sort=-name&q=n")
    shown = answer("sort=-name&q=n").context_data["table"].as_html(request)
    assert "<caption>Groups</caption>" in shown
    assert 'role="region" tabindex="0" aria-label="Groups"' in shown
    assert 'aria-sort="descending"' in shown
    assert "▼" in shown
    assert 'scope="row"' in shown
    assert 'data-label="Name"' in shown
    # Sorting and exporting keep the search; sorting goes back to the first page.
    assert "?sort=name&amp;q=n" in shown
    assert "q=n&amp;_export=csv" in shown
    assert "q=n&amp;_export=xlsx" in shown


def test_an_empty_table_says_what_to_do(groups):
    request = RequestFactory().get("/groups/?q=nobody")
    shown = answer("q=nobody").context_data["table"].as_html(request)
    assert "No group matches; show all of them instead." in shown
    assert "0 rows" in shown


def test_a_wait_is_told_in_whole_minutes():
    assert page.minutes(dt.timedelta(seconds=299.9)) == "5 minutes"
    assert page.minutes(SimpleNamespace()) == "a few minutes"
