"""Bridge from what is known of the ponds to the whole-farm plan: rows to plain values to the advisor to words.

Nothing is read or written here: the view hands in what `pond_facts.pond_kinds` gave.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from ponds.models import PondState
from ponds.svg_marks import figure_text
from stock.advisor.at_once import least_at_once
from stock.advisor.farm_plan import (
    ALL,
    BUY,
    FEW,
    ROOM,
    SELL,
    WELFARE,
    FarmPlan,
    PlanMove,
    PondStock,
    Unmet,
    farm_plan,
)
from stock.advisor.placing import WELFARE_RATIO
from stock.advisor.ratio import verdict
from stock.farm_plan_answer import PlanAnswer, PlannedMove, PlanQuestion, PondPlan
from stock.farm_plan_eggs import PlanEggs
from stock.farm_plan_proof import proof
from stock.farm_plan_yields import PlanYields
from stock.held_heads import heads_held
from stock.placing_answer import CannotAdvise
from stock.pond_concerns import FEWEST_MALES
from stock.pond_kind import PondKind

Pairs = Collection[tuple[int, int]]

HELP_WORDS = {
    SELL: "males may be sold",
    BUY: "bought females may come",
    ROOM: "head limits are raised",
    WELFARE: f"females are let in beside more than one male to {WELFARE_RATIO:g} females, which harms them",
    FEW: f"another pond is left with fewer than {FEWEST_MALES} males, which are few sires",
    ALL: "males are sold, females bought and head limits raised together",
}


def plan_farm(
    question: PlanQuestion,
    facts: Sequence[PondKind],
    *,
    kept_apart: Pairs = (),
    yields: PlanYields | None = None,
    stops: Mapping[int, str] | None = None,
) -> PlanAnswer:
    """
    Say which moves bring every pond into band.

    Parameters
    ----------
    question : PlanQuestion
    facts : sequence of PondKind
        Every pond and kind of the day.
    kept_apart : collection of (int, int)
        Kinds (ids) that never share a pond, both ways round.
    yields : PlanYields, optional
        What the farm's books taught of each pond; other kinds go by their published figures.
    stops : mapping of int to str, optional
        Pond id -> what the watch says where it asks that nothing moves, of whatever kind.

    Raises
    ------
    CannotAdvise
        If no pond is kept for the kinds asked about, or a kind lacks the figures for its eggs.
    """
    mine = [one for one in facts if one.kind_id in question.kind_ids]
    if not mine:
        raise CannotAdvise("No pond is kept for this kind and none of it stands in any.")
    alone = [_left_alone(one, question, stops or {}) for one in mine]
    names = {one.kind_id: one.kind_name for one in facts}
    eggs = PlanEggs(mine, yields) if question.is_for_eggs else None
    stocks = tuple(
        _stock(
            one,
            is_alone=bool(why),
            apart=_apart_here(one, facts, kept_apart, names),
            eggs=None if eggs is None else eggs.over_seasons(place),
        )
        for place, (one, why) in enumerate(zip(mine, alone, strict=True))
    )
    codes = {one.kind_id: one.kind_code for one in mine}
    plan = _solve(
        stocks,
        tuple(sorted({(one.pond_code, one.head_room) for one in mine if one.head_room is not None})),
        tuple(sorted((codes[a], codes[b]) for a, b in kept_apart if a in codes and b in codes)),
        question,
    )
    ponds = _ponds(mine, alone, stocks, plan, [_apart_here(one, facts, kept_apart, names) for one in mine])
    if eggs is not None:
        ponds = tuple(
            replace(pond, a_female=eggs.a_female[place], seasons=eggs.seasons[place])
            for place, pond in enumerate(ponds)
        )
    return PlanAnswer(
        question=question,
        plan=plan,
        moves=_moves(plan, ponds),
        ponds=ponds,
        proof=proof(plan, question),
        cautions=_cautions(plan, ponds, for_eggs=question.is_for_eggs),
        learnt=() if eggs is None else tuple(sorted(names[kind] for kind in eggs.kinds)),
        gained=None if eggs is None else eggs.gained(plan),
    )


@lru_cache(maxsize=32)
def _solve(
    stocks: tuple[PondStock, ...],
    room: tuple[tuple[str, float], ...],
    apart: tuple[tuple[str, str], ...],
    question: PlanQuestion,
) -> FarmPlan:
    """Ask the advisor; the last few answers are kept, so that page, sheet and print show the same plan."""
    return farm_plan(
        stocks,
        room=dict(room),
        apart=apart,
        aim=question.aim,
        may_sell_males=question.may_sell,
        bought_females=question.bought,
        eggs_a_head=question.eggs_a_head,
        fewest_males=FEWEST_MALES,
        time_limit=question.seconds,
    )


def _left_alone(facts: PondKind, question: PlanQuestion, stops: Mapping[int, str]) -> str:
    use = facts.use
    if facts.pond_code in question.leave:
        return "Left as it is, as you asked."
    if use.in_quarantine:
        ends = f", due to end on {use.ends_on.day} {use.ends_on:%b %Y}" if use.ends_on else ""
        return f"In quarantine{ends}: nothing comes in and nothing leaves."
    if use.code == PondState.State.RESTING:
        return "Resting: it is left as it is until it is put back in use."
    if facts.losing is not None and facts.losing.is_losing:
        return f"{facts.losing.sentence} Find the cause first: nothing is moved in or out."
    return stops.get(facts.pond_id, "")


def _apart_here(facts: PondKind, everywhere: Sequence[PondKind], pairs: Pairs, names: dict[int, str]) -> str:
    """Return the kinds that stand in the pond and are never kept with this one, in words."""
    found = {
        names[one.kind_id]
        for one in everywhere
        if one.pond_id == facts.pond_id and one.heads.total and (facts.kind_id, one.kind_id) in pairs
    }
    return " and ".join(sorted(found))


def _stock(facts: PondKind, *, is_alone: bool, apart: str, eggs: tuple[float, float] | None) -> PondStock:
    heads = facts.heads
    females, males = heads_held(facts)
    return PondStock(
        pond=facts.pond_code,
        kind=facts.kind_code,
        females=females,
        males=males,
        others=heads.unsexed + heads.juveniles,
        band=facts.band,
        space=facts.space_a_head,
        may_give=not is_alone,
        may_take=not is_alone and facts.is_allowed and not apart,
        may_empty=not facts.is_allowed,
        eggs=eggs,
    )


def _ponds(
    mine: Sequence[PondKind],
    alone: Sequence[str],
    stocks: Sequence[PondStock],
    plan: FarmPlan,
    apart: Sequence[str],
) -> tuple[PondPlan, ...]:
    unmet = {one.place: one for one in plan.unmet}
    added: dict[str, float] = {}
    for one, stock, (females, males) in zip(mine, stocks, plan.after, strict=True):
        more = (females + males - stock.females - stock.males) * one.space_a_head
        added[one.pond_code] = added.get(one.pond_code, 0.0) + more
    ponds = []
    for place, one in enumerate(mine):
        females, males = plan.after[place]
        stock = stocks[place]
        pond = PondPlan(
            facts=one,
            females=one.females_now + round(females - stock.females),
            males=one.males_now + round(males - stock.males),
            was_in_band=_is_in_band(one),
            in_band=plan.in_band[place],
            use_after=one.head_use + added[one.pond_code],
            left_alone=alone[place],
        )
        if place in unmet:
            pond = replace(pond, why_not=_why_not(pond, unmet[place], apart[place]))
        ponds.append(pond)
    return tuple(ponds)


def _is_in_band(facts: PondKind) -> bool:
    females, males = heads_held(facts)
    if not females and not males:
        return True
    low, high = facts.band
    return males > 0 and low * males - 1e-7 <= females <= high * males + 1e-7


def _why_not(pond: PondPlan, unmet: Unmet, apart: str) -> str:
    """Say in one go what is missing, what stands in the way, and what would bring it in."""
    said = [_what_is_wrong(pond)]
    if pond.left_alone:
        return f"{said[0]} {pond.left_alone}"
    if not pond.facts.is_allowed:
        said.append(f"{pond.facts.kind_name} is not kept here, so nothing may come in.")
    elif apart:
        said.append(f"{apart} stand here and are kept apart, so nothing may come in.")
    helps = [HELP_WORDS[word] for word in unmet.would_help]
    if helps:
        said.append(f"It would come into band if {' or if '.join(helps)}.")
    elif not pond.females_before:
        least = least_at_once(0, heads_held(pond.facts)[1])
        said.append(
            f"Beside males that stand alone {figure_text(least)} females at least come at once, or the males press the "
            "few, and no plan finds so many."
        )
    else:
        said.append(
            "No single change would bring it in while the ponds in band stay so: ask for the ponds it shares "
            "with to be left alone, or seek females elsewhere."
        )
    return " ".join(said)


def _what_is_wrong(pond: PondPlan) -> str:
    band = pond.facts.band
    if not pond.males:
        return f"No males to {pond.females} females."
    if not pond.females:
        return f"No females to {pond.males} males."
    now = pond.after_words
    females, males = pond.held
    # The same arithmetic as the remedies on the pond's own page.
    needs = verdict(females, 0, males, 0, target=pond.facts.target, band=band, with_limits=False).to_band
    if females < band[0] * males:
        ways = (needs.females_to_add, "female", "more"), (needs.males_to_remove, "male", "fewer")
        return f"Short of females at {now}: {_ways(ways)} would do (the band begins at {band[0]:g})."
    ways = (needs.males_to_add, "male", "more"), (needs.females_to_remove, "female", "fewer")
    return f"Short of males at {now}: {_ways(ways)} would do (the band ends at {band[1]:g})."


def _ways(ways: Sequence[tuple[int | None, str, str]]) -> str:
    told = [
        f"{figure_text(heads)} {noun}{'' if heads == 1 else 's'} {change}"
        for heads, noun, change in ways
        if heads
    ]
    return " or ".join(told) or "less than one head"


def _moves(plan: FarmPlan, ponds: Sequence[PondPlan]) -> tuple[PlannedMove, ...]:
    at = {(pond.code, pond.facts.kind_code): pond for pond in ponds}
    order = {pond.code: place for place, pond in enumerate(ponds)}

    def when(move: PlanMove) -> tuple[bool, int, int]:
        return move.of_class == "FEMALE", order.get(move.source or "", -1), order.get(move.target or "", -1)

    return tuple(
        PlannedMove(
            source=move.source or "",
            target=move.target or "",
            kind=move.kind,
            kind_name=next(pond.facts.kind_name for pond in ponds if pond.facts.kind_code == move.kind),
            of_class=move.of_class,
            heads=move.heads,
            why=_why(move, at),
        )
        for move in sorted(plan.moves, key=when)
    )


def _why(move: PlanMove, at: dict[tuple[str, str], PondPlan]) -> str:
    said = []
    if move.target:
        said.append(_why_here(at[move.target, move.kind], takes=True, of_class=move.of_class))
    if move.source:
        said.append(_why_here(at[move.source, move.kind], takes=False, of_class=move.of_class))
    if not move.source:
        said.append("They come through quarantine first.")
    return " ".join(said)


def _why_here(pond: PondPlan, *, takes: bool, of_class: str) -> str:
    females, males = pond.females_before, pond.males_before
    before, after = pond.before_words, pond.after_words
    changes = f"{before} becomes {after}" if before != after else f"its ratio stays {after}"
    if pond.was_in_band:
        if not females and not males:
            return f"{pond.code} is empty and takes them: {changes}."
        return f"{pond.code} is in band and {'has room for' if takes else 'can spare'} them: {changes}."
    if not pond.facts.is_allowed and not takes:
        return f"{pond.facts.kind_name} is not kept in {pond.code}: {changes}."
    if not males:
        return f"{pond.code} has no males: {changes}."
    if not females:
        return f"{pond.code} has no females: {changes}."
    held = heads_held(pond.facts)
    is_short = held[0] < pond.facts.band[0] * held[1]
    need = "females" if is_short else "males"
    return f"{pond.code} is short of {need}: {changes}."


def _cautions(plan: FarmPlan, ponds: Sequence[PondPlan], *, for_eggs: bool) -> tuple[str, ...]:
    if not plan.moves:
        return ()
    said = []
    if any(move.of_class == "FEMALE" for move in plan.moves):
        said.append(
            "Move the males first, then the females, so that no female joins a pond with too many males."
        )
    alone = sorted({pond.code for pond in ponds if pond.males and pond.females and not pond.females_before})
    if alone:
        said.append(
            f"No females stand in {' and '.join(alone)} yet: bring all of them at once, or the males press the few."
        )
    if plan.bought:
        said.append(
            f"{plan.bought} bought females stand 30 to 90 days in quarantine before they join a pond (common "
            "practice, no source); papers go with their batch."
        )
    # A standing shares out those that nobody looked at; the book does not.
    unsexed = sum(pond.facts.heads.unsexed for pond in ponds if not pond.facts.is_by_standing)
    if unsexed:
        said.append(
            f"{unsexed} unsexed of breeding size stand in these ponds by the book and are in no ratio; sex them while "
            "seining, and ask again if they change a pond."
        )
    said.append(
        "A pond at the very edge of its band drifts out again, as males outlive females"
        + ("." if for_eggs else ": the plan asks for the least work now, not for the longest peace.")
    )
    return tuple(said)
