"""Reading a survey's marks: two hauls, and several."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from stock.estimators.estimate import Estimate, Status
from stock.estimators.limits import FEW_RECAPTURES
from stock.estimators.marked_sexes import MOST_UNSEXED_BY_SEX, Marks, equal_catch, headline
from stock.estimators.multi_haul import MultiHaul, schnabel, schumacher_eschmeyer
from stock.estimators.several_sexes import SeveralHauls, headline_several
from stock.estimators.sexes_over import Heads
from stock.estimators.survey_reading import Fit, Reading, heads_of
from stock.estimators.survey_sexes import Split, add_up, as_count, recapture_notes, scaled, share_out
from stock.estimators.survey_tally import Tallies, Tally
from stock.estimators.two_sample import two_sample


@dataclass(frozen=True)
class Retention:
    """Chance that a marked animal can still be told, with its standard error."""

    value: float = 1.0
    se: float = 0.0


def _marks(tally: Tally, place: int, *, is_told: bool = True) -> Marks:
    """Return one class at the haul that looks for marks; marks that cannot be told by sex are left out."""
    if not is_told:
        return Marks.of(0, tally.caught[place], 0)
    return Marks.of(tally.at_large[place], tally.caught[place], tally.carrying[place])


def equal_recapture(tallies: Tallies) -> tuple[float, str] | None:
    """
    Return the p-value that marked females and males came again alike, and the numbers in words.

    The test is exact: twice the smaller tail. None where one sex has no marks out.
    """
    places = tallies.with_marks_out
    if not tallies.marks_follow_sex:
        return None
    # Over several hauls a marked animal counts as often as it could be met.
    (out_f, seen_f), (out_m, seen_m) = (
        (sum(sex.at_large[at] for at in places), sum(sex.carrying[at] for at in places))
        for sex in (tallies.females, tallies.males)
    )
    if not out_f or not out_m:
        return None
    p_value = float(equal_catch(Marks.of(out_f, seen_f, seen_f), Marks.of(out_m, seen_m, seen_m))[0])
    words = f"{seen_f} of {out_f} marked females and {seen_m} of {out_m} marked males were caught again"
    return p_value, words


def read_two_sample(
    tallies: Tallies, place: int, retention: Retention, confidence: float
) -> tuple[Reading, tuple[Reading, ...]]:
    """Return Chapman's reading of the haul that looked for marks, and those beside it."""
    adults = tallies.adults
    marked, caught, seen = adults.at_large[place], adults.caught[place], adults.carrying[place]
    chances: dict[str, Any] = {
        "retention": retention.value,
        "retention_se": retention.se,
        "confidence": confidence,
    }
    split = _chapman(tallies, place, retention, confidence)
    reading = _reading(tallies, place, split, "two-sample", "chapman", "Two hauls with marks (Chapman)")
    handled = [
        int(_marks(sex, place, is_told=tallies.marks_follow_sex).known(retention.value)[0])
        for sex in (tallies.females, tallies.males)
    ]
    unsexed = tallies.groups["UNSEXED"].apart
    others = []
    if marked and caught:
        for variant, interval, words in (
            ("petersen", "normal", "Two hauls with marks (Petersen)"),
            ("bailey", "lognormal", "Two hauls with marks (Bailey)"),
        ):
            plain = two_sample(
                marked, caught, seen, variant=variant, interval=interval if seen else "exact", **chances
            )
            others.append(
                _reading(
                    tallies,
                    place,
                    share_out(plain, handled[0], handled[1], unsexed),
                    "two-sample",
                    variant,
                    words,
                )
            )
        together = two_sample(marked, caught, seen, interval="lognormal" if seen else "exact", **chances)
        if split.by_sex:
            others.append(
                _reading(
                    tallies,
                    place,
                    share_out(together, handled[0], handled[1], unsexed),
                    "two-sample",
                    "chapman-together",
                    "Two hauls with marks (Chapman), both sexes together",
                )
            )
        elif (
            tallies.marks_follow_sex
            and min(tallies.females.carrying[place], tallies.males.carrying[place]) > 0
        ):
            apart = [
                two_sample(
                    sex.at_large[place], sex.caught[place], sex.carrying[place], interval="exact", **chances
                )
                for sex in (tallies.females, tallies.males)
            ]
            others.append(
                _reading(
                    tallies,
                    place,
                    add_up(apart[0], apart[1], known=sum(handled)),
                    "two-sample",
                    "chapman-apart",
                    "Two hauls with marks (Chapman), each sex by itself",
                )
            )
    return reading, tuple(others)


def _chapman(tallies: Tallies, place: int, retention: Retention, confidence: float) -> Split:
    adults = tallies.adults
    seen = adults.carrying[place]
    if not adults.at_large[place] or not adults.caught[place]:
        return Split(two_sample(adults.at_large[place], adults.caught[place], seen, confidence=confidence))
    is_told = tallies.marks_follow_sex
    females, males = (_marks(sex, place, is_told=is_told) for sex in (tallies.females, tallies.males))
    sexed = headline(
        females,
        males,
        _marks(adults, place),
        retention=retention.value,
        retention_se=retention.se,
        confidence=confidence,
    )
    known = [int(marks.known(retention.value)[0]) for marks in (_marks(adults, place), females, males)]
    by_sex = bool(sexed.is_by_sex[0])
    notes = list(recapture_notes(seen))
    if retention.value < 1:
        notes.append(f"Marks lost: {retention.value:.0%} of the marked are taken to be known still.")

    def count(heads: Any, known_alive: int, said: list[str], *, is_weak: bool) -> Estimate:
        return as_count(
            heads,
            known=known_alive,
            confidence=confidence,
            method="two sample",
            variant="exact" if bool(heads.is_exact[0]) else "lognormal",
            status=Status.LOW_CONFIDENCE if is_weak else Status.OK,
            notes=said,
        )

    total = count(sexed.total, max(known[0], known[1] + known[2]), notes, is_weak=seen < FEW_RECAPTURES)
    if not tallies.has_sexed or total.value is None:
        return Split(total)
    unsexed = tallies.groups["UNSEXED"].apart
    parts = []
    for name, heads, marks, of_sex, is_capped in (
        ("females", sexed.females, females, known[1], sexed.is_capped_females),
        ("males", sexed.males, males, known[2], sexed.is_capped_males),
    ):
        said = list(notes)
        own_seen = int(marks.seen[0])
        is_weak = seen < FEW_RECAPTURES or own_seen < FEW_RECAPTURES
        if by_sex:
            said += recapture_notes(own_seen, name)
        else:
            said.append(
                "The total shared out as the sexed: "
                f"{heads_of(known[1], 'female')}, {heads_of(known[2], 'male')}."
            )
        if bool(is_capped[0]):
            said.append(
                f"None of the marked {name} came again: their upper limit takes equal catch for granted."
            )
        if unsexed:
            said.append(f"{unsexed} were not sexed and are taken to be as the sexed.")
        parts.append(count(heads, of_sex, said, is_weak=is_weak))
    return Split(total, parts[0], parts[1], float(sexed.covariance[0]), by_sex)


def _reading(tallies: Tallies, place: int, split: Split, method: str, variant: str, words: str) -> Reading:
    adults = tallies.adults
    value = split.total.value
    juveniles = None
    if tallies.juveniles.taken and tallies.juveniles.is_accounted:
        young = tallies.juveniles
        juveniles = two_sample(
            young.at_large[place],
            young.caught[place],
            young.carrying[place],
            interval="exact",
            confidence=split.total.confidence,
        )
    return Reading(
        method,
        variant,
        words,
        split.total,
        split.females,
        split.males,
        juveniles,
        split.covariance,
        split.by_sex,
        min(adults.caught[place] / value, 1.0) if value else None,
        -1 if place == len(tallies.hauls) - 1 else place,
        _fit_of_two(tallies, place),
    )


def _fit_of_two(tallies: Tallies, place: int) -> Fit | None:
    """Return the recaptures of each sex against those expected if all marked were caught alike."""
    adults = tallies.adults
    if not adults.at_large[place]:
        return None
    share = adults.carrying[place] / adults.at_large[place]
    rows = [("Adults", adults)]
    if tallies.marks_follow_sex and tallies.females.at_large[place] and tallies.males.at_large[place]:
        rows = [("Females", tallies.females), ("Males", tallies.males)]
    return Fit(
        tuple(label for label, _ in rows),
        tuple(float(group.carrying[place]) for _, group in rows),
        tuple(group.at_large[place] * share for _, group in rows),
        "Marked caught again, against what is expected if all the marked were caught alike",
    )


def _columns(tally: Tally) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
    """Return caught, recaptured and returned; those marked before come first, as a haul of their own."""
    if not tally.before:
        return tally.caught, tally.carrying, tally.returned
    before = (tally.before,)
    return before + tally.caught, (0, *tally.carrying), before + tally.returned


Method = Callable[..., MultiHaul]


def _several(
    tallies: Tallies, method: Method, retention: Retention, confidence: float, variant: str
) -> Split:
    """Return one method's estimate of several hauls: by sex where the numbers allow, else shared out."""

    def estimate(tally: Tally) -> Any:
        own = method(*_columns(tally), confidence=confidence)
        if retention.value < 1:
            own = replace(
                own,
                value=own.value if own.raw is None else own.raw,
                lower=own.lower if own.raw_lower is None else own.raw_lower,
                known_alive=tally.at_once,
            )
        return replace(scaled(own, retention.value, retention.se), method="multi haul", variant=variant)

    sexes = (tallies.females, tallies.males)
    scale = _scale_for_unsexed(tallies)
    if scale is not None and min(sex.recaptured for sex in sexes) >= FEW_RECAPTURES:
        females, males = (estimate(sex) for sex in sexes)
        return add_up(females, males, scale, known=females.known_alive + males.known_alive)
    return share_out(
        estimate(tallies.adults), sexes[0].apart, sexes[1].apart, tallies.groups["UNSEXED"].apart
    )


def _scale_for_unsexed(tallies: Tallies) -> float | None:
    """Return the marked adults for each marked and sexed; None where the sexes cannot be told apart."""
    adults, unsexed = tallies.adults, tallies.groups["UNSEXED"]
    out, out_unsexed = (group.before + sum(group.returned) - group.recaptured for group in (adults, unsexed))
    is_told = (
        tallies.marks_follow_sex
        and unsexed.taken <= MOST_UNSEXED_BY_SEX * adults.taken
        and 0 <= out_unsexed <= MOST_UNSEXED_BY_SEX * out
        and out > out_unsexed
    )
    return out / (out - out_unsexed) if is_told else None


def _schnabel(tallies: Tallies, retention: Retention, confidence: float) -> Split:
    """Return the headline: Schnabel's modified estimate."""
    if retention != Retention():
        return _several(tallies, schnabel, retention, confidence, "modified")
    scale = _scale_for_unsexed(tallies)
    groups = (tallies.females, tallies.males, tallies.adults)
    females, males, adults = (SeveralHauls.of(*_columns(group)) for group in groups)
    plain = schnabel(*_columns(tallies.adults), confidence=confidence)
    if plain.value is None:
        return Split(plain)
    sexed = headline_several(
        females, males, adults, may_be_by_sex=scale is not None, scale=scale or 1.0, confidence=confidence
    )
    by_sex = bool(sexed.is_by_sex[0])

    def count(heads: Heads, group: SeveralHauls, notes: tuple[str, ...]) -> Estimate:
        return as_count(
            heads,
            known=int(group.known[0]),
            confidence=confidence,
            method="multi haul",
            variant="modified",
            status=Status.LOW_CONFIDENCE if notes else Status.OK,
            notes=notes,
        )

    total = count(sexed.total, adults, recapture_notes(tallies.adults.recaptured))
    if not by_sex:
        return share_out(total, tallies.females.apart, tallies.males.apart, tallies.groups["UNSEXED"].apart)
    return Split(
        total,
        count(sexed.females, females, recapture_notes(tallies.females.recaptured, "females")),
        count(sexed.males, males, recapture_notes(tallies.males.recaptured, "males")),
        float(sexed.covariance[0]),
        True,
    )


def read_several(
    tallies: Tallies, retention: Retention, confidence: float
) -> tuple[Reading, tuple[Reading, ...]]:
    """Return the modified Schnabel reading of several hauls with marks, and those beside it."""
    adults = tallies.adults
    readings = []
    for method, variant, words in (
        (schnabel, "schnabel-modified", "Several hauls with marks (Schnabel, modified)"),
        (_plain_schnabel, "schnabel", "Several hauls with marks (Schnabel)"),
        (schumacher_eschmeyer, "schumacher-eschmeyer", "Several hauls with marks (Schumacher and Eschmeyer)"),
    ):
        is_headline = variant == "schnabel-modified"
        split = (
            _schnabel(tallies, retention, confidence)
            if is_headline
            else _several(tallies, method, retention, confidence, variant)
        )
        value = split.total.value
        shares = [drawn / value for drawn in adults.caught] if value else []
        readings.append(
            Reading(
                "multi-haul",
                variant,
                words,
                split.total,
                split.females,
                split.males,
                _young(tallies, method, confidence),
                split.covariance,
                split.by_sex,
                min(sum(shares) / len(shares), 1.0) if shares else None,
                -1,
                _fit_of_several(tallies, value, retention),
            )
        )
    return readings[0], tuple(readings[1:])


def _plain_schnabel(*columns: Any, confidence: float) -> MultiHaul:
    return schnabel(*columns, modified=False, confidence=confidence)


def _young(tallies: Tallies, method: Method, confidence: float) -> Estimate | None:
    young = tallies.juveniles
    if not young.taken or not young.is_accounted:
        return None
    return method(*_columns(young), confidence=confidence)


def _fit_of_several(tallies: Tallies, value: float | None, retention: Retention) -> Fit:
    """Return the marked caught again in each haul against caught x marked at large / heads."""
    adults = tallies.adults
    places = tallies.with_marks_out
    return Fit(
        tallies.labels(places),
        tuple(float(adults.carrying[at]) for at in places),
        tuple(
            adults.caught[at] * adults.at_large[at] * retention.value / value if value else None
            for at in places
        ),
        "Marked caught again in each haul, against what the fitted heads expect",
    )
