"""One cell's heads and marked heads by book day, as plain numbers. Pure.

Months that a posting does not touch come in as a summary (net change and lowest point), so a back-dated
posting is checked against every later day at the cost of one month's entries.
"""

from __future__ import annotations

import bisect
import calendar
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field


def last_day_of(month: dt.date) -> dt.date:
    return month.replace(day=calendar.monthrange(month.year, month.month)[1])


def next_month(month: dt.date) -> dt.date:
    """Return the first day of the month after that of a day."""
    return (month.replace(day=1) + dt.timedelta(days=32)).replace(day=1)


@dataclass(frozen=True)
class MonthFigures:
    """What is stored of a cell for one month (see the model MonthEnd)."""

    month: dt.date
    heads: int
    lowest: int
    marked: int
    lowest_unmarked: int


@dataclass
class _Block:
    """One month, relative to its opening: either summarised or by day."""

    net: int = 0
    low: int = 0
    marked_net: int = 0
    low_unmarked: int = 0
    days: dict[dt.date, list[int]] | None = None
    is_stored: bool = False
    is_changed: bool = False
    is_dirty: bool = False

    def settled(self) -> _Block:
        """Return the block with its summary brought up to date from its days."""
        if self.days is None or not self.is_dirty:
            return self
        self.is_dirty = False
        heads = marked = low = low_unmarked = 0
        for day in sorted(self.days):
            heads += self.days[day][0]
            marked += self.days[day][1]
            low = min(low, heads)
            low_unmarked = min(low_unmarked, heads - marked)
        self.net, self.low, self.marked_net, self.low_unmarked = heads, low, marked, low_unmarked
        return self


@dataclass
class CellDays:
    """A cell's days from `opening` (the last stored month end before the first month held) on."""

    opening: int = 0
    opening_marked: int = 0
    blocks: dict[dt.date, _Block] = field(default_factory=dict)
    _months: list[dt.date] = field(default_factory=list)
    # What stands before a month, once asked; dropped where an earlier month changes.
    _known: dict[dt.date, tuple[int, int]] = field(default_factory=dict)

    @classmethod
    def from_stored(
        cls,
        opening: tuple[int, int],
        stored: list[MonthFigures],
        by_day: dict[dt.date, dict[dt.date, list[int]]],
    ) -> CellDays:
        """Build from stored months and, for the months in `by_day`, their day-by-day changes."""
        cell = cls(opening=opening[0], opening_marked=opening[1])
        heads, marked = opening
        for figures in stored:
            block = _Block(
                net=figures.heads - heads,
                low=figures.lowest - heads,
                marked_net=figures.marked - marked,
                low_unmarked=figures.lowest_unmarked - (heads - marked),
                is_stored=True,
            )
            cell._put(figures.month, block)
            heads, marked = figures.heads, figures.marked
        for month, days in by_day.items():
            if not days and month not in cell.blocks:
                continue  # nothing was booked: the first change makes the block
            block = cell._block(month)
            block.days = days
            block.is_dirty = True
        return cell

    def add(self, day: dt.date, heads: int, marked: int = 0) -> None:
        """Add a change on a day; its month must be held by day, or be new."""
        block_month = day.replace(day=1)
        block = self._block(block_month)
        if block.days is None:
            raise ValueError(f"the month of {day} is held as a summary only")
        change = block.days.setdefault(day, [0, 0])
        change[0] += heads
        change[1] += marked
        block.is_changed = block.is_dirty = True
        for later in [known for known in self._known if known > block_month]:
            del self._known[later]

    def balance(self, day: dt.date) -> int:
        """Return the heads at the end of `day`."""
        return self._at(day)[0]

    def latest(self) -> int:
        """Return the heads once everything booked has happened."""
        return self._before(dt.date.max)[0]

    def marked(self, day: dt.date) -> int:
        """Return the marked heads at the end of `day`."""
        return self._at(day)[1]

    def lowest_from(self, day: dt.date) -> int:
        """Return the fewest heads at the end of `day` or of any later day."""
        return self._lowest_from(day)[0]

    def lowest_unmarked_from(self, day: dt.date) -> int:
        """Return the fewest unmarked heads at the end of `day` or of any later day."""
        return self._lowest_from(day)[1]

    def first_below_zero_from(self, day: dt.date) -> tuple[dt.date, int] | None:
        """
        Return the first day below zero and its heads.

        Of a later month held as a summary: its last day, by which it has been there, and its lowest heads.
        """
        for at, heads, _ in self._ends_from(day):
            if heads < 0:
                return self._first_within(at, heads) if at.replace(day=1) > day else (at, heads)
        return None

    def _first_within(self, month: dt.date, lowest: int) -> tuple[dt.date, int]:
        block = self.blocks[month]
        heads = self._before(month)[0]
        for on in sorted(block.days or ()):
            heads += block.days[on][0]  # type: ignore[index]
            if heads < 0:
                return on, heads
        return last_day_of(month), lowest

    def changed_months(self) -> Iterator[MonthFigures]:
        """Yield what is to be stored, for every month with entries from the first changed one on."""
        heads, marked = self.opening, self.opening_marked
        is_after_change = False
        for month in self._months:
            block = self.blocks[month].settled()
            is_after_change = is_after_change or block.is_changed
            if is_after_change and (block.is_stored or block.is_changed):
                yield MonthFigures(
                    month=month,
                    heads=heads + block.net,
                    lowest=heads + block.low,
                    marked=marked + block.marked_net,
                    lowest_unmarked=heads - marked + block.low_unmarked,
                )
            heads += block.net
            marked += block.marked_net

    def _put(self, month: dt.date, block: _Block) -> None:
        bisect.insort(self._months, month)
        self.blocks[month] = block

    def _block(self, month: dt.date) -> _Block:
        if month not in self.blocks:
            self._put(month, _Block(days={}))
        return self.blocks[month]

    def _before(self, month: dt.date) -> tuple[int, int]:
        if month in self._known:
            return self._known[month]
        heads, marked = self.opening, self.opening_marked
        for earlier in self._months:
            if earlier >= month:
                break
            block = self.blocks[earlier].settled()
            heads += block.net
            marked += block.marked_net
        self._known[month] = heads, marked
        return heads, marked

    def _at(self, day: dt.date) -> tuple[int, int]:
        month = day.replace(day=1)
        heads, marked = self._before(month)
        block = self.blocks.get(month)
        if block is not None:
            if block.days is None:
                raise ValueError(f"the month of {day} is held as a summary only")
            for on, change in block.days.items():
                if on <= day:
                    heads += change[0]
                    marked += change[1]
        return heads, marked

    def _lowest_from(self, day: dt.date) -> tuple[int, int]:
        """Return the fewest heads and the fewest unmarked heads of `_ends_from`, without naming the days."""
        month = day.replace(day=1)
        heads, marked = self._at(day)
        lowest, unmarked = heads, heads - marked
        block = self.blocks.get(month)
        if block is not None and block.days is not None:
            for on in sorted([on for on in block.days if on > day]):
                heads += block.days[on][0]
                marked += block.days[on][1]
                lowest, unmarked = min(lowest, heads), min(unmarked, heads - marked)
        if self._months and self._months[-1] > month:
            for later in self._months[bisect.bisect_right(self._months, month) :]:
                block = self.blocks[later].settled()
                lowest = min(lowest, heads + block.low)
                unmarked = min(unmarked, heads - marked + block.low_unmarked)
                heads += block.net
                marked += block.marked_net
        return lowest, unmarked

    def _ends_from(self, day: dt.date) -> Iterator[tuple[dt.date, int, int]]:
        """Yield (day, heads, unmarked heads) for `day` and each later day of its month, then month by month."""
        month = day.replace(day=1)
        heads, marked = self._at(day)
        yield day, heads, heads - marked
        block = self.blocks.get(month)
        if block is not None and block.days is not None:
            for on in sorted(on for on in block.days if on > day):
                heads += block.days[on][0]
                marked += block.days[on][1]
                yield on, heads, heads - marked
        for later in self._months[bisect.bisect_right(self._months, month) :]:
            block = self.blocks[later].settled()
            yield later, heads + block.low, heads - marked + block.low_unmarked
            heads += block.net
            marked += block.marked_net
