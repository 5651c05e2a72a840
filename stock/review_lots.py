"""The lots due in a month: what share of each pond's eggs hatched and were clear, beside what was learnt of it.

A lot is due in the month of the day its eggs are expected to hatch, by its kind's days and the temperature it was set
at, and in every month in which it is counted after that. What became of it is told as it was known at the month's end,
so that an old month stays as it was.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from ponds import hatch_log
from ponds.hatch_log import PondHatch
from ponds.incubation import hatch_window
from ponds.lots import days_by_kind
from ponds.models import EggLot, Pond
from ponds.seasons import Season
from stock.templatetags.stock_format import number, percent
from stock.yield_book import yield_book

LONGEST_IN = dt.timedelta(days=400)
PondKindCodes = tuple[str, str]


@dataclass(frozen=True)
class ShareLearnt:
    """A share of one pond's eggs as its past seasons have it, with 90 % limits of a middling season."""

    expected: float
    low: float
    high: float
    seasons: int
    """Seasons of the pond it was learnt from; 0 where only the kind and the published range tell."""

    @property
    def words(self) -> str:
        return f"{percent(self.expected)} ({percent(self.low)} to {percent(self.high)})"


@dataclass(frozen=True)
class LotsDue:
    """
    The eggs of one pond and kind in the lots due in a month.

    Parameters
    ----------
    lots : tuple of str
        Their codes.
    eggs_set, eggs_followed, eggs_open, eggs_untraced, hatched, clear : int
        As `PondHatch` has them.
    hatch_learnt, clear_learnt : ShareLearnt or None
        Of the season most of the eggs were dug in; None where nothing is learnt of the pond.
    """

    lots: tuple[str, ...]
    eggs_set: int
    eggs_followed: int
    eggs_open: int
    eggs_untraced: int
    hatched: int
    clear: int
    hatch_learnt: ShareLearnt | None = None
    clear_learnt: ShareLearnt | None = None

    @property
    def hatch_share(self) -> float | None:
        return self.hatched / self.eggs_followed if self.eggs_followed else None

    @property
    def clear_share(self) -> float | None:
        return self.clear / self.eggs_followed if self.eggs_followed else None

    @property
    def words(self) -> str:
        """Say it in a paragraph."""
        many = "s" if len(self.lots) > 1 else ""
        named = ", ".join(self.lots[:4]) + (" and others" if len(self.lots) > 4 else "")
        said = [f"{number(self.eggs_set)} eggs from here in {len(self.lots)} lot{many} due ({named})."]
        if self.hatch_share is not None and self.clear_share is not None:
            said.append(
                f"Of {number(self.eggs_followed)} followed to their end {percent(self.hatch_share)} hatched and "
                f"{percent(self.clear_share)} were clear."
            )
        if self.hatch_learnt is not None and self.clear_learnt is not None:
            by = (
                "this pond's past seasons"
                if self.hatch_learnt.seasons
                else "the farm's other ponds and the kind"
            )
            said.append(
                f"By {by} {self.hatch_learnt.words} should hatch and {self.clear_learnt.words} be clear in a middling "
                "season, 90 % limits."
            )
        if self.eggs_open:
            said.append(f"{number(self.eggs_open)} are still in or not logged to their end.")
        if self.eggs_untraced:
            said.append(
                f"{number(self.eggs_untraced)} lie in lots of several ponds that were counted as a whole: whose they "
                "were nobody knows."
            )
        return " ".join(said)


def lots_due(first: dt.date, last: dt.date, day: dt.date) -> Mapping[PondKindCodes, LotsDue]:
    """
    Return (pond code, kind code) -> its eggs in the lots due from `first` through `last`.

    `day` is the last one that is read for what is learnt. One query where no lot was set within 400 days; else six,
    and those of `yield_book` for each season the eggs were dug in.
    """
    near = list(EggLot.objects.standing().filter(set_on__range=(first - LONGEST_IN, last)))
    if not near:
        return {}
    days = days_by_kind({lot.kind_id for lot in near})
    windows = {lot.pk: hatch_window(lot.set_on, days.get(lot.kind_id), lot.temperature_mk) for lot in near}
    asked = [lot.pk for lot in near if (window := windows[lot.pk]) is None or window.expected_on <= last]
    if not asked:
        return {}
    found = hatch_log.by_pond_and_lot(EggLot.objects.standing().filter(pk__in=asked), until=last)
    due: dict[PondKindCodes, list[tuple[str, PondHatch]]] = {}
    for lot, of_ponds in found:
        window = windows[lot.lot.pk]
        is_expected = window is not None and first <= window.expected_on
        if is_expected or (lot.counted_on is not None and first <= lot.counted_on <= last):
            for row in of_ponds:
                due.setdefault((row.pond, row.kind), []).append((lot.lot.code, row))
    learnt = _Learnt(day)
    return {where: _sum(rows, learnt) for where, rows in due.items()}


class _Learnt:
    """What past seasons teach of hatch and clear eggs, read once a season."""

    def __init__(self, day: dt.date) -> None:
        self.day = day
        self.read: dict[int, dict[PondKindCodes, tuple[ShareLearnt, ShareLearnt]]] = {}

    def of(self, row: PondHatch) -> tuple[ShareLearnt | None, ShareLearnt | None]:
        if row.season not in self.read:
            self.read[row.season] = _shares(self.day, Season(row.season))
        return self.read[row.season].get((row.pond, row.kind), (None, None))


def _shares(day: dt.date, season: Season) -> dict[PondKindCodes, tuple[ShareLearnt, ShareLearnt]]:
    book = yield_book(day, season)
    if book.learnt is None:
        return {}
    codes = dict(Pond.objects.values_list("pk", "code"))
    found = {}
    for at, (pond, kind) in enumerate(book.places):
        hatch, clear, full = (
            book.learnt.hatch.ponds[at],
            book.learnt.clear.ponds[at],
            float(book.fertility[at]),
        )
        # A pond short of males hatches less and has more clear eggs, as the season's forecast reckons it.
        found[codes[pond], book.kinds[kind].code] = (
            ShareLearnt(full * hatch.value, full * hatch.lower, full * hatch.upper, hatch.seasons),
            ShareLearnt(
                1 - full * (1 - clear.value),
                1 - full * (1 - clear.lower),
                1 - full * (1 - clear.upper),
                clear.seasons,
            ),
        )
    return found


def _sum(rows: list[tuple[str, PondHatch]], learnt: _Learnt) -> LotsDue:
    most = max((row for _, row in rows), key=lambda row: row.eggs_set)
    hatch, clear = learnt.of(most)
    parts = [row for _, row in rows]
    return LotsDue(
        lots=tuple(dict.fromkeys(code for code, _ in rows)),
        eggs_set=sum(row.eggs_set for row in parts),
        eggs_followed=sum(row.eggs_followed for row in parts),
        eggs_open=sum(row.eggs_open for row in parts),
        eggs_untraced=sum(row.eggs_untraced for row in parts),
        hatched=sum(row.hatched for row in parts),
        clear=sum(row.clear for row in parts),
        hatch_learnt=hatch,
        clear_learnt=clear,
    )
