"""A scratch farm of fifty thousand marked turtles and its searches, timed; prints JSON. Run by `bench turtles`."""

from __future__ import annotations

import datetime as dt
import json
import random
import time
import uuid
from collections.abc import Callable
from functools import partial

import django

TURTLES, READINGS, ROUNDS = 50_000, 12, 3
TODAY = dt.date(2026, 6, 30)


def main() -> None:
    """Make the farm, time its searches, print the figures."""
    django.setup()
    from django.contrib.auth.models import User
    from django.test import Client
    from django.urls import reverse

    from ponds.roles import give_role
    from stock.marks.notch import RELABELLED_SCHEME as SCHEME
    from stock.marks.notch import positions_in
    from stock.models import Mark
    from stock.turtle_search import free_code, half_read, search

    person = User.objects.create_user("wren")
    give_role(person, "owner")
    kind = make(person)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    page = reverse("stock:turtle-list")
    rng = random.Random(12)  # noqa: S311
    some = Mark.objects.filter(form="TAG").order_by("pk")[25_000].tag or ""
    texts = (some, some[-6:], f"LA_{some[:3]}_{some[3:]}", "2,3-4,9", "R2 L10 R9 L2", "white 5", "4711")
    slowest = max(_fastest(partial(search, text)) for text in texts)
    on_page = max(_fastest(partial(client.get, page, {"q": text, "per_page": "100"})) for text in texts)
    masks = [
        (mask, turtle)
        for mask, turtle in Mark.objects.filter(mask__isnull=False).values_list("mask", "turtle")
        if mask is not None
    ]
    usable = positions_in(SCHEME.usable_mask)
    readings = []
    for _ in range(READINGS):
        mark = sorted(positions_in(rng.choice(masks)[0]))
        rng.shuffle(mark)
        readings.append((tuple(mark[1:]), (*mark[:1], *rng.sample(usable, 2))))
    half_read(SCHEME, *readings[0])  # gathered once, as the first search after a new mark does
    search_one = _fastest(lambda: [half_read(SCHEME, *one) for one in readings]) / READINGS

    def read_all() -> list[tuple[frozenset[str], int]]:
        rows = Mark.objects.filter(mask__isnull=False).values_list("mask", "turtle")
        return [(frozenset(positions_in(mask)), turtle) for mask, turtle in rows if mask is not None]

    # The reference answers a question as a register without an index would: it reads every mark, and looks.
    scan_one = _fastest(lambda: _scan(read_all(), *readings[0]))
    plain = read_all()
    same = all(set(half_read(SCHEME, *one).ids) == _scan(plain, *one) for one in readings)
    asked = {"rim": SCHEME.key, "clear": " ".join(readings[0][0]), "faint": " ".join(readings[0][1])}
    half_page = _fastest(lambda: client.get(page, asked).content)
    free = _fastest(lambda: free_code(SCHEME, kind, notches=8))
    figures = {
        "turtles": TURTLES,
        "texts": len(texts),
        "mark_seconds": slowest,
        "page_seconds": on_page,
        "half_read_seconds": search_one,
        "half_page_seconds": half_page,
        "scan_seconds": scan_one,
        "free_seconds": free,
        "same_answers": same,
    }
    print(json.dumps(figures))  # noqa: T201


def make(person):
    """Fill one pond with marked turtles, each with a notch code and a tag; return their kind."""
    from ponds.models import Kind, Pond
    from stock import ledger
    from stock.drafts import BatchDraft, Draft, Line
    from stock.models import Mark, Turtle

    kind = Kind.objects.create(
        code="slider", common_name="Slider", scientific_name="Trachemys scripta elegans"
    )
    Pond.objects.create(code="A", opened_on=TODAY, head_limit=None).kinds_allowed.add(kind)
    ledger.record(
        Draft(
            uuid.uuid4(),
            TODAY,
            (Line("slider", "FEMALE", "BOUGHT", "A", TURTLES, batch="P1"),),
            pond="A",
            batches=(BatchDraft("P1", "BOUGHT", TODAY),),
        ),
        by=person,
        today=TODAY,
    )
    # What the searches read, written straight into the scratch tables: marking goes head by head in the ledger.
    Turtle.objects.bulk_create(
        (
            Turtle(pk=number, code=str(number), kind=kind, last_seen_on=TODAY, first_marked_on=TODAY)
            for number in range(1, TURTLES + 1)
        ),
        batch_size=5000,
    )
    codes = iter(_masks())
    rows = []
    for number in range(1, TURTLES + 1):
        put_on = {"turtle_id": number, "kind": kind, "put_on_on": TODAY}
        rows.append(Mark(form="NOTCH", scheme="LR18", mask=next(codes), **put_on))
        rows.append(Mark(form="TAG", family="iso", tag=f"985113{number * 7:09}", **put_on))
    Mark.objects.bulk_create(rows, batch_size=5000)
    return kind


def _masks() -> list[int]:
    """Return 50,000 codes of 4, 6 and 8 notches, two scutes or more apart."""
    from itertools import combinations

    from stock.marks.notch import RELABELLED_SCHEME

    masks: list[int] = []
    for notches in (4, 6, 8):
        for bits in combinations(RELABELLED_SCHEME.bits, notches):
            masks.append(sum(1 << bit for bit in bits))
            if len(masks) == TURTLES:
                return masks
    raise RuntimeError("the scheme has too few codes")


def _scan(
    plain: list[tuple[frozenset[str], int]], clear: tuple[str, ...], doubtful: tuple[str, ...]
) -> set[int]:
    """Search as the definition has it: mark by mark, the places already read."""
    seen, allowed = set(clear), {*clear, *doubtful}
    return {turtle for mark, turtle in plain if seen <= mark <= allowed}


def _fastest(run: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - began)
    return best


if __name__ == "__main__":
    main()
