"""What was put right, or entered later, that is no move: head counts, the nest book and the hatch log. Reads only.

A row is told of the days where it, or the row it was put in the place of, is of them: nests that were moved to another
day are a correction of both.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Q

from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch, NestDay
from ponds.nest_checks import nests_text
from ponds.svg_marks import figure_text
from stock.drafts import Z_95
from stock.links import link
from stock.models import Count, CountReversal, Move
from stock.templatetags.stock_format import day as day_words

TAKEN_BACK, MENDED, ENTERED = "taken back", "put in its place", "entered"


@dataclass(frozen=True)
class MendedRow:
    """
    A row that was entered, and what it took back or was put in the place of.

    Parameters
    ----------
    pond_ids : frozenset of int
        The ponds it is about, of those asked for.
    day : date
        The day it is of; of a correction that was wrong, unless only the new one is of the days asked for.
    recorded_at : datetime
    state : str
        `TAKEN_BACK`, `MENDED` or `ENTERED`.
    what, note, by_name : str
    url : str
        Where it stands; "" where nothing is left to show.
    """

    pond_ids: frozenset[int]
    day: dt.date
    recorded_at: dt.datetime
    state: str
    what: str
    note: str
    by_name: str
    url: str


def corrections(pond_ids: Collection[int], first: dt.date, last: dt.date) -> list[MendedRow]:
    """Return what was put right of some days, as it was entered: eight queries, whatever the ponds and the rows."""
    return _in_order(_Read(pond_ids, first, last, None))


def entered_since(
    pond_ids: Collection[int], first: dt.date, last: dt.date, since: dt.datetime
) -> list[MendedRow]:
    """Return what was entered or put right of some days after `since`, in that order: nine queries at most."""
    return _in_order(_Read(pond_ids, first, last, since))


def counted_words(heads: float | None, se: float | None) -> str:
    """Return a counted figure with its plus-or-minus at 95 %; "not counted" where it is None."""
    if heads is None:
        return "not counted"
    return f"{figure_text(heads, 0)} ± {figure_text(Z_95 * se, 0)}" if se else figure_text(heads, 0)


def _in_order(read: _Read) -> list[MendedRow]:
    return sorted(read.all(), key=lambda row: row.recorded_at)


@dataclass(frozen=True)
class _Book:
    """How the rows of one book are told: the field of their day, what goes before, and the words of one."""

    model: Any
    day: str
    head: Callable[[Any], str]
    words: Callable[[Any], str]
    related: tuple[str, ...] = ()
    is_of_pond: bool = False


def _of_lot(row: Candling | Hatch | EggTemperature) -> str:
    basket = getattr(row, "basket", None)
    return f"egg lot {row.lot.code}{f', basket {basket.number}' if basket else ''}"


def _eggs(eggs: int | None) -> str:
    return "eggs not counted" if eggs is None else f"{figure_text(eggs)} egg{'' if eggs == 1 else 's'}"


def _nest_words(row: NestDay) -> str:
    broken = f" ({figure_text(row.broken)} broken)" if row.broken else ""
    kind = row.kind.common_name if row.kind else "kind not known"
    return f"{nests_text(row.nests)} and {_eggs(row.eggs)}{broken}, {kind}"


def _lot_words(row: EggLot) -> str:
    degrees = f", {row.temperature_typed} °{row.temperature_unit}" if row.temperature_typed else ""
    return f"{row.kind.common_name}{f' in {row.incubator}' if row.incubator else ''}{degrees}"


def _hatch_words(row: Hatch) -> str:
    left = ", nothing is left" if row.is_last else ""
    return f"{figure_text(row.hatched)} hatched, {figure_text(row.clear)} clear, {figure_text(row.dead)} dead{left}"


_BOOKS = (
    _Book(NestDay, "dug_on", lambda row: "nest book", _nest_words, ("kind", "pond"), is_of_pond=True),
    _Book(EggLot, "set_on", lambda row: f"egg lot {row.code}", _lot_words, ("kind",)),
    _Book(
        Basket,
        "dug_on",
        lambda row: f"egg lot {row.lot.code}, basket {row.number}",
        lambda row: f"{_eggs(row.eggs)} of pond {row.pond.code} in container {row.container}",
        ("lot", "pond"),
        is_of_pond=True,
    ),
    _Book(
        Candling,
        "candled_on",
        lambda row: f"{_of_lot(row)}, candling",
        lambda row: f"{figure_text(row.clear)} clear, {figure_text(row.dead)} dead",
        ("lot", "basket"),
    ),
    _Book(Hatch, "hatched_on", lambda row: f"{_of_lot(row)}, hatch", _hatch_words, ("lot", "basket")),
    _Book(
        EggTemperature,
        "measured_on",
        lambda row: f"{_of_lot(row)}, temperature",
        lambda row: f"{row.temperature_typed} °{row.temperature_unit}",
        ("lot",),
    ),
)


class _Read:
    """What is asked: the ponds, the days, and the instant after which; None asks for corrections alone."""

    def __init__(
        self, pond_ids: Collection[int], first: dt.date, last: dt.date, since: dt.datetime | None
    ) -> None:
        self.ids = frozenset(pond_ids)
        self.days = first, last
        self.since = since

    def all(self) -> Iterator[MendedRow]:
        yield from self._counts_back()
        if self.since is not None:
            yield from self._counts(self.since)
        found = [(book, row, was) for book in _BOOKS for row, was in self._rows(book)]
        codes = {_code_of(row) for _, row, _ in found} - {""}
        ponds, standing = self._lots(codes)
        for book, row, was in found:
            about = self._about(book, row, was, ponds)
            if about:
                yield self._told(book, row, was, about, standing)

    def _rows(self, book: _Book) -> list[tuple[Any, Any]]:
        """Return (row, the row it was put in the place of or None) of one book: one query."""
        rows = book.model.objects.filter(**{f"{book.day}__range": self.days})
        if book.is_of_pond:
            rows = rows.filter(pond__in=self.ids)
        if self.since is None:
            rows = rows.filter(Q(replaces__isnull=False) | Q(replaced_by__isnull=False))
        else:
            rows = rows.filter(Q(recorded_at__gt=self.since) | Q(replaced_by__recorded_at__gt=self.since))
        joined = [
            f"{of}{name}" for of in ("", "replaces__", "replaced_by__") for name in (*book.related, "by")
        ]
        found: dict[int, tuple[Any, Any]] = {}
        for row in rows.select_related("replaces", "replaced_by", *joined):
            later = getattr(row, "replaced_by", None)
            for one, was in ((row, row.replaces), (later, row)):
                if one is not None and self._is_asked(one):
                    found[one.pk] = one, was
        return list(found.values())

    def _is_asked(self, row: Any) -> bool:
        if self.since is None:
            return row.replaces_id is not None
        return row.recorded_at > self.since

    def _lots(self, codes: Collection[str]) -> tuple[dict[str, list[tuple[int, int]]], set[str]]:
        """Return lot code -> (basket number, pond id), and the codes of lots that stand: one query."""
        stands = EggLot.objects.standing().filter(code=OuterRef("lot__code"))
        ponds: dict[str, list[tuple[int, int]]] = {}
        standing = set()
        baskets = Basket.objects.filter(lot__code__in=codes).annotate(stands=Exists(stands))
        for code, number, pond, is_there in baskets.values_list("lot__code", "number", "pond", "stands"):
            ponds.setdefault(code, []).append((number, pond))
            if is_there:
                standing.add(code)
        return ponds, standing

    def _about(
        self, book: _Book, row: Any, was: Any, ponds: dict[str, list[tuple[int, int]]]
    ) -> frozenset[int]:
        if book.is_of_pond:
            return self.ids.intersection((row.pond_id, was.pond_id if was else row.pond_id))
        basket = getattr(row, "basket", None)
        return self.ids.intersection(
            pond for number, pond in ponds.get(_code_of(row), ()) if basket is None or basket.number == number
        )

    def _told(self, book: _Book, row: Any, was: Any, about: frozenset[int], standing: set[str]) -> MendedRow:
        day = getattr(row, book.day)
        said = book.words(row)
        state = ENTERED
        if was is not None:
            on = getattr(was, book.day)
            state = TAKEN_BACK if row.is_void else MENDED
            before = f"{book.words(was)}, of {day_words(on)}"
            moved = f", of {day_words(day)}" if day != on else ""
            said = before if row.is_void else f"{before}; now {said}{moved}"
            day = on if self.days[0] <= on <= self.days[1] else day
        code = _code_of(row)
        if not code:
            url = link("ponds:nest-list", pond=row.pond.code)
        else:
            url = link("ponds:lot-detail", code) if code in standing else ""
        by_name = row.by.get_username() if row.by else ""
        return MendedRow(
            about, day, row.recorded_at, state, f"{book.head(row)}: {said}", row.note, by_name, url
        )

    def _counts_back(self) -> Iterator[MendedRow]:
        rows = CountReversal.objects.filter(count__pond__in=self.ids, count__as_of__range=self.days)
        if self.since is not None:
            rows = rows.filter(recorded_at__gt=self.since)
        for row in rows.select_related("count__kind"):
            yield _count_told(row.count, row, TAKEN_BACK)

    def _counts(self, since: dt.datetime) -> Iterator[MendedRow]:
        rows = Count.objects.filter(pond__in=self.ids, as_of__range=self.days, recorded_at__gt=since)
        # What stood at an opening is told by its move.
        rows = rows.exclude(move__made_as=Move.MadeAs.OPENING)
        for row in rows.select_related("kind"):
            yield _count_told(row, row, ENTERED)


def _code_of(row: Any) -> str:
    """Return the code of the lot a row belongs to, "" of the nest book's."""
    if isinstance(row, EggLot):
        return row.code
    return row.lot.code if hasattr(row, "lot") else ""


def _count_told(count: Count, entered: Count | CountReversal, state: str) -> MendedRow:
    what = (
        f"head count of {count.kind.common_name} ({count.get_how_known_display()}): "
        f"females {counted_words(count.females, count.females_se)}, "
        f"males {counted_words(count.males, count.males_se)}"
    )
    return MendedRow(
        frozenset((count.pond_id,)), count.as_of, entered.recorded_at, state, what, entered.reason, entered.by_name,
        link("stock:count-detail", count.pk),
    )  # fmt: skip
