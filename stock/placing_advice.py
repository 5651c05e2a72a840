"""Bridge from what is known of the ponds to where new females go: rows to arrays to the advisor to one answer.

Nothing is estimated here and nothing is read or written: the view hands in what `pond_facts.pond_kinds` gave.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from ponds.figures import Range
from ponds.models import KindFigure, PondState
from stock.advisor.allocation import Allocation, allocate
from stock.advisor.allocation_bound import most_possible
from stock.advisor.at_once import held_together, least_at_once, shared_out
from stock.advisor.curve_doubt import ends_of_full_fertility, gains_in_doubt
from stock.advisor.eggs_a_female import EggsAFemale
from stock.advisor.eggs_a_female import eggs_a_female as eggs_of_ponds
from stock.advisor.joint_draws import joint_draws
from stock.advisor.placed import SeasonLine, season_lines, share_ties, total_range
from stock.advisor.placing import (
    SETTLE,
    Comparison,
    Obstacle,
    compare_placings,
    how_often,
    pond_cap,
    reason,
    why_not,
)
from stock.advisor.season_learning import YieldsLearnt
from stock.held_heads import heads_held
from stock.placing_answer import (
    DRAWS,
    SEED,
    Advice,
    CannotAdvise,
    Curves,
    PondAdvice,
    PondYield,
    Question,
    Rival,
    Yields,
)
from stock.pond_kind import PondKind
from stock.templatetags.stock_format import ratio

MOST_DRAWS_KEPT, FEWEST_DRAWS_KEPT, FIGURES_KEPT = 200, 20, 3_000_000
"""Single draws kept for limits and for how often; fewer for tables so large that they would fill memory."""

CONFIDENCE = 0.9
NO_LIMIT = 1_000_000
WORDS_OF = dict(KindFigure.Name.choices)
NEEDED = {
    "laying": KindFigure.Name.LAYING_SHARE,
    "nests": KindFigure.Name.NESTS,
    "eggs": KindFigure.Name.EGGS,
    "hatch": KindFigure.Name.HATCH_SHARE,
    "survival": KindFigure.Name.SURVIVAL,
}


def advise(
    question: Question,
    facts: Sequence[PondKind],
    *,
    kept_apart: Mapping[int, str] | None = None,
    decided: Mapping[str, int] | None = None,
    yields: Yields | None = None,
) -> Advice:
    """
    Say where new females go.

    Parameters
    ----------
    question : Question
    facts : sequence of PondKind
        Every pond and kind of the day.
    kept_apart : mapping of int to str, optional
        Kinds never kept with this one: id to name.
    decided : mapping of str to int, optional
        Females of the kind that open tasks already add: pond's code to heads left to add.
    yields : Yields, optional
        What the ponds were learnt to give; without it, or for a pond it does not know, the kind's figures stand.

    Raises
    ------
    CannotAdvise
        If no pond is kept for the kind, or the kind lacks a figure.
    """
    mine = [one for one in facts if one.kind_id == question.kind_id]
    if not mine:
        raise CannotAdvise("No pond is kept for this kind and none of it stands in any.")
    _figures(mine[0])
    neighbors: dict[int, list[PondKind]] = defaultdict(list)
    for one in facts:
        neighbors[one.pond_id].append(one)
    coming = decided or {}
    ponds = [
        _pond(one, question, neighbors[one.pond_id], kept_apart or {}, coming.get(one.pond_code, 0))
        for one in mine
    ]
    codes = dict.fromkeys(one.pond_code for one in facts)
    kept_here = {pond.code for pond in ponds}
    return _answer(question, ponds, tuple(code for code in codes if code not in kept_here), yields)


def _pond(
    facts: PondKind,
    question: Question,
    neighbors: Sequence[PondKind],
    kept_apart: Mapping[int, str],
    decided: int,
) -> PondAdvice:
    room = head_room(facts) - decided
    standing, males = heads_held(facts)
    females = standing + decided
    apart = sorted(
        {kept_apart[one.kind_id] for one in neighbors if one.kind_id in kept_apart and one.heads.total}
    )
    if facts.pond_code == question.source:
        found: list[Obstacle] = [Obstacle("source", "The females to be placed stand here.")]
    elif not facts.is_allowed:
        found = [Obstacle("other-kind", f"Not kept for {facts.kind_name}, though some stand here.")]
    elif apart:
        found = [
            Obstacle("kept-apart", f"{' and '.join(apart)} stand here, and the two are not kept together.")
        ]
    else:
        found = _told(
            facts,
            why_not(
                females=females,
                males=males,
                head_room=room,
                band_high=facts.band[1],
                in_quarantine=facts.use.in_quarantine,
                is_losing=facts.losing is not None and facts.losing.is_losing,
                standing=standing,
                most=question.heads,
            ),
        )
        if facts.use.code == PondState.State.RESTING:
            found.insert(0, Obstacle("resting", "Resting: nothing comes in until it is put back in use."))
    cap = 0 if found else pond_cap(females, males, room, facts.band[1])
    if found and decided:
        found[0] = replace(found[0], sentence=f"{found[0].sentence} {_decided_words(facts, decided)}")
    least = 0 if found else least_at_once(standing, males, decided=decided)
    return PondAdvice(facts, cap, tuple(found), decided=decided, at_least=least)


def _decided_words(facts: PondKind, decided: int) -> str:
    return f"{decided} {'is' if decided == 1 else 'are'} already decided for {facts.pond_code} (open task)."


def head_room(facts: PondKind) -> int:
    """Return how many more heads of the kind fit under the limit; `NO_LIMIT` where there is none."""
    if facts.head_room is None:
        return NO_LIMIT
    return math.floor(facts.head_room / facts.space_a_head + 1e-9)


def _told(facts: PondKind, obstacles: Sequence[Obstacle]) -> list[Obstacle]:
    """Put the pond's own days and deaths into the sentences."""
    told = []
    for one in obstacles:
        if one.code == "quarantine" and facts.use.ends_on:
            ends = facts.use.ends_on
            one = replace(
                one, sentence=f"In quarantine, due to end on {ends.day} {ends:%b %Y}: nothing comes in."
            )
        if one.code == "losing-heads" and facts.losing:
            one = replace(one, sentence=f"{facts.losing.sentence} Find the cause first; it is not topped up.")
        if one.code == "no-males" and facts.is_empty:
            one = replace(one, sentence="Empty: females without males would lay clear eggs.")
        told.append(one)
    return told


@dataclass(frozen=True)
class _Solved:
    gains: tuple[tuple[float, ...], ...]
    allocation: Allocation
    comparison: Comparison
    limits: tuple[float, float]
    holds: float | None
    kept: int
    bound: float
    a_female: tuple[float, ...] | None


@dataclass(frozen=True)
class _Stands:
    """Females and males of a pond as they go into the draws; the book has no errors. `settled` is a share."""

    females: int
    males: int
    settled: float
    female_se: float = 0.0
    male_se: float = 0.0
    covariance: float = 0.0


def _standing_of(pond: PondAdvice) -> _Stands:
    facts, stands = pond.facts, pond.facts.standing
    females = pond.females_before
    settled = min(1.0, facts.settled_now / females) if females else 1.0
    if stands is None:
        return _Stands(females, facts.males_now, settled)
    return _Stands(females, facts.males_now, settled, stands.female_se, stands.male_se, stands.covariance)


@dataclass(frozen=True)
class _Rows:
    """The learnt rows of the ponds asked about; equal where the mark and the rows are."""

    mark: str
    rows: tuple[int, ...]
    learnt: YieldsLearnt = field(compare=False, repr=False)


def _rows_of(ponds: Sequence[PondAdvice], yields: Yields | None) -> _Rows | None:
    if yields is None:
        return None
    rows = [yields.rows.get((pond.facts.pond_id, pond.facts.kind_id)) for pond in ponds]
    known = tuple(row for row in rows if row is not None)
    # Ponds with learnt figures and ponds without would not be weighed alike: all or none.
    return _Rows(yields.mark, known, yields.learnt) if len(known) == len(rows) else None


@lru_cache(maxsize=32)
def _solve(
    standing: tuple[_Stands, ...],
    caps: tuple[int, ...],
    leasts: tuple[int, ...],
    figures: tuple[tuple[float, float, float], ...],
    heads: int,
    seasons: int,
    curves: Curves,
    rows: _Rows | None,
) -> _Solved:
    """Ask the advisor; the same question gives the same answer, so the last few are remembered."""
    females, males = [pond.females for pond in standing], [pond.males for pond in standing]
    drawn = joint_draws(
        females,
        males,
        [pond.female_se for pond in standing],
        [pond.male_se for pond in standing],
        [pond.covariance for pond in standing],
        draws=DRAWS,
        rng=SEED,
    )
    laying, nests, eggs, hatch, survival = figures
    # One more than there are heads, so that the next one's gain is known in the pond that gets them all.
    levels = min(heads + 1, max(caps))
    kept = max(FEWEST_DRAWS_KEPT, min(MOST_DRAWS_KEPT, FIGURES_KEPT // (len(caps) * levels)))
    soonest, latest = curves.limits
    learnt = None if rows is None else _drawn(rows, seasons)
    table = gains_in_doubt(
        drawn.females,
        drawn.males,
        laying=laying,
        nests=nests,
        eggs=eggs,
        hatch=hatch,
        learnt=learnt,
        survival=survival,
        settled=[
            pond.settled * mean for pond, mean in zip(standing, drawn.females.mean(axis=1), strict=True)
        ],
        max_heads=levels,
        seasons=seasons,
        settle=SETTLE,
        kinds=["the kind"] * len(caps),
        draws=DRAWS,
        keep=kept,
        full_to=ends_of_full_fertility(soonest, curves.full_to, latest),
        exponent=curves.exponent,
        rng=SEED,
    )
    table = replace(
        table,
        gains=held_together(table.gains, leasts),
        draw_gains=held_together(table.draw_gains, leasts),
    )
    kept = len(table.draw_gains)
    found = allocate(table.gains, heads, caps=caps, exactly=False)
    best = share_ties(found, table.gains, caps=caps, females=females, males=males, exactly=False)
    placed = sum(best.heads_per_pond)
    return _Solved(
        gains=tuple(tuple(row[:cap].tolist()) for row, cap in zip(table.gains, caps, strict=True)),
        allocation=best,
        comparison=compare_placings(table.gains, caps, placed, females=females, males=males, best=best),
        limits=total_range(table.draw_gains, best.heads_per_pond, confidence=CONFIDENCE),
        holds=how_often(table.draw_gains, best.heads_per_pond, caps, within=curves.within)
        if placed
        else None,
        kept=kept,
        bound=most_possible(table.gains, heads, caps=caps, exactly=False),
        a_female=None if learnt is None else tuple(learnt.mean.tolist()),
    )


def _drawn(rows: _Rows, seasons: int) -> EggsAFemale:
    """Draw what females give in the ponds asked about; all ponds of the farm are drawn together."""
    drawn = eggs_of_ponds(rows.learnt, seasons=seasons, draws=DRAWS, rng=SEED)
    at = list(rows.rows)
    return EggsAFemale(drawn.mean[at], drawn.draws[at])


def _answer(
    question: Question, ponds: Sequence[PondAdvice], not_kept: tuple[str, ...], yields: Yields | None
) -> Advice:
    able = [pond for pond in ponds if pond.is_open]
    closed = [pond for pond in ponds if not pond.is_open]
    kind = ponds[0].facts
    if not able:
        why = "No pond may get new females now; each says below what stands in its way."
        return Advice(
            question, kind, tuple(closed), not_kept, 0, question.heads, why, 0.0, 0.0, 0.0, (), None, (),
            "greedy", True,
        )  # fmt: skip
    rows = _rows_of(able, yields)
    solved = _solve(
        tuple(_standing_of(pond) for pond in able),
        tuple(pond.cap for pond in able),
        tuple(pond.at_least for pond in able),
        tuple((figure.low, figure.expected, figure.high) for figure in _figures(kind).values()),
        question.heads,
        question.seasons,
        question.curves,
        rows,
    )
    best = solved.allocation
    tied = set(best.ties)
    advised = [
        _advised(
            replace(
                pond,
                given=best.heads_per_pond[place],
                adds=sum(gains[: best.heads_per_pond[place]]),
                next_gain=_next_gain(best, gains, pond, place),
                last_cost=best.loss_per_pond[place],
                is_tied=place in tied,
                gains=gains,
                yields=_pond_yield(rows, solved, place),
            ),
            question,
        )
        for place, pond in enumerate(able)
        for gains in (shared_out(solved.gains[place], pond.at_least),)
    ]
    placed = sum(best.heads_per_pond)
    codes = [pond.code for pond in able]
    rivals = tuple(
        Rival(
            name,
            tuple((code, count) for code, count in zip(codes, rival.heads_per_pond, strict=True) if count),
            rival.total,
            rival.total / best.total if best.total else 1.0,
        )
        for name, rival in (
            ("Even split", solved.comparison.even_split),
            ("Worst ratio first", solved.comparison.worst_ratio_first),
        )
    )
    return Advice(
        question,
        kind,
        (*sorted(advised, key=lambda pond: -pond.given), *closed),
        not_kept,
        placed,
        best.unplaced,
        _left_over(best.unplaced, advised),
        best.total,
        *solved.limits,
        rivals if placed else (),
        solved.holds,
        tuple(pond.code for pond in advised if pond.is_tied),
        best.method,
        best.concave,
        draws_kept=solved.kept,
        draws_compared=solved.kept,
        bound=solved.bound,
    )


def _next_gain(best: Allocation, gains: Sequence[float], pond: PondAdvice, place: int) -> float | None:
    given = best.heads_per_pond[place]
    if given >= pond.cap:
        return None
    return gains[given] if given < pond.at_least else best.next_gains[place]


def _pond_yield(rows: _Rows | None, solved: _Solved, place: int) -> PondYield | None:
    if rows is None or solved.a_female is None:
        return None
    row, learnt = rows.rows[place], rows.learnt
    return PondYield(
        learnt.nests.ponds[row], learnt.eggs.ponds[row], learnt.hatch.ponds[row], solved.a_female[place]
    )


def _advised(pond: PondAdvice, question: Question) -> PondAdvice:
    males = pond.facts.males_now
    ratios = pond.facts.ratio_with(pond.decided), pond.facts.ratio_with(pond.decided + pond.given)
    if pond.given:
        why = f"{_standing(pond)} " + reason(
            females=pond.females_before, males=males, ratios=ratios, given=pond.given, cap=pond.cap, gains=pond.gains,
            seasons=question.seasons,
        )  # fmt: skip
        if pond.given >= pond.cap:
            why += f" {_what_binds(pond)}"
        if pond.at_least:
            why += f" {at_once_words(pond)}"
    elif pond.at_least and pond.gains and pond.gains[0] > 0:
        why = (
            f"{_standing(pond)} Gets none: {at_once_words(pond)} They would add {pond.gains[0]:.1f} hatched eggs each, "
            "and the heads do more elsewhere."
        )
    elif pond.gains and pond.gains[0] <= 0:
        why = f"{_standing(pond)} Gets none: a further female here would add no hatched eggs."
    elif pond.is_tied:
        why = (
            f"{_standing(pond)} Gets none: its first one would add {pond.gains[0]:.1f} hatched eggs, the "
            "same as in the ponds served, and their ratio is lower."
        )
    else:
        why = f"{_standing(pond)} " + reason(
            females=pond.females_before, males=males, ratios=ratios, given=0, cap=pond.cap, gains=pond.gains,
            seasons=question.seasons,
        )  # fmt: skip
    return replace(pond, why=why)


def at_once_words(pond: PondAdvice) -> str:
    """Say how many females must come at once where males stand alone."""
    males = pond.facts.males_now
    return (
        f"No females stand beside {males} {'male' if males == 1 else 'males'}: {pond.at_least} at least come at "
        "once, or the males press the few."
    )


def _standing(pond: PondAdvice) -> str:
    facts = pond.facts
    said = f"Ratio: {facts.word} by {facts.whose}, {ratio(facts.ratio_now)}."
    if pond.decided:
        said += f" {_decided_words(facts, pond.decided)}"
    if pond.yields:
        seasons = pond.yields.seasons
        learnt = f"{seasons} season{'s' if seasons != 1 else ''} of its own" if seasons else "the other ponds"
        said += f" A settled female gives {pond.yields.a_female:.1f} hatched eggs a season here, learnt from {learnt}."
    return said


def _what_binds(pond: PondAdvice) -> str:
    facts = pond.facts
    females, males = heads_held(facts)
    top = pond_cap(females + pond.decided, males, NO_LIMIT, facts.band[1])
    if facts.head_limit is None or head_room(facts) - pond.decided >= top:
        return f"The band ends at {facts.band[1]:g} : 1."
    return f"Head room ends there: the limit is {facts.head_limit}."


def _left_over(unplaced: int, ponds: Sequence[PondAdvice]) -> str:
    if not unplaced:
        return ""
    if all(pond.given >= pond.cap for pond in ponds):
        return "Every pond that may get some is full: its head room or the top of its band is reached."
    return "Another female in any pond with room would add no hatched eggs."


def _figures(facts: PondKind) -> dict[str, Range]:
    missing = [WORDS_OF[name].lower() for name in NEEDED.values() if name not in facts.figures]
    if missing:
        raise CannotAdvise(
            f"{facts.kind_name} has no figure for {', '.join(missing)}. Give it, with its source, under "
            "Settings, Kinds; then ask again."
        )
    return {word: facts.figures[name] for word, name in NEEDED.items()}


def written_out(advice: Advice, pond: PondAdvice) -> tuple[SeasonLine, ...]:
    """Return a pond's arithmetic season by season, by the kind's expected figures."""
    figures = _figures(advice.kind)
    return season_lines(
        pond.females_before,
        pond.facts.males_now,
        pond.given,
        a_female=pond.yields.middling if pond.yields else eggs_a_female(advice.kind),
        survival=figures["survival"].expected,
        settled=min(pond.facts.settled_now, pond.females_before),
        seasons=advice.question.seasons,
        settle=SETTLE,
        full_to=advice.question.curves.full_to,
        exponent=advice.question.curves.exponent,
    )


def eggs_a_female(facts: PondKind) -> float:
    """Return the hatched eggs of a settled female in a season, by the expected figures."""
    figures = _figures(facts)
    return math.prod(figures[word].expected for word in ("laying", "nests", "eggs", "hatch"))
