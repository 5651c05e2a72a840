"""When a notch code is due to be notched again: worn, outgrown, or old.

Notches of small animals fill in as they grow, so a photograph stands beside them and they are renewed, at the same
scutes always. Common practice, no source: renewed when a scute was read with doubt, when the shell has grown by more
than 40 % since, or after five years.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from ponds.svg_marks import day_text
from stock.marks.positions import in_words, positions_in

GROWN_SHARE = 0.40
YEARS = 5


@dataclass(frozen=True)
class Reading:
    """How a code was read on a day: the scutes that were faint, as a mask; 0 where all were clear."""

    read_on: dt.date
    faint_mask: int = 0
    is_renewal: bool = False


def renotch_reasons(
    put_on: dt.date,
    readings: tuple[Reading, ...],
    *,
    today: dt.date,
    length_then: float | None = None,
    length_now: float | None = None,
) -> tuple[str, ...]:
    """
    Return why a notch code should be notched again.

    Parameters
    ----------
    put_on : date
        The day of the first notching.
    readings : tuple of Reading
        In any order of days, those of one day as they followed each other; a renewal makes all before it past.
    today : date
        The day it is asked on.
    length_then, length_now : float, optional
        Straight carapace length, mm, nearest to the last notching and now.

    Returns
    -------
    tuple of str
        Sentences, the most pressing first; empty where it is not due.
    """
    since = max([put_on, *(one.read_on for one in readings if one.is_renewal)])
    reasons = []
    # Read with doubt and notched again on one day, the renewal is the later of the two.
    ordered = sorted(readings, key=lambda one: one.read_on)
    renewed = [place for place, one in enumerate(ordered) if one.is_renewal]
    after = [one for one in ordered[renewed[-1] + 1 if renewed else 0 :] if one.read_on >= since]
    if after:
        last = after[-1]
        if last.faint_mask:
            reasons.append(
                f"Read with doubt on {day_text(last.read_on)}: {in_words(positions_in(last.faint_mask))}."
            )
    if length_then and length_now and length_now > (1 + GROWN_SHARE) * length_then:
        grown = round(100 * (length_now / length_then - 1))
        reasons.append(f"Notched at {length_then:.0f} mm and {length_now:.0f} mm now: grown by {grown} %.")
    if (today - since).days > YEARS * 365.25:
        reasons.append(f"Last notched on {day_text(since)}, more than {YEARS} years ago.")
    return tuple(reasons)
