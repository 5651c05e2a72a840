"""A month's review as printed sheets: the farm's table, then each pond's month with what was decided and signed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from django.utils import timezone

from ponds.models import Farm
from ponds.nest_checks import nests_text
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.models import MonthClose
from stock.move_words import class_words
from stock.printed import PrintedSheet, PrintedTable
from stock.review import KindMonth, MonthReview, PondMonth, as_signed_words
from stock.review_later import LoggedLater
from stock.review_rows import CORRECTIONS
from stock.standing_page import drift_words
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import how_old, interval, number, ratio_interval
from stock.templatetags.stock_format import ratio as ratio_words


def review_sheets(
    found: MonthReview, farm: Farm, close: MonthClose | None, later: Iterable[LoggedLater]
) -> Iterator[PrintedSheet]:
    """Yield the farm's month, then a sheet for each pond, below each other where there is room; no query."""
    yield _farm_sheet(found, farm, close, list(later))
    for place, pond in enumerate(found.ponds):
        yield _pond_sheet(pond, found, farm, follows=place > 0)


def _farm_sheet(
    found: MonthReview, farm: Farm, close: MonthClose | None, later: list[LoggedLater]
) -> PrintedSheet:
    state = (
        f"closed by {close.by_name} on {_on(close.closed_at, farm)}"
        if close
        else f"running, as of {day_words(found.last)}"
        if found.is_running
        else "not closed yet"
    )
    rows = tuple(
        (
            pond.pond_code, kind.facts.kind_name, kind.facts.how_it_stands,
            total.opening, total.came, total.went, total.dead, total.closing,
            nests.nests if (nests := kind.nests.month if kind.nests else None) else 0, nests.eggs if nests else 0,
            len(kind.to_explain), pond.signature.by_name if pond.signature else "not signed",
        )
        for pond in found.ponds
        for kind in pond.kinds
        for total in (kind.total,)
    )  # fmt: skip
    tables = [
        PrintedTable(
            "Every pond, in the order of what needs a decision",
            (
                "Pond", "Kind", "How it stands", "Opening", "Came", "Went", "Dead", "Closing", "Nests", "Eggs",
                "To explain", "Signed by",
            ),
            rows,
            note="By the book, by the day a move is booked on: opening + came - went - dead = closing.",
            empty="No pond was open in this month.",
            widths=(0.6, 1.6, 1.9, 1.05, 0.8, 0.8, 0.8, 1.05, 0.8, 0.8, 0.9, 1.1),
        )
    ]  # fmt: skip
    if close or later:
        capped = (
            f"The newest {CORRECTIONS}; all stand in the lists of moves, counts, nests and egg lots."
            if len(later) == CORRECTIONS
            else ""
        )
        tables.append(
            PrintedTable(
                "What was logged later for these days",
                ("Day", "What", "Entered", "By"),
                tuple(
                    (day_words(row.on), row.what, day_words(row.entered_on), row.by_name)
                    for row in later
                ),
                note=capped,
                empty="Nothing.",
                widths=(1, 5, 1, 1),
            )
        )  # fmt: skip
    return PrintedSheet(
        name=f"{found.month:%B %Y}",
        title=f"{farm.name}: review of {found.month:%B %Y}",
        facts=(
            (
                "Farm",
                f"{farm.name}, farmer code {farm.code or 'not written down'}, licence {farm.licence or 'none'}",
            ),
            (
                "The month",
                f"{state}; {len(found.ponds) - len(found.unsigned)} of {len(found.ponds)} ponds signed",
            ),
        ),
        tables=tuple(tables),
        notes=(RETENTION, NOT_ADVICE),
    )


def _pond_sheet(pond: PondMonth, found: MonthReview, farm: Farm, *, follows: bool) -> PrintedSheet:
    signature = pond.signature
    signed = f"{signature.by_name} on {_on(signature.recorded_at, farm)}" if signature else "not signed"
    facts = [("Signed", signed)]
    if pond.retired_on and pond.retired_on <= found.last:
        facts.append(("Retired", day_words(pond.retired_on)))
    if signature and signature.words:
        facts.append(("What was decided", signature.words))
    for kind in pond.kinds:
        facts += _kind_facts(kind)
        if as_signed := as_signed_words(pond, kind):
            facts.append((f"{kind.facts.kind_name}, when it was signed", as_signed))
    rows = tuple(
        (
            f"{kind.facts.kind_name}, {class_words(row.of_class, 2)}", row.opening, row.came, row.went, row.dead,
            row.closing, "; ".join(words for words in (row.came_words, row.went_words) if words),
        )
        for kind in pond.kinds
        for row in kind.classes
    )  # fmt: skip
    tables = [
        PrintedTable(
            "By the book",
            ("Kind and class", "Opening", "Came", "Went", "Dead", "Closing", "What came and went"),
            rows,
            empty="Nothing stood here in this month.",
            widths=(2, 0.8, 0.7, 0.7, 0.7, 0.8, 3),
        )
    ]
    if pond.decisions:
        tables.append(
            PrintedTable(
                "Decided",
                ("Task", "State", "Why"),
                tuple((row.sentence, row.state, row.task.why) for row in pond.decisions),
                widths=(3, 0.8, 4),
            )
        )
    return PrintedSheet(
        name=f"Pond {pond.pond_code}",
        title=f"Pond {pond.pond_code}{f', {pond.pond_name}' if pond.pond_name else ''}: {found.month:%B %Y}",
        facts=tuple(facts),
        tables=tuple(tables),
        follows=follows,
    )


def _kind_facts(kind: KindMonth) -> list[tuple[str, str]]:
    one = kind.facts
    heads = one.heads
    book = ratio_words(one.by_book.ratio) if heads.females or heads.males else one.word
    said = [f"{one.how_it_stands}, {one.basis}"]
    if not one.is_empty:
        said.append(f"{book} by the book")
    if one.standing is not None:
        stands = one.standing
        said.append(
            f"probably {number(stands.females)} females ({interval(*stands.female_limits)}) and "
            f"{number(stands.males)} males ({interval(*stands.male_limits)}), {ratio_words(stands.ratio)} "
            f"({ratio_interval(*stands.ratio_limits)}), its count {how_old(stands.count.as_of, one.day)}"
        )
        if drift := drift_words(one):
            said.append(drift[:1].lower() + drift[1:].removesuffix("."))
    if kind.nests:
        said.append(f"{nests_text(kind.nests.month.nests)} and {number(kind.nests.month.eggs)} eggs")
    if kind.lots:
        said.append(f"egg lots due: {kind.lots.words.removesuffix('.')}")
    if kind.died.total:
        said.append(f"{number(kind.died.total)} found dead")
    facts = [(one.kind_name, "; ".join(said))]
    look = [*(concern.sentence for concern in one.concerns), *kind.to_explain]
    if look:
        facts.append(("To look at", " ".join(look)))
    return facts


def _on(at: dt.datetime, farm: Farm) -> str:
    return day_words(timezone.localtime(at, farm.tzinfo).date())
