"""Nests of the nest book linked to the marked females that dug them, read through the book's corrections.

A link keeps the row it was made on. Where that row was corrected, the one that stands in its place is found by what
replaced it, so that nothing is rewritten and both stay true.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db import IntegrityError, connection, transaction
from django.db.models import F, IntegerField, Q, QuerySet
from django.db.models.expressions import RawSQL
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from ponds.models import NestDay
from stock.models import NestOfTurtle, Turtle
from stock.refusals import KeyReused, LedgerRefusal
from stock.turtle_records import LONGEST_NOTE, SENT_BEFORE

AT_ONCE = 500
CHAIN = """
WITH RECURSIVE chain(first, id) AS (
    SELECT id, id FROM ponds_nestday WHERE id IN ({marks})
    UNION ALL SELECT chain.first, later.id FROM ponds_nestday later JOIN chain ON later.replaces_id = chain.id
)
SELECT first, MAX(id) FROM chain GROUP BY first
"""
# From each row back to those it was corrected from, and the links on them that were not taken back.
DUG = """
WITH RECURSIVE chain(last, id) AS (
    SELECT id, id FROM ponds_nestday WHERE id IN ({marks})
    UNION ALL
    SELECT chain.last, was.replaces_id FROM ponds_nestday was JOIN chain ON was.id = chain.id
    WHERE was.replaces_id IS NOT NULL
)
SELECT chain.last, link.turtle_id FROM chain JOIN stock_nestofturtle link ON link.nest_day_id = chain.id
WHERE NOT link.is_void AND NOT EXISTS (SELECT 1 FROM stock_nestofturtle later WHERE later.replaces_id = link.id)
ORDER BY chain.last, link.turtle_id
"""
# The same for the row that a query is at: how many of its nests are linked.
LINKED = """
WITH RECURSIVE chain(id) AS (
    SELECT ponds_nestday.id
    UNION ALL
    SELECT was.replaces_id FROM ponds_nestday was JOIN chain ON was.id = chain.id WHERE was.replaces_id IS NOT NULL
)
SELECT COUNT(*) FROM chain JOIN stock_nestofturtle link ON link.nest_day_id = chain.id
WHERE NOT link.is_void AND NOT EXISTS (SELECT 1 FROM stock_nestofturtle later WHERE later.replaces_id = link.id)
"""


@dataclass(frozen=True)
class NestOfHers:
    """A nest linked to a female, and the row of the book that holds for it now."""

    link: NestOfTurtle
    row: NestDay

    @property
    def is_gone(self) -> bool:
        """Whether the row was taken back in the nest book."""
        return self.row.is_void

    @property
    def was_corrected(self) -> bool:
        """Whether the link was made on a row that another has replaced."""
        return self.row.pk != self.link.nest_day_id and not self.is_gone


def rows_now(rows: Iterable[int]) -> dict[int, int]:
    """Return, for rows of the nest book by id, the id of the last one that replaced each; a query for 500 rows."""
    ids = sorted(set(rows))
    found: dict[int, int] = {}
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        with connection.cursor() as cursor:
            cursor.execute(CHAIN.format(marks=", ".join(["%s"] * len(some))), some)
            found.update(cursor.fetchall())
    return found


def row_now(row: NestDay) -> NestDay:
    """Return the row of the nest book that holds in the place of one: itself where nothing replaced it."""
    return NestDay.objects.get(pk=rows_now([row.pk])[row.pk])


def nests_of(turtle: Turtle) -> tuple[NestOfHers, ...]:
    """Return a turtle's nests, the newest first: three queries, two more than none."""
    links = list(NestOfTurtle.objects.standing().filter(turtle=turtle))
    if not links:
        return ()
    now = rows_now(link.nest_day_id for link in links)
    rows = NestDay.objects.select_related("pond", "kind").in_bulk(set(now.values()))
    hers = [NestOfHers(link, rows[now[link.nest_day_id]]) for link in links]
    return tuple(sorted(hers, key=lambda one: (one.row.dug_on, one.link.pk), reverse=True))


def females_of(rows: Iterable[int]) -> dict[int, Counter[int]]:
    """Return which turtles dug how many nests of rows of the nest book that stand, by the row; one query for 500."""
    ids = sorted(set(rows))
    found: dict[int, Counter[int]] = {}
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        with connection.cursor() as cursor:
            cursor.execute(DUG.format(marks=", ".join(["%s"] * len(some))), some)
            for row, turtle in cursor.fetchall():
                found.setdefault(row, Counter())[turtle] += 1
    return found


def who_dug(rows: Collection[int]) -> dict[int, SafeString]:
    """Return, for rows of the nest book, which marked females dug nests of them: for the book's pages."""
    return {
        row: format_html(
            "Dug by {}",
            format_html_join(
                ", ",
                '<a href="{}">turtle {}</a>{}',
                (
                    (reverse("stock:turtle", args=[pk]), pk, f" ({number})" if number > 1 else "")
                    for pk, number in dug.items()
                ),
            ),
        )
        for row, dug in females_of(rows).items()
    }


def free_nests(turtle: Turtle) -> QuerySet:
    """Return the rows of the nest book, the newest first, that may hold a nest of this female; one query."""
    return (
        NestDay.objects.standing()
        .filter(Q(kind=None) | Q(kind=turtle.kind_id))
        # Asked row by row, so that those shown cost the same however old the book is.
        .annotate(linked=RawSQL(LINKED, (), output_field=IntegerField()))  # noqa: S611 (no value in it)
        .filter(nests__gt=F("linked"))
        .select_related("pond")
        .order_by("-dug_on", "-pk")
    )


def link_nest(
    turtle: Turtle,
    nest_day: NestDay,
    *,
    by,
    eggs: int | None = None,
    note: str = "",
    key: uuid.UUID | None = None,
) -> NestOfTurtle:
    """
    Link a nest of the nest book to the marked female that was seen to dig it; the same key links it once.

    Raises
    ------
    LedgerRefusal
        A male, a nest of another kind, a row all of whose nests have their females or that was taken back, or a key
        sent before for something else.
    """
    key, note = key or uuid.uuid4(), note[:LONGEST_NOTE]
    with transaction.atomic():
        # Of two who link the last nest of a row at the same time, the second one sees the first.
        turtle = Turtle.objects.select_for_update().get(pk=turtle.pk)
        now = rows_now([nest_day.pk])[nest_day.pk]
        list(NestDay.objects.select_for_update().filter(pk__in={nest_day.pk, now}).order_by("pk"))
        if first := NestOfTurtle.objects.filter(key=key).first():
            was = rows_now([first.nest_day_id])[first.nest_day_id]
            if (first.turtle_id, was, first.eggs, first.note) != (turtle.pk, now, eggs, note):
                raise KeyReused(SENT_BEFORE)
            return first
        nest_day = NestDay.objects.select_related("kind").get(pk=now)
        _check_hers(turtle, nest_day)
        try:
            with transaction.atomic():
                return NestOfTurtle.objects.create(
                    key=key, turtle=turtle, nest_day=nest_day, eggs=eggs, by=by, note=note
                )
        except IntegrityError as error:
            # Only where one key is sent for two turtles at the same time.
            raise KeyReused(SENT_BEFORE) from error


def _check_hers(turtle: Turtle, nest_day: NestDay) -> None:
    if turtle.sex == "MALE":
        raise LedgerRefusal(
            f"Turtle {turtle.code} is a male by the register. Mend the sex first.", field="turtle"
        )
    if nest_day.is_void:
        raise LedgerRefusal("That row was taken back in the nest book. Choose another.", field="nest_day")
    if nest_day.kind_id is not None and nest_day.kind_id != turtle.kind_id:
        raise LedgerRefusal(
            f"That nest is of {nest_day.kind}, and turtle {turtle.code} is a {turtle.kind}.", field="turtle"
        )
    if sum(females_of([nest_day.pk]).get(nest_day.pk, Counter()).values()) >= nest_day.nests:
        raise LedgerRefusal(
            f"All {nest_day.nests} nests of that row have their females. Add the nest to the nest book first.",
            field="nest_day",
        )
