"""Notch codes among fifty thousand issued: the half-read search and the next free code against a plain scan."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from stock.bench.registry import Measured
from stock.marks.free import next_free
from stock.marks.issued import Issued, candidates
from stock.marks.notch import RELABELLED_SCHEME, decode, positions_in

ISSUED, NOTCHES, DISTANCE = 50_000, (4, 6, 8), 2
READINGS, ROUNDS = 20, 5
MOST_SECONDS = 0.4
TIMES_FASTER = 50
Answer = TypeVar("Answer")
Reading = tuple[set[str], set[str]]


def measure() -> Measured:
    """Time both searches on 50,000 codes of 18 scutes; each answer must be the plain scan's."""
    codes = _issued_codes()
    gather, issued = _fastest(lambda: Issued.of(RELABELLED_SCHEME, codes))
    plain = {code: frozenset(decode(RELABELLED_SCHEME, code)) for code in codes}
    readings = _readings(list(plain.values()))

    search, found = _fastest(lambda: [candidates(RELABELLED_SCHEME, issued, *one) for one in readings])
    scan, scanned = _fastest(lambda: [_scan(plain, *one) for one in readings])
    search, scan = search / READINGS, scan / READINGS
    ratio = scan / search

    free, code = _fastest(
        lambda: next_free(RELABELLED_SCHEME, issued, notches=NOTCHES[-1], min_distance=DISTANCE)
    )
    proposal = frozenset(decode(RELABELLED_SCHEME, code))
    one_proposal, nearest = _fastest(lambda: min(len(mark ^ proposal) for mark in plain.values()))

    missed = []
    for name, seconds in (
        ("half-read search", search),
        ("next free code", free),
        ("gathering the codes", gather),
    ):
        if seconds > MOST_SECONDS:
            missed.append(
                f"marks: {name} takes {1000 * seconds:.0f} ms; the limit is {1000 * MOST_SECONDS:.0f} ms."
            )
    if ratio < TIMES_FASTER:
        missed.append(
            f"marks: half-read search is {ratio:.0f} times as fast as the scan; the limit is {TIMES_FASTER}."
        )
    if [set(one) for one in found] != scanned:
        missed.append("marks: the half-read search and the plain scan find different codes.")
    if nearest < DISTANCE:
        missed.append(f"marks: the next free code {code} is {nearest} scutes from a code issued.")
    return Measured(
        "marks",
        f"among {ISSUED:,} codes, gathered from text in {1000 * gather:.0f} ms: a half-read rim in "
        f"{1000 * search:.2f} ms, a plain scan of the same sets in {1000 * scan:.1f} ms, {ratio:.0f} times as long; "
        f"the next free code in {1000 * free:.1f} ms, where holding a single proposal against all of them one by one "
        f"takes {1000 * one_proposal:.1f} ms.",
        {
            "search_seconds": search,
            "search_reference_seconds": scan,
            "search_ratio": ratio,
            "ratio_limit": TIMES_FASTER,
            "next_free_seconds": free,
            "next_free_one_proposal_seconds": one_proposal,
            "gather_seconds": gather,
            "limit_seconds": MOST_SECONDS,
        },
        tuple(missed),
    )


def _issued_codes() -> list[str]:
    """Return the first 50,000 codes of 4, 6 and 8 notches: all two scutes or more apart, with room for more."""
    every = _masks()
    chosen = np.concatenate([every[np.bitwise_count(every) == notches] for notches in NOTCHES])
    return list(Issued.from_masks(RELABELLED_SCHEME, chosen[:ISSUED].tolist()).codes())


def _masks() -> np.ndarray:
    """Return every set of the scheme's scutes as a mask."""
    masks = np.zeros(1, np.uint32)
    for bit in RELABELLED_SCHEME.bits:
        masks = np.concatenate([masks, masks | np.uint32(1 << bit)])
    return masks


def _readings(marks: list[frozenset[str]]) -> list[Reading]:
    """Return rims read in part, seeded: two notches doubtful, and two more scutes unreadable."""
    rng = random.Random(12)  # noqa: S311
    usable = positions_in(RELABELLED_SCHEME.usable_mask)
    readings = []
    for _ in range(READINGS):
        mark = sorted(rng.choice(marks))
        rng.shuffle(mark)
        readings.append((set(mark[2:]), {*mark[:2], *rng.sample(usable, 2)}))
    return readings


def _scan(plain: dict[str, frozenset[str]], clear: set[str], doubtful: set[str]) -> set[str]:
    """Search as the definition has it: code by code, the places already read."""
    allowed = clear | doubtful
    return {code for code, mark in plain.items() if clear <= mark <= allowed}


def _fastest(run: Callable[[], Answer]) -> tuple[float, Answer]:
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.perf_counter()
        answer = run()
        best = min(best, time.perf_counter() - began)
    return best, answer
