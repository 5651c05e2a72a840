"""The demo farm's egg lots as drafts for the hatch log. Reads files, touches no database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from ponds import units
from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft, LotDraft, TemperatureDraft
from ponds.models import Kind, Pond
from stock.demo_sheets import DemoSheets, Row, demo_key


def lot_drafts(sheets: DemoSheets, ponds: Mapping[str, Pond], kinds: Mapping[str, Kind]) -> list[LotDraft]:
    """Return the lots that are set by the day of loading, with what was counted by then."""
    rows: dict[str, list[Row]] = defaultdict(list)
    for row in sheets.rows("lots"):
        if sheets.days.has_come(row["set"]):
            rows[row["lot"]].append(row)
    temperatures: dict[str, list[Row]] = defaultdict(list)
    for row in sheets.past_rows("egg_temperatures"):
        temperatures[row["lot"]].append(row)
    return [_lot(sheets, code, of_lot, temperatures[code], ponds, kinds) for code, of_lot in rows.items()]


def _lot(
    sheets: DemoSheets,
    code: str,
    rows: list[Row],
    temperatures: list[Row],
    ponds: Mapping[str, Pond],
    kinds: Mapping[str, Kind],
) -> LotDraft:
    first, days = rows[0], sheets.days
    return LotDraft(
        key=demo_key(f"lot {code}"),
        code=code,
        kind=kinds[first["kind"]],
        set_on=days.day(first["set"]),
        incubator=first["incubator"],
        temperature=units.measure(first["set F"], "F"),
        note=first["note"],
        baskets=tuple(
            BasketDraft(ponds[row["pond"]], days.day(row["dug"]), int(row["eggs"]), number=int(row["basket"]))
            for row in rows
        ),
        candlings=tuple(
            CandlingDraft(
                days.day(row["candled"]),
                int(row["candled clear"]),
                int(row["candled dead"]),
                int(row["basket"]),
            )
            for row in rows
            if days.has_come(row["candled"])
        ),
        hatches=tuple(
            HatchDraft(
                hatched_on=days.day(row["counted"]),
                hatched=int(row["hatched"]),
                clear=int(row["clear"]),
                dead=int(row["dead"]),
                basket=int(row["basket"]),
                is_last=row["nothing left"] == "yes",
            )
            for row in rows
            if row["counted"] and days.has_come(row["counted"])
        ),
        temperatures=tuple(
            TemperatureDraft(days.day(row["day"]), units.measure(row["F"], "F"), row["probe"])
            for row in temperatures
        ),
    )
