"""The list page and its table, for code at the top of the tree; they stand in `ponds.lists`."""

from ponds.lists import ListPage, NumberColumn, PlainTable

__all__ = ["ListPage", "NumberColumn", "PlainTable"]
