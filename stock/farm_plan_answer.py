"""The question which moves bring every pond into band, and its answer, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from stock.advisor.farm_plan import FEWEST_HEADS, HANDLING_EGGS, MOST_EGGS, FarmPlan
from stock.held_heads import heads_held
from stock.pond_kind import PondKind
from stock.templatetags.stock_format import ratio

SEASONS = 5
"""Seasons over which eggs are added up."""


@dataclass(frozen=True)
class PlanQuestion:
    """
    Which kinds (ids), what for, what is allowed, which ponds (codes) stay as they are, and seconds.

    `a_head` is how many hatched eggs are taken off for each head handled, over the seasons, where most eggs are asked
    for.
    """

    kind_ids: tuple[int, ...]
    aim: str = FEWEST_HEADS
    may_sell: bool = False
    bought: int = 0
    leave: tuple[str, ...] = ()
    a_head: float = 0.0
    seconds: float = 5.0

    @property
    def is_for_eggs(self) -> bool:
        return self.aim == MOST_EGGS

    @property
    def eggs_a_head(self) -> float:
        """Eggs taken off for each head handled: of plans with as many eggs the one of less work, at least."""
        return max(HANDLING_EGGS, self.a_head)

    @property
    def taken_off(self) -> str:
        """Say how many eggs are taken off for each head handled: "5 eggs"."""
        if self.eggs_a_head == HANDLING_EGGS:
            return "a thousandth of an egg"
        return f"{self.eggs_a_head:g} egg{'' if self.eggs_a_head == 1 else 's'}"


@dataclass(frozen=True)
class PlannedMove:
    """One line of the plan: heads of a kind and class from a pond ("" bought) to a pond ("" sold), and why."""

    source: str
    target: str
    kind: str
    kind_name: str
    of_class: str
    heads: int
    why: str

    @property
    def source_words(self) -> str:
        return f"Pond {self.source}" if self.source else "bought"

    @property
    def target_words(self) -> str:
        return f"Pond {self.target}" if self.target else "sold"

    @property
    def class_words(self) -> str:
        one, many = {"FEMALE": ("female", "females"), "MALE": ("male", "males")}[self.of_class]
        return one if self.heads == 1 else many


@dataclass(frozen=True)
class PondPlan:
    """
    One pond and kind before the moves and after.

    Parameters
    ----------
    facts : PondKind
        Before.
    females, males : int
        After.
    was_in_band, in_band : bool
        Before and after. A pond without females and males needs no remedy.
    use_after : float
        Head limit used then, over all kinds.
    left_alone : str
        Why nothing is moved in or out; "" where it may be.
    why_not : str
        Why it is not in band after all; "" where it is.
    a_female : float or None
        Hatched eggs of a settled female and season here; None where the plan counts no eggs.
    seasons : int
        Seasons of its own that this was learnt from.
    """

    facts: PondKind
    females: int
    males: int
    was_in_band: bool
    in_band: bool
    use_after: float
    left_alone: str = ""
    why_not: str = ""
    a_female: float | None = None
    seasons: int = 0

    @property
    def code(self) -> str:
        return self.facts.pond_code

    @property
    def females_before(self) -> int:
        """Females it is reckoned with: the standing's where there is one, else the book's."""
        return self.facts.females_now

    @property
    def males_before(self) -> int:
        return self.facts.males_now

    @property
    def held(self) -> tuple[float, float]:
        """Females and males after, as they are held to the band."""
        females, males = heads_held(self.facts)
        return females + self.females - self.females_before, males + self.males - self.males_before

    @property
    def ratio_before(self) -> float | None:
        return self.facts.ratio_now

    @property
    def ratio_after(self) -> float | None:
        return self.facts.ratio_with(self.females - self.females_before, self.males - self.males_before)

    @property
    def before_words(self) -> str:
        return _ratio_words(self.ratio_before)

    @property
    def after_words(self) -> str:
        return _ratio_words(self.ratio_after)

    @property
    def is_changed(self) -> bool:
        return (self.females, self.males) != (self.females_before, self.males_before)

    @property
    def is_empty(self) -> bool:
        """Whether neither sex stands there, before the moves or after."""
        return not (self.females_before or self.males_before or self.females or self.males)

    @property
    def is_worth_showing(self) -> bool:
        return self.is_changed or not self.in_band

    @property
    def room_after(self) -> float | None:
        return None if self.facts.head_limit is None else self.facts.head_limit - self.use_after


@dataclass(frozen=True)
class PlanAnswer:
    """
    The answer.

    Parameters
    ----------
    question : PlanQuestion
    plan : FarmPlan
        As the advisor gave it.
    moves : tuple of PlannedMove
        In an order they can be carried out in: males before females.
    ponds : tuple of PondPlan
        Every pond and kind of the question, in letter order.
    proof : tuple of str
        How good the plan is known to be, in sentences.
    cautions : tuple of str
        What to know before the first pond is seined.
    learnt : tuple of str
        Kinds whose eggs go, pond by pond, by the farm's own books.
    gained : (float, float, float) or None
        Hatched eggs more than without any move: low, expected and high at 90 %, which are the doubt about what the
        ponds give; all three the same where a kind goes by its published figures. None where no eggs are counted.
    """

    question: PlanQuestion
    plan: FarmPlan
    moves: tuple[PlannedMove, ...]
    ponds: tuple[PondPlan, ...]
    proof: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    learnt: tuple[str, ...] = ()
    gained: tuple[float, float, float] | None = None

    @property
    def shown(self) -> list[PondPlan]:
        """Ponds that change or are not in band."""
        return [pond for pond in self.ponds if pond.is_worth_showing]

    @property
    def untouched(self) -> list[PondPlan]:
        return [pond for pond in self.stocked if not pond.is_worth_showing]

    @property
    def stocked(self) -> list[PondPlan]:
        """Ponds with females or males, before the moves or after: the others have no ratio."""
        return [pond for pond in self.ponds if not pond.is_empty]

    @property
    def empty(self) -> list[PondPlan]:
        return [pond for pond in self.ponds if pond.is_empty]

    @property
    def unmet(self) -> list[PondPlan]:
        return [pond for pond in self.ponds if not pond.in_band]

    @property
    def by_standing(self) -> int:
        """Ponds whose heads are the standing's, not the book's."""
        return sum(pond.facts.is_by_standing for pond in self.ponds)

    @property
    def gained_a_head(self) -> float | None:
        """Hatched eggs more for each head handled; None where none is, or no eggs are counted."""
        return self.gained[1] / self.plan.handled if self.gained and self.plan.handled else None

    @property
    def out_before(self) -> int:
        return sum(not pond.was_in_band for pond in self.ponds)

    @property
    def in_band_after(self) -> int:
        return sum(pond.in_band for pond in self.stocked)

    @property
    def mended(self) -> int:
        return sum(pond.in_band and not pond.was_in_band for pond in self.ponds)

    @property
    def ponds_handled(self) -> int:
        """Ponds that have to be seined or visited."""
        return len({pond.code for pond in self.ponds if pond.is_changed})


def _ratio_words(females_per_male: float | None) -> str:
    return "empty" if females_per_male is None else ratio(females_per_male)
