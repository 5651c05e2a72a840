"""What is wrong with a pond and kind, worst first, each as a stable code and a sentence. Imports no Django."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stock.advisor.reasons import WELFARE_RATIO
from stock.advisor.verdict import IN_BAND, NO_FEMALES, NO_MALES, NOT_KNOWN, SHORT_OF_FEMALES, SHORT_OF_MALES

if TYPE_CHECKING:
    from stock.advisor.ratio import Verdict
    from stock.book import ClassHeads
    from stock.pond_facts import PondKind

EMPTY = "empty"
JUVENILES_ONLY = "juveniles only"
NONE_SEXED = "none sexed yet"

FEWEST_MALES = 20
"""Below this many males their own losses and kinship weigh on the pond (common practice, no source)."""

# The worst first. Codes of one tuple stand equally high.
ORDER = (
    ("no-males", "no-females"),
    ("losing-heads", "deaths"),
    ("too-many-males",),
    ("heads-missing",),
    ("falling-behind",),
    ("short-of-females", "short-of-males"),
    ("unsettled",),
    ("over-limit", "not-allowed"),
    ("few-males",),
)
RANK_OF = {code: rank for rank, codes in enumerate(ORDER) for code in codes}
FINE, VACANT = len(ORDER), len(ORDER) + 1


@dataclass(frozen=True)
class Concern:
    """One thing to look at: a code of `ORDER`, the sentence, and what it is called where `TAG_WORDS` does not say."""

    code: str
    sentence: str
    named: str = ""

    @property
    def words(self) -> str:
        """What a tag calls it."""
        return self.named or TAG_WORDS[self.code]

    @property
    def is_bad(self) -> bool:
        """Whether it stands among the worst, which do harm already."""
        return RANK_OF[self.code] <= RANK_OF["heads-missing"]


def standing_word(heads: ClassHeads, found: Verdict) -> str:
    """Return a verdict, or why there is none: "empty", "juveniles only", "none sexed yet"."""
    if not heads.total:
        return EMPTY
    if heads.females or heads.males:
        return found.verdict
    return NONE_SEXED if heads.unsexed else JUVENILES_ONLY


def concerns_of(facts: PondKind) -> tuple[Concern, ...]:
    """Return what is wrong, worst first."""
    return tuple(sorted(_found(facts), key=rank_of_concern))


def rank_of_concern(concern: Concern) -> int:
    """Return a concern's place in the worst-first order."""
    return RANK_OF[concern.code]


def rank_of(facts: PondKind) -> int:
    """Return the place in the worst-first order: the worst concern's, then what is fine, then what is empty."""
    if facts.all_concerns:
        return RANK_OF[facts.all_concerns[0].code]
    return VACANT if facts.is_empty else FINE


def _found(facts: PondKind) -> Iterator[Concern]:
    heads, word = facts.heads, facts.word
    sexed = f"{facts.females_now} females to {facts.males_now} males by {facts.whose}"
    unsexed = f" {heads.unsexed} unsexed may hold some." if heads.unsexed else ""
    if word == NO_MALES:
        yield Concern("no-males", f"No males by {facts.whose}, beside {facts.females_now} females.{unsexed}")
    if word == NO_FEMALES:
        yield Concern("no-females", f"No females by {facts.whose}, beside {facts.males_now} males.{unsexed}")
    if facts.losing is not None and facts.losing.is_losing:
        yield Concern("losing-heads", facts.losing.sentence)
    found = facts.verdict.ratio
    if facts.females_now and facts.males_now and found is not None and found < WELFARE_RATIO:
        yield Concern(
            "too-many-males",
            f"{sexed}, below {WELFARE_RATIO:g} to 1: look for bites and losses; males leave first.",
        )
    low, high = facts.band
    if word == SHORT_OF_FEMALES:
        yield Concern("short-of-females", f"{sexed}, below the band's {low:g} to 1.")
    if word == SHORT_OF_MALES:
        yield Concern("short-of-males", f"{sexed}, above the band's {high:g} to 1.")
    yield from _unsettled(facts)
    if facts.head_room is not None and facts.head_room < 0 and heads.total:
        yield Concern(
            "over-limit",
            f"{facts.head_use:.0f} heads where the limit is {facts.head_limit}, weighted by space.",
        )
    if heads.total and not facts.is_allowed:
        yield Concern("not-allowed", f"{heads.total} heads of a kind that this pond is not kept for.")
    if facts.females_now and 0 < facts.males_now < FEWEST_MALES:
        yield Concern(
            "few-males", f"Only {facts.males_now} males by {facts.whose}, fewer than {FEWEST_MALES}."
        )


def _unsettled(facts: PondKind) -> Iterator[Concern]:
    haul, seine = facts.last_haul, facts.seine_today
    if facts.word == NONE_SEXED:
        yield Concern("unsettled", f"{facts.heads.unsexed} unsexed and none sexed: the ratio is not known.")
    elif facts.standing is not None:
        # The hauls are weighed in there already.
        if facts.word == NOT_KNOWN:
            low, high = facts.standing.ratio_limits
            top = f"{low:.2f} : 1 or more" if math.isinf(high) else f"{low:.2f} to {high:.2f} : 1"
            yield Concern(
                "unsettled",
                f"The standing says {top}: not known well enough. Sex about {facts.sex_more_for_standing} more to "
                "settle it.",
            )
    elif facts.is_empty or haul is None or seine is None:
        return
    elif seine.verdict == NOT_KNOWN:
        more = facts.sex_more
        settle = f" Sex about {more} more to settle it." if more else ""
        yield Concern(
            "unsettled",
            f"The last {haul.method} sexed {haul.sexed}: not known well enough.{settle}",
        )
    elif seine.verdict != facts.word and (facts.heads.females or facts.heads.males):
        since = ", what moved since counted in" if haul.has_moves_since else ""
        yield Concern(
            "unsettled",
            f"The last {haul.method} says {seine.verdict}{since}; the book says {facts.word}: recount or sex more.",
        )


def ratio_words(word: str) -> str:
    """Return a verdict as every page names it, "ratio: in band"; what is no verdict, such as "empty", as it is."""
    return word if word in (EMPTY, JUVENILES_ONLY, NONE_SEXED) else f"ratio: {word}"


# "deaths" and "heads-missing" are signals of the watch, which names each itself.
TAG_WORDS = {
    "no-males": ratio_words(NO_MALES),
    "no-females": ratio_words(NO_FEMALES),
    "losing-heads": "losing heads",
    "falling-behind": "falling behind",
    "too-many-males": "below 1.5 : 1",
    "short-of-females": ratio_words(SHORT_OF_FEMALES),
    "short-of-males": ratio_words(SHORT_OF_MALES),
    "unsettled": "unsettled",
    "over-limit": "over its limit",
    "not-allowed": "not kept for it",
    "few-males": "few males",
}


@dataclass(frozen=True)
class Tag:
    """A word of the verdict and how it is drawn: "bad", "warn", "good" or ""."""

    words: str
    tone: str


def tags_of(facts: PondKind) -> tuple[Tag, ...]:
    """
    Return the words to show of a pond and kind: the worst first, the ratio's verdict always among them.

    Every page, print and export that says in a word how a pond stands takes it from here: the first word alone
    where there is room for one. The ratio is green only where nothing worse is said beside it.
    """
    tones = {one.words: "bad" if one.is_bad else "warn" for one in reversed(facts.all_concerns)}
    words = dict.fromkeys(one.words for one in facts.all_concerns)
    verdict = ratio_words(facts.word)
    tones.setdefault(verdict, "good" if facts.word == IN_BAND and not words else "")
    return tuple(Tag(word, tones[word]) for word in dict.fromkeys((*words, verdict)))
