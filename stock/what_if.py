"""Bridge from what is known of the ponds to what some moves would do: nothing is read here, nothing is booked."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
from scipy import special

from ponds.models import PondState
from ponds.svg_marks import figure_text
from stock.advisor.at_once import least_at_once
from stock.advisor.fertility import fertility
from stock.advisor.mix import SETTLING
from stock.advisor.moved_season import MovedSeason, moved_season
from stock.advisor.placing import WELFARE_RATIO
from stock.advisor.ranges import Spread
from stock.advisor.ratio import verdict
from stock.advisor.standing import ratio_limits
from stock.pond_kind import CERTAINTY, PondKind
from stock.standing_facts import CONFIDENCE, PondStanding
from stock.templatetags.stock_format import number, ratio
from stock.what_if_answer import Limits, TriedPond, TriedYield, WhatIfAnswer, WhatIfQuestion
from stock.yield_book import SEED, YieldBook

Pairs = Collection[tuple[int, int]]


def try_moves(
    question: WhatIfQuestion, facts: Sequence[PondKind], yields: YieldBook, *, kept_apart: Pairs = ()
) -> WhatIfAnswer:
    """
    Say what the moves of a question would do to the ponds they touch.

    Parameters
    ----------
    question : WhatIfQuestion
        Of ponds and a kind that are among `facts`; no more heads leave than stand there.
    facts : sequence of PondKind
        Every pond and kind of the day.
    yields : YieldBook
        What is learnt for the season of that day.
    kept_apart : collection of (int, int)
        Kinds (ids) that never share a pond, both ways round.
    """
    of_kind = {one.pond_code: one for one in facts if one.kind_id == question.kind_id}
    codes = dict.fromkeys([question.pond, *(move.other for move in question.moves if move.other)])
    ponds = [TriedPond(of_kind[code], moved(of_kind[code], question)) for code in codes]
    ponds, more_eggs = _with_yields(ponds, question, facts, yields)
    return WhatIfAnswer(
        question=question,
        ponds=tuple(ponds),
        more_eggs=more_eggs,
        warnings=tuple(_warnings(ponds, question, facts, kept_apart)),
        notes=_notes(ponds),
    )


def moved(one: PondKind, question: WhatIfQuestion) -> PondKind:
    """
    Return a pond and kind as it would be after the moves.

    Heads that are moved are counted heads: means shift by them, standard errors stay as they are.
    """
    females_in, females_out = question.change(one.pond_code, "FEMALE")
    males_in, males_out = question.change(one.pond_code, "MALE")
    more_females, more_males = females_in - females_out, males_in - males_out
    # The standing may hold more than the book; what is taken beyond the book would be found at the bank.
    heads = replace(
        one.heads,
        females=max(0, one.heads.females + more_females),
        males=max(0, one.heads.males + more_males),
    )
    space = (more_females + more_males) * one.space_a_head
    stay = 1 - females_out / one.females_now if females_out else 1.0
    return replace(
        one,
        heads=heads,
        by_book=verdict(
            heads.females, 0, heads.males, 0, target=one.target, band=one.band, certainty=CERTAINTY
        ),
        standing=None if one.standing is None else _shifted(one.standing, more_females, more_males),
        head_use=one.head_use + space,
        head_room=None if one.head_room is None else one.head_room - space,
        settled_females=one.settled_females * stay + SETTLING[0] * females_in,
    )


def _shifted(stands: PondStanding, more_females: int, more_males: int) -> PondStanding | None:
    """Return a standing with counted heads added or taken out; None where nobody is left of one sex for certain."""
    females, males = max(0.0, stands.females + more_females), max(0.0, stands.males + more_males)
    if females < 0.5 or males < 0.5:
        return None
    z = float(special.ndtri(0.5 + CONFIDENCE / 2))
    limits = ratio_limits(
        np.array([[females], [males]]),
        np.array([[stands.female_se**2], [stands.male_se**2]]),
        np.array([stands.covariance]),
        z,
    )
    return replace(
        stands,
        females=females,
        males=males,
        female_limits=_moved_limits(stands.female_limits, more_females),
        male_limits=_moved_limits(stands.male_limits, more_males),
        ratio=females / males,
        ratio_limits=(float(limits[0, 0]), float(limits[1, 0])),
    )


def _moved_limits(limits: tuple[float, float], more: int) -> tuple[float, float]:
    return max(0.0, limits[0] + more), max(0.0, limits[1] + more)


def _with_yields(
    ponds: Sequence[TriedPond], question: WhatIfQuestion, facts: Sequence[PondKind], yields: YieldBook
) -> tuple[list[TriedPond], Limits | None]:
    """Draw this season, and one with all settled, for the ponds of which a yield is learnt."""
    places = [yields.place(pond.now.pond_id, pond.now.kind_id) for pond in ponds]
    known = [at for at, place in enumerate(places) if place is not None]
    learnt = yields.learnt
    told = list(ponds)
    for at, pond in enumerate(ponds):
        if at not in known:
            told[at] = replace(
                pond,
                why_none="Nothing of this kind has laid here and none stands here: its yield is not told.",
            )
    if learnt is None or not known:
        return told, None
    where = np.array([places[at] for at in known])
    heads, errors = yields.females(facts)
    changes = [question.change(ponds[at].code, "FEMALE") for at in known]
    females = np.array([float(ponds[at].now.females_now) for at in known])
    leave = np.array([float(leaves) for _, leaves in changes])
    into = np.array([float(comes) for comes, _ in changes])
    stay = np.clip(1 - np.divide(leave, females, out=np.zeros_like(leave), where=females > 0), 0.0, 1.0)
    fertile = yields.fertility[where]
    # Stored sperm: what hatches this season goes back to the ratios of two and three seasons ago.
    season = moved_season(
        learnt, where, heads[where], female_se=errors[where], stay=stay, come=SETTLING[0] * into,
        fertility=(fertile, fertile), rng=SEED,
    )  # fmt: skip
    full = [np.array([_fertility(stock) for stock in stocks]) for stocks in zip(
        *((ponds[at].now, ponds[at].then) for at in known), strict=True
    )]  # fmt: skip
    relative = np.divide(errors[where], heads[where], out=np.zeros(len(known)), where=heads[where] > 0)
    later = moved_season(
        learnt, where, females, female_se=relative * females, stay=stay, come=into,
        fertility=(full[0], full[1]), rng=SEED,
    )  # fmt: skip
    for row, at in enumerate(known):
        told[at] = _told(ponds[at], row, season, later)
    return told, _three(season.more_eggs, ())


def _fertility(one: PondKind) -> float:
    if not one.males_now:
        return 0.0
    return float(fertility(one.females_now / one.males_now))


def _told(pond: TriedPond, row: int, season: MovedSeason, later: MovedSeason) -> TriedPond:
    rows = tuple(
        _row(words, both, row)
        for words, both in (("Nests", season.nests), ("Eggs", season.eggs), ("Hatched eggs", season.hatched))
    )
    settled = pond.then.settled_females
    return replace(
        pond,
        rows=rows,
        settled=_row("Hatched eggs", later.hatched, row),
        arithmetic=(
            f"{figure_text(pond.then.females_now)} females after the moves count as {figure_text(settled, 1)} "
            "settled ones this season. "
            f"By hand, at this pond's middling figures: {figure_text(rows[0].by_hand[1], 0)} nests, "
            f"{figure_text(rows[1].by_hand[1], 0)} "
            f"eggs, {figure_text(rows[2].by_hand[1], 0)} hatched."
        ),
    )


def _row(words: str, both: tuple[Spread, Spread], row: int) -> TriedYield:
    now, then = both
    return TriedYield(
        words, _three(now, row), _three(then, row), (float(now.arithmetic[row]), float(then.arithmetic[row]))
    )


def _three(spread: Spread, row: int | tuple[()]) -> Limits:
    return float(spread.low[row]), float(spread.expected[row]), float(spread.high[row])


def _warnings(
    ponds: Sequence[TriedPond], question: WhatIfQuestion, facts: Sequence[PondKind], kept_apart: Pairs
) -> list[str]:
    said = []
    names = {one.kind_id: one.kind_name for one in facts}
    for pond in ponds:
        now = pond.now
        comes = [question.change(now.pond_code, of_class)[0] for of_class in ("FEMALE", "MALE")]
        leaves = [question.change(now.pond_code, of_class)[1] for of_class in ("FEMALE", "MALE")]
        said += _warnings_here(pond, comes, leaves)
        apart = sorted(
            names[one.kind_id]
            for one in facts
            if one.pond_id == now.pond_id and one.heads.total and (now.kind_id, one.kind_id) in kept_apart
        )
        if any(comes) and apart:
            said.append(
                f"Pond {pond.code} holds {' and '.join(apart)}, which are never kept with {now.kind_name}."
            )
    return said


def _warnings_here(pond: TriedPond, comes: Sequence[int], leaves: Sequence[int]) -> list[str]:
    now, then, code = pond.now, pond.then, pond.code
    said = []
    if any(comes) and not now.is_allowed:
        said.append(f"Pond {code} is not kept for {now.kind_name}: allow it under Settings first.")
    if now.use.in_quarantine:
        said.append(f"Pond {code} is in quarantine: nothing comes in or goes out until it ends.")
    elif now.use.code == PondState.State.RESTING and any(comes):
        said.append(f"Pond {code} is resting: put it back in use before anything comes in.")
    if now.losing is not None and now.losing.is_losing and (any(comes) or any(leaves)):
        said.append(f"Pond {code}: {now.losing.sentence} Find the cause first; it is not topped up.")
    left = now.males_now - leaves[1] + comes[1]
    if comes[0] and not now.females_now and left > 0:
        # Males that stand alone press nobody yet; a few females among them would be.
        if comes[0] < (least := least_at_once(0, left)):
            said.append(
                f"Pond {code} has no females: {figure_text(least)} at least come at once to its {figure_text(left)} "
                f"{'male' if left == 1 else 'males'} ({WELFARE_RATIO:g} : 1), or the males press the few."
            )
    elif comes[0] and left > 0 and now.females_now < WELFARE_RATIO * left:
        leaving = math.ceil(left - now.females_now / WELFARE_RATIO - 1e-9)
        said.append(
            f"Pond {code} has {figure_text(now.females_now)} females to {figure_text(left)} males before the "
            "new ones come, below "
            f"{WELFARE_RATIO:g} : 1: males injure females. {figure_text(leaving)} more "
            f"{'male leaves' if leaving == 1 else 'males leave'} first."
        )
    if pond.is_over and now.head_limit is not None:
        said.append(
            f"Pond {code} would hold {number(then.head_use)} of its limit of {number(now.head_limit)}: "
            f"{number(-(pond.room_then or 0))} too many."
        )
    for of_class, taken, book, stands in (
        ("females", leaves[0], now.heads.females, now.females_now),
        ("males", leaves[1], now.heads.males, now.males_now),
    ):
        if book < taken <= stands:
            said.append(
                f"Pond {code}: {figure_text(taken)} {of_class} would leave; the book holds "
                f"{figure_text(book)}, the standing {figure_text(stands)}. "
                "What is beyond the book can only be booked at the bank, once it was seen."
            )
    if then.females_now and not then.males_now and now.males_now:
        said.append(f"Pond {code} would have no males: clear eggs follow in two or three years.")
    return said


def _notes(ponds: Sequence[TriedPond]) -> tuple[str, ...]:
    said = [
        f"Females that move count {SETTLING[0]:.0%} of a settled one in their first season in a pond and whole from "
        "the third (an assumption; Southern Regional Aquaculture Center, publication 439): a move costs eggs this "
        "season.",
        "This season's hatch rests on the males of two and three seasons ago, for sperm is stored; the line of a "
        "settled season has the new ratio in full.",
    ]
    if any(pond.now.is_by_standing for pond in ponds):
        said.append(
            "Heads that move are counted, so intervals stay as wide as the count they go back to; 90 % limits."
        )
    if any(not pond.now.is_by_standing for pond in ponds):
        said.append("A ratio by the book is arithmetic and has no interval: count the pond first for one.")
    return tuple(said)


def ratio_words(one: PondKind) -> str:
    """Say a pond's ratio in a word or figure: "2.50 : 1", "no males", "no females", "empty"."""
    females, males = one.females_now, one.males_now
    if females and males:
        return ratio(one.standing.ratio if one.standing is not None else females / males)
    if not females and not males:
        return "empty"
    return "no males" if females else "no females"
