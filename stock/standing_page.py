"""How a standing is known, as a pond's page tells it: the arithmetic since the count, line by line. No query."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stock.links import link
from stock.pond_kind import PondKind
from stock.standing_facts import PondStanding
from stock.templatetags.stock_format import day, ratio

__all__ = ["DriftLine", "HowKnown", "apart_words", "conflict_words", "drift_words", "how_known"]


@dataclass(frozen=True)
class DriftLine:
    """One line of the arithmetic: what it is, females and males it adds, and the ratio where it is a sum."""

    words: str
    females: float
    males: float
    ratio: str = ""
    is_sum: bool = False


@dataclass(frozen=True)
class HowKnown:
    """
    The count, what happened since, and what stands now.

    Parameters
    ----------
    lines : tuple of DriftLine
        The count, booked moves, recorded deaths, loss unseen, what other evidence changes, their sum; then the
        book and how far the standing is from it.
    sentence : str
        The drift since the count in words.
    cautions : tuple of str
        What is assumed, and what lifted the figures.
    count_url, all_counts_url : str
        The page of that count, with the book beside it, and the list.
    """

    lines: tuple[DriftLine, ...]
    sentence: str
    cautions: tuple[str, ...]
    count_url: str
    all_counts_url: str


def how_known(one: PondKind) -> HowKnown | None:
    """Write the standing of a pond and kind out; None where there is none."""
    stands = one.standing
    if stands is None:
        return None
    counted = stands.count.counted
    other = f"Earlier counts, sexed hauls ({stands.hauls} since)" if stands.hauls else "Earlier counts"
    lines = [
        DriftLine(
            f"Counted {day(stands.count.as_of)}, {stands.count.how_known_words}",
            counted.females,
            counted.males,
            ratio(stands.count_ratio),
        ),
        DriftLine("Came and went by booked moves", stands.moved_females, stands.moved_males),
        DriftLine("Recorded dead", -stands.died_females, -stands.died_males),
        DriftLine("Lost unseen, expected", -stands.unseen_females, -stands.unseen_males),
        DriftLine(other, stands.rest_females, stands.rest_males),
        DriftLine("Stands now", stands.females, stands.males, ratio(stands.ratio), is_sum=True),
        DriftLine("By the book", one.heads.females, one.heads.males, ratio(one.by_book.ratio)),
        DriftLine(
            "The standing less the book",
            stands.females - one.heads.females,
            stands.males - one.heads.males,
        ),
    ]
    return HowKnown(
        tuple(lines),
        drift_words(one),
        tuple(_cautions(one)),
        link("stock:count-detail", stands.count.count_id),
        link("stock:count-list", pond=one.pond_code),
    )


def drift_words(one: PondKind) -> str:
    """Say how the ratio went from the last count to now, and where that count was far from what was expected.

    "" where there is no standing, or nothing to say.
    """
    stands = one.standing
    if stands is None:
        return ""
    return " ".join(part for part in (_ratio_words(stands), apart_words(stands)) if part)


def _ratio_words(stands: PondStanding) -> str:
    if stands.count_ratio is None or math.isinf(stands.count_ratio):
        return ""
    if math.isinf(stands.ratio):
        return f"The ratio went from {ratio(stands.count_ratio)} at the count to {ratio(stands.ratio)}."
    change = stands.ratio - stands.count_ratio
    if abs(change) < 0.005:
        return f"The ratio is what it was at the count, {ratio(stands.count_ratio)}."
    way = "rose" if change > 0 else "fell"
    return f"The ratio {way} from {ratio(stands.count_ratio)} at the count to {ratio(stands.ratio)} now."


def apart_words(stands: PondStanding) -> str:
    """Say that the last count and what was expected of it cannot both be right; a drain-down to the last head is."""
    if stands.foretold is None or stands.count.how_known == "DRAINED":
        return ""
    counted = stands.count.counted
    return conflict_words(stands.foretold, (counted.females, counted.males), f" of {day(stands.count.as_of)}")


def conflict_words(foretold: tuple[float, ...], counted: tuple[float, ...], of_day: str = "") -> str:
    """Say what a count found and what was expected, females and males each, where they are too far apart."""
    return (
        f"The count{of_day} found {counted[0]:.0f} females and {counted[1]:.0f} males where {foretold[0]:.0f} and "
        f"{foretold[1]:.0f} were expected, further apart than chance makes them. Either heads went or came unseen, or "
        "one of the counts is wrong: the limits are widened until another count settles it."
    )


def _cautions(one: PondKind) -> list[str]:
    stands = one.standing
    if stands is None:
        return []
    said = []
    counted = stands.count.counted
    if counted.is_error_assumed:
        said.append(
            "The count was given without a plus-or-minus and the pond was not drained to the last head, so one is "
            "assumed (10 % seined, 15 % from the notebook, 30 % a guess)."
        )
    if counted.unsexed:
        said.append(
            f"{counted.unsexed:.0f} of the counted were not sexed; they are shared out as the others."
        )
    if stands.is_bounded:
        said.append(
            f"At least {stands.known_females} females and {stands.known_males} males are known to be alive, marked "
            "ones seen there lately or handled later; the figures are not below that."
        )
    return said
