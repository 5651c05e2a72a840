"""The bridge to the advisor: what is known of a pond and kind, to arrays, to advice in plain values.

No statistics here: the advisor computes, this names what goes in and puts words beside what comes out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ponds.figures import Range, show_figure
from ponds.seasons import Season
from ponds.svg_marks import figure_text
from stock.advisor.at_once import least_at_once
from stock.advisor.mix import SETTLING
from stock.advisor.placing import WELFARE_RATIO
from stock.advisor.ratio import Remedy
from stock.advisor.verdict import NO_MALES, Verdict, verdict
from stock.advisor.yields import season_yield
from stock.held_heads import heads_held
from stock.move_words import class_words
from stock.pond_kind import PondKind

SEED = 20_250_901
"""One seed for every forecast: the same heads and figures give the same forecast on every page and day."""

FIGURE_WORDS = {
    "LAYING_SHARE": "Share of females laying",
    "NESTS": "Nests a laying female",
    "EGGS": "Eggs a nest",
    "HATCH_SHARE": "Share of eggs that hatch",
}
NEEDED = ("LAYING_SHARE", "NESTS", "EGGS")
SETTLING_WORDS = (
    f"Females count {SETTLING[0]:.0%} in their first season in the pond, {SETTLING[1]:.0%} in the second and "
    "whole from the third (an assumption: bought breeders are said to need one to three years; Southern "
    "Regional Aquaculture Center, publication 439)."
)

Decided = Mapping[tuple[str, str], int]
"""A task's verb and class -> heads that tasks of a pond and kind still add or take out, or did since a day."""
NOTHING: Decided = MappingProxyType({})
WAYS = (("ADD", "FEMALE"), ("TAKE_OUT", "MALE"), ("TAKE_OUT", "FEMALE"), ("ADD", "MALE"))


@dataclass(frozen=True)
class Way:
    """
    One way to mend a ratio alone.

    Parameters
    ----------
    verb, of_class : str
        A task's.
    heads : int
        What is still to be decided: less than `words` says where open tasks do a part of it, 0 where they do it all.
    words : str
        What mends the pond as it stands, as in "add 218 females".
    limit_words : str
        What limits it.
    decided_words : str
        What open tasks do of it already, and what was done of tasks since; "" where they do nothing.
    """

    verb: str
    of_class: str
    heads: int
    words: str
    limit_words: str = ""
    decided_words: str = ""

    @property
    def task_words(self) -> str:
        """What a task made of it says, as in "add 100 females"."""
        return _heads_words(self.verb, self.of_class, self.heads)


@dataclass(frozen=True)
class Aim:
    """What to bring a pond to, and the ways there, each by itself; none where it stands there already."""

    words: str
    is_reached: bool
    ways: tuple[Way, ...]


def aims_of(one: PondKind, decided: Decided = NOTHING, done: Decided = NOTHING) -> tuple[Aim, ...]:
    """
    Return the remedies of a pond and kind, to the target and into the band.

    None where nobody breeds there: an empty pond, juveniles, or heads that nobody has sexed. `decided` are the heads
    that open tasks still add or take out (`stock.tasks.decided_heads`), and `done` those that tasks added or took out
    since the day that is looked back on (`done_heads`): only the rest is offered.
    """
    if not one.heads.females and not one.heads.males:
        return ()
    low, high = one.band
    after = _once_done(one, decided, done)
    return (
        _aim(
            f"To the target, {one.target:g} to 1",
            one.verdict.to_target,
            after.to_target if after else None,
            one,
            decided,
            done,
        ),
        _aim(
            f"Into the band, {low:g} to {high:g} to 1",
            one.verdict.to_band,
            after.to_band if after else None,
            one,
            decided,
            done,
        ),
    )


def _once_done(one: PondKind, decided: Decided, done: Decided) -> Verdict | None:
    """Judge the pond as it will stand once its open tasks are done too; None where tasks change no ratio."""
    females, males = (
        sum(
            heads.get(("ADD", of_class), 0) - heads.get(("TAKE_OUT", of_class), 0)
            for heads in (decided, done)
        )
        for of_class in ("FEMALE", "MALE")
    )
    if not females and not males:
        return None
    females_now, males_now = one.means_now
    return verdict(
        max(0, females_now + females),
        0,
        max(0, males_now + males),
        0,
        target=one.target,
        band=one.band,
        with_limits=False,
    )


def males_first(one: PondKind, decided: Decided = NOTHING, done: Decided = NOTHING) -> str:
    """
    Say how many males leave before any female comes, where too many press the females; else "".

    Where males stand alone it says how many females must come at once.
    """
    females, males = heads_held(one)
    if least := least_at_once(females, males, decided=decided.get(("ADD", "FEMALE"), 0)):
        return (
            f"No females stand here: {figure_text(least)} at least come at once ({WELFARE_RATIO:g} : 1), or the males "
            "press the few."
        )
    leaving = math.ceil(males - females / WELFARE_RATIO - 1e-9)
    if not females or leaving <= 0:
        return ""
    return (
        f"Below {WELFARE_RATIO:g} : 1 the males injure the females: {leaving} "
        f"{'male leaves' if leaving == 1 else 'males leave'} first, before any female comes."
        f"{_males_decided(leaving, decided.get(('TAKE_OUT', 'MALE'), 0), done.get(('TAKE_OUT', 'MALE'), 0))}"
    )


def _males_decided(leaving: int, decided: int, done: int) -> str:
    if not decided and not done:
        return ""
    words = decided_words(leaving, decided, max(0, leaving - decided - done), done=done)
    return f" {words[0].upper()}{words[1:]}."


def decided_words(
    needed: int, decided: int, rest: int, *, done: int = 0, once: str = "once the open tasks are done"
) -> str:
    """
    Say what open tasks do already of the heads needed, what was done since, and how many are still to be decided.

    `once` is said where other heads than these change what is needed.

    >>> decided_words(218, 118, 100), decided_words(42, 118, 0)
    ('118 are decided already: 100 more', 'decided already (open task)')
    >>> decided_words(73, 0, 33), decided_words(73, 0, 0)
    ('once the open tasks are done, 33', 'not needed once the open tasks are done')
    >>> decided_words(218, 58, 100, done=60), decided_words(60, 0, 0, done=60)
    ('60 done since and 58 decided already: 100 more', 'done since')
    """
    if not decided and not done:
        return f"{once}, {figure_text(rest)}" if rest else f"not needed {once}"
    if not rest:
        if not done:
            return "decided already (open task)"
        return f"{figure_text(done)} done since, the rest decided (open task)" if decided else "done since"
    if not done:
        return f"{figure_text(decided)} {'is' if decided == 1 else 'are'} decided already: {figure_text(rest)} more"
    said = f"{figure_text(done)} done since"
    if decided:
        said += f" and {figure_text(decided)} decided already"
    return f"{said}: {figure_text(rest)} more"


def _limit_words(verb: str, heads: int, one: PondKind, decided: Decided, done: Decided) -> str:
    """Say how many of the heads to add fit under the pond's head limit; "" where all do."""
    if verb != "ADD" or one.head_room is None:
        return ""
    coming = sum(more for heads in (decided, done) for (way, _), more in heads.items() if way == "ADD")
    fit = max(0, math.floor(one.head_room / one.space_a_head + 1e-9) - coming)
    if fit >= heads:
        return ""
    fits = "none fits" if not fit else f"only {figure_text(fit)} {'fits' if fit == 1 else 'fit'}"
    return f"{fits} under the limit of {figure_text(one.head_limit)}"


def _aim(
    words: str, remedy: Remedy, after: Remedy | None, one: PondKind, decided: Decided, done: Decided
) -> Aim:
    found = _four(remedy)
    rests = dict(zip(WAYS, _four(after or remedy), strict=True))
    ways = tuple(
        _way(*way, heads, rests[way] or 0, one, decided, done)
        for way, heads in zip(WAYS, found, strict=True)
        if heads
    )
    return Aim(words, is_reached=not ways and any(heads == 0 for heads in found), ways=ways)


def _four(remedy: Remedy) -> tuple[int | None, ...]:
    """Return the heads of the four ways, in the order of `WAYS`."""
    return remedy.females_to_add, remedy.males_to_remove, remedy.females_to_remove, remedy.males_to_add


def _way(
    verb: str, of_class: str, heads: int, rest: int, one: PondKind, decided: Decided, done: Decided
) -> Way:
    rest, way = min(heads, rest), (verb, of_class)
    words = decided_words(
        heads, decided.get(way, 0), rest, done=done.get(way, 0), once=_once_words(decided, done)
    )
    return Way(
        verb,
        of_class,
        rest,
        _heads_words(verb, of_class, heads),
        _limit_words(verb, rest, one, decided, done),
        words if rest < heads else "",
    )


def _once_words(decided: Decided, done: Decided) -> str:
    said = ["with what was done since"] if done else []
    said += ["once the open tasks are done"] if decided or not done else []
    return " and ".join(said)


def _heads_words(verb: str, of_class: str, heads: int) -> str:
    return f"{'add' if verb == 'ADD' else 'take out'} {heads} {class_words(of_class, heads)}"


@dataclass(frozen=True)
class FigureRow:
    """One figure of a forecast as it is read: words, low, expected, high and where it comes from."""

    words: str
    low: str
    expected: str
    high: str
    source: str


@dataclass(frozen=True)
class YieldRow:
    """Nests, eggs or hatched eggs of a season: 5 % point, mean and 95 % point of the simulation."""

    words: str
    low: float
    expected: float
    high: float


@dataclass(frozen=True)
class SeasonForecast:
    """
    What a pond and kind may give in a season.

    Parameters
    ----------
    season : Season
        The coming or the running one.
    yields : tuple of YieldRow
        Nests, eggs and, where the kind has a hatch figure, hatched eggs.
    figures : tuple of FigureRow
        What went in, each with its source.
    arithmetic : str
        The product of the expected figures, for checking by hand.
    cautions : tuple of str
        What the forecast does not know.
    """

    season: Season
    yields: tuple[YieldRow, ...]
    figures: tuple[FigureRow, ...]
    arithmetic: str
    cautions: tuple[str, ...]


def season_forecast(one: PondKind) -> SeasonForecast | None:
    """
    Simulate the nests and eggs of the coming or running season, juveniles left out.

    None where no females stand or a figure of the kind is missing (`missing_figures` names it).
    """
    if not one.heads.females or missing_figures(one):
        return None
    laying, nests, eggs = (one.figures[name] for name in NEEDED)
    hatch = one.figures.get("HATCH_SHARE")
    found = season_yield(
        [one.settled_females],
        laying=_three(laying),
        nests=_three(nests),
        eggs=_three(eggs),
        hatch=_three(hatch) if hatch else None,
        rng=SEED,
    )
    spreads = [("Nests", found.nests), ("Eggs", found.eggs)]
    if found.hatched is not None:
        spreads.append(("Hatched eggs", found.hatched))
    names = [*NEEDED, *(["HATCH_SHARE"] if hatch else [])]
    product = " × ".join(_shown(name, one.figures[name].expected) for name in NEEDED)
    return SeasonForecast(
        season=one.season,
        yields=tuple(
            YieldRow(words, float(spread.low[0]), float(spread.expected[0]), float(spread.high[0]))
            for words, spread in spreads
        ),
        figures=tuple(_figure_row(name, one.figures[name], one.sources[name]) for name in names),
        arithmetic=(
            f"{one.settled_females:.1f} settled females × {product} = {float(found.eggs.arithmetic[0]):.0f} eggs."
        ),
        cautions=_cautions(one),
    )


def missing_figures(one: PondKind) -> list[str]:
    """Return the words of the figures a forecast needs and the kind lacks."""
    return [FIGURE_WORDS[name] for name in NEEDED if name not in one.figures]


def _cautions(one: PondKind) -> tuple[str, ...]:
    said = []
    if one.word == NO_MALES:
        said.append(
            f"No males by {one.whose}: eggs are laid from stored sperm for some seasons, ever more of them clear."
        )
    if one.heads.unsexed:
        said.append(
            f"{one.heads.unsexed} unsexed heads are left out; those that are female will add to this."
        )
    if one.last_count is None:
        said.append("Never counted: the forecast leans on the book alone.")
    return tuple(said)


def _figure_row(name: str, figure: Range, source: str) -> FigureRow:
    low, expected, high = (_shown(name, value) for value in _three(figure))
    return FigureRow(FIGURE_WORDS[name], low, expected, high, source)


def _shown(name: str, value: float) -> str:
    return show_figure(name, value, "F")


def _three(figure: Range) -> tuple[float, float, float]:
    return figure.low, figure.expected, figure.high
