"""The bridge from what is known of the ponds to where new females go; no database."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest

from ponds.figures import Range
from ponds.seasons import season_of
from stock.advisor.verdict import verdict
from stock.advisor.watch import losing_heads
from stock.book import ClassHeads
from stock.placing_advice import advise, written_out
from stock.placing_answer import CannotAdvise, Curves, Question
from stock.placing_hand import judge
from stock.placing_pictures import gains_chart, heads_chart
from stock.placing_tasks import source_of, why_of
from stock.pond_kind import PondKind, PondUse

DAY = dt.date(2026, 6, 30)
SLIDER, SNAPPER = 1, 2
# One settled female gives 1 x 1 x 10 x 1 = 10 hatched eggs a season and never dies: sums can be done on paper.
PLAIN = {"LAYING_SHARE": 1.0, "NESTS": 1.0, "EGGS": 10.0, "HATCH_SHARE": 1.0, "SURVIVAL": 1.0}


def pond(code, females=0, males=0, **more):
    """Return a pond of sliders as `pond_kinds` would give it."""
    heads = ClassHeads(females, males, more.pop("unsexed", 0), more.pop("juveniles", 0))
    kind = more.pop("kind_id", SLIDER)
    limit = more.pop("limit", None)
    given = {
        "pond_id": ord(code[0]),
        "pond_code": code,
        "pond_name": "",
        "kind_id": kind,
        "kind_code": {SLIDER: "slider", SNAPPER: "snapper"}[kind],
        "kind_name": {SLIDER: "Slider", SNAPPER: "Snapper"}[kind],
        "listing": "",
        "day": DAY,
        "season": season_of(DAY),
        "target": 3.0,
        "band": (2.5, 4.5),
        "is_allowed": True,
        "heads": heads,
        "by_book": verdict(females, 0, males, 0),
        "last_haul": None,
        "seine_verdict": None,
        "use": PondUse("IN_USE", "in use"),
        "head_limit": limit,
        "head_use": float(heads.total),
        "head_room": None if limit is None else limit - heads.total,
        "space_a_head": 1.0,
        "deaths": ClassHeads(),
        "head_days": 0.0,
        "losing": None,
        "settled_females": float(females),
        "figures": {name: Range(value, value, value) for name, value in PLAIN.items()},
        "sources": dict.fromkeys(PLAIN, "assumption"),
        "last_count": None,
    }
    return PondKind(**(given | more))


def ask(heads, ponds, *, kept_apart=None, **more):
    return advise(Question(SLIDER, heads, **({"seasons": 3} | more)), ponds, kept_apart=kept_apart)


def given(advice):
    return {one.code: one.given for one in advice.ponds if one.given}


THREE = [pond("A", 25, 10), pond("B", 27, 10), pond("C", 30, 10)]
FULL_TO_THREE = Curves(full_to=3.0)


def test_three_ponds_worked_on_paper():
    # Up to 3 : 1 a new female adds 10 x (0.4 + 0.7 + 1.0) = 21 hatched eggs; beyond, she only thins what the
    # males can fertilize. A has room for 5 such, B for 3, C for none. Six fill A and B level at 29 : 10.
    advice = ask(6, THREE, curves=FULL_TO_THREE)
    assert given(advice) == {"A": 4, "B": 2}
    assert advice.total == pytest.approx(126)
    assert (advice.low, advice.high) == pytest.approx((126, 126), rel=1e-5)
    assert advice.holds == 1
    assert [advice.pond(code).next_gain for code in "AB"] == pytest.approx([21, 21])
    # C at 30 : 10 with one more: 10 x 30/31 x (3 x 30 + 2.1) instead of 900.
    assert advice.pond("C").next_gain == pytest.approx(10 * 30 / 31 * 92.1 - 900)
    assert advice.pond("A").last_cost == pytest.approx(0)
    assert set(advice.tied) == {"A", "B"}
    even, worst = advice.rivals
    # Two each: 4 x 21 less what two in C spoil, 900 - 10 x 30/32 x (90 + 4.2).
    assert even.heads_per_pond == (("A", 2), ("B", 2), ("C", 2))
    assert even.total == pytest.approx(84 - (900 - 10 * 30 / 32 * 94.2))
    assert even.share == pytest.approx(even.total / 126)
    assert (worst.heads_per_pond, worst.total) == ((("A", 4), ("B", 2)), pytest.approx(126))


def test_what_adds_nothing_is_left_over_and_said():
    advice = ask(10, THREE, curves=FULL_TO_THREE)
    assert given(advice) == {"A": 5, "B": 3}
    assert advice.unplaced == 2
    assert advice.unplaced_why == "Another female in any pond with room would add no hatched eggs."
    assert advice.pond("C").why.endswith("Gets none: a further female here would add no hatched eggs.")


def test_caps_leave_the_rest_over():
    advice = ask(10, [pond("A", 28, 10, limit=41), pond("B", 43, 10)])
    assert given(advice) == {"A": 3, "B": 2}
    assert advice.unplaced == 5
    assert "full" in advice.unplaced_why
    assert advice.pond("A").why.endswith("Head room ends there: the limit is 41.")
    assert advice.pond("B").why.endswith("The band ends at 4.5 : 1.")
    assert advice.pond("A").next_gain is None


def test_space_a_head_counts_in_head_room():
    advice = ask(10, [pond("A", 28, 10, limit=45, head_use=38.0, head_room=7.0, space_a_head=2.0)])
    assert advice.pond("A").cap == 3
    assert advice.pond("A").use_after == 44


def hatched(females, males, added, *, seasons, full_to, survival=0.9):
    """The formula in plain Python, season by season."""
    total, alive = 0.0, 1.0
    for season in range(seasons):
        alive *= survival
        share = (0.4, 0.7, 1.0)[min(season, 2)]
        ratio = (females + added) / males
        total += (females + share * added) * alive * 10 * (1 if ratio <= full_to else full_to / ratio)
    return total


@pytest.mark.parametrize("heads", [1, 3, 5, 8])
@pytest.mark.parametrize("full_to", [2.7, 3.0, 3.4, 5.0])
def test_it_equals_trying_every_placing(heads, full_to):
    standing = {"A": (26, 10), "B": (41, 12), "C": (15, 8)}
    figures = {name: Range(value, value, value) for name, value in (PLAIN | {"SURVIVAL": 0.9}).items()}
    ponds = [pond(code, *cell, figures=figures) for code, cell in standing.items()]
    advice = ask(heads, ponds, seasons=4, curves=Curves(full_to=full_to))
    caps = [int(4.5 * males) - females for females, males in standing.values()]
    best = max(
        sum(
            hatched(*cell, added, seasons=4, full_to=full_to) - hatched(*cell, 0, seasons=4, full_to=full_to)
            for cell, added in zip(standing.values(), counts, strict=True)
        )
        for counts in itertools.product(*(range(min(heads, cap) + 1) for cap in caps))
        if sum(counts) <= heads
    )
    assert advice.total == pytest.approx(best)
    assert advice.placed + advice.unplaced == heads
    assert all(one.given <= one.cap for one in advice.ponds)


@pytest.mark.parametrize("heads", [6, 7, 9, 12, 17])
@pytest.mark.parametrize("full_to", [2.7, 3.4, 5.0])
def test_where_males_stand_alone_so_many_come_at_once_or_none_and_no_placing_beats_it(heads, full_to):
    standing, caps = {"A": (0, 4), "B": (26, 10), "C": (35, 12)}, (18, 19, 19)
    figures = {name: Range(value, value, value) for name, value in (PLAIN | {"SURVIVAL": 0.9}).items()}
    advice = ask(
        heads,
        [pond(code, *cell, figures=figures) for code, cell in standing.items()],
        seasons=4,
        curves=Curves(full_to=full_to),
    )
    best = max(
        sum(
            hatched(*cell, added, seasons=4, full_to=full_to) - hatched(*cell, 0, seasons=4, full_to=full_to)
            for cell, added in zip(standing.values(), counts, strict=True)
        )
        for counts in itertools.product(*(range(min(heads, cap) + 1) for cap in caps))
        if sum(counts) <= heads and not 0 < counts[0] < 6
    )
    assert advice.total == pytest.approx(best)
    assert given(advice).get("A", 0) not in range(1, 6)
    assert advice.pond("A").at_least == 6


def test_a_pond_whose_males_came_first_is_stocked_with_females():
    advice = ask(20, [pond("A", 0, 10, unsexed=3)])
    assert (given(advice), advice.pond("A").cap) == ({"A": 20}, 45)
    assert "No females stand beside 10 males: 15 at least come at once" in advice.pond("A").why
    by_hand = judge(advice, {"A": 9})
    assert by_hand.problems["A"].startswith(
        "Pond A cannot take 9 alone. No females stand beside 10 males: 15 at least"
    )
    assert judge(advice, {"A": 15}).problems == {}
    # What is decided already counts to those that must come.
    ponds = [pond("A", 0, 10)]
    assert advise(Question(SLIDER, 6, seasons=3), ponds, decided={"A": 9}).pond("A").given == 6
    assert advise(Question(SLIDER, 5, seasons=3), ponds, decided={"A": 9}).pond("A").given == 0


@pytest.mark.parametrize(
    ("facts", "code", "words"),
    [
        ({"females": 12, "males": 10}, "too-many-males", "2 males must leave before females come"),
        (
            {"males": 10},
            "too-few-females",
            "15 must come at once, or the males press the few, and only 5 are to",
        ),
        ({"males": 3, "limit": 7}, "too-few-females", "and only 4 fit. Else 1 male leaves first."),
        ({"females": 12}, "no-males", "No males"),
        ({}, "no-males", "Empty"),
        ({"females": 45, "males": 10}, "band-top", "top of the band"),
        ({"females": 30, "males": 10, "limit": 40}, "no-head-room", "No head room: 0 heads"),
        (
            {"females": 30, "males": 10, "use": PondUse("QUARANTINE", "quarantine", DAY, DAY)},
            "quarantine",
            "due to end on 30 Jun 2026",
        ),
        ({"females": 30, "males": 10, "use": PondUse("RESTING", "resting")}, "resting", "Resting"),
        ({"females": 30, "males": 10, "is_allowed": False}, "other-kind", "Not kept for Slider"),
        (
            {"females": 30, "males": 10, "losing": losing_heads(20, 14_600, expected_annual_survival=0.9)},
            "losing-heads",
            "20 deaths recorded",
        ),
    ],
)
def test_every_obstacle_stands_in_the_way_and_says_why(facts, code, words):
    advice = ask(5, [pond("A", **facts), pond("B", 26, 10)])
    closed = advice.pond("A")
    assert [one.code for one in closed.obstacles] == [code]
    assert words in closed.obstacles[0].sentence
    assert (closed.cap, closed.given) == (0, 0)
    assert given(advice) == {"B": 5}


def test_kinds_kept_apart_close_a_pond_only_where_they_stand():
    snappers = [pond("A", 5, 2, kind_id=SNAPPER), pond("B", kind_id=SNAPPER)]
    advice = ask(
        5, [pond("A", 26, 10), snappers[0], pond("B", 26, 10), snappers[1]], kept_apart={SNAPPER: "Snapper"}
    )
    assert advice.pond("A").obstacles[0].sentence == "Snapper stand here, and the two are not kept together."
    assert given(advice) == {"B": 5}


def test_the_source_gets_none_and_ponds_of_other_kinds_are_named():
    advice = ask(5, [pond("A", 26, 10), pond("B", 20, 10), pond("F", 3, 1, kind_id=SNAPPER)], source="B")
    assert advice.pond("B").obstacles[0].code == "source"
    assert advice.not_kept == ("F",)


def test_when_no_pond_may_get_any_each_says_why():
    advice = ask(5, [pond("A", 12), pond("B", 12, 10)])
    assert (advice.placed, advice.unplaced, advice.holds) == (0, 5, None)
    assert [len(one.obstacles) for one in advice.ponds] == [1, 1]
    assert gains_chart(advice) is None
    assert heads_chart(advice) is None


def test_what_is_missing_is_named():
    with pytest.raises(CannotAdvise, match="No pond is kept"):
        ask(5, [pond("A", 5, 2, kind_id=SNAPPER)])
    figures = {name: Range(1, 1, 1) for name in PLAIN if name != "HATCH_SHARE"}
    with pytest.raises(CannotAdvise, match="no figure for share of eggs that hatch"):
        ask(5, [pond("A", 26, 10, figures=figures)])


def test_the_same_question_gets_the_same_answer():
    wide = {"LAYING_SHARE": Range(0.4, 0.7, 0.95), "NESTS": Range(1, 2, 3.5), "EGGS": Range(6.5, 9, 11),
            "HATCH_SHARE": Range(0.7, 0.8, 0.9), "SURVIVAL": Range(0.77, 0.9, 0.97)}  # fmt: skip
    ponds = [pond("A", 26, 10, figures=wide), pond("B", 29, 10, figures=wide)]
    one, other = ask(7, ponds), ask(7, list(ponds))
    assert one == other
    assert one.low < one.total < one.high
    # Level at 31 : 10 and 31 : 10, as 26 + 29 + 7 = 62.
    assert given(one) == {"A": 5, "B": 2}


def test_by_hand_the_loss_is_what_the_best_has_more():
    advice = ask(6, THREE, curves=FULL_TO_THREE)
    hand = judge(advice, {"A": 1, "B": 3, "C": 0})
    assert (hand.placed, hand.total, hand.loss) == (4, pytest.approx(84), pytest.approx(42))
    assert hand.share == pytest.approx(84 / 126)
    assert hand.sentence == "4 of 6 are placed by hand; 2 are left over."
    assert hand.can_be_done


def test_by_hand_what_cannot_be_says_so():
    advice = ask(6, [*THREE, pond("D", 12)], curves=FULL_TO_THREE)
    hand = judge(advice, {"A": 21, "D": 1, "Z": 2})
    assert set(hand.problems) == {"A", "D", "Z"}
    assert "can take 20, not 21" in hand.problems["A"]
    assert "No males" in hand.problems["D"]
    assert hand.sentence == "24 are placed by hand, 18 more than the 6 there are."
    assert not hand.can_be_done


def test_the_arithmetic_written_out_adds_up_to_the_placing():
    advice = ask(6, THREE, curves=FULL_TO_THREE)
    lines = written_out(advice, advice.pond("A"))
    assert [line.added for line in lines] == pytest.approx([16, 28, 40])


def test_the_source_in_quarantine_says_until_when_and_what_is_unsexed():
    use = PondUse("QUARANTINE", "quarantine", DAY, dt.date(2026, 8, 1))
    ponds = [pond("Q", 4, 0, unsexed=40, use=use), *THREE]
    source = source_of("Q", 30, ponds[0], ponds)
    assert (source.in_quarantine, source.released_on) == (True, dt.date(2026, 8, 1))
    said = " ".join(source.sentences)
    assert "until it is released, on 1 Aug 2026" in said
    assert "40 of this kind stand there unsexed" in said
    assert "4 females of this kind stand in pond Q, fewer than the 30" in said
    assert source_of("", 30, ponds[0], ponds).sentences == ()


def test_a_task_says_why_with_its_numbers():
    advice = ask(6, THREE, curves=FULL_TO_THREE, source="Q")
    assert why_of(advice, advice.pond("A"), 4) == (
        "New females, 6 in all, from pond Q: by the book 2.50 : 1 becomes 2.90 : 1; about 84 hatched eggs more "
        "over 3 seasons."
    )
    assert why_of(advice, advice.pond("A"), 3).endswith("Changed by hand from 4.")


def test_charts_say_in_words_what_they_draw():
    advice = ask(6, THREE, curves=FULL_TO_THREE)
    chart = gains_chart(advice)
    assert chart.columns[0] == "Female"
    assert chart.rows[0][0] == "1"
    assert "adds most in pond A, 21.0 hatched eggs over 3 seasons" in chart.summary
    assert "ratio makes no difference" in gains_chart(ask(6, THREE)).summary
    assert heads_chart(advice).rows == (("Pond A", "4"), ("Pond B", "2"))
