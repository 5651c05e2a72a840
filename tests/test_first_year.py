"""A notebook's first year comes in by its four sheets; what stands afterwards is summed from the files by hand."""

import csv
import datetime as dt
from collections import Counter
from pathlib import Path

import pytest
from django.db.models import Sum

from ponds.kinds_shipped import load_shipped_kinds
from ponds.models import NestDay, Pond
from ponds.sheets import load, registered_sheets
from stock.book import by_pond_and_kind
from stock.check import differences

pytestmark = pytest.mark.django_db
FOLDER = Path(__file__).parents[1] / "fixtures_demo" / "first_year"
SHEETS = ("ponds", "stock", "moves", "nests")


def rows_of(what):
    with (FOLDER / f"{what}.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_the_four_sheets_of_the_example_year_load_in_their_order():
    load_shipped_kinds()
    for what in SHEETS:
        outcome = load(registered_sheets()[what], f"{what}.csv", (FOLDER / f"{what}.csv").read_bytes())
        assert (outcome.bad_rows, outcome.written.new) == ([], len(rows_of(what))), what
        assert outcome.written.warnings == (), what
    heads = Counter()
    for row in rows_of("stock"):
        for of_class in ("females", "males", "unsexed"):
            heads[row["pond"], of_class] += int(row[of_class] or 0)
    for row in rows_of("moves"):
        heads[row["from"], f"{row['class']}s"] -= int(row["heads"])
        heads[row["to"], f"{row['class']}s"] += int(row["heads"])
    codes = dict(Pond.objects.values_list("pk", "code"))
    held = {codes[pond]: found for (pond, _), found in by_pond_and_kind(dt.date(2026, 1, 1)).items()}
    assert {code: (found.females, found.males, found.unsexed) for code, found in held.items()} == {
        code: (heads[code, "females"], heads[code, "males"], heads[code, "unsexed"])
        for code in codes.values()
    }
    nests = rows_of("nests")
    assert NestDay.objects.aggregate(Sum("nests"), Sum("eggs")) == {
        "nests__sum": sum(int(row["nests"]) for row in nests),
        "eggs__sum": sum(int(row["eggs"]) for row in nests),
    }
    assert differences() == []
