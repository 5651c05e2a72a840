"""The books of past seasons as columns, checked and laid out as ponds by seasons."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.families import Floats, Kept


@dataclass(frozen=True)
class SeasonBook:
    """
    What was kept of past seasons: columns of equal length, one row a pond-kind and season.

    Parameters
    ----------
    pond : array of int
        Place of the pond-kind, counted from 0.
    season : array of int
        Year of the season.
    females, female_se : array of float
        Settled-equivalent females of that season as they stood, and their standard error.
    nests : array of float
        Nests in the nest book; NaN where it was not kept that season.
    opened, eggs : array of int
        Nests opened and counted, and the eggs found in them (0 and 0 where none were).
    eggs_set, hatched, clear : array of int
        Eggs set, and those that hatched and were clear; 0 where no hatch log was kept.
    fertility : array of float, optional
        Share of full fertility of that season, as `delayed_fertility` returns; 1 by default.
    """

    pond: ArrayLike
    season: ArrayLike
    females: ArrayLike
    female_se: ArrayLike
    nests: ArrayLike
    opened: ArrayLike
    eggs: ArrayLike
    eggs_set: ArrayLike
    hatched: ArrayLike
    clear: ArrayLike
    fertility: ArrayLike | None = None


@dataclass(frozen=True)
class BookTable:
    """The rows of the book laid out as ponds by seasons."""

    ponds: int
    years: NDArray[np.int_]
    columns: dict[str, Floats]
    season: int
    decay: float

    def kept(self, count: str, size: str) -> Kept:
        """Return one figure's counts over their sizes; a row without size, or not kept, stays out."""
        rows = self.columns
        at = rows["pond"].astype(int), np.searchsorted(self.years, rows["season"].astype(int))
        seen = np.isfinite(rows[count]) & (rows[size] > 0)
        shape = (self.ponds, len(self.years))
        counts, sizes, doubt = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        share = np.ones(shape)
        counts[at] = np.where(seen, rows[count], 0.0)
        sizes[at] = np.where(seen, rows[size], 0.0)
        share[at] = rows["fertility"]
        if size == "females":
            doubt[at] = np.divide(
                rows["female_se"], rows["females"], out=np.zeros(len(seen)), where=rows["females"] > 0
            )
        weights = np.broadcast_to(self.decay ** (self.season - 1.0 - self.years), shape)
        if size == "eggs_set":
            sizes = np.where(share > 0, sizes, 0.0)
        return Kept(counts, sizes, doubt, share, weights)


def check_book(book: SeasonBook, ponds: int, season: int) -> tuple[dict[str, Floats], tuple[str, ...]]:
    columns = {
        name: np.asarray(column, dtype=float) for name, column in vars(book).items() if column is not None
    }
    rows = columns["pond"].shape
    columns.setdefault("fertility", np.ones(rows))
    for name, column in columns.items():
        if column.shape != rows or column.ndim != 1:
            raise ValueError(
                f"{name}: give one figure for each of the {columns['pond'].size} rows of the book."
            )
        is_open = np.isnan(column) if name == "nests" else np.zeros(rows, dtype=bool)
        if not (np.isfinite(column) | is_open).all() or (column < 0).any():
            raise ValueError(f"{name}: every figure must be 0 or more.")
    whole = ("pond", "season", "opened", "eggs", "eggs_set", "hatched", "clear")
    for name in (*whole, "nests"):
        if not (np.isnan(columns[name]) | (columns[name] == np.floor(columns[name]))).all():
            raise ValueError(f"{name}: whole numbers are counted here.")
    if (columns["pond"] >= ponds).any():
        raise ValueError(f"pond: {ponds} pond-kinds were given; they are counted from 0 to {ponds - 1}.")
    if (columns["season"] >= season).any():
        raise ValueError(
            f"season: a row of season {columns['season'].max():.0f} cannot teach season {season}, "
            "which is not after it."
        )
    pairs = np.stack([columns["pond"], columns["season"]], axis=1)
    if len(np.unique(pairs, axis=0)) < len(pairs):
        raise ValueError("season: a pond-kind has two rows for one season; add them up first.")
    _check_parts(columns)
    stray = float(np.nansum(np.where(columns["females"] > 0, 0.0, columns["nests"])))
    notes: tuple[str, ...] = ()
    if stray:
        notes = (f"{stray:.0f} nests of seasons without settled females by the book are left out.",)
    return columns, notes


def _check_parts(columns: dict[str, Floats]) -> None:
    if (columns["opened"] > columns["nests"]).any():
        raise ValueError("opened: more nests were opened than were dug.")
    if ((columns["opened"] == 0) & (columns["eggs"] > 0)).any():
        raise ValueError("eggs: eggs were counted, but no nest opened; give the nests they came from.")
    if (columns["hatched"] + columns["clear"] > columns["eggs_set"]).any():
        raise ValueError("eggs_set: more eggs hatched or were clear than were set.")
    if (columns["fertility"] > 1).any():
        raise ValueError("fertility: a share of full fertility lies between 0 and 1.")
