"""What reading a survey takes for granted, and whether the survey itself bears it out."""

from __future__ import annotations

from stock.estimators.estimate import Status
from stock.estimators.limits import FEW_RECAPTURES
from stock.estimators.survey_marks import Retention, equal_recapture
from stock.estimators.survey_passes import (
    efforts,
    equal_first_pass,
    has_declined,
    is_effort_uneven,
    reads_effort,
    sets_limit,
)
from stock.estimators.survey_reading import Assumption, Reading, heads_of
from stock.estimators.survey_tally import Tallies
from stock.estimators.two_sample import tag_loss

MOST_DAYS = 14
"""Hauls further apart than this leave time for births, deaths and moves. Common practice, no source."""

MOST_MOVED = 0.05
"""Above this share of the estimate, moves between the hauls leave nothing to accept."""

_DOUBT = 0.05


def kept_marks(tallies: Tallies) -> tuple[Retention, Assumption]:
    """Return the chance that a mark can still be told, and what is known of it."""
    code, words = "marks-kept", "Marks are kept"
    checked = tallies.circumstances.marks_checked
    if checked is None or not any(checked):
        sentence = (
            "Cannot be told: no recaptured turtle that had been given two marks was looked at for both. A lost "
            "mark makes the count too high."
        )
        return Retention(), Assumption(code, words, None, sentence)
    both, first, second = checked
    loss = tag_loss(both, first, second)
    seen = both + first + second
    if loss.value is None:
        sentence = (
            f"None of {seen} recaptured turtles still held both of its marks, so nobody can say how many lost both. "
            "Mark anew, with a mark that lasts, and haul again."
        )
        return Retention(), Assumption(code, words, False, sentence, is_fatal=True)
    if not first + second:
        sentence = f"All {seen} recaptured turtles looked at held both of their marks."
        return Retention(), Assumption(code, words, True, sentence)
    kept = seen / loss.value
    error = 0.0 if loss.se is None else seen * loss.se / loss.value**2
    sentence = (
        f"{first + second} of {seen} recaptured turtles had lost one of two marks; by that {kept:.1%} of the marked "
        "hold at least one, and the count is corrected for it."
    )
    return Retention(kept, error), Assumption(code, words, False, sentence)


def closed(tallies: Tallies, reading: Reading) -> list[Assumption]:
    """Return whether nobody came or went between the hauls."""
    days = tallies.hauls[-1].day - tallies.hauls[0].day
    if days <= MOST_DAYS:
        said = (
            f"First and last haul are {heads_of(days, 'day')} apart, within {MOST_DAYS}."
            if days
            else "All on one day."
        )
    else:
        said = (
            f"First and last haul are {days} days apart; beyond {MOST_DAYS} days deaths and hatching tell on the "
            "count. Haul closer together next time."
        )
    apart = Assumption("closed-days", "The hauls lie close together", days <= MOST_DAYS, said)
    moved, value = tallies.circumstances.moved_between, reading.total.value
    is_much = bool(moved) and (value is None or moved > MOST_MOVED * value)
    if not moved:
        said = "The book has no other move of this pond between the first and the last haul."
    elif is_much:
        said = (
            f"{heads_of(moved, 'head')} came or went between the hauls by other moves"
            + (f", more than {MOST_MOVED:.0%} of the {value:.0f} estimated" if value is not None else "")
            + ". Survey again with no moves between the hauls."
        )
    else:
        said = f"{heads_of(moved, 'head')} came or went between the hauls, at most {MOST_MOVED:.0%} of the estimate."
    return [
        apart,
        Assumption("closed-moves", "No moves between the hauls", not moved, said, is_fatal=is_much),
    ]


def _gear(tallies: Tallies, *, is_fatal: bool) -> Assumption:
    words = {"SEINE": "seine", "TRAPS": "traps", "DRAIN_DOWN": "drain-down"}
    used = list(dict.fromkeys(words[haul.method] for haul in tallies.hauls))
    said = f"Every haul was made with the same gear: {used[0]}."
    if len(used) > 1 and is_fatal:
        said = (
            f"The hauls were made with {', '.join(used)}, which do not catch alike, so a smaller catch need not "
            "mean fewer turtles. Hold out passes with one gear."
        )
    elif len(used) > 1:
        said = f"The hauls were made with {', '.join(used)}. With marks that does no harm, and often good."
        return Assumption("same-gear", "Every haul the same gear", None, said)
    return Assumption("same-gear", "Every haul the same gear", len(used) == 1, said, is_fatal=is_fatal)


def _alike(test: tuple[float, str] | None, *, by_sex: bool) -> Assumption:
    code, words = "equal-catch", "Females and males are caught alike"
    if test is None:
        return Assumption(code, words, None, "Cannot be told: too few of one sex, or nobody sexed.")
    p_value, numbers = test
    kept_apart = " Each sex is estimated by itself, so nothing hangs on it." if by_sex else ""
    if p_value < _DOUBT:
        sentence = f"{numbers} (p = {p_value:.2g}): they were not."
        if not by_sex:
            sentence += " The numbers are too few to estimate each by itself; take the ratio with care."
        return Assumption(code, words, False, sentence + kept_apart)
    return Assumption(
        code, words, True, f"{numbers} (p = {p_value:.2g}): no difference to be told.{kept_apart}"
    )


def of_marks(tallies: Tallies, reading: Reading, kept: Assumption) -> tuple[Assumption, ...]:
    """Return what a reading of marks takes for granted."""
    places = tallies.with_marks_out
    seen = sum(tallies.adults.carrying[place] for place in places)
    caught = sum(tallies.adults.caught[place] for place in places)
    words = f"At least {FEW_RECAPTURES} marked turtles caught again"
    if not caught:
        sentence = "Nothing was caught while marked turtles were at large. Haul again."
    elif not seen:
        sentence = (
            f"None of {caught} caught carried a mark. The pond holds many more than were marked, or the "
            "marks were lost; mark more and haul again."
        )
    elif seen < FEW_RECAPTURES:
        sentence = (
            f"{seen} were caught again; with so few the count is off by more than chance. Haul once more."
        )
    else:
        sentence = f"{seen} of {caught} caught carried a mark."
    enough = Assumption("recaptures", words, seen >= FEW_RECAPTURES, sentence, is_fatal=not seen)
    return (
        enough,
        *closed(tallies, reading),
        kept,
        _alike(equal_recapture(tallies), by_sex=reading.by_sex),
        _gear(tallies, is_fatal=False),
    )


def of_passes(tallies: Tallies, reading: Reading) -> tuple[Assumption, ...]:
    """Return what a reading of passes held out takes for granted."""
    caught = tallies.adults.caught
    listed = ", ".join(str(heads) for heads in caught)
    found = [_effort(tallies)]
    if reads_effort(tallies):
        fell = reading.total.status is not Status.NO_ESTIMATE
        said = f"The catches, {listed}, fell for the effort spent."
    else:
        fell = has_declined(tallies)
        said = f"The catches, {listed}, fell from pass to pass."
    if not fell:
        said = (
            f"The catches, {listed}, did not decline, so what was left in the pond cannot be told. Hold out more "
            "passes, or mark, put back and haul again."
        )
    found.insert(0, Assumption("declined", "The catch declined", fell, said, is_fatal=True))
    if fell and not reads_effort(tallies):
        is_told = sets_limit(tallies)
        said = f"The catches, {listed}, set an upper limit to the heads."
        if not is_told:
            said = (
                f"The catches, {listed}, fell so little that they set no upper limit, not even one standard "
                "error up. Hold out another pass."
            )
        found.insert(1, Assumption("told", "The catches tell the heads", is_told, said, is_fatal=True))
    return (
        *found,
        *closed(tallies, reading),
        _alike(equal_first_pass(tallies), by_sex=reading.by_sex),
        _gear(tallies, is_fatal=True),
    )


def _effort(tallies: Tallies) -> Assumption:
    code, words = "equal-effort", "Every pass the same effort"
    spent = efforts(tallies)
    if spent is None:
        return Assumption(
            code, words, None, "Cannot be told: the effort of a pass was not noted. Note it next time."
        )
    listed = ", ".join(f"{effort:g}" for effort in spent)
    if not is_effort_uneven(tallies):
        return Assumption(code, words, True, f"The efforts were {listed}.")
    if reads_effort(tallies):
        return Assumption(
            code, words, True, f"The efforts were {listed}, not alike; the headline reckons with them."
        )
    sentence = (
        f"The efforts were {listed}, not alike, so a smaller catch need not mean fewer turtles. Hold out "
        "a third pass, or passes of one effort."
    )
    return Assumption(code, words, False, sentence, is_fatal=True)


def of_drain_down(tallies: Tallies, last: int) -> tuple[Assumption, ...]:
    """Return what a drain-down takes for granted: that it brought every head."""
    marked, seen = tallies.adults.at_large[last], tallies.adults.carrying[last]
    words = "The drain-down brought every head"
    if last in tallies.not_looked_for:
        sentence = (
            f"Cannot be told by marks: {marked} marked turtles were at large, and nobody looked for them."
        )
        return (Assumption("complete", words, None, sentence),)
    if marked > seen:
        sentence = (
            f"{marked - seen} of {marked} marked turtles were not among those drained: they were missed, died or "
            "lost their marks."
        )
        return (Assumption("complete", words, False, sentence),)
    if marked:
        return (
            Assumption(
                "complete", words, True, f"All {marked} marked turtles at large were among those drained."
            ),
        )
    return (
        Assumption(
            "complete", words, None, "As whoever drained the pond says; no marks were out to tell by."
        ),
    )
