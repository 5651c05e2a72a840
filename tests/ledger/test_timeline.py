"""One cell's days against a plain list of days, one number a day."""

import datetime as dt
from collections import defaultdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.timeline import CellDays, MonthFigures

# A machine busy with other tests must not fail one of these.
unhurried = settings(deadline=None)
FIRST = dt.date(2026, 1, 1)
DAYS = [FIRST + dt.timedelta(days=number) for number in range(181)]  # through June
MONTHS = [dt.date(2026, month, 1) for month in range(1, 7)]

change = st.tuples(st.sampled_from(DAYS), st.integers(-9, 12), st.integers(-2, 2))
changes = st.lists(change, max_size=25)
by_day_months = st.sets(st.sampled_from(MONTHS), min_size=1)
opening = st.tuples(st.integers(0, 30), st.integers(0, 5))


class DayList:
    """Heads and marked heads at the end of each day, by adding up every change again."""

    def __init__(self, start, made):
        self.heads, self.marked = {}, {}
        for day in DAYS:
            self.heads[day] = start[0] + sum(heads for on, heads, _ in made if on <= day)
            self.marked[day] = start[1] + sum(marked for on, _, marked in made if on <= day)

    def figures(self, month, start):
        days = [day for day in DAYS if day.replace(day=1) == month]
        before = month - dt.timedelta(days=1)
        heads = [self.heads.get(before, start[0]), *(self.heads[day] for day in days)]
        marked = [self.marked.get(before, start[1]), *(self.marked[day] for day in days)]
        unmarked = [one - other for one, other in zip(heads, marked, strict=True)]
        return MonthFigures(month, heads[-1], min(heads), marked[-1], min(unmarked))


def stored_cell(start, made, months):
    """Return the cell as the store would read it: `months` by day, the others as what is stored of them."""
    naive = DayList(start, made)
    touched = sorted({day.replace(day=1) for day, _, _ in made})
    by_day = {month: defaultdict(lambda: [0, 0]) for month in months}
    for day, heads, marked in made:
        if day.replace(day=1) in months:
            by_day[day.replace(day=1)][day][0] += heads
            by_day[day.replace(day=1)][day][1] += marked
    return CellDays.from_stored(start, [naive.figures(month, start) for month in touched], by_day)


@unhurried
@given(start=opening, made=changes, months=by_day_months, data=st.data())
def test_a_cell_reads_as_a_plain_list_of_days_does(start, made, months, data):
    new = data.draw(st.lists(change.filter(lambda one: one[0].replace(day=1) in months), max_size=8))
    cell, naive = stored_cell(start, made, months), DayList(start, made + new)
    for added in new:
        cell.add(*added)
    for day in [day for day in DAYS if day.replace(day=1) in months][::3]:
        later = [one for one in DAYS if one >= day]
        assert cell.balance(day) == naive.heads[day]
        assert cell.marked(day) == naive.marked[day]
        assert cell.lowest_from(day) == min(naive.heads[one] for one in later)
        assert cell.lowest_unmarked_from(day) == min(naive.heads[one] - naive.marked[one] for one in later)


@unhurried
@given(start=opening, made=changes, months=by_day_months, data=st.data())
def test_what_is_to_be_stored_is_every_month_with_changes_from_the_first_new_one_on(
    start, made, months, data
):
    new = data.draw(
        st.lists(change.filter(lambda one: one[0].replace(day=1) in months), min_size=1, max_size=8)
    )
    cell, naive = stored_cell(start, made, months), DayList(start, made + new)
    for added in new:
        cell.add(*added)
    first = min(day for day, _, _ in new).replace(day=1)
    due = sorted({day.replace(day=1) for day, _, _ in made + new if day >= first})
    assert list(cell.changed_months()) == [naive.figures(month, start) for month in due]


@unhurried
@given(start=opening, made=changes, day=st.sampled_from(DAYS))
def test_the_first_day_below_zero_is_found_and_its_heads(start, made, day):
    cell, naive = stored_cell(start, made, set(MONTHS)), DayList(start, made)
    below = [(one, naive.heads[one]) for one in DAYS if one >= day and naive.heads[one] < 0]
    assert cell.first_below_zero_from(day) == (below[0] if below else None)


@unhurried
@given(start=opening, made=changes, month=st.sampled_from(MONTHS))
def test_a_month_in_summary_below_zero_is_found_as_such(start, made, month):
    cell, naive = stored_cell(start, made, {month}), DayList(start, made)
    below = [one for one in DAYS if one >= month and naive.heads[one] < 0]
    found = cell.first_below_zero_from(month)
    assert (found and found[0].replace(day=1)) == (below[0].replace(day=1) if below else None)
    if below and below[0] >= MONTHS[-1].replace(day=1) > month:
        assert found == (DAYS[-1], min(naive.heads[one] for one in DAYS if one >= MONTHS[-1]))


def test_nothing_changed_stores_nothing():
    cell = stored_cell((5, 0), [(FIRST, 3, 0)], {FIRST})
    assert list(cell.changed_months()) == []


def test_a_day_in_a_month_held_as_a_summary_is_neither_read_nor_changed():
    cell = stored_cell((5, 0), [(FIRST, 3, 0)], {MONTHS[1]})
    with pytest.raises(ValueError, match="2026-01-09 is held as a summary only"):
        cell.balance(dt.date(2026, 1, 9))
    with pytest.raises(ValueError, match="summary only"):
        cell.add(dt.date(2026, 1, 9), 1)
