"""The whole farm at once: which moves bring every pond into its band with the least handling, or most eggs."""

import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stock.advisor.farm_plan_moves import (
    ALL,
    BUY,
    FEMALE,
    FEW,
    MALE,
    MOST_BOUGHT,
    ROOM,
    SELL,
    WELFARE,
    PlanMove,
    netted,
    paired,
    what_helps,
)
from stock.advisor.farm_plan_moves import after as after_of
from stock.advisor.farm_plan_program import (
    BOUGHT,
    FEMALES_OUT,
    HANDLING_EGGS,
    MALES_OUT,
    SOLD,
    WIDTH,
    Place,
    Rules,
)
from stock.advisor.farm_plan_search import (
    AIMS,
    FEWEST_HEADS,
    MOST_EGGS,
    PONDS_IN_BAND,
    SHORT_OR_OVER,
    Stage,
    eggs_of,
    search,
)
from stock.advisor.reasons import WELFARE_RATIO
from stock.advisor.verdict import check_band
from stock.estimators.estimate import check_count, check_number

__all__ = [
    "AIMS", "ALL", "BUY", "FEMALE", "FEW", "FEWEST_HEADS", "HANDLING_EGGS", "MALE", "MOST_EGGS", "PONDS_IN_BAND",
    "ROOM", "SELL", "SHORT_OR_OVER", "WELFARE", "FarmPlan", "PlanMove", "PondStock", "Stage", "Unmet", "farm_plan",
]  # fmt: skip


@dataclass(frozen=True)
class PondStock:
    """
    The heads of one kind in one pond, and what may be done with them.

    Parameters
    ----------
    pond, kind : str
        Codes; a pond may be named with several kinds.
    females, males : float
        Heads standing; they need not be whole, as those of a standing are not: bands are held on them as they are,
        and whole heads are moved.
    others : int
        Unsexed and juveniles of the kind: they are not moved, but other kinds may be kept apart from them.
    band : (float, float)
        Females per male, low and high end.
    space : float
        Share of the pond's head limit that one head takes.
    may_give, may_take : bool
        Whether heads may leave, and come in; a pond in quarantine or resting does neither.
    may_empty : bool
        Whether it may be left without heads, as where the kind is not kept in the pond.
    eggs : (float, float), optional
        Eggs of a female that stays in this pond and of one that comes into it, where the pond has figures of its
        own; else those of its kind hold.
    """

    pond: str
    kind: str
    females: float
    males: float
    others: int = 0
    band: tuple[float, float] = (2.5, 4.5)
    space: float = 1.0
    may_give: bool = True
    may_take: bool = True
    may_empty: bool = False
    eggs: tuple[float, float] | None = None


@dataclass(frozen=True)
class Unmet:
    """
    A pond and kind that the plan leaves out of band.

    Parameters
    ----------
    place : int
        Which of the stocks given.
    short, over : float
        Females still missing to the low end of the band, and beyond its high end.
    would_help : tuple of str
        What alone would bring it in, every pond in band staying so: "sell males", "bought females",
        "head room" (limits lifted), "welfare" (females let in beside many males), "few males" (another pond
        left with fewer than asked); "all together" where only the first four do at once. Empty where none
        does, or it was left alone.
    is_left_alone : bool
        Nothing may leave it and nothing come in.
    """

    place: int
    short: float
    over: float
    would_help: tuple[str, ...]
    is_left_alone: bool


@dataclass(frozen=True)
class FarmPlan:
    """
    The moves, and what is proven of them.

    Parameters
    ----------
    moves : tuple of PlanMove
    after : tuple of (float, float)
        Females and males of each stock once they are done.
    in_band : tuple of bool
        Whether each stock is then in band; one without sexed heads counts as in band.
    unmet : tuple of Unmet
    handled, sold, bought : int
        Heads moved, males sold among them and females bought among them.
    eggs : float or None
        Eggs of all females after the moves; None where no yields were given.
    eggs_by_place : tuple of (float, float)
        Eggs of the females of each stock without the moves and after them; empty where no yields were given.
    value, bound : float
        What the aim reached (heads handled, or eggs less ``eggs_a_head`` for each head handled), and what no
        plan that brings as many ponds into band can beat.
    gap : float
        |value - bound| / value: 0 is proven best.
    stages : tuple of Stage
        Ponds in band; females short or over; the aim.
    seconds : float
    """

    moves: tuple[PlanMove, ...]
    after: tuple[tuple[float, float], ...]
    in_band: tuple[bool, ...]
    unmet: tuple[Unmet, ...]
    handled: int
    sold: int
    bought: int
    eggs: float | None
    eggs_by_place: tuple[tuple[float, float], ...]
    value: float
    bound: float
    gap: float
    stages: tuple[Stage, ...]
    seconds: float

    @property
    def is_proven(self) -> bool:
        """Whether no other plan brings more ponds into band, nor as many for less."""
        return all(stage.is_proven for stage in self.stages)


def farm_plan(
    stocks: Sequence[PondStock],
    *,
    room: Mapping[str, float] | None = None,
    apart: Iterable[tuple[str, str]] = (),
    aim: str = FEWEST_HEADS,
    may_sell_males: bool = False,
    bought_females: int = 0,
    eggs: Mapping[str, tuple[float, float]] | None = None,
    eggs_a_head: float = HANDLING_EGGS,
    fewest_males: int = 0,
    full_to: float = 5.0,
    welfare_ratio: float = WELFARE_RATIO,
    time_limit: float = 5.0,
    progress: Callable[[str], None] | None = None,
) -> FarmPlan:
    """
    Find the moves of females and males that bring every pond into its band.

    First as many ponds as can be are brought into band; where some cannot, the least females stay short or
    over in them; then the aim is met. A pond in band stays in band; one out of band is never made worse, nor
    stripped of a sex. Males leave a pond before females come: none come into a pond below the welfare ratio
    until those standing there reach it, and no males come into such a pond; where no females stand none is
    pressed, and they come, so many at once that they reach it. The integer program is solved by
    HiGHS; where time runs out the best plan found is given with the proven gap.

    Parameters
    ----------
    stocks : sequence of PondStock
    room : mapping of str to float, optional
        Pond to head room left, in space of its limit; below 0 where it is over. No limit where not named.
    apart : iterable of (str, str)
        Kinds never kept in one pond; either order.
    aim : str
        "fewest heads handled" or "most eggs".
    may_sell_males : bool
        Whether males may leave the farm.
    bought_females : int
        Most females that may come from outside, over all ponds.
    eggs : mapping of str to (float, float), optional
        Kind to eggs of a female that stays and of one that is moved or bought, over the seasons that count;
        a stock's own figures go before them. One or the other is needed for "most eggs". All eggs are fertile
        up to ``full_to`` females per male or the top of the band, whichever is more; beyond, a male serves that
        many females and no more.
    eggs_a_head : float
        Eggs taken off for each head handled, for "most eggs": with a thousandth the one of less work is taken of
        plans with as many eggs, with more of it moves that bring little are left out. Heads moved for a band go
        before it, whatever they bring.
    fewest_males : int
        Males that a pond in band keeps, where it has as many, and one of males alone: fewer are too few sires. For
        "most eggs" every pond keeps so many, and one that has fewer those it has, save what must leave
        for its own ratio.
    full_to : float
    welfare_ratio : float
        Females per male.
    time_limit : float
        Seconds for all of it.
    progress : callable, optional
        Told in a sentence when each stage begins.

    Returns
    -------
    FarmPlan
        Without any move where nothing can be bettered.

    Raises
    ------
    ValueError
        If a count, band, space or setting is impossible, or a pond and kind is given twice.

    References
    ----------
    Huangfu & Hall (2018), Mathematical Programming Computation 10, 119-142 (HiGHS).
    """
    begun = time.monotonic()
    seconds = check_number(time_limit, "time_limit", low=0.1, high=600)
    if aim not in AIMS:
        raise ValueError(f"aim: {aim!r} is not one of {', '.join(AIMS)}.")
    if aim == MOST_EGGS and eggs is None and any(stock.eggs is None for stock in stocks):
        raise ValueError(
            "eggs: the eggs of a female that stays and of one that moves are needed, by kind or pond."
        )
    most_bought = min(MOST_BOUGHT, check_count(bought_females, "bought_females"))
    check_number(welfare_ratio, "welfare_ratio", low=0)
    given = _places(stocks, eggs, check_number(full_to, "full_to", low=0))
    left_alone = [number for number, place in enumerate(given) if not place.gives and not place.takes]
    within = [number for number in range(len(given)) if number not in left_alone]
    places = [given[number] for number in within]
    rules = Rules(
        may_sell=may_sell_males,
        bought=most_bought,
        welfare_ratio=welfare_ratio,
        room={pond: check_number(left, f"Pond {pond}, room") for pond, left in (room or {}).items()},
        apart=frozenset(pair for one, other in apart for pair in ((one, other), (other, one))),
        eggs_a_head=check_number(eggs_a_head, "eggs_a_head", low=0),
        fewest_males=check_count(fewest_males, "fewest_males"),
        keeps_few=aim == MOST_EGGS,
    )
    # What stands in a pond that is left alone still keeps other kinds out of it.
    places = [replace(place, takes=place.takes and not _is_kept_out(place, given, rules)) for place in places]
    say = progress or (lambda sentence: None)
    heads, stages = search(places, rules, aim, begun, seconds, say)
    heads = netted(heads)
    if aim == MOST_EGGS:
        alone = math.fsum(eggs_of([given[number] for number in left_alone], np.zeros((0, WIDTH)), []))
        stages[-1] = replace(stages[-1], reached=stages[-1].reached + alone, bound=stages[-1].bound + alone)
    after = [(place.females, place.males) for place in given]
    for at, number in enumerate(within):
        after[number] = after_of(places[at], heads[at])
    ended = [
        replace(place, females=females, males=males)
        for place, (females, males) in zip(given, after, strict=True)
    ]
    missed = [number for number, place in enumerate(ended) if not _is_met(place, given[number])]
    say("Looking for what would bring the rest into band.") if missed else None
    helps = what_helps(places, rules, [within.index(at) for at in missed if at in within], begun, seconds)
    value, bound = stages[-1].reached, stages[-1].bound
    laid: list[tuple[float, float]] = []
    if eggs is not None or any(stock.eggs is not None for stock in stocks):
        laid = list(zip(eggs_of(given, heads[:0], []), eggs_of(given, heads, within), strict=True))
    return FarmPlan(
        moves=paired(places, heads),
        after=tuple(after),
        in_band=tuple(number not in missed for number in range(len(given))),
        unmet=tuple(
            Unmet(
                place=number,
                short=ended[number].short,
                over=ended[number].over,
                would_help=helps.get(within.index(number), ()) if number in within else (),
                is_left_alone=number in left_alone,
            )
            for number in missed
        ),
        handled=int(heads[:, [FEMALES_OUT, MALES_OUT, SOLD, BOUGHT]].sum()),
        sold=int(heads[:, SOLD].sum()),
        bought=int(heads[:, BOUGHT].sum()),
        eggs=math.fsum(after for _, after in laid) if laid else None,
        eggs_by_place=tuple(laid),
        value=value,
        bound=bound,
        gap=abs(value - bound) / max(1.0, abs(value)),
        stages=tuple(stages),
        seconds=time.monotonic() - begun,
    )


def _places(
    stocks: Sequence[PondStock], eggs: Mapping[str, tuple[float, float]] | None, full_to: float
) -> list[Place]:
    places, seen = [], set()
    for stock in stocks:
        name = f"Pond {stock.pond}, {stock.kind}"
        if (stock.pond, stock.kind) in seen:
            raise ValueError(f"{name}: it is given twice.")
        seen.add((stock.pond, stock.kind))
        low, high = check_band(stock.band)
        if check_number(stock.space, f"{name}, space") <= 0:
            raise ValueError(f"{name}: a head must take some space, not {stock.space:g}.")
        whose = stock.kind if stock.eggs is None else name
        staying, moved = (eggs or {}).get(stock.kind, (0.0, 0.0)) if stock.eggs is None else stock.eggs
        check_number(moved, f"{whose}, eggs of a female that moves", low=0)
        if check_number(staying, f"{whose}, eggs of a female that stays", low=0) < moved:
            raise ValueError(f"{whose}: a female that comes cannot lay more than one that stays.")
        places.append(
            Place(
                pond=stock.pond,
                kind=stock.kind,
                females=check_number(stock.females, f"{name}, females", low=0),
                males=check_number(stock.males, f"{name}, males", low=0),
                others=check_count(stock.others, f"{name}, others"),
                low=low,
                high=high,
                space=stock.space,
                gives=stock.may_give,
                takes=stock.may_take,
                may_empty=stock.may_empty,
                staying_eggs=staying,
                moved_eggs=moved,
                full_to=max(full_to, high),
            )
        )
    return places


def _is_kept_out(place: Place, given: Sequence[Place], rules: Rules) -> bool:
    return any(
        other.pond == place.pond
        and (place.kind, other.kind) in rules.apart
        and other.females + other.males + other.others > 0
        for other in given
    )


def _is_met(place: Place, before: Place) -> bool:
    """Whether a place that ended so is in band; one that held heads and was emptied only where it may be."""
    if not place.is_in_band:
        return False
    return place.may_empty or place.males > 0 or not before.females + before.males
