"""THE write door. Every page, sheet, command, demo and test that moves heads comes through here.

One call, one transaction: lock, look up the key, check, write; all of it or none. What was handled at the
bank is a fact and is never refused for want of book; what is not yet carried out is.
"""

from __future__ import annotations

import datetime as dt
import functools
import random
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from django.db import IntegrityError, OperationalError, connection, transaction

from ponds.models import Kind
from ponds.svg_marks import day_text
from stock import flows, mixes
from stock.drafts import SOURCES_OUTSIDE, Z_95, CountDraft, Draft, Line, PutOn, SexDraft, content_sha256
from stock.ledger_checks import key_reused
from stock.ledger_counts import CountPosting, Evidence
from stock.ledger_marks import mark_row, standing_marks
from stock.ledger_marks_checks import check_free, check_one, check_sex, confirmed_schemes, taken_codes
from stock.ledger_posting import Beyond, Posted, Posting
from stock.ledger_rules import check_text
from stock.ledger_sql import last_closed_month
from stock.ledger_store import first_open_day, lock_book
from stock.models import Count, CountReversal, Haul, Mark, MonthClose, Move, Survey, Turtle
from stock.refusals import CannotClose, CannotReset
from stock.timeline import next_month

TRIES = 6
DEADLOCK, SERIALIZATION = "40P01", "40001"
BATCH_OF_DRAFTS = 2000


@dataclass(frozen=True)
class Receipt:
    """What was posted. The same key again gives the same receipt, with `is_replay` set."""

    move_id: int
    key: uuid.UUID
    happened_on: dt.date
    booked_on: dt.date
    beyond_book: tuple[Beyond, ...] = ()
    warnings: tuple[str, ...] = ()
    is_replay: bool = False

    @property
    def is_late(self) -> bool:
        """Whether the animal's month was closed, so that the book carries it on a later day."""
        return self.booked_on != self.happened_on


def _again_after_a_race(function: Callable) -> Callable:
    """Repeat a posting that lost a race against another one; its key makes that safe.

    PostgreSQL gives one of two deadlocked postings up; and two postings with one key over different cells
    meet only at the unique key, where the second look-up then finds the first.
    """

    @functools.wraps(function)
    def wrapped(*args, **kwargs):
        for attempt in range(TRIES):
            try:
                return function(*args, **kwargs)
            except IntegrityError:
                if connection.in_atomic_block or attempt > 0:
                    raise
            except OperationalError as error:
                state = getattr(error.__cause__, "sqlstate", "")
                if (
                    connection.in_atomic_block
                    or state not in (DEADLOCK, SERIALIZATION)
                    or attempt == TRIES - 1
                ):
                    raise
                time.sleep(random.uniform(0.01, 0.05) * 2**attempt)  # noqa: S311 (jitter, not a secret)
        raise AssertionError("unreachable")

    return wrapped


def record(draft: Draft, *, by, today: dt.date) -> Receipt:
    """
    Post one move and return its receipt.

    Parameters
    ----------
    draft : Draft
        What happened (made_as BANK), what is to be carried out (OFFICE), or what stood here (OPENING).
    by : User
        Who signs it.
    today : date
        The farm's today: no day after it is taken.

    Raises
    ------
    LedgerRefusal
        With a sentence for the person who typed it; nothing is written then.
    """
    return record_all([draft], by=by, today=today)[0]


@_again_after_a_race
def record_all(
    drafts: Sequence[Draft], *, by, today: dt.date, progress: Callable[[int], None] | None = None
) -> list[Receipt]:
    """
    Post moves as one batch, checked after sorting by day: all of them or none.

    Of one day, what only comes in from outside is posted first: the book knows no hours, and a sheet lists
    in any order.

    `progress` is called with the number of moves planned so far. A refusal carries `draft`, the position of
    the refused draft in `drafts`.
    """
    ordered = sorted(
        range(len(drafts)),
        key=lambda position: (drafts[position].happened_on, _takes_out(drafts[position]), position),
    )
    receipts: dict[int, Receipt] = {}
    with transaction.atomic():
        lock_book()
        for start in range(0, len(ordered), BATCH_OF_DRAFTS):
            part = ordered[start : start + BATCH_OF_DRAFTS]
            posting = Posting(by=by, today=today)
            posted = posting.post([(position, drafts[position]) for position in part])
            receipts.update({position: _receipt(one) for position, one in posted.items()})
            if progress is not None:
                progress(start + len(part))
    mixes.roll_soon(today)
    flows.keep_soon(today)
    return [receipts[position] for position in range(len(drafts))]


@_again_after_a_race
def reverse(move: Move, *, key: uuid.UUID, by, today: dt.date, note: str = "") -> Receipt:
    """Take a move back by a reversal on the move's own day. A move is reversed once, a reversal never."""
    content = content_sha256("reverse", move.key, note)
    with transaction.atomic():
        lock_book()
        posted = Posting(by=by, today=today).reverse(move, key=key, note=note, content=content)
    mixes.roll_soon(today)
    flows.keep_soon(today)
    return _receipt(posted)


@_again_after_a_race
def correct(move: Move, draft: Draft, *, by, today: dt.date) -> Receipt:
    """
    Put `draft` in the place of a move: reversal and replacement as one, checked on the net of each day.

    The receipt is the replacement's. The reversal's key follows from the draft's key.
    """
    content = content_sha256("correct", move.key, draft)
    with transaction.atomic():
        lock_book()
        posted = Posting(by=by, today=today).correct(move, draft, content=content)
    mixes.roll_soon(today)
    flows.keep_soon(today)
    return _receipt(posted)


@_again_after_a_race
def accept_count(
    draft: CountDraft,
    *,
    key: uuid.UUID,
    by,
    today: dt.date,
    hauls: Sequence[Haul] = (),
    survey: Survey | None = None,
    method: str = "",
    method_reason: str = "",
    resets_book: bool = False,
    reason: str = "",
) -> Count:
    """
    Accept a head count of one pond and kind.

    It leaves the book alone unless `resets_book`: only a complete drain-down, or an owner's decision with a
    reason, resets it, by entries to or from "unseen" at `as_of`.

    Parameters
    ----------
    draft : CountDraft
        What was counted, with its standard errors.
    hauls : sequence of Haul
        What it was read from; when one of them is taken back, the count falls.
    survey, method, method_reason : Survey, str, str
        The survey, how it was read, and why not by the method its form asks for.

    Raises
    ------
    CannotReset
        No reason, and no complete drain-down of that pond on that day that stands; or later moves already
        took more than the count leaves.
    CannotCount
        A haul that does not stand, is of another pond or of a later day.
    """
    content = content_sha256(
        "count", draft, [haul.pk for haul in hauls], method, method_reason, resets_book, reason
    )
    evidence = Evidence(tuple(hauls), survey, method, method_reason)
    with transaction.atomic():
        lock_book()
        if existing := Count.objects.filter(key=key).first():
            if existing.content_sha256 != content:
                raise key_reused(key)
            return existing
        if resets_book and not reason.strip() and not evidence.empties(draft):
            raise CannotReset(
                f"The book is reset only by a complete drain-down of pond {draft.pond} on "
                f"{day_text(draft.as_of)} that stands, "
                "or by the owner's decision with a reason. "
                "Give the reason, or accept the count without resetting the book.",
                field="reason",
            )
        count = CountPosting(by=by, today=today).accept_count(
            draft, key=key, content=content, evidence=evidence, resets=resets_book, reason=reason
        )
    mixes.roll_soon(today)
    flows.keep_soon(today)
    return count


@_again_after_a_race
def take_back_count(count: Count, *, key: uuid.UUID, by, today: dt.date, reason: str) -> CountReversal:
    """
    Take an accepted count back, with a reason; the move by which it reset the book is reversed with it.

    Raises
    ------
    CannotCount
        It was taken back already, no reason is given, or it came with the pond's opening.
    """
    content = content_sha256("take back count", count.key, reason)
    with transaction.atomic():
        lock_book()
        if existing := CountReversal.objects.filter(key=key).first():
            if existing.content_sha256 != content:
                raise key_reused(key)
            return existing
        reversal = CountPosting(by=by, today=today).take_back(count, key=key, content=content, reason=reason)
    mixes.roll_soon(today)
    flows.keep_soon(today)
    return reversal


def close_month(month: dt.date, *, by, today: dt.date, note: str = "") -> MonthClose:
    """
    Lock a month for the whole farm. There is no reopening; later facts go to the first open day.

    Months are closed in order, and only once they are over.
    """
    check_text(note, "note")
    month = month.replace(day=1)
    with transaction.atomic():
        lock_book(alone=True)
        last = last_closed_month()
        if month >= today.replace(day=1):
            raise CannotClose(f"{month:%B %Y} is not over yet: it can be closed from {next_month(month)} on.")
        if last is not None and month <= last:
            raise CannotClose(f"{month:%B %Y} is closed already; the latest closed month is {last:%B %Y}.")
        if last is not None and month != next_month(last):
            raise CannotClose(f"Months are closed in order: close {next_month(last):%B %Y} first.")
        return MonthClose.objects.create(
            month=month, by=by, by_name=by.get_username() if by else "", note=note
        )


def opening_draft(
    *,
    pond: str,
    kind: str,
    day: dt.date,
    heads: dict[str, int],
    how_known: str,
    plus_or_minus: dict[str, float] | None = None,
    batch,
    key: uuid.UUID,
    note: str = "",
) -> Draft:
    """
    Return the draft that opens one pond and kind: its first count and the heads that stand behind it.

    `heads` and `plus_or_minus` map a class to heads; plus-or-minus is read as a 95 % half-width, so the
    count's standard error is plus-or-minus / 1.96. `batch` is a BatchDraft of source OPENING, BOUGHT,
    RAISED or WILD.
    """
    half = plus_or_minus or {}
    names = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}
    figures: dict[str, float] = {}
    for of_class, number in heads.items():
        figures[names[of_class]] = float(number)
        figures[f"{names[of_class]}_se"] = half.get(of_class, 0.0) / Z_95
    lines = tuple(
        Line(kind=kind, of_class=of_class, source="OPENING", target=pond, heads=number, batch=batch.code)
        for of_class, number in heads.items()
        if number
    )
    return Draft(
        key=key,
        happened_on=day,
        lines=lines,
        made_as="OPENING",
        pond=pond,
        note=note,
        batches=(replace(batch, source="OPENING"),),
        counts=(CountDraft(pond=pond, kind=kind, as_of=day, how_known=how_known, **figures),),
    )


def _takes_out(draft: Draft) -> bool:
    return not draft.lines or any(line.source not in SOURCES_OUTSIDE for line in draft.lines)


def _receipt(posted: Posted) -> Receipt:
    move = posted.move
    return Receipt(
        move_id=move.pk,
        key=move.key,
        happened_on=move.happened_on,
        booked_on=move.booked_on,
        beyond_book=posted.beyond,
        warnings=posted.warnings,
        is_replay=posted.is_replay,
    )


def first_open_booking_day() -> dt.date:
    """Return the first day the book still takes."""
    return first_open_day(last_closed_month())


def marks_that_stand(turtles: Sequence[str] | None = None):
    """Return the marks that hold (a queryset of Mark), of all turtles or of those named."""
    return standing_marks(turtles)


def code_is_free(put_on: PutOn, kind: Kind) -> None:
    """Refuse a mark that breaks its scheme, or whose code another turtle has or had."""
    check_one(put_on, kind, confirmed_schemes())
    check_free(put_on, kind, set(), taken_codes([put_on]))


def sex_of(sex: SexDraft) -> None:
    """Refuse a sex that is not in the lists."""
    check_sex(sex)


def mark_of(put_on: PutOn, turtle: Turtle, day: dt.date, **signed) -> Mark:
    """Return the unsaved row of a mark put on."""
    return mark_row(put_on, turtle, day, **signed)


def schemes_in_use() -> set[str]:
    """Return the keys of the notch schemes that were held against their printed figure as they stand now."""
    return confirmed_schemes()
