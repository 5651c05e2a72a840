"""Private to `stock/ledger.py`: marked turtles of a posting, from what is put on to the rows of their steps."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db.models import Max, Min, Q

from stock import ledger_sql
from stock.drafts import NEW_TURTLE, CatchLine, Draft, PutOn
from stock.ledger_marks_back import take_back_marks
from stock.ledger_marks_checks import same_code
from stock.ledger_rules import scanned_by_class
from stock.models import (
    Batch,
    HaulTurtle,
    Mark,
    MarkEvent,
    MarkStep,
    Move,
    Sex,
    SexStep,
    Turtle,
)
from stock.planning import Books, Plan
from stock.refusals import BatchMissing

if TYPE_CHECKING:
    from stock.ledger_posting import Posting

Work = tuple[Move, Draft | None, Plan]
IN_HAND = ("MARKED", "MOVED", "SEEN", "FOUND")
LONG_AGO = dt.date.min


def with_scans(caught: CatchLine, draft: Draft) -> CatchLine:
    """
    Return a line of the catch with at least as many marked heads as were scanned of its kind and class.

    Who scanned a turtle of the haul looked for marks; where nobody did and none is written, it stays unsaid.
    """
    scanned, new = scanned_by_class(draft)
    of = (caught.kind, caught.of_class)
    carrying = caught.carrying_marks
    if carrying is not None or scanned:
        carrying = max(carrying or 0, scanned[of])
    return replace(
        caught,
        carrying_marks=carrying,
        newly_marked=max(caught.newly_marked, new[of]),
    )


def write_marks(
    posting: Posting,
    books: Books,
    work: Sequence[Work],
    haul_ids: Mapping[int, int],
    batches: Mapping[str, int],
) -> None:
    """Write marked turtles' steps, make the turtles that are new, and bring their places up to date."""
    drafts = [(move, draft) for move, draft, _ in work if draft is not None]
    steps = [(move, step) for move, _, plan in work for step in plan.steps]
    seen = [(move, draft) for move, draft in drafts if draft.seen]
    if not (steps or seen):
        return
    store = posting.store
    # Marked again by the replacement without a word of its marks, a turtle keeps those it has.
    keep = {mark.code for _, draft in drafts for mark in draft.marks if not mark.put_on}
    for move, _, plan in work:
        if move.reverses_id and plan.steps:
            take_back_marks(posting, move, {step.turtle for step in plan.steps} - keep)
    codes = {step.turtle for _, step in steps} | {one.code for _, draft in seen for one in draft.seen}
    rows = {row.code: row for row in Turtle.objects.filter(code__in=codes)}
    new = codes - set(rows)
    first_on = {mark.code: move.happened_on for move, draft in drafts for mark in draft.marks}
    made = Turtle.objects.bulk_create(
        Turtle(
            code=code,
            kind_id=store.kind_ids[books.turtles[code].kind],
            last_seen_on=books.turtles[code].last_seen_on,
            first_marked_on=first_on.get(code),
        )
        # In the order in which they were asked for, so that a sheet's turtles are numbered as it lists them.
        for code in dict.fromkeys([*first_on, *sorted(new)])
        if code in new
    )
    rows.update({row.code: row for row in made})
    named = {move.pk for move, step in steps if step.entry is not None}
    by_line = ledger_sql.entry_ids(named) if named else {}
    ledger_sql.write_steps(
        [
            (
                rows[step.turtle].pk,
                move.pk,
                by_line.get((move.pk, step.entry)) if step.entry is not None else None,
                store.cell_ids[step.source] if step.source else None,
                store.cell_ids[step.target] if step.target else None,
                step.how,
                step.booked_on,
            )
            for move, step in steps
        ]
    )
    plain: list[Mark] = []
    again: list[tuple[Move, PutOn, Turtle]] = []
    for move, draft in drafts:
        plain += _write_put_on(posting, move, draft, rows, batches, again)
        _write_lost(posting, move, draft)
    Mark.objects.bulk_create(plain)
    for move, put_on, row in again:
        # One by one, after those they may be like: how many had the code before is counted in the table.
        signed = {"by": posting.by, "by_name": posting.by_name}
        mark_row(put_on, row, move.happened_on, move=move, **signed).save()
    _write_haul_turtles(drafts, haul_ids, rows, new)
    for code, row in rows.items():
        turtle = books.turtles[code]
        row.cell_id = store.cell_ids[turtle.at] if turtle.at is not None else None
        row.last_seen_on = turtle.last_seen_on
        if NEW_TURTLE in code:
            # Its number is its id: the database gives each once, also to two who register at the same time.
            row.code = str(row.pk)
    ledger_sql.place_turtles([(row.code, row.cell_id, row.last_seen_on, row.pk) for row in rows.values()])
    write_last_seen(first_on.keys() - new)  # marked again
    # Only of those that were told: of the others somebody may note the sex at this moment.
    told = [rows[mark.code] for _, draft in drafts for mark in draft.marks if mark.sex or mark.batch]
    Turtle.objects.bulk_update(told, ["sex", "batch"])


def _write_put_on(
    posting: Posting,
    move: Move,
    draft: Draft,
    rows: Mapping[str, Turtle],
    batches: Mapping[str, int],
    again: list[tuple[Move, PutOn, Turtle]],
) -> list[Mark]:
    """Write the sex that a draft tells; marks nobody else has are returned, conflicts are added to `again`."""
    plain: list[Mark] = []
    signed = {"by": posting.by, "by_name": posting.by_name}
    for mark in draft.marks:
        if not (mark.put_on or mark.sex or mark.batch):
            continue
        row = rows[mark.code]
        if mark.batch:
            row.batch_id = batches.get(mark.batch) or _batch_id(mark.batch)
        for put_on in mark.put_on:
            if put_on.is_conflict:
                again.append((move, put_on, row))
            else:
                plain.append(mark_row(put_on, row, move.happened_on, move=move, **signed))
        if mark.sex is not None:
            SexStep.objects.create(
                turtle=row,
                sex=mark.sex.sex,
                method=mark.sex.method,
                certainty=mark.sex.certainty,
                sexed_on=move.happened_on,
                **signed,
            )
            row.sex = latest_sex(row)
    return plain


def latest_sex(turtle: Turtle) -> str:
    """Return what a turtle's latest sex step says, by the animal's days."""
    latest = SexStep.objects.filter(turtle=turtle).order_by("sexed_on", "pk").last()
    return latest.sex if latest is not None else Sex.INDETERMINATE.value


def _batch_id(code: str) -> int:
    pk = Batch.objects.filter(code=code).values_list("pk", flat=True).first()
    if pk is None:
        raise BatchMissing(f"There is no batch “{code}”.", field="batch")
    return pk


def mark_row(put_on: PutOn, turtle: Turtle, day: dt.date, **signed) -> Mark:
    """Return the unsaved row of a mark put on, with the number of turtles that had its code before."""
    conflict = 0
    if put_on.is_conflict and put_on.form in ("NOTCH", "TAG"):
        latest = same_code(put_on, turtle.kind_id).order_by("conflict").last()
        conflict = latest.conflict + 1 if latest is not None else 0
    return Mark(
        turtle=turtle,
        kind_id=turtle.kind_id,
        form=put_on.form,
        scheme=put_on.scheme,
        mask=put_on.mask,
        family=put_on.family,
        tag=put_on.tag or None,
        text=put_on.text,
        site=put_on.site,
        put_on_on=day,
        conflict=conflict,
        note=put_on.note,
        **signed,
    )


def seen_in_haul_of(move: Move) -> set[str]:
    """Return the codes of the turtles that a move's haul brought."""
    return set(HaulTurtle.objects.filter(haul__move=move).values_list("turtle__code", flat=True))


def see_without(move: Move, codes: Collection[str], books: Books) -> None:
    """Let turtles be seen last when they were without a move, for what is planned after it."""
    for code, day in _latest_in_hand(codes, without=move.pk).items():
        books.turtles[code].last_seen_on = day


def write_last_seen(codes: Collection[str]) -> None:
    """
    Write when turtles were first marked and last seen, by what holds: on the day of their first mark, or later.

    One whose marking was taken back too keeps the day of it.
    """
    first, latest = _first_marked(codes), _latest_in_hand(codes)
    ledger_sql.see_turtles([(max(first[code], latest[code]), first[code], code) for code in sorted(first)])


def _latest_in_hand(codes: Collection[str], *, without: int = 0) -> dict[str, dt.date]:
    """Return when turtles were last in hand by the moves and hauls that hold, but for one; never is long ago."""
    latest = dict.fromkeys(codes, LONG_AGO)
    steps = MarkStep.objects.filter(turtle__code__in=codes, how__in=IN_HAND, move__reversed_by=None)
    hauls = HaulTurtle.objects.filter(turtle__code__in=codes, haul__move__reversed_by=None)
    for rows in (
        steps.exclude(move=without).values_list("turtle__code").annotate(last=Max("move__happened_on")),
        hauls.exclude(haul__move=without).values_list("turtle__code").annotate(last=Max("haul__happened_on")),
    ):
        for code, last in rows if codes else ():
            latest[code] = max(last, latest[code])
    return latest


def _first_marked(codes: Collection[str]) -> dict[str, dt.date]:
    """Return when turtles were first marked: by the markings that hold, or by all where none does."""
    if not codes:
        return {}
    marked = MarkStep.objects.filter(turtle__code__in=codes, how="MARKED").values_list("turtle__code")
    first = dict(marked.annotate(first=Min("move__happened_on")))
    return first | dict(marked.filter(move__reversed_by=None).annotate(first=Min("move__happened_on")))


def standing_marks(turtles: Iterable[str] | None = None):
    """Return the marks that hold: not lost, taken off or mistaken since they were put on or notched again."""
    later_end = MarkEvent.objects.filter(Q(move=None) | Q(move__reversed_by=None))
    ends = ("LOST", "REMOVED", "MISTAKEN")
    rows = later_end.filter(what__in=(*ends, "RENEWED"))
    if turtles is not None:
        rows = rows.filter(mark__turtle__code__in=turtles)
    state = dict(rows.order_by("happened_on", "pk").values_list("mark", "what"))  # the latest of each
    ended = [mark for mark, what in state.items() if what in ends]
    marks = Mark.objects.all() if turtles is None else Mark.objects.filter(turtle__code__in=turtles)
    return marks.exclude(pk__in=ended)


def _write_lost(posting: Posting, move: Move, draft: Draft) -> None:
    if draft.lost_marks:
        MarkEvent.objects.bulk_create(
            MarkEvent(
                mark=mark,
                move=move,
                what=draft.marks_end or "LOST",
                happened_on=move.happened_on,
                by=posting.by,
                by_name=posting.by_name,
                note=move.note[:300],
            )
            for mark in standing_marks(draft.lost_marks)
        )


def _write_haul_turtles(
    drafts: Sequence[tuple[Move, Draft]],
    haul_ids: Mapping[int, int],
    rows: Mapping[str, Turtle],
    new: set[str],
) -> None:
    """Write which turtles each haul brought, in the order of the scans; those newly marked come last."""
    HaulTurtle.objects.bulk_create(
        HaulTurtle(haul_id=haul_ids[move.pk], turtle=rows[code], place=place, is_new=code in new)
        for move, draft in drafts
        if move.pk in haul_ids
        for place, code in enumerate(
            Counter(
                [one.code for one in draft.seen]
                + [mark.code for mark in draft.marks if mark.code in new and mark.pond == draft.pond]
            )
        )
    )
