"""What the page of replacements draws: females in the years ahead, and the sex by temperature."""

from __future__ import annotations

from dataclasses import replace

from ponds import units
from stock.advisor.hatch_patterns import female_share
from stock.charts import Chart, Series, line_chart
from stock.replacements_advice import ZERO_C_MK
from stock.replacements_answer import YEARS_AHEAD, AheadAnswer
from stock.templatetags.stock_format import number

COLDEST_HALVES, COLD_END_HALVES, WARMEST_HALVES = 2 * 24, 2 * 19, 2 * 33


def ahead_chart(answer: AheadAnswer) -> Chart | None:
    """Draw the females of the years ahead: none kept back, as it is, and what if. None without females."""
    if not answer.as_it_is.females:
        return None
    labels = ["now", *(str(year) for year in range(1, YEARS_AHEAD + 1))]
    series = [
        Series("None kept", _whole(answer.as_it_is.ahead_without)),
        *(Series(one.name, _whole(one.ahead)) for one in answer.scenarios),
    ]
    last = YEARS_AHEAD
    told = "; ".join(f"{one.name.lower()}, {number(one.ahead[last])}" for one in answer.scenarios)
    summary = (
        f"Females in {last} years, with {number(answer.kept)} female hatchlings kept back every year: {told}; with "
        f"none kept {number(answer.as_it_is.ahead_without[last])}. The first of them breed after "
        f"{answer.as_it_is.female_rates.years} years."
    )
    chart = line_chart("Females in the years ahead", labels, series, unit="females", summary=summary)
    return replace(chart, columns=("Year", *chart.columns[1:]))


def sex_chart(answer: AheadAnswer, unit: str) -> Chart | None:
    """Draw the share of females over the temperatures of an incubator; None where they do not decide the sex."""
    pattern = answer.incubation.pattern
    if not pattern.has_curve:
        return None
    coldest = COLD_END_HALVES if pattern.cool else COLDEST_HALVES
    degrees = [halves / 2 for halves in range(coldest, WARMEST_HALVES + 1)]
    shares = [share for one in degrees if (share := female_share(pattern, one)) is not None]
    labels = [temperature(one, unit, with_symbol=False) for one in degrees]
    series = [
        Series("At least", tuple(round(100 * share.low, 1) for share in shares)),
        Series("Expected", tuple(round(100 * share.expected, 1) for share in shares)),
        Series("At most", tuple(round(100 * share.high, 1) for share in shares)),
    ]
    summary = f"{answer.kind_name}: {pattern.name}. Share of females by the temperature beside the eggs."
    chart = line_chart("Females by temperature", labels, series, unit="%", summary=summary)
    return replace(chart, columns=(units.symbol(unit), *chart.columns[1:]))


def temperature(degrees_c: float, unit: str, *, with_symbol: bool = True) -> str:
    """Return degrees C as the farm reads them, such as "82 °F"."""
    text = units.shown(round(degrees_c * 1000) + ZERO_C_MK, unit, places=1)
    return f"{text} {units.symbol(unit)}" if with_symbol else text


def _whole(heads: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(float(round(one)) for one in heads)
