"""What the extract reads of some ponds together: one query a question, however many ponds. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Count as RowCount
from django.db.models import F, Q, QuerySet, Sum

from ponds.models import Basket, NestDay, Pond, PondState
from stock import mended_rows, pond_page, pond_rows, review_rows
from stock.mended_rows import MendedRow
from stock.models import Count, Entry, Move, Paper
from stock.moves_read import CELLS, with_entries
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.pond_page import Origin
from stock.pond_rows import PondKindId
from stock.review_rows import Flow

LotOfPond = tuple[str, str, dt.date, str, int, int]
Flows = Mapping[tuple[int, int, str], Flow]


class ExtractRows:
    """
    Everything the sheets of some ponds hold, from `first` through `last`, each by pond id.

    Attributes
    ----------
    facts : mapping to list of PondKind
        As of the last day, kinds that left meanwhile among them.
    states : mapping to list of PondState
        The latest first.
    flows : mapping
        (pond id, kind id, class) -> what was booked.
    entries : mapping to list of Entry
        What was booked of the pond in the days, or happened in them and was booked later. A move and its reversal are
        left out where both are booked in the days, or neither.
    unexplained : mapping to list of Entry
        Beyond the book, and resets of the book to a count.
    origins : mapping
        (pond id, kind id) -> where the heads came from.
    papers_of_batches, papers_of_moves : mapping
        Row id -> its papers in words.
    eggs : mapping to list of NestDay
        The rows of the nest book that stand.
    lots : mapping
        Egg lots that hold eggs of the pond: code, kind, day set, incubator, eggs, baskets.
    counts, corrections, mended : mapping
        The counts that stand, moves that took back or replaced others, and what else was put right.
    """

    def __init__(self, ponds: Sequence[Pond], first: dt.date, last: dt.date) -> None:
        self.ids = {pond.pk for pond in ponds}
        self.days = first, last
        self.facts: dict[int, list[PondKind]] = defaultdict(list)
        for one in pond_kinds(last, pond_ids=self.ids, moved_since=first):
            self.facts[one.pond_id].append(one)
        self.states: Mapping[int, list[PondState]] = pond_rows.all_states(list(self.ids))
        self.flows: Flows = review_rows.flows(first, last, self.ids)
        self.origins: Mapping[PondKindId, Sequence[Origin]] = pond_page.origins_by_pond(
            [one for of_pond in self.facts.values() for one in of_pond]
        )
        touching = self._touching().select_related("move__reverses", "move__reversed_by", *CELLS)
        told = touching.order_by("happened_on", "move_id", "line")
        self.entries = self._by_pond(entry for entry in told if not _nets_out(entry, first, last))
        odd = touching.filter(reason__in=("BEYOND_BOOK", "COUNT_RESET"))
        self.unexplained = self._by_pond(odd.order_by("happened_on", "pk"))
        every = [entry for of_pond in self.entries.values() for entry in of_pond]
        self.papers_of_batches = _papers("batch", (entry.batch_id for entry in every))
        moves = (entry.move.reverses_id or entry.move_id for entry in every)
        self.papers_of_moves = _papers("move", moves)
        self.eggs = self._eggs()
        self.counts: dict[int, list[Count]] = defaultdict(list)
        counts = Count.objects.standing().filter(pond__in=self.ids, as_of__range=self.days)
        for count in counts.select_related("kind", "move").order_by("as_of", "pk"):
            self.counts[count.pond_id].append(count)
        self.corrections = self._corrections()
        self.mended: dict[int, list[MendedRow]] = defaultdict(list)
        for row in mended_rows.corrections(self.ids, first, last):
            for pond_id in row.pond_ids:
                self.mended[pond_id].append(row)
        self.lots = self._lots()

    def _touching(self) -> QuerySet[Entry]:
        return Entry.objects.filter(
            Q(source__pond__in=self.ids) | Q(target__pond__in=self.ids), _of_days(*self.days)
        )

    def _by_pond(self, entries: Iterable[Entry]) -> dict[int, list[Entry]]:
        found: dict[int, list[Entry]] = defaultdict(list)
        for entry in entries:
            for pond_id in self.ids.intersection((entry.source.pond_id, entry.target.pond_id)):
                found[pond_id].append(entry)
        return found

    def _eggs(self) -> dict[int, list[NestDay]]:
        found: dict[int, list[NestDay]] = defaultdict(list)
        rows = NestDay.objects.standing().filter(pond__in=self.ids, dug_on__range=self.days)
        for row in rows.select_related("kind", "by").order_by("dug_on", "pk"):
            found[row.pond_id].append(row)
        return found

    def _lots(self) -> dict[int, list[LotOfPond]]:
        found: dict[int, list[LotOfPond]] = defaultdict(list)
        rows = (
            Basket.objects.standing()
            .filter(pond__in=self.ids, dug_on__range=self.days)
            .values_list("pond", "lot__code", "lot__kind__common_name", "lot__set_on", "lot__incubator")
            .annotate(lot_eggs=Sum("eggs"), baskets=RowCount("pk"))
            .order_by("lot__set_on", "lot__code")
        )
        for pond_id, *lot in rows:
            found[pond_id].append(tuple(lot))
        return found

    def _corrections(self) -> dict[int, list[Move]]:
        moves = Move.objects.filter(
            Q(pond__in=self.ids) | Q(pk__in=self._touching().values("move")),
            Q(reverses__isnull=False) | Q(replaces__isnull=False),
            _of_days(*self.days),
        )
        found: dict[int, list[Move]] = defaultdict(list)
        for move in with_entries(moves).order_by("recorded_at", "pk"):
            touched = [move.pond_id]
            for entry in move.entries.all():
                touched += [entry.source.pond_id, entry.target.pond_id]
            for pond_id in self.ids.intersection(touched):
                found[pond_id].append(move)
        return found


def _of_days(first: dt.date, last: dt.date) -> Q:
    """Say: booked in the days, or happened in them and booked later; nothing is booked before it happened."""
    return Q(booked_on__gte=first, happened_on__lte=last) & (
        Q(happened_on__gte=first) | Q(booked_on__lte=last)
    )


def _nets_out(entry: Entry, first: dt.date, last: dt.date) -> bool:
    """Tell whether a move and its reversal are both booked in the days, or both are not: neither is told then."""
    other: Move | None = entry.move.reverses or getattr(entry.move, "reversed_by", None)
    return other is not None and (first <= other.booked_on <= last) == (first <= entry.booked_on <= last)


def _papers(of: str, ids: Iterable[int | None]) -> dict[int, str]:
    """Return batch or move id -> its papers in words: one query."""
    found: dict[int, list[str]] = defaultdict(list)
    rows = Paper.objects.filter(**{f"{of}__in": {pk for pk in ids if pk}}).order_by("pk")
    for pk, *words in rows.values_list(F(of), "party", "licence", "document", "purpose", "disposal"):
        found[pk].append(", ".join(word for word in words if word))
    return {pk: "; ".join(words) for pk, words in found.items()}
