"""Where the figures behind a placing come from, and how sure they are, in words."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass

from ponds.figures import show_figure
from stock.advisor.placing import SETTLE, WELFARE_RATIO
from stock.advisor.season_learning import DECAY, LearntFigure
from stock.advisor.yields import FEMALE_SURVIVAL_SOURCE, FERTILITY_SOURCE
from stock.held_heads import heads_held
from stock.placing_advice import NEEDED, WORDS_OF
from stock.placing_answer import Advice, PondAdvice
from stock.pond_concerns import FEWEST_MALES
from stock.pond_kind import PondKind
from stock.templatetags.stock_format import age, day, number, percent, ratio, ratio_interval

MARK = "Assumption: "


@dataclass(frozen=True)
class FigureRow:
    """One breeding figure of the kind: what it is, low, expected, high as read, and its source."""

    name: str
    low: str
    expected: str
    high: str
    source: str


@dataclass(frozen=True)
class Assumption:
    """Something nobody has measured: what is assumed, with what figure, and why."""

    name: str
    figure: str
    source: str


def figure_rows(kind: PondKind) -> list[FigureRow]:
    """Return the kind's figures that the placing is computed from."""
    rows = []
    for name in NEEDED.values():
        found = kind.figures[name]
        low, expected, high = (
            show_figure(name, value, "C") for value in (found.low, found.expected, found.high)
        )
        rows.append(FigureRow(WORDS_OF[name], low, expected, high, kind.sources.get(name, "")))
    return rows


def assumptions(advice: Advice) -> list[Assumption]:
    """Return what is assumed, each with its figure."""
    curves = advice.question.curves
    soonest, latest = curves.limits
    doubt = f" (drawn between {soonest:g} and {latest:g})" if curves.in_doubt else ""
    return [
        Assumption(
            "Fertility",
            f"full up to {curves.full_to:g} : 1{doubt}, then (that / ratio) to the power {curves.exponent:g}",
            _capital(FERTILITY_SOURCE.removeprefix(MARK)),
        ),
        Assumption(
            "Settling",
            f"{', '.join(f'{share:g}' for share in SETTLE[:-1])} and then {SETTLE[-1]:g} of full laying",
            "Brood turtles typically require 1 to 3 years to become acclimated and reproduce reliably (Southern "
            "Regional Aquaculture Center, publication 439); the shares themselves are assumed.",
        ),
        Assumption(
            "Survival",
            f"males as females; lower only below {WELFARE_RATIO:g} : 1",
            f"{_capital(FEMALE_SURVIVAL_SOURCE.removeprefix(MARK))} No pond below {WELFARE_RATIO:g} : 1 gets any "
            "here; where males stand alone so many come at once, or none.",
        ),
        _yields_words(advice),
    ]


def _yields_words(advice: Advice) -> Assumption:
    """Say what each pond's females are taken to give: learnt pond by pond, or the kind's figures for all."""
    if any(pond.yields for pond in advice.open_ponds):
        return Assumption(
            "What a pond gives",
            f"a season counts {DECAY:g} of the one after it",
            "Learnt from the nest book and the hatch log, each pond drawn toward its kind and the kind toward the "
            "published ranges, by as much as is known of each. How fast old seasons fade is assumed.",
        )
    return Assumption(
        "One kind, one set of figures",
        "every pond of a kind draws the same",
        "No season of these ponds is in the nest book or the hatch log, so the kind's range stands for all of them.",
    )


@dataclass(frozen=True)
class YieldRow:
    """What a settled female of one pond gives in a season, as read, with how it was put together."""

    pond: str
    nests: str
    eggs: str
    hatch: str
    a_female: float
    seasons: int
    arithmetic: tuple[str, ...]


def yield_rows(advice: Advice) -> list[YieldRow]:
    """Return the learnt yields of the ponds that may get some; none where the kind's figures stand."""
    return [
        YieldRow(
            pond.code,
            _with_limits(pond.yields.nests, lambda value: number(value, 2)),
            _with_limits(pond.yields.eggs, lambda value: number(value, 1)),
            _with_limits(pond.yields.hatch, percent),
            pond.yields.a_female,
            pond.yields.seasons,
            tuple(
                f"{one.words}: {one.arithmetic}."
                for one in (pond.yields.nests, pond.yields.eggs, pond.yields.hatch)
            ),
        )
        for pond in advice.open_ponds
        if pond.yields
    ]


def _with_limits(figure: LearntFigure, words: Callable[[float], str]) -> str:
    return f"{words(figure.value)} ({words(figure.lower)} to {words(figure.upper)})"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def how_known(facts: PondKind, today: dt.date) -> str:
    """Say how sure the heads of a pond are: the standing has an interval, so has the last sexed haul, the book none."""
    said = []
    if facts.standing is not None:
        stands = facts.standing
        females, males = stands.female_limits, stands.male_limits
        said.append(
            f"{facts.basis[:1].upper()}{facts.basis[1:]}: {stands.females:.0f} females ({females[0]:.0f} to "
            f"{females[1]:.0f}), {stands.males:.0f} males ({males[0]:.0f} to {males[1]:.0f}), "
            f"{ratio_interval(*stands.ratio_limits)}; by the book {facts.heads.females} and {facts.heads.males}."
        )
    elif facts.last_count is not None:
        count = facts.last_count
        said.append(
            f"By the book; last count {count.how_known_words}, {day(count.as_of)} ({age(count.as_of, today)})."
        )
    else:
        said.append("By the book, never counted.")
    if facts.last_haul is None:
        said.append("No haul has been sexed.")
    elif facts.last_haul.is_complete:
        haul = facts.last_haul
        said.append(f"Drained and sexed {day(haul.day)}: {ratio(haul.ratio.value)}.")
    else:
        haul = facts.last_haul
        verdict = f", {facts.seine_verdict.verdict}" if facts.seine_verdict else ""
        said.append(
            f"The last sexed haul, {day(haul.day)}, says {ratio_interval(haul.ratio.lower, haul.ratio.upper)}{verdict}."
        )
    if facts.heads.unsexed:
        said.append(f"{facts.heads.unsexed} unsexed stand there too and are in no ratio.")
    return " ".join(said)


def males_to_leave(pond: PondAdvice) -> int:
    """Return how many males must leave before females may come; 0 where none must."""
    females, males = heads_held(pond.facts)
    if not any(one.code == "too-many-males" for one in pond.obstacles):
        return 0
    return math.ceil(males - females / WELFARE_RATIO - 1e-9)


def thin_males(pond: PondAdvice) -> str:
    """Say that a pond has few males, "" where it has enough."""
    males = pond.facts.males_now
    return (
        f"Only {males} males, fewer than {FEWEST_MALES}: watch for clear eggs."
        if pond.is_open and males < FEWEST_MALES
        else ""
    )
