"""Sizes by sex and growth of the marked turtles, kind by kind: rows -> plain lists -> `stock/marks/growth.py`."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from stock.marks.growth import GrowthCurve, SexDifference, Sizes, growth_curve, sex_difference, size_summary
from stock.marks.measures import DEFINITIONS
from stock.models import Measure

SHOWN = ("SCL_MAX", "PL_MAX", "CW", "SH", "MASS")
SEXES = ("FEMALE", "MALE")


@dataclass(frozen=True)
class SizeRow:
    """One measure of one kind: each sex's sizes, and how they differ; `unit` is mm or g."""

    code: str
    title: str
    unit: str
    females: Sizes
    males: Sizes
    difference: SexDifference


@dataclass(frozen=True)
class KindSizes:
    """One kind: its measures, and growth of each sex."""

    kind: str
    rows: tuple[SizeRow, ...]
    females: GrowthCurve
    males: GrowthCurve


def kind_sizes() -> tuple[KindSizes, ...]:
    """
    Return sizes by sex and growth, the kind with the most turtles measured first; one query.

    Each turtle counts once with its latest measure, and once in growth with its first and last length.
    """
    rows = (
        Measure.objects.standing()
        .filter(what__in=SHOWN, turtle__sex__in=SEXES)
        .order_by("measured_on", "pk")
        .values_list("turtle__kind__common_name", "turtle__sex", "what", "turtle", "measured_on", "stored")
    )
    series: dict[tuple[str, str, str], dict[int, list]] = defaultdict(lambda: defaultdict(list))
    for kind, sex, what, turtle, day, stored in rows:
        series[kind, sex, what][turtle].append((day, stored))
    kinds = {kind for kind, _, _ in series}

    def measured(kind: str) -> int:
        return sum(len(series[kind, sex, "SCL_MAX"]) for sex in SEXES if (kind, sex, "SCL_MAX") in series)

    return tuple(_kind(kind, series) for kind in sorted(kinds, key=lambda kind: (-measured(kind), kind)))


def _kind(kind: str, series: dict[tuple[str, str, str], dict[int, list]]) -> KindSizes:
    shown = []
    for code in SHOWN:
        females, males = (
            [taken[-1][1] for taken in series.get((kind, sex, code), {}).values()] for sex in SEXES
        )
        if females or males:
            shown.append(
                SizeRow(
                    code,
                    DEFINITIONS[code].title,
                    "g" if code == "MASS" else "mm",
                    size_summary(females),
                    size_summary(males),
                    sex_difference(females, males),
                )
            )
    return KindSizes(kind, tuple(shown), *(_growth(series.get((kind, sex, "SCL_MAX"), {})) for sex in SEXES))


def _growth(taken: dict[int, list]) -> GrowthCurve:
    pairs = [(one[0], one[-1]) for one in taken.values() if len(one) > 1]
    return growth_curve(
        [first[1] for first, _ in pairs],
        [last[1] for _, last in pairs],
        [(last[0] - first[0]).days / 365.25 for first, last in pairs],
    )
