"""A pond on one page, every pond as one picture, the farm's year and month as files."""

import csv
import datetime as dt
import html
import io
import re
from dataclasses import replace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds.models import Kind, Pond
from ponds.svg_marks import day_text
from stock import ledger
from stock.charts import Series
from stock.models import Entry
from stock.pond_facts import pond_kinds
from stock.pond_pictures import PANELS_ABREAST, rows_of_panels
from stock.printed import PrintedSheet, PrintedTable, workbook_of
from stock.printed_pdf import pdf_of
from stock.small_charts import Box, Panel, RatioRow, Words, month_bars, panel_chart, run_chart
from tests.page_rules import page_faults
from tests.pages.hand_worked import MAY, TODAY, make_farm
from tests.pages.test_extract import text_of


def pages_of(pdf: bytes) -> int:
    """Return how many pages a PDF says it has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def words(chart) -> str:
    return " ".join(mark.text for mark in chart.marks if isinstance(mark, Words))


def test_small_charts_share_a_scale_and_say_their_figures():
    labels = ["Jan", "Feb", "Mar"]
    few = month_bars("Few", "Few", labels, [1, 0, 2], top=10)
    many = month_bars("Many", "Many", labels, [10, 5, 0], top=10)
    tall = {
        chart.name: [mark.height for mark in chart.marks if isinstance(mark, Box)] for chart in (few, many)
    }
    assert tall["Many"] == pytest.approx([40, 20])
    assert tall["Few"] == pytest.approx([4, 8])
    assert few.rows == (("Jan", 1), ("Feb", 0), ("Mar", 2))
    run = run_chart(
        "Run", "Run", labels, [Series("Females", (4, None, 6)), Series("Males", (0, 0, 0))], top=8
    )
    assert "6 females" in words(run)
    assert "top 8" in words(run)
    assert run.summary == "Run, Jan to Mar: Females 4 to 6, Males 0 to 0."
    assert "<title" in run.svg
    for empty in (run_chart("E", "E", [], [], top=0), month_bars("E", "E", [], [], top=0)):
        assert empty.svg.startswith("<svg")


def panel(code: str) -> Panel:
    return Panel(
        code, "Slider <b>", "in band", False, (("F", 1300), ("M", 400), ("J", 12)), "probably",
        RatioRow("Standing", 3.25, 2.9, 3.6, "3.25 : 1 (2.9 to 3.6 : 1)"), (2.5, 4.5), (3,) * 13, (1700,) * 13,
        "counted 5 months ago",
    )  # fmt: skip


def test_sixty_panels_stand_on_one_page_and_two_hundred_run_on():
    drawn = [panel_chart(panel(f"P{at}"), most_heads=2000, most_deaths=9) for at in range(200)]
    assert "&lt;b&gt;" in drawn[0].svg
    assert "39 dead" in words(drawn[0])
    assert "counted 5 months ago" in drawn[0].summary
    sixty = PrintedSheet("s", "Every pond", (), (), charts=rows_of_panels(drawn[:60]), is_one_page=True)
    assert len(sixty.charts) == 60 / PANELS_ABREAST
    assert pages_of(pdf_of([sixty], title="t", footer="f")) == 1
    everything = PrintedSheet("s", "Every pond", (), (), charts=rows_of_panels(drawn))
    pdf = pdf_of([everything], title="t", footer="f")
    assert 2 <= pages_of(pdf) <= 4
    assert "P199" in text_of(pdf)


def test_few_panels_fill_the_page_and_name_their_kind_whole():
    drawn = [
        panel_chart(replace(panel(f"P{at}"), kind="Red-eared slider"), most_heads=2000, most_deaths=9)
        for at in range(20)
    ]
    assert "Red-eared slider" in words(drawn[0])
    assert [len(row) for row in rows_of_panels(drawn)] == [4] * 5
    assert [len(row) for row in rows_of_panels(drawn[:14])] == [3, 3, 3, 3, 2]
    assert [len(row) for row in rows_of_panels(drawn[:6])] == [2] * 3
    old = panel_chart(
        replace(panel("A"), counted="count 2 years 8 months old"), most_heads=2000, most_deaths=9
    )
    assert "count 2 y 8 m old" in words(old)
    sheet = PrintedSheet("s", "Every pond", (), (), charts=rows_of_panels(drawn), is_one_page=True)
    assert pages_of(pdf_of([sheet], title="t", footer="f")) == 1
    book = load_workbook(io.BytesIO(workbook_of([sheet])))
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    heads = next(row for row in rows if "Females" in row)
    first = dict(zip(heads, next(row for row in rows if "P0" in row), strict=True))
    assert (first["Females"], first["Males"], first["Juveniles"], first["Dead, 12 months"]) == (
        1300,
        400,
        12,
        39,
    )


def test_a_sheet_for_one_page_is_made_smaller_and_others_run_on_without_a_lone_heading():
    table = PrintedTable("Rows", ("What", "How many"), tuple((f"row {at}", at) for at in range(90)))
    one = PrintedSheet("one", "On one page", (), (table,), is_one_page=True)
    assert pages_of(pdf_of([one, one], title="t", footer="f")) == 2
    free = PrintedSheet("free", "Runs on", (), (table, table))
    assert pages_of(pdf_of([free], title="t", footer="f")) == 4
    wide = PrintedSheet("wide", "Crosswise", (), (), is_wide=True)
    assert b"/MediaBox [ 0 0 792 612 ]" in pdf_of([wide, one], title="t", footer="f")
    note = PrintedSheet("note", "A note without end", (("Note", "word " * 6000),), ())
    assert pages_of(pdf_of([note], title="t", footer="f")) >= 1


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    return make_farm(owner.user)


@pytest.mark.django_db
def test_a_pond_is_one_page_as_pdf_and_its_figures_are_those_worked_by_hand(farm, reader):
    address = reverse("stock:pond-sheet", args=["A"])
    pdf = reader.get(address, {"on": "2024-05-31"})
    assert pdf["Content-Type"] == "application/pdf"
    assert pages_of(pdf.content) == 1
    said = text_of(pdf.content)
    assert "Pond A, on 31 May 2024" in said
    assert "Not legal advice" in said
    book = load_workbook(io.BytesIO(reader.get(address, {"on": "2024-05-31", "as": "xlsx"}).content))
    rows = [row[:6] for row in book["Pond A"].iter_rows(values_only=True)]
    assert ("Slider, females", 0, 300, 12, 1, 287) in rows
    refused = reader.get(address, {"on": "2024-12-31"})
    assert refused.status_code == 422
    assert "still to come" in html.unescape(refused.content.decode())
    page = reader.get(reverse("stock:pond-detail", args=["A"])).content.decode()
    assert page.count('class="print-sheet print-only"') == 1


@pytest.mark.django_db
def test_the_picture_has_a_panel_a_pond_on_any_day_and_leads_to_it(farm, reader):
    address = reverse("stock:farm-picture")
    response = reader.get(address, {"on": "2024-05-31"})
    assert page_faults(response) == []
    page = html.unescape(response.content.decode())
    assert page.count("small-chart") == 3
    # The book holds 287 females; the picture shows the females that its ratio is made from.
    (stands,) = [one.standing for one in pond_kinds(dt.date(2024, 5, 31)) if one.pond_code == "A"]
    assert round(stands.females) != 287
    assert f"{round(stands.females)} F {round(stands.males)} M" in page.replace("  ", " ")
    assert "as they probably stand, like the ratio beside them" in page
    assert f'href="{reverse("stock:pond-detail", args=["A"])}?on=2024-05-31"' in page
    assert pages_of(reader.get(address, {"as": "pdf"}).content) == 1
    assert reader.get(address, {"on": "2999-01-01"}).status_code == 422
    for place in (reverse("stock:pond-list"), reverse("stock:review", args=["2024-05"])):
        assert f'href="{address}' in reader.get(place).content.decode()


@pytest.mark.django_db
def test_the_year_is_the_sum_of_its_months_and_prints_a_page_a_pond(farm, reader):
    address = reverse("stock:farm-year")
    response = reader.get(address, {"until": "2024-05-31"})
    assert page_faults(response) == []
    answer = reader.get(address, {"until": "2024-05-31", "_export": "csv"})
    rows = {row["Pond"]: row for row in csv.DictReader(io.StringIO(answer.content.decode()))}
    heads = ("Opening", "Came", "Went", "Dead", "Closing")
    assert [int(rows["A"][name]) for name in heads] == [0, 403, 16, 1, 386]
    assert [int(rows["B"][name]) for name in heads] == [0, 212, 10, 2, 200]
    assert (rows["A"]["Nests"], rows["A"]["Eggs"], rows["C"]["Beyond the book"]) == ("30", "270", "3")
    pdf = reader.get(address, {"until": "2024-05-31", "as": "pdf"}).content
    assert pages_of(pdf) == 2 + 3
    said = text_of(pdf)
    assert all(f"Pond {code}, on 31 May 2024" in said for code in "ABC")
    late = reader.get(address, {"until": "2999-01-01", "as": "pdf"})
    assert late["Content-Type"].startswith("text/html")
    assert "is after today" in html.unescape(late.content.decode())
    # The register begins on its first booked day: no year before it is offered, or told.
    ends = reader.get(address).context["ends"]
    first = Entry.objects.earliest("booked_on").booked_on
    assert ends[0] == TODAY
    assert all(end >= first for end in ends)
    before = reader.get(address, {"until": (first - dt.timedelta(days=1)).isoformat()})
    assert f"The register begins on {day_text(first)}" in html.unescape(before.content.decode())


@pytest.mark.django_db
def test_a_month_prints_with_its_signatures_close_and_what_was_logged_later(farm, owner):
    address = reverse("stock:review", args=["2024-05"])
    key = "6a3c2f1e-0a57-4f5b-9d3a-1de8f0b1c0aa"
    sign = reverse("stock:review-sign", args=["2024-05", "B"])
    assert owner.post(sign, {"key": key, "words": "Males leave in June."}).status_code == 303
    for month in (dt.date(2024, 4, 1), MAY):
        ledger.close_month(month, by=owner.user, today=TODAY)
    farm.post((5, 28), ("FEMALE", "A", "DIED", 2), pond="A")
    answer = owner.get(address, {"as": "pdf"})
    said = text_of(answer.content)
    for words_said in ("closed by owner", "Males leave in June.", "2 Slider females", "1 of 3 ponds signed"):
        assert words_said in said
    assert "Closed by owner on" in owner.get(address).content.decode()
    book = load_workbook(io.BytesIO(owner.get(address, {"as": "xlsx"}).content))
    assert set(book.sheetnames) == {"May 2024", "Pond A", "Pond B", "Pond C"}


@pytest.mark.django_db
def test_the_whole_farm_on_paper_costs_no_more_queries_than_three_ponds(farm, reader):
    slider = Kind.objects.get()
    costs = []
    for number in (3, 20):
        for place in range(Pond.objects.count(), number):
            Pond.objects.create(code=f"P{chr(65 + place)}", opened_on=MAY).kinds_allowed.add(slider)
        cost = []
        for name, asked in (("stock:farm-picture", {}), ("stock:farm-year", {"as": "xlsx"})):
            reader.get(reverse(name), asked)
            with CaptureQueriesContext(connection) as queries:
                assert reader.get(reverse(name), asked).status_code == 200
            cost.append(len(queries))
        costs.append(cost)
    assert costs[0] == costs[1]
    assert costs[0][0] <= 35
    assert costs[0][1] <= 75
