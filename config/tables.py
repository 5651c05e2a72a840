"""The list page and its table, for code at the top of the tree; they stand in `ponds.lists`."""

from ponds.lists import DayColumn, ListPage, NumberColumn, PlainTable

__all__ = ["DayColumn", "ListPage", "NumberColumn", "PlainTable"]
