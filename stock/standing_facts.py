"""What probably stands in each pond on a day: the bridge from rows to `stock.advisor.standing` and back.

Counts, real moves, deaths and sexed hauls go in; the book's balances do not. All ponds are asked together, for
they teach each other how much is lost unseen; the farm's answer is kept in this process until anything changes.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stock import flows
from stock.advisor.standing import (
    Counts,
    Deaths,
    DetectionPrior,
    Groups,
    Hauls,
    LossPrior,
    Moves,
    Standing,
    ratio_limits,
    standing,
)
from stock.kept_answers import KeptAnswers
from stock.standing_rows import CountUsed, HaulUsed, counts_used, hauls_used, marked_heads, stamp

PondKindId = tuple[int, int]
Floats = NDArray[np.float64]
CONFIDENCE = 0.9
ANSWERS_KEPT = 8


@dataclass(frozen=True)
class PondStanding:
    """
    What probably stands in one pond of one kind at the end of a day; limits are 90 %.

    Parameters
    ----------
    pond_id, kind_id, day : int, int, date
    females, males, female_se, male_se, covariance : float
        Heads of breeding size by sex, those nobody looked at shared out among them.
    female_limits, male_limits, ratio_limits : (float, float)
        Lower and upper; of the ratio the upper one may be infinite.
    ratio : float
        Females per male; infinite without males.
    unseen_females, unseen_males : float
        Heads expected to have gone unseen since the count; recorded deaths are not among them.
    known_females, known_males : int
        Known to be alive: marked heads seen there lately, and what later moves and hauls prove.
    is_bounded : bool
        Whether that proof lifted the figures.
    count : CountUsed
        The latest count.
    age_days : int
        Days since it.
    moved_females, moved_males : float
        Heads that came less heads that went by booked moves since the count, deaths not among them.
    died_females, died_males : float
        Recorded dead since the count.
    hauls : int
        Sexed hauls since the count that moved the share.
    foretold : (float, float) or None
        Females and males that the count was expected to find, where it lay too far from them for both to be right
        and the limits were widened.
    """

    pond_id: int
    kind_id: int
    day: dt.date
    females: float
    males: float
    female_se: float
    male_se: float
    covariance: float
    female_limits: tuple[float, float]
    male_limits: tuple[float, float]
    ratio: float
    ratio_limits: tuple[float, float]
    unseen_females: float
    unseen_males: float
    known_females: int
    known_males: int
    is_bounded: bool
    count: CountUsed
    age_days: int
    moved_females: float
    moved_males: float
    died_females: float
    died_males: float
    hauls: int
    foretold: tuple[float, float] | None = None

    @property
    def unseen(self) -> float:
        """Females and males expected to have gone unseen since the count."""
        return self.unseen_females + self.unseen_males

    @property
    def count_ratio(self) -> float | None:
        """Females per male as the latest count itself had it."""
        return self.count.counted.ratio

    @property
    def rest_females(self) -> float:
        """What earlier counts, sexed hauls and proof of life change of the count's females."""
        return self.females - (
            self.count.counted.females + self.moved_females - self.died_females - self.unseen_females
        )

    @property
    def rest_males(self) -> float:
        return self.males - (
            self.count.counted.males + self.moved_males - self.died_males - self.unseen_males
        )

    @property
    def share_variance(self) -> float:
        """Variance of the share of females, by the slopes of F / (F + M)."""
        total = self.females + self.males
        if total <= 0:
            return 0.0
        to_female, to_male = self.males / total**2, -self.females / total**2
        return max(
            0.0,
            to_female**2 * self.female_se**2
            + to_male**2 * self.male_se**2
            + 2 * to_female * to_male * self.covariance,
        )


_answers: KeptAnswers[dict[PondKindId, PondStanding]] = KeptAnswers(ANSWERS_KEPT)


def standings(day: dt.date, *, pond_ids: Collection[int] | None = None) -> dict[PondKindId, PondStanding]:
    """
    Return (pond id, kind id) -> what probably stands there at the end of a day.

    Only ponds and kinds whose females and males were both counted, not longer ago than
    `standing_rows.OLDEST`, are there. One query where nothing changed since the day was last asked about in
    this process, else six, whatever the number of ponds.

    Parameters
    ----------
    day : date
        What happened after it serves as proof of life only.
    pond_ids : collection of int, optional
        Only these ponds; the others are asked all the same, for what they teach of losses.
    """
    found = _answers.of((day, stamp()), lambda: _ask(day))
    if pond_ids is None:
        return dict(found)
    wanted = set(pond_ids)
    return {where: one for where, one in found.items() if where[0] in wanted}


def forget() -> None:
    """Drop the answers kept in this process: for tests that count queries."""
    _answers.forget()


def _ask(day: dt.date) -> dict[PondKindId, PondStanding]:
    counts = counts_used(day)
    if not counts:
        return {}
    first = min(of_pond[0].as_of for of_pond in counts.values())
    asked = Asked(day, counts, flows.since(first), hauls_used(first, day))
    answer = standing(
        asked.groups(),
        float(day.toordinal()),
        loss_prior=LossPrior(),
        detection_prior=DetectionPrior(),
        confidence=CONFIDENCE,
    )
    return asked.told(answer, marked_heads(day))


class Asked:
    """The rows of all counted ponds and kinds, as arrays."""

    def __init__(
        self,
        day: dt.date,
        counts: dict[PondKindId, list[CountUsed]],
        rows: flows.Rows,
        hauls: Sequence[HaulUsed],
    ) -> None:
        self.day, self.places, self.counts = day, list(counts), list(counts.values())
        place_of = {where: place for place, where in enumerate(self.places)}
        self.hauls = [haul for haul in hauls if (haul.pond_id, haul.kind_id) in place_of]
        self.haul_group = np.array([place_of[haul.pond_id, haul.kind_id] for haul in self.hauls], dtype=int)
        self.haul_day = np.array([haul.day.toordinal() for haul in self.hauls], dtype=float)
        group = _places(rows, place_of)
        rows, group = rows[group >= 0], group[group >= 0]
        self.group, self.day_of = group, rows["day"].astype(float)
        is_sex = [rows["of_class"] == code for code in (flows.FEMALE, flows.MALE, flows.UNSEXED)]
        self.came = [np.where(own, rows["came"], 0).astype(float) for own in is_sex]
        self.went = [np.where(own, rows["went"], 0).astype(float) for own in is_sex]
        self.died = [np.where(own, rows["died"], 0).astype(float) for own in is_sex]
        self._sex_arrivals([np.where(own, rows["sexed"], 0) for own in is_sex[:2]])

    def _sex_arrivals(self, sexed: Sequence[NDArray[Any]]) -> None:
        """
        Book unsexed heads that came since a count by the sex they were found to be of later, the first first.

        Heads that stood there unsexed when they were counted were shared out by that count and stay so. A
        sexing after which another count came is left to that count.
        """
        looked = np.flatnonzero((sexed[0] + sexed[1] > 0) & (self.day_of <= self.day.toordinal()))
        if not looked.size:
            return
        for group in np.unique(self.group[looked]):
            last = self.counts[group][-1].holds_at
            came = np.flatnonzero((self.group == group) & (self.came[2] > 0) & (self.day_of > last))
            for at in sorted(
                looked[(self.group[looked] == group) & (self.day_of[looked] > last)], key=self._day
            ):
                for sex in (0, 1):
                    left = float(sexed[sex][at])
                    for arrival in sorted(came, key=self._day):
                        if self.day_of[arrival] > self.day_of[at] or left <= 0:
                            break
                        heads = min(left, self.came[2][arrival])
                        self.came[2][arrival] -= heads
                        self.came[sex][arrival] += heads
                        left -= heads

    def _day(self, row: Any) -> float:
        return float(self.day_of[row])

    def groups(self) -> Groups:
        """Return the tables of the advisor; heads that came and heads that went of a day stay apart."""
        counted = [(place, count) for place, of_pond in enumerate(self.counts) for count in of_pond]

        def column(name: str) -> Floats:
            return np.array([getattr(count.counted, name) for _, count in counted], dtype=float)

        is_in = sum(self.came) > 0  # type: ignore[operator]
        is_out = sum(self.went) > 0  # type: ignore[operator]
        has_died = sum(self.died) > 0  # type: ignore[operator]
        moved = [
            np.concatenate([came[is_in], -went[is_out]])
            for came, went in zip(self.came, self.went, strict=True)
        ]
        return Groups(
            len(self.places),
            Counts(
                group=np.array([place for place, _ in counted], dtype=int),
                day=np.array([count.holds_at for _, count in counted], dtype=float),
                females=column("females"),
                female_se=column("female_se"),
                males=column("males"),
                male_se=column("male_se"),
                covariance=column("covariance"),
            ),
            Moves(
                np.concatenate([self.group[is_in], self.group[is_out]]),
                np.concatenate([self.day_of[is_in], self.day_of[is_out]]),
                *moved,
            ),
            Deaths(self.group[has_died], self.day_of[has_died], *(died[has_died] for died in self.died)),
            Hauls(
                self.haul_group,
                self.haul_day,
                np.array([haul.females for haul in self.hauls], dtype=float),
                np.array([haul.males for haul in self.hauls], dtype=float),
            ),
        )

    def told(
        self, answer: Standing, marked: dict[tuple[int, int, str], int]
    ) -> dict[PondKindId, PondStanding]:
        """Return the answer by pond and kind, lifted to the marked heads that are known to be alive."""
        size = len(self.places)
        marks = np.array(
            [[marked.get((*where, of_class), 0) for where in self.places] for of_class in ("FEMALE", "MALE")]
        ).reshape(2, size)
        proven = np.maximum(np.maximum(answer.known_alive, marks), 0.0)
        mean = np.stack([answer.females, answer.males])
        is_bounded = answer.is_bounded | (mean < marks).any(axis=0)
        mean = np.maximum(mean, proven)
        limits = np.maximum(np.stack([answer.female_limits, answer.male_limits]), proven[:, np.newaxis])
        se = np.stack([answer.female_se, answer.male_se])
        most = se[0] * se[1]
        together = np.clip(answer.covariance, -most, most)
        z = float(special.ndtri((1 + CONFIDENCE) / 2))
        of_ratio = ratio_limits(mean, se**2, together, z)
        last = np.array([of_pond[-1].holds_at for of_pond in self.counts])
        share = np.array([_share(of_pond[-1]) for of_pond in self.counts])
        moved, died = self._since(last, share, self.came, self.went), self._since(last, share, self.died)
        is_recent = (self.haul_day > last[self.haul_group]) & (self.haul_day <= self.day.toordinal())
        recent = np.bincount(self.haul_group[is_recent], minlength=size)
        unsexed = np.zeros(size)
        np.add.at(unsexed, self.group, self.came[2])
        found = {}
        for place, where in enumerate(self.places):
            females, males = float(mean[0, place]), float(mean[1, place])
            if not (math.isfinite(females) and math.isfinite(males)):
                continue
            count = self.counts[place][-1]
            if unsexed[place] and not count.counted.females + count.counted.males:
                continue  # Nobody of the pond was ever sexed: half and half would be a guess.
            found[where] = PondStanding(
                pond_id=where[0],
                kind_id=where[1],
                day=self.day,
                females=females,
                males=males,
                female_se=float(se[0, place]),
                male_se=float(se[1, place]),
                covariance=float(together[place]),
                female_limits=_pair(limits[0, :, place]),
                male_limits=_pair(limits[1, :, place]),
                ratio=females / males if males > 0 else math.inf,
                ratio_limits=_pair(of_ratio[:, place]),
                unseen_females=float(answer.unseen_females[place]),
                unseen_males=float(answer.unseen_males[place]),
                known_females=int(proven[0, place]),
                known_males=int(proven[1, place]),
                is_bounded=bool(is_bounded[place]),
                count=count,
                age_days=(self.day - count.as_of).days,
                moved_females=float(moved[0, place]),
                moved_males=float(moved[1, place]),
                died_females=float(died[0, place]),
                died_males=float(died[1, place]),
                hauls=int(recent[place]),
                foretold=_pair(answer.foretold[:, place]) if answer.is_in_conflict[place] else None,
            )
        return found

    def _since(
        self, last: NDArray[Any], share: Floats, plus: Sequence[Floats], minus: Sequence[Floats] | None = None
    ) -> Floats:
        """Return females and males of flows since the last count, the unsexed shared out as it had them."""
        used = (self.day_of > last[self.group]) & (self.day_of <= self.day.toordinal())
        group = self.group[used]
        heads = [
            column[used] - (0.0 if minus is None else minus[sex][used]) for sex, column in enumerate(plus)
        ]
        total = np.zeros((2, len(self.places)))
        np.add.at(total[0], group, heads[0] + share[group] * heads[2])
        np.add.at(total[1], group, heads[1] + (1 - share[group]) * heads[2])
        return total


def _places(rows: flows.Rows, place_of: dict[PondKindId, int]) -> NDArray[np.int64]:
    """Return the place of each row's pond and kind, -1 where it was never counted."""
    keys = rows["pond"].astype(np.int64) << 32 | rows["kind"].astype(np.int64)
    known = np.array([pond << 32 | kind for pond, kind in place_of], dtype=np.int64)
    order = np.argsort(known)
    at = np.minimum(np.searchsorted(known[order], keys), known.size - 1)
    found: NDArray[np.int64] = np.where(known[order][at] == keys, order[at], -1)
    return found


def _share(count: CountUsed) -> float:
    total = count.counted.females + count.counted.males
    return count.counted.females / total if total else 0.5


def _pair(limits: Floats) -> tuple[float, float]:
    return float(limits[0]), float(limits[1])
