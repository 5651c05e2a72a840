"""The extract for an inspector: one sheet a pond, from the register alone. Reads only.

What stands and how that is known, where it came from and went to, and everything that was put right later:
shortages and heads nobody can explain are shown, never evened out.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from django.utils import timezone

from ponds.models import Farm, NestDay, Pond
from ponds.sums import sum_known
from stock.book import FIELD_OF_CLASS
from stock.drafts import CLASSES
from stock.extract_booked import BookedTables
from stock.extract_rows import ExtractRows, Flows, LotOfPond
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.mended_rows import MendedRow, counted_words
from stock.models import Count, Move
from stock.move_words import class_words
from stock.moves_read import move_sentence
from stock.pond_kind import PondKind
from stock.pond_page import Origin
from stock.pond_rows import PondKindId
from stock.printed import PrintedSheet, PrintedTable
from stock.templatetags.stock_format import day as day_words

PONDS_AT_ONCE = 25


def extract_of(pond: Pond, farm: Farm, first: dt.date, last: dt.date) -> PrintedSheet:
    """Return one pond's sheet for the days from `first` through `last`, as `extracts_of` does."""
    return next(extracts_of([pond], farm, first, last))


def extracts_of(ponds: Sequence[Pond], farm: Farm, first: dt.date, last: dt.date) -> Iterator[PrintedSheet]:
    """
    Yield a sheet for each pond, in the order given: some thirty queries for every twenty-five ponds.

    Parameters
    ----------
    ponds : sequence of Pond
        Retired ones too.
    farm : Farm
        Its name, farmer code and licence head each sheet.
    first, last : date
        Book figures go by the day of booking, eggs and counts by the day they are of; of heads, what was booked in
        these days is listed as well as what happened in them.
    """
    for at in range(0, len(ponds), PONDS_AT_ONCE):
        some = ponds[at : at + PONDS_AT_ONCE]
        rows = ExtractRows(some, first, last)
        for pond in some:
            yield _sheet(pond, farm, first, last, rows)


def _sheet(pond: Pond, farm: Farm, first: dt.date, last: dt.date, rows: ExtractRows) -> PrintedSheet:
    kinds = rows.facts[pond.pk]
    told = BookedTables(rows.entries[pond.pk], pond, first, last)
    return PrintedSheet(
        name=f"Pond {pond.code}",
        title=f"Pond {pond.code}{f', {pond.name}' if pond.name else ''}: {day_words(first)} to {day_words(last)}",
        facts=_facts(pond, farm, kinds, last),
        tables=(
            _standing(kinds),
            _reconciled(pond, kinds, rows.flows),
            told.unexplained(rows.unexplained[pond.pk]),
            _origins(pond, kinds, rows.origins),
            told.came(rows.papers_of_batches),
            told.went(rows.papers_of_moves),
            told.moved(),
            told.sexed(),
            told.died(rows.papers_of_moves),
            _eggs(rows.eggs[pond.pk]),
            _lots(rows.lots[pond.pk]),
            _counts(rows.counts[pond.pk]),
            _uses(state for state in rows.states.get(pond.pk, ()) if state.from_on <= last),
            _corrections(rows.corrections[pond.pk], rows.mended[pond.pk], farm, told),
        ),
        notes=(RETENTION, NOT_ADVICE),
    )


def _facts(pond: Pond, farm: Farm, kinds: list[PondKind], last: dt.date) -> tuple[tuple[str, str], ...]:
    expiry = f", expires {day_words(farm.licence_expires_on)}" if farm.licence_expires_on else ""
    # Also where all of them left meanwhile: what came and went is in the tables below.
    listed = [f"{one.kind_name} ({one.listing})" for one in kinds if one.listing]
    found = [
        ("Farm", farm.name),
        ("Farmer code", farm.code or "not written down"),
        ("Licence", f"{farm.licence}{expiry}" if farm.licence else "not written down"),
        ("Pond", f"{pond.code}; opened {day_words(pond.opened_on)}"),
        ("Kept for", ", ".join(one.kind_name for one in kinds if one.is_allowed) or "no kind"),
        ("Used as", kinds[0].use.words if kinds else "in use"),
    ]
    if pond.retired_on:
        found.append(("Retired", day_words(pond.retired_on)))
    if listed:
        found.append(("Protected kinds", f"{', '.join(listed)}: papers go with every head"))
    return tuple(found)


def _standing(kinds: list[PondKind]) -> PrintedTable:
    rows = []
    for one in kinds:
        count = one.last_count
        known = f"{count.how_known_words}, {day_words(count.as_of)}" if count else "never counted"
        heads = one.heads
        if heads.total:
            rows.append(
                (
                    one.kind_name,
                    heads.females,
                    heads.males,
                    heads.unsexed,
                    heads.juveniles,
                    heads.total,
                    known,
                )
            )
    return PrintedTable(
        "What stands, by the book",
        ("Kind", "Females", "Males", "Unsexed", "Juveniles", "All", "Last counted"),
        tuple(rows),
        note="By the book at the end of the last day. Only what lies in the seine can be seen at once.",
        empty="Nothing stands here by the book.",
        widths=(2.2, 1, 1, 1, 1, 1, 2.2),
    )


def _reconciled(pond: Pond, kinds: list[PondKind], flows: Flows) -> PrintedTable:
    rows = []
    for one in kinds:
        for of_class in CLASSES:
            flow = flows.get((pond.pk, one.kind_id, of_class))
            closing = getattr(one.heads, FIELD_OF_CLASS[of_class])
            if flow is None and not closing:
                continue
            came = sum(flow.came.values()) if flow else 0
            went = sum(flow.went.values()) if flow else 0
            dead = flow.went["DIED"] if flow else 0
            rows.append(
                (
                    f"{one.kind_name}, {class_words(of_class, 2)}",
                    closing - came + went, came, went - dead, dead, closing,
                )
            )  # fmt: skip
    return PrintedTable(
        "Opening + in - out - dead = closing",
        ("Kind and class", "Opening", "In", "Out", "Dead", "Closing"),
        tuple(rows),
        note=(
            "By the day of booking. The rows of heads below come to these sums: those “of” a day before these days "
            "are among them, those “booked after these days” are not. What was taken back is below zero."
        ),
        widths=(3, 1, 1, 1, 1, 1),
    )


def _origins(
    pond: Pond, kinds: list[PondKind], origins: Mapping[PondKindId, Sequence[Origin]]
) -> PrintedTable:
    rows = [
        (
            one.kind_name, row.batch, row.expected, row.at_least, row.at_most,
            ", ".join(part for part in (row.source, row.party) if part),
            day_words(row.arrived_on) if row.arrived_on else "", row.generation, row.papers,
        )
        for one in kinds
        for row in origins.get((pond.pk, one.kind_id), ())
    ]  # fmt: skip
    return PrintedTable(
        "Where what stands came from",
        ("Kind", "Batch", "Expected", "At least", "At most", "Source", "Arrived", "Generation", "Papers"),
        tuple(rows),
        note=(
            "Unmarked heads leave in proportion to the batches in a pond; at least and at most hold whatever was "
            "caught."
        ),
        empty="Nothing stands here.",
        widths=(1.3, 1.3, 1, 0.8, 0.8, 2, 1, 1.2, 1.6),
    )


def _eggs(dug: Iterable[NestDay]) -> PrintedTable:
    days: dict[tuple[dt.date, str], list[NestDay]] = defaultdict(list)
    for row in dug:
        days[row.dug_on, row.kind.common_name if row.kind else "kind not known"].append(row)
    rows = tuple(
        (
            day_words(day), kind, sum(row.nests for row in of_day), sum_known(row.eggs for row in of_day),
            sum_known(row.broken for row in of_day), _names(of_day),
        )
        for (day, kind), of_day in sorted(days.items())
    )  # fmt: skip
    return PrintedTable(
        "Eggs picked",
        ("Day", "Kind", "Nests", "Eggs", "Broken", "By"),
        rows,
        empty="None in these days.",
        widths=(1.2, 2, 1, 1, 1, 1.5),
    )


def _lots(lots: Iterable[LotOfPond]) -> PrintedTable:
    return PrintedTable(
        "Egg lots that hold its eggs",
        ("Lot", "Kind", "Set on", "Incubator", "Eggs of this pond", "Baskets"),
        tuple(
            (code, kind, day_words(set_on), incubator, eggs, baskets)
            for code, kind, set_on, incubator, eggs, baskets in lots
        ),
        note="By the days the eggs were dug; what hatched of them stands in the hatch log.",
        empty="None in these days.",
        widths=(1.2, 2, 1, 1.6, 1.2, 1),
    )


def _names(rows: Iterable[NestDay]) -> str:
    return ", ".join(dict.fromkeys(row.by.get_username() for row in rows if row.by))


def _counts(counts: Iterable[Count]) -> PrintedTable:
    rows = tuple(
        (
            day_words(count.as_of), count.kind.common_name, count.get_how_known_display(),
            counted_words(count.females, count.females_se), counted_words(count.males, count.males_se),
            count.reason, count.by_name,
        )
        for count in counts
    )  # fmt: skip
    return PrintedTable(
        "Head counts accepted",
        ("Day", "Kind", "How", "Females", "Males", "Reason", "By"),
        rows,
        note="Plus-or-minus at 95 %.",
        empty="None in these days.",
        widths=(1.1, 1.8, 1.2, 1.3, 1.3, 2, 1),
    )


def _uses(states: Iterable) -> PrintedTable:
    rows = tuple(
        (
            day_words(state.from_on), state.get_state_display(),
            day_words(state.ends_on) if state.ends_on else "", state.note,
        )
        for state in states
    )  # fmt: skip
    return PrintedTable(
        "What it was used as",
        ("From", "State", "Due to end", "Note"),
        rows,
        empty="In use since it was opened.",
    )


def _corrections(
    moves: Iterable[Move], mended: Iterable[MendedRow], farm: Farm, told: BookedTables
) -> PrintedTable:
    def entered(row: Move | MendedRow) -> str:
        return day_words(timezone.localtime(row.recorded_at, farm.tzinfo).date())

    rows = [
        (
            told.day_of(move), entered(move),
            "taken back" if move.reverses_id else "put in its place", move_sentence(move), move.note, move.by_name,
        )
        for move in moves
    ]  # fmt: skip
    rows += [(day_words(row.day), entered(row), row.state, row.what, row.note, row.by_name) for row in mended]
    return PrintedTable(
        "Every correction",
        ("Of the day", "Entered", "How", "What", "Note", "By"),
        tuple(rows),
        note="Nothing is ever overwritten: what was wrong stands in the register beside what was put in its place.",
        empty="None in these days.",
        widths=(1.3, 1, 1, 2.5, 1.7, 0.9),
    )
