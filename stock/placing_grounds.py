"""What a saved placing rests on: written as plain values when it is saved, read back when it is opened again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from stock.placing_answer import Advice, PondAdvice
from stock.placing_figures import Assumption, FigureRow, assumptions, figure_rows
from stock.placing_hand import HandPlacing


@dataclass(frozen=True)
class PondThen:
    """
    One pond as it stood when the placing was saved.

    Parameters
    ----------
    code : str
    females, males : int
        By the book.
    females_used, males_used : int
        What the placing reckoned with: the standing's where there was one, and what open tasks added.
    whose : str
        "the book" or "the standing".
    use : str
        What the pond was used as, in words.
    counted_on : str
        The day of its last count, "" for none.
    cap, best, given : int
        Most it could take; what the best placing gave it; what was saved.
    adds : float
        Hatched eggs that those saved add over the seasons.
    next_gain : float or None
        What one more than the best placing's would have added.
    why : str
        Its reason, or what stood in its way.
    a_female : float or None
        Hatched eggs of a settled female there in a season, by the figures used.
    """

    code: str
    females: int
    males: int
    females_used: int
    males_used: int
    whose: str
    use: str
    counted_on: str
    cap: int
    best: int
    given: int
    adds: float
    next_gain: float | None
    why: str
    a_female: float | None = None


@dataclass(frozen=True)
class RivalThen:
    """Another way to place as many heads, as it was set beside the best."""

    name: str
    total: float
    share: float


@dataclass(frozen=True)
class Grounds:
    """
    What a placing rested on.

    Parameters
    ----------
    seasons : int
    full_to, exponent, within : float
        The assumed curves, and what counted as "as good".
    in_doubt : bool
        Whether where full fertility ends was drawn with the rest.
    seed, draws, draws_kept, draws_compared : int
    total : float
        Hatched eggs of the placing as saved, over the seasons.
    best_total, low, high : float
        Of the best placing: the mean, and its limits over single draws.
    holds : float or None
        Share of draws in which the best placing was as good as that draw's best.
    method : str
    ponds : tuple of PondThen
        Every pond of the kind.
    rivals : tuple of RivalThen
    figures : tuple of FigureRow
    assumptions : tuple of Assumption
    """

    seasons: int
    full_to: float
    exponent: float
    within: float
    in_doubt: bool
    seed: int
    draws: int
    draws_kept: int
    draws_compared: int
    total: float
    best_total: float
    low: float
    high: float
    holds: float | None
    method: str
    ponds: tuple[PondThen, ...]
    rivals: tuple[RivalThen, ...]
    figures: tuple[FigureRow, ...]
    assumptions: tuple[Assumption, ...]

    def pond(self, code: str) -> PondThen | None:
        return next((pond for pond in self.ponds if pond.code == code), None)

    @property
    def loss(self) -> float:
        """Hatched eggs that the placing as saved gives up against the best."""
        return max(0.0, self.best_total - self.total)


def grounds_of(advice: Advice, hand: HandPlacing) -> dict[str, Any]:
    """Return the grounds of a placing as values that JSON can hold."""
    curves = advice.question.curves
    return asdict(
        Grounds(
            seasons=advice.question.seasons,
            full_to=curves.full_to,
            exponent=curves.exponent,
            within=curves.within,
            in_doubt=curves.in_doubt,
            seed=advice.seed,
            draws=advice.draws,
            draws_kept=advice.draws_kept,
            draws_compared=advice.draws_compared,
            total=hand.total,
            best_total=advice.total,
            low=advice.low,
            high=advice.high,
            holds=advice.holds,
            method=advice.method,
            ponds=tuple(_pond_then(pond, hand.heads.get(pond.code, 0)) for pond in advice.ponds),
            rivals=tuple(RivalThen(rival.name, rival.total, rival.share) for rival in advice.rivals),
            figures=tuple(figure_rows(advice.kind)),
            assumptions=tuple(assumptions(advice)),
        )
    )


def _pond_then(pond: PondAdvice, given: int) -> PondThen:
    facts = pond.facts
    return PondThen(
        code=pond.code,
        females=facts.heads.females,
        males=facts.heads.males,
        females_used=pond.females_before,
        males_used=facts.males_now,
        whose=facts.whose,
        use=facts.use.words,
        counted_on="" if facts.last_count is None else facts.last_count.as_of.isoformat(),
        cap=pond.cap,
        best=pond.given,
        given=given,
        adds=sum(pond.gains[:given]),
        next_gain=pond.next_gain,
        why=pond.obstacles[0].sentence if pond.obstacles else pond.why,
        a_female=pond.yields.a_female if pond.yields else None,
    )


def read_grounds(held: Mapping[str, Any]) -> Grounds:
    """Return what `grounds_of` wrote."""
    parts = {
        "ponds": tuple(PondThen(**pond) for pond in held["ponds"]),
        "rivals": tuple(RivalThen(**rival) for rival in held["rivals"]),
        "figures": tuple(FigureRow(**figure) for figure in held["figures"]),
        "assumptions": tuple(Assumption(**one) for one in held["assumptions"]),
    }
    return Grounds(**{**held, **parts})


def mark_of(advice: Advice) -> str:
    """Return a short mark of the answer: it changes with the ponds, what they can take and what they are given."""
    seen = [
        (pond.code, pond.females_before, pond.facts.males_now, pond.cap, pond.given)
        for pond in sorted(advice.ponds, key=lambda pond: pond.code)
    ]
    return hashlib.sha256(json.dumps(seen).encode()).hexdigest()[:16]
