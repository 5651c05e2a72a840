"""The extract for an inspector: one sheet a pond, from the register alone. Reads only.

What stands and how that is known, where it came from and went to, and everything that was put right later:
shortages and heads nobody can explain are shown, never evened out.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable

from django.db.models import F, Q, Sum
from django.utils import timezone

from ponds.models import Farm, NestDay, Pond
from stock import pond_page, review_rows
from stock.book import FIELD_OF_CLASS, ClassHeads
from stock.drafts import CLASSES, SOURCES_OUTSIDE, TARGETS_OUTSIDE, Z_95
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.models import Count, Entry, Move, Paper, Reason
from stock.move_words import CAUSE_WORDS, class_words, part_sentence
from stock.moves_read import CELLS, move_sentence, part_of, place_of, with_entries
from stock.pond_facts import one_pond
from stock.pond_kind import PondKind
from stock.printed import PrintedSheet, PrintedTable
from stock.templatetags.stock_format import day as day_words

REASON_WORDS = dict(Reason.choices)


def extract_of(pond: Pond, farm: Farm, first: dt.date, last: dt.date) -> PrintedSheet:
    """
    Return one pond's sheet for the days from `first` through `last`: some thirty queries.

    Parameters
    ----------
    pond : Pond
        Retired ones too.
    farm : Farm
        Its name, farmer code and licence head the sheet.
    first, last : date
        Book figures go by the day of booking, everything else by the day it happened.
    """
    kinds, states = one_pond(pond, last, months_back=0, moved_since=first)
    entries = _entries(pond, first, last)
    return PrintedSheet(
        name=f"Pond {pond.code}",
        title=f"Pond {pond.code}{f', {pond.name}' if pond.name else ''}: {day_words(first)} to {day_words(last)}",
        facts=_facts(pond, farm, kinds, last),
        tables=(
            _standing(kinds),
            _reconciled(pond, kinds, first, last),
            _unexplained(pond, first, last),
            _origins(kinds),
            _came(entries, pond),
            _went(entries, pond),
            _moved(entries, pond),
            _died(entries, pond),
            _eggs(pond, first, last),
            _counts(pond, first, last),
            _uses(state for state in states if state.from_on <= last),
            _corrections(pond, farm, first, last),
        ),
        notes=(RETENTION, NOT_ADVICE),
    )


def _facts(pond: Pond, farm: Farm, kinds: list[PondKind], last: dt.date) -> tuple[tuple[str, str], ...]:
    expiry = f", expires {day_words(farm.licence_expires_on)}" if farm.licence_expires_on else ""
    listed = [f"{one.kind_name} ({one.listing})" for one in kinds if one.listing and one.heads.total]
    found = [
        ("Farm", farm.name),
        ("Farmer code", farm.code or "not written down"),
        ("Licence", f"{farm.licence}{expiry}" if farm.licence else "not written down"),
        ("Pond", f"{pond.code}; opened {day_words(pond.opened_on)}"),
        ("Kept for", ", ".join(one.kind_name for one in kinds if one.is_allowed) or "no kind"),
        ("Used as", kinds[0].use.words if kinds else "in use"),
    ]
    if pond.retired_on:
        found.append(("Retired", day_words(pond.retired_on)))
    if listed:
        found.append(("Protected kinds", f"{', '.join(listed)}: papers go with every head"))
    return tuple(found)


def _standing(kinds: list[PondKind]) -> PrintedTable:
    rows = []
    for one in kinds:
        count = one.last_count
        known = f"{count.how_known_words}, {day_words(count.as_of)}" if count else "never counted"
        heads = one.heads
        if heads.total:
            rows.append(
                (
                    one.kind_name,
                    heads.females,
                    heads.males,
                    heads.unsexed,
                    heads.juveniles,
                    heads.total,
                    known,
                )
            )
    return PrintedTable(
        "What stands, by the book",
        ("Kind", "Females", "Males", "Unsexed", "Juveniles", "All", "Last counted"),
        tuple(rows),
        note="By the book at the end of the last day. Only what lies in the seine can be seen at once.",
        empty="Nothing stands here by the book.",
        widths=(2.2, 1, 1, 1, 1, 1, 2.2),
    )


def _reconciled(pond: Pond, kinds: list[PondKind], first: dt.date, last: dt.date) -> PrintedTable:
    flows = review_rows.flows(first, last, [pond.pk])
    rows = []
    for one in kinds:
        for of_class in CLASSES:
            flow = flows.get((pond.pk, one.kind_id, of_class))
            closing = getattr(one.heads, FIELD_OF_CLASS[of_class])
            if flow is None and not closing:
                continue
            came = sum(flow.came.values()) if flow else 0
            went = sum(flow.went.values()) if flow else 0
            dead = flow.went["DIED"] if flow else 0
            rows.append(
                (
                    f"{one.kind_name}, {class_words(of_class, 2)}",
                    closing - came + went, came, went - dead, dead, closing,
                )
            )  # fmt: skip
    return PrintedTable(
        "Opening + in - out - dead = closing",
        ("Kind and class", "Opening", "In", "Out", "Dead", "Closing"),
        tuple(rows),
        widths=(3, 1, 1, 1, 1, 1),
    )


def _unexplained(pond: Pond, first: dt.date, last: dt.date) -> PrintedTable:
    entries = Entry.objects.filter(
        Q(source__pond=pond) | Q(target__pond=pond),
        reason__in=("BEYOND_BOOK", "COUNT_RESET"),
        happened_on__range=(first, last),
    ).select_related("move", *CELLS)
    rows = []
    for entry in entries.order_by("happened_on", "pk"):
        was = part_sentence(part_of(entry))
        taken_back = "; a reversal" if entry.move.reverses_id else ""
        rows.append((day_words(entry.happened_on), was + taken_back, entry.move.note, entry.move.by_name))
    return PrintedTable(
        "Heads nobody can explain yet",
        ("Day", "What", "Note", "By"),
        tuple(rows),
        note="Found beyond what the book held, or missing when the book was reset to a count.",
        empty="None in these days.",
        widths=(1, 3, 2, 1),
    )


def _origins(kinds: list[PondKind]) -> PrintedTable:
    origins = pond_page.origins_of(kinds)
    rows = [
        (
            one.kind_name, row.batch, row.expected, row.at_least, row.at_most,
            ", ".join(part for part in (row.source, row.party) if part),
            day_words(row.arrived_on) if row.arrived_on else "", row.generation, row.papers,
        )
        for one in kinds
        for row in origins.get(one.kind_id, ())
    ]  # fmt: skip
    return PrintedTable(
        "Where what stands came from",
        ("Kind", "Batch", "Expected", "At least", "At most", "Source", "Arrived", "Generation", "Papers"),
        tuple(rows),
        note=(
            "Unmarked heads leave in proportion to the batches in a pond; at least and at most hold whatever was "
            "caught."
        ),
        empty="Nothing stands here.",
        widths=(1.3, 1.3, 1, 0.8, 0.8, 2, 1, 1.2, 1.6),
    )


def _entries(pond: Pond, first: dt.date, last: dt.date) -> list[Entry]:
    """Return the entries that stand and touch the pond, reversed ones and their reversals left out: one query."""
    entries = Entry.objects.filter(
        Q(source__pond=pond) | Q(target__pond=pond),
        happened_on__range=(first, last),
        move__reversed_by=None,
        move__reverses=None,
    )
    return list(entries.select_related("move", *CELLS).order_by("happened_on", "move_id", "line"))


def _heads_words(entry: Entry) -> str:
    return f"{entry.source.kind.common_name} {class_words(entry.source.of_class, entry.heads)}"


def _came(entries: list[Entry], pond: Pond) -> PrintedTable:
    arrived = [
        entry
        for entry in entries
        if entry.target.pond_id == pond.pk and entry.source.outside in SOURCES_OUTSIDE
    ]
    papers = _papers("batch", [entry.batch_id for entry in arrived])
    rows = tuple(
        (
            day_words(entry.happened_on), entry.heads, _heads_words(entry), REASON_WORDS[entry.reason],
            entry.batch.code if entry.batch else "", entry.batch.party if entry.batch else "",
            papers.get(entry.batch_id or 0, "none"), entry.move.by_name,
        )
        for entry in arrived
    )  # fmt: skip
    return PrintedTable(
        "What came from outside",
        ("Day", "Heads", "Which", "How", "Batch", "Seller or place", "Papers", "By"),
        rows,
        empty="Nothing in these days.",
        widths=(1.1, 0.7, 1.8, 1, 1.3, 1.6, 1.8, 1),
    )


def _went(entries: list[Entry], pond: Pond) -> PrintedTable:
    gone = [
        entry
        for entry in entries
        if entry.source.pond_id == pond.pk
        and entry.target.outside in TARGETS_OUTSIDE
        and entry.reason != "DIED"
    ]
    papers = _papers("move", [entry.move_id for entry in gone])
    rows = tuple(
        (
            day_words(entry.happened_on), entry.heads, _heads_words(entry), REASON_WORDS[entry.reason],
            papers.get(entry.move_id, "none"), entry.move.by_name,
        )
        for entry in gone
    )  # fmt: skip
    return PrintedTable(
        "What was sold, culled or escaped",
        ("Day", "Heads", "Which", "How", "Buyer, papers and means of disposal", "By"),
        rows,
        empty="Nothing in these days.",
        widths=(1.1, 0.7, 2, 1, 3, 1),
    )


def _moved(entries: list[Entry], pond: Pond) -> PrintedTable:
    rows = []
    for entry in entries:
        if entry.reason != "MOVED":
            continue
        booked = f" (booked {day_words(entry.booked_on)})" if entry.booked_on != entry.happened_on else ""
        rows.append(
            (
                f"{day_words(entry.happened_on)}{booked}", place_of(entry.source), place_of(entry.target),
                entry.heads, _heads_words(entry), entry.move.by_name,
            )
        )  # fmt: skip
    return PrintedTable(
        "What moved between ponds",
        ("Day", "From", "To", "Heads", "Which", "By"),
        tuple(rows),
        empty="Nothing in these days.",
        widths=(1.6, 0.7, 0.7, 0.8, 2.4, 1),
    )


def _died(entries: list[Entry], pond: Pond) -> PrintedTable:
    by_month: dict[tuple[dt.date, str, str], Counter[str]] = defaultdict(Counter)
    for entry in entries:
        if entry.reason == "DIED" and entry.source.pond_id == pond.pk:
            where = entry.happened_on.replace(day=1), entry.source.kind.common_name, entry.cause
            by_month[where][FIELD_OF_CLASS[entry.source.of_class]] += entry.heads
    rows = []
    for (month, kind, cause), heads in sorted(by_month.items()):
        one = ClassHeads(**heads)
        rows.append(
            (
                f"{month:%B %Y}", kind, CAUSE_WORDS.get(cause, "cause not known"), one.females, one.males,
                one.unsexed, one.juveniles, one.total,
            )
        )  # fmt: skip
    return PrintedTable(
        "What died",
        ("Month", "Kind", "Cause", "Females", "Males", "Unsexed", "Juveniles", "All"),
        tuple(rows),
        empty="None was found dead in these days.",
        widths=(1.4, 1.8, 1.6, 0.8, 0.8, 0.8, 0.9, 0.7),
    )


def _eggs(pond: Pond, first: dt.date, last: dt.date) -> PrintedTable:
    dug = (
        NestDay.objects.standing()
        .filter(pond=pond, dug_on__range=(first, last))
        .values_list("dug_on", "kind__common_name")
        .annotate(all_nests=Sum("nests"), all_eggs=Sum("eggs"), all_broken=Sum("broken"))
        .order_by("dug_on", "kind__common_name")
    )
    rows = tuple(
        (day_words(day), kind or "kind not known", nests, eggs, broken)
        for day, kind, nests, eggs, broken in dug
    )
    return PrintedTable(
        "Eggs picked",
        ("Day", "Kind", "Nests", "Eggs", "Broken"),
        rows,
        empty="None in these days.",
        widths=(1.2, 2, 1, 1, 1),
    )


def _counts(pond: Pond, first: dt.date, last: dt.date) -> PrintedTable:
    counts = (
        Count.objects.standing().filter(pond=pond, as_of__range=(first, last)).select_related("kind", "move")
    )
    rows = tuple(
        (
            day_words(count.as_of), count.kind.common_name, count.get_how_known_display(),
            _with_error(count.females, count.females_se), _with_error(count.males, count.males_se),
            count.reason, count.by_name,
        )
        for count in counts.order_by("as_of", "pk")
    )  # fmt: skip
    return PrintedTable(
        "Head counts accepted",
        ("Day", "Kind", "How", "Females", "Males", "Reason", "By"),
        rows,
        note="Plus-or-minus at 95 %.",
        empty="None in these days.",
        widths=(1.1, 1.8, 1.2, 1.3, 1.3, 2, 1),
    )


def _uses(states: Iterable) -> PrintedTable:
    rows = tuple(
        (
            day_words(state.from_on), state.get_state_display(),
            day_words(state.ends_on) if state.ends_on else "", state.note,
        )
        for state in states
    )  # fmt: skip
    return PrintedTable(
        "What it was used as",
        ("From", "State", "Due to end", "Note"),
        rows,
        empty="In use since it was opened.",
    )


def _corrections(pond: Pond, farm: Farm, first: dt.date, last: dt.date) -> PrintedTable:
    touching = Entry.objects.filter(Q(source__pond=pond) | Q(target__pond=pond)).values("move")
    moves = Move.objects.filter(
        Q(pond=pond) | Q(pk__in=touching.filter(happened_on__range=(first, last))),
        Q(reverses__isnull=False) | Q(replaces__isnull=False),
        happened_on__range=(first, last),
    )
    rows = tuple(
        (
            day_words(move.happened_on), day_words(timezone.localtime(move.recorded_at, farm.tzinfo).date()),
            "taken back" if move.reverses_id else "put in its place", move_sentence(move), move.note, move.by_name,
        )
        for move in with_entries(moves).order_by("recorded_at", "pk")
    )  # fmt: skip
    return PrintedTable(
        "Every correction",
        ("Of the day", "Entered", "What", "Move", "Note", "By"),
        rows,
        note="Nothing is ever overwritten: what was wrong stands in the register beside what was put in its place.",
        empty="None in these days.",
        widths=(1, 1, 1, 2.6, 1.8, 0.9),
    )


def _with_error(heads: float | None, se: float | None) -> str:
    if heads is None:
        return "not counted"
    return f"{heads:,.0f} ± {Z_95 * se:,.0f}" if se else f"{heads:,.0f}"


def _papers(of: str, ids: Iterable[int | None]) -> dict[int, str]:
    """Return batch or move id -> its papers in words: one query."""
    found: dict[int, list[str]] = defaultdict(list)
    rows = Paper.objects.filter(**{f"{of}__in": {pk for pk in ids if pk}}).order_by("pk")
    for pk, *words in rows.values_list(F(of), "party", "licence", "document", "purpose", "disposal"):
        found[pk].append(", ".join(word for word in words if word))
    return {pk: "; ".join(words) for pk, words in found.items()}
