"""How good a whole-farm plan is known to be, in sentences."""

from __future__ import annotations

import math

from stock.advisor.farm_plan import PONDS_IN_BAND, SHORT_OR_OVER, FarmPlan, Stage
from stock.farm_plan_answer import PlanQuestion
from stock.templatetags.stock_format import number


def proof(plan: FarmPlan, question: PlanQuestion) -> tuple[str, ...]:
    """Say how good the plan is known to be."""
    stages = {stage.name: stage for stage in plan.stages}
    said = []
    bands = stages.get(PONDS_IN_BAND)
    if bands and bands.is_proven:
        said.append("Proven: no plan under these rules brings more ponds into band.")
    elif bands:
        most = "all of them" if bands.bound > bands.reached else "no more"
        said.append(
            f"{_why_unproven(bands)}: {bands.reached:.0f} ponds come into band; whether {most} could is not proven, at "
            f"most {bands.bound:.0f} can."
        )
    rest = stages.get(SHORT_OR_OVER)
    stay = (
        f"the ponds left out stay {round(rest.reached, 1):g} females short or over together" if rest else ""
    )
    if rest and rest.is_proven:
        said.append(f"Proven: {stay}, and no plan with as many ponds in band leaves fewer.")
    elif rest:
        said.append(f"{_why_unproven(rest)}: {stay}; no plan can do better than {rest.bound:.0f}.")
    last = plan.stages[-1]
    if last.is_proven:
        best = "fewer heads handled"
        if question.is_for_eggs:
            best = f"more eggs, {question.taken_off} taken off for each head handled"
        said.append(f"Proven: no plan that does as much has {best}. Others with as many may exist.")
    else:
        said.append(_unproven(plan, question, last))
    return tuple(said)


def _why_unproven(stage: Stage) -> str:
    return "The solver gave an error, which more time does not mend" if stage.has_failed else "Time ran out"


def _unproven(plan: FarmPlan, question: PlanQuestion, last: Stage) -> str:
    """Say what a plan reached that is not proven best, and how much better any plan could be."""
    handled = f"{number(plan.handled)} heads handled"
    reached = f"{number(plan.eggs or 0)} eggs and {handled}" if question.is_for_eggs else handled
    if last.has_failed:
        return (
            f"{_why_unproven(last)}: {reached}. The plan keeps to the rules; whether a better one exists is not known. "
            "Ask for one kind alone, or leave one more pond as it is."
        )
    told = f"{_why_unproven(last)} after {plan.seconds:.0f} seconds with {reached}"
    more = "Allow more time to look further."
    if not math.isfinite(last.bound):
        return f"{told}; how much better any plan could be is not known. {more}"
    gap = "less than 0.1 %" if plan.gap < 0.001 else f"at most {100 * plan.gap:.1f} %"
    if question.is_for_eggs:
        told += f": {number(last.reached)} eggs, {question.taken_off} taken off for each head handled"
    best = f"no plan can have {'more' if question.is_for_eggs else 'fewer'} than {number(last.bound)}"
    return f"{told}; {best}{' so counted' if question.is_for_eggs else ''}, so {gap} could be gained. {more}"
