"""Hatched eggs a settled female, pond by pond, from what the farm's own books taught: for the whole-farm plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from stock.advisor.season_learning import YieldsLearnt
from stock.pond_rows import PondKindId
from stock.yield_book import yield_book


@dataclass(frozen=True)
class PlanYields:
    """
    What was learnt of the ponds.

    Parameters
    ----------
    learnt : YieldsLearnt
    rows : mapping of (pond id, kind id) to int
        Where a pond and kind stands in it; ponds where nobody ever laid are not among them.
    kinds : frozenset of int
        Kinds (ids) of which a season stands in the books; the others are left to their published figures.
    """

    learnt: YieldsLearnt
    rows: Mapping[PondKindId, int]
    kinds: frozenset[int]


def plan_yields(kind_ids: Iterable[int], day: dt.date) -> PlanYields | None:
    """
    Return what was learnt by a day; None where no season of any of these kinds stands in the books.

    Four queries where nothing changed since it was last asked in this process.
    """
    book, asked = yield_book(day), set(kind_ids)
    learnt = book.learnt
    if learnt is None:
        return None
    figures = (learnt.nests, learnt.eggs, learnt.hatch)
    kinds = frozenset(
        kind
        for at, (_, kind) in enumerate(book.places)
        if kind in asked and any(figure.ponds[at].seasons for figure in figures)
    )
    return PlanYields(learnt, {where: at for at, where in enumerate(book.places)}, kinds) if kinds else None
