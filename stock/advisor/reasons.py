"""How many new females a pond can take, and why it gets what it gets, in plain words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stock.estimators.estimate import check_number

WELFARE_RATIO = 1.5
"""Females per male below which a pond gets no females until males leave."""

_SLACK = 1e-9


def pond_cap(females: float, males: float, head_room: float, band_high: float) -> int:
    """
    Return the most new females a pond can take: its head room, or up to the top of the band.

    Parameters
    ----------
    females, males : float
        Heads standing.
    head_room : float
        Heads that still fit under the pond's limit; below 0 where it is over.
    band_high : float
        Females per male at the top of the band.

    Returns
    -------
    int
        floor of min(head room, band top x males - females), never below 0.
    """
    check_number(females, "females", low=0)
    check_number(males, "males", low=0)
    check_number(band_high, "band_high", low=0)
    check_number(head_room, "head_room")
    return max(0, math.floor(min(head_room, band_high * males - females) + _SLACK))


@dataclass(frozen=True)
class Obstacle:
    """Why a pond gets no new females: a stable code, and the sentence."""

    code: str
    sentence: str


def why_not(
    *,
    females: float,
    males: float,
    head_room: float,
    band_high: float,
    welfare_ratio: float = WELFARE_RATIO,
    in_quarantine: bool = False,
    is_other_kind: bool = False,
    is_losing: bool = False,
    standing: float | None = None,
    most: float = math.inf,
) -> tuple[Obstacle, ...]:
    """
    Return every reason why a pond must get no new females; none where it may.

    Codes: ``quarantine``, ``other-kind``, ``losing-heads``, ``no-males``, ``too-many-males``,
    ``too-few-females``, ``no-head-room``, ``band-top``, in this order.

    Parameters
    ----------
    females, males, head_room, band_high : float
        As in `pond_cap`.
    welfare_ratio : float
        Females per male below which males must leave first.
    in_quarantine, is_other_kind, is_losing : bool
        What is known of the pond: closed by quarantine, not for this kind, losing more heads than
        the kind should.
    standing : float, optional
        Females standing there now, where ``females`` also holds some that are to come; as many otherwise. Where
        none stand no female is pressed: the males need not leave, but enough females must come at once.
    most : float
        Females there are to come.
    """
    found: list[Obstacle] = []
    if in_quarantine:
        found.append(Obstacle("quarantine", "In quarantine: nothing comes in until it ends."))
    if is_other_kind:
        found.append(Obstacle("other-kind", "Kept for another kind."))
    if is_losing:
        found.append(
            Obstacle(
                "losing-heads", "Losing more heads than it should: find the cause first, do not top it up."
            )
        )
    if males <= 0:
        found.append(Obstacle("no-males", "No males: females here would lay clear eggs."))
    elif (females if standing is None else standing) <= 0:
        found += _too_few(females, males, min(head_room, band_high * males - females), most, welfare_ratio)
    elif females < welfare_ratio * males * (1 - _SLACK):
        leaving = math.ceil(males - females / welfare_ratio - _SLACK)
        found.append(
            Obstacle(
                "too-many-males",
                f"{females:.0f} females to {males:.0f} males ({females / males:.2f} : 1) is below "
                f"{welfare_ratio:g} : 1: {leaving:g} males must leave before females come.",
            )
        )
    if head_room < 1:
        found.append(
            Obstacle("no-head-room", f"No head room: {max(0, math.floor(head_room))} heads still fit.")
        )
    if males > 0 and band_high * males - females < 1 - _SLACK:
        found.append(
            Obstacle(
                "band-top",
                f"{females:.0f} females to {males:.0f} males ({females / males:.2f} : 1) is at the top of the "
                f"band, {band_high:g} : 1.",
            )
        )
    return tuple(found)


def _too_few(decided: float, males: float, room: float, most: float, welfare_ratio: float) -> list[Obstacle]:
    """Say that fewer females can come to males that stand alone than must come at once; nothing where enough can."""
    least = max(0, math.ceil(welfare_ratio * males - decided - _SLACK))
    come = max(0, math.floor(min(room, most) + _SLACK))
    if come >= least:
        return []
    why = f"{come} {'is' if come == 1 else 'are'} to be placed" if most < room else f"{come} fit"
    leaving = math.ceil(males - (decided + come) / welfare_ratio - _SLACK)
    return [
        Obstacle(
            "too-few-females",
            f"No females stand beside {males:.0f} males: {least} must come at once, or the males press the few, and "
            f"only {why}. Else {leaving} {'male leaves' if leaving == 1 else 'males leave'} first.",
        )
    ]


def reason(
    *,
    females: float,
    males: float,
    given: int,
    cap: int,
    gains: ArrayLike,
    obstacles: Sequence[Obstacle] = (),
    seasons: int = 5,
    ratios: tuple[float | None, float | None] | None = None,
) -> str:
    """
    Say in plain words why a pond gets what it gets.

    Parameters
    ----------
    females, males : float
        Heads standing before the placing.
    given, cap : int
        New females placed here, and the most it could take.
    gains : array, shape (levels,)
        The pond's row of the gains table, hatched eggs.
    obstacles : sequence of Obstacle
        What `why_not` found.
    seasons : int
        Seasons the gains add up.
    ratios : (float or None, float or None), optional
        Females per male before and after, where heads are rounded; by default the heads divided.
    """
    if obstacles:
        return "Gets none. " + " ".join(obstacle.sentence for obstacle in obstacles)
    row = np.asarray(gains, dtype=float)
    over = "over the next season" if seasons == 1 else f"over {seasons} seasons"
    if given == 0:
        if row.size == 0 or cap == 0:
            return "Gets none: there is no room for a further female."
        return f"Gets none: its first one would add {row[0]:.1f} hatched eggs {over}, less than elsewhere."
    before, after = ratios or (None, None)
    before = females / males if before is None else before
    after = (females + given) / males if after is None else after
    sentence = (
        f"Gets {given}: {females:g} females to {males:g} males ({before:.2f} : 1) become "
        f"{females + given:g} ({after:.2f} : 1); they add {row[:given].sum():.0f} "
        f"hatched eggs {over}, the last one {row[given - 1]:.1f}."
    )
    if given >= cap:
        return f"{sentence} More do not fit under its cap of {cap}."
    return f"{sentence} The next one would add {row[given]:.1f}." if given < row.size else sentence
