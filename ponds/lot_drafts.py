"""What somebody asks the hatch log to write, as plain values, and the rows those come to."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from dataclasses import dataclass, field
from typing import Any

from ponds.lot_state import LotRefused, LotState
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch, Kind, Pond
from ponds.seasons import season_of
from ponds.units import Measure

LONGEST_CODE = 20
RESERVED_CODES = ("NEW",)
_CODE = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*", re.ASCII)


@dataclass(frozen=True)
class BasketDraft:
    """A basket to be set: its eggs come from one pond and one day. Number and container None: the next free ones."""

    pond: Pond
    dug_on: dt.date
    eggs: int
    number: int | None = None
    container: int | None = None
    note: str = ""


@dataclass(frozen=True)
class CandlingDraft:
    """Eggs taken out at candling; `basket` is a basket's number, None for the whole lot."""

    candled_on: dt.date
    clear: int
    dead: int
    basket: int | None = None
    note: str = ""


@dataclass(frozen=True)
class HatchDraft:
    """What came of the eggs still in; `basket` is a basket's number, None for the whole lot."""

    hatched_on: dt.date
    hatched: int
    clear: int = 0
    dead: int = 0
    basket: int | None = None
    is_last: bool = False
    note: str = ""


@dataclass(frozen=True)
class TemperatureDraft:
    """A temperature read beside the eggs, and where the probe lay."""

    measured_on: dt.date
    temperature: Measure
    probe: str = ""
    note: str = ""


@dataclass(frozen=True)
class LotDraft:
    """A lot to be set, with whatever is known of it already."""

    key: uuid.UUID
    code: str
    kind: Kind
    set_on: dt.date
    incubator: str = ""
    temperature: Measure | None = None
    note: str = ""
    baskets: tuple[BasketDraft, ...] = ()
    candlings: tuple[CandlingDraft, ...] = ()
    hatches: tuple[HatchDraft, ...] = ()
    temperatures: tuple[TemperatureDraft, ...] = ()
    extends: bool = field(default=False, kw_only=True)
    """True: a lot that stands already, with these very facts, gets the baskets and counts."""


def read_code(text: str) -> str:
    """Return a lot's code as it is kept, in capitals; raises `LotRefused` with a sentence."""
    code = text.strip().upper()
    if code in RESERVED_CODES:
        raise LotRefused(f"{code} cannot be a code: a page has that address. Choose another.", "code")
    if len(code) > LONGEST_CODE or not _CODE.fullmatch(code):
        raise LotRefused(
            f"“{text.strip()[:30]}” is not a lot's code; write letters, digits and hyphens, such as 2026-014, "
            f"{LONGEST_CODE} characters at most.",
            "code",
        )
    return code


def next_code(today: dt.date) -> str:
    """Return the next code of this season that was never used, such as 2026-014: one query."""
    year = season_of(today).year
    used = EggLot.objects.filter(code__startswith=f"{year}-", replaces=None).values_list("code", flat=True)
    numbers = [int(code[5:]) for code in used if code[5:].isdecimal() and len(code) < LONGEST_CODE]
    return f"{year}-{max(numbers, default=0) + 1:03}"


def lot_row(draft: LotDraft, by: Any) -> EggLot:
    """Return a lot, not saved."""
    return EggLot(
        key=draft.key,
        by=by,
        code=read_code(draft.code),
        kind=draft.kind,
        set_on=draft.set_on,
        incubator=draft.incubator,
        temperature_mk=draft.temperature.stored if draft.temperature else None,
        temperature_typed=draft.temperature.typed if draft.temperature else "",
        temperature_unit=draft.temperature.unit if draft.temperature else "",
        note=draft.note,
    )


def basket_row(state: LotState, draft: BasketDraft, key: uuid.UUID, by: Any) -> Basket:
    """Return a basket of a lot, not saved; number and container are the next free ones where none is given."""
    return Basket(
        key=key,
        by=by,
        lot=state.first,
        number=draft.number if draft.number is not None else state.next_number,
        pond=draft.pond,
        dug_on=draft.dug_on,
        eggs=draft.eggs,
        container=draft.container if draft.container is not None else state.next_container,
        note=draft.note,
    )


def candling_row(state: LotState, draft: CandlingDraft, key: uuid.UUID, by: Any) -> Candling:
    """Return a candling of a lot, not saved."""
    return Candling(
        key=key,
        by=by,
        lot=state.first,
        basket=numbered(state, draft.basket),
        candled_on=draft.candled_on,
        clear=draft.clear,
        dead=draft.dead,
        note=draft.note,
    )


def hatch_row(state: LotState, draft: HatchDraft, key: uuid.UUID, by: Any) -> Hatch:
    """Return a hatch of a lot, not saved."""
    return Hatch(
        key=key,
        by=by,
        lot=state.first,
        basket=numbered(state, draft.basket),
        hatched_on=draft.hatched_on,
        hatched=draft.hatched,
        clear=draft.clear,
        dead=draft.dead,
        is_last=draft.is_last,
        note=draft.note,
    )


def numbered(state: LotState, number: int | None) -> Basket | None:
    """Return the row that first named a basket, None for the whole lot; refuses a number the lot has not."""
    if number is None:
        return None
    basket = state.numbered.get(number)
    if basket is None:
        numbers = ", ".join(str(one) for one in sorted(state.by_number)) or "none"
        raise LotRefused(
            f"Lot {state.code} has no basket {number}; its baskets are {numbers}. Leave it empty for the whole lot.",
            "basket",
        )
    return basket


def temperature_row(state: LotState, draft: TemperatureDraft, key: uuid.UUID, by: Any) -> EggTemperature:
    """Return a temperature beside the eggs of a lot, not saved."""
    return EggTemperature(
        key=key,
        by=by,
        lot=state.first,
        measured_on=draft.measured_on,
        temperature_mk=draft.temperature.stored,
        temperature_typed=draft.temperature.typed,
        temperature_unit=draft.temperature.unit,
        probe=draft.probe,
        note=draft.note,
    )
