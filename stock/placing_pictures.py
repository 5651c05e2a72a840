"""What the page of new females draws: the next female's gain by pond, and heads per pond."""

from __future__ import annotations

from dataclasses import replace

from stock.charts import MOST_LINES, Chart, Series, bar_chart, line_chart
from stock.placing_answer import Advice, PondAdvice

MOST_POINTS = 25


def gains_chart(advice: Advice) -> Chart | None:
    """Draw what each further female adds, a line a pond; None where no pond may get any.

    Where every pond's every female adds the same, one line stands for all.
    """
    ponds = [pond for pond in advice.open_ponds if pond.gains]
    if not ponds:
        return None
    over = _over(advice)
    longest = max(len(pond.gains) for pond in ponds)
    points = _spread(longest)
    labels = [str(point + 1) for point in points]
    gain = ponds[0].gains[0]
    if advice.is_all_alike:
        name = "Every pond" if len(ponds) > 1 else f"Pond {ponds[0].code}"
        series = [Series(name, tuple(gain for _ in points))]
        summary = (
            f"{'In every pond that may get some' if len(ponds) > 1 else f'In pond {ponds[0].code}'} each further "
            f"female adds {gain:.1f} hatched eggs {over}, up to its cap: in band, and with fertility full, the ratio "
            "makes no difference."
        )
    else:
        ponds = sorted(ponds, key=lambda pond: (-pond.given, -pond.gains[0]))[:MOST_LINES]
        series = [
            Series(pond.code, tuple(pond.gains[at] if at < len(pond.gains) else None for at in points))
            for pond in ponds
        ]
        first = max(ponds, key=lambda pond: pond.gains[0])
        summary = (
            f"The first female adds most in pond {first.code}, {first.gains[0]:.1f} hatched eggs {over}. "
            "A line ends where its pond takes no more."
        )
    chart = line_chart("What each further female adds", labels, series, unit="hatched eggs", summary=summary)
    return replace(chart, columns=("Female", *chart.columns[1:]))


def heads_chart(advice: Advice) -> Chart | None:
    """Draw the females each pond gets; None where none is placed."""
    getting = advice.getting
    if not getting:
        return None
    most = max(getting, key=lambda pond: pond.given)
    summary = f"{advice.placed} females over {_ponds(getting)}; most go to pond {most.code}, {most.given}."
    return bar_chart(
        "New females by pond",
        [f"Pond {pond.code}" for pond in getting],
        [pond.given for pond in getting],
        unit="females",
        summary=summary,
    )


def _ponds(ponds: list[PondAdvice]) -> str:
    return "1 pond" if len(ponds) == 1 else f"{len(ponds)} ponds"


def _over(advice: Advice) -> str:
    seasons = advice.question.seasons
    return "in the coming season" if seasons == 1 else f"over {seasons} seasons"


def _spread(length: int) -> list[int]:
    """Return at most `MOST_POINTS` places of a row, the first and the last among them."""
    if length <= MOST_POINTS:
        return list(range(length))
    return sorted({round(step * (length - 1) / (MOST_POINTS - 1)) for step in range(MOST_POINTS)})
