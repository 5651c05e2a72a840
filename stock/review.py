"""The monthly review: every pond's month as it was, in the order of what needs a decision. Writes nothing.

Book figures go by the day they are booked on, deaths and nests by the day they happened. A month that is over
reads the same for ever, but for what is logged late, which is listed as such.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ponds.models import Pond
from stock import review_rows
from stock.advice import SeasonForecast, season_forecast
from stock.book import FIELD_OF_CLASS, ClassHeads
from stock.drafts import CLASSES
from stock.models import PondReview, Reason, Task
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.pond_rows import ponds_of_days
from stock.review_lots import LotsDue, lots_due
from stock.review_rows import Flow, NestMonth, Nests
from stock.season_now import PondSeason
from stock.season_of_pond import falling_behind_on, learnt_seasons
from stock.tasks import STATE_WORDS, task_sentence
from stock.templatetags.stock_format import age, interval, number
from stock.templatetags.stock_format import day as day_words
from stock.timeline import next_month
from stock.today import is_count_old
from stock.watch_facts import farm_watch
from stock.watch_page import normal_words, watch_lines
from stock.watched_ponds import Watched

REASON_WORDS = dict(Reason.choices)
CLASS_HEADINGS = {
    "FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles",
}  # fmt: skip


@dataclass(frozen=True)
class ClassMonth:
    """One class of one pond and kind over a month, by the book: opening + came - went = closing."""

    of_class: str
    words: str
    opening: int
    came: int
    went: int
    dead: int
    closing: int
    came_words: str
    went_words: str


@dataclass(frozen=True)
class KindMonth:
    """
    One pond and kind over a month.

    Parameters
    ----------
    facts : PondKind
        As it was at the end of the month (of today, in the running month).
    classes : tuple of ClassMonth
        The classes that held or moved anything.
    died : ClassHeads
        Recorded dead in the month, by the animals' days.
    nests : NestMonth or None
        None where the nest book has nothing in two seasons.
    to_explain : tuple of str
        What somebody must look into: the watch's signals, beyond the book, papers missing, counts too old,
        booked late.
    normal_deaths : str
        How many deaths are normal there in such a month; "" where that is not known.
    season : PondSeason or None
        Where past seasons are in the books.
    lots : LotsDue or None
        Its eggs in the lots due in the month.
    """

    facts: PondKind
    classes: tuple[ClassMonth, ...]
    died: ClassHeads
    nests: NestMonth | None
    to_explain: tuple[str, ...]
    normal_deaths: str = ""
    season: PondSeason | None = None
    lots: LotsDue | None = None

    @cached_property
    def forecast(self) -> SeasonForecast | None:
        """What the season that the month lies in may give; simulated when it is asked for."""
        return season_forecast(self.facts)

    @property
    def total(self) -> ClassMonth:
        """All classes together."""
        return ClassMonth(
            "",
            "all",
            sum(row.opening for row in self.classes),
            sum(row.came for row in self.classes),
            sum(row.went for row in self.classes),
            sum(row.dead for row in self.classes),
            sum(row.closing for row in self.classes),
            "",
            "",
        )


@dataclass(frozen=True)
class Decision:
    """A task decided in the review."""

    task: Task
    sentence: str
    state: str


@dataclass(frozen=True)
class PondMonth:
    """One pond's month, with what was decided and who signed it."""

    pond_id: int
    pond_code: str
    pond_name: str
    retired_on: dt.date | None
    kinds: tuple[KindMonth, ...]
    nests_of_no_kind: Nests | None
    decisions: tuple[Decision, ...]
    signature: PondReview | None

    @cached_property
    def rank(self) -> int:
        """Place in the order of what needs a decision, 0 the first."""
        return min((kind.facts.rank for kind in self.kinds), default=99)

    @property
    def concerns(self) -> list[str]:
        return [concern.sentence for kind in self.kinds for concern in kind.facts.concerns]

    @property
    def to_explain(self) -> list[str]:
        return [sentence for kind in self.kinds for sentence in kind.to_explain]


@dataclass(frozen=True)
class MonthReview:
    """
    The farm's month.

    Parameters
    ----------
    month, last : date
        Its first day, and the last one that is read: today, in the running month.
    is_running : bool
    ponds : tuple of PondMonth
        In the order of what needs a decision, then by letter.
    """

    month: dt.date
    last: dt.date
    is_running: bool
    ponds: tuple[PondMonth, ...]

    @property
    def unsigned(self) -> list[PondMonth]:
        return [pond for pond in self.ponds if pond.signature is None]


def month_review(month: dt.date, today: dt.date) -> MonthReview:
    """
    Read the month of every pond that was open on any of its days, or of which anything was booked in it.

    `month` is its first day and not after `today`. Some thirty queries, whatever the ponds and the farm's age.
    """
    last = min(next_month(month) - dt.timedelta(days=1), today)
    ponds = _ponds(month, last, ponds_of_days(month, last))
    return MonthReview(month, last, last == today, tuple(sorted(ponds, key=lambda pond: pond.rank)))


def pond_month(pond: Pond, month: dt.date, today: dt.date) -> PondMonth | None:
    """Read one pond's month; None where it was not open on any of its days."""
    last = min(next_month(month) - dt.timedelta(days=1), today)
    if pond.opened_on > last:
        return None
    return _ponds(month, last, [pond])[0]


def signed_figures(found: PondMonth) -> dict[str, dict[str, Any]]:
    """Return the standing of each kind of a pond as a signature keeps it: code of kind -> heads and limits by sex."""
    return {
        kind.facts.kind_code: {
            "females": round(stands.females),
            "female_limits": [round(limit) for limit in stands.female_limits],
            "males": round(stands.males),
            "male_limits": [round(limit) for limit in stands.male_limits],
        }
        for kind in found.kinds
        if (stands := kind.facts.standing) is not None
    }


def as_signed_words(found: PondMonth, kind: KindMonth) -> str:
    """Return the standing that was signed in words; "" where it reads the same today, or was not kept."""
    code = kind.facts.kind_code
    kept = (found.signature.figures or {}).get(code) if found.signature else None
    if kept is None or kept == signed_figures(found).get(code):
        return ""
    return (
        f"{number(kept['females'])} females ({interval(*kept['female_limits'])}) and {number(kept['males'])} males "
        f"({interval(*kept['male_limits'])})"
    )


def _ponds(month: dt.date, last: dt.date, ponds: Iterable[Pond]) -> list[PondMonth]:
    asked = list(ponds)
    # A pond that no kind is allowed in, and none stood in, is signed like any other: closing a month asks for it.
    by_pond: dict[int, list[PondKind]] = {pond.pk: [] for pond in asked}
    for one in pond_kinds(last, ponds=asked, moved_since=month):
        by_pond[one.pond_id].append(one)
    read = _Read(month, last, list(by_pond))
    return [_pond_month(read, pond, read.watched.of(by_pond[pond.pk])) for pond in asked]


class _Read:
    """What is read of the ponds over a month."""

    def __init__(self, month: dt.date, last: dt.date, ids: list[int]) -> None:
        self.flows = review_rows.flows(month, last, ids)
        self.nests = review_rows.nest_months(month, last, ids)
        self.beyond = review_rows.beyond_book(month, last, ids)
        self.deaths = review_rows.deaths(month, last, ids)
        self.logged_late = review_rows.logged_late(month, last, ids)
        self.without_papers = review_rows.without_papers()
        self.watch = farm_watch(last)
        self.signals = watch_lines(self.watch, with_charts=False)
        self.watched = Watched(
            tuple(line for line in self.signals if not line.is_quiet), tuple(falling_behind_on(last))
        )
        self.signed = review_rows.signed(month, ids)
        self.decisions = review_rows.decisions(month, ids)
        self.seasons = learnt_seasons(last)
        self.lots = lots_due(month, next_month(month) - dt.timedelta(days=1), last)


def _pond_month(read: _Read, pond: Pond, facts: list[PondKind]) -> PondMonth:
    of_no_kind = read.nests.get((pond.pk, None))
    decided = tuple(
        Decision(task, task_sentence(task), STATE_WORDS[task.state])  # type: ignore[attr-defined]
        for task in read.decisions.get(pond.pk, ())
    )
    kinds = [_kind_month(read, one) for one in facts]
    return PondMonth(
        pond.pk,
        pond.code,
        pond.name,
        pond.retired_on,
        tuple(kind for kind in kinds if kind.classes or kind.facts.is_allowed),
        of_no_kind.month if of_no_kind and of_no_kind.month.nests else None,
        decided,
        read.signed.get(pond.pk),
    )


def _kind_month(read: _Read, one: PondKind) -> KindMonth:
    where = one.pond_id, one.kind_id
    flows = {of_class: read.flows.get((*where, of_class), Flow()) for of_class in CLASSES}
    rows = tuple(
        row for of_class in CLASSES if (row := _class_month(of_class, flows[of_class], one.heads)) is not None
    )
    nests = read.nests.get(where)
    died: Mapping[str, int] = read.deaths.get(where, {})
    return KindMonth(
        facts=one,
        classes=rows,
        died=ClassHeads(**{FIELD_OF_CLASS[of_class]: heads for of_class, heads in died.items()}),
        nests=nests if nests is not None and nests.says_something else None,
        to_explain=tuple(_to_explain(read, one, flows)),
        season=read.seasons.get(where),
        lots=read.lots.get((one.pond_code, one.kind_code)),
        normal_deaths=normal_words(read.watch.month_of(where)),
    )


def _class_month(of_class: str, flow: Flow, heads: ClassHeads) -> ClassMonth | None:
    closing = getattr(heads, FIELD_OF_CLASS[of_class])
    opening = closing - flow.net
    dead = flow.went["DIED"]
    if not (opening or closing or any(flow.came.values()) or any(flow.went.values())):
        return None
    return ClassMonth(
        of_class,
        CLASS_HEADINGS[of_class],
        opening,
        sum(flow.came.values()),
        sum(flow.went.values()) - dead,
        dead,
        closing,
        _words(flow.came),
        _words({reason: count for reason, count in flow.went.items() if reason != "DIED"}),
    )


def _words(by_reason: Mapping[str, int]) -> str:
    """Return "bought 40, moved 5"; what was taken back of an earlier month is below zero and says so."""
    return ", ".join(
        f"{REASON_WORDS[reason]} {heads}" if heads > 0 else f"{REASON_WORDS[reason]} {-heads} taken back"
        for reason, heads in sorted(by_reason.items(), key=lambda row: -abs(row[1]))
        if heads
    )


def _to_explain(read: _Read, one: PondKind, flows: Mapping[str, Flow]) -> Iterable[str]:
    for line in read.signals:
        if (one.pond_id, one.kind_id) in line.ponds:
            noted = f" {line.note.by_name} noted: {line.note.note}" if line.note else ""
            yield f"{line.sentence} {line.remedy}{noted}"
    yield from (concern.sentence for concern in one.watched if concern.code == "falling-behind")
    if beyond := read.beyond.get((one.pond_id, one.kind_id)):
        yield (
            f"{number(beyond)} {one.kind_name} beyond the book: look for a move that was not logged, or recount."
        )
    late = sum(flow.late for flow in flows.values())
    if late:
        yield f"{number(late)} heads booked here for days of earlier, closed months."
    if later := read.logged_late[one.pond_id, one.kind_id]:
        yield (
            f"{number(later)} {'move' if later == 1 else 'moves'} of this month's days "
            f"{'was' if later == 1 else 'were'} logged after it was closed: the standing reads with "
            f"{'it' if later == 1 else 'them'}, the month's book without."
        )
    if one.heads.total and is_count_old(one):
        count = one.last_count
        yield f"Last counted {age(count.as_of, one.day)}." if count else "Never counted."
    if one.use.in_quarantine:
        ends = f", due to end on {day_words(one.use.ends_on)}" if one.use.ends_on else ", with no end set"
        yield f"In quarantine since {day_words(one.use.from_on)}{ends}."
    missing = sorted(
        {
            read.without_papers[batch]
            for mix in one.mixes.values()
            for batch in mix.batches
            if batch in read.without_papers
        }
    )
    if missing:
        yield f"Papers missing of {', '.join(missing[:4])}{' and others' if len(missing) > 4 else ''}."
