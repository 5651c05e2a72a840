"""Plans of new females that were saved: opened again, made into tasks, carried out, changed, and cancelled."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.farm import the_farm
from ponds.models import PondState
from stock import ledger, placing_book, task_book
from stock.drafts import BatchDraft, Draft, Line
from stock.models import Move, PlacingStop, SavedPlacing, Task
from stock.placing_grounds import read_grounds
from stock.placing_today import answer_today, question_of
from stock.pond_facts import pond_kinds
from stock.saved_placings import stops_of, with_state
from stock.tasks import open_tasks
from tests.pages.test_new_females import TASKS, ask, farm, plan, stand, words  # noqa: F401

pytestmark = pytest.mark.django_db
SAVE = "/new-females/save/"


def save(owner, **asked):
    """Ask, save the best or what is given by hand, and return the saved plan."""
    by_hand = {name: asked.pop(name) for name in list(asked) if name.startswith("pond-")}
    sent = plan(ask(owner, **asked, **by_hand))
    answer = owner.post(SAVE, sent | asked.get("more", {}))
    assert answer.status_code == 303, words(answer)
    return SavedPlacing.objects.get(key=sent["key"])


def open_again(client, placing):
    return client.get(reverse("stock:placing-detail", args=[placing.key]))


def make_tasks(owner, placing, **more):
    return owner.post(reverse("stock:placing-tasks", args=[placing.key]), more, follow=True)


def bring(by, heads, *, target="A", source="BOUGHT", tasks=(), days=0):
    """Post females at the bank against tasks."""
    day = the_farm().today() - dt.timedelta(days=days)
    batch = "" if source != "BOUGHT" else "NEW-1"
    draft = Draft(
        key=uuid.uuid4(),
        happened_on=day,
        lines=(Line("slider", "FEMALE", source, target, heads, batch=batch),),
        pond=target,
        batches=(BatchDraft(batch, "BOUGHT", day),) if batch else (),
        tasks=tuple(tasks),
    )
    ledger.record(draft, by=by, today=the_farm().today())
    return Move.objects.get(key=draft.key)


def die_in(by, pond, females):
    """Log so many females found dead today."""
    lines = (Line("slider", "FEMALE", pond, "DIED", females),)
    draft = Draft(key=uuid.uuid4(), happened_on=the_farm().today(), lines=lines, pond=pond)
    ledger.record(draft, by=by, today=the_farm().today())


def task_of(pond):
    return next(task.id for task in open_tasks() if task.pond == pond)


def states():
    return [placing.state for placing in with_state(SavedPlacing.objects.order_by("pk"))]


def quarantine(pond, *, days=0, ends=30, state="QUARANTINE"):
    today = the_farm().today()
    PondState.objects.create(
        pond=pond,
        from_on=today - dt.timedelta(days=days),
        state=state,
        ends_on=today + dt.timedelta(days=ends) if state == "QUARANTINE" else None,
    )


def test_a_plan_keeps_what_it_rested_on_and_is_saved_once(owner, farm):  # noqa: F811
    sent = plan(ask(owner, heads=150)) | {"note": "For the spring."}
    for _ in range(2):
        answer = owner.post(SAVE, sent, follow=True)
    assert "This plan was saved already: here it is." in words(answer)
    placing = SavedPlacing.objects.get()
    assert (placing.heads, placing.note, placing.by_name, placing.is_by_hand) == (
        150,
        "For the spring.",
        "owner",
        False,
    )
    assert sorted(placing.stops.values_list("pond__code", "heads", "best")) == [
        ("A", 120, 120),
        ("B", 30, 30),
    ]
    assert placing.grounds["seed"] == 20_260
    assert placing.grounds["draws"] == 1000
    assert {pond["code"] for pond in placing.grounds["ponds"]} == set("ABCDE")
    assert not Task.objects.exists()
    text = words(open_again(owner, placing))
    today = the_farm().today()
    for told in (
        f"How far is the plan of {today.day} {today:%b %Y}, by owner?",
        "150 Slider females: <strong>saved</strong>. For the spring.",
        "Nothing: by the book the ponds hold what they held",
        "as many as the best of today",
        "Make these tasks: 120 to A, 30 to B",
        "seed 20260",
        "Even split:",
        "20 males must leave",
    ):
        assert told in text, told


def test_the_same_key_with_another_plan_is_refused(owner, farm):  # noqa: F811
    sent = plan(ask(owner, heads=150))
    owner.post(SAVE, sent)
    answer = owner.post(SAVE, sent | {"pond-A": "100"}, follow=True)
    assert "This page has saved another plan already" in words(answer)
    assert SavedPlacing.objects.count() == 1
    # Two sendings at once: the second meets the first one's row only when it writes.
    placing = SavedPlacing.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        SavedPlacing.objects.create(
            key=placing.key,
            kind=placing.kind,
            heads=1,
            is_by_hand=False,
            grounds={},
            saved_on=placing.saved_on,
        )


def test_an_answer_that_has_changed_is_not_saved(owner, farm):  # noqa: F811
    sent = plan(ask(owner, heads=150))
    bring(owner.user, 20)
    answer = owner.post(SAVE, sent, follow=True)
    assert (
        "Nothing was saved. The ponds, or what is decided for them, changed since this page was made."
        in words(answer)
    )
    assert not SavedPlacing.objects.exists()


def test_by_hand_the_loss_is_kept_and_told(owner, farm):  # noqa: F811
    # Beyond 2.4 females a male fertility falls, so the ponds differ.
    placing = save(owner, heads=60, full_to="2.4", **{"pond-B": "60"})
    assert placing.is_by_hand
    assert dict(placing.stops.values_list("pond__code", "best")) == {"B": 0}
    grounds = placing.grounds
    assert grounds["best_total"] - grounds["total"] > 1
    text = words(open_again(owner, placing))
    assert "hatched eggs fewer than the best of" in text
    assert "The best of today: " in text


def test_done_left_more_than_planned_and_taken_back(owner, hand, farm):  # noqa: F811
    placing = save(owner, heads=150)
    answer = make_tasks(owner, placing)
    assert "2 tasks made: 120 to A, 30 to B." in words(answer)
    assert "made no second time" not in words(answer)
    assert "nothing was made twice" in words(make_tasks(owner, placing))
    assert Task.objects.count() == 2
    assert states() == ["TASKS_MADE"]
    bring(hand.user, 70, tasks=[task_of("A")])
    assert states() == ["PART_DONE"]
    text = words(open_again(owner, placing))
    assert "70 of 120 done, 50 left" in text
    # What the plan brought is no change of the ponds.
    assert "Nothing: by the book the ponds hold what they held" in text
    last = bring(hand.user, 55, tasks=[task_of("A")])
    text = words(open_again(owner, placing))
    assert "done, and 5 more than planned" in text
    # Five too many in A do not stand for five of B.
    assert states() == ["PART_DONE"]
    bring(hand.user, 30, target="B", tasks=[task_of("B")])
    assert states() == ["DONE"]
    assert "<strong>done</strong>, 155 brought. 5 more than planned." in words(open_again(owner, placing))
    assert words(open_again(owner, placing)).count("/moves/") >= 3
    ledger.reverse(last, key=uuid.uuid4(), by=owner.user, today=the_farm().today())
    assert states() == ["PART_DONE"]
    assert [stop.left for stop in stops_of(placing)] == [50, 0]


def test_what_changed_since_is_said_and_stops_the_tasks(owner, hand, farm):  # noqa: F811
    placing = save(owner, heads=150)
    quarantine(farm["A"])
    bring(hand.user, 12, target="B")
    answer = make_tasks(owner, placing)
    text = words(answer)
    assert "No task was made. Pond A cannot take 120: In quarantine" in text
    assert "Pond A was in use and is now in quarantine, due to end on" in text
    assert "Pond B held 300 females and 100 males by the book, and now holds 312 and 100." in text
    assert "As planned this cannot be done now" in text
    assert not Task.objects.exists()
    # The way out: the heads left are asked about again, with the plan's own heads filled in.
    changed = owner.get(answer.context["change_url"])
    assert changed.context["instead_of"] == placing
    assert "You are changing" in words(changed)


def test_what_was_so_before_and_ponds_without_a_part_in_it_are_no_change(owner, hand, farm):  # noqa: F811
    # C has too many males (1.2 : 1), and 40 of its 120 females died before the plan was saved: it is losing heads.
    die_in(hand.user, "C", 40)
    placing = save(owner, heads=60)
    assert [stop.pond for stop in stops_of(placing)] == ["A"]
    text = words(open_again(owner, placing))
    assert "Nothing: by the book the ponds hold what they held" in text
    # More die there, and it still can take none: it does not matter to the plan.
    die_in(hand.user, "C", 3)
    assert "Nothing: by the book" in words(open_again(owner, placing))
    # B was full of its share and no part of the plan either, but what left it makes room that can be used.
    draft = Draft(key=uuid.uuid4(), happened_on=the_farm().today(), pond="B",
                  lines=(Line("slider", "FEMALE", "B", "SOLD", 90),))  # fmt: skip
    ledger.record(draft, by=hand.user, today=the_farm().today())
    text = words(open_again(owner, placing))
    assert "Pond B held 300 females and 100 males by the book, and now holds 210 and 100." in text
    assert "Pond C" not in text.split("What changed since?")[1].split("<h2>")[0]


def test_a_pond_that_could_take_none_when_it_was_saved_and_can_now_is_named(owner, hand, farm):  # noqa: F811
    placing = save(owner, heads=60)
    draft = Draft(key=uuid.uuid4(), happened_on=the_farm().today(), pond="C",
                  lines=(Line("slider", "MALE", "C", "SOLD", 60),))  # fmt: skip
    ledger.record(draft, by=hand.user, today=the_farm().today())
    # 120 females to 40 males: the band ends at 4.5 x 40 = 180 females, so 60 more.
    assert "Pond C could take none then; it could take 60 now." in words(open_again(owner, placing))


def test_arrivals_in_quarantine_are_saved_now_and_placed_once_sexed_and_released(owner, hand, farm):  # noqa: F811
    text = words(owner.get("/new-females/"))
    ends = the_farm().today() + dt.timedelta(days=30)
    assert "Waiting: in quarantine, or not sexed yet" in text
    assert "/new-females/?heads=10&kind=slider&source=D" in text
    assert f"due {ends.day} {ends:%b %Y}" in text
    assert "Sex the 80 unsexed, then release the pond when the quarantine is over." in text
    page = ask(owner, heads=40, source="D")
    assert "No task can be made yet." in words(page)
    assert "Make this task" not in words(page)
    refused = owner.post(TASKS, plan(page), follow=True)
    assert "No task was made. Pond D is in quarantine. Nothing leaves it until it is released" in words(
        refused
    )
    placing = save(owner, heads=40, source="D")
    assert "40 females cannot be taken from pond D: by the book 10" in words(open_again(owner, placing))
    sheet = words(owner.get(reverse("stock:placing-sheet", args=[placing.key])))
    assert "Pond D is released from quarantine" in sheet
    assert "Sex them first" in sheet
    ledger.record(
        Draft(
            uuid.uuid4(),
            the_farm().today(),
            (Line("slider", "UNSEXED", "D", "D", 45, to_class="FEMALE"),),
            pond="D",
        ),
        by=hand.user,
        today=the_farm().today(),
    )
    assert "is in quarantine" in words(make_tasks(owner, placing))
    quarantine(farm["D"], state="IN_USE")
    assert "1 task made: 40 to A." in words(make_tasks(owner, placing))
    # 55 stand in D and 40 of them are decided for A.
    second = ask(owner, heads=20, source="D")
    assert "40 females there are decided for other ponds already" in words(second)
    assert second.context["not_yet"].startswith("20 females cannot be taken from pond D: by the book 55")
    bring(hand.user, 40, source="D", tasks=[task_of("A")])
    assert states() == ["DONE"]


def test_a_changed_plan_takes_the_place_of_the_first(owner, hand, farm):  # noqa: F811
    first = save(owner, heads=150)
    make_tasks(owner, first)
    bring(hand.user, 20, tasks=[task_of("A")])
    url = open_again(owner, first).context["change_url"]
    page = owner.get(url)
    assert page.context["advice"].question.heads == 130
    # Its own open tasks are not counted as decided for other females.
    assert not page.context["advice"].decided
    sent = plan(page, **{"pond-A": "90", "pond-B": "40"})
    answer = owner.post(SAVE, sent, follow=True)
    assert "130 Slider females" in words(answer)
    assert states() == ["REPLACED", "SAVED"]
    assert not open_tasks()
    text = words(open_again(owner, first))
    assert "took its place" in text
    assert "Task dropped: Changed:" in text
    assert "is not carried out any further" in words(
        make_tasks(owner, first)
    ) or "Nothing of this plan" in words(make_tasks(owner, first))
    assert not open_tasks()


def test_a_cancelled_plan_drops_its_tasks_and_keeps_what_was_brought(owner, hand, farm):  # noqa: F811
    placing = save(owner, heads=150)
    make_tasks(owner, placing)
    bring(hand.user, 20, tasks=[task_of("A")])
    url = reverse("stock:placing-cancel", args=[placing.key])
    assert "Say in a few words why" in words(owner.post(url, {"why": " "}))
    answer = owner.post(url, {"why": "The truck broke down."}, follow=True)
    assert "Cancelled. 2 open tasks dropped." in words(answer)
    assert "The truck broke down." in words(answer)
    assert states() == ["CANCELLED"]
    assert not open_tasks()
    assert [stop.done for stop in stops_of(placing)] == [20, 0]
    assert "is not carried out any further" in words(owner.post(url, {"why": "Again."}))
    assert "Do not load from this sheet" in words(
        owner.get(reverse("stock:placing-sheet", args=[placing.key]))
    )


def test_a_dropped_task_is_made_again_for_what_is_left(owner, hand, farm):  # noqa: F811
    placing = save(owner, heads=150)
    make_tasks(owner, placing)
    bring(hand.user, 20, tasks=[task_of("A")])
    task_book.drop(Task.objects.get(pk=task_of("A")), why="Pond too low.", by=owner.user)
    assert "Task dropped: Pond too low." in words(open_again(owner, placing))
    assert "1 task made: 100 to A." in words(make_tasks(owner, placing))
    assert [(task.pond, task.heads) for task in open_tasks()] == [("A", 100), ("B", 30)]


def test_tasks_made_meanwhile_by_another_plan_are_seen(owner, farm):  # noqa: F811
    one, other = save(owner, heads=60), save(owner, heads=70)
    make_tasks(owner, one)
    answer = make_tasks(owner, other)
    assert "Open tasks add females to these ponds already." in words(answer)
    assert "1 task made: 70 to A." in words(make_tasks(owner, other, second="yes"))
    # A browser whose answer is older than another's tasks.
    third = save(owner, heads=5)
    kind = third.kind
    today = the_farm().today()
    advice, source = answer_today(question_of(third, read_grounds(third.grounds), 5), kind, pond_kinds(today))
    task_book.make(
        pond=farm["B"], verb="ADD", kind=kind, of_class="FEMALE", heads=9, by=owner.user, today=today
    )
    with pytest.raises(placing_book.PlacingRefused, match="made just now"):
        placing_book.make_tasks(third, advice, source, by=owner.user, today=today)


def test_the_list_tells_each_plans_state_and_filters(owner, reader, farm):  # noqa: F811
    save(owner, heads=60)
    placing = save(owner, heads=150)
    make_tasks(owner, placing, second="yes")
    first = words(reader.get("/new-females/"))
    assert "Plans not carried out yet" in first
    assert "150 Slider females to 2 ponds. Plan of" in first
    page = words(reader.get("/new-females/plans/"))
    assert "tasks made" in page
    assert "saved" in page
    only = reader.get("/new-females/plans/?state=TASKS_MADE")
    assert [row.record.key for row in only.context["table"].rows] == [placing.key]
    found = reader.get("/new-females/plans/?q=B")
    assert [row.record.key for row in found.context["table"].rows] == [placing.key]
    assert reader.get("/new-females/plans/?_export=csv").status_code == 200


def test_plans_are_never_changed_or_deleted(owner, farm):  # noqa: F811
    placing = save(owner, heads=60)
    for table in ("stock_savedplacing", "stock_placingstop"):
        for statement in (f"UPDATE {table} SET heads = 1", f"DELETE FROM {table}"):
            with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statement)
    assert PlacingStop.objects.get(placing=placing).heads == 60


def test_opening_a_plan_asks_the_database_as_often_for_many_ponds(owner, farm):  # noqa: F811
    few = save(owner, heads=60)
    many = save(owner, heads=150)
    counts = []
    for placing in (few, many):
        open_again(owner, placing)
        with CaptureQueriesContext(connection) as queries:
            open_again(owner, placing)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 40, counts
