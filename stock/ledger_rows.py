"""Private to `stock/ledger.py`: the rows of planned moves, written in bulk."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.db import DEFAULT_DB_ALIAS

from stock import flows, ledger_sql, mixes
from stock.drafts import BatchDraft, CountDraft, Draft, HaulDraft, PaperDraft
from stock.ledger_marks import with_scans, write_marks
from stock.models import (
    Batch,
    Count,
    Move,
    Paper,
    Task,
    TaskMove,
)
from stock.planning import Books, Plan
from stock.refusals import LedgerRefusal

if TYPE_CHECKING:
    from stock.ledger_posting import Posting

Work = tuple[Move, Draft | None, Plan]
PAPER_FIELDS = ("party", "licence", "document", "purpose", "disposal", "expires_on", "note")


def write_rows(posting: Posting, books: Books, work: Sequence[Work]) -> list[Move]:
    """Write moves with all that belongs to them, then what the cells hold at each month's end."""
    if not work:
        return []
    store = posting.store
    batches = _write_batches(posting, work)
    moves = _write_moves([move for move, _, _ in work])
    ledger_sql.write_entries(
        [
            (
                move.pk,
                number,
                store.cell_ids[planned.source],
                store.cell_ids[planned.target],
                planned.heads,
                planned.reason,
                planned.cause,
                batches[planned.batch] if planned.batch else None,
                move.happened_on,
                move.booked_on,
            )
            for move, _, plan in work
            for number, planned in enumerate(plan.entries)
        ]
    )
    haul_ids = _write_parts(posting, work)
    write_marks(posting, books, work, haul_ids, batches)
    for move, draft, plan in work:
        if draft is not None:
            _tick_tasks(move, draft, plan)
    store.write_month_ends(books)
    mixes.forget_from(min(move.booked_on for move in moves))
    flows.forget({move.happened_on for move in moves}, posting.today)
    return moves


def _write_moves(moves: list[Move]) -> list[Move]:
    ids = ledger_sql.write_moves(
        [
            (
                move.key.hex,
                move.content_sha256,
                move.made_as,
                move.pond_id,
                move.happened_on,
                move.booked_on,
                move.by_id,
                move.by_name,
                move.note,
                move.reverses_id,
                move.replaces_id,
            )
            for move in moves
        ]
    )
    for move in moves:
        move.pk = ids[move.key.hex]
        move._state.adding = False
        move._state.db = DEFAULT_DB_ALIAS
        # The database wrote the instant; it is read when it is asked for.
        vars(move).pop("recorded_at", None)
    return moves


def count_row(posting: Posting, draft: CountDraft, *, key: uuid.UUID, content: str, **more) -> Count:
    """Return the unsaved row of a head count."""
    return Count(
        key=key,
        content_sha256=content,
        pond_id=posting.store.pond_ids[draft.pond],
        kind_id=posting.store.kind_ids[draft.kind],
        as_of=draft.as_of,
        how_known=draft.how_known,
        females=draft.females,
        females_se=draft.females_se,
        males=draft.males,
        males_se=draft.males_se,
        covariance=draft.covariance,
        unsexed=draft.unsexed,
        unsexed_se=draft.unsexed_se,
        juveniles=draft.juveniles,
        juveniles_se=draft.juveniles_se,
        by=posting.by,
        by_name=posting.by_name,
        **more,
    )


def _write_batches(posting: Posting, work: Sequence[Work]) -> dict[str, int]:
    """Make the batches that are new and return the ids of all that the moves name."""
    drafts = [draft for _, draft, _ in work if draft is not None]
    # A reversal has no draft; its entries name the batches of the original.
    codes = {planned.batch for _, _, plan in work for planned in plan.entries if planned.batch}
    codes |= {batch.code for draft in drafts for batch in draft.batches}
    if not codes:
        return {}
    standing = ledger_sql.batches(codes)
    known = {code: pk for code, pk, _ in standing}
    sources = {code: source for code, _, source in standing}
    new: dict[str, BatchDraft] = {}
    for draft in drafts:
        for batch in draft.batches:
            if batch.code not in known:
                new.setdefault(batch.code, batch)
            elif sources[batch.code] != batch.source:
                # The rules saw no such batch: another posting made it since, which no lock of cells keeps off.
                raise LedgerRefusal(
                    f"The batch code {batch.code} was just taken into use for heads {sources[batch.code].lower()}. "
                    "Use another code.",
                    field="batch",
                )
    rows = Batch.objects.bulk_create(
        Batch(
            code=batch.code,
            source=batch.source,
            arrived_on=batch.arrived_on,
            party=batch.party,
            generation=batch.generation,
            note=batch.note,
            by=posting.by,
        )
        for batch in new.values()
    )
    known.update({row.code: row.pk for row in rows})
    _write_batch_papers(posting, drafts, known)
    return known


def _write_batch_papers(posting: Posting, drafts: Sequence[Draft], batch_ids: dict[str, int]) -> None:
    """Keep the papers that batches came with; one that stands with its batch already is not kept twice."""
    typed = {
        (batch_ids[batch.code], batch.paper)
        for draft in drafts
        for batch in draft.batches
        if batch.paper is not None and batch.paper.says_something
    }
    if not typed:
        return
    standing = {
        (row.batch_id, PaperDraft(**{name: getattr(row, name) for name in PAPER_FIELDS}))
        for row in Paper.objects.filter(batch__in={batch for batch, _ in typed})
    }
    ledger_sql.write_papers(
        [
            (batch, None, *_paper(posting, paper))
            for batch, paper in sorted(typed - standing, key=lambda one: (one[0], str(one[1])))
        ]
    )


def _paper(posting: Posting, paper: PaperDraft) -> tuple:
    return (*(getattr(paper, name) for name in PAPER_FIELDS), posting.by.pk if posting.by else None)


def _write_parts(posting: Posting, work: Sequence[Work]) -> dict[int, int]:
    """Write the papers, counts and hauls that came with moves; return the hauls' ids by their moves'."""
    papers, counts, hauls, catches = [], [], [], []
    for move, draft, _ in work:
        if draft is None:
            continue
        papers += [(None, move.pk, *_paper(posting, paper)) for paper in draft.papers if paper.says_something]
        for count in draft.counts:
            key = uuid.uuid5(move.key, f"count {count.pond} {count.kind}")
            counts.append(count_row(posting, count, key=key, content=move.content_sha256, move=move))
        if draft.haul is not None:
            hauls.append(_haul(move, draft, draft.haul))
            catches += [(move, with_scans(caught, draft)) for caught in draft.haul.lines]
    ledger_sql.write_papers(papers)
    Count.objects.bulk_create(counts)
    haul_ids = ledger_sql.write_hauls(hauls)
    ledger_sql.write_catches(
        [
            (
                haul_ids[move.pk],
                posting.store.kind_ids[caught.kind],
                caught.of_class,
                caught.caught,
                caught.carrying_marks,
                caught.newly_marked,
                caught.dead_in_net,
            )
            for move, caught in catches
        ]
    )
    return haul_ids


def _haul(move: Move, draft: Draft, haul: HaulDraft) -> tuple:
    return (
        move.pk,
        move.pond_id,
        draft.happened_on,
        haul.method,
        haul.effort,
        haul.effort_typed,
        haul.water_mk,
        haul.water_typed,
        haul.water_unit,
        haul.is_held_out,
        haul.is_complete,
    )


def _tick_tasks(move: Move, draft: Draft, plan: Plan) -> None:
    """Tick the tasks that the draft names by the heads this move really adds or takes out."""
    if not draft.tasks:
        return
    tasks = Task.objects.filter(pk__in=draft.tasks, dropped_at=None).select_related("pond", "kind")
    done = []
    for task in tasks:
        if task.verb == Task.Verb.RECOUNT:
            if draft.haul is not None and draft.pond == task.pond.code:
                done.append(TaskMove(task=task, move=move, heads=0))
            continue
        heads = sum(
            planned.heads
            for planned in plan.entries
            if _serves(task, planned.target if task.verb == Task.Verb.ADD else planned.source)
            and planned.source.place != planned.target.place
            and planned.reason != "BEYOND_BOOK"
        )
        if heads:
            done.append(TaskMove(task=task, move=move, heads=heads))
    TaskMove.objects.bulk_create(done)


def _serves(task: Task, ref) -> bool:
    return (
        (ref.place, ref.of_class) == (task.pond.code, task.of_class)
        and task.kind is not None
        and ref.kind == task.kind.code
    )
