"""What if: moves tried on a pond, what they would do, and tasks of them; nothing is booked by trying."""

from __future__ import annotations

import datetime as dt
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.farm import the_farm
from ponds.models import Pond, PondState
from stock.models import Entry, Task
from tests.factories import KindFactory, PondFactory
from tests.pages.farm_of_ponds import FarmOfPonds
from tests.pages.test_new_females import stand

pytestmark = pytest.mark.django_db
URL, TASKS = "/ponds/A/what-if/", "/ponds/A/what-if/tasks/"


@pytest.fixture
def farm(owner):
    """A was drained today and is short of females; B has some to spare by a count of old; C by the book."""
    built = FarmOfPonds(owner.user)
    kind = built.slider
    built.pond("A", kind=kind, days=0, how_known="DRAINED", females=200, males=100)
    built.pond("B", kind=kind, females=500, males=120)
    PondFactory(code="C", kinds=[kind], head_limit=100)
    PondFactory(code="Q", kinds=[kind], head_limit=400)
    stand(Pond.objects.get(code="C"), kind, owner.user, FEMALE=60, MALE=30)
    return built


def words(response):
    return " ".join(unescape(response.content.decode()).split())


def test_it_asks_first_and_shows_nothing(reader, farm):
    page = reader.get(URL)
    assert "What would moves do to pond A?" in words(page)
    assert "answer" not in page.context
    assert "Give at least one head" in words(reader.get(URL, {"females_in": "", "males_in": "0"}))


def test_forty_females_from_b_change_both_ponds(owner, farm):
    before = Entry.objects.count()
    page = owner.get(URL, {"females_in": "100", "females_from": "B", "males_out": "20"})
    answer, text = page.context["answer"], words(page)
    here, there = answer.ponds
    # 200 + 100 females to 100 - 20 males; B gives its hundred.
    assert (here.then.females_now, here.then.males_now) == (300, 80)
    assert here.then.verdict.verdict == "in band"
    assert here.now.verdict.verdict == "short of females"
    assert there.then.females_now == there.now.females_now - 100
    assert "2.00 : 1 becomes 3.75 : 1: in band, not short of females as now. Nothing is booked." in text
    # Moved heads are counted: errors stay, means shift, and the interval moves along.
    assert there.then.standing.female_se == there.now.standing.female_se
    assert there.then.standing.ratio_limits[1] < there.now.standing.ratio_limits[1]
    # Of a limit of 1000: 300 stood there.
    assert "300 of 1 000" in text
    assert "380 of 1 000" in text
    assert "100 females in from B; 20 males out and sold" in text
    # She counts 0.4 in her first season: so the move costs eggs now, and pays or not once all have settled.
    assert answer.more_eggs[1] < 0
    assert "The moves cost about" in text
    assert here.rows[1].then[1] > here.rows[1].now[1]
    assert there.rows[1].then[1] < there.rows[1].now[1]
    eggs = {row.words: row for row in here.rows}
    assert eggs["Nests"].by_hand[1] / eggs["Nests"].by_hand[0] == pytest.approx(
        here.then.settled_females / here.now.settled_females
    )
    assert Entry.objects.count() == before
    assert not Task.objects.exists()


def test_the_same_address_gives_the_same_page_and_can_be_sent(owner, reader, farm):
    asked = {"females_in": "10", "females_from": "B"}
    one, other = owner.get(URL, asked), reader.get(URL, asked)
    assert one.context["answer"].more_eggs == other.context["answer"].more_eggs
    assert "Make these tasks" in words(one)
    assert "Make these tasks" not in words(other)


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"females_out": "201"}, "201 females would leave pond A, which holds 200 by the standing. Give 200 or fewer."),
        ({"females_in": "61", "females_from": "C"}, "61 females would leave pond C, which holds 60"),
        ({"females_in": "x"}, "“x” is not a whole number. Write one such as 12."),
        ({"females_in": "-4"}, "-4 is below 0."),
        ({"females_in": "3", "females_from": "ZZ"}, "There is no pond “ZZ”. Choose one from the list."),
        ({"males_in": "3", "males_from": "D"}, "Pond D neither holds Red-eared slider nor is kept for it."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_and_stays_typed(owner, farm, asked, sentence):
    other = KindFactory(code="other", common_name="Other")
    PondFactory(code="D", kinds=[other])
    page = owner.get(URL, asked)
    assert page.status_code == 200
    assert sentence.replace("Red-eared slider", farm.slider.common_name) in words(page)
    assert f'value="{next(iter(asked.values()))}"' in page.content.decode()


def test_what_stands_against_the_moves_is_said(owner, farm):
    PondState.objects.create(
        pond=Pond.objects.get(code="Q"),
        from_on=farm.ago(5),
        state="QUARANTINE",
        ends_on=farm.today + dt.timedelta(days=30),
    )
    text = words(owner.get("/ponds/C/what-if/", {"females_in": "40", "males_in": "30", "males_from": "A"}))
    assert (
        "Pond C has 60 females to 60 males before the new ones come, below 1.5 : 1: males injure females. 20 more "
        "males leave first." in text
    )
    assert "Pond C would hold 160 of its limit of 100: 60 too many." in text
    text = words(owner.get(URL, {"males_out": "100", "females_out": "5", "females_to": "Q"}))
    assert "Pond A would have no males: clear eggs follow in two or three years." in text
    assert "Pond Q is in quarantine: nothing comes in or goes out until it ends." in text
    # Nobody stands in Q: its yield is not made up.
    assert "Pond Q: Nothing of this kind has laid here" in text


def test_an_owner_makes_tasks_of_them_once(owner, hand, farm):
    moves = {"kind": farm.slider.code, "females_in": "100", "females_from": "B", "males_out": "20"}
    assert hand.post(TASKS, moves).status_code == 403
    for _ in range(2):
        response = owner.post(TASKS, moves, follow=True)
    made = [(task.pond.code, task.verb, task.of_class, task.heads) for task in Task.objects.order_by("pk")]
    assert made == [
        ("A", "TAKE_OUT", "MALE", 20), ("B", "TAKE_OUT", "FEMALE", 100), ("A", "ADD", "FEMALE", 100),
    ]  # fmt: skip
    assert response.redirect_chain == [("/ponds/A/#tasks", 303)]
    assert "Tried as what-if: from B; 2.00 : 1 becomes 3.75 : 1." in Task.objects.get(verb="ADD").why
    refused = owner.post(TASKS, moves | {"females_in": "9000"}, follow=True)
    assert "No task was made" in words(refused)
    assert Task.objects.count() == 3
    assert "9 000 females would leave pond B" in words(refused)


def test_what_is_advised_against_is_made_a_task_only_when_ticked(owner, farm):
    moves = {"kind": farm.slider.code, "females_in": "5000"}
    refused = owner.post("/ponds/C/what-if/tasks/", moves, follow=True)
    assert "No task was made: something stands against these moves" in words(refused)
    assert 'name="in_spite"' in words(refused)
    assert not Task.objects.exists()
    owner.post("/ponds/C/what-if/tasks/", moves | {"in_spite": "yes"})
    assert Task.objects.get().heads == 5000


def test_a_pond_that_is_not_there_is_not_found(owner):
    assert owner.get("/ponds/NOPE/what-if/").status_code == 404


def test_the_page_costs_the_same_at_any_size(owner, farm):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert owner.get(URL, {"females_in": "10", "females_from": "B"}).status_code == 200
        return len(caught)

    queries()
    before = queries()
    for number in range(8):
        stand(PondFactory(code=f"P{number}", kinds=[farm.slider]), farm.slider, owner.user, FEMALE=9, MALE=3)
    queries()
    assert queries() <= before
    assert before <= 40, before
    assert the_farm().today() == farm.today
