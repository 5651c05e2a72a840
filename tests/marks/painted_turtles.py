"""The shells of 24 male and 24 female painted turtles: the outside data that sizes and sheets are tested on.

Jolicoeur & Mosimann 1960, Growth 24: 339-354, as distributed with the R package ade4 1.7-22 (data set `tortues`):
length, greatest width and height of the carapace in mm. Some widths and heights there differ by a figure from
other reprints; lengths agree, and so do the males' widths.
"""

import csv
from pathlib import Path

FILE = Path(__file__).with_name("painted_turtles.csv")


def shells() -> list[dict[str, str]]:
    """Return the 48 rows: sex (F or M), length, width, height."""
    with FILE.open() as opened:
        return list(csv.DictReader(opened))


def sizes(sex: str, name: str) -> list[int]:
    """Return one measure of one sex, in mm."""
    return [int(row[name]) for row in shells() if row["sex"] == sex]
