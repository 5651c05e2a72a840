"""What a pond's page and the monthly review say of its season, where the farm kept books to learn from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from ponds.models import NestDay
from ponds.seasons import season_of
from stock.season_now import PondSeason, season_now

PondKindId = tuple[int, int]


def learnt_seasons(day: dt.date) -> Mapping[PondKindId, PondSeason]:
    """
    Return (pond id, kind id) -> its season as it stood on a day, by what was learnt.

    Only of kinds with a past season in the books: without any, the published ranges are all there is, and the kind's
    figures say the same more plainly. One query on a farm without a nest book; else those of `season_now`.
    """
    if not NestDay.objects.exists():
        return {}
    found = season_now(day)
    learnt = found.book.learnt
    if learnt is None:
        return {}
    kept = {
        kind
        for at, (_, kind) in enumerate(found.book.places)
        if any(figure.ponds[at].seasons for figure in (learnt.nests, learnt.eggs, learnt.hatch))
    }
    return {(one.pond_id, one.kind_id): one for one in found.ponds if one.kind_id in kept}


def falling_behind_on(day: dt.date) -> tuple[PondSeason, ...]:
    """Return the ponds that fall behind in the season of a day: one query where none of it was dug yet."""
    season = season_of(day)
    if not NestDay.objects.filter(dug_on__range=(season.starts_on, day)).exists():
        return ()
    return season_now(day).named
