"""Refusing sheets made to be slow: too many rows, one endless cell, a file over its size."""

from __future__ import annotations

import time

from ponds.sheet_files import MOST_BYTES, SheetUnreadable, read_rows
from stock.bench.registry import Measured

MOST_SECONDS = 2.0
SHEETS = {
    "50,001 rows": b"code\n" + b"A\n" * 50_001,
    "one cell of 4 MB": b"code\n" + b"x" * 4_000_000,
    "a file over its size": b"x" * (MOST_BYTES + 1),
}


def measure() -> Measured:
    """Time each refusal; a sheet that is taken is a miss."""
    seconds: dict[str, object] = {}
    missed = []
    for name, content in SHEETS.items():
        began = time.process_time()
        try:
            read_rows("sheet.csv", content)
        except SheetUnreadable:
            taken = time.process_time() - began
        else:
            taken = time.process_time() - began
            missed.append(f"a sheet with {name} was taken.")
        seconds[name] = taken
        if taken > MOST_SECONDS:
            missed.append(f"refusing {name} takes {taken:.1f} s; the limit is {MOST_SECONDS:g} s.")
    words = ", ".join(f"{name} in {taken:.2f} s" for name, taken in seconds.items())
    return Measured("sheets", f"Refused: {words}.", seconds, tuple(missed))
