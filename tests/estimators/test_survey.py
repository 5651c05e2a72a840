"""Reading a survey: the form of each, the headline it fixes, and what is refused."""

import math
from dataclasses import replace

import pytest

from stock.estimators.estimate import Status
from stock.estimators.survey import (
    FEMALE,
    JUVENILE,
    MALE,
    UNSEXED,
    Circumstances,
    HaulCatch,
    SurveyReading,
    read_survey,
)
from tests.estimators.survey_makers import haul, held, passes


def marked_pond(second_seen=(60, 25), **more):
    return [haul(300, 100, marked="all"), haul(220, 80, seen=second_seen, day=4, **more)]


@pytest.mark.parametrize(
    ("hauls", "form", "method"),
    [
        ([haul(90, 31, method="DRAIN_DOWN", is_complete=True)], "drain-down", "drain-down"),
        (passes((38, 12), (26, 7), (12, 4)), "removal", "removal"),
        (marked_pond(), "two hauls with marks", "two-sample"),
        (
            [
                haul(40, 20, marked="all"),
                haul(50, 18, seen=(12, 8), marked="all", day=1),
                haul(45, 20, seen=(20, 11), day=2),
            ],
            "several hauls with marks",
            "multi-haul",
        ),
    ],
)
def test_the_form_fixes_the_headline(hauls, form, method):
    reading = read_survey(hauls)
    assert (reading.form, reading.headline.method, reading.refusal) == (form, method, "")
    assert reading.as_of == hauls[-1].day
    total = reading.headline.total
    assert total.lower <= total.value <= total.upper
    assert reading.headline.females.value + reading.headline.males.value == pytest.approx(total.value)


@pytest.mark.parametrize(
    ("hauls", "form", "way_out"),
    [
        ([], "no hauls", "add one"),
        ([haul(30, 10)], "one haul", "Mark what was caught"),
        ([haul(30, 10), haul(25, 9, day=1)], "hauls without marks", "Mark what is caught"),
        ([haul(), haul(day=1)], "nothing caught", "Haul again"),
        (
            [haul(30, 10, held_out=True), haul(9, 3, marked="all"), haul(8, 2)],
            "held out and returned",
            "into one survey",
        ),
        ([haul(30, 10, seen=(4, 1)), haul(20, 5)], "marks without a source", "before the first haul"),
    ],
)
def test_forms_without_a_head_count_say_what_to_do(hauls, form, way_out):
    reading = read_survey(hauls)
    assert (reading.form, reading.headline, reading.others) == (form, None, ())
    assert way_out in reading.refusal


def test_one_haul_says_what_share_it_tells():
    assert "30 females and 1 male" in read_survey([haul(30, 1)]).refusal


def test_only_juveniles_caught_is_not_a_count_of_nothing():
    reading = read_survey([haul(caught={JUVENILE: 7})])
    assert reading.form == "nothing caught"
    assert "only 7 juveniles" in reading.refusal


class TestTwoHauls:
    def test_each_sex_by_itself_adds_up(self):
        # Chapman (1951) for each sex, written out; Seber's (1970) variances add.
        headline = read_survey(marked_pond()).headline
        assert headline.by_sex
        females, males = (301 * 221) / 61 - 1, (101 * 81) / 26 - 1
        assert (headline.females.value, headline.males.value) == pytest.approx((females, males))
        assert headline.total.value == pytest.approx(females + males)
        assert headline.total.se == pytest.approx(math.hypot(headline.females.se, headline.males.se))
        assert headline.covariance == 0

    def test_a_sex_seldom_met_again_is_shared_out_of_the_total(self):
        headline = read_survey(marked_pond((18, 5))).headline
        assert not headline.by_sex
        assert headline.total.value == pytest.approx(401 * 301 / 24 - 1)
        # 502 females and 175 males were handled.
        assert headline.females.value == pytest.approx(headline.total.value * 502 / 677)
        # The variance of the sum is that of the total.
        variance = headline.females.se**2 + headline.males.se**2 + 2 * headline.covariance
        assert variance == pytest.approx(headline.total.se**2)
        assert headline.males.status is Status.LOW_CONFIDENCE
        assert "shared out" in " ".join(headline.males.notes)

    def test_one_sex_never_caught_again_takes_its_upper_limit_from_the_total(self):
        reading = read_survey(
            [haul(60, 6, marked="all"), haul(50, 5, seen=(14, 0), day=1)],
        )
        males = reading.headline.males
        assert not reading.headline.by_sex
        assert math.isfinite(males.upper)
        assert any("equal catch for granted" in note for note in males.notes)
        assert reading.refusal == ""

    def test_males_never_caught_again_though_many_were_marked_have_no_upper_limit(self):
        reading = read_survey([haul(100, 80, marked="all"), haul(90, 60, seen=(50, 0), day=1)])
        assert held(reading, "equal-catch").holds is False
        assert math.isinf(reading.headline.males.upper)
        assert not held(reading, "equal-catch").is_fatal

    def test_sexes_caught_unequally_are_estimated_apart_even_on_few_recaptures(self):
        reading = read_survey([haul(100, 100, marked="all"), haul(90, 60, seen=(50, 4), day=1)])
        assert held(reading, "equal-catch").holds is False
        assert reading.headline.by_sex
        assert reading.headline.males.value == pytest.approx(101 * 61 / 5 - 1)
        assert reading.reading("two-sample", "chapman-together").total.value < reading.headline.total.value

    def test_no_recapture_leaves_nothing_to_accept(self):
        reading = read_survey(marked_pond((0, 0)))
        assert "None of 300 caught carried a mark" in reading.refusal
        assert math.isinf(reading.headline.total.upper)
        assert reading.reading("two-sample", "petersen").total.value is None

    def test_six_recaptures_are_few(self):
        reading = read_survey([haul(30, 10, marked="all"), haul(30, 8, seen=(5, 1), day=1)])
        assert reading.refusal == ""
        assert reading.headline.total.status is Status.LOW_CONFIDENCE
        assert held(reading, "recaptures").holds is False

    def test_all_recaptured_is_the_marked_and_bounded(self):
        reading = read_survey([haul(30, 10, marked="all"), haul(30, 10, seen=(30, 10), day=1)])
        total = reading.headline.total
        assert (total.value, total.se, total.status, total.lower) == (40, None, Status.BOUNDED, 40)
        assert reading.refusal == ""

    def test_an_empty_second_haul_is_refused(self):
        reading = read_survey([haul(30, 10, marked="all"), haul(day=1)])
        assert reading.form == "two hauls with marks"
        assert "Nothing was caught" in reading.refusal

    def test_a_haul_in_which_nobody_looked_is_not_read_as_one_without_marks(self):
        unlooked = {"carrying": {FEMALE: None, MALE: None}}
        hauls = [
            haul(40, 20, marked="all"),
            haul(50, 30, day=1, **unlooked),
            haul(40, 20, seen=(10, 9), day=2),
        ]
        reading = read_survey(hauls)
        assert reading.headline is None
        assert reading.refusal.startswith("Haul 2 caught 80 heads while 60 marked were at large")
        # The first haul met none that could carry a mark: nothing hangs on whether somebody looked.
        first = replace(hauls[0], carrying={})
        assert read_survey([replace(first, carrying=unlooked["carrying"]), hauls[2]]) == read_survey(
            [hauls[0], hauls[2]]
        )
        # Nor of the males, where only females were marked and looked at.
        females_only = [
            haul(40, 20, marked=(40, 0)),
            haul(50, 30, seen=(12, 0), day=1, carrying={MALE: None}),
        ]
        assert read_survey(females_only).refusal == ""
        # Marks on the unsexed may be on either sex since.
        unsexed = haul(40, 20, marked=(40, 0), caught={UNSEXED: 9}, newly_marked={UNSEXED: 9})
        assert read_survey([unsexed, females_only[1]]).form == "marks not looked for"
        # What was not caught need not be looked at: only one sex was.
        half = haul(50, 0, seen=(12, 0), day=1, carrying={MALE: None})
        assert read_survey([hauls[0], half]).refusal == ""

    def test_marks_from_before_make_one_haul_enough(self):
        reading = read_survey(
            [haul(40, 20, seen=(16, 13))], Circumstances(marked_before={FEMALE: 30, MALE: 30})
        )
        assert reading.form == "two hauls with marks"
        assert "before" in reading.form_sentence
        assert reading.headline.total.value == pytest.approx(31 * 41 / 17 - 1 + 31 * 21 / 14 - 1)

    def test_the_dead_are_no_longer_at_large(self):
        # Of 40 marked in the first haul none died; of 12 not marked 5 died, which takes no mark away.
        plain = [haul(40, 12, marked=(40, 0)), haul(30, 9, seen=(12, 0), day=1)]
        deadly = [haul(40, 12, marked=(40, 0), dead={MALE: 5}), plain[1]]
        assert read_survey(deadly).headline.total.value == read_survey(plain).headline.total.value
        # More died than were left unmarked: the rest had just been marked.
        worse = [haul(40, 12, marked=(40, 0), dead={FEMALE: 10}), plain[1]]
        assert read_survey(worse).headline.total.value == pytest.approx(31 * 40 / 13 - 1)

    def test_the_last_haul_may_be_held_out(self):
        held_out = marked_pond(held_out=True)
        assert read_survey(held_out).headline == read_survey(marked_pond()).headline

    def test_the_figures_hold_just_before_the_last_haul(self):
        assert read_survey(marked_pond()).headline.reference == -1


class TestUnsexed:
    def test_few_unsexed_are_taken_as_the_sexed(self):
        hauls = [
            haul(300, 100, marked="all", caught={UNSEXED: 40}, newly_marked={UNSEXED: 40}),
            haul(220, 80, seen=(60, 25), day=4, caught={UNSEXED: 30}, carrying={UNSEXED: 8}),
        ]
        headline = read_survey(hauls).headline
        assert headline.by_sex
        # 440 were marked and 400 of them sexed.
        assert headline.females.value == pytest.approx((301 * 221 / 61 - 1) * 1.1)
        assert headline.females.value + headline.males.value == pytest.approx(headline.total.value)

    def test_with_many_unsexed_the_total_is_shared_out(self):
        hauls = [
            haul(60, 20, marked="all", caught={UNSEXED: 220}, newly_marked={UNSEXED: 220}),
            haul(50, 15, seen=(20, 8), day=4, caught={UNSEXED: 230}, carrying={UNSEXED: 60}),
        ]
        headline = read_survey(hauls).headline
        assert not headline.by_sex
        assert headline.total.value == pytest.approx(301 * 296 / 89 - 1)
        assert headline.females.value + headline.males.value == pytest.approx(headline.total.value)
        assert any("not sexed" in note for note in headline.females.notes)
        assert headline.females.lower < headline.females.value < headline.females.upper

    def test_nobody_sexed_leaves_the_adults_alone(self):
        hauls = [
            haul(caught={UNSEXED: 50}, newly_marked={UNSEXED: 50}),
            haul(caught={UNSEXED: 40}, carrying={UNSEXED: 10}, day=1),
        ]
        headline = read_survey(hauls).headline
        assert headline.total.value == pytest.approx(51 * 41 / 11 - 1)
        assert (headline.females, headline.males) == (None, None)

    def test_marks_put_on_unsexed_turtles_and_found_on_females(self):
        hauls = [
            haul(caught={UNSEXED: 50}, newly_marked={UNSEXED: 50}),
            haul(30, 10, seen=(8, 2), day=1),
        ]
        headline = read_survey(hauls).headline
        assert not headline.by_sex
        assert headline.total.value == pytest.approx(51 * 41 / 11 - 1)
        assert headline.females.value == pytest.approx(headline.total.value * 0.75)


class TestJuveniles:
    def test_juveniles_stand_apart_from_the_adults(self):
        with_young = [
            haul(300, 100, marked="all", caught={JUVENILE: 20}, newly_marked={JUVENILE: 20}),
            haul(220, 80, seen=(60, 25), day=4, caught={JUVENILE: 15}, carrying={JUVENILE: 9}),
        ]
        headline = read_survey(with_young).headline
        assert headline.juveniles.value == pytest.approx(21 * 16 / 10 - 1)
        assert headline.total.value == read_survey(marked_pond()).headline.total.value


class TestPasses:
    def test_a_catch_that_did_not_decline_is_refused(self):
        reading = read_survey(passes((5, 0), (7, 0), (8, 0)))
        # Carle & Strub (1978) still have a number, 44, for comparison.
        assert reading.headline.total.value == 44
        assert math.isinf(reading.headline.total.upper)
        assert "5, 7, 8, did not decline" in reading.refusal
        assert held(reading, "declined").is_fatal

    def test_one_pass_that_fell_by_nothing_much_is_refused(self):
        reading = read_survey(passes((30, 10), (29, 10)))
        assert held(reading, "declined").holds
        assert held(reading, "told").holds is False
        assert "Hold out another pass" in reading.refusal

    def test_each_sex_by_itself_where_both_declined(self):
        headline = read_survey(passes((60, 30), (30, 14), (15, 7))).headline
        assert headline.by_sex
        alone = [read_survey(passes(*((heads, 0) for heads in of_sex))).headline.total.value
                 for of_sex in ((60, 30, 15), (30, 14, 7))]  # fmt: skip
        assert (headline.females.value, headline.males.value) == tuple(alone)
        assert headline.total.value == sum(alone)

    def test_a_sex_that_did_not_decline_is_shared_out(self):
        headline = read_survey(passes((60, 7), (30, 8), (15, 8))).headline
        assert not headline.by_sex
        assert headline.males.value == pytest.approx(headline.total.value * 23 / 128)

    def test_everything_in_the_first_pass(self):
        reading = read_survey(passes((30, 10), (0, 0), (0, 0)))
        total = reading.headline.total
        assert (total.value, total.status) == (40, Status.BOUNDED)
        assert total.upper > 40 - 1e-9
        assert reading.refusal == ""

    def test_uneven_effort_over_three_passes_is_read_by_effort(self):
        reading = read_survey(passes((40, 12), (30, 8), (12, 4), efforts=[1, 2, 1]))
        assert (reading.headline.method, reading.headline.variant) == ("catch-effort", "leslie")
        assert "efforts differ" in reading.form_sentence
        assert reading.reading("removal", "carle-strub").total.value > 0

    def test_uneven_effort_over_two_passes_is_refused(self):
        reading = read_survey(passes((40, 12), (20, 8), efforts=[2, 1]))
        assert reading.headline.method == "removal"
        assert "efforts were 2, 1" in reading.refusal

    def test_effort_within_a_tenth_is_alike(self):
        reading = read_survey(passes((40, 12), (20, 6), (9, 3), efforts=[10, 11, 10]))
        assert reading.headline.method == "removal"
        assert held(reading, "equal-effort").holds

    def test_effort_not_noted_cannot_be_told(self):
        assert held(read_survey(passes((40, 12), (20, 6))), "equal-effort").holds is None

    def test_passes_with_other_gear_are_refused(self):
        hauls = [haul(40, 10, held_out=True), haul(20, 5, day=1, method="TRAPS")]
        assert "seine, traps" in read_survey(hauls).refusal

    def test_marks_put_on_while_held_out_do_no_harm(self):
        plain = passes((38, 12), (26, 7), (12, 4))
        marked = [
            haul(*catch, marked="all", day=at, held_out=True) for at, catch in enumerate(((38, 12), (26, 7)))
        ]
        assert read_survey([*marked, plain[2]]).headline == read_survey(plain).headline

    def test_the_figures_hold_before_the_first_pass(self):
        assert read_survey(passes((38, 12), (26, 7), (12, 4))).headline.reference == 0

    def test_catch_and_fit_add_up_to_the_catch(self):
        fit = read_survey(passes((38, 0), (26, 0), (12, 0))).headline.fit
        # p from the profile makes the expected total that of the catch, but for the whole number of heads.
        assert sum(fit.expected) == pytest.approx(sum(fit.observed), rel=0.02)
        assert fit.labels == ("Haul 1", "Haul 2", "Haul 3")


class TestDrainDown:
    def test_every_head_was_counted(self):
        reading = read_survey([haul(90, 31, method="DRAIN_DOWN", is_complete=True, caught={JUVENILE: 12})])
        headline = reading.headline
        assert [headline.total.value, headline.total.se, headline.total.lower, headline.total.upper] == [
            121,
            0,
            121,
            121,
        ]
        assert (headline.females.value, headline.males.value, headline.juveniles.value) == (90, 31, 12)
        assert headline.by_sex
        assert (reading.others, reading.refusal) == ((), "")

    def test_an_empty_pond_is_a_count_of_nothing(self):
        reading = read_survey([haul(method="DRAIN_DOWN", is_complete=True)])
        assert (reading.form, reading.headline.total.value, reading.headline.females) == (
            "drain-down",
            0,
            None,
        )

    def test_a_later_drain_down_wins_over_marks(self):
        hauls = [
            haul(40, 20, marked="all"),
            haul(90, 31, seen=(40, 20), day=2, method="DRAIN_DOWN", is_complete=True),
        ]
        reading = read_survey(hauls)
        assert (reading.form, reading.headline.total.value, reading.headline.reference) == (
            "drain-down",
            121,
            -1,
        )
        assert held(reading, "complete").holds
        assert reading.reading("two-sample", "chapman").total.value == 121

    def test_marks_that_were_not_drained_weaken_it(self):
        hauls = [
            haul(40, 20, marked="all"),
            haul(90, 31, seen=(36, 20), day=2, method="DRAIN_DOWN", is_complete=True),
        ]
        reading = read_survey(hauls)
        assert held(reading, "complete").holds is False
        assert "4 of 60" in held(reading, "complete").sentence
        assert reading.headline.total.status is Status.LOW_CONFIDENCE
        assert reading.refusal == ""

    def test_marks_nobody_looked_for_in_a_drain_down_weaken_nothing(self):
        unlooked = {"carrying": {FEMALE: None, MALE: None}}
        hauls = [
            haul(40, 20, marked="all"),
            haul(90, 31, day=2, method="DRAIN_DOWN", is_complete=True, **unlooked),
        ]
        reading = read_survey(hauls)
        assert held(reading, "complete").holds is None
        assert "nobody looked" in held(reading, "complete").sentence
        assert (reading.headline.total.value, reading.headline.total.status) == (121, Status.OK)
        assert [one.method for one in reading.others] == []

    def test_passes_held_out_before_it_are_counted_with_it(self):
        hauls = [haul(40, 20, held_out=True), haul(50, 11, day=1, method="DRAIN_DOWN", is_complete=True)]
        headline = read_survey(hauls).headline
        assert (headline.total.value, headline.females.value, headline.reference) == (121, 90, 0)

    def test_unsexed_are_shared_out_of_the_count(self):
        headline = read_survey(
            [haul(90, 30, method="DRAIN_DOWN", is_complete=True, caught={UNSEXED: 12})]
        ).headline
        assert headline.total.value == 132
        assert headline.females.value == pytest.approx(99)
        assert not headline.by_sex
        # If every unsexed were male, if every one were female.
        assert headline.females.lower >= 90

    def test_a_drain_down_not_complete_is_no_count(self):
        assert read_survey([haul(90, 31, method="DRAIN_DOWN")]).form == "one haul"


class TestAssumptions:
    def test_moves_above_a_twentieth_of_the_estimate_are_fatal(self):
        few = read_survey(marked_pond(), Circumstances(moved_between=20))
        assert held(few, "closed-moves").holds is False
        assert few.refusal == ""
        assert few.headline.total.status is Status.LOW_CONFIDENCE
        many = read_survey(marked_pond(), Circumstances(moved_between=100))
        assert "100 heads came or went" in many.refusal

    def test_more_than_a_fortnight_weakens(self):
        hauls = [haul(300, 100, marked="all"), haul(220, 80, seen=(60, 25), day=15)]
        reading = read_survey(hauls)
        assert held(reading, "closed-days").holds is False
        assert (reading.refusal, reading.headline.total.status) == ("", Status.LOW_CONFIDENCE)
        assert held(read_survey(marked_pond()), "closed-days").holds

    def test_marks_not_looked_at_cannot_be_told(self):
        assert held(read_survey(marked_pond()), "marks-kept").holds is None

    def test_marks_all_kept(self):
        reading = read_survey(marked_pond(), Circumstances(marks_checked=(30, 0, 0)))
        assert held(reading, "marks-kept").holds
        assert reading.headline.total == read_survey(marked_pond()).headline.total

    def test_no_turtle_with_both_marks_left_is_fatal(self):
        reading = read_survey(marked_pond(), Circumstances(marks_checked=(0, 4, 3)))
        assert "nobody can say how many lost both" in reading.refusal

    def test_lost_marks_bring_several_hauls_down_too(self):
        hauls = [
            haul(400, 200, marked="all"),
            haul(250, 180, seen=(60, 50), marked="all", day=1),
            haul(200, 120, seen=(90, 70), day=2),
        ]
        plain = read_survey(hauls).headline
        lossy = read_survey(hauls, Circumstances(marks_checked=(80, 20, 20))).headline
        # Half of the loss of one mark among 100 each: 0.2 x 0.2 lost both.
        assert lossy.total.value == pytest.approx(plain.total.value * 0.96, rel=1e-3)
        assert lossy.total.lower < plain.total.lower


def test_a_reading_is_found_by_method_and_variant():
    reading = read_survey(marked_pond())
    assert reading.reading("two-sample") is reading.headline
    assert reading.reading("two-sample", "bailey") in reading.others
    with pytest.raises(ValueError, match="not read by removal; it was by two-sample chapman"):
        reading.reading("removal")
    with pytest.raises(ValueError, match="none, for its form"):
        SurveyReading("one haul", "", 0).reading("removal")


@pytest.mark.parametrize(
    ("hauls", "message"),
    [
        ([HaulCatch(1, caught={"BOY": 3})], "no class"),
        ([HaulCatch(1, caught={FEMALE: -1})], "below zero"),
        ([HaulCatch(1, caught={FEMALE: 3}, carrying={FEMALE: 4})], "more than the 3 caught"),
        ([HaulCatch(1, caught={FEMALE: None})], "caught, FEMALE"),
        ([HaulCatch(1, caught={FEMALE: 3}, carrying={FEMALE: 2}, newly_marked={FEMALE: 2})], "more than the 3 caught"),
        ([HaulCatch(1, caught={FEMALE: 3}, dead={FEMALE: 4})], "4 dead"),
        ([HaulCatch(1, "NET", caught={FEMALE: 3})], "no method"),
        ([HaulCatch(1, effort=0, caught={FEMALE: 3})], "above 0"),
        ([HaulCatch(2), HaulCatch(1)], "in order"),
    ],
)  # fmt: skip
def test_impossible_numbers_raise_with_a_sentence(hauls, message):
    with pytest.raises(ValueError, match=message):
        read_survey(hauls)
