"""Reading a survey: from the hauls of one pond to its heads, and whether there is anything to accept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from stock.estimators.estimate import Estimate, check_confidence
from stock.estimators.removal import removal
from stock.estimators.survey_reading import (
    ADULTS,
    DRAIN_DOWN,
    FEMALE,
    JUVENILE,
    MALE,
    UNSEXED,
    Assumption,
    Circumstances,
    Fit,
    HaulCatch,
    Reading,
    SurveyReading,
)
from stock.estimators.two_sample import two_sample

__all__ = [
    "DRAIN_DOWN",
    "FEMALE",
    "JUVENILE",
    "MALE",
    "UNSEXED",
    "Assumption",
    "Circumstances",
    "Fit",
    "HaulCatch",
    "Reading",
    "SurveyReading",
    "read_survey",
]


def _adults(heads) -> int:
    return sum(heads.get(of_class, 0) for of_class in ADULTS)


def read_survey(
    hauls: Sequence[HaulCatch],
    circumstances: Circumstances | None = None,
    *,
    confidence: float = 0.95,
) -> SurveyReading:
    """Read the hauls of one pond together."""
    level = check_confidence(confidence)
    if not hauls:
        return SurveyReading(
            "no hauls", "No haul yet.", 0, refusal="This survey has no haul yet; record one."
        )
    as_of = hauls[-1].day
    caught = [_adults(haul.caught) for haul in hauls]
    if hauls[-1].is_complete:
        total = Estimate(caught[-1], 0.0, caught[-1], caught[-1], level, "drain-down", known_alive=caught[-1])
        reading = _shared(Reading("drain-down", "", "Drain-down: every head counted", total), hauls[-1:])
        return SurveyReading("drain-down", "The pond was drained to the last head.", as_of, reading)
    if len(hauls) > 1 and all(haul.is_held_out for haul in hauls[:-1]):
        counted = removal(caught, confidence=level)
        reading = Reading(
            "removal",
            "carle-strub",
            "Passes held out (Carle and Strub)",
            counted,
            capture_probability=counted.capture_probability,
            reference=0,
        )
        declined = removal(caught, variant="mle").value is not None
        declines = Assumption(
            "declined",
            "The catch declined from pass to pass",
            declined,
            "The catch fell." if declined else "The catch did not fall from pass to pass.",
            is_fatal=True,
        )
        return SurveyReading(
            "removal",
            "Every haul was held out until the last.",
            as_of,
            _shared(reading, hauls),
            assumptions=(declines,),
            refusal="" if declined else "The catch did not decline, so there is nothing to accept.",
        )
    if len(hauls) == 2 and _adults(hauls[0].newly_marked):
        of_marks = two_sample(
            _adults(hauls[0].newly_marked), caught[1], _adults(hauls[1].carrying), confidence=level
        )
        reading = Reading("two-sample", "chapman", "Two hauls with marks (Chapman)", of_marks)
        return SurveyReading(
            "two hauls with marks",
            "Turtles were marked in one haul and looked for in a second.",
            as_of,
            _shared(reading, hauls),
            refusal="" if _adults(hauls[1].carrying) else "No marked turtle was caught again.",
        )
    return SurveyReading(
        "one haul",
        "One haul that did not take every head.",
        as_of,
        refusal="One haul cannot tell what it left in the pond. Mark and haul again, or hold out passes.",
    )


def _shared(reading: Reading, hauls: Sequence[HaulCatch]) -> Reading:
    """Return the reading with its total shared out as the sexed were."""
    females, males = (sum(haul.caught.get(sex, 0) for haul in hauls) for sex in (FEMALE, MALE))
    counted = reading.total
    if not females + males or counted.value is None:
        return reading
    share = females / (females + males)
    parts = [
        Estimate(
            value=counted.value * part,
            se=None if counted.se is None else counted.se * part,
            lower=None if counted.lower is None else counted.lower * part,
            upper=None if counted.upper is None else counted.upper * part,
            confidence=counted.confidence,
            method=counted.method,
            variant=counted.variant,
            status=counted.status,
        )
        for part in (share, 1 - share)
    ]
    return replace(reading, females=parts[0], males=parts[1])
