"""Today: what waits for somebody, and that each line leads to its remedy."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from ponds import lot_book
from ponds.farm import the_farm
from ponds.lot_drafts import BasketDraft, LotDraft
from ponds.models import Pond, PondState
from stock import ledger
from stock.drafts import BatchDraft, PaperDraft
from stock.models import Batch, LastLook, Move, Paper, RefusedAside, RefusedPost, Task
from tests.factories import KindFactory
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(owner):
    """One pond in band, opened in this month and papered: nothing waits."""
    farm = FarmOfPonds(owner.user)
    farm.pond("A", days=0, females=300, males=100)
    Paper.objects.create(batch=Batch.objects.get(), document="Bill of sale 7")
    return farm


def todo(client):
    return client.get(reverse("stock:pond-list")).context["todo"]


def waiting(client, about):
    return [line for line in todo(client).waiting if line.about == about]


def test_nothing_to_show_is_one_calm_sentence(owner, farm):
    assert todo(owner).is_calm
    assert "Nothing waits" in owner.get(reverse("stock:pond-list")).content.decode()


def test_what_the_bank_logged_is_new_until_it_is_seen(owner, hand, farm):
    receipt = farm.haul("A", 30, 10, days=0, lines=[("MALE", "A", "SOLD", 4)])
    (line,) = todo(owner).bank.lines
    assert "4 Slider males sold from A" in line.sentence
    assert line.url == reverse("stock:move-detail", args=[receipt.key])
    response = owner.post(reverse("stock:looked"), {"at": timezone.now().isoformat()})
    assert response.status_code == 303
    assert todo(owner).bank.lines == ()
    # Each person has a look of their own.
    assert len(todo(hand).bank.lines) == 1


def test_seen_reaches_only_to_when_the_page_was_made(owner, farm):
    made = timezone.now()
    farm.haul("A", 30, 10, days=0)
    owner.post(reverse("stock:looked"), {"at": made.isoformat()})
    assert len(todo(owner).bank.lines) == 1


@pytest.mark.parametrize("at", ["", "never", "2031-02-31T00:00:00+00:00", "2199-01-01T00:00:00+00:00"])
def test_seen_with_a_time_that_cannot_be_is_seen_now(owner, farm, at):
    farm.haul("A", 30, 10, days=0)
    owner.post(reverse("stock:looked"), {"at": at})
    assert LastLook.objects.get(user=owner.user).looked_at <= timezone.now()
    assert todo(owner).bank.lines == ()


def test_a_reader_may_not_say_seen(reader, farm):
    assert reader.post(reverse("stock:looked")).status_code == 403
    assert not LastLook.objects.exists()


def test_what_was_beyond_the_book_waits_until_a_count_settles_it(owner, farm):
    farm.pond("B", days=40)
    receipt = farm.haul("B", 7, 0, days=10)
    (line,) = waiting(owner, "Beyond the book")
    assert "7 Slider females" in line.sentence
    assert line.url == reverse("stock:move-detail", args=[receipt.key])
    farm.opening("B", days=5, males=2)
    assert waiting(owner, "Beyond the book") == []


def test_a_beyond_the_book_post_that_was_taken_back_does_not_wait(owner, farm):
    farm.pond("B", days=40)
    receipt = farm.haul("B", 7, 0, days=10)
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert waiting(owner, "Beyond the book") == []


def test_a_refused_post_waits_with_its_sentence(owner, farm):
    RefusedPost.objects.create(
        key=uuid.uuid4(), sentence="Pond A holds 6.", typed={"pond": ["A"]}, by_name="Wren"
    )
    (line,) = waiting(owner, "Refused")
    assert "Wren" in line.sentence
    assert "Pond A holds 6." in line.sentence
    assert line.url.startswith(reverse("stock:log"))


def test_a_refused_post_is_set_aside_with_a_reason_and_stays_to_be_read(owner, hand, farm):
    refused = RefusedPost.objects.create(
        key=uuid.uuid4(), sentence="Pond A holds 6.", typed={"note": ["seven of them"]}, by_name="ibis"
    )
    page, aside = reverse("stock:refused-list"), reverse("stock:refused-aside", args=[refused.pk])
    assert aside in owner.get(page).content.decode()
    assert aside not in hand.get(page).content.decode()
    answer = owner.post(aside, {"reason": "  "})
    assert answer.status_code == 422
    assert "Say in a few words why it is not to be booked" in answer.content.decode()
    answer = owner.post(aside, {"reason": "x" * 301})
    assert "The reason has 301 characters; 300 fit" in answer.content.decode()
    assert "x" * 301 in answer.content.decode()
    assert waiting(owner, "Refused")
    # Pressed twice it is set aside once, with the first reason.
    for reason in ("it was typed twice", "another"):
        assert owner.post(aside, {"reason": reason}).status_code == 303
    assert [(one.reason, one.by_name) for one in RefusedAside.objects.all()] == [
        ("it was typed twice", owner.user.username)
    ]
    assert waiting(owner, "Refused") == []
    text = owner.get(page).content.decode()
    assert "it was typed twice" in text
    assert "seven of them" in text
    # Sent again and refused again, it waits again; the older one can no longer be set aside.
    again = RefusedPost.objects.create(
        key=refused.key, sentence="Pond A holds 5.", typed={"note": ["six"]}, by_name="ibis"
    )
    older = RefusedPost.objects.create(
        key=uuid.uuid4(), sentence="No.", typed={"note": ["x"]}, by_name="ibis"
    )
    RefusedPost.objects.create(key=older.key, sentence="No again.", typed={"note": ["y"]}, by_name="ibis")
    said = " ".join(line.sentence for line in waiting(owner, "Refused"))
    assert ("Pond A holds 5." in said, "Pond A holds 6." in said) == (True, False)
    answer = owner.post(reverse("stock:refused-aside", args=[older.pk]), {"reason": "late"})
    assert "It was posted, or sent again, meanwhile" in answer.content.decode()
    assert RefusedAside.objects.count() == 1
    assert not RefusedAside.objects.filter(refused=again).exists()


def test_a_pond_losing_heads_leads_to_its_deaths(owner, farm):
    farm.pond("B", days=360, females=100, males=30)
    farm.post(("FEMALE", "B", "DIED", 40, {"cause": "BITES"}), days=20)
    (line,) = waiting(owner, "Losing heads")
    assert "40 deaths" in line.sentence
    assert line.url == reverse("stock:pond-detail", args=["B"]) + "#deaths"


@pytest.mark.parametrize(("ends_in", "waits"), [(14, True), (15, False), (-3, True)])
def test_a_quarantine_waits_two_weeks_before_its_end_and_after_it(owner, farm, ends_in, waits):
    pond = farm.pond("Q", days=60)
    ends_on = farm.today + dt.timedelta(days=ends_in)
    PondState.objects.create(pond=pond, from_on=farm.ago(30), state="QUARANTINE", ends_on=ends_on)
    lines = waiting(owner, "Quarantine")
    assert bool(lines) == waits
    assert all(line.url == reverse("ponds:pond-state", args=["Q"]) for line in lines)
    assert all(line.is_bad == (ends_in < 0) for line in lines)


def test_batches_without_papers_wait_and_those_of_protected_kinds_first(owner, farm):
    snapper = KindFactory(code="snapper", common_name="Snapper", listing="CITES App. II")
    farm.pond("S", kind=snapper, days=0, females=30, males=10)
    farm.post(("FEMALE", "BOUGHT", "A", 5, {"batch": "HERON"}), days=0,
              batches=(BatchDraft("HERON", "BOUGHT", farm.today, party="Heron Ponds"),))  # fmt: skip
    farm.post(("FEMALE", "RAISED", "A", 5, {"batch": "OWN"}), days=0,
              batches=(BatchDraft("OWN", "RAISED", farm.today),))  # fmt: skip
    first, second = waiting(owner, "Papers missing")
    assert "OPEN-S-snapper" in first.sentence
    assert "CITES App. II" in first.sentence
    assert first.is_bad
    assert "HERON" in second.sentence
    assert second.url == reverse("stock:batch-detail", args=["HERON"])


def test_a_purchase_that_was_taken_back_asks_for_no_papers(owner, farm):
    bought = farm.post(("FEMALE", "BOUGHT", "A", 5, {"batch": "HERON"}), days=0,
                       batches=(BatchDraft("HERON", "BOUGHT", farm.today),))  # fmt: skip
    lists = reverse("stock:batch-list")
    assert waiting(owner, "Papers missing")[0].url == reverse("stock:batch-detail", args=["HERON"])
    ledger.reverse(Move.objects.get(pk=bought.move_id), key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert not any("HERON" in line.sentence for line in waiting(owner, "Papers missing"))
    shown = owner.get(lists, {"unpapered": "on"}).context["table"].rows
    assert "HERON" not in [row.record.code for row in shown]
    for address in (lists, reverse("stock:batch-detail", args=["HERON"])):
        assert "taken back: nothing came in" in owner.get(address).content.decode()


def test_a_licence_and_a_paper_that_expire_wait_sixty_days_before(owner, farm):
    book = the_farm()
    book.licence_expires_on = farm.today + dt.timedelta(days=60)
    book.save()
    paper = PaperDraft(document="Permit 9", expires_on=farm.today - dt.timedelta(days=1))
    farm.post(("FEMALE", "BOUGHT", "A", 5, {"batch": "HERON"}), days=0,
              batches=(BatchDraft("HERON", "BOUGHT", farm.today, paper=paper),))  # fmt: skip
    assert "in 60 days" in waiting(owner, "Licence")[0].sentence
    (line,) = waiting(owner, "Paper expiring")
    assert "Permit 9" in line.sentence
    assert line.is_bad


def test_a_count_waits_after_eighteen_months_and_the_owner_makes_it_a_task(owner, hand, farm):
    farm.pond("B", days=547, females=30, males=10)
    assert waiting(owner, "Count too old") == []
    farm.pond("C", days=560, females=30, males=10)
    (line,) = waiting(owner, "Count too old")
    assert line.url.startswith(reverse("stock:task-add") + "?pond=C&verb=RECOUNT&kind=slider")
    assert waiting(hand, "Count too old")[0].url == reverse("stock:pond-detail", args=["C"])


def test_a_task_waits_once_it_is_overdue_and_leads_to_log(owner, reader, farm):
    pond = farm.pond("B", days=0, females=30, males=10)
    due = {"pond": pond, "verb": "RECOUNT", "decided_on": farm.ago(9), "by_name": "wren"}
    Task.objects.create(**due, due_on=farm.today)
    late = Task.objects.create(**due, due_on=farm.ago(1))
    (line,) = waiting(owner, "Task overdue")
    assert line.url == f"{reverse('stock:log')}?pond=B&task={late.pk}"
    assert waiting(reader, "Task overdue")[0].url == reverse("stock:pond-detail", args=["B"])


def test_months_wait_a_month_after_their_end(owner, farm):
    assert waiting(owner, "Months open") == []
    farm.pond("B", days=130, females=30, males=10)
    (line,) = waiting(owner, "Months open")
    assert "months are not closed" in line.sentence or "is not closed" in line.sentence
    month = farm.ago(130).replace(day=1)
    while month < (farm.today.replace(day=1) - dt.timedelta(days=1)).replace(day=1):
        ledger.close_month(month, by=owner.user, today=farm.today)
        month = (month + dt.timedelta(days=32)).replace(day=1)
    assert waiting(owner, "Months open") == []


def test_more_of_one_sort_than_three_are_summed_up(owner, farm):
    for code in "BCDEF":
        farm.pond(code, days=700, females=30, males=10)
    lines = waiting(owner, "Count too old")
    assert len(lines) == 4
    assert "And 2 more" in lines[-1].sentence
    rows = owner.get(lines[-1].url).context["table"].rows
    assert [row.record.pond for row in rows] == list("BCDEF")


def test_more_refused_posts_lead_to_the_list_that_shows_them(owner, reader, farm):
    for number in range(5):
        RefusedPost.objects.create(
            key=uuid.uuid4(), sentence=f"No {number}.", typed={"note": ["x"]}, by=owner.user, by_name="wren"
        )
    *_, last = waiting(owner, "Refused")
    text = owner.get(last.url).content.decode()
    assert all(f"No {number}." in text for number in range(5))
    assert waiting(reader, "Refused")[-1].url == ""


def test_what_the_bank_logged_says_the_day_it_happened_and_when_it_was_logged(owner, farm):
    farm.haul("A", 30, 10, days=0)
    assert ", logged " not in todo(owner).bank.lines[0].sentence
    farm.pond("B", days=40, females=30, males=10)
    farm.haul("B", 3, 1, days=6)
    happened, today = (f"{day.day} {day:%b %Y}" for day in (farm.ago(6), farm.today))
    assert f"{happened}, logged {today}, by " in todo(owner).bank.lines[0].sentence


def test_egg_lots_to_candle_due_and_late_lead_to_the_lot(owner, farm):
    kind, pond = farm.slider, Pond.objects.get(code="A")
    for code, days_ago in (("OLD", 200), ("DUE", 20), ("NEW-1", 1)):
        day = farm.ago(days_ago)
        draft = LotDraft(
            key=uuid.uuid4(), code=code, kind=kind, set_on=day, baskets=(BasketDraft(pond, day, 90),),
        )  # fmt: skip
        lot_book.open_lot(draft, by=owner.user, today=farm.today)
    lines = waiting(owner, "Egg lot")
    assert [line.url for line in lines] == [
        reverse("ponds:lot-detail", args=[code]) for code in ("OLD", "DUE")
    ]
    assert lines[0].is_bad
    assert "Lot OLD, 90 eggs of Slider, should have hatched by" in lines[0].sentence
    assert "Lot DUE, 90 eggs of Slider, is to be candled from" in lines[1].sentence
