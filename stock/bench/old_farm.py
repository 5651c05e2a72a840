"""A farm of some years, and what reading and posting cost at the end of it. Run by itself; prints JSON.

The same ponds and the same number of moves a month whatever the years, so that only age differs.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import random
import sys
import time
import uuid

TODAY = dt.date(2026, 6, 30)
PONDS, MOVES_A_MONTH, KINDS = 12, 60, ("slider", "cooter")
# The quickest of so many rounds is taken: what else the machine does only ever adds to a time.
ROUNDS = 25


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--years", type=int, required=True)
    years = words.parse_args().years
    import django

    django.setup()
    began = time.perf_counter()
    person, codes = fill(years)
    figures = {"moves": years * 12 * MOVES_A_MONTH, "filled_seconds": time.perf_counter() - began}
    json.dump({**figures, **read_days(years), **post_moves(person, codes)}, sys.stdout)


def fill(years: int):
    """Make the ponds and post all moves as one batch."""
    from django.contrib.auth.models import User

    from ponds.models import Kind, Pond
    from stock import ledger
    from stock.drafts import BatchDraft, Draft, Line

    rng = random.Random(years)  # noqa: S311 (an invented farm, no secret)
    first = TODAY.replace(day=1) - dt.timedelta(days=365 * years)
    person = User.objects.create(username="bench")
    kinds = [Kind.objects.get_or_create(code=code, defaults={"common_name": code})[0] for code in KINDS]
    codes = [chr(ord("A") + number) for number in range(PONDS)]
    for code in codes:
        Pond.objects.create(code=code, opened_on=first).kinds_allowed.set(kinds)
    opening = BatchDraft("opening", "OPENING", first)
    drafts = [
        Draft(
            uuid.uuid4(),
            first,
            tuple(
                Line(kind, of_class, "OPENING", code, 20_000, batch="opening")
                for kind in KINDS
                for of_class in ("FEMALE", "MALE")
            ),
            made_as="OPENING",
            pond=code,
            batches=(opening,),
        )
        for code in codes
    ]
    days = (TODAY - first).days
    for _ in range(years * 12 * MOVES_A_MONTH):
        source, target = rng.sample(codes, 2)
        line = Line(
            rng.choice(KINDS),
            rng.choice(("FEMALE", "MALE")),
            source,
            rng.choice((target, target, "SOLD", "DIED")),
            rng.randint(1, 5),
        )
        drafts.append(
            Draft(uuid.uuid4(), first + dt.timedelta(days=rng.randint(0, days)), (line,), pond=source)
        )
    ledger.record_all(drafts, by=person, today=TODAY)
    return person, codes


def read_days(years: int) -> dict[str, float]:
    """Time reading days spread over the last year, and the sum of all entries as the reference."""
    from stock.book import balances
    from stock.models import Entry

    days = [TODAY - dt.timedelta(days=14 * number) for number in range(ROUNDS)]
    by_book = [_timed(lambda day=day: balances(day)) for day in days]
    full = [_timed(lambda day=day: sum_of_entries(Entry, day)) for day in days[:5]]
    expected = {pk: heads for pk, heads in sum_of_entries(Entry, days[3]).items() if heads}
    held = {balance.cell_id: balance.heads for balance in balances(days[3]) if balance.heads}
    if not held or any(expected[pk] != heads for pk, heads in held.items()):
        raise RuntimeError("the book and the sum of all entries disagree")
    return {"read_ms": 1000 * min(by_book), "full_sum_ms": 1000 * min(full)}


def sum_of_entries(entries, day: dt.date) -> dict[int, int]:
    """Return cell -> heads by adding up every entry there is, as a register without month ends would."""
    from django.db.models import Sum

    held: dict[int, int] = {}
    for side, sign in (("source", -1), ("target", 1)):
        rows = entries.objects.filter(booked_on__lte=day).values_list(side).annotate(heads=Sum("heads"))
        for pk, heads in rows:
            held[pk] = held.get(pk, 0) + sign * heads
    return held


def post_moves(person, codes: list[str]) -> dict[str, float]:
    """Time single posts dated today and half a year back, a fresh key each."""
    from stock import ledger
    from stock.drafts import Draft, Line

    figures = {}
    for name, day in (("post_ms", TODAY), ("post_back_dated_ms", TODAY - dt.timedelta(days=180))):
        times = []
        for number in range(ROUNDS):
            line = Line(KINDS[0], "FEMALE", codes[number % 2], codes[1 - number % 2], 1)
            draft = Draft(uuid.uuid4(), day, (line,), "OFFICE")
            times.append(_timed(lambda draft=draft: ledger.record(draft, by=person, today=TODAY)))
        figures[name] = 1000 * min(times)
    return figures


def _timed(run) -> float:
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


if __name__ == "__main__":
    main()
