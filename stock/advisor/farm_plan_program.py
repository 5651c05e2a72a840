"""The integer program behind the whole-farm plan: its variables, its rows, and one solve of it."""

import math
import time
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

from stock.advisor.solver_words import without_noise

Floats = NDArray[np.float64]

(
    FEMALES_OUT,
    FEMALES_IN,
    MALES_OUT,
    MALES_IN,
    SOLD,
    BOUGHT,
    SHORT,
    OVER,
    IS_MET,
    IS_CALM,
    IS_USED,
    FERTILE,
    IS_TOUCHED,
) = range(13)
"""Columns of a place: heads moved, males sold, females bought; females missing to the band's low end and
beyond its high end; in band; males few enough for females to come; the kind comes in; females worth their eggs;
whether any heads are moved."""

WIDTH = 13
HANDLING_EGGS = 0.001
"""Eggs set against each head handled, so that of plans with as many eggs the one with less work is taken."""

_CONTINUOUS = (SHORT, OVER, FERTILE)
_SLACK = 1e-9
_KEPT = 1e-6
"""What an earlier stage reached may be missed by this much: the solver's own tolerance."""

_WAYS = tuple((loosened, simplifies) for loosened in range(6) for simplifies in (True, False))
_HAIR = 1e-7
"""HiGHS now and then takes a solution on the very edge of its tolerance, then finds it beyond and gives an error. It is
asked again without its own simplifying, and with the rows loosened by up to a hair, otherwise each time: less than it
allows itself in a row, and what it finds is held to the rows as they were written."""
_SETTLED, _OUT_OF_TIME = 0, 1
"""Of scipy's statuses. The others are errors here: to move nothing more is always a plan."""


@dataclass(frozen=True)
class Place:
    """
    One pond and kind as the program sees it.

    Parameters
    ----------
    pond, kind : str
    females, males : float
        Heads standing; where they are not whole, as those of a standing, whole heads are moved all the same.
    others : int
        Unsexed and juveniles, which are not moved.
    low, high : float
        The band, females per male.
    space : float
        Share of the pond's head limit that one head takes.
    gives, takes : bool
        Whether heads may leave, and come in.
    may_empty : bool
        Whether it may be left without heads: only where the kind does not belong.
    staying_eggs, moved_eggs : float
        Eggs of a female that stays, and of one that comes in.
    full_to : float
        Females per male up to which all eggs are fertile; not below the band's high end.
    """

    pond: str
    kind: str
    females: float
    males: float
    others: int
    low: float
    high: float
    space: float
    gives: bool
    takes: bool
    may_empty: bool
    staying_eggs: float
    moved_eggs: float
    full_to: float

    @property
    def short(self) -> float:
        """Females missing to the low end of the band, 0 where none."""
        return tidy(self.low * self.males - self.females)

    @property
    def over(self) -> float:
        """Females beyond the high end of the band, 0 where none."""
        return tidy(self.females - self.high * self.males)

    @property
    def is_in_band(self) -> bool:
        """Whether it needs no remedy; a place without sexed heads needs none."""
        return self.short == 0 and self.over == 0


def tidy(heads: float) -> float:
    """Return heads above 0, a speck of rounding taken for none."""
    return heads if heads > 1e-7 else 0.0


@dataclass(frozen=True)
class Rules:
    """What a plan may do: sell males, bring in so many females; what holds it back; eggs a handled head must bring.

    A pond in band that has as many males as ``fewest_males`` keeps so many, and one of males alone so many of
    them. Where ``keeps_few``, so does every pond, whatever its ratio, and one that has fewer keeps those it has: only
    what its own ratio asks leaves it.
    """

    may_sell: bool
    bought: int
    welfare_ratio: float
    room: dict[str, float]
    apart: frozenset[tuple[str, str]]
    eggs_a_head: float = HANDLING_EGGS
    fewest_males: int = 0
    keeps_few: bool = False


@dataclass(frozen=True)
class Answer:
    """One solve: whole heads by place and column (None where nothing was found), and the proven bound.

    ``has_failed`` where the solver gave an error in every way it was asked, which is not a matter of time.
    """

    heads: Floats | None
    value: float
    bound: float
    is_proven: bool
    has_failed: bool = False


@dataclass
class _Rows:
    """Rows of the program as they are written down: low <= sum of coefficient x variable <= high."""

    count: int
    at: list[tuple[int, int, float]] = field(default_factory=list)
    lows: list[float] = field(default_factory=list)
    highs: list[float] = field(default_factory=list)

    def add(self, terms: Sequence[tuple[int, float]], low: float, high: float) -> None:
        self.at += [(len(self.lows), variable, factor) for variable, factor in terms]
        self.lows.append(low)
        self.highs.append(high)

    def constraint(self) -> optimize.LinearConstraint:
        rows, columns, factors = zip(*self.at, strict=True)
        matrix = sparse.csr_array((factors, (rows, columns)), shape=(len(self.lows), self.count))
        return optimize.LinearConstraint(matrix, self.lows, self.highs)


def column(place: int, which: int) -> int:
    """Return the number of a place's variable."""
    return place * WIDTH + which


class Program:
    """
    The farm's moves as integer variables.

    Kept in every plan: heads by kind and sex; a pond in band stays in band; a pond out of band is not made
    worse, nor stripped of a sex; the head limit (a pond over it takes no more than it gives); no females into
    a pond below the welfare ratio until so many males have left that those standing there reach it (where none
    stand, those that come), and no males into it; a pond in band keeps the fewest males asked for; females into a
    pond above its band only where it ends in band; kinds kept apart.
    """

    def __init__(self, places: Sequence[Place], rules: Rules) -> None:
        self.places = places
        self.rules = rules
        self.low = np.zeros(len(places) * WIDTH)
        self.high = np.zeros(len(places) * WIDTH)
        self.rows = _Rows(len(places) * WIDTH)
        for number, place in enumerate(places):
            self._bound(number, place)
            self._hold(number, place)
        self._conserve()
        self._fit()
        self._part()

    def _bound(self, number: int, place: Place) -> None:
        kin = [one for one in self.places if one.kind == place.kind and one is not place and one.gives]
        high = np.zeros(WIDTH)
        if place.gives:
            high[FEMALES_OUT], high[MALES_OUT] = math.floor(place.females), math.floor(place.males)
            high[SOLD] = math.floor(place.males) if self.rules.may_sell else 0
        if place.takes:
            high[FEMALES_IN] = sum(math.floor(one.females) for one in kin)
            high[BOUGHT] = self.rules.bought
            high[MALES_IN] = 0 if self._is_harsh(place) else sum(math.floor(one.males) for one in kin)
        high[SHORT], high[OVER] = place.short, place.over
        high[IS_MET] = high[IS_CALM] = high[IS_USED] = high[IS_TOUCHED] = 1
        high[FERTILE] = np.inf
        self.high[column(number, 0) : column(number + 1, 0)] = high

    def _is_harsh(self, place: Place) -> bool:
        return place.males > 0 and place.females < self.rules.welfare_ratio * place.males * (1 - _SLACK)

    def _males_kept(self, place: Place) -> float:
        """Return the males that a place keeps, so that it has sires enough."""
        fewest = self.rules.fewest_males
        if place.may_empty:
            return 0.0
        if not place.females:
            # Males that came first wait for females: they are its sires, too many for nobody.
            return min(float(fewest), place.males)
        if not self.rules.keeps_few:
            return fewest if place.is_in_band and place.males >= fewest else 0.0
        kept = min(float(fewest), place.males)
        # One with too many males for its females may give males until those standing there are in band.
        return min(kept, float(math.floor(place.females / place.low + _SLACK))) if place.short else kept

    def _hold(self, number: int, place: Place) -> None:
        def terms(*factors: tuple[int, float]) -> list[tuple[int, float]]:
            return [(column(number, which), factor) for which, factor in factors]

        females = ((FEMALES_OUT, -1.0), (FEMALES_IN, 1.0), (BOUGHT, 1.0))
        males = ((MALES_OUT, -1.0), (MALES_IN, 1.0), (SOLD, -1.0))
        add, most_in = self.rows.add, float(self.high[column(number, FEMALES_IN)] + self.rules.bought)
        # low x males - females <= short; females - high x males <= over.
        for band, sign, gap in ((place.low, 1.0, SHORT), (place.high, -1.0, OVER)):
            factors = [(which, -sign * factor) for which, factor in females]
            factors += [(which, sign * band * factor) for which, factor in males]
            add(terms(*factors, (gap, -1.0)), -np.inf, tidy_gap(sign * (place.females - band * place.males)))
        add(terms((MALES_OUT, 1.0), (SOLD, 1.0)), 0, place.males)
        for standing, changes in ((place.females, females), (place.males, males)):
            least = 0.0 if place.may_empty else min(1.0, standing)
            if changes is males:
                least = max(least, self._males_kept(place))
            add(terms(*changes), least - standing, np.inf)
        if not place.is_in_band:
            add(terms((SHORT, 1.0), (IS_MET, place.short)), -np.inf, place.short)
            add(terms((OVER, 1.0), (IS_MET, place.over)), -np.inf, place.over)
            if not place.may_empty:
                add(terms(*males, (IS_MET, -1.0)), -place.males, np.inf)
        if place.over > 0:
            add(terms((FEMALES_IN, 1.0), (BOUGHT, 1.0), (IS_MET, -most_in)), -np.inf, 0)
            add(
                terms((FERTILE, 1.0), *((which, -place.full_to * factor) for which, factor in males)),
                -np.inf,
                place.full_to * place.males,
            )
        if self._is_harsh(place):
            ratio = self.rules.welfare_ratio
            worst = ratio * place.males - place.females
            add(terms((FEMALES_IN, 1.0), (BOUGHT, 1.0), (IS_CALM, -most_in)), -np.inf, 0)
            calm = [(MALES_OUT, -ratio), (SOLD, -ratio), (IS_CALM, worst)]
            # Males alone press nobody: females come, but so many at once that they stand at the ratio.
            calm += [(which, -factor) for which, factor in females] if not place.females else []
            add(terms(*calm), -np.inf, 0)
        # A moved female counts as the share of a settled one that her eggs are.
        worth = place.moved_eggs / place.staying_eggs if place.staying_eggs else 1.0
        add(
            terms((FERTILE, 1.0), (FEMALES_OUT, 1.0), (FEMALES_IN, -worth), (BOUGHT, -worth)),
            -np.inf,
            place.females,
        )

    def _conserve(self) -> None:
        for kind in dict.fromkeys(place.kind for place in self.places):
            mine = [number for number, place in enumerate(self.places) if place.kind == kind]
            for goes, comes in ((FEMALES_OUT, FEMALES_IN), (MALES_OUT, MALES_IN)):
                self.rows.add(
                    [(column(number, comes), 1.0) for number in mine]
                    + [(column(number, goes), -1.0) for number in mine],
                    0,
                    0,
                )
        everywhere = [(column(number, BOUGHT), 1.0) for number in range(len(self.places))]
        self.rows.add(everywhere, 0, self.rules.bought)

    def _fit(self) -> None:
        for pond, room in self.rules.room.items():
            terms = [
                (column(number, which), factor * place.space)
                for number, place in enumerate(self.places)
                if place.pond == pond
                for which, factor in (
                    (FEMALES_IN, 1), (MALES_IN, 1), (BOUGHT, 1), (FEMALES_OUT, -1), (MALES_OUT, -1), (SOLD, -1),
                )
            ]  # fmt: skip
            if terms and math.isfinite(room):
                self.rows.add(terms, -np.inf, max(0.0, room) + _SLACK)

    def _part(self) -> None:
        """Keep kinds apart that never share a pond: neither joins the other, and of two newcomers one comes."""
        for number, place in enumerate(self.places):
            for other_number, other in enumerate(self.places):
                if other.pond != place.pond or (place.kind, other.kind) not in self.rules.apart:
                    continue
                arrivals = [column(number, which) for which in (FEMALES_IN, MALES_IN, BOUGHT)]
                if other.females + other.males + other.others:
                    self.high[arrivals] = 0
                    continue
                used = column(number, IS_USED)
                most = float(self.high[arrivals].sum())
                self.rows.add([*((arrival, 1.0) for arrival in arrivals), (used, -most)], -np.inf, 0)
                self.rows.add([(used, 1.0), (column(other_number, IS_USED), 1.0)], -np.inf, 1)

    def settled_as(self, heads: Floats) -> "Program":
        """Return the same program with every yes or no as in these heads, so that only heads are sought."""
        settled = copy(self)
        settled.low, settled.high = self.low.copy(), self.high.copy()
        for number in range(len(self.places)):
            for which in (IS_MET, IS_CALM, IS_USED):
                at = column(number, which)
                settled.low[at] = settled.high[at] = heads[number, which]
        return settled

    def require(self, factors: Floats, low: float, high: float) -> None:
        """Add a row over all variables, such as what an earlier stage reached."""
        self.rows.add(
            [(int(at), float(factors[at])) for at in np.flatnonzero(factors)], low - _KEPT, high + _KEPT
        )

    def count_touched(self, most: float) -> Floats:
        """Tie heads moved, ``most`` at once, to the ponds they are moved at; return the factors that count those."""
        counted = np.zeros((len(self.places), WIDTH))
        counted[:, IS_TOUCHED] = 1.0
        for number in range(len(self.places)):
            moved = (FEMALES_OUT, FEMALES_IN, MALES_OUT, MALES_IN, SOLD, BOUGHT)
            reach = min(most, float(self.high[[column(number, which) for which in moved]].sum()))
            terms = [(column(number, which), 1.0) for which in moved]
            self.rows.add([*terms, (column(number, IS_TOUCHED), -reach)], -np.inf, 0)
        return counted.ravel()

    def every(self, **weights: float) -> Floats:
        """Return factors that weigh the same columns of every place, by column name in lower case."""
        factors = np.zeros((len(self.places), WIDTH))
        for name, weight in weights.items():
            factors[:, globals()[name.upper()]] = weight
        return factors.ravel()

    def solve(self, costs: Floats, seconds: float) -> Answer:
        """Minimize the costs within so many seconds; where the solver gives an error it is asked in other ways."""
        begun = time.monotonic()
        for loosened, simplifies in _WAYS:
            left = max(0.05, seconds - (time.monotonic() - begun))
            answer = self._asked(costs, left, loosened, simplifies=simplifies)
            if not answer.has_failed or time.monotonic() - begun >= seconds:
                break
        return answer

    def _asked(self, costs: Floats, seconds: float, loosened: int, *, simplifies: bool) -> Answer:
        whole = np.ones((len(self.places), WIDTH))
        whole[:, _CONTINUOUS] = 0
        rows = self.rows.constraint()
        hairs = np.random.default_rng(loosened).random((2, len(rows.lb))) * _HAIR * bool(loosened)
        with without_noise():
            found = optimize.milp(
                costs,
                integrality=whole.ravel(),
                bounds=optimize.Bounds(self.low, self.high),
                constraints=[optimize.LinearConstraint(rows.A, rows.lb - hairs[0], rows.ub + hairs[1])],
                options={"time_limit": seconds, "mip_rel_gap": 0.0, "presolve": simplifies},
            )
        if found.status not in (_SETTLED, _OUT_OF_TIME):
            return Answer(None, math.inf, -math.inf, is_proven=False, has_failed=True)
        bound = -math.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)
        if found.x is None:
            return Answer(None, math.inf, bound, is_proven=False)
        heads = np.where(whole > 0, np.round(found.x.reshape(whole.shape)), found.x.reshape(whole.shape))
        if not _keeps(rows, heads.ravel()):
            return Answer(None, math.inf, -math.inf, is_proven=False, has_failed=True)
        return Answer(heads, float(found.fun), bound, is_proven=found.status == _SETTLED)


def _keeps(rows: optimize.LinearConstraint, heads: Floats) -> bool:
    """Whether whole heads keep the rows, but for what the solver allows itself in a row and in a whole number."""
    found = rows.A @ heads
    allowed = 2 * _KEPT * (1 + abs(rows.A).sum(axis=1))
    return bool(np.all((rows.lb - allowed <= found) & (found <= rows.ub + allowed)))


def tidy_gap(heads: float) -> float:
    """Return a signed number of heads, a speck of rounding taken for none."""
    return 0.0 if abs(heads) < 1e-7 else heads
