"""How often the headline's 95 % limits of a survey hold the truth, over simulated surveys, cell by cell.

The simulation draws every haul from a closed pond in which each turtle of a sex has the same chance of being
caught; the limits come from the very functions that read a survey. Two hauls with marks are held to stated limits;
passes held out and several hauls with marks are printed beside, without a limit.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stock.bench.registry import Measured
from stock.estimators.limits import normal_quantile
from stock.estimators.marked_sexes import Marks, headline
from stock.estimators.passes_over import PassesOver, headline_passes
from stock.estimators.several_sexes import SeveralHauls, headline_several
from stock.estimators.sex_ratio import ratio_limits
from stock.estimators.sexes_over import Heads, Sexed, lognormal_over

SEED = 20_260_101
RUNS = 20_000
RUNS_BESIDE = 5_000
POND_HEADS = (50, 100, 200, 500, 1000, 2000, 5000)
RATIOS = (1, 2, 3, 6)
CAPTURES = (0.1, 0.3, 0.5, 0.7)
EXPECTED_FOR_BAND, HEADS_FOR_BAND = 20, 200
BAND = (93.0, 97.0)
LEAST_EXACT = 94.0
CONFIDENCE = 0.95
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Group:
    """
    What one group's limits did in one cell; shares in percent.

    ``covered`` is over all runs and ``covered_if_read`` over those that were not refused; an interval that
    reaches infinity and holds the truth covers. ``limit`` is what it is held to: "band", "least" or "".
    """

    name: str
    heads: int
    expected_recaptures: float
    covered: float
    covered_if_read: float
    unbounded: float
    limit: str = ""

    @property
    def sentence(self) -> str:
        """Return what was missed, or ""."""
        shares = (self.covered, self.covered_if_read)
        if self.limit == "band" and not all(BAND[0] <= share <= BAND[1] for share in shares):
            return f"must lie between {BAND[0]:g} and {BAND[1]:g} %"
        if self.limit == "least" and min(shares) < LEAST_EXACT:
            return f"must be at least {LEAST_EXACT:g} %"
        return ""


@dataclass(frozen=True)
class Cell:
    """One cell: a pond, its ratio, the chance of capture in each haul, and what came of it; shares in percent."""

    survey: str
    hauls: int
    heads: int
    ratio: int
    capture: float
    runs: int
    refused: float
    by_sex: float
    groups: tuple[Group, ...]
    beside: float | None = None

    @property
    def missed(self) -> tuple[str, ...]:
        where = f"{self.survey}, {self.heads} heads, ratio {self.ratio}, capture {self.capture:.0%}"
        return tuple(
            f"{where}: {group.name} covered {group.covered:.2f} % ({group.covered_if_read:.2f} % of those read); "
            f"{group.sentence}."
            for group in self.groups
            if group.sentence
        )


def measure() -> Measured:
    """Run all cells; every one is printed."""
    began = time.perf_counter()
    rng = np.random.default_rng(SEED)
    marked = list(two_hauls(rng, RUNS))
    beside = [*passes(rng, RUNS_BESIDE), *several(rng, RUNS_BESIDE)]
    seconds = time.perf_counter() - began
    missed = tuple(sentence for cell in marked for sentence in cell.missed)
    groups = [group for cell in marked for group in cell.groups if group.limit]
    band = [group.covered for group in groups if group.limit == "band"]
    least = [group.covered for group in groups if group.limit == "least"]
    says = (
        f"{len(marked)} cells of two hauls with marks, {RUNS} runs each: log-normal or exact limits cover "
        f"{min(band):.1f} to {max(band):.1f} % where {EXPECTED_FOR_BAND} recaptures are expected and "
        f"{HEADS_FOR_BAND} heads are there (limits {BAND[0]:g} to {BAND[1]:g}), exact ones below that "
        f"{min(least):.1f} % or more (limit {LEAST_EXACT:g}); {len(beside)} cells of other surveys, "
        f"{RUNS_BESIDE} runs each, without a limit. {seconds:.0f} s.\n{table([*marked, *beside])}"
    )
    return Measured(
        "coverage",
        says,
        {
            "seconds": seconds,
            "runs": RUNS,
            "band": BAND,
            "least_exact": LEAST_EXACT,
            "band_covered": (min(band), max(band)),
            "exact_covered_least": min(least),
            "cells": [_figures(cell) for cell in (*marked, *beside)],
        },
        missed,
    )


def two_hauls(
    rng: Any,
    runs: int,
    *,
    pond_heads: Sequence[int] = POND_HEADS,
    ratios: Sequence[int] = RATIOS,
    captures: Sequence[float] = CAPTURES,
) -> Iterator[Cell]:
    """Yield the cells of two hauls: all caught in the first are marked and put back."""
    for heads in pond_heads:
        for ratio in ratios:
            for capture in captures:
                females, males = sexes_of(heads, ratio)
                of_females, of_males = (_two_marks(rng, number, capture, runs) for number in (females, males))
                adults = of_females + of_males
                read = headline(of_females, of_males, adults, confidence=CONFIDENCE)
                handled = (of_females.known(1.0), of_males.known(1.0))
                yield _cell(
                    "two hauls with marks",
                    2,
                    (females, males),
                    ratio,
                    capture,
                    read,
                    adults.seen > 0,
                    handled,
                    expected=capture * capture,
                    is_limited=True,
                )


def passes(rng: Any, runs: int) -> Iterator[Cell]:
    """Yield cells of passes held out, with the coverage that limits from the standard error would have."""
    for hauls in (2, 3, 4):
        for heads in (50, 200, 1000, 5000):
            for capture in CAPTURES:
                numbers = sexes_of(heads, 3)
                of_females, of_males = (_held_out(rng, number, capture, hauls, runs) for number in numbers)
                adults = PassesOver(of_females + of_males)
                read = headline_passes(of_females, of_males, adults.catches, confidence=CONFIDENCE)
                is_read = adults.declined & (adults.taken > 0) & read.total.is_exact
                value = adults.carle_strub()
                low, high = lognormal_over(value, adults.error(value), adults.taken, CONFIDENCE)
                handled = (of_females.sum(axis=1).astype(float), of_males.sum(axis=1).astype(float))
                yield _cell(
                    "passes held out", hauls, numbers, 3, capture, read, is_read, handled,
                    beside=_share(_holds(low, high, heads)[is_read]),
                )  # fmt: skip


def several(rng: Any, runs: int) -> Iterator[Cell]:
    """Yield cells of four hauls: all caught without a mark are marked and put back."""
    hauls = 4
    for heads in (50, 200, 1000, 5000):
        for capture in CAPTURES:
            numbers = sexes_of(heads, 3)
            of_females, of_males = (_marked_anew(rng, number, capture, hauls, runs) for number in numbers)
            both = [female + male for female, male in zip(of_females, of_males, strict=True)]
            adults = SeveralHauls.of(*both)
            females, males = SeveralHauls.of(*of_females), SeveralHauls.of(*of_males)
            read = headline_several(females, males, adults, confidence=CONFIDENCE)
            yield _cell(
                "several hauls with marks", hauls, numbers, 3, capture, read, adults.seen > 0,
                (females.known, males.known),
            )  # fmt: skip


def sexes_of(heads: int, ratio: int) -> tuple[int, int]:
    """Return females and males of a pond at so many females per male."""
    males = round(heads / (1 + ratio))
    return heads - males, males


def _two_marks(rng: Any, heads: int, capture: float, runs: int) -> Marks:
    marked = rng.binomial(heads, capture, runs)
    caught = rng.binomial(heads, capture, runs)
    return Marks.of(marked, caught, rng.hypergeometric(marked, heads - marked, caught))


def _held_out(rng: Any, heads: int, capture: float, hauls: int, runs: int) -> Any:
    left = np.full(runs, heads)
    catches = np.zeros((runs, hauls), dtype=int)
    for place in range(hauls):
        catches[:, place] = rng.binomial(left, capture)
        left -= catches[:, place]
    return catches


def _marked_anew(rng: Any, heads: int, capture: float, hauls: int, runs: int) -> tuple[Any, Any, Any]:
    """Return caught, recaptured and returned, each of shape (runs, hauls)."""
    marked = np.zeros(runs, dtype=int)
    caught, again = np.zeros((runs, hauls), dtype=int), np.zeros((runs, hauls), dtype=int)
    for place in range(hauls):
        again[:, place] = rng.binomial(marked, capture)
        fresh = rng.binomial(heads - marked, capture)
        caught[:, place] = again[:, place] + fresh
        marked += fresh
    return caught, again, caught


def _holds(lower: Any, upper: Any, truth: float) -> Any:
    return (lower <= truth + _ROUNDING * truth) & (truth - _ROUNDING * truth <= upper)


def _share(holds: Any) -> float:
    """Return a share in percent; 100 of none."""
    return float(100 * np.mean(holds)) if np.size(holds) else 100.0


def _cell(
    survey: str,
    hauls: int,
    numbers: tuple[int, int],
    ratio: int,
    capture: float,
    read: Sexed,
    is_read: Any,
    handled: tuple[Any, Any],
    *,
    expected: float = 0.0,
    is_limited: bool = False,
    beside: float | None = None,
) -> Cell:
    females, males = numbers
    heads = females + males

    def group(name: str, figures: Heads, truth: int) -> Group:
        holds = _holds(figures.lower, figures.upper, truth)
        limit = ""
        if is_limited:
            is_many = truth * expected >= EXPECTED_FOR_BAND - _ROUNDING and truth >= HEADS_FOR_BAND
            limit = "band" if is_many else "least"
        unbounded = _share(np.isinf(figures.upper))
        return Group(name, truth, truth * expected, _share(holds), _share(holds[is_read]), unbounded, limit)

    low, high = ratio_limits(read.females, read.males, handled, read.is_by_sex, CONFIDENCE)
    holds = _holds(low, high, females / males)
    groups = (
        group("total", read.total, heads),
        group("females", read.females, females),
        group("males", read.males, males),
        Group("ratio", heads, 0.0, _share(holds), _share(holds[is_read]), _share(np.isinf(high))),
    )
    runs = int(np.size(is_read))
    return Cell(
        survey,
        hauls,
        heads,
        ratio,
        capture,
        runs,
        100 - _share(is_read),
        _share(read.is_by_sex),
        groups,
        beside,
    )


def table(cells: Sequence[Cell]) -> str:
    """Return one line a cell: what was refused, and for each group the share covered and what it is held to."""
    lines = [
        "  Covered in percent of all runs, of those read, and (inf) with no upper limit. b: held to "
        f"{BAND[0]:g} to {BAND[1]:g}; e: exact, held to {LEAST_EXACT:g} or more; no letter: no limit; !: missed.",
        "  A refused survey (nothing recaptured; a catch that did not fall) counts with the limits it has all "
        "the same.",
    ]
    survey = ""
    for cell in cells:
        title = f"{cell.survey} ({cell.hauls} hauls)"
        if title != survey:
            survey = title
            lines += [
                f"  {title}, {cell.runs} runs a cell",
                "   heads ratio capture  refused by sex  "
                + "".join(f"{group.name + ': all  read   inf':<28}" for group in cell.groups)
                + ("limits from the standard error" if cell.beside is not None else ""),
            ]
        marks = {"band": "b", "least": "e", "": " "}
        columns = "".join(
            f"{marks[group.limit]}{'!' if group.sentence else ' '} {group.covered:6.2f} "
            f"{group.covered_if_read:6.2f} {group.unbounded:5.1f}      "
            for group in cell.groups
        )
        beside = "" if cell.beside is None else f"{cell.beside:6.2f}"
        lines.append(
            f"  {cell.heads:6d} {cell.ratio:4d}:1 {cell.capture:6.0%} {cell.refused:8.2f} {cell.by_sex:6.1f}   "
            f"{columns}{beside}".rstrip()
        )
    return "\n".join(lines)


def _figures(cell: Cell) -> dict[str, object]:
    return {
        "survey": cell.survey,
        "hauls": cell.hauls,
        "heads": cell.heads,
        "ratio": cell.ratio,
        "capture": cell.capture,
        "runs": cell.runs,
        "refused_percent": cell.refused,
        "by_sex_percent": cell.by_sex,
        "standard_error_limits_covered_percent": cell.beside,
        "missed": cell.missed,
        **{
            group.name: {
                "expected_recaptures": group.expected_recaptures,
                "covered_percent": group.covered,
                "covered_if_read_percent": group.covered_if_read,
                "unbounded_percent": group.unbounded,
                "limit": group.limit,
            }
            for group in cell.groups
        },
    }


def slack(share: float, runs: int) -> float:
    """Return how far chance may carry a share in percent in so many runs, at 99.9 %: binomial, normal."""
    part = share / 100
    return float(100 * normal_quantile(0.999) * np.sqrt(part * (1 - part) / runs))
