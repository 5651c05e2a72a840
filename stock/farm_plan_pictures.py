"""What the page of the whole-farm plan draws: each pond's ratio, now and after the moves."""

from __future__ import annotations

from dataclasses import replace

from stock.charts import Chart, Interval, interval_strip
from stock.farm_plan_answer import PlanAnswer, PondPlan
from stock.templatetags.stock_format import ratio

MOST_DRAWN = 40


def ratios_chart(answer: PlanAnswer) -> Chart | None:
    """Draw the ratio of each pond that changes: a dot after the moves, a line from where it stands now.

    None where no pond changes; the ponds that change most where they are many.
    """
    changed = [pond for pond in answer.ponds if pond.is_changed and pond.females and pond.males]
    if not changed:
        return None
    drawn = changed
    if len(changed) > MOST_DRAWN:
        most = sorted(changed, key=_change, reverse=True)[:MOST_DRAWN]
        drawn = [pond for pond in changed if pond in most]
    bands = {pond.facts.band for pond in drawn}
    band = bands.pop() if len(bands) == 1 else None
    several = len({pond.facts.kind_id for pond in drawn}) > 1
    rows = []
    for pond in drawn:
        label = f"{pond.code} {pond.facts.kind_name}" if several else f"Pond {pond.code}"
        before, after = _before(pond), _after(pond)
        rows.append(Interval(label, after, min(before, after), max(before, after)))
    shown = f", the {MOST_DRAWN} that change most" if len(drawn) < len(changed) else ""
    ponds = "the pond that changes" if len(changed) == 1 else f"{len(changed)} ponds that change"
    summary = (
        f"Females per male of {ponds}{shown}: the dot is the ratio after the moves, the line "
        "begins where it stands now" + (", the shade is the band." if band else ".")
    )
    chart = interval_strip("Ratio, now and after", rows, band=band, unit="females per male", summary=summary)
    figures = [
        (
            row.label,
            ratio(_before(pond)) if pond.males_before else "no males",
            ratio(row.value),
            pond_word(pond),
        )
        for row, pond in zip(rows, drawn, strict=True)
    ]
    return replace(chart, columns=("Pond", "Now", "After", "Then"), rows=tuple(figures))


def pond_word(pond: PondPlan) -> str:
    return "in band" if pond.in_band else "not in band"


def _before(pond: PondPlan) -> float:
    return pond.ratio_before or 0.0


def _after(pond: PondPlan) -> float:
    return pond.ratio_after or 0.0


def _change(pond: PondPlan) -> float:
    return abs(_before(pond) - _after(pond))
