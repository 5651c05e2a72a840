"""Survival from recaptures of released animals, apart from the chance of being caught."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy import optimize

from stock.estimators.estimate import Estimate, Status, check_confidence, check_counts, check_number
from stock.estimators.limits import FEW_RECAPTURES, few_recaptures_note, normal_quantile
from stock.estimators.recapture_likelihood import AT_BOUND, Group, Model, as_share

CHOICES = ("constant", "by-interval", "by-group")
_METHOD = "recapture survival"
_APPARENT = (
    "Survival is apparent: leaving for good counts as death. "
    "In a walled pond that none can leave it is survival itself."
)
_CONFOUNDED = "The last survival and the last chance of recapture can be told only as their product."
_UNTOLD = "These recaptures cannot tell this figure."
_AT_BOUND = (
    "The figure lies at its bound, where there is no standard error; "
    "let several intervals share a figure to have one."
)

Choice = str | Sequence[Any]


@dataclass(frozen=True)
class RecaptureSurvival:
    """
    Survival and recapture of each group, from the same likelihood.

    Parameters
    ----------
    survival, recapture : dict of str to tuple of Estimate
        For each group, survival over each interval (a year's, where lengths in years were given), and
        the chance of being caught at the end of it if alive.
    last_product : dict of str to Estimate or None
        Last survival, over the whole interval, times last recapture, where only their product can be
        told; else None.
    deviance : float
        -2 log-likelihood, without the combinatorial constant.
    parameters : int
        Figures fitted; a product counts as one.
    """

    survival: dict[str, tuple[Estimate, ...]]
    recapture: dict[str, tuple[Estimate, ...]]
    last_product: dict[str, Estimate | None]
    deviance: float
    parameters: int


class _Fit(NamedTuple):
    """Best logits, their covariance, and which of them lie at a bound or cannot be told."""

    logits: Any
    variances: Any
    is_at_bound: Any
    is_untold: Any
    deviance: float


def _check_group(
    name: str, released: Sequence[Any], rows: Sequence[Sequence[Any]], intervals: int | None
) -> Group:
    let_go = check_counts(released, f"{name}, released")
    again = [
        check_counts(row, f"{name}, first recaptures of release {i}") for i, row in enumerate(rows, start=1)
    ]
    # What was released at the last sample can no longer be met.
    let_go = let_go[:-1] if len(let_go) == len(again) + 1 else let_go
    if len(let_go) != len(again):
        raise ValueError(f"{name}: {len(let_go)} releases, but recaptures of {len(again)}.")
    if intervals is not None and len(again) != intervals:
        raise ValueError(f"{name}: {len(again)} releases; the first group has {intervals}.")
    for place, (number, row) in enumerate(zip(let_go, again, strict=True), start=1):
        expected = len(again) - place + 1
        if len(row) != expected:
            raise ValueError(
                f"{name}, release {place}: {len(row)} later samples given; there are {expected}."
            )
        if sum(row) > number:
            raise ValueError(f"{name}, release {place}: {sum(row)} recaptured of {number} released.")
    return Group.from_rows(let_go, again)


def _numbered(choice: Choice, name: str, groups: int, intervals: int) -> list[list[int]]:
    """Return which figure each group has over each interval, numbered from 0."""
    if choice == "constant":
        return [[0] * intervals] * groups
    if choice == "by-interval":
        return [list(range(intervals))] * groups
    if choice == "by-group":
        return [[group] * intervals for group in range(groups)]
    if isinstance(choice, str):
        raise ValueError(
            f"{name}: {choice!r} is not known; choose one of {', '.join(CHOICES)}, or list a class for each interval."
        )
    classes = list(choice)
    if len(classes) != intervals:
        raise ValueError(
            f"{name}: {len(classes)} classes for {intervals} intervals; each interval needs one."
        )
    order = list(dict.fromkeys(classes))
    return [[order.index(label) for label in classes]] * groups


def _only_in_last(numbers: list[list[int]]) -> set[int]:
    earlier = {number for row in numbers for number in row[:-1]}
    return {row[-1] for row in numbers if row} - earlier


def _fit(model: Model) -> _Fit:
    """Maximize the likelihood, first inside, then with what runs to its bound laid on it."""
    count = model.count
    pinned: dict[int, float] = {}
    logits = np.zeros(count)
    while True:
        free = [place for place in range(count) if place not in pinned and place not in model.fixed]

        def spread(inside: Any, free: list[int] = free) -> Any:
            full = logits.copy()
            full[free] = inside
            return full

        if free:
            found = optimize.minimize(
                lambda inside: float(model.loss(spread(inside))[0]),
                logits[free],
                jac=lambda inside, free=free: model.loss(spread(inside))[1][free],
                hess=lambda inside, free=free: model.information(spread(inside))[np.ix_(free, free)],
                method="trust-exact",
                # Steps of a logit or so: what runs to its bound gets there, and no further.
                options={"maxiter": 60, "gtol": 1e-7, "initial_trust_radius": 1.0, "max_trust_radius": 3.0},
            )
            logits[free] = found.x
        best = float(model.loss(logits)[0])
        run_off = {}
        for place in free:
            # Only what drifts far can be at its bound.
            if abs(logits[place]) > 4:
                moved = logits.copy()
                moved[place] = math.copysign(AT_BOUND, logits[place])
                if float(model.loss(moved)[0]) <= best + 1e-7:
                    run_off[place] = moved[place]
        if not run_off:
            break
        pinned |= run_off
        for place, logit in run_off.items():
            logits[place] = logit

    is_at_bound = np.array([place in pinned for place in range(count)], dtype=bool)
    # What is as likely at the other end was never told by the recaptures.
    mirrored = logits - 2 * np.diag(logits)
    is_untold = is_at_bound & (model.loss(mirrored)[0] <= best + 1e-6)
    variances = np.full(count, np.nan)
    if free:
        information = model.information(logits)[np.ix_(free, free)]
        scale = np.sqrt(np.maximum(np.diag(information), 1e-9))
        sizes, directions = np.linalg.eigh(information / np.outer(scale, scale))
        flat = sizes < 1e-7
        is_untold[free] = (np.abs(directions[:, flat]) > 1e-3).any(axis=1)
        inverse = (directions[:, ~flat] ** 2 / sizes[~flat]).sum(axis=1)
        variances[free] = inverse / scale**2
    return _Fit(logits, variances, is_at_bound, is_untold, 2 * best)


def recapture_survival(
    groups: Mapping[str, tuple[Sequence[int], Sequence[Sequence[int]]]],
    *,
    survival: Choice = "constant",
    recapture: Choice = "constant",
    years: Sequence[float] | None = None,
    confidence: float = 0.95,
) -> RecaptureSurvival:
    """
    Estimate survival and the chance of recapture by the method of Cormack, Jolly and Seber.

    Parameters
    ----------
    groups : mapping of str to (released, first_recaptures)
        For each group (females, males), animals released at each sample but the last (the last may be
        given), and for each release the numbers first caught again at each later sample: one row
        fewer entry by entry.
    survival, recapture : {"constant", "by-interval", "by-group"} or sequence
        What the figure depends on. A sequence gives a class for each interval (recapture: for the
        sample at its end); intervals of one class share a figure.
    years : sequence of float, optional
        Length of each interval in years; survival is then a year's. Without it, survival is over the
        interval.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    RecaptureSurvival
        Shares from 0 to 1 with limits by the logit. Where the last survival and the last recapture can
        be told only as a product both have no estimate and the product is in ``last_product``. A figure
        at 0 or 1 is ``bounded``, without standard error or limits. A figure the recaptures say nothing
        about has no estimate. Fewer than 7 recaptures: ``low_confidence``.

    Raises
    ------
    ValueError
        If the numbers are not as many as the intervals, or more are recaptured than were released.

    References
    ----------
    Lebreton, Burnham, Clobert & Anderson (1992), Ecological Monographs 62, 67-118.
    """
    level = check_confidence(confidence)
    if not groups:
        raise ValueError("groups: nothing to estimate from; give one group or more.")
    checked: list[Group] = []
    for name, (released, rows) in groups.items():
        intervals = checked[0].intervals if checked else None
        checked.append(_check_group(name, released, rows, intervals))
    intervals = checked[0].intervals
    lengths = (1.0,) * intervals
    if years is not None:
        lengths = tuple(
            check_number(year, f"years, number {i}", low=0) for i, year in enumerate(years, start=1)
        )
        if len(lengths) != intervals or 0 in lengths:
            raise ValueError(
                f"years: {len(lengths)} lengths for {intervals} intervals; each needs one above 0."
            )

    of_survival = _numbered(survival, "survival", len(checked), intervals)
    of_recapture = _numbered(recapture, "recapture", len(checked), intervals)
    total = sum(group.recaptured for group in checked)
    if total == 0:
        nothing = Estimate(
            confidence=level,
            method=_METHOD,
            status=Status.NO_ESTIMATE,
            notes=("No released animal was caught again, so survival cannot be told.",),
        )
        each = dict.fromkeys(groups, (nothing,) * intervals)
        return RecaptureSurvival(each, dict(each), dict.fromkeys(groups), 0.0, 0)

    alone, alone_caught = _only_in_last(of_survival), _only_in_last(of_recapture)
    is_confounded = bool(alone) and bool(alone_caught)
    model = Model.build(
        checked,
        of_survival,
        of_recapture,
        # The last survival then stands for the product over the whole interval, the last recapture for 1.
        [
            [
                1.0 if is_confounded and number in alone else year
                for number, year in zip(row, lengths, strict=True)
            ]
            for row in of_survival
        ],
        alone_caught if is_confounded else set(),
    )
    fit = _fit(model)
    few = [few_recaptures_note(total)] if total < FEW_RECAPTURES else []

    def estimate(place: int, variant: str, notes: list[str]) -> Estimate:
        said: dict[str, Any] = {"confidence": level, "method": _METHOD, "variant": variant}
        if fit.is_untold[place]:
            return Estimate(status=Status.NO_ESTIMATE, notes=(_UNTOLD,), **said)
        logit = float(fit.logits[place])
        if fit.is_at_bound[place]:
            return Estimate(
                value=1.0 if logit > 0 else 0.0,
                status=Status.BOUNDED,
                notes=(*few, *notes, _AT_BOUND),
                **said,
            )
        value, reach = as_share(logit), math.sqrt(fit.variances[place])
        return Estimate(
            value=value,
            se=value * (1 - value) * reach,
            lower=as_share(logit - normal_quantile(level) * reach),
            upper=as_share(logit + normal_quantile(level) * reach),
            status=Status.LOW_CONFIDENCE if few else Status.OK,
            notes=(*few, *notes),
            **said,
        )

    def confounded(variant: str) -> Estimate:
        return Estimate(
            confidence=level, method=_METHOD, variant=variant, status=Status.NO_ESTIMATE, notes=(_CONFOUNDED,)
        )

    survivals, recaptures = {}, {}
    products: dict[str, Estimate | None] = {}
    for row, name in enumerate(groups):
        survivals[name] = tuple(
            confounded("survival")
            if is_confounded and number in alone
            else estimate(number, "survival", [_APPARENT])
            for number in of_survival[row]
        )
        recaptures[name] = tuple(
            confounded("recapture")
            if is_confounded and number in alone_caught
            else estimate(model.survivals + number, "recapture", [])
            for number in of_recapture[row]
        )
        products[name] = estimate(of_survival[row][-1], "product", [_CONFOUNDED]) if is_confounded else None
    return RecaptureSurvival(
        survival=survivals,
        recapture=recaptures,
        last_product=products,
        deviance=fit.deviance,
        parameters=model.count - len(model.fixed),
    )
