"""What one lot's page shows: its sums, its baskets, when it should hatch, and every count in order."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import partial
from typing import Any

from ponds import units
from ponds.incubation import Due, HatchWindow, candle_day, hatch_window
from ponds.lot_state import LotState, Tally
from ponds.lots import days_by_kind, due_in, window_of
from ponds.mending import why_not_mended
from ponds.models import Basket, Candling, EggTemperature, Farm, Hatch

FEWEST_READINGS = 3
"""So many readings beside the eggs before a window is counted with their mean."""


@dataclass(frozen=True)
class BasketLine:
    """A basket and what was counted of it by itself."""

    basket: Basket
    tally: Tally
    is_counted: bool


@dataclass(frozen=True)
class LogLine:
    """One row of the log: what it is, its day, its words, and whether the person may mend it."""

    what: str
    on: dt.date
    row: Candling | Hatch | EggTemperature
    words: str
    may_mend: bool

    @property
    def basket(self) -> int | None:
        found = getattr(self.row, "basket", None)
        return found.number if found else None


@dataclass(frozen=True)
class LotPage:
    """A lot's page; windows are None where the days do not hold, `beside` where few readings lie beside the eggs."""

    state: LotState
    whole: Tally
    apart: Tally
    baskets: tuple[BasketLine, ...]
    due: Due
    window: HatchWindow | None
    has_days: bool
    candle_on: dt.date
    beside: HatchWindow | None
    beside_mk: float | None
    log: tuple[LogLine, ...]
    may_mend_lot: bool
    mendable_baskets: frozenset[int]


def lot_page(state: LotState, *, by: Any, farm: Farm) -> LotPage:
    """Arrange a lot for its page; one query, for the kind's days."""
    today = farm.today()
    days = days_by_kind([state.row.kind_id]).get(state.row.kind_id)
    window = window_of(state.row, days)
    tallies = state.tallies()
    counted = {count.basket.number for count in state.counts if count.basket}
    apart = Tally()
    for count in state.counts:
        if count.basket is None:
            apart.add(count)
    mean = None
    if len(state.temperatures) >= FEWEST_READINGS:
        mean = sum(one.temperature_mk for one in state.temperatures) / len(state.temperatures)
    may = partial(_may, by=by, today=today)
    lines = [
        *(
            LogLine("candling", one.candled_on, one, _candling_words(one), may(one))
            for one in state.candlings
        ),
        *(LogLine("hatch", one.hatched_on, one, _hatch_words(one), may(one)) for one in state.hatches),
        *(
            LogLine("temperature", one.measured_on, one, _temperature_words(one, farm), may(one))
            for one in state.temperatures
        ),
    ]
    return LotPage(
        state=state,
        whole=state.whole(),
        apart=apart,
        baskets=tuple(
            BasketLine(basket, tallies[basket.number], basket.number in counted) for basket in state.baskets
        ),
        due=due_in(state, days, today),
        window=window,
        has_days=days is not None,
        candle_on=candle_day(state.row.set_on, window),
        beside=hatch_window(state.row.set_on, days, mean) if mean is not None else None,
        beside_mk=mean,
        log=tuple(sorted(lines, key=lambda line: (line.on, line.row.recorded_at, line.row.pk))),
        may_mend_lot=may(state.row),
        mendable_baskets=frozenset(basket.number for basket in state.baskets if may(basket)),
    )


def _may(row: Any, *, by: Any, today: dt.date) -> bool:
    return not why_not_mended(row, by, today)


def _candling_words(row: Candling) -> str:
    return f"{row.clear} clear, {row.dead} dead, taken out"


def _hatch_words(row: Hatch) -> str:
    last = "; nothing is left" if row.is_last else ""
    return f"{row.hatched} hatched, {row.clear} clear, {row.dead} dead{last}"


def _temperature_words(row: EggTemperature, farm: Farm) -> str:
    shown = f"{units.shown(row.temperature_mk, farm.temperature_unit)} {units.symbol(farm.temperature_unit)}"
    if row.temperature_unit != farm.temperature_unit:
        shown += f" (typed {row.temperature_typed} {units.symbol(row.temperature_unit)})"
    return f"{shown}{f', {row.probe}' if row.probe else ''}"
