"""The read side of egg lots: whole lots from the database, with few queries however many there are."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence

from ponds.incubation import DaysAt, Due, HatchWindow, due, hatch_window
from ponds.lot_state import LotState, Tally
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch, Kind, KindFigure, Pond

CODES_AT_ONCE = 500


def read_lots(codes: Sequence[str]) -> dict[str, LotState]:
    """
    Return lots that stand, by code: six queries for each 500 codes.

    Parameters
    ----------
    codes : sequence of str
        Codes; one without a lot, or whose lot was taken back, is left out.

    Returns
    -------
    dict of str to LotState
        With baskets by number, counts and temperatures by day.
    """
    found: dict[str, LotState] = {}
    for start in range(0, len(codes), CODES_AT_ONCE):
        found |= _read(codes[start : start + CODES_AT_ONCE])
    return found


def read_lot(code: str) -> LotState | None:
    """Return one lot that stands, None where there is none: six queries."""
    return read_lots([code]).get(code)


def _read(codes: Sequence[str]) -> dict[str, LotState]:
    rows = EggLot.objects.filter(code__in=codes).select_related("kind", "by").order_by("pk")
    firsts = {row.pk: row for row in rows if row.replaces_id is None}
    replaced = {row.replaces_id for row in rows}
    standing = {row.code: row for row in rows if row.pk not in replaced and not row.is_void}
    states = {
        first.pk: LotState(first=first, row=standing[first.code])
        for first in firsts.values()
        if first.code in standing
    }
    if not states:
        return {}
    ids = list(states)
    by_id: dict[int, Basket] = {}
    baskets = list(
        Basket.objects.filter(lot__in=ids).select_related("pond", "by").order_by("lot", "number", "pk")
    )
    mended = {basket.replaces_id for basket in baskets}
    for basket in baskets:
        state = states[basket.lot_id]
        by_id[basket.pk] = basket
        if basket.replaces_id is None:
            state.numbered[basket.number] = basket
        if basket.pk not in mended and not basket.is_void:
            state.baskets.append(basket)
    for candling in _standing(Candling, ids, "candled_on"):
        candling.basket = by_id[candling.basket_id] if candling.basket_id else None
        states[candling.lot_id].candlings.append(candling)
    for hatch in _standing(Hatch, ids, "hatched_on"):
        hatch.basket = by_id[hatch.basket_id] if hatch.basket_id else None
        states[hatch.lot_id].hatches.append(hatch)
    for temperature in _standing(EggTemperature, ids, "measured_on"):
        states[temperature.lot_id].temperatures.append(temperature)
    return {state.code: state for state in states.values()}


def _standing(model, ids: Iterable[int], day: str):
    return model.objects.standing().filter(lot__in=ids).select_related("by").order_by(day, "pk")


def days_by_kind(kinds: Iterable[int] | None = None) -> dict[int, DaysAt]:
    """Return kind id -> its days of incubation and their temperature: one query; a kind without days is left out."""
    names = KindFigure.Name
    figures = KindFigure.objects.filter(name__in=[names.INCUBATION_DAYS, names.INCUBATION_TEMPERATURE])
    if kinds is not None:
        figures = figures.filter(kind__in=list(kinds))
    by_kind: dict[int, dict[str, KindFigure]] = defaultdict(dict)
    for figure in figures:
        by_kind[figure.kind_id][figure.name] = figure
    return {
        kind: DaysAt(
            low=held[names.INCUBATION_DAYS].low,
            expected=held[names.INCUBATION_DAYS].expected,
            high=held[names.INCUBATION_DAYS].high,
            temperature_mk=held[names.INCUBATION_TEMPERATURE].expected
            if names.INCUBATION_TEMPERATURE in held
            else None,
        )
        for kind, held in by_kind.items()
        if names.INCUBATION_DAYS in held
    }


def window_of(row: EggLot, days: DaysAt | None) -> HatchWindow | None:
    """Return when a lot should hatch, by its kind's days and the temperature it was set at."""
    return hatch_window(row.set_on, days, row.temperature_mk)


def due_in(state: LotState, days: DaysAt | None, today: dt.date) -> Due:
    """Return what a lot is waiting for."""
    whole: Tally = state.whole()
    return due(
        today=today,
        set_on=state.row.set_on,
        window=window_of(state.row, days),
        eggs=whole.eggs,
        is_candled=bool(state.candlings),
        is_done=whole.is_done,
    )


def kinds_allowed_by_pond(ponds: Iterable[int]) -> dict[int, list[Kind]]:
    """Return pond id -> the kinds it is for; a pond for any kind is left out: one query."""
    found: dict[int, list[Kind]] = defaultdict(list)
    for pair in Pond.kinds_allowed.through.objects.filter(pond__in=set(ponds)).select_related("kind"):
        found[pair.pond_id].append(pair.kind)
    return found
