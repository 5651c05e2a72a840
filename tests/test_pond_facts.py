"""What is gathered of every pond and kind, and at what cost. Heads only ever come through the ledger."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.models import Kind, PondState
from stock import ledger, standing_facts
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line
from stock.models import Move
from stock.pond_facts import pond_kinds
from stock.pond_kind import haul_verdict
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db

OPENED = dt.date(2023, 3, 1)
TODAY = dt.date(2026, 6, 30)
JUNE = dt.date(2026, 6, 10)


@pytest.fixture
def farm(make_person):
    """Two ponds of sliders with 300 females and 100 males each, and an owner."""
    slider = KindFactory(code="slider", common_name="Slider")
    by = make_person("owner", "wren")
    for code in ("A", "B"):
        PondFactory(code=code, kinds=[slider], head_limit=500)
        opening(by, code, females=300, males=100)
    return by


def opening(by, pond, *, kind="slider", day=OPENED, **heads):
    classes = {"females": "FEMALE", "males": "MALE", "unsexed": "UNSEXED", "juveniles": "JUVENILE"}
    draft = ledger.opening_draft(
        pond=pond,
        kind=kind,
        day=day,
        heads={classes[name]: number for name, number in heads.items()},
        how_known="SEINED",
        batch=BatchDraft(f"OPEN-{pond}-{kind}", "OPENING", day),
        key=uuid.uuid4(),
    )
    return ledger.record(draft, by=by, today=TODAY)


def post(by, *lines, on=JUNE, **more):
    draft = Draft(
        key=uuid.uuid4(),
        happened_on=on,
        lines=tuple(Line("slider", *line[:4], **(line[4] if len(line) > 4 else {})) for line in lines),
        **more,
    )
    return ledger.record(draft, by=by, today=TODAY)


def haul(by, pond, females, males, unsexed=0, on=JUNE, lines=(), **more):
    caught = (("FEMALE", females), ("MALE", males), ("UNSEXED", unsexed))
    catch = tuple(CatchLine("slider", of_class, number) for of_class, number in caught if number)
    return post(by, *lines, on=on, pond=pond, haul=HaulDraft("SEINE", catch, **more))


def never_counted(by, code="N", females=300, males=100):
    """Make a pond whose heads were all bought: the book speaks for it."""
    PondFactory(code=code, kinds=[Kind.objects.get(code="slider")], head_limit=500)
    batch = f"BUY-{code}"
    post(by, ("FEMALE", "BOUGHT", code, females, {"batch": batch}), ("MALE", "BOUGHT", code, males, {"batch": batch}),
         on=OPENED, batches=(BatchDraft(batch, "BOUGHT", OPENED),))  # fmt: skip


def of_pond(code, day=TODAY):
    (found,) = [facts for facts in pond_kinds(day) if facts.pond_code == code]
    return found


def codes(facts):
    return [concern.code for concern in facts.concerns]


def test_the_book_ratio_is_arithmetic_without_an_interval(farm):
    never_counted(farm)
    facts = of_pond("N")
    assert (facts.word, facts.verdict.ratio, facts.verdict.lower) == ("in band", 3.0, None)
    assert (facts.standing, facts.basis) == (None, "by the book, never counted")
    facts = of_pond("A")
    assert (facts.heads.females, facts.heads.males) == (300, 100)
    assert (facts.by_book.verdict, facts.by_book.ratio, facts.by_book.lower) == ("in band", 3.0, None)
    assert (facts.last_count.how_known, facts.last_count.as_of) == ("SEINED", OPENED)


def test_remedies_are_those_of_a_hand_calculation(farm):
    never_counted(farm)
    post(farm, ("FEMALE", "N", "B", 60))
    facts = of_pond("N")
    # 240 : 100. To 3.0: 60 females more, or 20 males fewer (240 / 80). To 2.5: 10 more, or 4 fewer (240 / 96).
    assert facts.word == "short of females"
    assert (facts.verdict.to_target.females_to_add, facts.verdict.to_target.males_to_remove) == (60, 20)
    assert (facts.verdict.to_band.females_to_add, facts.verdict.to_band.males_to_remove) == (10, 4)
    assert codes(facts) == ["short-of-females"]


def test_the_last_sexed_haul_stands_beside_the_book_with_wilsons_interval(farm):
    haul(farm, "A", 30, 10, on=JUNE - dt.timedelta(days=3))
    haul(farm, "A", 75, 25, unsexed=5)
    found = of_pond("A").last_haul
    assert (found.females, found.males, found.unsexed, found.day) == (75, 25, 5, JUNE)
    # Wilson's 95 % limits of 75 of 100 are 0.657 to 0.825 (Newcombe 1998, method 3): 1.9 to 4.7 to 1.
    assert (round(found.ratio.lower, 1), round(found.ratio.upper, 1)) == (1.9, 4.7)


def test_a_reversed_haul_gives_way_to_the_one_before(farm):
    haul(farm, "A", 30, 10, on=JUNE - dt.timedelta(days=3))
    receipt = haul(farm, "A", 75, 25)
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    assert of_pond("A").last_haul.females == 30
    assert of_pond("B").last_haul is None


def test_a_small_haul_leaves_the_ratio_unsettled_and_says_how_many_more_to_sex(farm):
    never_counted(farm)
    haul(farm, "N", 30, 10)
    facts = of_pond("N")
    assert facts.seine_verdict.verdict == "not known well enough"
    assert 40 < facts.sex_more <= 400
    assert codes(facts) == ["unsettled"]
    assert f"Sex about {facts.sex_more} more" in facts.concerns[0].sentence


def test_at_the_edge_of_the_band_nearly_all_that_stand_there_must_be_sexed(farm):
    # 27 of 38 is a share of 0.711; the band begins at 0.714. 400 stand there, so 362 are left to sex.
    never_counted(farm)
    haul(farm, "N", 27, 11)
    facts = of_pond("N")
    assert 300 < facts.sex_more <= 362
    assert f"Sex about {facts.sex_more} more" in facts.concerns[0].sentence


def test_a_haul_that_contradicts_the_book_is_unsettled(farm):
    never_counted(farm)
    haul(farm, "N", 50, 50)
    facts = of_pond("N")
    assert (facts.word, facts.seine_verdict.verdict) == ("in band", "short of females")
    assert codes(facts) == ["unsettled"]


def test_what_moved_since_a_haul_is_counted_in_before_it_contradicts_the_book(farm):
    never_counted(farm)
    haul(farm, "N", 150, 50)
    post(farm, ("MALE", "N", "SOLD", 60), on=JUNE + dt.timedelta(days=1))
    facts = of_pond("N")
    assert (facts.last_haul.females_since, facts.last_haul.males_since) == (0, -60)
    # The haul scales to 300 : 100 of 400 heads; less 60 males that is 300 : 40, as the book has it.
    assert (facts.word, facts.seine_verdict.verdict) == ("short of males", "in band")
    assert facts.seine_today.ratio == 7.5
    assert codes(facts) == ["short-of-males"]


def test_what_left_out_of_the_haul_itself_counts_as_gone_since(farm):
    haul(farm, "A", 50, 50, lines=[("MALE", "A", "SOLD", 30)])
    assert (of_pond("A").last_haul.females_since, of_pond("A").last_haul.males_since) == (0, -30)


def test_the_haul_alone_errs_as_a_binomial_share():
    # 80 of 100 sexed, of very many: se of the share = sqrt(0.8 x 0.2 / 100) = 0.04; P(ratio < 2.5) is
    # P(share < 5/7) = Phi((5/7 - 0.8) / 0.04) = Phi(-2.143) = 0.0161, P(ratio > 4.5) is
    # P(share > 9/11) = 1 - Phi(0.4545) = 0.3247 (tables of the normal distribution).
    found = haul_verdict(80, 20, standing=1_000_000, target=3.0, band=(2.5, 4.5))
    assert (round(found.p_below, 3), round(found.p_above, 3)) == (0.016, 0.325)
    assert found.verdict == "not known well enough"


def test_a_haul_of_much_of_the_pond_errs_less():
    # Cochran 1977, section 3.6: the variance is that of very many times 1 - n / N. 80 of 100 sexed of 400:
    # se = 0.04 sqrt(0.75) = 0.034641; Phi(-0.085714 / 0.034641) = Phi(-2.4744) = 0.0067,
    # 1 - Phi(0.018182 / 0.034641) = 1 - Phi(0.5249) = 0.2998 (tables of the normal distribution).
    found = haul_verdict(80, 20, standing=400, target=3.0, band=(2.5, 4.5))
    assert (round(found.p_below, 3), round(found.p_above, 3)) == (0.007, 0.300)
    # 95 of 100 sexed leave 5 unknown: at worst 72 to 28 or 77 to 23, 2.6 to 3.3 to 1.
    assert haul_verdict(72, 23, standing=100, target=3.0, band=(2.5, 4.5)).verdict == "in band"
    assert (
        haul_verdict(72, 23, standing=1_000, target=3.0, band=(2.5, 4.5)).verdict == "not known well enough"
    )


def test_one_sex_alone_in_a_small_haul_does_not_prove_that_the_other_is_missing():
    assert haul_verdict(5, 0, standing=400, target=3.0, band=(2.5, 4.5)).verdict != "no males"
    assert haul_verdict(5, 0, standing=5, target=3.0, band=(2.5, 4.5), is_complete=True).verdict == "no males"


def test_a_haul_takes_no_side_where_too_few_were_sexed_or_one_sex_alone_leaves_the_band_open():
    def word(females, males):
        return haul_verdict(females, males, standing=400, target=3.0, band=(2.5, 4.5)).verdict

    # Wilson's lower limit of n of n is n / (n + 1.96^2): 5 of 5 leaves 1.3 : 1, 18 of 18 leaves 4.7 : 1.
    assert (word(5, 0), word(17, 0), word(18, 0)) == (
        "not known well enough",
        "not known well enough",
        "short of males",
    )
    assert (word(3, 26), word(3, 27)) == ("not known well enough", "short of females")


def test_a_class_left_empty_was_not_looked_for_and_a_0_was(farm):
    day = JUNE - dt.timedelta(days=3)
    haul(farm, "A", 75, 25, on=day)
    haul(farm, "A", 40, 0)  # the test's haul writes no line for none: nobody looked for males
    assert of_pond("A").last_haul.day == day
    catch = (CatchLine("slider", "FEMALE", 40), CatchLine("slider", "MALE", 0))
    post(farm, on=JUNE, pond="A", haul=HaulDraft("SEINE", catch))
    found = of_pond("A")
    assert (found.last_haul.day, found.last_haul.females, found.last_haul.males) == (JUNE, 40, 0)
    assert found.seine_verdict.verdict == "short of males"


def test_the_verdict_is_the_standings_where_females_and_males_were_counted(farm):
    facts = of_pond("A")
    # Three years of losses behind, and a count of plus or minus a tenth: near 3 to 1 still, and fewer than the book.
    assert facts.basis == "by the standing: counted 1 Mar 2023 (seined), 3 years 3 months ago"
    assert facts.standing.females < 300
    assert facts.females_now == round(facts.standing.females)
    low, high = facts.standing.ratio_limits
    assert low < facts.verdict.ratio < high
    assert 2.5 < facts.verdict.ratio < 3.5


def test_a_sexed_haul_moves_the_standing_and_leaves_the_book(farm):
    before = of_pond("A").standing
    haul(farm, "A", 100, 100)
    facts = of_pond("A")
    # Half and half in the net pulls the ratio down; not all the way, for the sexes may be caught unequally.
    assert 1.5 < facts.standing.ratio < before.ratio - 0.3
    assert facts.standing.females + facts.standing.males == pytest.approx(
        before.females + before.males, rel=0.1
    )
    assert facts.standing.hauls == 1
    assert facts.by_book.ratio == 3.0
    assert facts.word == "not known well enough"
    assert codes(facts) == ["unsettled"]
    assert "The standing says" in facts.concerns[0].sentence


def test_a_standing_too_wide_for_a_verdict_says_how_many_to_sex(farm):
    count = CountDraft(
        "A", "slider", TODAY, "SEINED", females=180.0, females_se=15.0, males=75.0, males_se=7.0
    )
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY)
    facts = of_pond("A")
    assert facts.verdict.p_in < 0.8
    assert facts.word == "not known well enough"
    assert 0 < facts.sex_more_for_standing <= round(facts.standing.females + facts.standing.males)
    assert f"Sex about {facts.sex_more_for_standing} more" in facts.concerns[0].sentence


def test_where_all_males_were_taken_out_the_book_says_so_and_not_the_rest_of_a_counts_error(farm):
    post(farm, ("MALE", "A", "SOLD", 100))
    facts = of_pond("A")
    assert (facts.word, facts.standing) == ("no males", None)


def test_juveniles_take_room_and_stay_out_of_the_ratio(farm):
    snapper = KindFactory(code="snapper", common_name="Snapper", space_a_head=2.5)
    PondFactory(code="C", kinds=[snapper], head_limit=100)
    opening(farm, "C", kind="snapper", juveniles=30)
    facts = of_pond("C")
    assert (facts.word, facts.verdict.ratio) == ("juveniles only", None)
    assert (facts.head_use, facts.head_room) == (75.0, 25.0)
    assert facts.concerns == ()


def test_no_males_is_said_in_words_and_comes_first(farm):
    never_counted(farm)
    post(farm, ("MALE", "N", "SOLD", 100))
    worst = min(pond_kinds(TODAY), key=lambda facts: facts.rank)
    assert (worst.pond_code, worst.word, worst.verdict.ratio, worst.rank) == ("N", "no males", None, 0)


def test_below_one_and_a_half_and_few_males_are_concerns(farm):
    post(farm, ("FEMALE", "A", "B", 160), ("MALE", "B", "SOLD", 85))
    assert codes(of_pond("A")) == ["too-many-males", "short-of-females"]
    assert codes(of_pond("B")) == ["short-of-males", "few-males"]


def test_deaths_and_head_days_tell_a_pond_that_loses_heads(farm):
    post(farm, ("FEMALE", "A", "DIED", 60, {"cause": "BITES"}), ("JUVENILE", "BOUGHT", "A", 5, {"batch": "J"}),
         batches=(BatchDraft("J", "BOUGHT", JUNE),))  # fmt: skip
    post(farm, ("JUVENILE", "A", "DIED", 5, {"cause": "PREDATOR"}))
    facts = of_pond("A")
    assert (facts.deaths.females, facts.deaths.juveniles) == (60, 5)
    # 400 heads for eleven months; June counts the mean of 400 and 340 for each of its 30 days.
    assert facts.head_days == 400 * 335 + 370 * 30
    assert facts.losing.deaths == 60
    # 0.90 a year: -ln 0.90 x head-days / 365.25 deaths are allowed.
    assert facts.losing.expected == pytest.approx(0.1053605 * facts.head_days / 365.25)
    assert "losing-heads" in codes(facts)
    assert of_pond("B").losing.is_losing is False


def test_new_females_count_less_until_they_have_settled(farm):
    batch = BatchDraft("NEW", "BOUGHT", dt.date(2025, 10, 1))
    post(farm, ("FEMALE", "BOUGHT", "A", 50, {"batch": "NEW"}), on=dt.date(2025, 10, 1), batches=(batch,))
    # Opening stock counts whole; bought in season 2026, hers is the first season: 0.4 (an assumption).
    assert of_pond("A").settled_females == pytest.approx(300 + 0.4 * 50)
    assert of_pond("A", dt.date(2025, 8, 31)).settled_females == pytest.approx(300)


def test_the_latest_state_and_count_hold(farm):
    pond = of_pond("A").pond_id
    PondState.objects.create(pond_id=pond, from_on=JUNE, state="QUARANTINE", ends_on=TODAY)
    count = CountDraft(
        "A", "slider", JUNE, "DRAINED", females=290.0, females_se=0.0, males=99.0, males_se=0.0
    )
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY)
    facts = of_pond("A")
    assert (facts.use.words, facts.use.ends_on) == ("quarantine", TODAY)
    assert (facts.last_count.how_known, facts.last_count.age_days) == ("DRAINED", 20)
    assert of_pond("A", JUNE - dt.timedelta(days=1)).use.words == "in use"


def test_any_day_can_be_asked(farm):
    post(farm, ("FEMALE", "A", "B", 60))
    assert of_pond("A", JUNE - dt.timedelta(days=1)).heads.females == 300
    assert of_pond("A", JUNE).heads.females == 240


def test_an_empty_pond_is_empty_and_not_without_males(farm):
    PondFactory(code="D", kinds=list({facts.kind_id for facts in pond_kinds(TODAY)}))
    facts = of_pond("D")
    assert (facts.word, facts.concerns) == ("empty", ())
    assert facts.rank > of_pond("A").rank


def queries_of_pond_kinds():
    standing_facts.forget()
    with CaptureQueriesContext(connection) as queries:
        pond_kinds(TODAY)
    return len(queries)


def test_the_same_queries_at_three_ponds_and_at_sixty_after_three_years_of_moves(farm):
    slider = [facts.kind_id for facts in pond_kinds(TODAY)][:1]
    PondFactory(code="C", kinds=slider)
    opening(farm, "C", females=90, males=30)
    haul(farm, "C", 30, 12)
    at_three = queries_of_pond_kinds()
    for code in [f"E{letter}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"] + [
        f"F{letter}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    ] + [f"G{letter}" for letter in "ABCDE"]:  # fmt: skip
        PondFactory(code=code, kinds=slider)
        opening(farm, code, females=90, males=30)
        haul(farm, code, 30, 12, on=dt.date(2025, 3, 3))
    for month in range(36):
        on = dt.date(2023 + (3 + month) // 12, (3 + month) % 12 + 1, 7)
        post(farm, ("FEMALE", "A", "B", 2), ("MALE", "B", "A", 1), ("FEMALE", "B", "DIED", 1), on=on)
    assert len(pond_kinds(TODAY)) == 60
    assert queries_of_pond_kinds() == at_three
    assert at_three <= 20
