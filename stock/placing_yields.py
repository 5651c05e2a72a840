"""What the ponds of a kind were learnt to give, as the placing of new females takes it."""

from __future__ import annotations

import datetime as dt
import hashlib

import numpy as np

from stock.advisor.season_learning import YieldsLearnt
from stock.placing_answer import Yields
from stock.yield_book import yield_book


def yields_of(kind_id: int, day: dt.date) -> Yields | None:
    """
    Return what was learnt by a day of every pond and kind; None where no pond of this kind has a season in the books.

    Without any season the published ranges are all there is, and the kind's figures say the same more plainly.
    """
    book = yield_book(day)
    learnt = book.learnt
    if learnt is None:
        return None
    of_kind = [at for at, (_, kind) in enumerate(book.places) if kind == kind_id]
    if not any(_is_kept(learnt, at) for at in of_kind):
        return None
    return Yields(learnt, {where: at for at, where in enumerate(book.places)}, _mark(learnt))


def _is_kept(learnt: YieldsLearnt, at: int) -> bool:
    return any(figure.ponds[at].seasons for figure in (learnt.nests, learnt.eggs, learnt.hatch))


def _mark(learnt: YieldsLearnt) -> str:
    """Return a short mark of the figures: another once any of them is another."""
    found = hashlib.sha256()
    for figure in (learnt.nests, learnt.eggs, learnt.hatch):
        spreads = [figure.season_spread, figure.rest_spread]
        for part in (figure.hierarchy.mean, figure.hierarchy.sd, np.array(spreads)):
            found.update(np.round(part, 9).tobytes())
    return found.hexdigest()[:16]
