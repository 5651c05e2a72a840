"""What pond-kinds went through since their first count, laid out as steps for `stock.advisor.standing`."""

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

DAYS_A_YEAR = 365.25
LONGEST_STEP = 1.0
"""Years. The rate of loss is steady within a step and may change from one to the next."""
_KEY = 1e8


def _nothing() -> Floats:
    return np.empty(0)


def _no_groups() -> Whole:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class _Table:
    """Columns of one length; the first is the place of the row's pond-kind, the second an ordinal day."""

    group: Whole = field(default_factory=_no_groups)
    day: Floats = field(default_factory=_nothing)

    def __post_init__(self) -> None:
        words = type(self).__name__.lower()
        rows = np.atleast_1d(np.asarray(self.day, dtype=float)).size
        for column in fields(self):
            given = np.atleast_1d(np.asarray(getattr(self, column.name)))
            if column.name == "group":
                if given.size and not np.issubdtype(given.dtype, np.integer):
                    raise ValueError(
                        f"{words}, group: give the place of each row's pond-kind, a whole number."
                    )
                object.__setattr__(self, column.name, given.astype(np.int64))
            taken = given.astype(float)
            if taken.size == 0 and rows and column.name in self.optional():
                taken = np.zeros(rows)
            if taken.shape != (rows,):
                raise ValueError(f"{words}: {column.name} has {taken.size} rows and day {rows}.")
            wrong = ~np.isfinite(taken) & ~(np.isnan(taken) & (column.name in self.may_be_missing()))
            if column.name not in self.signed():
                wrong |= taken < 0
            if wrong.any():
                row = int(np.flatnonzero(wrong)[0])
                raise ValueError(f"{words}, row {row + 1}: {column.name} cannot be {taken[row]:g}.")
            if column.name != "group":
                object.__setattr__(self, column.name, taken)

    @classmethod
    def optional(cls) -> frozenset[str]:
        return frozenset({"unsexed", "covariance"})

    @classmethod
    def may_be_missing(cls) -> frozenset[str]:
        return frozenset()

    @classmethod
    def signed(cls) -> frozenset[str]:
        return frozenset({"covariance"})


@dataclass(frozen=True)
class Counts(_Table):
    """
    Accepted head counts, one a row, each holding at the end of its day.

    ``females``, ``males`` are heads, ``female_se``, ``male_se`` their standard errors (0 after a
    complete drain-down), ``covariance`` in heads squared. A sex that was not counted is NaN.
    """

    females: Floats = field(default_factory=_nothing)
    female_se: Floats = field(default_factory=_nothing)
    males: Floats = field(default_factory=_nothing)
    male_se: Floats = field(default_factory=_nothing)
    covariance: Floats = field(default_factory=_nothing)

    @classmethod
    def may_be_missing(cls) -> frozenset[str]:
        return frozenset({"females", "female_se", "males", "male_se"})

    def __post_init__(self) -> None:
        super().__post_init__()
        for heads, se in ((self.females, self.female_se), (self.males, self.male_se)):
            wrong = ~np.isnan(heads) & np.isnan(se)
            if wrong.any():
                row = int(np.flatnonzero(wrong)[0]) + 1
                raise ValueError(f"counts, row {row}: a count needs its standard error; 0 if drained.")
        together = np.abs(self.covariance) > self.female_se * self.male_se * (1 + 1e-9) + 1e-9
        if together.any():
            row = int(np.flatnonzero(together)[0]) + 1
            raise ValueError(f"counts, row {row}: the covariance is more than the standard errors allow.")


@dataclass(frozen=True)
class Moves(_Table):
    """
    Heads that came (above 0) or went (below 0) by booked moves, by the animals' day.

    Sales, culls, purchases, transfers, young that matured. Recorded deaths go into `Deaths`; entries
    from or to "unseen" are bookkeeping and go nowhere.
    """

    females: Floats = field(default_factory=_nothing)
    males: Floats = field(default_factory=_nothing)
    unsexed: Floats = field(default_factory=_nothing)

    @classmethod
    def signed(cls) -> frozenset[str]:
        return frozenset({"females", "males", "unsexed"})


@dataclass(frozen=True)
class Deaths(_Table):
    """Recorded deaths of adults, by the animals' day."""

    females: Floats = field(default_factory=_nothing)
    males: Floats = field(default_factory=_nothing)
    unsexed: Floats = field(default_factory=_nothing)


@dataclass(frozen=True)
class Hauls(_Table):
    """
    Sexed hauls that are part of no accepted count: females and males handled alive.

    The catch is taken to come before the day's moves, which it may have led to.
    """

    females: Floats = field(default_factory=_nothing)
    males: Floats = field(default_factory=_nothing)


@dataclass(frozen=True)
class Groups:
    """
    Pond-kinds and what is written of them.

    Parameters
    ----------
    size : int
        How many; rows of the tables name them 0 to size - 1.
    counts, moves, deaths, hauls : Counts, Moves, Deaths, Hauls
        Rows in any order. What lies before a pond-kind's first count is not used; what lies after the
        day asked about is used as proof of life only.
    """

    size: int
    counts: Counts = field(default_factory=Counts)
    moves: Moves = field(default_factory=Moves)
    deaths: Deaths = field(default_factory=Deaths)
    hauls: Hauls = field(default_factory=Hauls)

    def __post_init__(self) -> None:
        if self.size < 0:
            raise ValueError(f"groups: there cannot be {self.size} pond-kinds.")
        for table in (self.counts, self.moves, self.deaths, self.hauls):
            if table.group.size and not 0 <= table.group.min() <= table.group.max() < self.size:
                words = type(table).__name__.lower()
                raise ValueError(f"{words}: a row names a pond-kind that is not 0 to {self.size - 1}.")


@dataclass(frozen=True)
class Steps:
    """
    The same, laid out for all pond-kinds side by side; each step ends with a count, a haul or nothing.

    Shapes are (steps, pond-kinds), with an axis of 2 (females, males) between where both sexes are
    meant. Rows that have fewer steps are filled with empty ones at the end.

    Parameters
    ----------
    length : array of int, shape (pond-kinds,)
        How many steps each has.
    known : array of bool, shape (2, pond-kinds)
        Whether the sex was ever counted by the day.
    years : array
        Length of the step.
    net : array
        Heads that came less heads that went, recorded deaths among those that went.
    lag, lag_squared : array
        The same, each head times the years (squared) from its move to the step's end.
    doubt : array, shape (steps, pond-kinds)
        Variance of the split of unsexed heads by sex.
    deaths : array
        Recorded deaths.
    count, variance : array
        The count at the step's end and its variance; NaN and 0 without.
    covariance : array, shape (steps, pond-kinds)
    haul : array
        Females and males in the sexed haul at the step's end; 0 without.
    age : array, shape (pond-kinds,)
        Days from the last count to the day asked about; infinite without one.
    """

    length: Whole
    known: Flags
    years: Floats
    net: Floats
    lag: Floats
    lag_squared: Floats
    doubt: Floats
    deaths: Floats
    count: Floats
    variance: Floats
    covariance: Floats
    haul: Floats
    age: Floats

    def take(self, rows: Whole) -> "Steps":
        """Return the steps of some pond-kinds, in the order given."""
        return Steps(**{column.name: getattr(self, column.name)[..., rows] for column in fields(self)})


def _nodes(groups: Groups, day: float) -> tuple[Whole, Floats, Whole, Whole, Floats]:
    """Return group, day, count row, haul row (-1 for none) of every step's end, and first count days."""
    counts, hauls = groups.counts, groups.hauls
    counted = np.flatnonzero(counts.day <= day)
    first = np.full(groups.size, np.inf)
    np.minimum.at(first, counts.group[counted], counts.day[counted])
    hauled = np.flatnonzero((hauls.day <= day) & (hauls.day - 0.5 > first[hauls.group]))
    last = np.flatnonzero(np.isfinite(first))
    none = np.full(last.size, -1)
    group = np.concatenate([counts.group[counted], hauls.group[hauled], last])
    days = np.concatenate([counts.day[counted], hauls.day[hauled] - 0.5, np.full(last.size, day)])
    count_row = np.concatenate([counted, np.full(hauled.size, -1), none])
    haul_row = np.concatenate([np.full(counted.size, -1), hauled, none])
    order = np.lexsort((np.where(count_row >= 0, 0, np.where(haul_row >= 0, 1, 2)), days, group))
    group, days, count_row, haul_row = group[order], days[order], count_row[order], haul_row[order]
    # Long gaps are cut into steps of a year at most.
    gap = np.diff(days, prepend=0.0)
    gap[np.flatnonzero(np.diff(group, prepend=-1))] = 0.0
    pieces = np.maximum(1, np.ceil(gap / DAYS_A_YEAR / LONGEST_STEP - 1e-9)).astype(np.int64)
    source = np.repeat(np.arange(group.size), pieces)
    ends = np.cumsum(pieces)
    after = np.repeat(ends, pieces) - np.arange(source.size) - 1
    cut_days = days[source] - after * (gap / pieces)[source]
    is_end = after == 0
    return (
        group[source],
        cut_days,
        np.where(is_end, count_row[source], -1),
        np.where(is_end, haul_row[source], -1),
        first,
    )


def _split_unsexed(groups: Groups, table: Moves | Deaths) -> tuple[Floats, Floats]:
    """Return females and males with the unsexed shared out as at the last count, and that split's variance."""
    counts = groups.counts
    is_whole = ~np.isnan(counts.females + counts.males)
    order = np.lexsort((counts.day, counts.group))
    order = order[is_whole[order]]
    share = np.full(table.day.size, 0.5)
    if order.size:
        keys = counts.group[order] * _KEY + counts.day[order]
        place = np.searchsorted(keys, table.group * _KEY + table.day, side="left") - 1
        row = order[np.maximum(place, 0)]
        total = counts.females[row] + counts.males[row]
        is_own = (place >= 0) & (counts.group[row] == table.group) & (total > 0)
        share[is_own] = (counts.females[row] / np.where(total > 0, total, 1.0))[is_own]
    heads = np.stack([table.females + share * table.unsexed, table.males + (1 - share) * table.unsexed])
    return heads, np.abs(table.unsexed) * share * (1 - share)


def lay_out(groups: Groups, day: float) -> Steps:
    """Return the steps of all pond-kinds up to the end of ``day``."""
    group, days, count_row, haul_row, first = _nodes(groups, day)
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    step = np.arange(group.size) - np.repeat(starts, np.diff(starts, append=group.size))
    shape = (int(step.max(initial=-1)) + 1, groups.size)
    years = np.zeros(shape)
    gap = np.diff(days, prepend=0.0) / DAYS_A_YEAR
    gap[starts] = 0.0
    years[step, group] = gap

    def both() -> Floats:
        return np.zeros((shape[0], 2, shape[1]))

    net, lag, lag_squared, deaths, doubt = both(), both(), both(), both(), np.zeros(shape)
    keys = group * _KEY + days
    for table, sign in ((groups.moves, 1.0), (groups.deaths, -1.0)):
        heads, variance = _split_unsexed(groups, table)
        used = np.flatnonzero((table.day > first[table.group]) & (table.day <= day))
        node = np.searchsorted(keys, table.group[used] * _KEY + table.day[used], side="left")
        where = (step[node], group[node])
        wait = (days[node] - table.day[used]) / DAYS_A_YEAR
        np.add.at(doubt, where, variance[used])
        for sex in (0, 1):
            moved = sign * heads[sex, used]
            for held, weight in ((net, 1.0), (lag, wait), (lag_squared, wait**2)):
                np.add.at(held[:, sex], where, moved * weight)
            if sign < 0:
                np.add.at(deaths[:, sex], where, -moved)
    count, variance, covariance, haul = np.full_like(net, np.nan), both(), np.zeros(shape), both()
    has_count, has_haul = count_row >= 0, haul_row >= 0
    where, rows = (step[has_count], group[has_count]), count_row[has_count]
    counts = groups.counts
    for sex, (heads, se) in enumerate(((counts.females, counts.female_se), (counts.males, counts.male_se))):
        count[:, sex][where] = heads[rows]
        variance[:, sex][where] = np.nan_to_num(se[rows] ** 2)
    covariance[where] = counts.covariance[rows]
    where, rows = (step[has_haul], group[has_haul]), haul_row[has_haul]
    for sex, handled in enumerate((groups.hauls.females, groups.hauls.males)):
        haul[:, sex][where] = handled[rows]
    age = np.full(groups.size, np.inf)
    seen = counts.day <= day
    last = np.full(groups.size, -np.inf)
    np.maximum.at(last, counts.group[seen], counts.day[seen])
    age[np.isfinite(last)] = day - last[np.isfinite(last)]
    known: Flags = np.asarray((~np.isnan(count)).any(axis=0), dtype=np.bool_)
    length = np.bincount(group, minlength=groups.size)
    return Steps(
        length, known, years, net, lag, lag_squared, doubt, deaths, count, variance, covariance, haul, age
    )


def proven_alive(groups: Groups, day: float) -> Floats:
    """
    Return females and males that what came later proves to have stood there at the end of ``day``.

    After ``day``, heads handled at a haul plus those that had gone by then, less those that had come,
    were there on ``day``; so were those of a move out. Unsexed heads prove nothing of a sex.

    Returns
    -------
    array, shape (2, pond-kinds)
    """
    moves, deaths, hauls = groups.moves, groups.deaths, groups.hauls
    proven = np.zeros((2, groups.size))
    for sex, name in enumerate(("females", "males")):
        # Within a day: arrivals first, then the haul, then what went; the cautious order.
        moved = getattr(moves, name)
        gone = np.concatenate([-moved, getattr(deaths, name), np.zeros(hauls.day.size)])
        handled = np.concatenate([np.zeros(moves.day.size + deaths.day.size), getattr(hauls, name)])
        group = np.concatenate([moves.group, deaths.group, hauls.group])
        days = np.concatenate([moves.day, deaths.day, hauls.day])
        unsexed_in = np.concatenate(
            [np.maximum(moves.unsexed, 0), np.zeros(deaths.day.size + hauls.day.size)]
        )
        later = np.flatnonzero(days > day)
        order = later[
            np.lexsort((np.where(gone < 0, 0, np.where(handled > 0, 1, 2))[later], days[later], group[later]))
        ]
        if not order.size:
            continue
        total = np.cumsum(gone[order] - unsexed_in[order])
        starts = np.flatnonzero(np.diff(group[order], prepend=-1))
        lengths = np.diff(starts, append=order.size)
        before = np.concatenate([[0.0], total])[starts]
        np.maximum.at(proven[sex], group[order], total - np.repeat(before, lengths) + handled[order])
    return proven
