"""Bridge from what stands of a kind to the hatchlings it takes: plain values to the advisor to one answer.

Nothing is read or written here: the view hands in what `pond_facts.pond_kinds` gave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ponds.models import KindFigure
from stock.advisor.hatch_patterns import (
    GENETIC,
    Share,
    female_share,
    is_nearly_male,
    pattern_of,
    temperature_for,
)
from stock.advisor.life_stages import GROWN, GROWN_SOURCE, stages_of
from stock.advisor.replacements import (
    Levers,
    Rates,
    in_the_end,
    levers,
    needed,
    spread_young,
    years_ahead,
)
from stock.placing_advice import eggs_a_female
from stock.placing_answer import CannotAdvise
from stock.pond_kind import PondKind
from stock.replacements_answer import (
    YEARS_AHEAD,
    AheadAnswer,
    AheadQuestion,
    Figures,
    Incubation,
    Scenario,
    StageRow,
    WhatIf,
)

ZERO_C_MK = 273_150
FEMALE_ROOM = 0.97
"""Share of females that a room for replacement females is set to."""


def figures_of(kind: PondKind, scientific_name: str) -> Figures:
    """Return the figures of a kind: adults as the farm keeps them for the kind, the young as published."""
    stages = stages_of(scientific_name)
    own = kind.figures.get(KindFigure.Name.SURVIVAL)
    return Figures(
        first_year=stages.first_year,
        juvenile=stages.juvenile,
        adult=GROWN if own is None else (own.low, own.expected, own.high),
        female_years=stages.female_years,
        male_years=stages.male_years,
        adult_source=GROWN_SOURCE if own is None else kind.sources.get(KindFigure.Name.SURVIVAL, ""),
        stages=stages,
    )


@dataclass(frozen=True)
class _Standing:
    females: int
    males: int
    juveniles: int
    unsexed: int


def look_ahead(question: AheadQuestion, facts: Sequence[PondKind]) -> AheadAnswer:
    """
    Say how many hatchlings to keep back, and from which room.

    Parameters
    ----------
    question : AheadQuestion
    facts : sequence of PondKind
        Every pond and kind of the day.

    Raises
    ------
    CannotAdvise
        If the kind is in no pond, or the question sells or loses what does not stand there.
    """
    mine = [one for one in facts if one.kind_id == question.kind_id]
    if not mine:
        raise CannotAdvise("No pond is kept for this kind and none of it stands in any.")
    standing = _standing(mine)
    incubation = _incubation(question, mine[0])
    wanted = standing.females if question.wanted is None else question.wanted
    rates = _rates(question.figures, WhatIf())
    need = _need(wanted, rates[0], question.figures, WhatIf())
    kept = float(need.hatchlings.value or 0) if question.kept is None else float(question.kept)
    male_need = _need(standing.males, rates[1], question.figures, WhatIf())
    kept_males = float(male_need.hatchlings.value or 0)
    per_female = kept / standing.females if standing.females else 0.0

    def scenario(name: str, there: _Standing, what_if: WhatIf) -> Scenario:
        female_rates, male_rates = _rates(question.figures, what_if)
        found, moved = levers(female_rates, per_female)
        young_males = there.juveniles * _male_share(incubation)
        young_females = there.juveniles - young_males
        coming = spread_young(young_females, female_rates)
        return Scenario(
            name=name,
            females=there.females,
            males=there.males,
            female_rates=female_rates,
            male_rates=male_rates,
            female_need=_need(wanted, female_rates, question.figures, what_if),
            male_need=_need(there.males, male_rates, question.figures, what_if),
            growth=found,
            levers=moved,
            ahead=years_ahead(there.females, female_rates, kept=kept, coming=coming, years=YEARS_AHEAD),
            males_ahead=years_ahead(
                there.males,
                male_rates,
                kept=kept_males,
                coming=spread_young(young_males, male_rates),
                years=YEARS_AHEAD,
            ),
            ahead_without=years_ahead(there.females, female_rates, coming=coming, years=YEARS_AHEAD),
            in_the_end=in_the_end(female_rates, kept),
        )

    as_it_is = scenario("As it is", standing, WhatIf())
    what_if = None
    if question.what_if.is_asked:
        changed = _changed(standing, mine, question.what_if)
        what_if = scenario("What if", changed, question.what_if)
    return AheadAnswer(
        question=question,
        kind_name=mine[0].kind_name,
        kept=kept,
        kept_males=kept_males,
        wanted=wanted,
        juveniles=standing.juveniles,
        unsexed=standing.unsexed,
        as_it_is=as_it_is,
        what_if=what_if,
        stages=_stages(as_it_is),
        incubation=incubation,
        juvenile_words=_juvenile_words(standing.juveniles, incubation),
        lever_words=_lever_words(as_it_is.levers),
        at_most=_at_most(mine[0], as_it_is.female_rates, incubation),
        notes=as_it_is.growth.notes,
    )


def _standing(mine: Sequence[PondKind]) -> _Standing:
    return _Standing(
        females=sum(one.females_now for one in mine),
        males=sum(one.males_now for one in mine),
        juveniles=sum(one.heads.juveniles for one in mine),
        unsexed=sum(one.heads.unsexed for one in mine if not one.is_by_standing),
    )


def _changed(standing: _Standing, mine: Sequence[PondKind], what_if: WhatIf) -> _Standing:
    lost = [one for one in mine if one.pond_code == what_if.lost_pond]
    gone = _standing(lost)
    males = standing.males - gone.males
    if what_if.sold_males > males:
        raise CannotAdvise(
            f"{what_if.sold_males} males cannot be sold: {males} {mine[0].kind_name} males stand on the farm"
            f"{f' without pond {what_if.lost_pond}' if lost else ''}. Sell fewer."
        )
    return _Standing(
        females=standing.females - gone.females,
        males=males - what_if.sold_males,
        juveniles=standing.juveniles - gone.juveniles,
        unsexed=standing.unsexed - gone.unsexed,
    )


def _better(triple: tuple[float, float, float], more: float) -> tuple[float, float, float]:
    low, expected, high = (min(1.0, max(0.0, share + more)) for share in triple)
    return low, expected, high


def _rates(figures: Figures, what_if: WhatIf) -> tuple[Rates, Rates]:
    """Return the expected rates of females and of males: they differ in the years to breeding size."""
    juvenile = _better(figures.juvenile, what_if.juvenile_more)[1]
    adult = _better(figures.adult, what_if.adult_more)[1]
    females, males = (
        Rates(figures.first_year[1], juvenile, adult, years)
        for years in (figures.female_years, figures.male_years)
    )
    return females, males


def _need(breeders: int, rates: Rates, figures: Figures, what_if: WhatIf):
    return needed(
        breeders,
        rates,
        first_year=figures.first_year,
        juvenile=_better(figures.juvenile, what_if.juvenile_more),
        adult=_better(figures.adult, what_if.adult_more),
    )


def _incubation(question: AheadQuestion, kind: PondKind) -> Incubation:
    pattern = pattern_of(question.scientific_name)
    own = kind.figures.get(KindFigure.Name.INCUBATION_TEMPERATURE)
    room = None if own is None else (own.expected - ZERO_C_MK) / 1000
    for_females = temperature_for(pattern, FEMALE_ROOM)
    return Incubation(
        pattern=pattern,
        room_c=room,
        at_room=None if room is None else female_share(pattern, room),
        at_asked=None if question.temperature_c is None else female_share(pattern, question.temperature_c),
        for_share=temperature_for(pattern, question.share),
        for_females=for_females,
        for_males=temperature_for(pattern, 1 - FEMALE_ROOM),
        female_share=FEMALE_ROOM if for_females else 0.5,
    )


def _male_share(incubation: Incubation) -> float:
    """Return the share of the young standing that is planned as male: all where a room gives hardly any females.

    Where the sexes by temperature are not known they are planned as male too, for that is the safer way.
    """
    share = incubation.at_room
    if share is None or is_nearly_male(share):
        return 1.0
    return 1 - share.expected


def _juvenile_words(juveniles: int, incubation: Incubation) -> str:
    if not juveniles:
        return ""
    share = incubation.at_room
    if share is None:
        return (
            f"{juveniles} juveniles stand there. Their sex is not known, so they are planned as male until sexed: the "
            "safer way."
        )
    if incubation.pattern.name == GENETIC:
        return f"{juveniles} juveniles stand there; half are planned as female, as sex is genetic."
    if is_nearly_male(share):
        return (
            f"{juveniles} juveniles stand there. From the kind's usual room nearly all hatch male, so they are planned "
            "as male until sexed."
        )
    return (
        f"{juveniles} juveniles stand there; {100 * share.expected:.0f} % are planned as female, as the kind's usual "
        "room gives. Sex them when they show it."
    )


def _stages(scenario: Scenario) -> tuple[StageRow, ...]:
    """Return what stands of hatchlings, juveniles and breeders once the stages are steady."""
    stable, worth = scenario.growth.stable_stage, scenario.growth.reproductive_value
    if stable is None or worth is None or not scenario.levers or not stable[-1]:
        return ()
    heads = stable * (scenario.females / stable[-1])
    rows = [StageRow("Hatchlings kept back", float(stable[0]), float(heads[0]), float(worth[0]))]
    if len(stable) > 2:
        young = slice(1, -1)
        mean_worth = (
            float((stable[young] * worth[young]).sum() / stable[young].sum()) if stable[young].sum() else 0.0
        )
        rows.append(StageRow("Juveniles", float(stable[young].sum()), float(heads[young].sum()), mean_worth))
    rows.append(StageRow("Breeding females", float(stable[-1]), float(heads[-1]), float(worth[-1])))
    return tuple(rows)


def _lever_words(moved: Levers | None) -> tuple[str, ...]:
    if moved is None:
        return ("None is kept back, so only the survival of adults counts: the stock shrinks as they die.",)
    pairs = [
        ("better survival of adult females", moved.adult),
        ("better survival in every juvenile year", moved.juvenile),
        ("better survival in the first year", moved.first_year),
    ]
    first, second, third = sorted(pairs, key=lambda pair: -pair[1])
    times = moved.adult / moved.kept if moved.kept else math.inf
    return (
        f"One percent {first[0]} does more for the stock than one percent {second[0]}: it grows {first[1]:.2f} % "
        f"faster a year against {second[1]:.2f} %. One percent {third[0]} does {third[1]:.2f} %.",
        f"One percent better survival of adult females is worth as much as {times:.0f} % more hatchlings kept back.",
    )


def _at_most(kind: PondKind, rates: Rates, incubation: Incubation) -> float | None:
    try:
        hatched = eggs_a_female(kind)
    except CannotAdvise:
        return None
    return levers(rates, hatched * incubation.female_share)[0].growth_rate


def share_words(share: Share | None) -> str:
    """Say a share of females with its limits, such as "3 % female (1 to 12)"."""
    if share is None:
        return "not known"
    low, high = 100 * share.low, 100 * share.high
    if math.isclose(low, high):
        return f"{100 * share.expected:.0f} % female"
    return f"{100 * share.expected:.0f} % female ({low:.0f} to {high:.0f})"
