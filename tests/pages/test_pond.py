"""A pond's page: the book on any day, the last haul beside it, what would mend it, what it should give."""

import datetime as dt
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds import nest_book
from ponds.models import Pond, PondState
from stock import ledger, standing_facts, task_book
from stock.advice import Way, aims_of, season_forecast
from stock.drafts import BatchDraft, PaperDraft
from stock.models import Move, Task
from stock.pond_facts import pond_kinds
from tests.factories import KindFactory
from tests.page_rules import page_faults
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(owner):
    """Pond A with 240 females and 100 males, short of females."""
    farm = FarmOfPonds(owner.user)
    farm.pond("A", females=240, males=100)
    return farm


def shown(client, code="A", **asked):
    response = client.get(reverse("stock:pond-detail", args=[code]), asked)
    assert response.status_code == 200
    assert page_faults(response) == []
    return response


def words(response):
    """Return the page's words, tags and runs of space taken out."""
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text.replace("&#x27;", "'").replace("\u202f", " "))


def part(response, nth=0):
    return response.context["parts"][nth]


def test_it_asks_and_answers_what_stands_there(owner, farm):
    farm.drained("D", females=240, males=100)
    page = words(shown(owner, "D"))
    assert "What stands in pond D?" in page
    assert (
        "Slider: probably 240 females, 100 males, 2.40 : 1; ratio: short of females by the standing." in page
    )


def test_a_pond_never_counted_is_answered_by_the_book(owner, farm):
    farm.pond("N")
    farm.post(("FEMALE", "BOUGHT", "N", 240, {"batch": "B"}), ("MALE", "BOUGHT", "N", 100, {"batch": "B"}),
              batches=(BatchDraft("B", "BOUGHT", farm.ago(1)),))  # fmt: skip
    response = shown(owner, "N")
    assert "Slider: 240 females, 100 males, 2.40 : 1; ratio: short of females by the book." in words(response)
    assert part(response).known is None
    assert "By the book, never counted" in words(response)


def test_how_the_standing_is_known_adds_up(owner, farm):
    farm.post(("FEMALE", "A", "SOLD", 40), ("FEMALE", "A", "DIED", 3, {"cause": "BITES"}), days=100)
    response = shown(owner)
    lines = part(response).known.lines
    counted, moved, died, unseen, rest, stands, book, _ = lines
    assert (counted.females, moved.females, died.females, book.females) == (240, -40, -3, 197)
    assert unseen.females < 0
    total = sum(line.females for line in (counted, moved, died, unseen, rest))
    assert total == pytest.approx(stands.females)
    page = words(response)
    assert "How this is known" in page
    assert "The ratio fell from 2.40 : 1 at the count to" in page
    assert "given without a plus-or-minus" in page
    assert reverse("stock:count-list") in response.content.decode()


def test_the_book_ratio_says_when_it_was_counted_and_has_no_interval(owner, farm):
    page = words(shown(owner))
    counted = farm.ago(300)
    assert f"By the book, last counted {counted.day} {counted:%b %Y} (seined)" in page
    assert "without an interval" in page


def test_the_last_haul_stands_beside_it_with_its_limits_and_what_would_settle_it(owner, farm):
    farm.haul("A", 75, 25, days=12)
    page = words(shown(owner))
    # Wilson's 95 % limits of 75 of 100: 1.9 to 4.7 to 1 (Newcombe 1998, method 3).
    assert "3.00 : 1 1.9 to 4.7 : 1" in page
    # Of 340 standing: se of the share 0.0364, so P(in band) is 0.81 (Cochran 1977, section 3.6; normal tables).
    assert "Alone it says: in band." in page
    farm.haul("A", 30, 10, days=5)
    assert "not known well enough; sex about" in words(shown(owner))


def test_both_remedies_to_target_and_to_band_are_a_tap_from_a_task(owner, farm):
    farm.drained("D", females=240, males=100)
    # 240 : 100. To 3.0: add 60 females, or take out 20 males. To 2.5: add 10, or take out 4.
    aims = part(shown(owner, "D")).aims
    assert [[row.way.words for row in aim.ways] for aim in aims] == [
        ["add 60 females", "take out 20 males"],
        ["add 10 females", "take out 4 males"],
    ]
    assert (
        aims[0]
        .ways[1]
        .task_url.startswith(
            f"{reverse('stock:task-add')}?pond=D&verb=TAKE_OUT&kind=slider&of_class=MALE&heads=20&why="
        )
    )
    response = owner.get(aims[0].ways[1].task_url)
    assert response.status_code == 200
    assert 'value="20"' in response.content.decode()


def test_what_open_tasks_do_already_is_said_and_only_the_rest_is_offered(owner, farm):
    farm.drained("D", females=240, males=100)
    task_book.make(pond=Pond.objects.get(code="D"), verb="ADD", kind=farm.slider, of_class="FEMALE", heads=25,
                   by=owner.user, today=farm.today)  # fmt: skip
    # 265 : 100 once they have come. To 3.0: 35 females more, or floor(265 / 3) = 88 males left, 12 to take out.
    to_target, to_band = part(shown(owner, "D")).aims
    assert [(row.way.words, row.way.decided_words, row.way.heads) for row in to_target.ways] == [
        ("add 60 females", "25 are decided already: 35 more", 35),
        ("take out 20 males", "once the open tasks are done, 12", 12),
    ]
    assert "heads=35&" in to_target.ways[0].task_url
    # Into the band 10 were needed: nothing is offered any more.
    assert [(row.way.decided_words, row.task_url) for row in to_band.ways] == [
        ("decided already (open task)", ""),
        ("not needed once the open tasks are done", ""),
    ]
    page = words(shown(owner, "D"))
    assert "add 60 females : 25 are decided already: 35 more" in page
    assert 'aria-label="Make it a task: add 35 females"' in shown(owner, "D").content.decode()


def test_the_review_offers_only_what_open_tasks_leave(owner, farm):
    farm.drained("D", females=240, males=100)
    review = reverse("stock:review-pond", args=[f"{farm.today:%Y-%m}", "D"])
    assert "heads=60&" in owner.get(review).content.decode()
    task_book.make(pond=Pond.objects.get(code="D"), verb="ADD", kind=farm.slider, of_class="FEMALE", heads=25,
                   by=owner.user, today=farm.today)  # fmt: skip
    page = owner.get(review)
    assert "add 60 females : 25 are decided already: 35 more" in words(page)
    assert "heads=35&" in page.content.decode()
    assert "heads=60&" not in page.content.decode()


def test_every_open_task_counts_however_many_they_are(owner, farm):
    farm.drained("D", females=240, males=100)
    for number in range(25):
        task_book.make(pond=Pond.objects.get(code="D"), verb="ADD", kind=farm.slider, of_class="FEMALE", heads=2,
                       why=f"Load {number}", by=owner.user, today=farm.today)  # fmt: skip
    # 60 females bring 3.0 : 1, and 25 tasks bring 50 of them.
    response = shown(owner, "D")
    assert part(response).aims[0].ways[0].way.decided_words == "50 are decided already: 10 more"
    assert "5 more are open: all tasks of this pond" in words(response)
    assert (
        words(response).count("Add 2 Slider females .") + words(response).count("Add 2 Slider females.") >= 20
    )
    assert "25 open : " in words(response)


def test_an_old_month_takes_off_what_its_tasks_did_since(owner, farm):
    farm.pond("D", females=240, males=100)
    last = farm.today.replace(day=1) - dt.timedelta(days=1)
    review = reverse("stock:review-pond", args=[f"{last:%Y-%m}", "D"])

    def males_out() -> Way:
        return owner.get(review).context["parts"][0].aims[0].ways[1].way

    needed = males_out()
    assert (needed.verb, needed.of_class, needed.decided_words) == ("TAKE_OUT", "MALE", "")
    task = task_book.make(pond=Pond.objects.get(code="D"), verb="TAKE_OUT", kind=farm.slider, of_class="MALE",
                          heads=12, by=owner.user, today=farm.today)  # fmt: skip
    sold = farm.post(("MALE", "D", "SOLD", 8), days=0, pond="D", tasks=(task.pk,))
    # The month is as it was; 8 of the 12 left since and 4 are to follow.
    after = males_out()
    assert after.words == needed.words
    assert after.decided_words == f"8 done since and 4 decided already: {needed.heads - 12} more"
    assert after.heads == needed.heads - 12
    task_book.drop(task, why="Enough", by=owner.user)
    assert males_out().decided_words == f"8 done since: {needed.heads - 8} more"
    ledger.reverse(Move.objects.get(key=sold.key), key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert males_out() == needed


def test_what_was_done_since_is_told_apart_from_what_is_decided(owner, farm):
    farm.drained("D", females=240, males=100)
    one = part(shown(owner, "D")).facts
    added = {("ADD", "FEMALE"): 25}
    said = [[way.decided_words for way in aim.ways] for aim in aims_of(one, done=added)]
    assert said == [
        ["25 done since: 35 more", "with what was done since, 12"],
        ["done since", "not needed with what was done since"],
    ]
    both = aims_of(one, {("TAKE_OUT", "MALE"): 5}, added)
    # 265 : 95 then: 20 more females, or floor(265 / 3) = 88 males.
    assert [way.decided_words for way in both[0].ways] == [
        "25 done since: 20 more",
        "5 are decided already: 7 more",
    ]


def test_males_that_are_decided_to_leave_first_are_said(owner, farm):
    farm.drained("B", females=300, males=300)
    task_book.make(pond=Pond.objects.get(code="B"), verb="TAKE_OUT", kind=farm.slider, of_class="MALE", heads=80,
                   by=owner.user, today=farm.today)  # fmt: skip
    # 300 females keep 200 males at 1.5 : 1: of the 100 to leave 80 are decided.
    assert "100 males leave first, before any female comes. 80 are decided already: 20 more." in words(
        shown(owner, "B")
    )


def test_a_remedy_beyond_the_head_limit_says_how_many_fit(owner, farm):
    # 600 : 300 in a limit of 1000: 300 more females bring 3.0 : 1, and 100 fit.
    farm.drained("B", females=600, males=300)
    page = words(shown(owner, "B"))
    assert "add 300 females (only 100 fit under the limit of 1 000)" in page
    assert "Below 1.5 : 1" not in page


def test_below_one_and_a_half_to_one_males_leave_first(owner, farm):
    # 300 females keep 200 males at 1.5 : 1, so 100 leave.
    farm.drained("B", females=300, males=300)
    assert "Below 1.5 : 1 the males injure the females: 100 males leave first" in words(shown(owner, "B"))


def test_only_an_owner_decides(hand, reader, farm):
    farm.drained("D", females=240, males=100)
    for client in (hand, reader):
        response = shown(client, "D")
        assert all(row.task_url == "" for aim in part(response).aims for row in aim.ways)
        assert "add 60 females" in words(response)
    assert reverse("stock:log") not in shown(reader).content.decode()


def test_handling_is_cautioned_and_a_protected_kind_asks_for_the_authorities(owner, farm):
    snapper = KindFactory(code="snapper", common_name="Snapper", listing="CITES App. II")
    farm.pond("S", kind=snapper, females=20, males=30)
    page = words(shown(owner, "S"))
    assert "held under drown" in page
    assert "Salmonella" in page
    assert "CITES App. II" in page
    assert "confirm with the authorities" in page
    assert "confirm with the authorities" not in words(shown(owner, "A"))


def test_the_season_comes_low_expected_and_high_with_its_arithmetic_and_sources(owner, farm):
    found = part(shown(owner)).forecast
    # 240 settled females x 70 % laying x 2 nests x 9 eggs, by hand.
    assert "240.0 settled females × 70 % × 2 × 9 = 3024 eggs." in found.arithmetic
    nests, eggs, hatched = found.yields
    assert nests.low < nests.expected < nests.high
    assert eggs.low < 3024 < eggs.high
    # Extremes multiplied would give 240 x 0.4 x 1 x 6.5 = 624 and 240 x 0.95 x 3.5 x 11 = 8778.
    assert 624 < eggs.low < eggs.high < 8778
    assert hatched.expected < eggs.expected
    assert {row.source for row in found.figures} == {"assumption"}


def test_the_same_heads_give_the_same_forecast_every_time(farm):
    (one,) = pond_kinds(farm.today)
    assert season_forecast(one) == season_forecast(one)


def test_juveniles_never_lay_and_the_unsexed_are_named_as_left_out(owner, farm):
    before = part(shown(owner)).forecast.yields
    farm.post(("JUVENILE", "RAISED", "A", 500, {"batch": "J"}), ("UNSEXED", "RAISED", "A", 30, {"batch": "J"}),
              batches=(BatchDraft("J", "RAISED", farm.ago(1)),))  # fmt: skip
    after = part(shown(owner)).forecast
    assert after.yields == before
    assert any("30 unsexed" in caution for caution in after.cautions)


def test_without_males_it_says_so_and_never_infinity(owner, farm):
    farm.post(("MALE", "A", "SOLD", 100))
    page = words(shown(owner))
    assert "no males" in page
    assert "stored sperm" in page
    assert not re.search(r"\binf(inity)?\b", page)


def test_a_kind_without_figures_says_which_are_missing(owner, farm):
    bare = KindFactory(code="bare", common_name="Bare", figures=False)
    farm.pond("B", kind=bare, females=20, males=5)
    assert "no figure for Share of females laying" in words(shown(owner, "B"))


def test_the_nest_book_of_the_season_stands_beside_the_forecast(owner, farm):
    from ponds.models import Pond

    pond = Pond.objects.get(code="A")
    season = part(shown(owner)).facts.season
    day = max(season.starts_on, farm.ago(2))
    for kind, nests, eggs in ((farm.slider, 7, 60), (None, 3, None)):
        nest_book.record(
            key=uuid.uuid4(), pond=pond, kind=kind, dug_on=day, nests=nests, eggs=eggs, today=farm.today
        )
    response = shown(owner)
    assert (part(response).nests.nests, part(response).nests.eggs) == (7, 60)
    assert "3 more nests are booked here without a kind" in words(response)


def test_any_day_can_be_looked_at(owner, farm):
    farm.post(("FEMALE", "A", "SOLD", 40), days=10)
    response = shown(owner, on=str(farm.ago(11)))
    assert part(response).facts.heads.females == 240
    assert "What stood in pond A" in words(response)
    assert part(shown(owner, on=str(farm.ago(10)))).facts.heads.females == 200
    # A past day is for looking: nothing is decided from it.
    assert all(row.task_url == "" for aim in part(response).aims for row in aim.ways)


@pytest.mark.parametrize(
    ("on", "sentence"),
    [
        ("31/12/2025", "This is not a day. Write it as year-month-day"),
        ("2999-01-01", "is still to come"),
        ("1999-01-01", "The pond opened on 1 Jan 2015"),
    ],
)
def test_a_day_that_cannot_be_says_why_and_shows_today(owner, farm, on, sentence):
    response = shown(owner, on=on)
    assert sentence in words(response)
    assert on in response.content.decode()
    assert part(response).facts.heads.females == 240


def test_head_limit_counts_every_kind_by_its_space(owner, farm):
    from ponds.models import Pond

    snapper = KindFactory(code="snapper", common_name="Snapper", space_a_head=3)
    Pond.objects.get(code="A").kinds_allowed.add(snapper)
    farm.opening("A", kind="snapper", juveniles=300)
    page = words(shown(owner))
    # 340 sliders and 300 snappers of 3: 1240 of 1000.
    assert "640 heads, 1 240 weighed by space, of a limit of 1 000: 240 too many." in page


def test_deaths_come_by_class_and_cause_with_garwoods_limits(owner, farm):
    farm.post(
        ("FEMALE", "A", "DIED", 3, {"cause": "BITES"}), ("MALE", "A", "DIED", 2, {"cause": "NOT_KNOWN"})
    )
    response = shown(owner)
    table = part(response).deaths
    assert [(cause, heads.females, heads.males) for cause, heads in table.causes] == [
        ("bites", 3, 0),
        ("not known", 0, 2),
    ]
    # Garwood's 95 % limits of 5 are 1.62 to 11.67 (Garwood 1936, table).
    assert "limits 1.6 to 11.7" in words(response)


def test_origins_say_at_least_and_at_most_and_what_is_not_papered(owner, farm):
    paper = PaperDraft(document="Invoice 118")
    farm.post(("FEMALE", "BOUGHT", "A", 60, {"batch": "MARSH"}), days=20,
              batches=(BatchDraft("MARSH", "BOUGHT", farm.ago(20), party="Marsh Road", paper=paper),))  # fmt: skip
    farm.post(("FEMALE", "BOUGHT", "A", 20, {"batch": "HERON"}), days=19,
              batches=(BatchDraft("HERON", "BOUGHT", farm.ago(19)),))  # fmt: skip
    farm.post(("FEMALE", "A", "SOLD", 32), days=5)
    found = {row.batch: row for row in part(shown(owner)).origins}
    # 32 of 320 females leave, a tenth of each batch: 54 of 60 expected, between 60 - 32 and 60.
    assert (round(found["MARSH"].expected, 6), found["MARSH"].at_least, found["MARSH"].at_most) == (
        54.0,
        28,
        60,
    )
    assert found["MARSH"].papers == "Invoice 118"
    assert found["HERON"].papers == "not papered yet"
    assert found["OPEN-A-slider"].papers == "not known, before the register"


def test_its_moves_hauls_and_tasks_are_listed_with_a_way_to_log(owner, farm):
    from ponds.models import Pond

    receipt = farm.haul("A", 30, 12, lines=[("MALE", "A", "SOLD", 4)])
    task = Task.objects.create(
        pond=Pond.objects.get(code="A"), verb="TAKE_OUT", kind=farm.slider, of_class="MALE", heads=20,
        decided_on=farm.ago(3), by_name="wren",
    )  # fmt: skip
    response = shown(owner)
    page = response.content.decode()
    assert "42 caught: 4 Slider males sold from A" in words(response)
    assert reverse("stock:move-detail", args=[receipt.key]) in page
    assert "Take out 20 Slider males" in words(response)
    assert f"{reverse('stock:log')}?pond=A&amp;task={task.pk}" in page


def test_quarantine_is_said_at_the_top_and_kept_in_the_history(owner, farm):
    pond = farm.pond("Q", females=30, males=10)
    ends_on = farm.today + dt.timedelta(days=9)
    PondState.objects.create(
        pond=pond, from_on=farm.ago(5), state="QUARANTINE", ends_on=ends_on, note="new stock"
    )
    page = words(shown(owner, "Q"))
    assert "In quarantine since" in page
    assert "new stock" in page


def test_the_drawn_history_holds_the_months_of_three_years_at_most(owner, farm):
    farm.pond("B", days=1500, females=100, males=30)
    chart = part(shown(owner, "B")).history
    assert len(chart.rows) == 36
    assert chart.rows[-1][1:] == ("100", "30")


def test_a_pond_that_nobody_sexed_is_not_called_empty(owner, farm):
    farm.pond("U", unsexed=80, juveniles=20)
    response = shown(owner, "U")
    assert "none sexed yet" in words(response)
    assert "By the book empty" not in words(response)
    assert part(response).history.columns == ("When", "Unsexed, heads")


def test_ponds_lead_to_the_one_before_and_after(owner, farm):
    for code in ("B", "AA"):
        farm.pond(code)
    page = shown(owner, "B").content.decode()
    assert f'rel="prev" href="{reverse("stock:pond-detail", args=["A"])}"' in page
    assert f'rel="next" href="{reverse("stock:pond-detail", args=["AA"])}"' in page


@pytest.mark.parametrize(("code", "said"), [("ZZZ", "There is no pond ZZZ"), ("a", "you may mean")])
def test_an_unknown_pond_is_a_404_with_a_sentence(owner, farm, code, said):
    response = owner.get(reverse("stock:pond-detail", args=[code]))
    assert response.status_code == 404
    assert page_faults(response) == []
    assert said in words(response)


def test_a_pond_without_kinds_still_has_a_page(owner):
    from tests.factories import PondFactory

    PondFactory(code="A")
    assert "Nothing, by the book." in words(shown(owner))


def test_the_queries_are_few_and_do_not_grow(owner, farm):
    farm.haul("A", 30, 12, days=280)
    standing_facts.forget()
    with CaptureQueriesContext(connection) as few:
        shown(owner)
    for number in range(30):
        farm.post(("FEMALE", "A", "DIED", 1, {"cause": "BITES"}), days=200 - number)
        farm.haul("A", 30, 12, days=100 - number, lines=[("MALE", "A", "SOLD", 1)])
    for number in range(20):
        farm.pond(f"B{chr(65 + number)}", females=30, males=10)
    standing_facts.forget()
    with CaptureQueriesContext(connection) as many:
        shown(owner)
    assert len(many) == len(few)
    # Three are the printed year's; ten those of the watch and the season, kept until anything changes.
    assert len(many) <= 44
