"""Heads, survival and arrivals of an open pond by the method of Jolly and Seber."""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from stock.estimators.estimate import Estimate, Status, check_confidence, check_counts, worst
from stock.estimators.limits import HeadCount, bounded_heads, lognormal_limits, normal_quantile

_FEWEST_CAUGHT = 5
_FEWEST_MARKED = 3


class OpenSample(NamedTuple):
    """
    What one sample tells; None where the method defines nothing.

    ``survival`` is from this sample to the next, and is apparent: those that left for good count as
    dead. ``arrivals`` are the heads present at the next sample that joined in between.
    """

    marked_at_large: Estimate | None
    heads: Estimate | None
    survival: Estimate | None
    arrivals: Estimate | None


class _Sample(NamedTuple):
    """Counts of one sample, and the figures before any bound."""

    n: int
    m: int
    released: int
    r: int
    z: int
    at_large: float | None
    heads: float | None

    @property
    def known_alive(self) -> int:
        return self.n + self.z

    @property
    def bounded_heads(self) -> float:
        return max(self.heads or 0.0, float(self.known_alive))

    @property
    def scarcity(self) -> float | None:
        """1/r - 1/R, by which the unknown fate of the marked enters every variance."""
        return 1 / self.r - 1 / self.released if self.r else None

    @property
    def is_small(self) -> bool:
        return self.n < _FEWEST_CAUGHT or self.m < _FEWEST_MARKED


def _check_ends(values: Sequence[Any], name: str, k: int) -> tuple[int, ...]:
    """Return counts of which the first and last may be None, and the last may be left out."""
    given = list(values)
    if len(given) == k - 1:
        given.append(0)
    for end in (0, -1):
        if given and given[end] is None:
            given[end] = 0
    return check_counts(given, name)


def _check_samples(
    caught: Sequence[Any],
    marked: Sequence[Any],
    released: Sequence[Any],
    seen_again: Sequence[Any],
    seen_around: Sequence[Any],
    is_adjusted: bool,
) -> list[_Sample]:
    n, m, put_back = (
        check_counts(caught, "caught"),
        check_counts(marked, "marked"),
        check_counts(released, "released"),
    )
    k = len(n)
    r, z = _check_ends(seen_again, "seen_again", k), _check_ends(seen_around, "seen_around", k)
    for name, values in (("marked", m), ("released", put_back), ("seen_again", r), ("seen_around", z)):
        if len(values) != k:
            raise ValueError(f"{name}: {len(values)} numbers for {k} samples; each sample needs one.")
    around = 0
    samples = []
    for place in range(k):
        sample = f"sample {place + 1}"
        if m[place] > n[place]:
            raise ValueError(f"marked, {sample}: {m[place]} marked among {n[place]} caught.")
        if put_back[place] > n[place]:
            raise ValueError(f"released, {sample}: {put_back[place]} released of {n[place]} caught.")
        if r[place] > put_back[place]:
            raise ValueError(f"seen_again, {sample}: {r[place]} seen again of {put_back[place]} released.")
        # Whoever was seen before and is seen later is either caught now or passed over now.
        if m[place] + z[place] != around:
            raise ValueError(
                f"seen_around, {sample}: {m[place]} marked caught and {z[place]} passed over, "
                f"but {around} marked before are seen at this sample or later."
            )
        around = z[place] + r[place]
        at_large = heads = None
        if 0 < place < k - 1:
            at_large, heads = _point(n[place], m[place], put_back[place], r[place], z[place], is_adjusted)
        samples.append(_Sample(n[place], m[place], put_back[place], r[place], z[place], at_large, heads))
    if around:
        raise ValueError(f"seen_again: {around} are said to be seen again after the last sample.")
    return samples


def _point(
    n: int, m: int, released: int, r: int, z: int, is_adjusted: bool
) -> tuple[float | None, float | None]:
    """Return marked at large and heads; None where the unadjusted form divides by 0."""
    extra = 1 if is_adjusted else 0
    if r + extra == 0:
        return None, None
    at_large = m + (released + extra) * z / (r + extra)
    return at_large, (n + extra) * at_large / (m + extra) if m + extra else None


def _root(variance: float | None) -> float | None:
    """Return the square root; None of nothing, and of what a bound has left without meaning."""
    return math.sqrt(variance) if variance is not None and variance > 0 else None


def _no_estimate(reason: str, confidence: float, variant: str) -> Estimate:
    return Estimate(
        confidence=confidence,
        method="jolly-seber",
        variant=variant,
        status=Status.NO_ESTIMATE,
        notes=(reason,),
    )


def _counted(
    value: float, variance: float | None, known: int, sample: _Sample, confidence: float, variant: str
) -> HeadCount:
    """Return marked at large or heads, with limits where there is a standard error."""
    se = _root(variance)
    notes = []
    if sample.is_small:
        notes.append(f"{sample.n} caught, {sample.m} of them marked: too few to lean on.")
    if se is None:
        lower, upper = float(known), None
        notes.append("These samples give no standard error and no upper limit.")
    elif value > known:
        lower, upper = lognormal_limits(value, se, known, confidence)
    else:
        lower, upper = float(known), max(value + normal_quantile(confidence) * se, float(known))
    return HeadCount(
        se=se,
        confidence=confidence,
        method="jolly-seber",
        variant=variant,
        **bounded_heads(
            value,
            lower,
            upper,
            known,
            status=Status.LOW_CONFIDENCE if sample.is_small else Status.OK,
            notes=notes,
        ),
    )


def _marked_at_large(sample: _Sample, confidence: float, variant: str) -> Estimate:
    if sample.at_large is None:
        return _no_estimate("None released at this sample was seen again.", confidence, variant)
    unseen = sample.at_large - sample.m
    scarcity = sample.scarcity
    variance = None if scarcity is None else unseen * (unseen + sample.released) * scarcity
    return _counted(sample.at_large, variance, sample.m + sample.z, sample, confidence, variant)


def _heads(sample: _Sample, confidence: float, variant: str) -> Estimate:
    if sample.heads is None or sample.at_large is None:
        return _no_estimate("No marked animal was caught, or none was seen again.", confidence, variant)
    variance = None
    if sample.scarcity is not None and sample.m:
        fate = (sample.at_large - sample.m + sample.released) / sample.at_large * sample.scarcity
        draw = (1 - sample.at_large / sample.heads) / sample.m
        variance = sample.heads * (sample.heads - sample.n) * (fate + draw)
    return _counted(sample.heads, variance, sample.known_alive, sample, confidence, variant)


def _fate(sample: _Sample) -> float | None:
    """Return the part of a variance that comes from the marked at large at the end of an interval."""
    if sample.scarcity is None or not sample.at_large:
        return None
    unseen = sample.at_large - sample.m
    return unseen * (unseen + sample.released) / sample.at_large**2 * sample.scarcity


def _limits(
    value: float, se: float | None, confidence: float, most: float
) -> tuple[float | None, float | None]:
    """Return limits cut to 0..``most``, which bracket the value cut alike."""
    if se is None:
        return None, None
    reach = normal_quantile(confidence) * se
    return min(max(value - reach, 0.0), most), max(min(value + reach, most), 0.0)


def _survival(now: _Sample, then: _Sample, confidence: float, variant: str) -> tuple[Estimate, float | None]:
    """Return survival to the next sample, and the figure before it is cut at 1."""
    released = None if now.at_large is None else now.at_large - now.m + now.released
    if not released or now.at_large is None or then.at_large is None:
        return _no_estimate("No marked animal was at large over this interval.", confidence, variant), None
    raw = then.at_large / released
    variance, fate = None, _fate(then)
    # At the first sample no one carried a mark before, so its own fate adds nothing.
    unseen = now.at_large - now.m
    scarcity = 0.0 if unseen == 0 else now.scarcity
    if fate is not None and scarcity is not None:
        variance = raw**2 * (fate + unseen / released * scarcity) + raw * (1 - raw) / released
    se = math.sqrt(variance) if variance is not None and variance >= 0 else None
    lower, upper = _limits(raw, se, confidence, 1.0)
    notes = []
    is_small = then.is_small or (now.is_small and now.at_large > 0)
    if is_small:
        notes.append("A sample at one end of this interval is too small to lean on.")
    if raw > 1:
        notes.append(f"Survival came out at {raw:.3f} and is shown as 1.")
    status = Status.LOW_CONFIDENCE if is_small else Status.OK
    return (
        Estimate(
            value=min(raw, 1.0),
            se=se,
            lower=lower,
            upper=upper,
            confidence=confidence,
            method="jolly-seber",
            variant=variant,
            status=worst(status, Status.BOUNDED) if raw > 1 else status,
            notes=tuple(notes),
            raw=raw if raw > 1 else None,
        ),
        raw,
    )


def _arrivals_variance(now: _Sample, then: _Sample, survival: float, arrivals: float) -> float | None:
    """Return the variance of arrivals (Seber 1982, chapter 5)."""
    fate = _fate(then)
    scarcity = now.scarcity
    if (
        fate is None
        or scarcity is None
        or not (now.m and then.m and now.at_large and now.heads and then.heads)
    ):
        return None
    then_at_large = then.at_large or 0.0
    released = now.at_large - now.m + now.released
    unmarked = now.heads - now.at_large
    return (
        arrivals**2 * fate
        + (now.at_large - now.m)
        / released
        * (survival * now.released * unmarked / now.at_large) ** 2
        * scarcity
        + (now.heads - now.n) * (then.heads - arrivals) * unmarked * (1 - survival) / (now.heads * released)
        + then.heads * (then.heads - then.n) * (then.heads - then_at_large) / (then.heads * then.m)
        + survival**2 * now.heads * (now.heads - now.n) * unmarked / (now.heads * now.m)
    )


def _arrivals(
    now: _Sample, then: _Sample, survival: float | None, confidence: float, variant: str
) -> Estimate:
    if survival is None or now.heads is None or then.heads is None:
        return _no_estimate("The heads at one end of this interval are not known.", confidence, variant)
    raw = then.heads - survival * (now.heads - now.n + now.released)
    bounded = then.bounded_heads - survival * (now.bounded_heads - now.n + now.released)
    value = max(bounded, 0.0)
    se = _root(_arrivals_variance(now, then, survival, raw))
    lower, upper = _limits(bounded, se, confidence, math.inf)
    notes = []
    is_small = now.is_small or then.is_small
    if is_small:
        notes.append("A sample at one end of this interval is too small to lean on.")
    if value != raw:
        notes.append(
            f"Arrivals came out at {raw:.1f} before heads known to be alive, and 0, were laid on them."
        )
    status = Status.LOW_CONFIDENCE if is_small else Status.OK
    return Estimate(
        value=value,
        se=se,
        lower=lower,
        upper=upper,
        confidence=confidence,
        method="jolly-seber",
        variant=variant,
        status=worst(status, Status.BOUNDED) if value != raw else status,
        notes=tuple(notes),
        raw=raw if value != raw else None,
    )


def jolly_seber(
    caught: Sequence[int],
    marked: Sequence[int],
    released: Sequence[int],
    seen_again: Sequence[int | None],
    seen_around: Sequence[int | None],
    *,
    adjusted: bool = True,
    confidence: float = 0.95,
) -> tuple[OpenSample, ...]:
    """
    Estimate marked at large, heads, survival and arrivals at each sample of an open pond.

    Parameters
    ----------
    caught, marked, released : sequence of int
        Animals caught at each sample, those of them already marked, and those released with a mark.
    seen_again : sequence of int
        Of those released at each sample, how many were ever caught again. The last is 0, None or left
        out.
    seen_around : sequence of int
        Marked animals not caught at a sample that were caught before and after it. The first and the
        last are 0 or None; the last may be left out.
    adjusted : bool
        Seber's form, adjusted for bias, is the headline; the other is Jolly's.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    tuple of OpenSample
        One for each sample. Of k samples, marked at large and heads are defined from the second to the
        last but one, survival from the first to the last but two, arrivals from the second to the last
        but two. Heads are never below those known to be alive at the sample: caught, or seen around
        it. Survival is cut at 1; arrivals are reckoned from the bounded heads and cut at 0; ``raw``
        holds what came out before any bound. Fewer than 5 caught or 3 marked: ``low_confidence``.
        Where none is seen again, or no marked animal is caught, there is no standard error. With fewer
        than three samples there is no estimate of anything.

    Raises
    ------
    ValueError
        If the counts contradict each other; the message names the sample, counting from 1.

    References
    ----------
    Jolly (1965), Biometrika 52, 225-247. Seber (1982), The Estimation of Animal Abundance, 2nd edition,
    chapter 5. Pollock, Nichols, Brownie & Hines (1990), Wildlife Monographs 107.
    """
    level = check_confidence(confidence)
    variant = "adjusted" if adjusted else "unadjusted"
    samples = _check_samples(caught, marked, released, seen_again, seen_around, adjusted)
    k = len(samples)
    if k < 3:
        nothing = _no_estimate("An open pond needs three samples or more.", level, variant)
        return (OpenSample(nothing, nothing, nothing, nothing),) * k
    # Before the first sample no one was marked.
    samples[0] = samples[0]._replace(at_large=0.0)
    result = []
    for place, now in enumerate(samples):
        at_large = heads = survival = arrivals = None
        if 0 < place < k - 1:
            at_large, heads = _marked_at_large(now, level, variant), _heads(now, level, variant)
        if place < k - 2:
            survival, raw = _survival(now, samples[place + 1], level, variant)
            if place > 0:
                arrivals = _arrivals(now, samples[place + 1], raw, level, variant)
        result.append(OpenSample(at_large, heads, survival, arrivals))
    return tuple(result)
