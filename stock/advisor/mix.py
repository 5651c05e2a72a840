"""
Where the heads of a cell came from: batches and seasons of arrival, replayed from entries.

Unmarked heads cannot be told apart, so those that leave a cell are taken to be of its batches in
proportion. Beside that expectation every batch carries the fewest and the most heads that could be
of it, whatever the luck of each catch.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from stock.estimators.estimate import check_count, check_number

UNKNOWN = "unknown"
"""Batch of heads that left a cell beyond what it held: nobody can say which they were."""

SETTLING = (0.4, 0.7, 1.0)
"""Share of full laying in the first, second, third and later season in a pond (an assumption)."""

_DUST = 1e-9


class Cell(NamedTuple):
    """A place, kind and class; ``outside`` places are not followed."""

    place: str
    kind: str
    stock_class: str
    outside: bool = False


@dataclass(frozen=True)
class Entry:
    """
    So many heads from one cell to another.

    Parameters
    ----------
    source, target : Cell
        Two different cells.
    heads : int
        Heads, above 0.
    season : int
        Season (year) of the day; 0 for stock that was there before the register, which is settled.
    batch : str or None
        Batch the entry names: needed from outside (``unknown`` without it); from a pond it means
        that the heads were known to be of that batch, as when a purchase is reversed.
    """

    source: Cell
    target: Cell
    heads: int
    season: int
    batch: str | None = None


class Share(NamedTuple):
    """Heads of one batch in a cell: expected, and the fewest and most there can be."""

    expected: float
    at_least: int
    at_most: int


@dataclass(frozen=True)
class CellMix:
    """
    What a cell is made of.

    Parameters
    ----------
    heads : int
        Heads standing, 0 or more; the batches' expected heads add up to it.
    owed : int
        Heads that left beyond what the cell held, until arrivals make them good; 0 once a day is
        over. The cell's balance is heads - owed.
    batches : mapping of str to Share
        By batch.
    seasons : mapping of int to float
        Expected heads by the season they arrived in this pond.
    """

    heads: int = 0
    owed: int = 0
    batches: Mapping[str, Share] = field(default_factory=dict)
    seasons: Mapping[int, float] = field(default_factory=dict)


State = Mapping[Cell, CellMix]
_NOTHING = CellMix()


def _without_dust(mix: CellMix) -> CellMix:
    """Drop shares below a billionth of a head, and let the rest add up to the heads again."""
    batches = {name: share for name, share in mix.batches.items() if share[0] >= _DUST}
    seasons = {season: heads for season, heads in mix.seasons.items() if heads >= _DUST}
    if len(batches) < len(mix.batches) and batches:
        largest = max(batches, key=lambda name: batches[name].expected)
        missing = mix.heads - sum(share.expected for share in batches.values())
        kept = batches[largest]
        mended = min(max(kept.expected + missing, kept.at_least), kept.at_most)
        batches[largest] = kept._replace(expected=mended)
    return CellMix(mix.heads, mix.owed, batches, seasons)


def _split(
    mix: CellMix, heads: int, named: str | None
) -> tuple[dict[str, Share], dict[str, Share], dict[int, float], dict[int, float]]:
    """Take ``heads`` (at most those there) out: batches left and gone, seasons left and gone."""
    left_heads = mix.heads - heads
    of_named = mix.batches.get(named) if named is not None else None
    known = min(float(heads), of_named.expected) if of_named is not None else 0.0
    # Heads surely of the named batch, which the other batches cannot have given.
    surely_known = min(heads, of_named.at_least) if of_named is not None else 0
    others = mix.heads - (of_named.expected if of_named is not None else 0.0)
    portion = min(1.0, (heads - known) / others) if others > _DUST else 0.0
    left: dict[str, Share] = {}
    gone: dict[str, Share] = {}
    rest = heads - surely_known
    for name, (expected, at_least, at_most) in mix.batches.items():
        if of_named is not None and name == named:
            gone[name] = _in_order(known, surely_known, min(heads, at_most))
            left[name] = _in_order(
                expected - known, max(0, at_least - heads), min(max(0, at_most - heads), left_heads)
            )
            continue
        # Comparisons in place of min and max: on a long register this is where the time goes.
        fewest, most = at_least - left_heads, at_most if at_most < rest else rest
        gone[name] = _in_order(expected * portion, fewest if fewest > 0 else 0, most)
        fewest, most = at_least - rest, at_most if at_most < left_heads else left_heads
        left[name] = _in_order(expected * (1 - portion), fewest if fewest > 0 else 0, most)
    season_portion = heads / mix.heads if mix.heads else 0.0
    seasons_gone = {season: count * season_portion for season, count in mix.seasons.items()}
    seasons_left = {season: count * (1 - season_portion) for season, count in mix.seasons.items()}
    return left, gone, seasons_left, seasons_gone


def _sum(one: Share, other: Share) -> Share:
    return Share(one.expected + other.expected, one.at_least + other.at_least, one.at_most + other.at_most)


def _in_order(expected: float, at_least: int, at_most: int) -> Share:
    """Take rounding out of a share, so that at least <= expected <= at most holds to the last bit."""
    if expected > at_most:
        expected = at_most
    elif expected < at_least:
        expected = at_least
    return Share(expected, at_least, at_most)


def _receive(mix: CellMix, heads: int, batches: Mapping[str, Share], seasons: Mapping[int, float]) -> CellMix:
    """Add arrivals; what the cell owes has left again already and is taken off them first."""
    repaid = min(mix.owed, heads)
    if repaid:
        arrivals = CellMix(heads, 0, batches, seasons)
        batches, _, seasons, _ = _split(arrivals, repaid, None)
    merged = dict(mix.batches)
    for name, share in batches.items():
        present = merged.get(name)
        merged[name] = share if present is None else _sum(present, share)
    by_season = dict(mix.seasons)
    for season, count in seasons.items():
        by_season[season] = by_season.get(season, 0.0) + count
    return _without_dust(CellMix(mix.heads + heads - repaid, mix.owed - repaid, merged, by_season))


def _apply(state: dict[Cell, CellMix], entry: Entry) -> None:
    heads = check_count(entry.heads, "heads")
    if heads == 0 or entry.source == entry.target:
        raise ValueError("An entry moves at least one head between two different cells.")
    gone: dict[str, Share] = {}
    seasons_gone: dict[int, float] = {}
    if entry.source.outside:
        gone = {entry.batch or UNKNOWN: Share(float(heads), heads, heads)}
    else:
        source = state.get(entry.source, _NOTHING)
        taken = min(heads, source.heads)
        left, gone, seasons_left, seasons_gone = _split(source, taken, entry.batch)
        beyond = heads - taken
        state[entry.source] = _without_dust(
            CellMix(source.heads - taken, source.owed + beyond, left, seasons_left)
        )
        if beyond:
            strangers = gone.get(UNKNOWN, Share(0.0, 0, 0))
            gone[UNKNOWN] = _sum(strangers, Share(float(beyond), beyond, beyond))
            seasons_gone[entry.season] = seasons_gone.get(entry.season, 0.0) + beyond
    if not entry.target.outside:
        if entry.source.outside or entry.source.place != entry.target.place:
            seasons_gone = {entry.season: float(heads)}
        state[entry.target] = _receive(state.get(entry.target, _NOTHING), heads, gone, seasons_gone)


def step(state: State, entry: Entry) -> dict[Cell, CellMix]:
    """
    Return the state after one entry; the state given stays as it was.

    Of a cell's T heads, n leave. Each batch gives n / T of its expected heads, at least
    max(0, n - (T - its fewest)) and at most min(n, its most); it keeps at least
    max(0, its fewest - n) and at most min(its most, T - n). These bounds hold whatever was caught,
    though not always as tight as the whole history would allow. Heads from outside are exactly of
    the batch named. A change of class in the same place keeps the season of arrival; a move to
    another place sets it to the season of the move. A reversal is an entry the other way; to undo a
    move without a trace, replay without it and its reversal.

    Heads that leave beyond what the cell holds (the order of entries inside one day is not known)
    arrive as batch ``unknown`` and are owed by the cell until arrivals make them good.

    Parameters
    ----------
    state : mapping of Cell to CellMix
        Empty at the start. Outside cells are not in it.
    entry : Entry

    Returns
    -------
    dict of Cell to CellMix

    Raises
    ------
    ValueError
        If the entry moves no heads, or joins a cell with itself.
    """
    after = dict(state)
    _apply(after, entry)
    return after


def replay(entries: Iterable[Entry], state: State | None = None) -> dict[Cell, CellMix]:
    """Return the state after all the entries in their order, from ``state`` or from nothing."""
    after = dict(state or {})
    for entry in entries:
        _apply(after, entry)
    return after


def settled_equivalent(
    by_season: Mapping[int, float], season: int, *, weights: Sequence[float] = SETTLING
) -> float:
    """
    Return females in terms of settled ones: each counts by her season in the pond.

    Parameters
    ----------
    by_season : mapping of int to float
        Expected heads by season of arrival, as in `CellMix`.
    season : int
        The season asked about. Heads of later seasons are not there yet and count nothing.
    weights : sequence of float
        Share of full laying in the first, second ... season; the last one goes on. The default is an
        assumption: bought breeders are said to need one to three years to lay reliably (Southern
        Regional Aquaculture Center, publication 439).

    Raises
    ------
    ValueError
        If there are no weights, or one is not a share.
    """
    if not weights:
        raise ValueError("weights: give at least one share of laying.")
    shares = [check_number(weight, "weights", low=0, high=1) for weight in weights]
    return sum(
        heads * shares[min(season - arrived, len(shares) - 1)]
        for arrived, heads in by_season.items()
        if arrived <= season
    )


def to_dict(state: State) -> list[dict[str, Any]]:
    """Return the state as lists and dicts that JSON can hold, cells in order."""
    return [
        {
            "place": cell.place,
            "kind": cell.kind,
            "stock_class": cell.stock_class,
            "heads": mix.heads,
            "owed": mix.owed,
            "batches": {name: list(share) for name, share in sorted(mix.batches.items())},
            "seasons": {str(season): heads for season, heads in sorted(mix.seasons.items())},
        }
        for cell, mix in sorted(state.items())
    ]


def from_dict(written: Iterable[Mapping[str, Any]]) -> dict[Cell, CellMix]:
    """Return the state that `to_dict` wrote."""
    return {
        Cell(row["place"], row["kind"], row["stock_class"]): CellMix(
            row["heads"],
            row["owed"],
            {name: Share(*share) for name, share in row["batches"].items()},
            {int(season): heads for season, heads in row["seasons"].items()},
        )
        for row in written
    }
