"""The extract's tables of heads: what was booked in some days, and what happened in them and was booked later."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ponds.models import Pond
from stock.book import FIELD_OF_CLASS, ClassHeads
from stock.drafts import SOURCES_OUTSIDE, TARGETS_OUTSIDE
from stock.models import Cell, Entry, Move, Reason
from stock.move_words import CAUSE_WORDS, class_words, part_sentence
from stock.moves_read import part_of, place_of
from stock.printed import PrintedTable
from stock.templatetags.stock_format import day as day_words

REASON_WORDS = dict(Reason.choices)
# The dead of one row: the month to sort by, its words, kind, cause and papers.
_Of = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class Told:
    """
    One entry as the tables tell it.

    Parameters
    ----------
    entry : Entry
    source, target : Cell
        Of the move, of a reversal those of the move it takes back.
    heads : int
        Below zero where they are taken back.
    more : str
        What a cell must say besides: that it was taken back; "" of most.
    """

    entry: Entry
    source: Cell
    target: Cell
    heads: int
    more: str

    @property
    def which(self) -> str:
        return (
            f"{self.source.kind.common_name} {class_words(self.source.of_class, abs(self.heads))}{self.more}"
        )

    @property
    def move_id(self) -> int:
        """The move that brought its papers along."""
        return self.entry.move.reverses_id or self.entry.move_id


class BookedTables:
    """
    The tables of one pond's heads.

    Parameters
    ----------
    entries : sequence of Entry
        As `ExtractRows.entries` holds them.
    pond : Pond
    first, last : date
        In, out and dead come to what was booked from `first` through `last`; a row of another day says so.
    """

    def __init__(self, entries: Sequence[Entry], pond: Pond, first: dt.date, last: dt.date) -> None:
        self.pond = pond
        self.first, self.last = first, last
        self.told = [self._told(entry) for entry in entries]

    def day_of(self, row: Entry | Move, words: str = "") -> str:
        """Return a row's day (or `words` for it), and the day of the book where that is another one."""
        day = words or day_words(row.happened_on)
        if row.booked_on == row.happened_on:
            return day
        booked = day_words(row.booked_on)
        if row.booked_on > self.last:
            return f"{day}, booked after these days ({booked})"
        return f"{'of ' if row.happened_on < self.first else ''}{day}, booked {booked}"

    def unexplained(self, entries: Iterable[Entry]) -> PrintedTable:
        rows = []
        for entry in entries:
            was = part_sentence(part_of(entry))
            taken_back = "; a reversal" if entry.move.reverses_id else ""
            rows.append((self.day_of(entry), was + taken_back, entry.move.note, entry.move.by_name))
        return PrintedTable(
            "Heads nobody can explain yet",
            ("Day", "What", "Note", "By"),
            tuple(rows),
            note="Found beyond what the book held, or missing when the book was reset to a count.",
            empty="None in these days.",
            widths=(1.4, 3, 2, 1),
        )

    def came(self, papers: Mapping[int, str]) -> PrintedTable:
        rows = tuple(
            (
                self.day_of(one.entry), one.heads, one.which, REASON_WORDS[one.entry.reason],
                one.entry.batch.code if one.entry.batch else "", one.entry.batch.party if one.entry.batch else "",
                papers.get(one.entry.batch_id or 0, "none"), one.entry.move.by_name,
            )
            for one in self.told
            if one.target.pond_id == self.pond.pk and one.source.outside in SOURCES_OUTSIDE
        )  # fmt: skip
        return PrintedTable(
            "What came from outside",
            ("Day", "Heads", "Which", "How", "Batch", "Seller or place", "Papers", "By"),
            rows,
            empty="Nothing in these days.",
            widths=(1.4, 0.7, 1.8, 1, 1.3, 1.5, 1.7, 1),
        )

    def went(self, papers: Mapping[int, str]) -> PrintedTable:
        rows = tuple(
            (
                self.day_of(one.entry), one.heads, one.which, REASON_WORDS[one.entry.reason],
                papers.get(one.move_id, "none"), one.entry.move.by_name,
            )
            for one in self.told
            if one.source.pond_id == self.pond.pk
            and one.target.outside in TARGETS_OUTSIDE
            and one.entry.reason != "DIED"
        )  # fmt: skip
        return PrintedTable(
            "What was sold, culled or escaped",
            ("Day", "Heads", "Which", "How", "Buyer, papers and means of disposal", "By"),
            rows,
            empty="Nothing in these days.",
            widths=(1.4, 0.7, 2, 1, 2.7, 1),
        )

    def moved(self) -> PrintedTable:
        rows = tuple(
            (
                self.day_of(one.entry), place_of(one.source), place_of(one.target), one.heads, one.which,
                one.entry.move.by_name,
            )
            for one in self.told
            if one.entry.reason == "MOVED"
        )  # fmt: skip
        return PrintedTable(
            "What moved between ponds",
            ("Day", "From", "To", "Heads", "Which", "By"),
            rows,
            empty="Nothing in these days.",
            widths=(1.6, 0.7, 0.7, 0.8, 2.4, 1),
        )

    def sexed(self) -> PrintedTable:
        rows = tuple(
            (
                self.day_of(one.entry), one.heads, one.which, class_words(one.target.of_class, abs(one.heads)),
                REASON_WORDS[one.entry.reason], one.entry.move.by_name,
            )
            for one in self.told
            if one.entry.reason in ("SEXED", "MATURED")
        )  # fmt: skip
        return PrintedTable(
            "What became of another class",
            ("Day", "Heads", "From", "To", "How", "By"),
            rows,
            note="Out of one class and in the other of the same pond.",
            empty="Nothing in these days.",
            widths=(1.6, 0.7, 2.4, 1, 1, 1),
        )

    def died(self, papers: Mapping[int, str]) -> PrintedTable:
        by_month: dict[_Of, Counter[str]] = defaultdict(Counter)
        signed: dict[_Of, dict[str, None]] = defaultdict(dict)
        for one in self._dead():
            entry = one.entry
            disposal = papers.get(one.move_id, "not written down")
            cause = CAUSE_WORDS.get(entry.cause, "cause not known")
            where = (
                f"{entry.happened_on:%Y-%m}", self.day_of(entry, f"{entry.happened_on:%B %Y}") + one.more,
                one.source.kind.common_name, cause, disposal,
            )  # fmt: skip
            by_month[where][FIELD_OF_CLASS[one.source.of_class]] += one.heads
            signed[where][entry.move.by_name] = None
        rows = []
        for where, heads in sorted(by_month.items()):
            (_, month, kind, cause, disposal), sums = where, ClassHeads(**heads)
            rows.append(
                (
                    month, kind, cause, sums.females, sums.males, sums.unsexed, sums.juveniles, sums.total, disposal,
                    ", ".join(signed[where]),
                )
            )  # fmt: skip
        return PrintedTable(
            "What died",
            (
                "Month", "Kind", "Cause", "Females", "Males", "Unsexed", "Juveniles", "All",
                "Papers and disposal", "By",
            ),
            tuple(rows),
            note="By the month it was found in; each single day stands in the list of moves.",
            empty="None was found dead in these days.",
            widths=(1.5, 1.4, 1.4, 0.8, 0.7, 0.8, 0.9, 0.6, 1.5, 0.9),
        )  # fmt: skip

    def _told(self, entry: Entry) -> Told:
        if entry.move.reverses_id:
            return Told(entry, entry.target, entry.source, -entry.heads, ", taken back")
        was_back: Move | None = getattr(entry.move, "reversed_by", None)
        more = f", taken back later (booked {day_words(was_back.booked_on)})" if was_back else ""
        return Told(entry, entry.source, entry.target, entry.heads, more)

    def _dead(self) -> Iterator[Told]:
        for one in self.told:
            if one.entry.reason == "DIED" and one.source.pond_id == self.pond.pk:
                yield one
