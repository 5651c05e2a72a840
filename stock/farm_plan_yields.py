"""Hatched eggs a settled female, kind by kind, from what the farm's own books taught: for the whole-farm plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from stock.placing_yields import yields_of


def eggs_by_kind(kind_ids: Iterable[int], day: dt.date) -> dict[int, float]:
    """
    Return kind id -> hatched eggs of a settled female and season in a middling pond of the kind.

    Only kinds of which a season stands in the books; the others are left to their published figures. Three queries
    a kind where nothing changed since it was last asked in this process.
    """
    found = {}
    for kind_id in kind_ids:
        yields = yields_of(kind_id, day)
        if yields is None:
            continue
        figures = (yields.learnt.nests, yields.learnt.eggs, yields.learnt.hatch)
        nests, eggs, hatch = (figure.kinds[kind_id][0] for figure in figures)
        found[kind_id] = nests * eggs * hatch
    return found
