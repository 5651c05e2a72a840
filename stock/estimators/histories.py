"""Counts of capture histories."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from stock.estimators.estimate import check_count


class Captures(NamedTuple):
    """
    Counts of capture histories, one for each sample; the first five are what `jolly_seber` takes.

    ``first_recaptures[i]`` are those of the animals released at sample i that were next caught at each
    later sample, as `recapture_survival` takes them.
    """

    caught: tuple[int, ...]
    marked: tuple[int, ...]
    released: tuple[int, ...]
    seen_again: tuple[int, ...]
    seen_around: tuple[int, ...]
    first_recaptures: tuple[tuple[int, ...], ...]


def from_histories(histories: Iterable[str | Sequence[int]] | Mapping[str, int]) -> Captures:
    """
    Count capture histories.

    Parameters
    ----------
    histories : iterable of str or of sequence of int, or mapping of str to int
        One history for each animal, with one sign a sample: 0 not caught, 1 caught and released, 2
        caught and not released (it must be the last). A mapping gives how many animals share each.

    Raises
    ------
    ValueError
        If the histories are not equally long, hold another sign, or go on after a 2.
    """
    if isinstance(histories, Mapping):
        shared = [
            (history, check_count(heads, f"histories, {history}")) for history, heads in histories.items()
        ]
    else:
        shared = [("".join(map(str, history)), 1) for history in histories]
    k = len(shared[0][0]) if shared else 0
    caught, marked, released = [0] * k, [0] * k, [0] * k
    seen_again, seen_around = [0] * k, [0] * k
    first_recaptures = [[0] * (k - 1 - sample) for sample in range(k - 1)]
    for place, (history, heads) in enumerate(shared, start=1):
        if len(history) != k:
            raise ValueError(
                f"histories, number {place}: {history!r} has {len(history)} samples; the first has {k}."
            )
        if set(history) - set("012"):
            raise ValueError(f"histories, number {place}: {history!r} holds a sign other than 0, 1 and 2.")
        if "2" in history and history.rstrip("0").find("2") != len(history.rstrip("0")) - 1:
            raise ValueError(
                f"histories, number {place}: {history!r} goes on after a 2, which is not released."
            )
        seen = [sample for sample, sign in enumerate(history) if sign != "0"]
        for sample in seen:
            caught[sample] += heads
            released[sample] += heads if history[sample] == "1" else 0
        for before, after in pairwise(seen):
            marked[after] += heads
            seen_again[before] += heads
            first_recaptures[before][after - before - 1] += heads
            for between in range(before + 1, after):
                seen_around[between] += heads
    return Captures(
        tuple(caught),
        tuple(marked),
        tuple(released),
        tuple(seen_again),
        tuple(seen_around),
        tuple(map(tuple, first_recaptures)),
    )
