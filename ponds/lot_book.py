"""The hatch log's one door: egg lots, their baskets, and what became of them are written here alone.

No row is changed. A mistake is mended by a row that replaces it, or taken back by an empty row that does. The
same key with the same content returns the first row again; with other content it is refused.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, TypeVar

from django.db import IntegrityError, transaction

from ponds.lot_drafts import (
    BasketDraft,
    CandlingDraft,
    HatchDraft,
    LotDraft,
    TemperatureDraft,
    basket_row,
    candling_row,
    hatch_row,
    lot_row,
    next_code,
    read_code,
    temperature_row,
)
from ponds.lot_state import CodeUsed, LotRefused, LotState
from ponds.lots import kinds_allowed_by_pond, read_lot, read_lots
from ponds.mending import why_not_mended
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch, Kind, Pond
from ponds.svg_marks import day_text

ROWS_AT_ONCE = 500
BOOK = "the hatch log"
SENT_BEFORE = (
    "This entry was sent before with other figures. Look at the lot, then correct that row or start anew."
)
_OWN = {"id", "key", "by_id", "recorded_at"}

Row = TypeVar("Row", EggLot, Basket, Candling, Hatch, EggTemperature)


class KeyUsed(LotRefused):
    """The key was used for another entry."""


class AlreadyMended(LotRefused):
    """The row has been replaced or taken back already."""


class NotYours(LotRefused):
    """A hand mends their own rows of the last 31 days; an owner mends any."""


@dataclass
class _Fresh:
    """Rows to be saved, what others point at first."""

    lots: list[EggLot] = field(default_factory=list)
    baskets: list[Basket] = field(default_factory=list)
    candlings: list[Candling] = field(default_factory=list)
    hatches: list[Hatch] = field(default_factory=list)
    temperatures: list[EggTemperature] = field(default_factory=list)


@transaction.atomic
def open_lot(draft: LotDraft, *, by: Any = None, today: dt.date) -> LotState:
    """Set one lot, with its baskets; see `open_lots`."""
    return open_lots([draft], by=by, today=today)[0]


@transaction.atomic
def open_lots(drafts: Sequence[LotDraft], *, by: Any = None, today: dt.date) -> list[LotState]:
    """
    Set lots with their baskets and counts, all of them or none; a few queries for hundreds of lots.

    Parameters
    ----------
    drafts : sequence of LotDraft
        Each with its key and a code of its own.
    by : user, optional
        Who writes them.
    today : date
        The farm's day.

    Returns
    -------
    list of LotState
        In the order given, as they stand afterwards. The same key with the same facts changes nothing.

    Raises
    ------
    LotRefused
        With a sentence and the field; its `place` is (place of the lot, "baskets", "candlings", "hatches",
        "temperatures" or "", place in there), from 0.
    """
    codes = [read_code(draft.code) for draft in drafts]
    list(EggLot.objects.select_for_update().filter(code__in=codes, replaces=None).order_by("pk"))
    held = {
        row.code: row
        for start in range(0, len(codes), ROWS_AT_ONCE)
        for row in EggLot.objects.filter(code__in=codes[start : start + ROWS_AT_ONCE], replaces=None)
    }
    standing = read_lots(list(held)) if held else {}
    allowed = kinds_allowed_by_pond({basket.pond.pk for draft in drafts for basket in draft.baskets})
    fresh = _Fresh()
    states = []
    for place, (code, draft) in enumerate(zip(codes, drafts, strict=True)):
        try:
            state, is_same = _opened(code, draft, held.get(code), standing.get(code), by, today)
            if not is_same:
                if state.first.pk is None:
                    fresh.lots.append(state.first)
                held[code] = state.first
                standing[code] = state
                _fill(state, draft, allowed, fresh, by, today)
        except LotRefused as refused:
            refused.place = (place, *(refused.place or ("", 0)))
            raise
        states.append(state)
    _save(fresh)
    return states


@transaction.atomic
def add_baskets(
    *, lot: EggLot, key: uuid.UUID, baskets: Sequence[BasketDraft], by: Any = None, today: dt.date
) -> list[Basket]:
    """Put more baskets into a lot; the same key with the same baskets returns the first ones again."""
    state = _locked(lot)
    keys = [uuid.uuid5(key, str(place)) for place in range(len(baskets))]
    first = {row.key: row for row in Basket.objects.filter(key__in=keys)}
    allowed = kinds_allowed_by_pond({basket.pond.pk for basket in baskets})
    rows = []
    for place, (own, draft) in enumerate(zip(keys, baskets, strict=True)):
        try:
            if own in first:
                same = first[own]
                if (same.pond_id, same.dug_on, same.eggs) != (draft.pond.pk, draft.dug_on, draft.eggs):
                    raise KeyUsed(SENT_BEFORE)
                rows.append(same)
                continue
            row = basket_row(state, draft, own, by)
            state.check_basket(row, allowed.get(draft.pond.pk, []))
        except LotRefused as refused:
            refused.place = place
            raise
        row.save(force_insert=True)
        state.numbered[row.number] = row
        state.baskets.append(row)
        rows.append(row)
    return rows


@transaction.atomic
def candle(*, lot: EggLot, key: uuid.UUID, draft: CandlingDraft, by: Any = None, today: dt.date) -> Candling:
    """Log what candling found and was taken out, of one basket or the whole lot."""
    state = _locked(lot)
    row = candling_row(state, draft, key, by)
    return _add(row, lambda: state.check_count(row, today))


@transaction.atomic
def log_hatch(*, lot: EggLot, key: uuid.UUID, draft: HatchDraft, by: Any = None, today: dt.date) -> Hatch:
    """Log what hatched, was clear or was dead, of one basket or the whole lot."""
    state = _locked(lot)
    row = hatch_row(state, draft, key, by)
    return _add(row, lambda: state.check_count(row, today))


@transaction.atomic
def log_temperature(
    *, lot: EggLot, key: uuid.UUID, draft: TemperatureDraft, by: Any = None, today: dt.date
) -> EggTemperature:
    """Log a temperature read beside the eggs."""
    state = _locked(lot)
    row = temperature_row(state, draft, key, by)
    return _add(row, lambda: state.check_temperature_row(row, today))


@transaction.atomic
def mend(*, row: Row, key: uuid.UUID, changes: dict[str, Any], by: Any = None, today: dt.date) -> Row:
    """
    Put a new row in the place of one.

    Parameters
    ----------
    row : EggLot, Basket, Candling, Hatch or EggTemperature
        The row that stands.
    key : UUID
        Made where the correction was typed.
    changes : dict
        Model fields by name. A lot's code, a basket's number and what a count belongs to stay.
    by : user, optional
        Who mends it; a hand their own rows of the last 31 days, an owner any.
    today : date
        The farm's day.

    Returns
    -------
    The new row, or the first one of this key.

    Raises
    ------
    LotRefused
        With a sentence and the field it is about.
    """
    _refuse_not_yours(row, by, today)
    state = _locked(row if isinstance(row, EggLot) else row.lot)
    new = _copy(row, key=key, by=by, **changes)

    def check() -> None:
        if isinstance(new, EggLot):
            state.check_lot(new, today)
            if new.kind_id != state.row.kind_id:
                state.row = new
                for basket in state.baskets:
                    state.check_basket(_seen(basket), _allowed(basket.pond))
        elif isinstance(new, Basket):
            state.check_basket(new, _allowed(new.pond))
        elif isinstance(new, EggTemperature):
            state.check_temperature_row(new, today)
        elif isinstance(new, Candling | Hatch):
            state.check_count(new, today)

    return _add(new, check)


@transaction.atomic
def take_back(*, row: Row, key: uuid.UUID, note: str = "", by: Any = None, today: dt.date) -> Row:
    """Take a row back: from now on it counts for nothing, and stays in the log. A lot takes its baskets along.

    Refused with `TooManyEggs` where eggs of the lot or basket are counted: those counts come first.
    """
    _refuse_not_yours(row, by, today)
    state = _locked(row if isinstance(row, EggLot) else row.lot, may_be_gone=True)
    void = _copy(row, key=key, by=by, note=note, is_void=True)

    def check() -> None:
        if isinstance(row, EggLot | Basket):
            state.check_taking_back(row)
        if isinstance(row, EggLot):
            for basket in state.baskets:
                _refuse_not_yours(basket, by, today)

    written = _add(void, check)
    if isinstance(row, EggLot):
        for basket in state.baskets:
            _copy(basket, key=uuid.uuid5(key, str(basket.number)), by=by, note=note, is_void=True).save(
                force_insert=True
            )
    return written


def _opened(
    code: str, draft: LotDraft, held: EggLot | None, state: LotState | None, by: Any, today: dt.date
) -> tuple[LotState, bool]:
    """Return the lot a draft is about, and whether the draft was written before."""
    row = lot_row(draft, by)
    if held is None:
        new = LotState(first=row, row=row)
        new.check_lot(row, today)
        return new, False
    if draft.extends and state is not None:
        if _content(state.row, "replaces_id") != _content(row, "replaces_id"):
            raise CodeUsed(
                f"Lot {code} stands already, of other facts: {state.row.kind.common_name}, set on "
                f"{day_text(state.row.set_on)}, {state.row.incubator or 'no incubator named'}, "
                f"{_temperature(state.row)}. Write the same here, or correct the lot on its page."
            )
        return state, False
    if held.key == draft.key and state is not None and not draft.extends:
        if _content(held) != _content(row):
            raise KeyUsed(SENT_BEFORE)
        return state, True
    gone = "" if state else ", and was taken back"
    raise CodeUsed(
        f"Lot {code} was set on {day_text(held.set_on)}{gone}; a code is never used again. The next free one is "
        f"{next_code(draft.set_on)}."
    )


def _fill(
    state: LotState,
    draft: LotDraft,
    allowed: dict[int, list[Kind]],
    fresh: _Fresh,
    by: Any,
    today: dt.date,
) -> None:
    for place, one in enumerate(draft.baskets):
        with _at("baskets", place):
            basket = basket_row(state, one, uuid.uuid4(), by)
            state.check_basket(basket, allowed.get(one.pond.pk, []))
        state.numbered[basket.number] = basket
        state.baskets.append(basket)
        fresh.baskets.append(basket)
    for place, found in enumerate(draft.candlings):
        with _at("candlings", place):
            candling = candling_row(state, found, uuid.uuid4(), by)
            state.check_count(candling, today)
        state.candlings.append(candling)
        fresh.candlings.append(candling)
    for place, came in enumerate(draft.hatches):
        with _at("hatches", place):
            hatch = hatch_row(state, came, uuid.uuid4(), by)
            state.check_count(hatch, today)
        state.hatches.append(hatch)
        fresh.hatches.append(hatch)
    for place, read in enumerate(draft.temperatures):
        with _at("temperatures", place):
            temperature = temperature_row(state, read, uuid.uuid4(), by)
            state.check_temperature_row(temperature, today)
        state.temperatures.append(temperature)
        fresh.temperatures.append(temperature)


@contextmanager
def _at(where: str, place: int) -> Iterator[None]:
    try:
        yield
    except LotRefused as refused:
        refused.place = (where, place)
        raise


def _save(fresh: _Fresh) -> None:
    try:
        with transaction.atomic():
            EggLot.objects.bulk_create(fresh.lots, batch_size=ROWS_AT_ONCE)
    except IntegrityError:
        raise CodeUsed("One of these codes was used this very moment. Open the page again.") from None
    # The rows that others point at have their ids only once they are saved.
    for basket in fresh.baskets:
        basket.lot = basket.lot
    Basket.objects.bulk_create(fresh.baskets, batch_size=ROWS_AT_ONCE)
    for candling in fresh.candlings:
        candling.lot, candling.basket = candling.lot, candling.basket
    for hatch in fresh.hatches:
        hatch.lot, hatch.basket = hatch.lot, hatch.basket
    Candling.objects.bulk_create(fresh.candlings, batch_size=ROWS_AT_ONCE)
    Hatch.objects.bulk_create(fresh.hatches, batch_size=ROWS_AT_ONCE)
    for temperature in fresh.temperatures:
        temperature.lot = temperature.lot
    EggTemperature.objects.bulk_create(fresh.temperatures, batch_size=ROWS_AT_ONCE)


def _locked(lot: EggLot, *, may_be_gone: bool = False) -> LotState:
    # The row that first named the code is the lock: two entries of one lot wait for each other.
    first = EggLot.objects.select_for_update().get(code=lot.code, replaces=None)
    state = read_lot(first.code)
    if state is None and may_be_gone:
        return LotState(first=first, row=lot)
    if state is None:
        raise AlreadyMended(f"Lot {first.code} was taken back; nothing more goes into it.")
    return state


def _add(row: Row, check: Callable[[], None]) -> Row:
    # The key is looked up under the lock of the lot, so that a form sent twice is written once.
    if same := type(row)._default_manager.filter(key=row.key).first():
        if _content(same) != _content(row):
            raise KeyUsed(SENT_BEFORE)
        return same
    if row.replaces_id:
        _refuse_mended(row)
    check()
    row.save(force_insert=True)
    return row


def _copy(row: Any, **changes: Any) -> Any:
    values = {
        one.name: getattr(row, one.name)
        for one in row._meta.concrete_fields
        if one.attname not in _OWN and one.name not in ("replaces", "is_void")
    }
    return type(row)(**values | {"replaces": row} | changes)


def _seen(basket: Basket) -> Basket:
    """Return a basket as if it replaced itself, to be checked anew."""
    return _copy(basket)


def _allowed(pond: Pond) -> list[Kind]:
    return kinds_allowed_by_pond([pond.pk]).get(pond.pk, [])


def _content(row: Any, *without: str) -> dict[str, Any]:
    return {
        one.attname: getattr(row, one.attname)
        for one in row._meta.concrete_fields
        if one.attname not in _OWN and one.attname not in without
    }


def _temperature(row: EggLot) -> str:
    if row.temperature_mk is None:
        return "no temperature"
    return f"{row.temperature_typed} °{row.temperature_unit}"


def _refuse_mended(row: Any) -> None:
    was = row.replaces
    mended = type(row)._default_manager.select_related("by").filter(replaces=was).first()
    if was.is_void:
        raise AlreadyMended("This row only takes another one back; enter it anew.")
    if mended is None:
        return
    who = f" by {mended.by.get_username()}" if mended.by else ""
    if mended.is_void:
        raise AlreadyMended(f"This ({was}) was taken back already{who}. Nothing is changed by this.")
    raise AlreadyMended(f"This ({was}) was corrected already{who}: now {mended}. Correct that row instead.")


def _refuse_not_yours(row: Any, by: Any, today: dt.date) -> None:
    if why_not := why_not_mended(row, by, today, book=BOOK):
        raise NotYours(why_not)
