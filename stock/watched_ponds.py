"""What the watch and the season say of ponds, put beside their facts, so that every page says the same of a pond."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace

from stock.pond_concerns import Concern
from stock.pond_kind import PondKind
from stock.pond_rows import PondKindId
from stock.season_now import PondSeason
from stock.season_of_pond import falling_behind_on
from stock.templatetags.stock_format import number
from stock.watch_page import WatchLine, signals_on


@dataclass(frozen=True)
class Watched:
    """The signals nobody has noted yet, and the ponds that fall behind in nests, of a day."""

    signals: tuple[WatchLine, ...]
    behind: tuple[PondSeason, ...]

    def of(self, facts: Iterable[PondKind]) -> list[PondKind]:
        """Return the facts with what is said of each beside them; no query."""
        said: dict[PondKindId, list[Concern]] = defaultdict(list)
        for line in self.signals:
            code = "deaths" if line.asks_to_stop else "heads-missing"
            for where in line.ponds:
                said[where].append(Concern(code, f"{line.sentence} {line.remedy}", line.title))
        for season in self.behind:
            said[season.pond_id, season.kind_id].append(Concern("falling-behind", behind_words(season)))
        return [replace(one, watched=tuple(said.get((one.pond_id, one.kind_id), ()))) for one in facts]


def watched_on(day: dt.date) -> Watched:
    """Return what the watch and the season say on a day: four queries at most where nothing changed since asked."""
    return Watched(tuple(signals_on(day)), tuple(falling_behind_on(day)))


def behind_words(season: PondSeason) -> str:
    """Say how far a pond's nests are behind."""
    should = f", where {number(season.by_now)} should be" if season.by_now is not None else ""
    return f"Nests are missing: {number(season.dug)} dug by the last whole week{should}."
