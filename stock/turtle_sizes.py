"""Sizes by sex and growth of the marked turtles, kind by kind: rows -> plain lists -> `stock/marks/growth.py`."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

from ponds.models import Kind
from stock.kept_answers import KeptAnswers, stamp_of
from stock.marks.growth import GrowthCurve, SexDifference, Sizes, growth_curve, sex_difference, size_summary
from stock.marks.measures import DEFINITIONS
from stock.models import Measure

SHOWN = ("SCL_MAX", "PL_MAX", "CW", "SH", "MASS")
SEXES = ("FEMALE", "MALE")
Series = dict[tuple[int, str, str], dict[int, list]]


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


_KEPT: KeptAnswers[tuple[tuple[int, int, KindSizes], ...]] = KeptAnswers(2)


def kind_sizes() -> tuple[KindSizes, ...]:
    """
    Return sizes by sex and growth, the kind with the most turtles measured first.

    Each turtle counts once with its latest measure, and once in growth with its first and last length. Two queries;
    a third one reads every measure, where one or a turtle's sex was written since this process last read them.
    """
    found = _KEPT.of(("sizes", stamp_of(("stock_measure", "stock_sexstep"))), _work_out)
    # Names are no part of what is kept: an owner may change them.
    names = dict(Kind.objects.filter(pk__in=[pk for pk, _, _ in found]).values_list("pk", "common_name"))
    in_order = sorted(found, key=lambda one: (-one[1], names[one[0]]))
    return tuple(replace(sizes, kind=names[pk]) for pk, _, sizes in in_order)


def _work_out() -> tuple[tuple[int, int, KindSizes], ...]:
    """Return each kind's id, how many turtles of it have a length, and its sizes, not named yet; one query."""
    rows = (
        Measure.objects.standing()
        .filter(what__in=SHOWN, turtle__sex__in=SEXES)
        .order_by("measured_on", "pk")
        .values_list("turtle__kind", "turtle__sex", "what", "turtle", "measured_on", "stored")
    )
    series: Series = defaultdict(lambda: defaultdict(list))
    for kind, sex, what, turtle, day, stored in rows.iterator():
        series[kind, sex, what][turtle].append((day, stored))
    kinds = sorted({kind for kind, _, _ in series})
    return tuple(
        (
            kind,
            sum(len(series[kind, sex, "SCL_MAX"]) for sex in SEXES if (kind, sex, "SCL_MAX") in series),
            _kind(kind, series),
        )
        for kind in kinds
    )


def _kind(kind: int, series: Series) -> KindSizes:
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
    return KindSizes("", tuple(shown), *(_growth(series.get((kind, sex, "SCL_MAX"), {})) for sex in SEXES))


def _growth(taken: dict[int, list]) -> GrowthCurve:
    pairs = [(one[0], one[-1]) for one in taken.values() if len(one) > 1]
    return growth_curve(
        [first[1] for first, _ in pairs],
        [last[1] for _, last in pairs],
        [(last[0] - first[0]).days / 365.25 for first, last in pairs],
    )
