"""The page that says where new females go: what it shows, what it refuses, and the tasks it makes."""

from __future__ import annotations

import datetime as dt
import uuid
from html import unescape

import pytest
from django.urls import reverse

from ponds import nest_book
from ponds.farm import the_farm
from ponds.models import Kind, PondState
from ponds.seasons import season_of
from stock import ledger, placing_advice, standing_facts, task_book, yield_book
from stock.drafts import BatchDraft, CountDraft, Draft, Line
from stock.models import Task
from stock.watch_page import signals_on
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db
URL, TASKS = "/new-females/", "/new-females/tasks/"


def stand(pond, kind, by, *, batch="", **heads):
    """Open a pond with heads by class, 500 days ago."""
    today = the_farm().today()
    day = today - dt.timedelta(days=500)
    batch = batch or f"B-{pond.code}-{kind.code}"
    lines = tuple(
        Line(kind.code, of_class, "OPENING", pond.code, n, batch=batch) for of_class, n in heads.items() if n
    )
    ledger.record(
        Draft(key=uuid.uuid4(), happened_on=day, lines=lines, made_as="OPENING", pond=pond.code,
              batches=(BatchDraft(batch, "OPENING", day),)),
        by=by,
        today=today,
    )  # fmt: skip


@pytest.fixture
def farm(owner):
    """Sliders short of females in A, in band in B, with too many males in C; D is in quarantine."""
    slider = KindFactory(code="slider", common_name="Slider")
    snapper = KindFactory(code="snapper", common_name="Snapper", listing="CITES App. II")
    slider.not_with.add(snapper)
    today = the_farm().today()
    ponds = {code: PondFactory(code=code, head_limit=500, kinds=[slider]) for code in "ABCDE"}
    stand(ponds["A"], slider, owner.user, FEMALE=210, MALE=100)
    stand(ponds["B"], slider, owner.user, FEMALE=300, MALE=100)
    stand(ponds["C"], slider, owner.user, FEMALE=120, MALE=100)
    stand(ponds["D"], slider, owner.user, FEMALE=10, UNSEXED=80)
    PondState.objects.create(
        pond=ponds["D"],
        from_on=today - dt.timedelta(days=9),
        state="QUARANTINE",
        ends_on=today + dt.timedelta(days=30),
    )
    PondFactory(code="F", kinds=[snapper])
    return ponds


def words(response):
    """Return the page as one line of text."""
    return " ".join(unescape(response.content.decode()).split())


def ask(client, **asked):
    return client.get(URL, {"heads": 60, "kind": "slider"} | asked)


def test_it_asks_first(owner, farm):
    page = owner.get(URL)
    assert page.status_code == 200
    assert "Where should new females go?" in words(page)
    assert page.context["form"].initial["seasons"] == "5"
    assert page.context.get("advice") is None


def test_the_answer_names_ponds_reasons_and_what_other_ways_give(owner, farm):
    page = ask(owner)
    advice = page.context["advice"]
    assert {pond.code: pond.given for pond in advice.getting} == {"A": 60}
    text = words(page)
    for told in (
        "60 females of Slider: 60 to A.",
        "2.10 : 1 → 2.70 : 1",
        "310 → 370 of 500",
        "Ratio: short of females by the book, 2.10 : 1. Gets 60: 210 females to 100 males (2.10 : 1) become "
        "270 (2.70 : 1)",
        "By the book, never counted. No haul has been sexed.",
        "120 females to 100 males (1.20 : 1) is below 1.5 : 1: 20 males must leave before females come.",
        "Make a task: take 20 males out",
        "In quarantine, due to end on",
        "Empty: females without males would lay clear eggs.",
        "Kept for other kinds; Slider is not allowed there.",
        "Even split",
        "Worst ratio first",
        "drawn 1 000 times",
        "limits and how often are from 200 of those draws. Seed 20260",
        "No placing of these females can add more than",
        "Assumptions: nobody has measured these",
        "30 to 90 days",
        "The arithmetic of pond A, season by season",
    ):
        assert told in text, told


@pytest.mark.parametrize(
    ("decided", "told", "offered"),
    [
        (8, "Males to take out: 8 are decided already: 12 more.", "Make a task: take 12 males out"),
        (40, "Males to take out: decided already (open task).", ""),
    ],
)
def test_males_that_an_open_task_takes_out_are_not_offered_again(owner, farm, decided, told, offered):
    # 120 : 100 in C: 20 must leave.
    task_book.make(pond=farm["C"], verb="TAKE_OUT", kind=Kind.objects.get(code="slider"), of_class="MALE",
                   heads=decided, by=owner.user, today=the_farm().today())  # fmt: skip
    text = words(ask(owner))
    assert told in text
    assert ("Make a task: take" in text) == bool(offered)
    assert offered in text


def test_the_unsexed_of_every_pond_wait_beside_those_in_quarantine(owner, farm):
    stand(farm["E"], Kind.objects.get(code="slider"), owner.user, UNSEXED=140)
    page = owner.get(URL)
    assert [(one.pond, one.females, one.unsexed, one.to_do) for one in page.context["waiting"]] == [
        ("D", 10, 80, "Sex the 80 unsexed, then release the pond when the quarantine is over."),
        ("E", 0, 140, "Sex the 140 unsexed."),
    ]
    text = words(page)
    assert "not in quarantine" in text
    assert f"{reverse('stock:log')}?pond=E" in text


def test_a_pond_that_the_watch_points_to_says_so_beside_its_reason(owner, farm):
    ledger.record(
        Draft(key=uuid.uuid4(), happened_on=the_farm().today() - dt.timedelta(days=1), pond="A",
              lines=(Line("slider", "FEMALE", "A", "DIED", 15),)),
        by=owner.user, today=the_farm().today(),
    )  # fmt: skip
    page = ask(owner)
    (line,) = [one for one in signals_on(the_farm().today()) if one.pond_code == "A"]
    row = next(row for row in page.context["rows"] if row.pond.code == "A")
    assert row.worst is not None
    assert (row.worst.words, line.sentence in row.worst.sentence) == (line.title, True)
    why = words(page).split("<h2>Why</h2>")[-1]
    assert f'<span class="tag tag-bad">{line.title}</span>' in why
    assert row.worst.words == row.stands.tags[0].words


def test_it_says_whose_the_heads_are_and_what_is_drawn(owner, farm):
    said = words(ask(owner))
    assert "Females and males are those of the standing where a pond was counted" in said
    assert "drawn with their errors and the way they hang together; else the book’s numbers" in said


def test_a_counted_pond_is_placed_by_its_standing(owner, many):
    many(2, how_known="SEINED")
    page = ask(owner)
    (first, *_) = page.context["advice"].open_ponds
    stands = first.facts.standing
    assert first.females_before == round(stands.females) < first.facts.heads.females
    text = words(page)
    # As the pond's own page has it, not whole heads divided.
    assert f"{stands.ratio:.2f}" != f"{first.females_before / round(stands.males):.2f}"
    assert f"by the standing, {stands.ratio:.2f} : 1." in text
    assert f"{stands.ratio:.2f} : 1" in words(owner.get(reverse("stock:pond-detail", args=[first.code])))
    assert "By the standing: counted" in text
    assert f"by the book {first.facts.heads.females} and 95." in text


def test_the_arithmetic_shown_adds_up(owner, farm):
    page = ask(owner)
    # 0.7 x 2 x 9 x 0.8 = 10.08 hatched eggs; 60 x 10.08 x (0.4 x 0.9 + 0.7 x 0.81 + 0.729 + 0.6561 + 0.59049).
    assert page.context["a_female"] == pytest.approx(10.08)
    assert page.context["added"] == pytest.approx(60 * 10.08 * 2.90259)


def test_the_same_question_gets_the_same_answer(owner, farm):
    first = ask(owner).context["advice"]
    placing_advice._solve.cache_clear()
    assert ask(owner).context["advice"] == first


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"heads": "-4"}, "-4 is below 0"),
        ({"heads": "0"}, "0 is too few"),
        ({"heads": ""}, "Say how many females there are to place: a whole number from 1 to 10 000."),
        ({"heads": "10001"}, "10001 is more than 10 000, the most that can be placed at once."),
        ({"heads": "9" * 40}, "is more than 10 000, the most that can be placed at once."),
        ({"heads": "a few"}, "“a few” is not a whole number"),
        ({"kind": "zebra"}, "There is no kind “zebra”"),
        ({"kind": ""}, "Choose the kind."),
        ({"kind": "mud"}, "No pond is kept for Mud and none stands in any."),
        ({"source": "ZZ"}, "There is no pond “ZZ”"),
        ({"seasons": "99"}, "99 is more than 15"),
        ({"seasons": "2.5"}, "“2.5” is not a whole number"),
        ({"full_to": "abc"}, "abc is not a number"),
        ({"within": "500"}, "500 is not between 0 and 20"),
    ],
)
def test_bad_input_gets_its_sentence_and_is_kept(owner, farm, asked, sentence):
    KindFactory(code="mud", common_name="Mud")
    page = ask(owner, **asked)
    assert page.status_code == 200
    assert sentence in words(page)
    assert page.context.get("advice") is None
    for name, value in ({"heads": 60, "kind": "slider"} | asked).items():
        assert str(page.context["form"][name].value() or "") == str(value)


def test_a_kind_without_a_figure_says_which(owner, farm):
    bare = KindFactory(code="bare", common_name="Bare", figures=False)
    PondFactory(code="G", kinds=[bare])
    page = ask(owner, kind="bare")
    assert "Bare has no figure for share of females laying in a season" in words(page)


def test_no_pond_may_get_any(owner, farm):
    page = ask(owner, kind="snapper")
    text = words(page)
    assert "None of 60 females of Snapper can be placed now." in text
    assert "60 females are left over." in text
    assert "CITES App. II" in text
    assert not page.context["load"]


def test_what_stands_in_quarantine_is_a_plan_for_later(owner, farm):
    page = ask(owner, source="D")
    text = words(page)
    ends = the_farm().today() + dt.timedelta(days=30)
    assert f"until it is released, on {ends.day} {ends:%b %Y}" in text
    assert "80 of this kind stand there unsexed" in text
    assert "By the book 10 females of this kind stand in pond D, fewer than the 60 asked about." in text
    assert "Not before pond D is released" in text


def test_by_hand_shows_the_loss_and_keeps_what_was_typed(owner, farm):
    page = ask(owner, **{"pond-A": "40", "pond-B": "10"})
    # The head of the page names the best; what prints beside it is said too.
    assert "By hand: 40 to A, 10 to B; the load sheet and the tasks go by that." in words(page)
    assert "fewer than the best" in words(page)
    assert page.context["by_hand"].share == pytest.approx(50 / 60)
    assert page.context["load_total"] == 50
    page = ask(owner, **{"pond-B": "10"})
    assert [row.typed for row in page.context["open_rows"]] == ["", "10"]
    page = ask(owner, **{"pond-A": "300", "pond-B": "x"})
    text = words(page)
    assert "Pond A can take 190, not 300: its limit of 500 leaves room for 190" in text
    assert "Pond B: “x” is not a whole number." in text
    assert [row.typed for row in page.context["open_rows"]] == ["300", "x"]
    # What cannot be done is not printed: the sheet stays with the best.
    assert page.context["load_total"] == 60


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"pond-A": "50", "pond-B": "30"}, "80 are placed by hand, 20 more than the 60 there are."),
        ({"pond-A": "xx", "pond-B": "30"}, "Pond A: “xx” is not a whole number."),
        ({"pond-A": "-3"}, "Pond A: -3 is below 0."),
        ({"pond-A": "0"}, "0 of 60 are placed by hand; 60 are left over."),
    ],
)
def test_wrong_figures_by_hand_are_set_beside_nothing_and_no_other_plan_is_offered_there(
    owner, farm, typed, told
):
    page = ask(owner, **typed)
    text = words(page)
    assert told in text
    assert "It is set beside the best once its figures are right." in text
    for other in ("By hand it gives", "fewer than the best", "Make this task", "Save the plan", "xx of 60"):
        assert other not in text
    # The way back leads to the best, which can be made.
    back = owner.get(page.context["best_url"])
    assert "Make this task: 60 to A" in words(back)


def test_thousands_may_be_parted_by_commas_as_by_spaces(owner, farm):
    page = ask(owner, heads="2,000", **{"pond-A": "1,000"})
    assert page.context["advice"].question.heads == 2000
    assert "Pond A can take 190, not 1000" in words(page)
    for typed in ("2,00", "2,0000", "0,200", ",200", "2.000"):
        assert f"“{typed}” is not a whole number" in words(ask(owner, heads=typed)), typed


def plan(page, **more):
    """Return what the form of the page that makes tasks would send."""
    fields = dict(page.context["parameters"]) | dict(page.context["plan_parameters"])
    return fields | {"key": str(page.context["key"])} | more


def test_the_plan_becomes_a_task_a_pond_once(owner, farm):
    page = ask(owner, heads=150)
    assert {pond.code: pond.given for pond in page.context["advice"].getting} == {"A": 120, "B": 30}
    sent = plan(page)
    answer = owner.post(TASKS, sent)
    assert (answer.status_code, answer.url) == (303, reverse("stock:placing-detail", args=[sent["key"]]))
    tasks = list(Task.objects.order_by("pond__code"))
    assert [(task.pond.code, task.verb, task.of_class, task.heads) for task in tasks] == [
        ("A", "ADD", "FEMALE", 120),
        ("B", "ADD", "FEMALE", 30),
    ]
    assert "150 in all: by the book 2.10 : 1 becomes 3.30 : 1" in tasks[0].why
    assert owner.post(TASKS, sent).status_code == 303
    assert owner.post(TASKS, plan(page, key=str(uuid.uuid4()))).status_code == 303
    assert Task.objects.count() == 2


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"pond-A": "400"}, "Pond A can take 190, not 400"),
        ({"pond-A": "1", "pond-C": "5"}, "20 males must leave"),
        ({"pond-A": "70"}, "10 more than the 60 there are"),
        ({"pond-A": "lots"}, "“lots” is not a whole number"),
        ({"pond-A": "0"}, "60 are left over"),
        ({"key": "no key"}, "lost its key"),
        ({"heads": "-1"}, "Ask where the females should go first"),
    ],
)
def test_a_plan_that_cannot_be_makes_no_task_and_is_kept(owner, farm, change, sentence):
    answer = owner.post(TASKS, plan(ask(owner), **change), follow=True)
    assert sentence in words(answer)
    assert not Task.objects.exists()
    assert dict(answer.context["form"].parameters())["heads"] == change.get("heads", "60")


def test_what_is_decided_already_is_counted_and_a_second_set_asks_a_tick(owner, farm):
    owner.post(TASKS, plan(ask(owner, heads=60)))
    assert [(task.pond.code, task.heads) for task in Task.objects.all()] == [("A", 60)]
    page = ask(owner, heads=500)
    assert "60 are already decided for A (open task)." in words(page)
    pond = page.context["advice"].pond("A")
    # 210 stand, 60 are decided, the band of 100 males ends at 4.5 : 1, so 450 - 270 fit; 310 + 60 + 130 = 500.
    assert (pond.decided, pond.cap, pond.females_before) == (60, 130, 270)
    assert pond.use_after == 500
    refused = owner.post(TASKS, plan(page), follow=True)
    assert "If these come on top of them, tick that below" in words(refused)
    assert Task.objects.count() == 1
    owner.post(TASKS, plan(page, key=str(uuid.uuid4()), second="yes"))
    added = Task.objects.filter(pond__code="A").order_by("pk").last()
    assert added.heads == 130
    assert "2.70 : 1 once earlier tasks are done becomes 4.00 : 1" in added.why


def test_all_tasks_or_none(owner, farm, monkeypatch):
    page = ask(owner, heads=150)
    make = __import__("stock.task_book", fromlist=["make"]).make

    def refuse_b(*, pond, **more):
        if pond.code == "B":
            from stock.task_book import TaskRefused

            raise TaskRefused("Pond B is not to be had.")
        return make(pond=pond, **more)

    monkeypatch.setattr("stock.placing_book.task_book.make", refuse_b)
    answer = owner.post(TASKS, plan(page), follow=True)
    assert "No task was made. Pond B is not to be had." in words(answer)
    assert not Task.objects.exists()


def test_only_an_owner_is_offered_the_tasks(hand, reader, farm):
    for client in (hand, reader):
        text = words(ask(client))
        assert "60 to A" in text
        assert "Make this task" not in text
        assert "take 20 males out" not in text


@pytest.fixture
def many(owner):
    """Return a function that makes so many more ponds of one kind with heads in them."""
    kind = KindFactory(code="slider", common_name="Slider")

    def make(ponds, how_known="DRAINED"):
        today = the_farm().today()
        day = today - dt.timedelta(days=500)
        drafts = []
        for nth in range(ponds):
            pond = PondFactory(head_limit=700, kinds=[kind])
            batch = BatchDraft(f"B-{pond.code}", "OPENING", day)
            lines = tuple(
                Line("slider", of_class, "OPENING", pond.code, heads, batch=batch.code)
                for of_class, heads in (("FEMALE", 200 + nth), ("MALE", 95))
            )
            count = CountDraft(
                pond.code,
                "slider",
                day,
                how_known,
                females=200.0 + nth,
                females_se=0.0,
                males=95.0,
                males_se=0.0,
            )
            drafts.append(
                Draft(
                    uuid.uuid4(),
                    day,
                    lines,
                    made_as="OPENING",
                    pond=pond.code,
                    batches=(batch,),
                    counts=(count,),
                )
            )
        ledger.record_all(drafts, by=owner.user, today=today)

    return make


def test_as_many_queries_for_sixty_ponds_as_for_three(owner, many, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for more in (3, 57):
        many(more)
        standing_facts.forget()
        yield_book.forget()
        with CaptureQueriesContext(connection) as queries:
            page = ask(owner, heads=400)
        assert page.context["advice"].placed == 400
        counts.append(len(queries))
    # Six of them are the watch's, asked once for the day; one asks whether the season has nests that may be missing.
    assert counts[0] == counts[1] <= 52, counts
    with CaptureQueriesContext(connection) as queries:
        ask(owner, heads=400)
    assert len(queries) <= 26


def test_a_pond_that_lays_more_gets_the_females(owner, farm):
    """A has the lower ratio, but B's nest book of last season has five times its nests a female."""
    today = the_farm().today()
    season = season_of(today).year - 1
    for code, nests in (("A", 60), ("B", 450), ("C", 50)):
        nest_book.record(
            key=uuid.uuid4(), pond=farm[code], kind=Kind.objects.get(code="slider"), dug_on=dt.date(season, 5, 20),
            nests=nests, eggs=9 * nests, today=today, by=owner.user,
        )  # fmt: skip
    page = ask(owner)
    advice = page.context["advice"]
    assert {pond.code: pond.given for pond in advice.getting} == {"B": 60}
    learnt = {pond.code: pond.yields for pond in advice.open_ponds}
    assert learnt["B"].a_female > 2 * learnt["A"].a_female
    text = words(page)
    for told in (
        "What a settled female gives in a season, pond by pond",
        "Nests a settled female: ",
        f"gives {learnt['B'].a_female:.1f} hatched eggs a season here, learnt from 1 season of its own.",
        "pond by pond, from what was learnt of each",
        "each pond drawn toward its kind",
    ):
        assert told in text, told
    # The arithmetic opened is the pond's own.
    assert page.context["a_female"] == pytest.approx(learnt["B"].middling)
    placing = owner.post("/new-females/save/", plan(page), follow=True).context["placing"]
    (then,) = [pond for pond in placing.grounds["ponds"] if pond["code"] == "B"]
    assert then["a_female"] == pytest.approx(learnt["B"].a_female)


def test_every_page_says_the_same_of_a_pond_whose_males_came_first(owner, farm):
    """50 males and no females: 75 come at once (1.5 : 1), 125 for the band, and no male must leave."""
    slider = Kind.objects.get(code="slider")
    new = PondFactory(code="G", head_limit=500, kinds=[slider])
    stand(new, slider, owner.user, MALE=50)
    stand(PondFactory(code="H", head_limit=600, kinds=[slider]), slider, owner.user, FEMALE=450, MALE=100)
    told = "No females stand here: 75 at least come at once (1.5 : 1), or the males press the few."
    month = f"{the_farm().today():%Y-%m}"
    for url in ("/ponds/G/", f"/review/{month}/G/"):
        text = words(owner.get(url))
        assert told in text
        assert "add 125 females" in text
        assert "first, before any female comes" not in text
    page = ask(owner, heads=125)
    pond = page.context["advice"].pond("G")
    assert (pond.cap, pond.at_least, pond.obstacles) == (225, 75, ())
    few = ask(owner, heads=60).context["advice"].pond("G")
    assert "75 must come at once" in few.obstacles[0].sentence
    assert "Pond G has no females: 75 at least come at once to its 50 males" in words(
        owner.get("/ponds/G/what-if/", {"kind": "slider", "females_in": "60"})
    )
    assert "Pond G has" not in words(owner.get("/ponds/G/what-if/", {"kind": "slider", "females_in": "125"}))
    # H has females to spare: the farm plan brings them, and takes no more males out than leaves 20.
    answer = owner.get("/plan/", {"kind": "slider", "leave": "A, C"}).context["answer"]
    (there,) = [one for one in answer.ponds if one.code == "G"]
    assert there.in_band
    assert (there.females, there.males) == (50, 20)
    assert "No females stand in G yet: bring all of them at once" in " ".join(answer.cautions)
