"""Sizes by sex and growth of the marked turtles, kind by kind: rows -> plain lists -> `stock/marks/growth.py`."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.db import connection

from ponds.models import Kind
from stock.kept_answers import KeptAnswers, stamp_of
from stock.marks.growth import GrowthCurve, SexDifference, Sizes, growth_curve, sex_difference, size_summary
from stock.marks.measures import DEFINITIONS

GROWN = "SCL_MAX"
SHOWN = (GROWN, "PL_MAX", "CW", "SH", "MASS")
SEXES = ("FEMALE", "MALE")
# Of two animals the limits reach below nothing: they say that two are too few.
FEWEST_FOR_LIMITS = 3
Taken = tuple[dt.date | str | None, int | None, dt.date | str, int]
Series = dict[tuple[int, str, str], list[Taken]]

_OF_TURTLE = """
    SELECT m.id FROM stock_measure m WHERE m.turtle_id = t.id AND m.what = asked.what AND NOT m.is_void
    AND NOT EXISTS (SELECT 1 FROM stock_measure later WHERE later.replaces_id = m.id)
"""
# Of each turtle and measure the latest row, and of the length that grows the first one too where it is another:
# each is found through the index, so that what was measured in between is never read.
LATEST = f"""
SELECT t.kind_id, t.sex, asked.what, began.measured_on, began.stored, latest.measured_on, latest.stored
FROM stock_turtle t
CROSS JOIN ({" UNION ALL ".join(["SELECT %s AS what"] * len(SHOWN))}) asked
JOIN stock_measure latest ON latest.id = ({_OF_TURTLE} ORDER BY m.measured_on DESC, m.id DESC LIMIT 1)
LEFT JOIN stock_measure began ON asked.what = %s AND began.id <> latest.id
    AND began.id = ({_OF_TURTLE} ORDER BY m.measured_on, m.id LIMIT 1)
WHERE t.sex IN (%s, %s)
ORDER BY t.id
"""  # noqa: S608 (made of our own words)


@dataclass(frozen=True)
class SizeRow:
    """One measure of one kind: each sex's sizes, and how they differ; `unit` is mm or g."""

    code: str
    title: str
    unit: str
    females: Sizes
    males: Sizes
    difference: SexDifference

    @property
    def has_limits(self) -> bool:
        """Whether enough of both sexes were measured that limits of their difference say anything."""
        return min(self.females.heads, self.males.heads) > FEWEST_FOR_LIMITS - 1


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
    a third one reads the first and latest of every turtle, where a measure or a turtle's sex was written since this
    process last read them.
    """
    found = _KEPT.of(("sizes", stamp_of(("stock_measure", "stock_sexstep"))), _work_out)
    # Names are no part of what is kept: an owner may change them.
    names = dict(Kind.objects.filter(pk__in=[pk for pk, _, _ in found]).values_list("pk", "common_name"))
    in_order = sorted(found, key=lambda one: (-one[1], names[one[0]]))
    return tuple(replace(sizes, kind=names[pk]) for pk, _, sizes in in_order)


def _work_out() -> tuple[tuple[int, int, KindSizes], ...]:
    """Return each kind's id, how many turtles of it have a length, and its sizes, not named yet; one query."""
    series: Series = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(LATEST, [*SHOWN, GROWN, *SEXES])
        for kind, sex, what, first_on, first, last_on, last in cursor:
            series[kind, sex, what].append((first_on, first, last_on, last))
    return tuple(
        (
            kind,
            sum(len(series.get((kind, sex, GROWN), ())) for sex in SEXES),
            _kind(kind, series),
        )
        for kind in sorted({kind for kind, _, _ in series})
    )


def _kind(kind: int, series: Series) -> KindSizes:
    shown = []
    for code in SHOWN:
        females, males = ([last for *_, last in series.get((kind, sex, code), ())] for sex in SEXES)
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
    return KindSizes("", tuple(shown), *(_growth(series.get((kind, sex, GROWN), ())) for sex in SEXES))


def _growth(taken: Iterable[Taken]) -> GrowthCurve:
    pairs = [
        (first, last, (_day(last_on) - _day(first_on)).days / 365.25)
        for first_on, first, last_on, last in taken
        if first is not None and first_on is not None
    ]
    return growth_curve(
        [first for first, _, _ in pairs], [last for _, last, _ in pairs], [years for *_, years in pairs]
    )


def _day(read: dt.date | str) -> dt.date:
    """Return a day as the database gives it: SQLite keeps it as text."""
    return dt.date.fromisoformat(read) if isinstance(read, str) else read
