"""The farm's year to a day: what opened, came, went, died and closed in each pond, with nests and eggs. Reads only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Min, Sum

from ponds.models import Farm, NestDay, Pond
from stock import review_rows
from stock.drafts import CLASSES
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.models import Entry
from stock.of_pond_kind import OfPondKind
from stock.pond_facts import pond_kinds, year_before
from stock.pond_kind import PondKind
from stock.pond_pictures import panels_of
from stock.pond_print import picture_sheet, sheets_of
from stock.pond_rows import ponds_of_days
from stock.printed import PrintedSheet, PrintedTable
from stock.review_rows import Flow
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import ratio as ratio_words
from stock.watched_ponds import watched_on


@dataclass(frozen=True)
class YearRow(OfPondKind):
    """One pond and kind over the 365 days to a day, by the book: opening + came - went - dead = closing."""

    facts: PondKind
    came: int
    went: int
    dead: int
    nests: int
    eggs: int
    beyond: int
    place: int

    @property
    def closing(self) -> int:
        return self.facts.heads.total

    @property
    def opening(self) -> int:
        return self.closing - self.came + self.went + self.dead

    @property
    def ratio(self) -> float | None:
        return self.facts.by_book.ratio if self.females or self.males else None

    @property
    def rank(self) -> tuple[int, int]:
        return self.facts.rank, self.place


@dataclass(frozen=True)
class KindlessNests:
    """Nests of one pond whose kind nobody wrote down, and the eggs picked of them."""

    pond: str
    nests: int
    eggs: int


def begins_on(today: dt.date) -> dt.date:
    """Return the first day anything is booked on, today where nothing is: one query."""
    return Entry.objects.aggregate(first=Min("booked_on"))["first"] or today


def ponds_of_year(last: dt.date) -> list[Pond]:
    """Return the ponds of the 365 days to a day, in letter order, as `ponds_of_days` does: one query."""
    return list(ponds_of_days(year_before(last), last))


def year_rows(ponds: Iterable[Pond], last: dt.date) -> list[YearRow]:
    """Return a row for each pond and kind that held or moved anything: some thirty queries for any number."""
    first = year_before(last)
    ids = [pond.pk for pond in ponds]
    flows = review_rows.flows(first, last, ids)
    beyond = review_rows.beyond_book(first, last, ids)
    nests = _nests(ids, first, last)
    rows: list[YearRow] = []
    for one in watched_on(last).of(pond_kinds(last, pond_ids=ids, moved_since=first)):
        where = one.pond_id, one.kind_id
        of_classes = [flows.get((*where, of_class), Flow()) for of_class in CLASSES]
        came = sum(sum(flow.came.values()) for flow in of_classes)
        out = sum(sum(flow.went.values()) for flow in of_classes)
        dead = sum(flow.went["DIED"] for flow in of_classes)
        dug, picked = nests.get(where, (0, 0))
        if one.heads.total or came or out or dug:
            rows.append(YearRow(one, came, out - dead, dead, dug, picked, beyond.get(where, 0), len(rows)))
    return rows


def year_sheets(
    ponds: Sequence[Pond], rows: list[YearRow], farm: Farm, last: dt.date
) -> Iterator[PrintedSheet]:
    """Yield the farm's year: the table of all, every pond as a panel, then a page for each pond."""
    yield year_sheet(rows, farm, last, kindless_nests(ponds, last))
    yield picture_sheet(panels_of([row.facts for row in rows]), farm, last)
    yield from sheets_of(ponds, farm, last)


def kindless_nests(ponds: Sequence[Pond], last: dt.date) -> list[KindlessNests]:
    """Return the nests of the year whose kind is not known, in the ponds' order: one query."""
    rows = (
        NestDay.objects.standing()
        .filter(pond__in=[pond.pk for pond in ponds], kind=None, dug_on__range=(year_before(last), last))
        .values_list("pond")
        .annotate(all_nests=Sum("nests"), all_eggs=Sum("eggs"))
    )
    dug = {pond: (nests, eggs or 0) for pond, nests, eggs in rows if nests}
    return [KindlessNests(pond.code, *dug[pond.pk]) for pond in ponds if pond.pk in dug]


def year_sheet(
    rows: list[YearRow], farm: Farm, last: dt.date, kindless: Sequence[KindlessNests] = ()
) -> PrintedSheet:
    """Arrange the farm's year as the first sheet of its print: all ponds in one table, with the sums."""
    first = year_before(last)
    expiry = f", expires {day_words(farm.licence_expires_on)}" if farm.licence_expires_on else ""
    told: list[tuple[str | int | float | None, ...]] = [
        (
            row.pond, row.kind, row.opening, row.came, row.went, row.dead, row.closing, row.females, row.males,
            ratio_words(row.ratio) if row.ratio is not None else "", row.nests, row.eggs, row.beyond, row.verdict,
        )
        for row in rows
    ]  # fmt: skip
    sums = [
        sum(getattr(row, name) for row in rows)
        for name in ("opening", "came", "went", "dead", "closing", "females", "males")
    ]
    told += [(one.pond, "not known", *[""] * 8, one.nests, one.eggs, "", "") for one in kindless]
    if told:
        last_sums = [sum(getattr(row, name) for row in (*rows, *kindless)) for name in ("nests", "eggs")]
        last_sums.append(sum(row.beyond for row in rows))
        told.append(("All", "", *sums, "", *last_sums, ""))
    listed = sorted({f"{row.kind} ({row.facts.listing})" for row in rows if row.facts.listing})
    facts = [
        ("Farm", farm.name),
        ("Farmer code", farm.code or "not written down"),
        ("Licence", f"{farm.licence}{expiry}" if farm.licence else "not written down"),
        ("Days", f"{day_words(first)} to {day_words(last)}"),
    ]
    if listed:
        facts.append(("Protected kinds", f"{', '.join(listed)}: papers go with every head"))
    return PrintedSheet(
        name="The year",
        title=f"{farm.name}: the year to {day_words(last)}",
        facts=tuple(facts),
        tables=(
            PrintedTable(
                "Opening + came - went - dead = closing",
                (
                    "Pond", "Kind", "Opening", "Came", "Went", "Dead", "Closing", "Females", "Males", "Ratio",
                    "Nests", "Eggs", "Beyond", "How it stands",
                ),
                tuple(told),
                note=(
                    "Heads by the book, by the day of booking; what went from one pond to another, or became another "
                    "class, stands under both. Beyond: heads found that the book did not hold."
                ),
                empty="Nothing stood or moved in these days.",
                widths=(0.6, 1.6, 0.9, 0.7, 0.7, 0.7, 0.9, 0.9, 0.8, 0.9, 0.8, 0.9, 0.8, 2.1),
            ),
        ),
        notes=(RETENTION, NOT_ADVICE),
        is_wide=True,
    )  # fmt: skip


def _nests(ids: list[int], first: dt.date, last: dt.date) -> dict[tuple[int, int], tuple[int, int]]:
    rows = (
        NestDay.objects.standing()
        .filter(pond__in=ids, kind__isnull=False, dug_on__range=(first, last))
        .values_list("pond", "kind")
        .annotate(all_nests=Sum("nests"), all_eggs=Sum("eggs"))
    )
    return {(pond, kind): (nests, eggs or 0) for pond, kind, nests, eggs in rows}
