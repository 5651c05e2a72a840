"""Where the watch asks that nothing move, for pages that advise moves. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from stock.watch_page import COUNT, WatchLine, signals_on


def stops_at(codes: Collection[str], day: dt.date) -> list[WatchLine]:
    """Return the signals of these ponds that ask to stop all moves, until somebody has looked into them."""
    if not codes:
        return []
    return [line for line in signals_on(day) if line.pond_code in codes and line.remedy != COUNT]
