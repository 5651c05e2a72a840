"""Reading a survey: from the hauls of one pond to its heads, and whether there is anything to accept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from stock.estimators.estimate import check_confidence
from stock.estimators.survey_assumptions import kept_marks, of_drain_down, of_marks, of_passes
from stock.estimators.survey_marks import read_several, read_two_sample
from stock.estimators.survey_passes import (
    MOST_EFFORT_RATIO,
    drained_from,
    read_drain_down,
    read_passes,
    reads_effort,
)
from stock.estimators.survey_reading import (
    ADULTS,
    CLASSES,
    DRAIN_DOWN,
    FEMALE,
    JUVENILE,
    MALE,
    SEINE,
    TRAPS,
    UNSEXED,
    Assumption,
    Circumstances,
    Fit,
    HaulCatch,
    Reading,
    SurveyReading,
    heads_of,
)
from stock.estimators.survey_sexes import weaker
from stock.estimators.survey_tally import Tallies, tally

__all__ = [
    "ADULTS",
    "CLASSES",
    "DRAIN_DOWN",
    "FEMALE",
    "JUVENILE",
    "MALE",
    "SEINE",
    "TRAPS",
    "UNSEXED",
    "Assumption",
    "Circumstances",
    "Fit",
    "HaulCatch",
    "Reading",
    "SurveyReading",
    "read_survey",
]

_NOBODY = Circumstances()


def read_survey(
    hauls: Sequence[HaulCatch], circumstances: Circumstances = _NOBODY, *, confidence: float = 0.95
) -> SurveyReading:
    """
    Read the hauls of one pond and kind together.

    The headline is fixed by what was done, never by what came out: a drain-down to the last head is a
    count (of several, the latest; hauls held out straight before it are counted with it). Passes that were
    held out are read by removal, or, from three on with efforts more than a tenth apart, by catch and
    effort. Marks looked for in one haul are read by Chapman's two-sample estimate, in two or more hauls
    by Schnabel's. Whether the last haul was held out or put back does not matter.

    Parameters
    ----------
    hauls : sequence of HaulCatch
        In the order they were made.
    circumstances : Circumstances
        Marks out before, marks checked for loss, moves between the hauls.
    confidence : float
        Two-sided confidence level of all limits.

    Returns
    -------
    SurveyReading
        With ``refusal`` where the form gives no head count or an assumption fails that leaves none to
        accept. An assumption that fails without forbidding marks the headline ``low_confidence``.

    Raises
    ------
    ValueError
        If the numbers are impossible; a sentence says where.
    """
    level = check_confidence(confidence)
    tallies = tally(hauls, circumstances)
    if not hauls:
        return SurveyReading(
            "no hauls", "No haul is in it yet.", 0, refusal="This survey has no haul yet; add one to it."
        )
    as_of = hauls[-1].day
    drained = drained_from(tallies)
    if drained:
        return _read_drained(tallies, as_of, level, *drained)
    if not tallies.adults.taken:
        young = tallies.juveniles.taken
        sentence = (
            f"Of breeding size nothing was caught, only {heads_of(young, 'juvenile')}."
            if young
            else "Nothing was caught."
        )
        return SurveyReading(
            "nothing caught",
            sentence,
            as_of,
            refusal=f"{sentence} That is not a count of 0: the gear may have missed them. Haul again.",
        )
    held_out = [haul.is_held_out for haul in hauls[:-1]]
    if any(held_out) and not all(held_out):
        return SurveyReading(
            "held out and returned",
            "Some catches were held out of the pond and others put back.",
            as_of,
            refusal=(
                "Some hauls were held out and others put back, and no method reads them together. Put the passes "
                "that were held out into one survey and the hauls that were put back into another."
            ),
        )
    if any(held_out):
        return _read_held_out(tallies, as_of, level)
    return _read_returned(tallies, as_of, level)


def _finished(
    form: str,
    form_sentence: str,
    as_of: int,
    headline: Reading,
    others: tuple[Reading, ...],
    assumptions: tuple[Assumption, ...],
) -> SurveyReading:
    """Return the reading with its refusal, and its headline weakened by what fails without forbidding."""
    refusal = " ".join(assumption.sentence for assumption in assumptions if assumption.forbids)
    if not refusal and headline.total.value is None:
        refusal = " ".join(headline.total.notes)
    failed = [
        assumption.sentence
        for assumption in assumptions
        if assumption.holds is False
        and not assumption.is_fatal
        and not (assumption.code == "equal-catch" and headline.by_sex)
        and assumption.code != "recaptures"
    ]
    headline = replace(
        headline,
        total=weaker(headline.total, failed),
        females=weaker(headline.females, failed),
        males=weaker(headline.males, failed),
        juveniles=weaker(headline.juveniles, failed),
    )
    return SurveyReading(form, form_sentence, as_of, headline, others, assumptions, refusal)


def _read_drained(tallies: Tallies, as_of: int, level: float, first: int, last: int) -> SurveyReading:
    headline = read_drain_down(tallies, first, last, level)
    others: tuple[Reading, ...] = ()
    adults = tallies.adults
    if first == 0 < last and adults.taken:
        beside, more = read_passes(tallies, level)
        others = (beside, *more)
    elif (
        first == last
        and adults.at_large[last]
        and adults.caught[last]
        and adults.is_accounted
        and last not in tallies.not_looked_for
    ):
        retention, _ = kept_marks(tallies)
        beside, more = read_two_sample(tallies, last, retention, level)
        others = (beside, *more)
    return _finished(
        "drain-down",
        "The pond was drained to the last head, so the headline is what was counted.",
        as_of,
        headline,
        others,
        of_drain_down(tallies, last),
    )


def _read_held_out(tallies: Tallies, as_of: int, level: float) -> SurveyReading:
    headline, others = read_passes(tallies, level)
    sentence = f"{len(tallies.hauls)} passes, each held out until the last, so the headline is "
    if reads_effort(tallies):
        sentence += (
            f"catch by effort: the efforts differ by more than {MOST_EFFORT_RATIO - 1:.0%}, and there are three "
            "passes or more."
        )
    else:
        sentence += "that of removal."
    return _finished("removal", sentence, as_of, headline, others, of_passes(tallies, headline))


def _read_returned(tallies: Tallies, as_of: int, level: float) -> SurveyReading:
    adults = tallies.adults
    if not adults.is_accounted:
        place = next(
            at
            for at, (seen, out) in enumerate(zip(adults.carrying, adults.at_large, strict=True))
            if seen > out
        )
        return SurveyReading(
            "marks without a source",
            "More marks were found than this survey knows of.",
            as_of,
            refusal=(
                f"Haul {place + 1} brought {adults.carrying[place]} marked turtles, but {adults.at_large[place]} "
                "marked were at large by this survey. Say how many marked heads were in the pond before the "
                "first haul, or correct the haul."
            ),
        )
    places = tallies.with_marks_out
    if not places:
        return _read_without_marks(tallies, as_of)
    if tallies.not_looked_for:
        return _read_unlooked(tallies, as_of)
    retention, kept = kept_marks(tallies)
    if len(places) == 1:
        headline, others = read_two_sample(tallies, places[0], retention, level)
        form = "two hauls with marks"
        sentence = (
            "Turtles were marked in one haul and looked for in a second"
            if places[0]
            else "Marked turtles were in the pond before, and one haul looked for them"
        )
        sentence += ", so the headline is Chapman's."
    else:
        headline, others = read_several(tallies, retention, level)
        form = "several hauls with marks"
        sentence = f"{len(places)} hauls looked for marks, so the headline is Schnabel's, modified."
    return _finished(form, sentence, as_of, headline, others, of_marks(tallies, headline, kept))


def _read_unlooked(tallies: Tallies, as_of: int) -> SurveyReading:
    place = tallies.not_looked_for[0]
    return SurveyReading(
        "marks not looked for",
        "Marked turtles were at large, and nobody looked for marks.",
        as_of,
        refusal=(
            f"Haul {place + 1} caught {heads_of(tallies.adults.caught[place], 'head')} while "
            f"{tallies.adults.at_large[place]} marked were at large, and it does not say how many carried marks. "
            "Correct the haul: write how many did, 0 where somebody looked and found none. If nobody looked and "
            "none was newly marked in it, leave it out of this survey."
        ),
    )


def _read_without_marks(tallies: Tallies, as_of: int) -> SurveyReading:
    count = len(tallies.hauls)
    share = ""
    if tallies.has_sexed:
        females, males = tallies.females.taken, tallies.males.taken
        share = f" What was sexed, {heads_of(females, 'female')} and {heads_of(males, 'male')}, tells the share only."
    if count == 1:
        return SurveyReading(
            "one haul",
            "One haul that did not take every head gives no head count.",
            as_of,
            refusal=(
                "One haul cannot tell what it left in the pond. Mark what was caught, put it back and haul again, or "
                f"hold out one pass after another until the catch falls.{share}"
            ),
        )
    return SurveyReading(
        "hauls without marks",
        "The catch was put back each time and nothing was marked.",
        as_of,
        refusal=(
            f"{count} hauls whose catch was put back without marks cannot tell new turtles from those met before. "
            f"Mark what is caught, or hold it out until the last pass.{share}"
        ),
    )
