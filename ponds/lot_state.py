"""One lot as it stands, in memory, and what it refuses. Asks the database for nothing.

What candling finds clear or dead is taken out, so each egg is counted once: of the eggs set, those taken out
at candling, and those that hatched, were clear or were dead at hatching, never come to more than were set.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from ponds import figures, units
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch, Kind, Pond
from ponds.refusals import Refused
from ponds.svg_marks import day_text, figure_text

BASKETS_A_CONTAINER = 2
MOST_BASKETS = 400
MOST_EGGS = 1_000
"""In one basket: more is a slip of the pen."""
MOST_DAYS_BEFORE = 60
"""Eggs do not lie longer than this before they are set: more is a slip of the year."""
LONGEST_NOTE = 300
LONGEST_DAYS = 400


class LotRefused(Refused):
    """The hatch log refuses.

    `place` is the place (from 0) of the basket or count it is about, where several were written at once.
    """

    place: Any = None


class CodeUsed(LotRefused):
    """A lot has this code already, or had it once."""

    field = "code"


class TooManyEggs(LotRefused):
    """More eggs would be counted than were set."""


class WrongDay(LotRefused):
    """A day is to come, or lies before what it follows."""


class WrongPond(LotRefused):
    """The pond was not there that day, or is not for this kind."""

    field = "pond"


@dataclass
class Tally:
    """Eggs of a basket or a lot: how many were set, and what was found of them."""

    eggs: int = 0
    hatched: int = 0
    clear: int = 0
    dead: int = 0
    is_last: bool = False

    @property
    def counted(self) -> int:
        return self.hatched + self.clear + self.dead

    @property
    def left(self) -> int:
        """Eggs nobody has counted out yet: still in, or thrown out uncounted."""
        return self.eggs - self.counted

    @property
    def is_done(self) -> bool:
        return bool(self.eggs) and (self.is_last or self.left == 0)

    def add(self, count: Candling | Hatch) -> None:
        self.clear += count.clear
        self.dead += count.dead
        if isinstance(count, Hatch):
            self.hatched += count.hatched
            self.is_last |= count.is_last

    def __str__(self) -> str:
        return f"{self.hatched} hatched, {self.clear} clear, {self.dead} dead"


@dataclass
class LotState:
    """A lot with all that stands in it.

    Parameters
    ----------
    first : EggLot
        The row that first named the code; everything of the lot points at it.
    row : EggLot
        The row that stands now.
    numbered : dict of int to Basket
        The rows that first named each basket's number, those taken back too.
    baskets, candlings, hatches, temperatures : list
        The rows that stand. A count's `basket` is a row of `numbered`.
    """

    first: EggLot
    row: EggLot
    numbered: dict[int, Basket] = field(default_factory=dict)
    baskets: list[Basket] = field(default_factory=list)
    candlings: list[Candling] = field(default_factory=list)
    hatches: list[Hatch] = field(default_factory=list)
    temperatures: list[EggTemperature] = field(default_factory=list)

    @property
    def code(self) -> str:
        return self.first.code

    @property
    def counts(self) -> list[Candling | Hatch]:
        return [*self.candlings, *self.hatches]

    @property
    def by_number(self) -> dict[int, Basket]:
        return {basket.number: basket for basket in self.baskets}

    @property
    def next_number(self) -> int:
        return max(self.numbered, default=0) + 1

    @property
    def next_container(self) -> int:
        """The container with one basket that was filled last, or a new one."""
        fullest = max((basket.container for basket in self.baskets), default=0)
        held = sum(basket.container == fullest for basket in self.baskets)
        return fullest if fullest and held < BASKETS_A_CONTAINER else fullest + 1

    def tallies(self) -> dict[int, Tally]:
        """Return basket number -> what was counted of that basket by itself."""
        found = {basket.number: Tally(basket.eggs) for basket in self.baskets}
        for count in self.counts:
            if count.basket is not None:
                found.setdefault(count.basket.number, Tally()).add(count)
        return found

    def whole(self) -> Tally:
        """Return what was counted of all eggs, by basket and as a whole."""
        total = Tally(sum(basket.eggs for basket in self.baskets))
        lasts = set()
        for count in self.counts:
            total.add(count)
            if isinstance(count, Hatch) and count.is_last:
                lasts.add(count.basket.number if count.basket else None)
        by_basket = self.tallies()
        total.is_last = None in lasts or (bool(by_basket) and all(one.is_done for one in by_basket.values()))
        return total

    # ---- what is refused ----

    def check_lot(self, row: EggLot, today: dt.date) -> None:
        """See that the lot's own facts can be so, beside what stands in it."""
        if row.set_on > today:
            raise WrongDay(f"{day_text(row.set_on)} is still to come; today is {day_text(today)}.", "set_on")
        later = [basket for basket in self.baskets if basket.dug_on > row.set_on]
        if later:
            raise WrongDay(
                f"Basket {later[0].number} was dug on {day_text(later[0].dug_on)}, after "
                f"{day_text(row.set_on)}. Look at "
                "both days.",
                "set_on",
            )
        earliest = min((_day(count) for count in self.counts), default=row.set_on)
        if earliest < row.set_on:
            raise WrongDay(
                f"Lot {row.code} was counted on {day_text(earliest)}, before {day_text(row.set_on)}. "
                "Look at both days.",
                "set_on",
            )
        if row.temperature_mk is not None:
            check_temperature(row.temperature_mk, row.temperature_typed, row.temperature_unit)
        check_note(row.note)

    def check_basket(self, row: Basket, kinds_allowed: Iterable[Kind]) -> None:
        """See that a basket can be so; one that it replaces is left out of account."""
        others = [basket for basket in self.baskets if basket.number != row.number]
        if row.replaces is None and row.number in self.numbered:
            raise LotRefused(
                f"Lot {self.code} has had a basket {row.number} already; a number is never used again. The next free "
                f"one is {self.next_number}.",
                "number",
            )
        if not 1 <= row.number <= MOST_BASKETS:
            raise LotRefused(f"{row.number} is not between 1 and {MOST_BASKETS}.", "number")
        if not 1 <= row.eggs <= MOST_EGGS:
            raise LotRefused(
                f"{figure_text(row.eggs)} eggs in a basket are not between 1 and {figure_text(MOST_EGGS)}.",
                "eggs",
            )
        if not 1 <= row.container <= MOST_BASKETS:
            raise LotRefused(f"{row.container} is not between 1 and {MOST_BASKETS}.", "container")
        held = [basket.number for basket in others if basket.container == row.container]
        if len(held) >= BASKETS_A_CONTAINER:
            raise LotRefused(
                f"Container {row.container} of lot {self.code} holds baskets {held[0]} and {held[1]} already; two "
                "baskets go into a container. Choose another.",
                "container",
            )
        self._check_dug(row)
        _check_pond(row.pond, self.row.kind, row.dug_on, kinds_allowed)
        check_note(row.note)
        counted = self.tallies().get(row.number, Tally())
        if counted.counted > row.eggs:
            raise TooManyEggs(
                f"Of basket {row.number} {figure_text(counted.counted)} eggs are counted already ({counted}), "
                "more than "
                f"{figure_text(row.eggs)}. Correct what was counted first.",
                "eggs",
            )
        eggs = sum(basket.eggs for basket in others) + row.eggs
        whole = self.whole()
        if whole.counted > eggs:
            raise TooManyEggs(
                f"Of lot {self.code} {figure_text(whole.counted)} eggs are counted already ({whole}); with "
                f"{figure_text(row.eggs)} in basket "
                f"{row.number} it would hold {figure_text(eggs)}. Correct what was counted first.",
                "eggs",
            )

    def check_count(self, row: Candling | Hatch, today: dt.date) -> None:
        """See that a candling or a hatch can be so; one that it replaces is left out of account."""
        self._check_day(row, today)
        for name in ("hatched", "clear", "dead"):
            if getattr(row, name, 0) < 0:
                raise LotRefused(f"{getattr(row, name)} is below 0; write 0 or more.", name)
        check_note(row.note)
        number = row.basket.number if row.basket else None
        if number is not None and number not in self.by_number:
            raise LotRefused(f"Basket {number} of lot {self.code} was taken back.", "basket")
        others = [count for count in self.counts if count is not row and not _same(count, row.replaces)]
        self._refuse_too_many(row, others, number)

    def check_temperature_row(self, row: EggTemperature, today: dt.date) -> None:
        """See that a temperature beside the eggs can be so."""
        self._check_day(row, today)
        check_temperature(row.temperature_mk, row.temperature_typed, row.temperature_unit)
        check_note(row.note)

    def check_taking_back(self, row: EggLot | Basket) -> None:
        """See that nothing is counted of what is taken back."""
        if isinstance(row, Basket):
            tally, what = self.tallies().get(row.number, Tally()), f"Basket {row.number} of lot {self.code}"
            left = sum(basket.eggs for basket in self.baskets) - row.eggs
            if not tally.counted and not tally.is_last and self.whole().counted > left:
                tally = self.whole()
                what = f"Lot {self.code}"
        else:
            tally, what = self.whole(), f"Lot {self.code}"
        if tally.counted or tally.is_last:
            raise TooManyEggs(f"{what} has been counted ({tally}). Take those counts back first.", "note")

    def _refuse_too_many(
        self, row: Candling | Hatch, others: list[Candling | Hatch], number: int | None
    ) -> None:
        mine = Tally()
        mine.add(row)
        if number is not None:
            basket = self.by_number[number]
            before = Tally(basket.eggs)
            for count in others:
                if count.basket is not None and count.basket.number == number:
                    before.add(count)
            if before.counted + mine.counted > basket.eggs:
                raise TooManyEggs(
                    _too_many(f"Basket {number} of lot {self.code}", before, mine), _count_field(row)
                )
        before = Tally(sum(basket.eggs for basket in self.baskets))
        for count in others:
            before.add(count)
        if before.counted + mine.counted > before.eggs:
            raise TooManyEggs(_too_many(f"Lot {self.code}", before, mine), _count_field(row))

    def _check_dug(self, row: Basket) -> None:
        set_on = self.row.set_on
        if row.dug_on > set_on:
            raise WrongDay(
                f"Basket {row.number} was dug on {day_text(row.dug_on)}, after lot {self.code} was set on "
                f"{day_text(set_on)}. Look at both days.",
                "dug_on",
            )
        if (set_on - row.dug_on).days > MOST_DAYS_BEFORE:
            raise WrongDay(
                f"Basket {row.number} was dug on {day_text(row.dug_on)}, {(set_on - row.dug_on).days} days before lot "
                f"{self.code} was set on {day_text(set_on)}; {MOST_DAYS_BEFORE} is the most. Look at the year.",
                "dug_on",
            )

    def _check_day(self, row: Candling | Hatch | EggTemperature, today: dt.date) -> None:
        day, name, set_on = _day(row), _day_field(row), self.row.set_on
        if day > today:
            raise WrongDay(f"{day_text(day)} is still to come; today is {day_text(today)}.", name)
        if day < set_on:
            raise WrongDay(
                f"Lot {self.code} was set on {day_text(set_on)}; {day_text(day)} is before that. Look at the day.",
                name,
            )
        if (day - set_on).days > LONGEST_DAYS:
            raise WrongDay(
                f"{day_text(day)} is {(day - set_on).days} days after lot {self.code} was set on {day_text(set_on)}; "
                f"{LONGEST_DAYS} is the most. Look at the year.",
                name,
            )
        if isinstance(row, Hatch) and row.hatched and (day - set_on).days < figures.FEWEST_DAYS:
            raise WrongDay(
                f"{day_text(day)} is day {(day - set_on).days} of lot {self.code}, set on {day_text(set_on)}; no eggs "
                f"hatch before day {figures.FEWEST_DAYS}. Look at both days.",
                name,
            )


def check_note(note: str) -> None:
    """Refuse a note that is too long."""
    if len(note) > LONGEST_NOTE:
        raise LotRefused(
            f"The note has {figure_text(len(note))} characters; {LONGEST_NOTE} is the most.", "note"
        )


def check_temperature(stored: int, typed: str, unit: str) -> None:
    """Refuse a temperature no egg is kept at: a unit mixed up, most likely."""
    coldest, hottest = (units.to_stored(limit, "C") for limit in (figures.COLDEST_C, figures.HOTTEST_C))
    if not coldest <= stored <= hottest:
        raise LotRefused(
            f"{typed} {units.symbol(unit)} is not between {units.shown(coldest, unit)} and "
            f"{units.shown(hottest, unit)} {units.symbol(unit)}; look at the figure and its unit.",
            "temperature",
        )


def _check_pond(pond: Pond, kind: Kind, dug_on: dt.date, allowed: Iterable[Kind]) -> None:
    if dug_on < pond.opened_on:
        raise WrongDay(
            f"Pond {pond.code} opened on {day_text(pond.opened_on)}; {day_text(dug_on)} is before "
            "that. Look at the day.",
            "dug_on",
        )
    if pond.retired_on and dug_on > pond.retired_on:
        raise WrongDay(
            f"Pond {pond.code} was retired on {day_text(pond.retired_on)}; {day_text(dug_on)} is after that.",
            "dug_on",
        )
    names = sorted(one.common_name for one in allowed)
    if names and kind.common_name not in names:
        raise WrongPond(
            f"Pond {pond.code} is for {', '.join(names)}, not {kind.common_name}. Look at the pond and at the lot's "
            "kind, or allow the kind in the pond's settings."
        )


def _too_many(what: str, before: Tally, mine: Tally) -> str:
    counted = (
        f"{figure_text(before.counted)} are counted already ({before})"
        if before.counted
        else "none is counted yet"
    )
    return (
        f"{what} was set with {figure_text(before.eggs)} eggs; {counted}, and {figure_text(mine.counted)} "
        f"more ({mine}) make "
        f"{figure_text(before.counted + mine.counted)}. Look at the figures, or correct what was counted before."
    )


def _same(count: Candling | Hatch, replaced: Any) -> bool:
    return replaced is not None and type(count) is type(replaced) and count.key == replaced.key


def _count_field(row: Candling | Hatch) -> str:
    return "hatched" if isinstance(row, Hatch) else "clear"


def _day_field(row: Candling | Hatch | EggTemperature) -> str:
    return {Candling: "candled_on", Hatch: "hatched_on", EggTemperature: "measured_on"}[type(row)]


def _day(row: Candling | Hatch | EggTemperature) -> dt.date:
    return getattr(row, _day_field(row))
