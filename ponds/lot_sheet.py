"""The lots sheet: one row is one basket of an egg lot, with what became of it; and the export that loads back.

A basket counted more than once has as many rows; a row without a basket counts the whole lot.
"""

from __future__ import annotations

import csv
import io
import uuid
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any

import openpyxl

from ponds import units
from ponds.cell_values import Choice, Code, Day, PondCode, Text, WholeNumber, YesNo
from ponds.farm import the_farm
from ponds.lists import NOT_IN_XML, guard_cell
from ponds.lot_book import open_lots
from ponds.lot_drafts import LONGEST_CODE, BasketDraft, CandlingDraft, HatchDraft, LotDraft, read_code
from ponds.lot_state import LONGEST_NOTE, MOST_BASKETS, MOST_EGGS, LotRefused, LotState
from ponds.lots import read_lots
from ponds.models import EggLot, Farm, Hatch, Kind, Pond
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written
from ponds.svg_marks import day_text
from ponds.unit_cells import FigureWithUnit

TEMPERATURE = FigureWithUnit(units.TEMPERATURE, -1_000, 1_000, "82 F")
MOST_COUNTED = MOST_BASKETS * MOST_EGGS
LOT_KEYS = uuid.UUID("0c0d5f4e-3a57-4f5a-8e39-4f2c9f7a7c21")
FACTS = ("kind", "set on", "incubator", "temperature", "temperature unit", "lot note")
BASKET = ("container", "pond", "dug on", "eggs", "note")
CANDLING = ("candled on", "candled clear", "candled dead", "candling note")
HATCH = ("hatched on", "hatched", "hatch clear", "hatch dead", "nothing left", "hatch note")
COLUMN_OF = {
    "baskets": {"dug_on": "dug on", "number": "basket"},
    "candlings": {"candled_on": "candled on", "clear": "candled clear", "dead": "candled dead"},
    "hatches": {"hatched_on": "hatched on", "clear": "hatch clear", "dead": "hatch dead"},
    "": {"code": "lot", "set_on": "set on"},
}


class LotCode:
    """A lot's code."""

    shape = f"letters, digits and hyphens, at most {LONGEST_CODE}"

    def __call__(self, cell: str) -> str:
        try:
            return read_code(cell)
        except LotRefused as refused:
            raise ValueError(str(refused)) from None


@dataclass
class _Asked:
    """What a sheet asks of one lot, and the rows it comes from."""

    rows: list[SheetRow] = field(default_factory=list)
    baskets: dict[int, SheetRow] = field(default_factory=dict)
    drafts: dict[str, list[tuple[SheetRow, Any]]] = field(
        default_factory=lambda: {"baskets": [], "candlings": [], "hatches": []}
    )


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Write every row through the hatch log's door."""
    ponds = {pond.code: pond for pond in Pond.objects.all()}
    kinds = {kind.code: kind for kind in Kind.objects.all()}
    asked: dict[str, _Asked] = defaultdict(_Asked)
    for row in rows:
        asked[row["lot"]].rows.append(row)
    standing = read_lots(list(asked))
    bad_rows: list[BadRow] = []
    lots = []
    for code, lot in asked.items():
        bad = list(_read_lot(code, lot, ponds, kinds, standing.get(code)))
        bad_rows += bad
        if not bad:
            lots.append((lot, _draft(code, lot, kinds)))
    if bad_rows:
        raise RowsRefused(sorted(bad_rows, key=lambda one: one.row))
    try:
        open_lots([draft for _, draft in lots], by=by, today=the_farm().today())
    except LotRefused as refused:
        raise RowsRefused([_bad(lots, refused)]) from None
    new = {
        row.number for lot, _ in lots for where in lot.drafts.values() for row, _ in where
    }  # fmt: skip
    new |= {lot.rows[0].number for lot, draft in lots if draft.code not in standing}
    return Written.of("new" if row.number in new else "same" for row in rows)


def _read_lot(
    code: str, lot: _Asked, ponds: dict[str, Pond], kinds: dict[str, Kind], state: LotState | None
) -> Iterator[BadRow]:
    first = lot.rows[0]
    if first["kind"] not in kinds:
        yield first.bad("kind", f"There is no kind {first['kind']}. Look at its code, or add it first.")
        return
    set_to = first["temperature"]
    if set_to and not (set_to.unit or first["temperature unit"]):
        yield first.bad("temperature unit", f"Say whether {set_to.figure} is in °F or °C: write F or C.")
        return
    if set_to and set_to.unit and first["temperature unit"] not in (None, set_to.unit):
        yield first.bad(
            "temperature unit",
            f"The temperature beside it is in {units.symbol(set_to.unit)}; write one of the two.",
        )
        return
    for row in lot.rows[1:]:
        for name in FACTS:
            if row[name] != first[name]:
                yield row.bad(
                    name,
                    f"Lot {code} has “{first.text(name)}” in row {first.number}; write the same in every row.",
                )
    held = _held(state)
    for row in lot.rows:
        yield from _read_basket(code, lot, row, ponds, state)
        yield from _read_counts(lot, row, held)


def _read_basket(
    code: str, lot: _Asked, row: SheetRow, ponds: dict[str, Pond], state: LotState | None
) -> Iterator[BadRow]:
    number = row["basket"]
    filled = [name for name in BASKET if row[name] is not None and row[name] != ""]
    if number is None:
        if filled:
            yield row.bad(
                "basket", f"There is a {filled[0]} here: number its basket 1, 2, 3, as written on it."
            )
        return
    if before := lot.baskets.get(number):
        for name in BASKET:
            if row[name] != before[name]:
                yield row.bad(name, f"Basket {number} has “{before.text(name)}” in row {before.number}.")
        return
    lot.baskets[number] = row
    missing = [name for name in ("pond", "dug on", "eggs") if row[name] is None]
    if missing:
        yield from (row.bad(name, f"Needed for basket {number}.") for name in missing)
        return
    pond = ponds.get(row["pond"])
    if pond is None:
        yield row.bad("pond", f"There is no pond {row['pond']}. Look at its code, or add it first.")
        return
    draft = BasketDraft(
        pond=pond,
        dug_on=row["dug on"],
        eggs=row["eggs"],
        number=number,
        container=row["container"],
        note=row["note"] or "",
    )
    stands = state.by_number.get(number) if state else None
    if stands is None:
        lot.drafts["baskets"].append((row, draft))
    elif (stands.pond_id, stands.dug_on, stands.eggs) != (pond.pk, draft.dug_on, draft.eggs) or (
        draft.container not in (None, stands.container)
    ):
        yield row.bad(
            "basket",
            f"Basket {number} of lot {code} stands already: {stands.eggs} eggs of pond {stands.pond.code}, dug on "
            f"{day_text(stands.dug_on)}, container {stands.container}. Correct it on the lot's page.",
        )


def _read_counts(lot: _Asked, row: SheetRow, held: Counter) -> Iterator[BadRow]:
    for where, names in (("candlings", CANDLING), ("hatches", HATCH)):
        if all(row[name] in (None, "", False) for name in names):
            continue
        needed = names[:3] if where == "candlings" else names[:2]
        missing = [name for name in needed if row[name] is None]
        if missing:
            yield from (
                row.bad(name, f"Needed where there is a {names[0].split()[0]} figure.") for name in missing
            )
            continue
        if where == "candlings":
            draft: Any = CandlingDraft(
                row["candled on"],
                row["candled clear"],
                row["candled dead"],
                row["basket"],
                row["candling note"] or "",
            )
        else:
            draft = HatchDraft(
                row["hatched on"],
                row["hatched"],
                row["hatch clear"] or 0,
                row["hatch dead"] or 0,
                row["basket"],
                bool(row["nothing left"]),
                row["hatch note"] or "",
            )
        if held[draft] > 0:
            held[draft] -= 1
        else:
            lot.drafts[where].append((row, draft))


def _held(state: LotState | None) -> Counter:
    """Count what stands already, as drafts."""
    if state is None:
        return Counter()
    found: list[Any] = [
        CandlingDraft(
            one.candled_on, one.clear, one.dead, one.basket.number if one.basket else None, one.note
        )
        for one in state.candlings
    ]
    found += [
        HatchDraft(
            one.hatched_on,
            one.hatched,
            one.clear,
            one.dead,
            one.basket.number if one.basket else None,
            one.is_last,
            one.note,
        )
        for one in state.hatches
    ]
    return Counter(found)


def _draft(code: str, lot: _Asked, kinds: dict[str, Kind]) -> LotDraft:
    first = lot.rows[0]
    set_to = first["temperature"]
    drafts = {where: tuple(draft for _, draft in pairs) for where, pairs in lot.drafts.items()}
    return LotDraft(
        key=uuid.uuid5(LOT_KEYS, code),
        code=code,
        kind=kinds[first["kind"]],
        set_on=first["set on"],
        incubator=first["incubator"] or "",
        temperature=units.measure(set_to.figure, set_to.unit or first["temperature unit"])
        if set_to
        else None,
        note=first["lot note"] or "",
        baskets=drafts["baskets"],
        candlings=drafts["candlings"],
        hatches=drafts["hatches"],
        extends=True,
    )


def _bad(lots: list[tuple[_Asked, LotDraft]], refused: LotRefused) -> BadRow:
    place, where, one = refused.place
    lot = lots[place][0]
    row = lot.drafts[where][one][0] if where else lot.rows[0]
    return row.bad(COLUMN_OF[where].get(refused.field or "", refused.field or ""), str(refused))


LOTS_SHEET = Sheet(
    what="lots",
    title="Egg lots",
    meaning="One row is one basket of a lot, with what became of it; without a basket it counts the whole lot.",
    columns=(
        Column("lot", True, "Code of the lot; never used again", "2026-014", LotCode()),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("set on", True, "The day the eggs were set", "2026-05-15", Day()),
        Column("incubator", False, "Incubator, room or shelf", "Room 1", Text(60)),
        Column("temperature", False, "What it is set to", "82", TEMPERATURE),
        Column("temperature unit", False, "F or C", "F", Choice(Farm.TemperatureUnit.choices)),
        Column("lot note", False, "Anything worth knowing of the lot", "", Text(LONGEST_NOTE)),
        Column("basket", False, "Number of the basket in its lot", "1", WholeNumber(1, MOST_BASKETS)),
        Column("container", False, "Two baskets to a container", "1", WholeNumber(1, MOST_BASKETS)),
        Column("pond", False, "Pond its eggs were dug at", "A", PondCode()),
        Column("dug on", False, "The day they were dug", "2026-05-14", Day()),
        Column("eggs", False, "Eggs set in it", "36", WholeNumber(1, MOST_EGGS)),
        Column("note", False, "Anything worth knowing of the basket", "", Text(LONGEST_NOTE)),
        Column("candled on", False, "The day it was candled", "2026-05-29", Day()),
        Column("candled clear", False, "Clear eggs taken out", "3", WholeNumber(0, MOST_COUNTED)),
        Column("candled dead", False, "Dead eggs taken out", "1", WholeNumber(0, MOST_COUNTED)),
        Column("candling note", False, "Of the candling", "", Text(LONGEST_NOTE)),
        Column("hatched on", False, "The day the hatch was counted", "2026-07-21", Day()),
        Column("hatched", False, "Hatchlings", "29", WholeNumber(0, MOST_COUNTED)),
        Column("hatch clear", False, "Clear eggs found then", "1", WholeNumber(0, MOST_COUNTED)),
        Column("hatch dead", False, "Dead in the egg or pipping", "2", WholeNumber(0, MOST_COUNTED)),
        Column("nothing left", False, "Yes: the rest was thrown out uncounted", "yes", YesNo()),
        Column("hatch note", False, "Of the hatch", "", Text(LONGEST_NOTE)),
    ),
    apply=write_rows,
)


def lot_rows() -> Iterator[list[Any]]:
    """Yield the headings and every row of every lot that stands, as `LOTS_SHEET` reads them: a few queries."""
    yield [column.name for column in LOTS_SHEET.columns]
    codes = list(EggLot.objects.standing().order_by("set_on", "code").values_list("code", flat=True))
    states = read_lots(codes)
    for code in codes:
        yield from _rows_of(states[code])


def _rows_of(state: LotState) -> Iterator[list[Any]]:
    lot = state.row
    facts = [state.code, lot.kind.code, lot.set_on, lot.incubator, lot.temperature_typed,
             lot.temperature_unit, lot.note]  # fmt: skip
    has_rows = False
    for number, basket in [*((one.number, one) for one in state.baskets), (None, None)]:
        of = [one for one in state.candlings if (one.basket.number if one.basket else None) == number]
        came = [one for one in state.hatches if (one.basket.number if one.basket else None) == number]
        cells = (
            [number, basket.container, basket.pond.code, basket.dug_on, basket.eggs, basket.note]
            if basket
            else [None] * 6
        )
        pairs = list(zip_longest(of, came))
        if not pairs and (basket or not has_rows):
            pairs = [(None, None)]
        for candling, hatch in pairs:
            has_rows = True
            yield [
                *facts,
                *cells,
                *([candling.candled_on, candling.clear, candling.dead, candling.note] if candling else [None] * 4),
                *(_came(hatch) if hatch else [None] * 6),
            ]  # fmt: skip


def _came(hatch: Hatch) -> list[Any]:
    last = "yes" if hatch.is_last else None
    return [hatch.hatched_on, hatch.hatched, hatch.clear, hatch.dead, last, hatch.note]


def lots_csv() -> str:
    """Return every lot as a CSV sheet that loads back."""
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\r\n")
    for row in lot_rows():
        writer.writerow([guard_cell(cell) for cell in row])
    return written.getvalue()


def lots_xlsx() -> bytes:
    """Return every lot as a workbook that loads back."""
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet(LOTS_SHEET.what)
    for row in lot_rows():
        cells = [guard_cell(cell) for cell in row]
        page.append([NOT_IN_XML.sub("", cell) if isinstance(cell, str) else cell for cell in cells])
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()
