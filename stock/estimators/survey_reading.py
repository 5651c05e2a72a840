"""What a survey is read from, and what reading it hands back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from stock.estimators.estimate import Estimate

FEMALE, MALE, UNSEXED, JUVENILE = "FEMALE", "MALE", "UNSEXED", "JUVENILE"
ADULTS = (FEMALE, MALE, UNSEXED)
CLASSES = (*ADULTS, JUVENILE)
SEINE, TRAPS, DRAIN_DOWN = "SEINE", "TRAPS", "DRAIN_DOWN"


def heads_of(count: int, word: str) -> str:
    """Return a number with its word, in the plural but for one: "1 female", "3 females"."""
    return f"{count} {word}{'' if count == 1 else 's'}"


@dataclass(frozen=True)
class HaulCatch:
    """
    One haul of a pond: what one drawing of the seine, round of traps or drain-down brought.

    Parameters
    ----------
    day : int
        Its day, as ``date.toordinal()``.
    method : {"SEINE", "TRAPS", "DRAIN_DOWN"}
        How it was made.
    effort : float or None
        Drags, trap-nights: any one unit for all hauls of a survey; None where it was not noted.
    is_held_out : bool
        The catch was held out of the pond until the last haul.
    is_complete : bool
        The pond was drained to the last head.
    caught, carrying, newly_marked, dead : Mapping of str to int
        Heads by class (FEMALE, MALE, UNSEXED, JUVENILE; what is missing is 0): all caught, those of
        them that carried a mark, those put back with a new mark, and those dead in the net. A class
        carries None where nobody looked for marks on it, which is not 0.
    """

    day: int
    method: str = SEINE
    effort: float | None = None
    is_held_out: bool = False
    is_complete: bool = False
    caught: Mapping[str, int] = field(default_factory=dict)
    carrying: Mapping[str, int | None] = field(default_factory=dict)
    newly_marked: Mapping[str, int] = field(default_factory=dict)
    dead: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Circumstances:
    """
    What is known about a survey besides its hauls.

    Parameters
    ----------
    marked_before : Mapping of str to int
        Marked heads at large before the first haul, by class.
    marks_checked : (int, int, int) or None
        Of recaptured turtles that had been given two marks: holding both, only the first, only the
        second. None where it was not looked at.
    moved_between : int
        Heads that came to or left the pond between the first and the last haul, other than by the
        hauls themselves.
    """

    marked_before: Mapping[str, int] = field(default_factory=dict)
    marks_checked: tuple[int, int, int] | None = None
    moved_between: int = 0


@dataclass(frozen=True)
class Fit:
    """What is drawn: what each haul brought, and what the fitted method expects of it (None: nothing)."""

    labels: tuple[str, ...]
    observed: tuple[float, ...]
    expected: tuple[float | None, ...]
    words: str


@dataclass(frozen=True)
class Reading:
    """
    One method applied to one survey.

    Parameters
    ----------
    method, variant : str
        Stable codes: "drain-down", "two-sample", "multi-haul", "removal" or "catch-effort", and its form.
    words : str
        Both for a reader.
    total : Estimate
        Adults: females, males and unsexed.
    females, males : Estimate or None
        None where nobody was sexed. Their values add up to the total's; the unsexed are shared out.
    juveniles : Estimate or None
        None where none was caught.
    covariance : float
        Of females and males, in heads squared.
    by_sex : bool
        Each sex was estimated by itself; else the total was shared out as the sexed were.
    capture_probability : float or None
        Of an adult in one haul, where the method gives one.
    reference : int
        Place of the haul just before which the figures hold: 0 the first, -1 the last.
    fit : Fit or None
        What is drawn.
    """

    method: str
    variant: str
    words: str
    total: Estimate
    females: Estimate | None = None
    males: Estimate | None = None
    juveniles: Estimate | None = None
    covariance: float = 0.0
    by_sex: bool = False
    capture_probability: float | None = None
    reference: int = -1
    fit: Fit | None = None


@dataclass(frozen=True)
class Assumption:
    """Something a method takes for granted; ``holds`` is None where it cannot be told."""

    code: str
    words: str
    holds: bool | None
    sentence: str
    is_fatal: bool = False

    @property
    def forbids(self) -> bool:
        """Whether it fails and there is therefore nothing to accept."""
        return self.is_fatal and self.holds is False


@dataclass(frozen=True)
class SurveyReading:
    """
    A survey read: its headline, the other methods beside it, and what they take for granted.

    Parameters
    ----------
    form : str
        "drain-down", "removal", "two hauls with marks", "several hauls with marks", "hauls without
        marks", "held out and returned", "marks without a source", "one haul", "nothing caught", "no hauls".
    form_sentence : str
        Why it has that form, and hence that headline. The form is that of what was done, never of
        what came out.
    as_of : int
        Day of the last haul as an ordinal; 0 where there are no hauls.
    headline : Reading or None
        None where the form has no head count to give.
    others : tuple of Reading
        The other methods that fit the form.
    assumptions : tuple of Assumption
        What the headline takes for granted.
    refusal : str
        Why there is nothing to accept and what to do about it; "" where there is something.
    """

    form: str
    form_sentence: str
    as_of: int
    headline: Reading | None = None
    others: tuple[Reading, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    refusal: str = ""

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The headline first, then the others."""
        return self.others if self.headline is None else (self.headline, *self.others)

    def reading(self, method: str, variant: str = "") -> Reading:
        """
        Return the reading of a method; without a variant, the first of that method.

        Raises
        ------
        ValueError
            If this survey was not read by that method.
        """
        for reading in self.readings:
            if reading.method == method and variant in ("", reading.variant):
                return reading
        known = ", ".join(f"{reading.method} {reading.variant}".strip() for reading in self.readings)
        raise ValueError(
            f"method: this survey was not read by {f'{method} {variant}'.strip()}; "
            f"it was by {known or 'none, for its form gives no head count'}."
        )
