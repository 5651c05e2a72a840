"""Private to `stock/ledger.py`: what the rules need of the ponds, kinds and batches that drafts name."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from stock import ledger_sql
from stock.drafts import Draft
from stock.ledger_rules import FarmFacts, PondFacts
from stock.ledger_store import Store
from stock.models import Outside


def read_farm(drafts: Sequence[Draft], store: Store, today: dt.date) -> FarmFacts:
    """Return what the farm is like, and let `store` know its ponds, kinds and latest closed month: one query."""
    codes = {line.batch for draft in drafts for line in draft.lines if line.batch}
    codes |= {batch.code for draft in drafts for batch in draft.batches}
    told: dict[str, list[tuple]] = defaultdict(list)
    for what, *row in ledger_sql.farm(sorted(_places_in(drafts)), sorted(codes)):
        told[what].append(tuple(row))
    # All kinds: they are few, and a refusal names those that are allowed or kept apart.
    names: dict[int, tuple[str, str]] = {}
    apart: dict[int, set[int]] = {}
    for pk, code, name, other, *_ in told["KIND"]:
        names[pk] = (code, name)
        if other is not None:
            apart.setdefault(pk, set()).add(other)
    ponds: dict[str, PondFacts] = {}
    for pk, code, _, kind, opened_on, retired_on in told["POND"]:
        known = ponds.get(code)
        allowed = known.kinds_allowed if known is not None else frozenset()
        if kind is not None:
            allowed |= {names[kind][0]}
        ponds[code] = PondFacts(code, opened_on, retired_on, allowed)
        store.pond_ids[code] = pk
    states: dict[str, list[tuple]] = defaultdict(list)
    for _, code, state, _, from_on, ends_on in sorted(told["STATE"], key=lambda row: (row[4], row[0])):
        states[code].append((from_on, state, ends_on))
    for code, of_pond in states.items():
        ponds[code] = replace(ponds[code], states=tuple(of_pond))
    for pk, (code, name) in names.items():
        store.kind_ids[code], store.kind_names[code] = pk, name
    store.last_closed = told["CLOSED"][0][4] if told["CLOSED"] else None
    return FarmFacts(
        today=today,
        ponds=ponds,
        kinds=store.kind_names,
        batches={code: source for _, code, source, *_ in told["BATCH"]},
        not_with={
            names[pk][0]: {names[other][0]: names[other][1] for other in others}
            for pk, others in apart.items()
        },
    )


def _places_in(drafts: Sequence[Draft]) -> set[str]:
    places = {draft.pond for draft in drafts}
    for draft in drafts:
        for line in draft.lines:
            places |= {line.source, line.target}
        places |= {count.pond for count in draft.counts}
        places |= {mark.pond for mark in draft.marks}
    return places - set(Outside.values) - {""}
