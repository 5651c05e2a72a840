"""Whatever table a page shows can be taken along as CSV or XLSX, with its figures as numbers."""

import csv
import io

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from ponds.page_tables import as_csv, as_workbook, cell_of, tables_of
from tests.page_rules import page_faults
from tests.pages.farm_of_ponds import FarmOfPonds


def test_tables_are_read_with_their_names_and_what_is_drawn_is_left_out():
    page = """
    <h2>Deaths &amp; losses</h2><table><thead><tr><th>Cause</th><th>Heads<br>found</th></tr></thead>
    <tbody><tr><th><a href="#">bites</a></th><td>1\u202f204<svg><text>9</text></svg></td></tr>
    <tr><td colspan="2">=SUM(A1)</td></tr></tbody></table>
    <div data-no-tables><p><br><table><tr><td>twice</td></tr></table></div>
    <table><caption>Kept</caption><tr><td>\u22123</td></tr></table><table></table>
    """
    found = tables_of(page)
    assert [(table.name, table.rows) for table in found] == [
        ("Deaths & losses", [["Cause", "Heads found"], ["bites", "1\u202f204"], ["=SUM(A1)", ""]]),
        ("Kept", [["\u22123"]]),
    ]
    rows = list(csv.reader(io.StringIO(as_csv(found).decode())))
    assert rows == [
        ["Deaths & losses"], ["Cause", "Heads found"], ["bites", "1204"], ["'=SUM(A1)", ""], [], ["Kept"], ["-3"],
    ]  # fmt: skip
    book = load_workbook(io.BytesIO(as_workbook([*found, found[0]])))
    assert book.sheetnames == ["Deaths & losses", "Kept", "Deaths & losses 2"]
    assert book["Deaths & losses"]["B3"].value == 1204


@pytest.mark.parametrize(
    ("words", "cell"),
    [("12", 12), ("1,234.5", 1234.5), ("4 Mar 2026", "4 Mar 2026"), ("-", "'-"), ("1.2.3", "1.2.3"), ("12 %", "12 %")],
)  # fmt: skip
def test_only_what_is_a_number_becomes_one(words, cell):
    assert cell_of(words) == cell


@pytest.mark.django_db
def test_a_pond_page_gives_its_tables_to_who_may_read_it(owner, reader, nobody):
    FarmOfPonds(owner.user).pond("A", females=90, males=30)
    address = reverse("stock:pond-detail", args=["A"])
    response = reader.get(address)
    assert page_faults(response) == []
    assert "?_tables=csv" in response.content.decode()
    answer = reader.get(address, {"_tables": "csv"})
    assert answer["Content-Disposition"] == 'attachment; filename="ponds-a.csv"'
    rows = list(csv.reader(io.StringIO(answer.content.decode())))
    assert ["Last moves"] in rows
    assert ["By the book", "90", "30", "3.00 : 1"] in rows
    book = load_workbook(io.BytesIO(reader.get(address, {"_tables": "xlsx"}).content))
    assert "Last moves" in book.sheetnames
    assert nobody.get(address, {"_tables": "csv"}).status_code == 302
    # A list has its own export, of all its pages; a page that shows no table stays a page.
    assert "_tables" not in reader.get(reverse("stock:pond-list")).content.decode()
    assert reader.get(reverse("me"), {"_tables": "csv"})["Content-Type"].startswith("text/html")
