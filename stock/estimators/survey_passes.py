"""Reading a survey's passes: hauls that were held out, and a drain-down to the last head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from stock.estimators.catch_effort import CatchEffort, catch_effort
from stock.estimators.estimate import Estimate, Status
from stock.estimators.passes_over import PassesOver, first_pass_equal, headline_passes
from stock.estimators.removal import removal
from stock.estimators.survey_reading import Fit, Reading, heads_of
from stock.estimators.survey_sexes import Split, as_count, share_out
from stock.estimators.survey_tally import Tallies

MOST_EFFORT_RATIO = 1.1
"""Passes whose efforts differ by more than this ratio are not taken as alike."""


def efforts(tallies: Tallies) -> tuple[float, ...] | None:
    """Return the effort of each haul, or None where one was not noted."""
    noted = [haul.effort for haul in tallies.hauls]
    return None if any(effort is None for effort in noted) else tuple(float(effort or 0) for effort in noted)


def is_effort_uneven(tallies: Tallies) -> bool:
    """Whether the efforts are known to differ by more than a tenth."""
    spent = efforts(tallies)
    return spent is not None and max(spent) > MOST_EFFORT_RATIO * min(spent)


def reads_effort(tallies: Tallies) -> bool:
    """Whether catch by effort is the headline: three passes or more, of uneven effort."""
    return len(tallies.hauls) >= 3 and is_effort_uneven(tallies)


def equal_first_pass(tallies: Tallies) -> tuple[float, str] | None:
    """Return the p-value that both sexes came to the first pass alike, and the numbers in words."""
    females, males = tallies.females, tallies.males
    if not females.taken or not males.taken:
        return None
    p_value = float(first_pass_equal(PassesOver([females.caught]), PassesOver([males.caught]))[0])
    words = (
        f"{females.caught[0]} of {heads_of(females.taken, 'female')} and {males.caught[0]} of "
        f"{heads_of(males.taken, 'male')} "
        "caught came in the first pass"
    )
    return p_value, words


def has_declined(tallies: Tallies) -> bool:
    """Whether the adults' catch fell enough for heads to be told from it (Seber & Whale 1970)."""
    return bool(PassesOver([tallies.adults.caught]).declined[0])


def sets_limit(tallies: Tallies) -> bool:
    """Whether the catches set an upper limit even one standard error up."""
    arrays = ([group.caught] for group in (tallies.females, tallies.males, tallies.adults))
    return bool(headline_passes(*arrays).total.is_exact[0])


def read_passes(tallies: Tallies, confidence: float) -> tuple[Reading, tuple[Reading, ...]]:
    """Return the headline of passes held out, and the readings beside it."""
    caught = tallies.adults.caught
    readings = [_carle_strub(tallies, confidence)]
    likelihood = removal(caught, variant="mle", confidence=confidence)
    readings.append(
        _reading(
            tallies,
            share_out(
                likelihood, tallies.females.taken, tallies.males.taken, tallies.groups["UNSEXED"].taken
            ),
            "removal",
            "mle",
            "Passes held out (greatest likelihood)",
            likelihood.capture_probability,
        )
    )
    spent = efforts(tallies)
    if spent is not None and len(caught) >= 3:
        for half, variant, words in (
            (False, "leslie", "Catch by effort (Leslie)"),
            (True, "leslie-half-catch", "Catch by effort (Leslie, half of each catch added)"),
        ):
            line = catch_effort(caught, spent, half_catch=half, confidence=confidence)
            readings.append(_by_effort(tallies, line, spent, variant, words))
    if reads_effort(tallies):
        readings.insert(0, readings.pop(2))
    return readings[0], tuple(readings[1:])


def _carle_strub(tallies: Tallies, confidence: float) -> Reading:
    """Return Carle and Strub's reading with the limits of the likelihood; by sex where numbers allow."""
    words = "Passes held out (Carle and Strub)"
    groups = (tallies.females, tallies.males, tallies.adults)
    plain = removal(tallies.adults.caught, confidence=confidence)
    if plain.value is None or plain.upper is None:
        return _reading(tallies, Split(plain), "removal", "carle-strub", words, None)
    sexed = headline_passes(*([group.caught] for group in groups), confidence=confidence)
    by_sex = bool(sexed.is_by_sex[0])
    notes = tuple(note for note in plain.notes if not note.startswith("By this figure"))
    status = Status.LOW_CONFIDENCE if notes else Status.OK

    def count(heads: Any, known: int, said: Sequence[str]) -> Estimate:
        return as_count(
            heads,
            known=known,
            confidence=confidence,
            method="removal",
            variant="likelihood limits",
            status=status,
            notes=said,
        )

    total = count(sexed.total, tallies.adults.taken, notes)
    if not has_declined(tallies):
        # For comparison only: a catch that did not fall sets no upper limit.
        total = replace(total, upper=plain.upper, lower=min(plain.lower or 0.0, total.lower or 0.0))
    split = Split(total)
    if tallies.has_sexed:
        shared = share_out(total, tallies.females.taken, tallies.males.taken, tallies.groups["UNSEXED"].taken)
        split = shared
        if by_sex:
            split = Split(
                total,
                count(sexed.females, tallies.females.taken, notes),
                count(sexed.males, tallies.males.taken, notes),
                float(sexed.covariance[0]),
                True,
            )
    value = total.value or 0.0
    chance = float(PassesOver([tallies.adults.caught]).chance(np.array([value]))[0])
    return _reading(tallies, split, "removal", "carle-strub", words, chance)


def _young(tallies: Tallies, confidence: float) -> Estimate | None:
    return removal(tallies.juveniles.caught, confidence=confidence) if tallies.juveniles.taken else None


def _reading(
    tallies: Tallies, split: Split, method: str, variant: str, words: str, chance: float | None
) -> Reading:
    caught = tallies.adults.caught
    value = split.total.value
    expected: list[float | None] = [None] * len(caught)
    if value is not None and chance is not None:
        expected = [value * chance * (1 - chance) ** passed for passed in range(len(caught))]
    fit = Fit(
        tallies.labels(range(len(caught))),
        tuple(float(heads) for heads in caught),
        tuple(expected),
        "Adults caught in each pass, against what the fitted heads and chance of capture expect",
    )
    return Reading(
        method,
        variant,
        words,
        split.total,
        split.females,
        split.males,
        _young(tallies, split.total.confidence),
        split.covariance,
        split.by_sex,
        chance,
        0,
        fit,
    )


def _by_effort(
    tallies: Tallies, line: CatchEffort, spent: Sequence[float], variant: str, words: str
) -> Reading:
    caught = tallies.adults.caught
    split = share_out(line, tallies.females.taken, tallies.males.taken, tallies.groups["UNSEXED"].taken)
    reading = _reading(tallies, split, "catch-effort", variant, words, None)
    expected: list[float | None] = [None] * len(caught)
    start = line.value if line.raw is None else line.raw
    if start is not None and line.catchability is not None:
        before = 0.0
        for place, (heads, effort) in enumerate(zip(caught, spent, strict=True)):
            out = before + (heads / 2 if variant == "leslie-half-catch" else 0.0)
            expected[place] = max(line.catchability * effort * (start - out), 0.0)
            before += heads
    assert reading.fit is not None  # noqa: S101 (just made)
    chance = None
    if line.catchability is not None:
        chance = min(line.catchability * sum(spent) / len(spent), 1.0)
    return replace(
        reading,
        capture_probability=chance,
        fit=replace(
            reading.fit,
            expected=tuple(expected),
            words="Adults caught in each pass, against what the line of catch by effort expects",
        ),
    )


def drained_from(tallies: Tallies) -> tuple[int, int] | None:
    """
    Return the places of the first haul and of the drain-down that together brought every head.

    Hauls held out straight before a complete drain-down belong to it. None where the pond was not
    drained to the last head; of several drain-downs the latest.
    """
    hauls = tallies.hauls
    complete = [place for place, haul in enumerate(hauls) if haul.is_complete]
    if not complete:
        return None
    last = first = complete[-1]
    while first > 0 and hauls[first - 1].is_held_out and not hauls[first - 1].is_complete:
        first -= 1
    return first, last


def read_drain_down(tallies: Tallies, first: int, last: int, confidence: float) -> Reading:
    """Return the count of every head from a complete drain-down and the hauls held out before it."""

    def counted(name: str) -> int:
        return sum(tallies.groups[name].caught[first : last + 1])

    notes = ["Every head was counted; there is no sampling error."]
    if first < last:
        notes.append(f"{heads_of(last - first, 'haul')} held out before the drain-down counted with it.")

    def census(heads: int) -> Estimate:
        figure = float(heads)
        return Estimate(
            figure, 0.0, figure, figure, confidence, "drain-down", "", notes=tuple(notes), known_alive=heads
        )

    total = census(counted("ADULT"))
    females, males, unsexed = (counted(name) for name in ("FEMALE", "MALE", "UNSEXED"))
    split = Split(total)
    if females + males and not unsexed:
        split = Split(total, census(females), census(males), 0.0, True)
    elif females + males:
        split = share_out(total, females, males, unsexed)
    young = counted("JUVENILE")
    is_whole = first == 0 and last == len(tallies.hauls) - 1 and first < last
    places = range(first, last + 1)
    return Reading(
        "drain-down",
        "",
        "Drain-down to the last head",
        split.total,
        split.females,
        split.males,
        census(young) if young else None,
        split.covariance,
        split.by_sex,
        None,
        0 if is_whole else (-1 if first == len(tallies.hauls) - 1 else first),
        Fit(
            tallies.labels(places),
            tuple(float(tallies.adults.caught[place]) for place in places),
            (None,) * len(places),
            "Adults caught in each haul",
        ),
    )
