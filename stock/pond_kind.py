"""One pond and one kind on a day, as plain values: what the pages, the advice and the review read.

The verdict is that of the standing where there is one: counts, moves and losses, with an interval. Else it is the
book's, whose ratio is arithmetic and has none. The last sexed haul's ratio stands beside it with its own. Juveniles
count in the head limit and never in a ratio, a yield or an adult's survival.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from ponds.figures import Range
from ponds.seasons import Season
from stock.advisor.mix import CellMix
from stock.advisor.ratio import Ratio, Verdict, ratio, sex_more, verdict
from stock.advisor.verdict import NOT_KNOWN
from stock.advisor.watch import LosingHeads
from stock.book import ClassHeads
from stock.pond_concerns import (
    Concern,
    Tag,
    concerns_of,
    rank_of,
    rank_of_concern,
    ratio_words,
    standing_word,
    tags_of,
)
from stock.pond_rows import Death
from stock.templatetags.stock_format import age
from stock.templatetags.stock_format import day as day_words

if TYPE_CHECKING:
    from stock.standing_facts import PondStanding

CERTAINTY = 0.8
"""A verdict on a haul is given where its probability is at least this."""

FEWEST_SEXED = 30
"""With fewer sexed, both sexes among them, a haul's interval is quoted and no side taken."""


@dataclass(frozen=True)
class PondUse:
    """What a pond is used as on a day: "IN_USE", "RESTING" or "QUARANTINE", and its words."""

    code: str
    words: str
    from_on: dt.date | None = None
    ends_on: dt.date | None = None

    @property
    def in_quarantine(self) -> bool:
        return self.code == "QUARANTINE"


@dataclass(frozen=True)
class SexedHaul:
    """
    The latest haul in which females and males of the kind were both looked for, and some found.

    Parameters
    ----------
    haul_id : int
        Its row.
    day : date
        When it was drawn.
    method : str
        "seine", "traps" or "drain-down".
    is_complete : bool
        Drained to the last head: its ratio is then exact.
    females, males, unsexed : int
        Caught, whatever became of them.
    ratio : Ratio
        Females per male with its interval.
    females_since, males_since : int
        Heads that came less heads that went since, by the book, its own moves of the day among them.
    """

    haul_id: int
    day: dt.date
    method: str
    is_complete: bool
    females: int
    males: int
    unsexed: int
    ratio: Ratio
    females_since: int
    males_since: int

    @property
    def sexed(self) -> int:
        return self.females + self.males

    @property
    def has_moves_since(self) -> bool:
        return bool(self.females_since or self.males_since)


@dataclass(frozen=True)
class LastCount:
    """The latest head count that stands, how it is known, and its age in days."""

    as_of: dt.date
    how_known: str
    how_known_words: str
    age_days: int
    females: float | None
    males: float | None


@dataclass(frozen=True)
class PondKind:
    """
    One pond and one kind that stands there or may, on a day.

    Parameters
    ----------
    pond_id, pond_code, pond_name, kind_id, kind_code, kind_name, listing : int or str
        Which pond, which kind, and the protection that asks for papers.
    day : date
        The day asked about.
    season : Season
        The nesting year it lies in: the coming or the running one.
    target, band : float, (float, float)
        Females per male aimed for, and the range that needs no remedy.
    is_allowed : bool
        Whether the pond may hold the kind.
    heads : ClassHeads
        By the book at the end of the day.
    by_book : Verdict
        By the book, standard errors 0. An empty cell is called "no males" there; read `word`.
    last_haul : SexedHaul or None
    seine_verdict : Verdict or None
        What the last sexed haul alone would say (see `haul_verdict`).
    use : PondUse
        What the pond is used as.
    head_limit : int or None
        None where the pond has none.
    head_use : float
        Heads of all kinds and classes in the pond, each weighted by its kind's space a head.
    head_room : float or None
        Limit less use; below 0 where it is over; None without a limit.
    space_a_head : float
        How much of the limit one head of this kind takes.
    deaths : ClassHeads
        Recorded over the 12 months to the day, by the animal's day.
    head_days : float
        Of adults over the same 12 months, by month ends (`pond_rows.head_days`).
    losing : LosingHeads or None
        Deaths of adults against the kind's expected survival; None without that figure.
    settled_females : float
        Females in terms of settled ones for `season`.
    figures : mapping of str to Range
        The kind's breeding figures by name, such as "EGGS".
    sources : mapping of str to str
        Where each comes from.
    last_count : LastCount or None
    deaths_by_cause : tuple of Death
        The same deaths by month, class and cause.
    history : tuple of (date, ClassHeads)
        Heads at the end of each month asked for; the last point is that of the day.
    mixes : mapping of str to CellMix
        By class: the batches and seasons its heads came from.
    standing : PondStanding or None
        What probably stands there; None where that is not known by sex, or nobody sexed stands there by the book.
    watched : tuple of Concern
        What the watch and the season say of it (`stock.watched_ponds`); none until a page asks.
    """

    pond_id: int
    pond_code: str
    pond_name: str
    kind_id: int
    kind_code: str
    kind_name: str
    listing: str
    day: dt.date
    season: Season
    target: float
    band: tuple[float, float]
    is_allowed: bool
    heads: ClassHeads
    by_book: Verdict
    last_haul: SexedHaul | None
    seine_verdict: Verdict | None
    use: PondUse
    head_limit: int | None
    head_use: float
    head_room: float | None
    space_a_head: float
    deaths: ClassHeads
    head_days: float
    losing: LosingHeads | None
    settled_females: float
    figures: Mapping[str, Range]
    sources: Mapping[str, str]
    last_count: LastCount | None
    deaths_by_cause: tuple[Death, ...] = ()
    history: tuple[tuple[dt.date, ClassHeads], ...] = ()
    mixes: Mapping[str, CellMix] = field(default_factory=dict)
    standing: PondStanding | None = None
    watched: tuple[Concern, ...] = ()

    @property
    def is_empty(self) -> bool:
        return self.heads.total == 0

    @property
    def adults(self) -> int:
        """Heads of breeding size, sexed or not."""
        return self.heads.total - self.heads.juveniles

    @property
    def word(self) -> str:
        """The verdict in words, where there is one: else "empty", "juveniles only" or "none sexed yet"."""
        return standing_word(self.heads, self.verdict)

    @property
    def ratio_verdict(self) -> str:
        """The same as every page names it: "ratio: in band"."""
        return ratio_words(self.word)

    @cached_property
    def verdict(self) -> Verdict:
        """That of the standing where there is one, else the book's; `basis` says which."""
        stands = self.standing
        if stands is None:
            return self.by_book
        females, males = self.means_now
        return _standing_verdict(
            females,
            stands.female_se,
            males,
            stands.male_se,
            stands.covariance,
            self.target,
            self.band,
        )

    @property
    def is_by_standing(self) -> bool:
        return self.standing is not None

    @property
    def whose(self) -> str:
        """Whose figures the verdict is made from: "the standing" or "the book"."""
        return "the book" if self.standing is None else "the standing"

    @property
    def basis(self) -> str:
        """Say where the verdict comes from and how old that is."""
        if self.standing is not None:
            count = self.standing.count
            return f"by the standing: counted {_counted_words(count.as_of, count.how_known_words, self.day)}"
        if self.last_count is None:
            return "by the book, never counted"
        known = _counted_words(self.last_count.as_of, self.last_count.how_known_words, self.day)
        return f"by the book, last counted {known}"

    @property
    def means_now(self) -> tuple[float, float]:
        """
        Females and males that stand there in heads that are not whole, the book's where there is no standing.

        To a thousandth: finer than any ratio that is shown, and coarser than the farm plan solver's tolerance, so
        that every page needs the same heads to mend a ratio.
        """
        stands = self.standing
        if stands is None:
            return self.heads.females, self.heads.males
        return round(stands.females, 3), round(stands.males, 3)

    @property
    def females_now(self) -> int:
        """Females that the advice reckons with: the standing's mean in whole heads, else the book's."""
        return self.heads.females if self.standing is None else round(self.standing.females)

    @property
    def males_now(self) -> int:
        return self.heads.males if self.standing is None else round(self.standing.males)

    def ratio_with(self, females: int = 0, males: int = 0) -> float | None:
        """
        Return females per male with so many more (below 0: fewer), from heads that were not rounded.

        Infinite without males, 0 without females, None without either, each to the nearest head. Every page that
        tells a ratio of today, or after moves, asks here: whole heads divided would be another figure.
        """
        so_far = self.means_now
        after = so_far[0] + females, so_far[1] + males
        has_females, has_males = (round(heads) > 0 for heads in after)
        if not has_males:
            return math.inf if has_females else None
        return after[0] / after[1] if has_females else 0.0

    @property
    def ratio_now(self) -> float | None:
        """Females per male that the advice reckons with."""
        return self.ratio_with()

    @property
    def settled_now(self) -> float:
        """Females in terms of settled ones, the book's share of them taken for those that stand there."""
        if not self.heads.females:
            return 0.0
        return self.settled_females * min(1.0, self.females_now / self.heads.females)

    @cached_property
    def sex_more_for_standing(self) -> int | None:
        """
        How many turtles to sex before the verdict is known well enough; 0 where it is, None without a standing.

        The standing counts as a sample of p (1 - p) / var(p) sexed heads, p its share of females. Sexing all that
        stand there settles it, so it is never more than those.
        """
        stands = self.standing
        if stands is None:
            return None
        if self.verdict.verdict != NOT_KNOWN:
            return 0
        adults = max(1, round(stands.females + stands.males))
        share, variance = stands.females / max(stands.females + stands.males, 1.0), stands.share_variance
        known = 0 if variance <= 0 else round(share * (1 - share) / variance)
        females = round(share * known)
        found = _sex_more(females, known - females, known + adults, self.band)
        # On the edge of being known, the sample it stands for may be called settled.
        return adults if found is None else max(1, min(found, adults))

    @cached_property
    def sex_more(self) -> int | None:
        """How many more turtles to sex before the last haul is settled; 0 where it is.

        None without a haul. Sexing all that stood there settles it, so it is never more than were left.
        """
        haul = self.last_haul
        if haul is None or haul.is_complete:
            return None
        stood = self.adults - haul.females_since - haul.males_since
        return _sex_more(haul.females, haul.males, max(stood, haul.sexed), self.band)

    @cached_property
    def concerns(self) -> tuple[Concern, ...]:
        """What is wrong by its own facts, worst first; none where all is well."""
        return concerns_of(self)

    @cached_property
    def all_concerns(self) -> tuple[Concern, ...]:
        """Those of its own facts and those of the watch and the season, worst first."""
        return tuple(sorted((*self.concerns, *self.watched), key=rank_of_concern))

    @property
    def how_it_stands(self) -> str:
        """All of it in words, the worst first: "losing heads; ratio: in band"."""
        return "; ".join(tag.words for tag in self.tags)

    @property
    def rank(self) -> int:
        """Place in the worst-first order, 0 the worst."""
        return rank_of(self)

    @cached_property
    def tags(self) -> tuple[Tag, ...]:
        """The words of the verdict with their tones, the worst first."""
        return tags_of(self)

    @cached_property
    def seine_today(self) -> Verdict | None:
        """The last sexed haul's verdict with what came and went since taken as booked."""
        haul = self.last_haul
        if haul is None or not haul.has_moves_since:
            return self.seine_verdict
        return haul_verdict(
            haul.females,
            haul.males,
            standing=self.adults - haul.females_since - haul.males_since,
            females_since=haul.females_since,
            males_since=haul.males_since,
            target=self.target,
            band=self.band,
            is_complete=haul.is_complete,
        )


def haul_verdict(
    females: int,
    males: int,
    *,
    standing: int,
    target: float,
    band: tuple[float, float],
    is_complete: bool = False,
    females_since: int = 0,
    males_since: int = 0,
) -> Verdict:
    """
    Return the verdict that a sexed haul alone would give of its pond.

    Its shares are scaled to the heads standing, with the binomial standard error of a share, less what the
    heads sexed make certain: the variance times 1 - sexed / standing (the finite population correction,
    Cochran 1977, Sampling Techniques, section 3.6). Females and males then err by as much, each way. After a
    complete drain-down there is no such error. Where only one sex was caught the error is that of half a
    turtle of the other, as the share itself would have none. It is not known well enough where fewer than
    `FEWEST_SEXED` were sexed, nor where one sex alone was caught and the 95 % limits of its ratio reach into
    the band.

    Parameters
    ----------
    females, males : int
        Sexed in the haul; at least one.
    standing : int
        Heads of breeding size by the book; the haul's own number where that is larger.
    target, band : float, (float, float)
        Of the kind.
    is_complete : bool
        Drained to the last head.
    females_since, males_since : int
        Heads that came less heads that went since; they are added to the scaled heads, without error.
    """
    since = females_since, males_since
    found = _haul_verdict(females, males, max(standing, females + males), target, band, is_complete, since)
    if is_complete or _says_enough(females, males, band):
        return found
    return replace(found, verdict=NOT_KNOWN)


def _says_enough(females: int, males: int, band: tuple[float, float]) -> bool:
    """Whether a haul may take a side: enough were sexed, or those of one sex alone clear the band."""
    if females and males:
        return females + males >= FEWEST_SEXED
    limits = ratio(females, males)
    lower, upper = limits.lower, limits.upper
    return lower is not None and upper is not None and (lower > band[1] or upper < band[0])


@lru_cache(maxsize=4096)
def _haul_verdict(
    females: int,
    males: int,
    standing: int,
    target: float,
    band: tuple[float, float],
    is_complete: bool,
    since: tuple[int, int],
) -> Verdict:
    sexed = females + males
    share = females / sexed
    likely = share if females and males else (females + 0.5) / (sexed + 1)
    unseen = 1 - sexed / standing
    se = 0.0 if is_complete else standing * (likely * (1 - likely) / sexed * unseen) ** 0.5
    return verdict(
        max(0.0, standing * share + since[0]),
        se,
        max(0.0, standing * (1 - share) + since[1]),
        se,
        covariance=-(se**2),
        target=target,
        band=band,
        certainty=CERTAINTY,
        with_limits=False,
    )


@lru_cache(maxsize=4096)
def _standing_verdict(
    females: float,
    female_se: float,
    males: float,
    male_se: float,
    covariance: float,
    target: float,
    band: tuple[float, float],
) -> Verdict:
    return verdict(
        females,
        female_se,
        males,
        male_se,
        covariance=covariance,
        target=target,
        band=band,
        certainty=CERTAINTY,
    )


def _counted_words(on: dt.date, how: str, today: dt.date) -> str:
    return f"{day_words(on)} ({how}), {age(on, today)}"


@lru_cache(maxsize=4096)
def _sex_more(females: int, males: int, standing: int, band: tuple[float, float]) -> int | None:
    return sex_more(females, males, total=standing, band=band, certainty=CERTAINTY)
