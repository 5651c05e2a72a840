"""Today: what waits for somebody, each line one tap from its remedy. Reads only; a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Exists, F, Max, Min, OuterRef, Q, Subquery
from django.utils import timezone

from ponds import incubation
from ponds.lot_lines import lots_waiting
from ponds.models import Farm
from ponds.roles import OWNER, READER
from stock.links import first_link, link, task_link
from stock.models import Batch, Entry, LastLook, MonthClose, Move, Paper
from stock.move_words import class_words
from stock.moves_read import move_sentence, with_entries
from stock.pond_kind import PondKind
from stock.refused import still_refused
from stock.review_rows import arrivals_that_stand
from stock.season_now import PondSeason
from stock.tasks import OpenTask
from stock.templatetags.stock_format import age
from stock.templatetags.stock_format import day as day_words
from stock.timeline import next_month
from stock.watch_page import WatchLine
from stock.watched_ponds import Watched

BANK_LINES, MOST_LINES = 5, 3
MOST_READ = 100
QUARANTINE_DAYS = 14
PAPER_DAYS = 60
COUNT_DAYS = 548  # 18 months
REFUSED_DAYS = 14
FIRST_LOOK_DAYS = 7
BEYOND_DAYS = 365
EXPIRED_DAYS = 365


@dataclass(frozen=True)
class TodayLine:
    """One thing to do: what it is about, a sentence, and the link that leads to its remedy."""

    about: str
    sentence: str
    url: str
    remedy: str
    is_bad: bool = False


@dataclass(frozen=True)
class BankLog:
    """What the bank logged since a person last looked: the newest moves in words, and how many more."""

    lines: tuple[TodayLine, ...]
    more: int
    since: dt.datetime | None


@dataclass(frozen=True)
class Today:
    """The bank's log, and what waits."""

    bank: BankLog
    waiting: tuple[TodayLine, ...]

    @property
    def is_calm(self) -> bool:
        return not self.bank.lines and not self.waiting


def today_for(
    user,
    *,
    farm: Farm,
    today: dt.date,
    facts: Sequence[PondKind],
    tasks: Iterable[OpenTask],
    watched: Watched,
    role: str,
) -> Today:
    """
    Gather what waits for a person.

    Parameters
    ----------
    user : User
        Whose last look counts.
    farm : Farm
        Its zone and licence.
    today : date
        The farm's day.
    facts : sequence of PondKind
        Of every pond.
    tasks : iterable of OpenTask
        Every open task.
    watched : Watched
        What the watch and the season say today.
    role : str
        "owner", "hand" or "reader": a remedy that the role may not take gives way to a page to look at.
    """
    standing = [one for one in facts if one.heads.total]
    waiting = [
        *_beyond_book(today, facts),
        *_refused(farm, role),
        *_capped(_watch(watched.signals), "signals of the watch", link("stock:watch")),
        *_behind(watched.behind),
        *_capped(
            _losing(standing), "ponds losing heads", link("stock:pond-list", verdict="wrong") + "#ponds"
        ),
        *_quarantines(today, facts, role),
        *_overdue(today, tasks, role),
        *_capped(_lots(today), "egg lots wait", link("ponds:lot-list")),
        *_papers(today),
        *_expiring(farm, today, role),
        *_capped(
            _counts(standing, role),
            "pond counts too old",
            link("stock:pond-list", verdict="old-count") + "#ponds",
        ),
        *_months(today, role),
    ]
    return Today(_bank_log(user, farm), tuple(waiting))


def _bank_log(user, farm: Farm) -> BankLog:
    look = LastLook.objects.filter(user=user).first()
    since = look.looked_at if look else None
    after = since or timezone.now() - dt.timedelta(days=FIRST_LOOK_DAYS)
    logged = Move.objects.filter(
        Q(made_as=Move.MadeAs.BANK) | Q(reverses__made_as=Move.MadeAs.BANK), recorded_at__gt=after
    )
    found = list(with_entries(logged).order_by("-recorded_at", "-pk")[:MOST_READ])
    lines = []
    for move in found[:BANK_LINES]:
        where = f"Pond {move.pond.code}" if move.pond else "Log"
        taken_back = "Taken back: " if move.reverses_id else ""
        logged_on = timezone.localtime(move.recorded_at, farm.tzinfo).date()
        later = f", logged {day_words(logged_on)}" if logged_on != move.happened_on else ""
        by = move.by_name or "nobody named"
        lines.append(
            TodayLine(
                where,
                f"{taken_back}{move_sentence(move)}. {day_words(move.happened_on)}{later}, by {by}.",
                link("stock:move-detail", move.key),
                "Look at it",
            )
        )
    return BankLog(tuple(lines), len(found) - len(lines), since)


def _beyond_book(today: dt.date, facts: Iterable[PondKind]) -> Iterator[TodayLine]:
    """Entries beyond the book that no later count of that pond and kind has settled."""
    counted = {(one.pond_id, one.kind_id): one.last_count.as_of for one in facts if one.last_count}
    rows = (
        Entry.objects.filter(
            reason="BEYOND_BOOK",
            happened_on__gt=today - dt.timedelta(days=BEYOND_DAYS),
            happened_on__lte=today,
            target__pond__isnull=False,
            move__reversed_by=None,
            move__reverses=None,
        )
        .order_by("-happened_on", "-pk")
        .values_list(
            "target__pond", "target__pond__code", "target__kind", "target__kind__common_name",
            "target__of_class", "heads", "happened_on", "move__key",
        )
    )  # fmt: skip
    lines = [
        TodayLine(
            "Beyond the book",
            f"Pond {code}: {heads} {kind_name} {class_words(of_class, heads)} more than the book held, "
            f"{day_words(on)}. Look for a move that was not logged, or recount.",
            link("stock:move-detail", key),
            "Look at the move",
        )
        for pond, code, kind, kind_name, of_class, heads, on, key in rows[:MOST_READ]
        if on >= counted.get((pond, kind), dt.date.min)
    ]
    return _capped(lines, "posts beyond the book", link("stock:move-list", reason="BEYOND_BOOK"))


def _refused(farm: Farm, role: str) -> Iterator[TodayLine]:
    """Posts refused lately and not posted since: the facts in them would be lost."""
    rows = still_refused().filter(refused_at__gt=timezone.now() - dt.timedelta(days=REFUSED_DAYS))
    lines = []
    for row in rows[:MOST_READ]:
        at = timezone.localtime(row.refused_at, farm.tzinfo)
        pond = row.pond.code if row.pond else ""
        where = f", pond {row.pond_code}" if row.pond_code else ""
        lines.append(
            TodayLine(
                "Refused",
                f"{row.by_name or 'Somebody'} on {day_words(at.date())}{where}: {row.sentence}",
                *_to_log(pond, role, refused=row.pk),
                is_bad=True,
            )
        )
    # The list is for those who log: a reader is told how many there are.
    return _capped(lines, "refused posts", "" if role == READER else link("stock:refused-list"))


def _behind(named: Sequence[PondSeason]) -> Iterator[TodayLine]:
    """One line for all ponds that fall behind in the running season."""
    if named:
        ponds = ", ".join(f"{one.pond} ({one.kind_name})" for one in named[:MOST_LINES])
        more = f" and {len(named) - MOST_LINES} more" if len(named) > MOST_LINES else ""
        yield TodayLine(
            "Nests",
            f"{'Pond falls' if len(named) == 1 else 'Ponds fall'} behind in nests: {ponds}{more}.",
            link("stock:season") + "#behind",
            "See the season",
        )


def _watch(signals: Iterable[WatchLine]) -> list[TodayLine]:
    return [
        TodayLine(
            "Watch",
            f"Pond {line.pond_code}, {line.kind_name}: {line.sentence} {line.remedy}",
            line.url,
            "See why",
            is_bad=True,
        )
        for line in signals
    ]


def _losing(facts: Iterable[PondKind]) -> list[TodayLine]:
    return [
        TodayLine(
            "Losing heads",
            f"Pond {one.pond_code}, {one.kind_name}, over 12 months: {one.losing.sentence}",
            link("stock:pond-detail", one.pond_code) + "#deaths",
            "See its deaths",
            is_bad=True,
        )
        for one in facts
        if one.losing is not None and one.losing.is_losing
    ]


def _quarantines(today: dt.date, facts: Iterable[PondKind], role: str) -> Iterator[TodayLine]:
    seen = set()
    for one in facts:
        ends_on = one.use.ends_on
        if one.pond_id in seen or not one.use.in_quarantine or ends_on is None:
            continue
        seen.add(one.pond_id)
        if ends_on > today + dt.timedelta(days=QUARANTINE_DAYS):
            continue
        is_over = ends_on < today
        when = "was due to end" if is_over else "is due to end"
        yield TodayLine(
            "Quarantine",
            f"Pond {one.pond_code}: the quarantine {when} on {day_words(ends_on)}, {age(ends_on, today)}. "
            "End it or prolong it.",
            *(
                (link("ponds:pond-state", one.pond_code), "End or prolong")
                if role == OWNER
                else (link("stock:pond-detail", one.pond_code), "See the pond")
            ),
            is_bad=is_over,
        )


def _overdue(today: dt.date, tasks: Iterable[OpenTask], role: str) -> Iterator[TodayLine]:
    lines = [
        TodayLine(
            "Task overdue",
            f"Pond {task.pond}: {task.sentence}, due {day_words(task.due_on)}"
            f"{', ' + task.progress if task.progress else ''}.",
            *_to_log(task.pond, role, task=task.id),
        )
        for task in tasks
        if task.is_overdue(today)
    ]
    return _capped(lines, "tasks overdue", link("stock:task-list"))


def _papers(today: dt.date) -> Iterator[TodayLine]:
    """Batches from elsewhere without any paper, those of protected kinds first."""
    first_entry = Entry.objects.filter(batch=OuterRef("pk")).order_by("pk")
    listed = Entry.objects.filter(batch=OuterRef("pk")).exclude(source__kind__listing="")
    batches = (
        Batch.objects.filter(
            ~Exists(Paper.objects.filter(batch=OuterRef("pk"))),
            Exists(arrivals_that_stand()),
            source__in=(Batch.Source.BOUGHT, Batch.Source.WILD, Batch.Source.OPENING),
            arrived_on__lte=today,
        )
        .annotate(
            move_key=Subquery(first_entry.values("move__key")[:1]),
            listing=Subquery(listed.values("source__kind__listing")[:1]),
        )
        .filter(move_key__isnull=False)
        .order_by(F("listing").desc(nulls_last=True), "-arrived_on", "-pk")
    )
    lines = []
    for batch in batches[:MOST_READ]:
        origin = "stood here before the register" if batch.source == "OPENING" else batch.get_source_display()
        protected = f" Protected kind, {batch.listing}." if batch.listing else ""
        party = f" from {batch.party}" if batch.party else ""
        lines.append(
            TodayLine(
                "Papers missing",
                f"Batch {batch.code}, {origin}{party}, {day_words(batch.arrived_on)}: no paper yet.{protected}",
                link("stock:batch-detail", batch.code) or link("stock:move-detail", batch.move_key),
                "Add its papers",
                is_bad=bool(batch.listing),
            )
        )
    return _capped(lines, "batches without papers", first_link("stock:batch-list", "stock:move-list"))


def _expiring(farm: Farm, today: dt.date, role: str) -> Iterator[TodayLine]:
    soon = today + dt.timedelta(days=PAPER_DAYS)
    if farm.licence_expires_on is not None and farm.licence_expires_on <= soon:
        yield TodayLine(
            "Licence",
            f"The farm's licence {farm.licence} {_expires(farm.licence_expires_on, today)}.",
            link("ponds:farm-edit") if role == OWNER else link("ponds:settings"),
            "See the settings",
            is_bad=farm.licence_expires_on < today,
        )
    rows = (
        Paper.objects.filter(expires_on__range=(today - dt.timedelta(days=EXPIRED_DAYS), soon))
        .select_related("batch", "move")
        .annotate(
            batch_move=Subquery(
                Entry.objects.filter(batch=OuterRef("batch")).order_by("pk").values("move__key")[:1]
            )
        )
        .order_by("expires_on", "pk")
    )
    lines = [
        TodayLine(
            "Paper expiring",
            f"{paper} of {f'batch {paper.batch.code}' if paper.batch else 'a move'} "
            f"{_expires(paper.expires_on, today)}.",
            link("stock:move-detail", paper.move.key if paper.move else paper.batch_move),
            "See its papers",
            is_bad=paper.expires_on is not None and paper.expires_on < today,
        )
        for paper in rows[:MOST_READ]
    ]
    yield from _capped(lines, "papers expiring", link("stock:move-list"))


def _expires(on: dt.date | None, today: dt.date) -> str:
    is_over = on is not None and on < today
    return f"{'expired' if is_over else 'expires'} on {day_words(on)}, {age(on, today)}"


def is_count_old(one: PondKind) -> bool:
    """Whether heads stand there that nobody has counted for longer than `COUNT_DAYS`, or never."""
    count = one.last_count
    return bool(one.heads.total) and (count is None or count.age_days > COUNT_DAYS)


def _counts(facts: Iterable[PondKind], role: str) -> list[TodayLine]:
    lines = []
    for one in facts:
        count = one.last_count
        if not is_count_old(one):
            continue
        known = (
            f"last counted {day_words(count.as_of)} ({count.how_known_words}), {age(count.as_of, one.day)}"
            if count
            else "never counted"
        )
        why = "never counted" if count is None else f"last counted {day_words(count.as_of)}"
        url = task_link(one.pond_code, "RECOUNT", kind=one.kind_code, why=why) if role == OWNER else ""
        lines.append(
            TodayLine(
                "Count too old" if count else "Never counted",
                f"Pond {one.pond_code}, {one.kind_name}: {known}.",
                url or link("stock:pond-detail", one.pond_code),
                "Make it a task" if url else "See the pond",
            )
        )
    return lines


def _lots(today: dt.date) -> list[TodayLine]:
    """Egg lots to candle, due to hatch, or late."""
    words = {
        incubation.LATE: "should have hatched by",
        incubation.HATCH: "may hatch from",
        incubation.CANDLE: "is to be candled from",
    }
    return [
        TodayLine(
            "Egg lot",
            f"Lot {line.code}, {line.left} eggs of {line.kind}, {words[line.waits.what]} {day_words(line.waits.on)}.",
            link("ponds:lot-detail", line.code),
            "See the lot",
            is_bad=line.waits.what == incubation.LATE,
        )
        for line in lots_waiting(today)
    ]


def _months(today: dt.date, role: str) -> Iterator[TodayLine]:
    """Months over for more than a month that nobody has closed."""
    last = MonthClose.objects.aggregate(last=Max("month"))["last"]
    first = Entry.objects.aggregate(first=Min("booked_on"))["first"]
    if first is None:
        return
    oldest = first.replace(day=1) if last is None else next_month(last)
    newest = (today.replace(day=1) - dt.timedelta(days=1)).replace(day=1) - dt.timedelta(days=1)
    count = (newest.year - oldest.year) * 12 + newest.month - oldest.month + 1
    if count < 1:
        return
    which = f"{oldest:%B %Y} is" if count == 1 else f"{count} months are"
    oldest_words = "" if count == 1 else f", the oldest {oldest:%B %Y}"
    yield TodayLine(
        "Months open",
        f"{which} not closed{oldest_words}.",
        link("stock:review", f"{oldest:%Y-%m}"),
        "Review it" if role == OWNER else "See the review",
    )


def _to_log(pond: str, role: str, **filled: object) -> tuple[str, str]:
    """Return the link to Log and its words; a reader, who may not log, is led to the pond or the ponds."""
    if role != READER:
        return link("stock:log", pond=pond, **filled), "Log it"
    return (link("stock:pond-detail", pond) if pond else link("stock:pond-list")), "See the pond"


def _capped(lines: Sequence[TodayLine], what: str, url: str) -> Iterator[TodayLine]:
    """Give the first few lines, then one that says how many more there are."""
    yield from lines[:MOST_LINES]
    if (more := len(lines) - MOST_LINES) > 0:
        yield TodayLine(lines[0].about, f"And {more} more: {what}.", url, "See them all")
