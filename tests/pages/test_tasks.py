"""Tasks: made, listed, done by moves, dropped with a reason."""

from __future__ import annotations

import datetime as dt
import html
import uuid
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind, Pond
from stock import ledger, task_book
from stock.drafts import CatchLine, Draft, HaulDraft, Line
from stock.models import Move, Task
from stock.tasks import done_heads, open_tasks
from stock.timeline import next_month
from tests.page_rules import page_faults
from tests.pages.bank import STOOD_ON, make_farm, today

pytestmark = pytest.mark.django_db

TASKS, ADD = "/tasks/", "/tasks/add/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return html.unescape(response.content.decode())


def make(pond="A", verb="TAKE_OUT", of_class="MALE", heads=12, why="") -> Task:
    kind = Kind.objects.get(code="slider")
    return task_book.make(
        pond=Pond.objects.get(code=pond), verb=verb, kind=kind, of_class=of_class, heads=heads, why=why,
        by=None, today=today(),
    )  # fmt: skip


def do(task: Task, heads: int) -> Move:
    draft = Draft(
        uuid.uuid4(), today(), (Line("slider", "MALE", "A", "SOLD", heads),), pond="A", tasks=(task.pk,)
    )
    return Move.objects.get(pk=ledger.record(draft, by=None, today=today()).move_id)


GOOD = {
    "verb": "TAKE_OUT",
    "pond": "A",
    "heads": "12",
    "kind": "slider",
    "of_class": "MALE",
    "why": "2.5 : 1",
}


def test_a_decision_becomes_an_open_task(owner):
    response = owner.post(ADD, GOOD, follow=True)
    assert "Take out 12 Slider males, pond A: a task now." in words(response)
    (task,) = open_tasks()
    assert (task.sentence, task.heads_left, task.why) == ("Take out 12 Slider males", 12, "2.5 : 1")
    assert page_faults(response) == []


def test_the_same_decision_sent_twice_is_one_task(owner):
    owner.post(ADD, GOOD)
    owner.post(ADD, GOOD)
    assert Task.objects.count() == 1


def test_other_pages_fill_the_form_in_by_the_address_and_are_come_back_to(owner):
    text = words(owner.get(ADD, {**GOOD, "next": "/moves/"}))
    assert 'value="12"' in text
    assert 'value="2.5 : 1"' in text
    assert owner.post(ADD, {**GOOD, "next": "/moves/"})["Location"] == "/moves/"


def test_a_page_of_another_site_is_not_come_back_to(owner):
    assert owner.post(ADD, {**GOOD, "next": "https://example.org/"})["Location"] == TASKS


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"heads": ""}, "Say how many heads."),
        ({"heads": "-1"}, "-1 is below 0."),
        ({"heads": "many"}, "“many” is not a whole number."),
        ({"kind": ""}, "Choose the kind."),
        ({"of_class": ""}, "Choose females, males, unsexed or juveniles."),
        ({"pond": "ZZ"}, "There is no pond “ZZ”."),
        ({"verb": ""}, "Choose the task."),
        ({"due_on": "2020-01-01"}, "1 Jan 2020 is past"),
        ({"why": "x" * 301}, "This has 301 characters; at most 300 fit."),
        ({"verb": "ADD", "kind": "snapper"}, "Snapper is not allowed in pond A."),
    ],
)
def test_a_task_that_does_not_say_what_to_do_is_refused(owner, change, sentence):
    response = owner.post(ADD, {**GOOD, **change})
    assert sentence in words(response)
    assert response.status_code == 200
    assert not Task.objects.exists()


def test_a_reason_is_held_to_the_room_that_the_watchs_words_leave(owner, monkeypatch):
    """“For later” adds 59 characters to the 300 that fit: what is typed is measured without them, and kept."""
    signal = SimpleNamespace(
        pond_code="A", kind_name="Slider", sentence="Dying.", remedy="Stop.", url="/watch/"
    )
    monkeypatch.setattr("stock.views.tasks.stops_at", lambda codes, day: [signal] if codes == {"A"} else [])
    added = "; after the veterinarian has been and the signal is noted."
    most = 300 - len(added)
    assert (
        f"At most {most} characters: “after the veterinarian has been and the signal is noted” comes after"
        in (words(owner.get(ADD, GOOD)))
    )
    assert "At most" not in words(owner.get(ADD, {**GOOD, "pond": "B"}))
    typed = {**GOOD, "why": "x" * 280, "in_spite": "yes"}
    refused = owner.post(ADD, typed)
    assert f"This has 280 characters; at most {most} fit." in words(refused)
    assert "338" not in words(refused)
    assert 'value="yes" id="id_in_spite" checked' in words(refused)
    assert "x" * 280 in words(refused)
    assert not Task.objects.exists()
    owner.post(ADD, {**typed, "why": "x" * most})
    assert Task.objects.get().why == "x" * most + added
    # A reason that says so already gets nothing added, and has all the room.
    said = f"{'y' * 200}{added}{'y' * (100 - len(added))}"
    assert owner.post(ADD, {**typed, "why": said}).status_code == 303
    assert Task.objects.filter(why=said).exists()


def test_a_recount_needs_no_heads_and_is_done_by_a_haul(owner):
    owner.post(ADD, {"verb": "RECOUNT", "pond": "A", "why": "too old"})
    (task,) = open_tasks()
    assert task.sentence == "Recount"
    haul = HaulDraft("SEINE", (CatchLine("slider", "MALE", 3),))
    ledger.record(Draft(uuid.uuid4(), today(), pond="A", haul=haul, tasks=(task.id,)), by=None, today=today())
    assert open_tasks() == []


def test_a_task_is_open_until_all_its_heads_are_done_and_again_once_that_is_taken_back(owner):
    task = make(heads=6)
    do(task, 4)
    assert [(one.heads_done, one.heads_left, one.progress) for one in open_tasks()] == [(4, 2, "4 of 6 done")]
    last = do(task, 2)
    assert open_tasks() == []
    assert "Take out 6 Slider males" in words(owner.get(TASKS, {"state": "DONE"}))
    ledger.reverse(last, key=uuid.uuid4(), by=owner.user, today=today())
    assert [one.heads_left for one in open_tasks()] == [2]


def test_a_correction_line_by_line_keeps_what_the_move_did_of_its_task(owner):
    task = make(heads=6)
    sold = Line("slider", "MALE", "A", "SOLD", 4)
    draft = Draft(uuid.uuid4(), today(), (sold,), made_as="OFFICE", tasks=(task.pk,))
    move = Move.objects.get(pk=ledger.record(draft, by=owner.user, today=today()).move_id)
    sent = {
        "key": str(uuid.uuid4()), "day": today().isoformat(), "lines-TOTAL_FORMS": "1", "lines-0-heads": "3",
        "lines-0-kind": "slider", "lines-0-of_class": "MALE", "lines-0-source": "A", "lines-0-target": "SOLD",
    }  # fmt: skip
    assert owner.post(reverse("stock:move-correct", args=[move.key]), sent).status_code == 303
    assert [one.progress for one in open_tasks()] == ["3 of 6 done"]


def test_what_is_logged_late_for_a_closed_month_was_done_after_it(owner):
    """The pond of that month stands without it, so an old month's remedies must take it off."""
    first = today().replace(day=1)
    last = first - dt.timedelta(days=1)
    task = make(heads=6)
    month = STOOD_ON.replace(day=1)
    while month < first:
        ledger.close_month(month, by=owner.user, today=today())
        month = next_month(month)
    sold = Line("slider", "MALE", "A", "SOLD", 4)
    ledger.record(
        Draft(uuid.uuid4(), last, (sold,), pond="A", tasks=(task.pk,)), by=owner.user, today=today()
    )
    move = Move.objects.latest("pk")
    assert (move.happened_on, move.booked_on) == (last, first)
    assert done_heads(Pond.objects.get(code="A").pk, last) == {"slider": {("TAKE_OUT", "MALE"): 4}}
    assert done_heads(Pond.objects.get(code="A").pk, first) == {}


def test_the_list_shows_open_tasks_unless_asked_otherwise(owner):
    make(heads=6, why="open one")
    do(make(heads=3, why="done one"), 3)
    dropped = make(heads=9, why="dropped one")
    task_book.drop(dropped, why="sold the pond", by=owner.user)

    def shown(**asked):
        text = words(owner.get(TASKS, asked))
        return {name for name in ("open one", "done one", "dropped one") if f">{name}</td>" in text}

    assert shown() == {"open one"}
    assert shown(state="DONE") == {"done one"}
    assert shown(state="DROPPED") == {"dropped one"}
    assert shown(state="") == {"open one", "done one", "dropped one"}
    assert shown(state="", q="done") == {"done one"}
    assert shown(state="", pond="B") == set()


def test_the_list_is_sorted_and_exported(owner):
    make(heads=6)
    make(pond="B", verb="ADD", of_class="FEMALE", heads=40)
    for sort in ("pond", "-pond", "heads", "-due_on", "state", "what"):
        assert owner.get(TASKS, {"sort": sort}).status_code == 200
    exported = owner.get(TASKS, {"_export": "csv"}).content.decode()
    assert "Add 40 Slider females,B,0,40" in exported


def test_a_task_is_dropped_for_a_reason_and_once(owner):
    task = make()
    address = reverse("stock:task-drop", args=[task.pk])
    assert "Say in a few words why it is dropped." in words(owner.post(address, {"why": " "}))
    assert owner.post(address, {"why": "not needed"}).status_code == 303
    assert open_tasks() == []
    assert "was dropped already: not needed" in words(owner.post(address, {"why": "again"}))


def test_a_done_task_is_not_dropped(owner):
    task = make(heads=2)
    do(task, 2)
    text = words(owner.post(reverse("stock:task-drop", args=[task.pk]), {"why": "late"}))
    assert "This task is done; there is nothing to drop." in text


def test_a_hand_sees_how_to_log_a_task_and_an_owner_also_how_to_drop_it(hand, owner, reader):
    task = make()
    log, drop = f"/log/?task={task.pk}", reverse("stock:task-drop", args=[task.pk])
    pages = {name: words(one.get(TASKS)) for name, one in (("h", hand), ("o", owner), ("r", reader))}
    assert (log in pages["h"], drop in pages["h"]) == (True, False)
    assert (log in pages["o"], drop in pages["o"]) == (True, True)
    assert (log in pages["r"], drop in pages["r"]) == (False, False)


def test_open_tasks_are_one_query_and_the_list_asks_the_same_number_at_three_rows_and_at_three_hundred(
    owner, django_assert_num_queries
):
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert owner.get(TASKS, {"per_page": 100}).status_code == 200
        return len(asked)

    for heads in (1, 2, 3):
        make(heads=heads)
    few = queries()
    for heads in range(4, 301):
        make(heads=heads)
    assert queries() == few
    with django_assert_num_queries(1):
        assert len(open_tasks()) == 300


def test_dropped_tasks_are_left_out_before_anything_is_summed_up(owner):
    dropped, kept = make(heads=3), make(heads=4)
    assert owner.post(reverse("stock:task-drop", args=[dropped.pk]), {"why": "not needed"}).status_code == 303
    with CaptureQueriesContext(connection) as asked:
        assert [task.id for task in open_tasks()] == [kept.pk]
    before_sums = asked[0]["sql"].split("GROUP BY")[0]
    assert before_sums.endswith('WHERE "stock_task"."dropped_at" IS NULL ')
    assert [task.id for task in open_tasks(also=[dropped.pk])] == [dropped.pk, kept.pk]
