"""The extract shows what the register holds of a pond, what is missing included, on screen, in PDF and XLSX."""

import base64
import datetime as dt
import html
import io
import re
import uuid
import zlib

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds.models import Farm, Kind, Pond
from stock import append_only, ledger, review
from stock.drafts import BatchDraft, Draft, Line
from stock.extract import extract_of, extracts_of
from stock.models import Move
from stock.printed import MOST_PRINTED, PrintedSheet, PrintedTable, workbook_of
from stock.printed_pdf import pdf_of
from tests.page_rules import page_faults
from tests.pages.hand_worked import MAY, TODAY, make_farm

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

LAST = dt.date(2024, 5, 31)
DAYS = {"since": "2024-05-01", "until": "2024-05-31"}


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    return make_farm(owner.user)


@pytest.fixture
def sheets(farm):
    Farm.objects.update_or_create(
        only=True, defaults={"name": "Heron Slough", "code": "HS-1", "licence": "TF-9"}
    )
    pond = {pond.code: pond for pond in Pond.objects.all()}
    return {code: extract_of(pond[code], Farm.objects.get(), MAY, LAST) for code in "ABC"}


def table(sheet: PrintedSheet, title: str) -> PrintedTable:
    return next(one for one in sheet.tables if one.title.startswith(title))


def text_of(pdf: bytes) -> str:
    """Return what a PDF of ours writes, stream by stream."""
    streams = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    parts = []
    for stream in streams:
        packed = stream.strip()
        if packed.endswith(b"~>"):
            packed = zlib.decompress(base64.a85decode(packed[:-2]))
        parts.append(packed.decode("latin-1"))
    return " ".join(re.findall(r"\((.*?)\) Tj", "\n".join(parts)))


def test_the_figures_are_those_worked_by_hand(sheets):
    assert table(sheets["A"], "Opening").rows == (
        ("Slider, females", 300, 0, 12, 1, 287),
        ("Slider, males", 100, 0, 4, 0, 96),
        ("Slider, juveniles", 0, 3, 0, 0, 3),
    )
    assert table(sheets["A"], "What stands").rows == (("Slider", 287, 96, 0, 3, 386, "drained, 1 Apr 2024"),)
    assert [row[1:5] for row in table(sheets["A"], "What moved").rows] == [
        ("A", "B", 12, "Slider females"),
        ("C", "A", 3, "Slider juveniles"),
    ]
    assert [row[:4] for row in table(sheets["A"], "What was sold").rows] == [
        ("3 May 2024", 4, "Slider males", "sold")
    ]
    assert table(sheets["B"], "What died").rows == (
        ("May 2024", "Slider", "bites", 0, 2, 0, 0, 2, "not written down", "owner"),
    )
    assert table(sheets["A"], "Eggs picked").rows == (("20 May 2024", "Slider", 30, 270, None, "owner"),)


def test_what_nobody_can_explain_and_what_was_taken_back_is_shown(sheets):
    (row,) = table(sheets["C"], "Heads nobody can explain").rows
    assert row[1] == "3 Slider juveniles more than the book held in C"
    (row,) = table(sheets["C"], "Every correction").rows
    assert (row[0], row[2], row[3]) == (
        "12 May 2024", "taken back", "5 Slider females sold from C, taken back",
    )  # fmt: skip
    # What was taken back is no sale.
    assert table(sheets["C"], "What was sold").rows == ()
    (row,) = table(sheets["C"], "What came").rows
    assert row[:5] == ("7 May 2024", 40, "Slider females", "bought", "P7")
    assert row[6] == "none"


def test_a_kind_that_left_is_still_reconciled_and_a_correction_keeps_the_farms_day(farm):
    snapper = Kind.objects.create(code="snapper", common_name="Snapper")
    pond = Pond.objects.get(code="B")
    pond.kinds_allowed.add(snapper)
    bought = Line("snapper", "FEMALE", "BOUGHT", "B", 50, batch="S1")
    arrived = dt.date(2024, 4, 20)
    ledger.record(
        Draft(uuid.uuid4(), arrived, (bought,), batches=(BatchDraft("S1", "BOUGHT", arrived),)),
        by=farm.by, today=TODAY,
    )  # fmt: skip
    sold = Draft(uuid.uuid4(), dt.date(2024, 5, 30), (Line("snapper", "FEMALE", "B", "SOLD", 50),))
    receipt = ledger.record(sold, by=farm.by, today=TODAY)
    pond.kinds_allowed.remove(snapper)
    rows = table(extract_of(pond, Farm.objects.get_or_create(only=True)[0], MAY, LAST), "Opening").rows
    assert ("Snapper, females", 50, 0, 50, 0, 0) in rows
    found = next(one for one in review.month_review(MAY, TODAY).ponds if one.pond_code == "B")
    assert [kind.facts.kind_name for kind in found.kinds] == ["Slider", "Snapper"]
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm.by, today=TODAY)
    # 30 June 20:00 on the farm is 1 July in UTC.
    entered = dt.datetime(2024, 7, 1, 1, 0, tzinfo=dt.UTC)
    append_only.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE stock_move SET recorded_at = %s WHERE reverses_id = %s", [entered, receipt.move_id]
        )
    append_only.install(connection)
    corrected = table(extract_of(pond, Farm.objects.get(), MAY, LAST), "Every correction").rows
    assert corrected[-1][1] == "30 Jun 2024"


def test_origins_keep_within_their_bounds(sheets):
    rows = {row[1]: row for row in table(sheets["C"], "Where what stands").rows}
    assert set(rows) == {"OPEN-C", "P7", "OPEN-B"}
    assert sum(row[2] for row in rows.values()) == pytest.approx(170)
    assert all(row[3] <= row[2] <= row[4] for row in rows.values())


def test_the_sheet_says_whose_it_is_and_how_long_to_keep_it(sheets):
    assert ("Farmer code", "HS-1") in sheets["A"].facts
    assert ("Licence", "TF-9") in sheets["A"].facts
    assert "three years" in sheets["A"].notes[0]
    assert "Not legal advice" in sheets["A"].notes[1]


def test_a_reader_takes_it_along_on_screen_as_pdf_and_as_workbook(sheets, reader):
    address = reverse("stock:extract-pond", args=["A"])
    response = reader.get(address, DAYS)
    assert page_faults(response) == []
    page = html.unescape(response.content.decode())
    assert "HS-1" in page
    assert "Slider juveniles" in page.split("<h2>What moved between ponds</h2>")[1].split("</table>")[0]
    pdf = reader.get(address, {**DAYS, "as": "pdf"})
    assert pdf["Content-Type"] == "application/pdf"
    assert 'filename="extract-pond-A-2024-05-01-to-2024-05-31.pdf"' in pdf["Content-Disposition"]
    said = text_of(pdf.content)
    assert "Pond A: 1 May 2024 to 31 May 2024" in said
    assert "farmer code HS-1, licence TF-9" in said
    book = load_workbook(io.BytesIO(reader.get(reverse("stock:extract"), {**DAYS, "as": "xlsx"}).content))
    assert book.sheetnames == ["Pond A", "Pond B", "Pond C"]
    cells = [tuple(cell.value for cell in row) for row in book["Pond B"].iter_rows()]
    assert any(row[:6] == ("Slider, males", 80, 0, 10, 2, 68) for row in cells)


@pytest.mark.parametrize(
    ("days", "sentence"),
    [
        (
            {"since": "2024-06-01", "until": "2024-05-31"},
            "1 Jun 2024 is after 31 May 2024. Give an earlier day.",
        ),
        ({"since": "2010-01-01", "until": "2024-05-31"}, "That is more than five years."),
        ({"since": "2024-05-01", "until": "2024-12-31"}, "31 Dec 2024 is after today, 15 Aug 2024."),
        ({"since": "May", "until": "2024-05-31"}, "“May” is not a day."),
    ],
)
def test_days_that_make_no_sense_are_answered_with_a_sentence(farm, reader, days, sentence):
    for address in (reverse("stock:extract"), reverse("stock:extract-pond", args=["A"])):
        response = reader.get(address, {**days, "as": "pdf"})
        assert response.status_code == 422
        assert sentence in html.unescape(response.content.decode())


def test_the_sheet_costs_the_same_whatever_the_farm_holds(sheets, farm, owner):
    address = reverse("stock:extract-pond", args=["A"])
    costs = []
    for number in (0, 30):
        for place in range(number):
            code = f"P{chr(65 + place % 26)}{'' if place < 26 else 'A'}"
            Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(
                Kind.objects.get()
            )
            farm.post((5, 21), ("FEMALE", "A", "DIED", 1), pond="A")
        owner.get(address, DAYS)
        with CaptureQueriesContext(connection) as queries:
            owner.get(address, DAYS)
        costs.append(len(queries))
    assert costs[0] == costs[1] <= 40


def test_the_whole_farm_costs_hardly_more_than_one_pond(sheets, farm):
    slider, book = Kind.objects.get(), Farm.objects.get()
    costs = []
    for number in (3, 24):
        for place in range(Pond.objects.count(), number):
            Pond.objects.create(code=f"P{chr(65 + place)}", opened_on=MAY).kinds_allowed.add(slider)
        ponds = list(Pond.objects.in_letter_order())
        list(extracts_of(ponds, book, MAY, LAST))
        with CaptureQueriesContext(connection) as queries:
            assert len(list(extracts_of(ponds, book, MAY, LAST))) == number
        costs.append(len(queries))
    assert costs[0] == costs[1] <= 40


def test_a_long_table_is_cut_in_print_and_whole_in_the_workbook_and_no_cell_is_a_formula():
    rows = tuple((f"=1+{number}", number) for number in range(MOST_PRINTED + 7))
    sheet = PrintedSheet(
        "A/B: [odd]", "Café and 鱼\x07", (), (PrintedTable("Long", ("What", "How many"), rows),)
    )
    said = text_of(pdf_of([sheet, sheet], title="t", footer="f"))
    assert "And 7 more rows, which stand in the workbook." in said
    assert f"=1+{MOST_PRINTED - 1}" in said
    assert f"=1+{MOST_PRINTED} " not in said
    book = load_workbook(io.BytesIO(workbook_of([sheet, sheet])))
    assert book.sheetnames == ["A B   odd ", "A B   odd  2"]
    cells = [row for row in book.worksheets[0].iter_rows(values_only=True) if row[1] is not None]
    assert len(cells) == MOST_PRINTED + 8
    assert cells[-1] == (f"'=1+{MOST_PRINTED + 6}", MOST_PRINTED + 6)
    assert book.worksheets[0]["A1"].data_type == "s"
