"""Answers of the survey planner as a page shows them: the plan, its figures as a table, and drawn."""

from __future__ import annotations

from dataclasses import dataclass

from stock.charts import Chart, Series, bar_chart, line_chart
from stock.estimators.planner import HaulsPlan, SexingPlan, hauls_plan, passes_plan, sexing_plan
from stock.templatetags.stock_format import interval, number, percent

# A plan of marks takes a tenth of a second, so only a better and a poorer answer stand beside the one wanted.
BETTER, POORER = 0.6, 1.6
SEX_WIDTHS = (0.05, 0.075, 0.10, 0.15, 0.20)


@dataclass(frozen=True)
class Answer:
    """A plan in words: the sentence, its big figures, a table, notes, a drawing."""

    sentence: str
    figures: tuple[tuple[str, str, str], ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str
    notes: tuple[str, ...]
    chart: Chart | None
    is_reached: bool

    @property
    def labeled(self) -> list[list[tuple[str, str]]]:
        """The rows with each cell's column beside it."""
        return [list(zip(self.columns, row, strict=True)) for row in self.rows]


def of_marks(expected: int, half_width: float, marked: int | None) -> Answer:
    """Answer how many to mark and to catch again."""
    widths = sorted({round(half_width * times, 2) or 0.01 for times in (BETTER, POORER)} | {half_width})
    widths = [width for width in widths if width <= 1]
    plans = [hauls_plan(expected, half_width=width, marked=marked) for width in widths]
    plan = plans[widths.index(half_width)]
    what = "To catch" if marked is not None else "To mark, and again to catch"
    chart = bar_chart(
        f"{what}, by how well it is wanted",
        [f"± {percent(width, 0 if width * 100 % 1 < 0.01 else 1)}" for width in widths],
        [one.caught for one in plans],
        unit="heads",
    )
    return Answer(
        sentence=_marks_sentence(plan, expected, marked),
        figures=(
            ("Mark", number(plan.marked), "carry marks already" if marked is not None else "in the first haul"),
            ("Then catch", number(plan.caught), "in the second, marked or not"),
            ("Recaptured", number(plan.expected_recaptures), _recaptures(plan)),
        ),
        columns=("Wanted", "To mark", "To catch", "Recaptured, expected", "The answer would lie within",
                 "Chance that fewer than 7 are recaptured", "By Robson and Regier’s rule"),
        rows=tuple(
            (
                f"± {percent(width, 0 if width * 100 % 1 < 0.01 else 1)}",
                number(one.marked) if one.marked is not None else "not reached",
                number(one.caught) if one.caught is not None else "not reached",
                number(one.expected_recaptures),
                interval(one.lower, one.upper),
                percent(one.chance_few),
                number(one.robson_regier),
            )
            for width, one in zip(widths, plans, strict=True)
        ),
        caption="What it takes for how good an answer",
        notes=plan.notes,
        chart=chart,
        is_reached=plan.is_reached,
    )  # fmt: skip


def of_passes(expected: int, half_width: float, chance: float) -> Answer:
    """Answer how many passes held out."""
    plan = passes_plan(expected, chance, half_width=half_width)
    chart = None
    if plan.rows:
        chart = line_chart(
            "How well it is known after each pass",
            [str(row.passes) for row in plan.rows],
            [Series("Plus or minus", tuple(_hundred(row.half_width) for row in plan.rows))],
            unit="% of the heads",
        )
    row = plan.row
    wanted = percent(half_width, 0 if half_width * 100 % 1 < 0.01 else 1)
    if plan.is_reached and row is not None:
        sentence = (
            f"{plan.passes} passes, each held out until the last, are expected to bring "
            f"{number(row.expected_catch)} of {number(expected)} and to tell the heads within ± {wanted}."
        )
    else:
        sentence = (
            f"Passes alone do not tell {number(expected)} heads within ± {wanted} at that chance of capture."
        )
    figures = (
        (
            "Passes",
            number(plan.passes) if plan.passes is not None else "not reached",
            "the catch held out until the last",
        ),
        ("Caught in all", number(row.expected_catch) if row else "not known", "expected"),
        (
            "No decline",
            percent(row.chance_no_decline) if row else "not known",
            "chance that the survey has no answer",
        ),
    )
    return Answer(
        sentence=sentence,
        figures=figures,
        columns=("Passes", "Caught in each, expected", "Caught in all", "Plus or minus", "The answer would lie within",
                 "Chance that the catch does not decline"),
        rows=tuple(
            (
                str(one.passes),
                ", ".join(number(catch) for catch in one.expected_catches),
                number(one.expected_catch),
                percent(one.half_width) if one.half_width is not None else "no end",
                interval(one.lower, one.upper),
                percent(one.chance_no_decline),
            )
            for one in plan.rows
        ),
        caption="What each further pass buys",
        notes=plan.notes,
        chart=chart,
        is_reached=plan.is_reached,
    )  # fmt: skip


def of_sexing(expected: int, half_width: float, ratio: float) -> Answer:
    """Answer how many to sex for the share of females."""
    plan = sexing_plan(expected, ratio=ratio, half_width=half_width)
    widths = sorted({*SEX_WIDTHS, round(half_width, 4)})
    plans = [sexing_plan(expected, ratio=ratio, half_width=width) for width in widths]
    chart = bar_chart(
        "To sex, by how well the share is wanted",
        [_points(width) for width in widths],
        [one.to_sex for one in plans],
        unit="heads",
    )
    return Answer(
        sentence=_sexing_sentence(plan, expected),
        figures=(
            (
                "Sex",
                number(plan.to_sex) if plan.to_sex is not None else "not reached",
                f"of {number(expected)}",
            ),
            ("Females", number(plan.expected_females), "expected among them"),
            (
                "Females per male",
                interval(plan.ratio_lower, plan.ratio_upper, 1),
                "what the sample would leave open",
            ),
        ),
        columns=("Wanted", "To sex", "Share of females within", "Females per male within"),
        rows=tuple(
            (
                _points(width),
                number(one.to_sex) if one.to_sex is not None else "not reached",
                f"{percent(one.lower)} to {percent(one.upper)}" if one.lower is not None else "not known",
                interval(one.ratio_lower, one.ratio_upper, 1),
            )
            for width, one in zip(widths, plans, strict=True)
        ),
        caption="What it takes for how good an answer",
        notes=plan.notes,
        chart=chart,
        is_reached=plan.to_sex is not None,
    )


def _marks_sentence(plan: HaulsPlan, expected: int, marked: int | None) -> str:
    wanted = percent(plan.half_width_wanted, 0 if (plan.half_width_wanted or 0) * 100 % 1 < 0.01 else 1)
    if not plan.is_reached or plan.marked is None or plan.caught is None:
        return f"Two hauls with marks do not tell {number(expected)} heads within ± {wanted} this way."
    first = f"With {number(marked)} carrying marks" if marked is not None else f"Mark {number(plan.marked)}"
    then = f"catch {number(plan.caught)}" if marked is not None else f"then catch {number(plan.caught)}"
    return (
        f"{first}, {then}: of {number(expected)} heads about {number(plan.expected_recaptures)} would be "
        f"recaptured, and the answer lie within ± {wanted}."
    )


def _sexing_sentence(plan: SexingPlan, expected: int) -> str:
    if plan.to_sex is None:
        return f"Sexing does not tell the share of females among {number(expected)} heads that well."
    return (
        f"Sex {number(plan.to_sex)} of {number(expected)}: the share of females is then known within "
        f"{_points(plan.half_width_wanted)}, {interval(plan.ratio_lower, plan.ratio_upper, 1)} females per male."
    )


def _recaptures(plan: HaulsPlan) -> str:
    if plan.recaptures_low is None:
        return "expected"
    return f"expected; {interval(plan.recaptures_low, plan.recaptures_high)} in nine surveys of ten"


def _points(width: float) -> str:
    points = width * 100
    return f"± {number(points, 0 if abs(points - round(points)) < 0.01 else 1)} points"


def _hundred(share: float | None) -> float | None:
    return None if share is None else share * 100
