"""The demo's year once more, from what the site exports as CSV, by pandas and in other terms than the register's.

Nothing of the register's own arithmetic is used: entries become signed rows of cells, and are summed.
"""

from __future__ import annotations

import datetime as dt
import io

import pandas as pd
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from ponds.farm import the_farm
from ponds.models import Kind
from ponds.roles import READER, give_role
from stock.farm_year import kindless_nests, ponds_of_year, year_rows, year_sheet
from stock.review import month_review

COLUMNS = ["opening", "came", "went", "dead", "closing"]


def exported(name: str) -> pd.DataFrame:
    """Return a list of the site as its CSV export has it, read by a reader."""
    reader, _ = User.objects.get_or_create(username="heron")
    give_role(reader, READER)
    client = Client()
    client.force_login(reader, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.get(reverse(name), {"_export": "csv"})
    assert answer.status_code == 200
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return pd.read_csv(io.BytesIO(content), keep_default_na=False)


def cell_rows(entries: pd.DataFrame) -> pd.DataFrame:
    """Part each entry into what it adds to one pond and what it takes from another, reversals counted off."""
    kept = ["kind", "reason", "booked on", "reverses", "heads"]
    came = entries[entries["to pond"] != ""][[*kept, "to pond", "class after"]]
    came = came.rename(columns={"to pond": "pond", "class after": "of_class"}).assign(way=1)
    went = entries[entries["from pond"] != ""][[*kept, "from pond", "class"]]
    went = went.rename(columns={"from pond": "pond", "class": "of_class"}).assign(way=-1)
    rows = pd.concat([came, went], ignore_index=True)
    rows["net"] = rows["heads"] * rows["way"]
    is_back = rows["reverses"] != ""
    # A reversal stands on the side of what it takes back, with its heads below zero.
    rows["side"] = rows["way"].where(~is_back, -rows["way"])
    rows["counted"] = rows["heads"].where(~is_back, -rows["heads"])
    rows["day"] = pd.to_datetime(rows["booked on"])
    return rows


def flow(rows: pd.DataFrame, by: list[str], first: dt.date, last: dt.date) -> pd.DataFrame:
    """Return opening, came, went, dead and closing by the columns given, over some days."""
    start, end = pd.Timestamp(first), pd.Timestamp(last)
    within = rows[(rows["day"] >= start) & (rows["day"] <= end)]
    died = within["reason"].eq("died")
    parts = {
        "opening": rows[rows["day"] < start].groupby(by)["net"].sum(),
        "came": within[within["side"] > 0].groupby(by)["counted"].sum(),
        "went": within[(within["side"] < 0) & ~died].groupby(by)["counted"].sum(),
        "dead": within[(within["side"] < 0) & died].groupby(by)["counted"].sum(),
        "closing": rows[rows["day"] <= end].groupby(by)["net"].sum(),
    }
    return pd.DataFrame(parts).fillna(0).astype(int)[COLUMNS]


def the_year_and_its_months_are_what_pandas_makes_of_the_exports(farm) -> None:
    rows = cell_rows(exported("stock:move-list"))
    ours = {
        (row.pond, row.facts.kind_code): [row.opening, row.came, row.went, row.dead, row.closing]
        for row in year_rows(ponds_of_year(farm.today), farm.today)
    }
    theirs = flow(rows, ["pond", "kind"], farm.today - dt.timedelta(days=364), farm.today)
    theirs = theirs[theirs.index.isin(ours.keys()) | theirs.any(axis=1)]
    assert {where: list(row) for where, row in zip(theirs.index, theirs.to_numpy(), strict=True)} == ours
    month = farm.today.replace(day=1)
    for _ in range(3):
        month = (month - dt.timedelta(days=1)).replace(day=1)
        found = month_review(month, farm.today)
        by_class = {
            (pond.pond_code, kind.facts.kind_code, row.words): [
                row.opening, row.came, row.went, row.dead, row.closing,
            ]
            for pond in found.ponds
            for kind in pond.kinds
            for row in kind.classes
        }  # fmt: skip
        again = flow(rows, ["pond", "kind", "of_class"], month, found.last)
        again = again[again.any(axis=1)]
        written = {
            (pond, kind, plural(of_class)): list(row)
            for (pond, kind, of_class), row in zip(again.index, again.to_numpy(), strict=True)
            if pond in {one.pond_code for one in found.ponds}
        }
        assert written == by_class


def plural(of_class: str) -> str:
    return {"female": "females", "male": "males", "juvenile": "juveniles"}.get(of_class, of_class)


def the_years_nests_are_those_of_the_exported_nest_book(farm) -> None:
    book = exported("ponds:nest-list")
    book["day"] = pd.to_datetime(book["Day"])
    year = book[
        (book["day"] > pd.Timestamp(farm.today) - pd.Timedelta(days=365))
        & (book["day"] <= pd.Timestamp(farm.today))
    ]
    by_pond = year.assign(
        nests=pd.to_numeric(year["Nests"]), eggs=pd.to_numeric(year["Eggs"], errors="coerce").fillna(0)
    )
    known = by_pond["Kind"].isin(Kind.objects.values_list("common_name", flat=True))
    sums = by_pond[known].groupby(["Pond", "Kind"])[["nests", "eggs"]].sum().astype(int)
    ours = {
        (row.pond, row.kind): [row.nests, row.eggs]
        for row in year_rows(ponds_of_year(farm.today), farm.today)
        if row.nests
    }
    assert {where: list(row) for where, row in zip(sums.index, sums.to_numpy(), strict=True)} == ours
    kindless = by_pond[~known].groupby("Pond")[["nests", "eggs"]].sum().astype(int)
    ponds = ponds_of_year(farm.today)
    unknown = kindless_nests(ponds, farm.today)
    assert {pond: list(row) for pond, row in zip(kindless.index, kindless.to_numpy(), strict=True)} == {
        one.pond: [one.nests, one.eggs] for one in unknown
    }
    # The last line of the print is the whole nest book of the year, kind known or not.
    (table,) = year_sheet(year_rows(ponds, farm.today), the_farm(), farm.today, unknown).tables
    nests, eggs = (table.columns.index(name) for name in ("Nests", "Eggs"))
    total = by_pond[["nests", "eggs"]].sum().astype(int)
    assert (table.rows[-1][nests], table.rows[-1][eggs]) == tuple(total)
