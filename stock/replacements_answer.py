"""What is asked of the years ahead, and the answer, as plain values."""

from __future__ import annotations

from dataclasses import dataclass, field

from stock.advisor.demography import Growth
from stock.advisor.hatch_patterns import Pattern, Share, Warmth
from stock.advisor.life_stages import LifeStages
from stock.advisor.replacements import Levers, Need, Rates

YEARS_AHEAD = 20


@dataclass(frozen=True)
class WhatIf:
    """A change to think through: males sold, a pond lost (its code), shares of survival more (0.05 is five points)."""

    sold_males: int = 0
    lost_pond: str = ""
    juvenile_more: float = 0.0
    adult_more: float = 0.0

    @property
    def is_asked(self) -> bool:
        return bool(self.sold_males or self.lost_pond or self.juvenile_more or self.adult_more)


@dataclass(frozen=True)
class Figures:
    """
    The figures of a kind for both sexes, published or typed.

    `typed` names those the farm typed for this question; they are taken without doubt.
    """

    first_year: tuple[float, float, float]
    juvenile: tuple[float, float, float]
    adult: tuple[float, float, float]
    female_years: int
    male_years: int
    adult_source: str
    stages: LifeStages
    typed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class AheadQuestion:
    """The kind, how many females to hold and how many female hatchlings are kept (None: what stands, what holds)."""

    kind_id: int
    scientific_name: str
    figures: Figures
    wanted: int | None = None
    kept: int | None = None
    what_if: WhatIf = WhatIf()
    share: float = 0.9
    temperature_c: float | None = None


@dataclass(frozen=True)
class Scenario:
    """
    The kind on the farm as it is, or as it would be.

    Parameters
    ----------
    name : str
    females, males : int
        Breeders standing: by the standing where a pond was counted, else by the book.
    female_rates, male_rates : Rates
    female_need, male_need : Need
        Hatchlings of each sex a year that hold the females wanted, and the males standing.
    growth : Growth
        Of the females, where the hatchlings kept back keep pace with them.
    levers : Levers or None
    ahead, males_ahead : tuple of float
        Breeders now and at the end of each year, the same hatchlings kept each year.
    ahead_without : tuple of float
        Females where none is kept.
    in_the_end : float
        Females that the steady number kept leads to.
    """

    name: str
    females: int
    males: int
    female_rates: Rates
    male_rates: Rates
    female_need: Need
    male_need: Need
    growth: Growth
    levers: Levers | None
    ahead: tuple[float, ...]
    males_ahead: tuple[float, ...]
    ahead_without: tuple[float, ...]
    in_the_end: float

    @property
    def ratio(self) -> float | None:
        return self.females / self.males if self.males else None


@dataclass(frozen=True)
class StageRow:
    """What stands of a stage once the stock holds: share of all, heads, and the worth of a head in hatchlings."""

    name: str
    share: float
    heads: float
    worth: float


@dataclass(frozen=True)
class Incubation:
    """
    Which temperature for which sex.

    Parameters
    ----------
    pattern : Pattern
    room_c : float or None
        The kind's usual room, degrees C; None without that figure.
    at_room, at_asked : Share or None
        Share of females there, and at the temperature asked about.
    for_share : Warmth or None
        Temperature for the share asked for.
    for_females, for_males : Warmth or None
        Temperature of a room for replacement females, and of one for males.
    female_share : float
        Share of females in that room: what the hatchlings to raise are reckoned with.
    """

    pattern: Pattern
    room_c: float | None
    at_room: Share | None
    at_asked: Share | None
    for_share: Warmth | None
    for_females: Warmth | None
    for_males: Warmth | None
    female_share: float


@dataclass(frozen=True)
class AheadAnswer:
    """
    The answer.

    Parameters
    ----------
    question : AheadQuestion
    kind_name : str
    kept, kept_males : float
        Hatchlings of each sex kept back a year in both scenarios.
    wanted : int
        Females to hold.
    juveniles, unsexed : int
        Standing too.
    as_it_is : Scenario
    what_if : Scenario or None
    stages : tuple of StageRow
        Of the females, as it is.
    incubation : Incubation
    juvenile_words : str
        How the juveniles standing are planned.
    lever_words : tuple of str
        The elasticities in plain words.
    at_most : float or None
        Growth a year if every hatchling of a room for females were kept; None without figures of eggs.
    """

    question: AheadQuestion
    kind_name: str
    kept: float
    kept_males: float
    wanted: int
    juveniles: int
    unsexed: int
    as_it_is: Scenario
    what_if: Scenario | None
    stages: tuple[StageRow, ...]
    incubation: Incubation
    juvenile_words: str
    lever_words: tuple[str, ...]
    at_most: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def scenarios(self) -> list[Scenario]:
        return [self.as_it_is] if self.what_if is None else [self.as_it_is, self.what_if]
