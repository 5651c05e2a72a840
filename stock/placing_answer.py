"""The question where new females go, and its answer, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from stock.advisor.placing import Obstacle
from stock.advisor.season_learning import LearntFigure, YieldsLearnt
from stock.pond_kind import PondKind
from stock.refusals import Refused

SEED = 20_260
DRAWS = 1000
SOONEST, LATEST = 0.6, 1.6
"""How soon and how late full fertility may end, as parts of what is expected: 3 and 8 about 5. Assumptions."""
ALIKE = 0.005
"""Gains this near each other, as a share, are drawn and told as one."""


@dataclass(frozen=True)
class Curves:
    """The assumed curves and what counts as "as good": the page's small settings, all assumptions.

    Fertility is full up to `full_to` females per male and falls beyond as (full_to / ratio) ** exponent; with
    `in_doubt` the draws let it end sooner or later (`limits`). `within` is the share of the best that a placing may
    miss and still count as good in a draw.
    """

    full_to: float = 5.0
    exponent: float = 1.0
    within: float = 0.01
    in_doubt: bool = False

    @property
    def limits(self) -> tuple[float, float]:
        """How soon and how late full fertility may end, 5 % and 95 % points; the same where there is no doubt."""
        if not self.in_doubt:
            return self.full_to, self.full_to
        return SOONEST * self.full_to, LATEST * self.full_to


@dataclass(frozen=True)
class Yields:
    """
    What the ponds were learnt to give.

    Parameters
    ----------
    learnt : YieldsLearnt
        One row a pond and kind.
    rows : mapping of (int, int) to int
        (pond id, kind id) to its row.
    mark : str
        Changes with what was learnt from: two answers with one mark rest on the same figures.
    """

    learnt: YieldsLearnt = field(compare=False, repr=False)
    rows: Mapping[tuple[int, int], int] = field(compare=False, repr=False)
    mark: str = ""


@dataclass(frozen=True)
class PondYield:
    """
    What a settled female of one pond was learnt to give in a season.

    ``nests`` a settled female, ``eggs`` a nest and ``hatch`` share are the learnt figures with their limits and
    arithmetic; ``a_female`` is the mean of hatched eggs over what is not known and over good and bad seasons.
    """

    nests: LearntFigure
    eggs: LearntFigure
    hatch: LearntFigure
    a_female: float

    @property
    def seasons(self) -> int:
        """Seasons of this pond's own nest book behind it."""
        return self.nests.seasons

    @property
    def middling(self) -> float:
        """The product of the three middling figures, which can be checked by hand."""
        return self.nests.value * self.eggs.value * self.hatch.value


@dataclass(frozen=True)
class Question:
    """How many females of which kind; the pond they stand in ("" when not yet here); seasons ahead."""

    kind_id: int
    heads: int
    seasons: int = 5
    source: str = ""
    curves: Curves = Curves()


@dataclass(frozen=True)
class PondAdvice:
    """
    What one pond gets, and why.

    Parameters
    ----------
    facts : PondKind
        What is known of it.
    cap : int
        Most new females it could take; 0 where something stands in the way.
    obstacles : tuple of Obstacle
        What stands in the way.
    given : int
        Females placed here.
    why : str
        The reason, with its numbers.
    adds : float
        Hatched eggs its new females add over the seasons.
    next_gain, last_cost : float or None
        What one more would add here, and what the plan loses if the last one is given up; None where there
        is no more room, or none was placed.
    is_tied : bool
        The last head placed could as well have gone here.
    gains : tuple of float
        What each further female adds, up to the cap.
    decided : int
        Females of the kind that open tasks already add here; they are counted as standing.
    yields : PondYield or None
        What a female here was learnt to give; None where the kind's figures stand for it.
    at_least : int
        Fewest females that may come, all at once, where males stand alone; 0 where any number may.
    """

    facts: PondKind
    cap: int
    obstacles: tuple[Obstacle, ...]
    given: int = 0
    why: str = ""
    adds: float = 0.0
    next_gain: float | None = None
    last_cost: float | None = None
    is_tied: bool = False
    gains: tuple[float, ...] = ()
    decided: int = 0
    yields: PondYield | None = None
    at_least: int = 0

    @property
    def code(self) -> str:
        return self.facts.pond_code

    @property
    def is_open(self) -> bool:
        return not self.obstacles

    @property
    def females_after(self) -> int:
        return self.females_before + self.given

    @property
    def ratio_after(self) -> float | None:
        """Females per male with what is decided and given."""
        return self.facts.ratio_with(self.decided + self.given)

    @property
    def females_before(self) -> int:
        """Females standing here, by the standing where there is one, with those that open tasks already add."""
        return self.facts.females_now + self.decided

    @property
    def use_after(self) -> float:
        """Head limit used once they stand here, weighted by space."""
        return self.facts.head_use + (self.decided + self.given) * self.facts.space_a_head


@dataclass(frozen=True)
class Rival:
    """Another way to place as many heads: its total, and that as a share of the best."""

    name: str
    heads_per_pond: tuple[tuple[str, int], ...]
    total: float
    share: float


@dataclass(frozen=True)
class Advice:
    """
    The answer.

    Parameters
    ----------
    question : Question
    kind : PondKind
        One row of the kind, for its name, target, band, figures and sources.
    ponds : tuple of PondAdvice
        Those that may get some, most heads first, then those in whose way something stands.
    not_kept : tuple of str
        Codes of ponds kept for other kinds and holding none of this one.
    placed, unplaced : int
    unplaced_why : str
        Why heads are left over; "" where none are.
    total, low, high : float
        Hatched eggs added over the seasons: mean over the draws, 5 % and 95 % points over single draws.
    rivals : tuple of Rival
        An even split, and worst ratio first.
    holds : float or None
        Share of single draws in which the placing is as good as that draw's best; None where none is placed.
    tied : tuple of str
        Codes of ponds where the last head could as well have gone.
    method : str
        "greedy" or "dynamic programming"; both are exact.
    concave : bool
    bound : float
        Hatched eggs that no placing of the heads can exceed: proven apart from the placing.
    draws, draws_kept, draws_compared, seed : int
        Averaged, kept singly for the limits, compared for `holds`; the seed of all.
    """

    question: Question
    kind: PondKind
    ponds: tuple[PondAdvice, ...]
    not_kept: tuple[str, ...]
    placed: int
    unplaced: int
    unplaced_why: str
    total: float
    low: float
    high: float
    rivals: tuple[Rival, ...]
    holds: float | None
    tied: tuple[str, ...]
    method: str
    concave: bool
    draws: int = DRAWS
    draws_kept: int = 0
    draws_compared: int = 0
    seed: int = SEED
    bound: float = 0.0

    @property
    def decided(self) -> list[PondAdvice]:
        """Ponds for which open tasks already add some."""
        return [pond for pond in self.ponds if pond.decided]

    @property
    def getting(self) -> list[PondAdvice]:
        """Ponds that get some, most heads first."""
        return [pond for pond in self.ponds if pond.given]

    @property
    def open_ponds(self) -> list[PondAdvice]:
        return [pond for pond in self.ponds if pond.is_open]

    @property
    def closed_ponds(self) -> list[PondAdvice]:
        return [pond for pond in self.ponds if not pond.is_open]

    @property
    def is_all_alike(self) -> bool:
        """Whether a further female adds the same in every pond, however many are there: to half a percent."""
        gains = [gain for pond in self.open_ponds for gain in pond.gains]
        return bool(gains) and max(gains) - min(gains) <= ALIKE * max(gains)

    def pond(self, code: str) -> PondAdvice | None:
        return next((pond for pond in self.ponds if pond.code == code), None)


class CannotAdvise(Refused):
    """The question cannot be answered yet; `sentence` says what is missing and where it is mended."""
