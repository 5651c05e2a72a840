"""The page that plans the whole farm: what it shows, what it refuses, its sheet, and the tasks it makes."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import uuid
from dataclasses import replace
from html import unescape
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds import nest_book
from ponds.farm import the_farm
from ponds.models import Kind, PondState
from ponds.seasons import season_of
from stock import farm_plan_advice, ledger
from stock.advice import aims_of
from stock.advisor.farm_plan import (
    FEWEST_HEADS,
    MOST_EGGS,
    PONDS_IN_BAND,
    FarmPlan,
    PondStock,
    Stage,
    farm_plan,
)
from stock.drafts import BatchDraft, Draft, Line
from stock.farm_plan_answer import PlanQuestion
from stock.farm_plan_proof import proof
from stock.models import Task
from stock.pond_facts import pond_kinds
from stock.watch_stops import stops_at
from tests.factories import KindFactory, PondFactory
from tests.pages.farm_of_ponds import FarmOfPonds
from tests.pages.test_new_females import stand

pytestmark = pytest.mark.django_db
URL, TASKS = "/plan/", "/plan/tasks/"


@pytest.fixture
def farm(owner):
    """Sliders short of females in A, in band in B and C; D is in quarantine and E rests, both out of band."""
    slider = KindFactory(code="slider", common_name="Slider")
    today = the_farm().today()
    ponds = {code: PondFactory(code=code, head_limit=600, kinds=[slider]) for code in "ABCDE"}
    for code, females, males in (
        ("A", 240, 100), ("B", 400, 100), ("C", 300, 100), ("D", 30, 40), ("E", 10, 40),
    ):  # fmt: skip
        stand(ponds[code], slider, owner.user, FEMALE=females, MALE=males)
    for code, state in (("D", "QUARANTINE"), ("E", "RESTING")):
        PondState.objects.create(pond=ponds[code], from_on=today - dt.timedelta(days=9), state=state,
                                 ends_on=today + dt.timedelta(days=30))  # fmt: skip
    return ponds


def words(response):
    return " ".join(unescape(response.content.decode()).split())


def ask(client, **asked):
    return client.get(URL, {"kind": "every", "aim": "heads", "seconds": "20"} | asked)


def test_it_asks_first_and_computes_nothing(reader, farm):
    page = reader.get(URL)
    assert "Which moves bring every pond into band?" in words(page)
    assert "answer" not in page.context
    assert "Look for at most" in words(page)


def test_the_answer_has_moves_ponds_proof_and_what_is_not_met(owner, farm):
    page = ask(owner)
    answer = page.context["answer"]
    # A lacks 10 females, or has 4 males too many: B and C take four males with least handling.
    assert answer.plan.handled == 4
    assert [(m.source, m.of_class, m.heads) for m in answer.moves] == [("A", "MALE", 4)]
    text = words(page)
    for told in (
        "4 heads handled at 2 ponds bring 1 of 3 ponds that are out of band into it.",
        "A is short of females: 2.40 : 1 becomes 2.50 : 1.",
        "is in band and has room for them",
        "Short of females at 0.75 : 1: 70 females more or 28 males fewer would do (the band begins at 2.5).",
        "In quarantine, due to end on",
        "Resting: it is left as it is until it is put back in use.",
        "comes into band",
        "340 → 336 of 600",
        "Proven: no plan under these rules brings more ponds into band.",
        "Proven: no plan that does as much has fewer heads handled.",
        "of the 20 allowed",
        "4 moved between ponds",
        "A pond at the very edge of its band drifts out again",
        "Ratio, now and after",
    ):
        assert told in text, told


def last_season(farm, owner, **nests):
    """Enter one day's nests of last season for ponds by code."""
    today = the_farm().today()
    day = dt.date(season_of(today).year - 1, 5, 20)
    for code, dug in nests.items():
        nest_book.record(
            key=uuid.uuid4(), pond=farm[code], kind=Kind.objects.get(code="slider"), dug_on=day, nests=dug,
            eggs=9 * dug, today=today, by=owner.user,
        )  # fmt: skip


def test_for_most_eggs_each_pond_counts_what_it_was_learnt_to_give(owner, farm):
    """C's nest book of last season has five times the nests a female of B's: B's females move there."""
    last_season(farm, owner, A=60, B=60, C=450)
    page = ask(owner, aim="eggs")
    answer = page.context["answer"]
    after = {pond.code: (pond.females, pond.males) for pond in answer.ponds}
    # C has room for 200 and its band ends at 450 : 100; no pond in band leaves it, none is moved into D or E.
    assert after["C"][0] > 400
    assert sum(after["C"]) <= 600
    assert after["C"][0] <= 4.5 * after["C"][1]
    assert (after["D"], after["E"]) == ((30, 40), (10, 40))
    assert all(2.5 * after[code][1] <= after[code][0] <= 4.5 * after[code][1] for code in "ABC")
    assert answer.plan.is_proven
    # The figures are those that New females go by, to the last bit.
    advice = owner.get("/new-females/", {"heads": "10", "kind": "slider"}).context["advice"]
    placed = {pond.code: pond.yields.a_female for pond in advice.open_ponds}
    learnt = {pond.code: pond.a_female for pond in answer.ponds}
    assert placed == {code: learnt[code] for code in placed}
    assert set(placed) >= {"B", "C"}
    assert learnt["C"] > 2 * learnt["B"]
    # 0.9 alive a year: 3.68559 seasons' worth over five; what a female that comes gives is less.
    came = after["C"][0] - 300
    settling = 0.4 * 0.9 + 0.7 * 0.81 + 0.729 + 0.6561 + 0.59049
    of_c = learnt["C"] * (3.68559 * 300 + settling * came)
    assert answer.plan.eggs_by_place[2] == pytest.approx((learnt["C"] * 3.68559 * 300, of_c))
    low, more, high = answer.gained
    assert low < more < high
    assert more == pytest.approx(sum(b - a for a, b in answer.plan.eggs_by_place))
    text = words(page)
    for told in (
        "By what this farm’s nest book and hatch log taught of each pond (Slider); a moved female settles",
        "more than without any move (90 % limits",
        f"{answer.gained_a_head:.1f} for each head handled",
        "Eggs a female: hatched eggs that a settled female gives in a season in that pond",
        f"{learnt['C']:.1f}</td>",
        "no plan that does as much has more eggs",
    ):
        assert told in text, told


def test_a_head_moved_must_bring_what_is_asked(owner, farm):
    last_season(farm, owner, A=60, B=60, C=450)
    page = ask(owner, aim="eggs", a_head="1000")
    # Only what brings A into band.
    assert page.context["plan"].handled == 4
    text = words(page)
    assert (
        "1000 eggs taken off for each head handled, so that further heads are moved only where they" in text
    )
    assert "(those that a band needs are moved whatever they bring)" in text
    assert "no plan that does as much has more eggs, 1000 eggs taken off for each head handled" in text
    # Five if nothing is typed: less than one a season is not worth a seining. 0 takes any gain.
    assert ask(owner, aim="eggs").context["answer"].question.a_head == 5
    assert ask(owner, aim="eggs", a_head="0").context["answer"].question.a_head == 0
    # For the fewest heads it is not asked.
    assert ask(owner, a_head="1000").context["answer"].question.a_head == 0


def test_without_books_the_kinds_figures_hold_and_have_no_limits(owner, farm):
    page = ask(owner, aim="eggs")
    assert page.context["answer"].gained == (0, 0, 0)
    text = words(page)
    assert (
        "over five seasons, as many as without any move. By the kinds’ expected figures; a moved female"
        in text
    )
    assert "Eggs a female" not in text


def test_where_the_watch_asks_to_stop_moves_nothing_moves(owner):
    """B could give the males that A lacks; the watch asks that nothing leaves it."""
    farm = FarmOfPonds(owner.user)
    for code, males in (("A", 40), ("B", 115), ("C", 70)):
        farm.pond(code, days=420, females=300, males=males)
    for days in range(20, 400, 60):
        farm.post(*(("FEMALE", code, "DIED", 1) for code in "ABC"), days=days)
    before = ask(owner)
    assert {pond.code for pond in before.context["answer"].ponds if pond.is_changed} == {"A", "B"}
    farm.post(("FEMALE", "B", "DIED", 15), days=1)
    page = ask(owner)
    ponds = {pond.code: pond for pond in page.context["answer"].ponds}
    assert not ponds["B"].is_changed
    assert "The watch, pond B:" in words(page)
    assert ponds["B"].left_alone.startswith("The watch: ")
    assert "Stop all moves into the pond and out of it" in ponds["B"].left_alone
    assert "Ponds where the watch asks to stop all moves are left alone here" in words(page)
    # Neither is a task made of the plan shown before.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("stock.views.farm_plan.changes_since", lambda plan, today: [])
        text = words(owner.post(TASKS, sent(before), follow=True))
    assert "No task was made: since this plan was made the watch asks to stop all moves at B." in text
    assert not Task.objects.exists()


def test_ponds_named_are_left_alone_and_the_rest_does_the_work(owner, farm):
    page = ask(owner, leave="b; c")
    assert page.context["answer"].moves == ()
    text = words(page)
    assert "Left as it is, as you asked." not in text.split("What is not met")[0]
    assert "No move can better the 3 ponds out of band under these rules." in text
    assert "It would come into band if males may be sold or if bought females may come." in text


def test_the_print_says_what_was_asked(owner, farm):
    said = '<p class="print-only">'
    assert f"{said}Asked for fewest heads handled, of Slider; no males sold; no females bought.</p>" in words(
        ask(owner)
    )
    page = ask(owner, aim="eggs", a_head="2.5", sell="on", bought="25", leave="C, b")
    assert (
        f"{said}Asked for most eggs, of Slider; 2.5 eggs taken off for each head handled; males may be sold; "
        "25 bought females at most; left alone: B, C.</p>"
    ) in words(page)


def test_selling_and_buying_must_be_allowed(owner, farm):
    page = ask(owner, leave="B, C", sell="on")
    assert [(m.source, m.target, m.heads) for m in page.context["answer"].moves] == [("A", "", 4)]
    assert "sold" in words(page)
    page = ask(owner, leave="B, C", bought="25")
    assert [(m.source, m.target, m.of_class, m.heads) for m in page.context["answer"].moves] == [
        ("", "A", "FEMALE", 10)
    ]
    assert "Move the males first, then the females" in words(page)
    assert "10 females bought" in words(page)
    assert "10 bought females stand 30 to 90 days in quarantine before they join a pond" in words(page)


def test_most_eggs_counts_a_moved_female_as_settling(owner, farm):
    page = ask(owner, aim="eggs")
    plan = page.context["answer"].plan
    # 0.7 x 2 x 9 x 0.8 = 10.08 hatched eggs a season, 0.9 alive a year: 3.68559 seasons' worth over five.
    assert plan.eggs == pytest.approx(980 * 10.08 * 3.68559, rel=1e-6)
    assert plan.handled == 4
    assert "no plan that does as much has more eggs" in words(page)


def test_all_in_band_needs_nothing(owner):
    slider = KindFactory(code="slider", common_name="Slider")
    stand(PondFactory(code="A", kinds=[slider]), slider, owner.user, FEMALE=300, MALE=100)
    page = ask(owner)
    assert "None: every pond is in band as it is." in words(page)
    assert page.context["answer"].in_band_after == 1
    PondFactory(code="B", kinds=[slider])
    page = ask(owner)
    # An empty pond has no ratio: it is not counted as in band.
    assert page.context["answer"].in_band_after == 1
    assert "Without females and males, so in no ratio: B." in words(page)
    assert "Make th" not in words(page)


def test_kinds_not_kept_in_a_pond_are_taken_out_of_it(owner):
    slider = KindFactory(code="slider", common_name="Slider")
    painted = KindFactory(code="painted", common_name="Painted turtle")
    home = PondFactory(code="A", kinds=[slider, painted])
    stand(home, slider, owner.user, FEMALE=300, MALE=100)
    astray = PondFactory(code="B", kinds=[slider, painted])
    stand(astray, slider, owner.user, FEMALE=3)
    astray.kinds_allowed.set([painted])
    page = ask(owner, kind="slider")
    assert [(m.source, m.target, m.heads) for m in page.context["answer"].moves] == [("B", "A", 3)]
    assert "Slider is not kept in B" in words(page)
    assert [pond.code for pond in ask(owner, kind="painted").context["answer"].ponds] == ["A", "B"]


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"kind": "zebra"}, "There is no kind “zebra”"),
        ({"aim": "peace"}, "There is no aim “peace”"),
        ({"seconds": "3600"}, "There is no time “3600”"),
        ({"bought": "-4"}, "-4 is below 0"),
        ({"bought": "20000"}, "20000 is more than 10 000 females; look at the figure."),
        ({"aim": "eggs", "a_head": "-1"}, "-1 is not between 0 and 1000."),
        ({"a_head": "some"}, "some is not a number"),
        ({"bought": "some"}, "“some” is not a whole number"),
        ({"leave": "ZZ, A"}, "There is no pond ZZ in use. Write pond letters with commas between"),
        ({"leave": "x" * 500}, "This has 500 characters"),
    ],
)
def test_bad_input_gets_its_sentence_and_is_kept(owner, farm, asked, sentence):
    page = ask(owner, **asked)
    assert page.status_code == 200
    assert sentence in words(page)
    assert "answer" not in page.context
    for name, value in asked.items():
        assert page.context["form"][name].value() == value


def test_without_ponds_or_figures_it_says_so(owner):
    assert "No pond is kept for this kind" in words(ask(owner))
    bare = KindFactory(code="bare", common_name="Bare", figures=False)
    stand(PondFactory(code="A", kinds=[bare]), bare, owner.user, FEMALE=300, MALE=100)
    assert "Bare has no figure for share of females laying" in words(ask(owner, aim="eggs"))
    assert ask(owner).context["answer"].plan.handled == 0


def test_out_of_time_the_gap_is_said_in_words():
    stages = (Stage(PONDS_IN_BAND, 12, 13, is_proven=False), Stage(FEWEST_HEADS, 120, 112, is_proven=False))
    plan = FarmPlan((), (), (), (), 120, 0, 0, None, (), 120, 112, 8 / 120, stages, 2.0)
    said = " ".join(proof(plan, PlanQuestion((1,))))
    assert "12 ponds come into band; whether all of them could is not proven, at most 13 can." in said
    assert "120 heads handled; no plan can have fewer than 112, so at most 6.7 % could be gained." in said


def spoken(plan, question):
    """Return what is said of how good a plan is, thin spaces within figures as plain ones."""
    return " ".join(" ".join(proof(plan, question)).split())


def three_ponds(a_head):
    """Plan A, B, C, whose females give 10, 20 and 13 eggs wherever they come from; B and C have room for four."""
    stocks = [
        PondStock(code, "slider", females, 20, eggs=(eggs, eggs))
        for code, females, eggs in (("A", 80, 10.0), ("B", 70, 20.0), ("C", 70, 13.0))
    ]
    question = PlanQuestion((1,), MOST_EGGS, a_head=a_head)
    plan = farm_plan(
        stocks, room={"B": 4, "C": 4}, aim=MOST_EGGS, eggs_a_head=question.eggs_a_head, fewest_males=20
    )
    return plan, spoken(plan, question)


def test_what_is_proven_of_eggs_is_said_of_eggs_less_those_taken_off():
    """Moving four heads brings 40 eggs; eight would bring 52: 6.5 for each head, but 3 for each further one."""
    plan, said = three_ponds(5)
    assert (plan.handled, sum(after - before for before, after in plan.eggs_by_place)) == (4, 40)
    assert said == (
        "Proven: no plan that does as much has more eggs, 5 eggs taken off for each head handled. Others with as many "
        "may exist."
    )
    plan, said = three_ponds(0)
    assert (plan.handled, sum(after - before for before, after in plan.eggs_by_place)) == (8, 52)
    assert "more eggs, a thousandth of an egg taken off for each head handled" in said
    assert "more eggs, 1 egg taken off" in three_ponds(1)[1]


def test_out_of_time_the_plans_own_eggs_are_told_beside_what_bounds_them():
    plan, _ = three_ponds(5)
    # 800 + 1 400 + 910 eggs stand there; 40 more, and 5 off for each of four heads.
    out_of_time = Stage(MOST_EGGS, plan.value, 3156.0, is_proven=False)
    plan = replace(plan, stages=(out_of_time,), bound=3156.0, gap=26 / 3130, seconds=2.0)
    said = spoken(plan, PlanQuestion((1,), MOST_EGGS, a_head=5))
    assert said == (
        "Time ran out after 2 seconds with 3 150 eggs and 4 heads handled: 3 130 eggs, 5 eggs taken off for each head "
        "handled; no plan can have more than 3 156 so counted, so at most 0.8 % could be gained. Allow more time to "
        "look further."
    )
    unknown = replace(plan, stages=(replace(out_of_time, bound=math.inf),))
    said = spoken(unknown, PlanQuestion((1,), MOST_EGGS, a_head=5))
    assert "with 3 150 eggs and 4 heads handled; how much better any plan could be is not known." in said


def test_an_error_of_the_solver_is_not_called_time():
    plan, _ = three_ponds(5)
    failed = Stage(MOST_EGGS, plan.value, math.inf, is_proven=False, has_failed=True)
    said = spoken(replace(plan, stages=(failed,)), PlanQuestion((1,), MOST_EGGS, a_head=5))
    assert "The solver gave an error, which more time does not mend: 3 150 eggs and 4 heads handled." in said
    assert "Time ran out" not in said
    assert "inf" not in said


def test_the_refusal_names_the_pond_of_the_plan_and_no_other_of_the_batch(owner):
    """Q and R got the same batch and Q's died of it: the signal is Q's, and the plan moves heads of R alone."""
    farm = FarmOfPonds(owner.user)
    farm.pond("A", days=420, females=300, males=130)
    for code in "QR":
        farm.pond(code, days=420, females=200, males=80)
    lines = (("FEMALE", "BOUGHT", code, 80, {"batch": "SPRING-1"}) for code in "QR")
    farm.post(*lines, days=20, batches=(BatchDraft("SPRING-1", "BOUGHT", farm.ago(20)),))
    before = ask(owner, leave="Q")
    assert {pond.code for pond in before.context["answer"].ponds if pond.is_changed} == {"A", "R"}
    farm.post(("FEMALE", "Q", "DIED", 6), ("FEMALE", "R", "DIED", 1), days=9)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("stock.views.farm_plan.changes_since", lambda plan, today: [])
        text = words(owner.post(TASKS, sent(before), follow=True))
    assert {line.pond_code for line in stops_at({"R"}, farm.today)} == {"Q"}
    assert "the watch asks to stop all moves at R. Below is the plan that leaves it alone." in text
    assert not Task.objects.exists()


@pytest.mark.parametrize(
    ("females", "males", "is_in_band", "ratio"),
    [(49.4, 19.6, True, "2.52 : 1"), (49.6, 20.4, False, "2.43 : 1"), (88.4, 19.6, False, "4.51 : 1")],
)
def test_the_band_is_decided_on_the_ratio_that_is_shown(farm, females, males, is_in_band, ratio):
    """Whole heads would say 2.45, 2.5 and 4.4 to one: the other side of the band's end each time."""
    facts = [one for one in pond_kinds(the_farm().today()) if one.pond_code == "C"]
    facts = [replace(facts[0], standing=SimpleNamespace(females=females, males=males))]
    (pond,) = farm_plan_advice.plan_farm(PlanQuestion((facts[0].kind_id,)), facts).ponds
    assert (pond.was_in_band, pond.in_band, pond.before_words) == (is_in_band, is_in_band, ratio)
    if not is_in_band:
        short = females < 3 * males
        assert f"Short of {'females' if short else 'males'} at {ratio}: 1 " in pond.why_not.replace(
            "2 females", "1"
        )


@pytest.mark.parametrize(
    ("females", "males"),
    [(305.2136, 246.9998), (304.4004, 247.3999), (311.00004, 250.4), (900.5001, 100.2), (610.49, 100.5)],
)
def test_what_a_pond_needs_is_one_number_here_and_on_its_own_page(owner, females, males):
    """The plan may move nothing here: what it says would do is what the pond's page offers."""
    FarmOfPonds.of_a_quiet_year(owner.user)
    facts = next(one for one in pond_kinds(the_farm().today()) if one.pond_code == "A")
    stands = replace(facts.standing, females=females, males=males, ratio=females / males)
    one = replace(facts, standing=stands)
    answer = farm_plan_advice.plan_farm(PlanQuestion((one.kind_id,), leave=("A",)), [one])
    to_band = next(aim for aim in aims_of(one) if aim.words.startswith("Into the band"))
    needed = [f"{way.heads} " + way.words.rsplit(" ", 1)[1] for way in to_band.ways]
    (unmet,) = answer.unmet
    for words in needed:
        assert words in unmet.why_not


def test_the_moves_as_a_sheet(reader, farm):
    answer = ask(reader, _export="csv")
    assert answer["Content-Disposition"].endswith('.csv"')
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0] == ["From", "To", "Kind", "Class", "Heads", "Why"]
    assert rows[1][0] == "Pond A"
    assert rows[1][2:5] == ["Slider", "males", "4"]
    book = load_workbook(io.BytesIO(ask(reader, _export="xlsx").content))
    assert [cell.value for cell in book.active[2]][4] == 4
    # A question that cannot be read exports nothing.
    assert "There is no kind" in words(ask(reader, _export="csv", kind="zebra"))


def sent(page, **more):
    """Return what the form of the page that makes tasks would send."""
    fields = dict(page.context["parameters"])
    return fields | {"key": str(page.context["key"]), "plan": page.context["sealed"]} | more


def test_the_plan_becomes_tasks_once(owner, farm):
    page = ask(owner)
    target = page.context["answer"].moves[0].target
    fields = sent(page)
    answer = owner.post(TASKS, fields)
    assert (answer.status_code, answer.url) == (303, reverse("stock:task-list"))
    tasks = {(task.pond.code, task.verb, task.of_class, task.heads): task.why for task in Task.objects.all()}
    assert set(tasks) == {("A", "TAKE_OUT", "MALE", 4), (target, "ADD", "MALE", 4)}
    assert tasks["A", "TAKE_OUT", "MALE", 4] == f"Whole-farm plan: 4 to {target}; 2.40 : 1 becomes 2.50 : 1."
    again = owner.post(TASKS, fields, follow=True)
    assert "nothing was made twice" in words(again)
    # Asked anew, the open tasks are named, and a second set wants a tick.
    page = ask(owner)
    assert "Still open:</strong> Take out 4 Slider males (A)" in words(page)
    assert "other tasks that add or take out heads of these kinds are still open" in words(
        owner.post(TASKS, sent(page), follow=True)
    )
    # With the tick, the same decision on the same day is the task that stands.
    owner.post(TASKS, sent(page, second="yes"))
    assert Task.objects.count() == 2


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"plan": ""}, "Ask for a plan first"),
        ({"plan": "made:up:text"}, "Ask for a plan first"),
        ({"key": "no key"}, "lost its key"),
    ],
)
def test_what_was_not_shown_makes_no_task(owner, farm, change, sentence):
    answer = owner.post(TASKS, sent(ask(owner), **change), follow=True)
    assert sentence in words(answer)
    assert answer.context["form"]["seconds"].value() == "20"
    assert not Task.objects.exists()


def test_a_plan_by_yesterdays_book_makes_no_task(owner, farm):
    fields = sent(ask(owner))
    today = the_farm().today()
    line = Line("slider", "MALE", "A", "SOLD", 5)
    ledger.record(Draft(key=uuid.uuid4(), happened_on=today, lines=(line,)), by=owner.user, today=today)
    text = words(owner.post(TASKS, fields, follow=True))
    assert "Pond A held 100 Slider males and now holds 95." in text
    assert not Task.objects.exists()


def test_a_plan_older_than_a_day_makes_no_task(owner, farm, monkeypatch):
    fields = sent(ask(owner))
    monkeypatch.setattr("stock.farm_plan_tasks.GOOD_FOR_SECONDS", -1)
    assert "older than a day" in words(owner.post(TASKS, fields, follow=True))
    assert not Task.objects.exists()


def test_all_tasks_or_none(owner, farm, monkeypatch):
    from stock import task_book

    fields, make = sent(ask(owner)), task_book.make

    def refuse_the_second(**task):
        if Task.objects.exists():
            raise task_book.TaskRefused("That pond is not to be had.")
        return make(**task)

    monkeypatch.setattr("stock.farm_plan_tasks.task_book.make", refuse_the_second)
    assert "No task was made. That pond is not to be had." in words(owner.post(TASKS, fields, follow=True))
    assert not Task.objects.exists()


def test_only_an_owner_is_offered_the_tasks(hand, reader, farm):
    for client in (hand, reader):
        text = words(ask(client))
        assert "4 heads handled" in text
        assert "Make these tasks" not in text
        assert client.post(TASKS, {}).status_code == 403


def test_ponds_and_new_females_lead_here(owner, farm):
    for page in ("/", "/new-females/"):
        assert 'href="/plan/"' in owner.get(page).content.decode()


def test_as_many_queries_for_three_hundred_ponds_as_for_three(owner):
    kind = KindFactory(code="slider", common_name="Slider")
    today = the_farm().today()
    day = today - dt.timedelta(days=500)
    counts = []
    for more in (3, 297):
        drafts = []
        for nth in range(more):
            pond = PondFactory(head_limit=700, kinds=[kind])
            batch = BatchDraft(f"B-{pond.code}", "OPENING", day)
            females = 240 if nth % 10 == 0 else 330
            lines = tuple(
                Line("slider", of_class, "OPENING", pond.code, heads, batch=batch.code)
                for of_class, heads in (("FEMALE", females), ("MALE", 100))
            )
            drafts.append(
                Draft(uuid.uuid4(), day, lines, made_as="OPENING", pond=pond.code, batches=(batch,))
            )
        ledger.record_all(drafts, by=owner.user, today=today)
        with CaptureQueriesContext(connection) as queries:
            page = ask(owner)
        assert page.context["answer"].unmet == []
        assert page.context["plan"].is_proven
        counts.append(len(queries))
    # Four of them are the watch's, asked once for the day.
    assert counts[0] == counts[1] <= 30, counts


def test_a_counted_pond_is_reckoned_by_its_standing(owner):
    farm = FarmOfPonds(owner.user)
    farm.pond("A", days=700, females=300, males=100)
    farm.pond("B", days=700, females=240, males=100)
    page = ask(owner)
    ponds = {pond.code: pond for pond in page.context["answer"].ponds}
    assert ponds["A"].facts.is_by_standing
    assert ponds["A"].females_before == ponds["A"].facts.females_now < 300
    assert "by the standing, which counts, moves and losses make" in words(page)
    # What the book holds is what the seal holds, so that only a move, not a day that passes, breaks it.
    assert owner.post(TASKS, sent(page)).url == reverse("stock:task-list")
