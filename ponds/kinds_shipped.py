"""The kinds that come with the program, each figure with its source, in `data/kinds.csv`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from django.db import transaction

from ponds.kind_sheet import KINDS_SHEET, write_rows
from ponds.models import Kind
from ponds.names import name_key
from ponds.sheet_files import read_rows
from ponds.sheets import RowsRefused, SheetRow, parse_rows

KINDS_FILE = Path(__file__).resolve().parent / "data" / "kinds.csv"


@dataclass(frozen=True)
class Shipped:
    """How many kinds were added, and how many the farm had already, which stay as the farm has them."""

    added: int
    kept: int


@transaction.atomic
def load_shipped_kinds() -> Shipped:
    """Add the shipped kinds that the farm has not got; a kind it has, by code or name, stays untouched."""
    rows, bad_rows = parse_rows(KINDS_SHEET, read_rows(KINDS_FILE.name, KINDS_FILE.read_bytes()))
    if bad_rows:
        raise RowsRefused(bad_rows)
    held = Kind.objects.values_list("code", "name_key")
    codes, names = {code for code, _ in held}, {name for _, name in held}
    missing = [row for row in rows if row["code"] not in codes and name_key(row["common name"]) not in names]
    known = codes | {row["code"] for row in missing}
    if missing:
        write_rows([_among(row, known) for row in missing])
    return Shipped(added=len(missing), kept=len(rows) - len(missing))


def _among(row: SheetRow, known: set[str]) -> SheetRow:
    """Leave out of "not kept with" what this farm does not have."""
    partners = tuple(code for code in row["not kept with"] or () if code in known)
    return replace(row, values={**row.values, "not kept with": partners})
