"""`make_farm`: fill an empty database with a large invented farm, to see how the program bears it."""

from __future__ import annotations

import datetime as dt
import gc
import itertools
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from ponds import nest_book, places
from ponds.farm import the_farm
from ponds.kinds_shipped import load_shipped_kinds
from ponds.models import Kind, NestDay, Pond
from stock import flows, ledger, mixes
from stock.made_farm import HEAD_LIMIT, MadeFarm
from stock.models import Move

MOVES_A_CHUNK = 20_000
NESTS_A_CHUNK = 5_000
MOST_PONDS, MOST_MOVES, MOST_YEARS = 1_000, 5_000_000, 60
NEST_KEYS = uuid.UUID("0f4d6b5e-8d0a-4f0e-9a53-5a0d0f6f7c21")


@contextmanager
def _few_collections() -> Iterator[None]:
    """
    Look for cycles less often.

    A chunk's drafts and moves live until it is written and hold none: looking for them again and again took a
    sixth of the time.
    """
    usual = gc.get_threshold()
    gc.set_threshold(200_000, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


class Command(BaseCommand):
    help = (
        "Fill an empty database with an invented farm of any size, through the ledger, with progress. The same "
        "seed gives the same farm. Nobody can sign in to it before `make_owner`."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--ponds", type=int, required=True, metavar="N", help=f"1 to {MOST_PONDS:,}")
        parser.add_argument("--moves", type=int, required=True, metavar="N", help=f"1 to {MOST_MOVES:,}")
        parser.add_argument("--years", type=int, required=True, metavar="N", help=f"1 to {MOST_YEARS}")
        parser.add_argument("--seed", type=int, default=1, metavar="N", help="1 unless given")

    def handle(self, *args, **options) -> None:
        for name, most in (("ponds", MOST_PONDS), ("moves", MOST_MOVES), ("years", MOST_YEARS)):
            if not 1 <= options[name] <= most:
                raise CommandError(f"--{name} {options[name]}: give a whole number from 1 to {most:,}.")
        if Pond.objects.exists() or Move.objects.exists():
            raise CommandError(
                f"This database holds {Pond.objects.count()} ponds and {Move.objects.count()} moves; nothing was "
                "touched. make_farm fills an empty database only: set SCUTEBOOK_DATA to an empty folder, or "
                "DATABASE_URL to an empty database, and migrate it first."
            )
        today = the_farm().today()
        farm = MadeFarm(
            ponds=options["ponds"],
            moves=options["moves"],
            years=options["years"],
            last=today - dt.timedelta(days=1),
            seed=options["seed"],
        )
        began = time.monotonic()
        self._make_ponds(farm)
        with _few_collections():
            posted = self._post(farm, today)
        rows = self._write_nests(farm, today)
        flows.keep(today)
        mixes.roll_all(self._say)
        self._say(
            f"Made {options['ponds']:,} ponds, {posted:,} moves and {rows:,} rows of the nest book in "
            f"{time.monotonic() - began:,.1f} s."
        )

    @transaction.atomic
    def _make_ponds(self, farm: MadeFarm) -> None:
        load_shipped_kinds()
        row = the_farm()
        row.name = f"Invented farm of {farm.ponds:,} ponds"
        row.save(update_fields=["name"])
        for pond in farm.pond_list:
            fields = {"opened_on": pond.opened_on, "head_limit": HEAD_LIMIT}
            places.open_pond(places.PondDraft(pond.code, fields, pond.kinds))

    def _post(self, farm: MadeFarm, today: dt.date) -> int:
        drafts, posted, began = farm.drafts(), 0, time.monotonic()
        while chunk := list(itertools.islice(drafts, MOVES_A_CHUNK)):
            ledger.record_all(chunk, by=None, today=today)
            posted += len(chunk)
            seconds = time.monotonic() - began
            speed = f"{posted / seconds:,.0f} a second"
            self._say(f"{posted:>9,} moves, through {chunk[-1].happened_on}, {seconds:7,.1f} s, {speed}")
        return posted

    def _write_nests(self, farm: MadeFarm, today: dt.date) -> int:
        ponds = {pond.code: pond for pond in Pond.objects.all()}
        kinds = {kind.code: kind for kind in Kind.objects.all()}
        rows = (
            NestDay(
                key=uuid.uuid5(NEST_KEYS, f"{farm.seed} {pond} {kind} {day}"),
                pond=ponds[pond],
                kind=kinds[kind],
                dug_on=day,
                nests=nests,
                eggs=eggs,
            )
            for pond, kind, day, nests, eggs in farm.nests()
        )
        written = 0
        while chunk := list(itertools.islice(rows, NESTS_A_CHUNK)):
            written += len(nest_book.record_all(chunk, today=today))
        return written

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
