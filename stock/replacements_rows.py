"""The rows of the page of replacements: as it is beside what if, the figures, and the incubator, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stock.advisor.hatch_patterns import (
    BOTH_ENDS,
    CLUTCHES_AT_C,
    CLUTCHES_SPREAD_C,
    COOL_MALES,
    GENETIC,
    ROOM_ERROR_C,
    TOO_WARM_C,
    Warmth,
)
from stock.advisor.replacements import Need
from stock.replacements_advice import share_words
from stock.replacements_answer import AheadAnswer, Scenario
from stock.replacements_pictures import temperature
from stock.templatetags.stock_format import number, ratio


@dataclass(frozen=True)
class SideBySide:
    """One row: what, and its figure in each scenario, with a note under it."""

    name: str
    cells: tuple[str, ...]
    note: str = ""


@dataclass(frozen=True)
class FigureLine:
    """One figure of the model: name, low, expected, high as read, and its source."""

    name: str
    low: str
    expected: str
    high: str
    source: str


def what_if_words(answer: AheadAnswer) -> str:
    """Say what is changed in the second scenario, such as "60 males sold; pond B lost"; "" where nothing is."""
    asked = answer.question.what_if
    said = []
    if asked.sold_males:
        said.append(f"{number(asked.sold_males)} male{'' if asked.sold_males == 1 else 's'} sold")
    if asked.lost_pond:
        said.append(f"pond {asked.lost_pond} lost with all that stands in it")
    for who, more in (("juveniles", asked.juvenile_more), ("adults", asked.adult_more)):
        if more:
            points = f"{100 * abs(more):.3g}"
            unit = "point" if points == "1" else "points"
            said.append(
                f"{points} percentage {unit} {'more' if more > 0 else 'fewer'} of the {who} survive a year"
            )
    return "; ".join(said)


def male_room_words(answer: AheadAnswer, unit: str) -> str:
    """Say which room gives males; "" where temperature does not decide, or is not known."""
    incubation = answer.incubation
    if incubation.for_males is None:
        return "Half of all that hatch." if incubation.pattern.name == GENETIC else ""
    if incubation.pattern.name == BOTH_ENDS and not incubation.pattern.cool:
        return "Males hatch between the ends; which room gives them is not known here: sex your own."
    warm = temperature(incubation.for_males.low, unit)
    males = f"97 % or more males hatch at {warm}"
    if incubation.pattern.name == COOL_MALES:
        return f"{males} or cooler."
    return f"{males} or little cooler; colder rooms give females again."


def side_by_side(answer: AheadAnswer, unit: str) -> list[SideBySide]:
    """Return the comparison, one row a figure; temperatures in the farm's unit."""
    share = answer.incubation.female_share

    def row(name: str, cell, note: str = "") -> SideBySide:
        return SideBySide(name, tuple(cell(one) for one in answer.scenarios), note)

    return [
        row("Females standing", lambda one: number(one.females)),
        row("Males standing", lambda one: number(one.males)),
        row("Ratio", lambda one: _ratio(one.females, one.males)),
        row(
            "Females lost a year",
            lambda one: number(one.females * (1 - one.female_rates.adult)),
            "Grown replacements a year, if they are bought instead of raised.",
        ),
        row("Males lost a year", lambda one: number(one.male_need.lost_a_year)),
        row(
            f"Female hatchlings to keep back a year, to hold {number(answer.wanted)}",
            lambda one: _need_words(one.female_need),
            "Expected, and 9 draws of 10.",
        ),
        row(
            "Hatchlings to raise for them",
            lambda one: _to_raise(one, share),
            f"From a room that gives {100 * share:.0f} % females.",
        ),
        row(
            "Male hatchlings to keep back a year",
            lambda one: _need_words(one.male_need),
            male_room_words(answer, unit),
        ),
        row(
            "Growth of the females in the long run",
            _growth_words,
            "Where the hatchlings kept back keep pace with the females. An equilibrium, not a forecast.",
        ),
        *(
            row(f"Females in {years} years", lambda one, years=years: number(one.ahead[years]))
            for years in (5, 10, 20)
        ),
        row("Ratio in 10 years", lambda one: _ratio(one.ahead[10], one.males_ahead[10])),
        row(
            "Females in the end",
            lambda one: "no end" if math.isinf(one.in_the_end) else number(one.in_the_end),
            f"{number(answer.kept)} female hatchlings kept back every year.",
        ),
    ]


def _ratio(females: float, males: float) -> str:
    if males < 0.5:
        return "no males" if females >= 0.5 else "empty"
    return ratio(females / males) if females >= 0.5 else "no females"


def _need_words(need: Need) -> str:
    value = need.hatchlings.value
    if value is None:
        return "none of them would grow up"
    high = "no upper limit" if math.isinf(need.high) else number(need.high)
    return number(value) if need.low == need.high else f"{number(value)} ({number(need.low)} to {high})"


def _to_raise(scenario: Scenario, share: float) -> str:
    value = scenario.female_need.hatchlings.value
    return "not known" if value is None else number(math.ceil(value / share))


def _growth_words(scenario: Scenario) -> str:
    rate = scenario.growth.growth_rate
    if rate is None:
        return "dies out"
    change = 100 * (rate - 1)
    if abs(change) < 0.05:
        return "holds"
    return f"{'grows' if change > 0 else 'shrinks'} {abs(change):.1f} % a year"


def bridge_words(answer: AheadAnswer) -> str:
    """Say what holds the females until the first of those kept back breed; "" without females."""
    here = answer.as_it_is
    years = here.female_rates.years
    if not here.females or here.female_rates.adult == 1:
        return ""
    lost = math.ceil(here.females * (1 - here.female_rates.adult) - 1e-9)
    left = here.ahead_without[min(years, len(here.ahead_without) - 1)]
    span = f"{years} years" if years > 1 else "1 year"
    return (
        f"Those kept back from now on first breed in {span}. Until then {number(lost)} grown females a year hold the "
        f"number; without them about {number(left)} are left by then."
    )


def growth_at_most(answer: AheadAnswer) -> str:
    """Say how fast the females could grow if every hatchling were kept; "" where that is not known."""
    if answer.at_most is None:
        return ""
    change = 100 * (answer.at_most - 1)
    word = "grow" if change >= 0 else "shrink"
    return (
        f"If every hatchling of a room for females were raised, the females could {word} {abs(change):.0f} % a year in "
        "the long run, by the kind’s expected figures."
    )


def figure_lines(answer: AheadAnswer) -> list[FigureLine]:
    """Return the figures of the model with their sources."""
    figures, stages = answer.question.figures, answer.question.figures.stages

    def line(name: str, key: str, triple: tuple[float, float, float], source: str) -> FigureLine:
        low, expected, high = (f"{100 * share:.1f}".removesuffix(".0") + " %" for share in triple)
        told = "Typed here; taken without doubt." if key in figures.typed else source
        return FigureLine(name, low, expected, high, told)

    def years(name: str, key: str, span: int) -> FigureLine:
        source = "Typed here." if key in figures.typed else stages.years_source
        return FigureLine(name, "", str(span), "", source)

    return [
        line("First year", "first_year", figures.first_year, stages.first_year_source),
        line("Juveniles, a year", "juvenile", figures.juvenile, stages.juvenile_source),
        line("Adults, a year", "adult", figures.adult, figures.adult_source),
        years("Years until females breed", "female_years", figures.female_years),
        years("Years until males breed", "male_years", figures.male_years),
    ]


def warmth_words(warmth: Warmth, unit: str) -> str:
    """Say a temperature with how far it is known, such as "87.3 °F (87.2 to 87.5)"."""
    low, high = (temperature(one, unit, with_symbol=False) for one in (warmth.low, warmth.high))
    around = "" if low == high else f" ({low} to {high})"
    return f"{temperature(warmth.expected, unit)}{around}"


def incubation_words(answer: AheadAnswer, unit: str) -> list[str]:
    """Answer both ways: the temperature for a share, and the share at a temperature."""
    incubation, asked = answer.incubation, answer.question
    pattern, said = incubation.pattern, []
    if pattern.name == GENETIC:
        said.append(
            f"{answer.kind_name}: sex is genetic. No temperature changes it; about half hatch female."
        )
    elif not pattern.has_curve:
        said.append(f"{answer.kind_name}: how sex follows temperature is not known here.")
    else:
        said.append(f"{answer.kind_name}: {pattern.name}.")
    if pattern.name == BOTH_ENDS:
        said.append(
            "Females hatch at both ends, warm and cold; the temperatures below are those of the warm side."
        )
    if incubation.for_share is not None:
        said.append(
            f"For {100 * asked.share:.0f} % females: {warmth_words(incubation.for_share, unit)} beside the eggs."
        )
    if asked.temperature_c is not None and pattern.name != GENETIC:
        said.append(f"At {temperature(asked.temperature_c, unit)}: {share_words(incubation.at_asked)}.")
    if incubation.room_c is not None and pattern.has_curve:
        said.append(
            f"At the kind’s usual room, {temperature(incubation.room_c, unit)}: {share_words(incubation.at_room)}."
        )
    if pattern.note:
        said.append(pattern.note)
    return said


def incubation_cautions(answer: AheadAnswer, unit: str) -> list[str]:
    """Return what keeps an incubator from doing what its dial says."""
    pattern = answer.incubation.pattern
    if not pattern.has_curve:
        return []
    step = 1.8 if unit == "F" else 1.0
    apart, symbol = ROOM_ERROR_C * step, "°F" if unit == "F" else "°C"
    said = [
        f"Log the temperature beside the eggs, not the room: the air can differ by about {apart:.1f} "
        f"{symbol}, half of the whole span in which sexes change. Sex is set in about the "
        "middle third of incubation.",
    ]
    if pattern.name == COOL_MALES:
        said.append(
            "For some of each sex do not aim between: split the eggs over a room for males and a room for females. "
            f"Clutches differ as much as {CLUTCHES_SPREAD_C * step:.1f} {symbol} does: at "
            f"{temperature(CLUTCHES_AT_C, unit)} 19 slider clutches gave 0 to 100 % males (Wibbels & Murdock)."
        )
    said.append(f"Above about {temperature(TOO_WARM_C, unit)} fewer eggs hatch (common practice, no source).")
    return said
