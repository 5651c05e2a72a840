"""The watch: what it points to, on whose page it stands, and that a note keeps it quiet until it grows."""

import re
import uuid

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models.append_only import NeverChanged
from stock import ledger, watch_facts
from stock.drafts import BatchDraft
from stock.models import Move, Task, WatchNote
from stock.watch_book import acknowledge
from stock.watch_facts import farm_watch
from stock.watch_page import noted_since, signals_on, watch_lines
from stock.watch_stops import stops_at
from tests.factories import PondFactory
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db
WATCH, NOTE = reverse("stock:watch"), reverse("stock:watch-note")


@pytest.fixture
def farm(owner):
    """Three ponds for a year and more, one death in each of the last months; nothing to point to."""
    return FarmOfPonds.of_a_quiet_year(owner.user)


def die(farm, code="B", females=15, days=1):
    return farm.post(("FEMALE", code, "DIED", females), days=days)


def note(client, farm, words="A dog came through the fence; mended.", **changed):
    row = {"key": uuid.uuid4(), "pond": "B", "kind": "slider", "subject": signal(farm).subject, "note": words}
    return client.post(NOTE, row | changed)


def month_of(farm):
    return f"{farm.ago(1):%Y-%m}"


def signal(farm):
    (line,) = watch_lines(farm_watch(farm.today))
    return line


def test_a_quiet_farm_says_so(reader, farm):
    text = reader.get(WATCH).content.decode()
    assert "Nowhere, as far as the register shows" in text
    assert "3 ponds together" in text


def test_a_farm_without_heads_has_nothing_to_watch(owner):
    assert "No pond holds heads yet" in owner.get(WATCH).content.decode()


def test_deaths_beyond_what_is_normal_are_named_with_their_sum_and_what_to_do(owner, reader, farm):
    die(farm)
    line = signal(farm)
    assert line.pond_code == "B"
    assert re.match(r"1\d (adults|females) died ", line.sentence)
    text = owner.get(WATCH).content.decode()
    for words in (line.sentence, "Stop all moves into the pond and out of it, and call a veterinarian.", "Salmonella",
                  "The arithmetic", "Normal there in that time", "It was looked into"):  # fmt: skip
        assert words in text
    assert "It was looked into" not in reader.get(WATCH).content.decode()
    # Its line on Today, on its own page, on no other's, and in the review of the month.
    (today,) = [
        row for row in owner.get(reverse("stock:pond-list")).context["todo"].waiting if row.about == "Watch"
    ]
    assert today.url == f"{WATCH}#{line.anchor}"
    assert f'id="{line.anchor}"' in text
    assert line.sentence in owner.get(reverse("stock:pond-detail", args=["B"])).content.decode()
    assert line.sentence not in owner.get(reverse("stock:pond-detail", args=["A"])).content.decode()
    month = f"{farm.ago(1):%Y-%m}"
    review = owner.get(reverse("stock:review-pond", args=[month, "B"])).content.decode()
    assert "normal there:" in review
    assert "More than that died." in review


def test_pages_that_advise_moves_say_where_the_watch_asks_to_stop_them(owner, farm):
    asked = {"kind": "slider", "females_in": "5"}
    told = "The watch, pond B:"
    assert told not in owner.get("/ponds/B/what-if/", asked).content.decode()
    die(farm)
    for page, names in (
        ("/ponds/B/what-if/", asked),
        ("/new-females/", {"kind": "slider", "heads": "5", "pond-B": "5"}),
    ):
        text = owner.get(page, names).content.decode()
        assert told in text
        assert "Stop all moves into the pond" in text
    assert told not in owner.get("/ponds/A/what-if/", asked).content.decode()


def test_while_the_watch_asks_to_stop_moves_no_remedy_is_one_press_away(owner, farm):
    farm.pond("D", days=420, females=100, males=100)  # short of females: remedies are offered
    pond, review = (
        reverse("stock:pond-detail", args=["D"]),
        reverse("stock:review-pond", args=[month_of(farm), "D"]),
    )
    moving = re.compile(r'href="/tasks/add/[^"]*verb=(ADD|TAKE_OUT)')
    after = "Only after the veterinarian has been and the signal is noted"
    for page in (pond, review):
        text = owner.get(page).content.decode()
        assert moving.search(text)
        assert after not in text
    die(farm, code="D")
    for page in (pond, review):
        text = owner.get(page).content.decode()
        assert not moving.search(text)
        assert after in text
        assert "Stop all moves into the pond and out of it, and call a veterinarian." in text
    assert "verb=RECOUNT" in text  # a count moves nothing
    add = reverse("stock:task-add")
    asked = {
        "verb": "ADD",
        "pond": "D",
        "heads": "5",
        "kind": "slider",
        "of_class": "FEMALE",
        "why": "Short of females.",
    }
    assert "The watch, pond D:" in owner.get(add, asked).content.decode()
    refused = owner.post(add, asked)
    assert "The watch asks to stop all moves of pond D" in refused.content.decode()
    assert not Task.objects.exists()
    assert owner.post(add, {**asked, "in_spite": "yes"}).status_code == 303
    assert Task.objects.get().why == (
        "Short of females; after the veterinarian has been and the signal is noted."
    )
    assert note(owner, farm, pond="D").status_code == 303
    for page in (pond, review):
        text = owner.get(page).content.decode()
        assert moving.search(text)
        assert after not in text


def test_a_month_that_signalled_stops_moves_until_its_signal_is_noted_and_then_says_by_whom(owner, farm):
    die(farm, days=40)
    day = farm.ago(39)
    (then,) = signals_on(day)
    asked = {"looked_back_on": day}
    assert then.subject in {line.subject for line in stops_at({"B"}, farm.today, **asked)}
    assert noted_since(then.pond_id, day, farm.today) == []
    acknowledge(then, note="The fence was down.", key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert then.subject not in {line.subject for line in stops_at({"B"}, farm.today, **asked)}
    (noted,) = noted_since(then.pond_id, day, farm.today)
    assert (noted.subject, noted.note.note) == (then.subject, "The fence was down.")
    # As it stood that day nobody had looked into it: the old picture stays as it was.
    assert [line.subject for line in signals_on(day)] == [then.subject]


def test_a_batch_stops_every_pond_it_went_to_and_all_of_them_say_so(owner, farm):
    for code in "QR":
        PondFactory(code=code, kinds=[farm.slider])
    farm.post(*(("FEMALE", "BOUGHT", code, 80, {"batch": "SPRING-1"}) for code in "QR"), days=20,
              batches=(BatchDraft("SPRING-1", "BOUGHT", farm.ago(20)),))  # fmt: skip
    farm.post(("FEMALE", "Q", "DIED", 6), ("FEMALE", "R", "DIED", 1), days=9)
    (line,) = [line for line in watch_lines(farm_watch(farm.today)) if line.subject == "batch SPRING-1"]
    assert len(line.ponds) == 2
    rows = owner.get(reverse("stock:pond-list")).context["table"].rows
    stands = {row.record.pond: row.record.facts.how_it_stands for row in rows}
    for code in "QR":
        assert "batch SPRING-1" in {one.subject for one in stops_at({code}, farm.today)}
        assert "deaths after a batch came" in stands[code]
        assert line.sentence in owner.get(reverse("stock:pond-detail", args=[code])).content.decode()
    assert stops_at({"A"}, farm.today) == []
    assert "deaths" not in stands["A"]


def test_every_signal_is_called_on_its_pond_what_the_watch_calls_it(owner, farm):
    """Males alone die in one pond, where a quarter are males, and fifteen females at once in another."""
    farm.pond("D", days=420, females=300, males=100)
    for days in range(10, 340, 30):
        farm.post(("MALE", "D", "DIED", 2), days=days)
    die(farm)
    lines = signals_on(farm.today)
    called = {}
    for line in lines:
        called.setdefault(line.pond_code, set()).add(line.title)
    assert {title for titles in called.values() for title in titles} >= {"mostly males died"}
    assert len({title for titles in called.values() for title in titles}) > 1
    page = owner.get(WATCH).content.decode()
    rows = owner.get(reverse("stock:pond-list")).context["table"].rows
    for row in rows:
        words = {tag.words for tag in row.record.facts.tags}
        titles = called.get(row.record.pond, set())
        assert titles <= words
        assert not (words - titles) & {line.title for line in lines}
        pond = owner.get(reverse("stock:pond-detail", args=[row.record.pond])).content.decode()
        assert all(f">{title}</span>" in pond and f">{title}</span>" in page for title in titles)


def test_a_death_taken_back_takes_its_signal_back(farm, owner):
    receipt = die(farm)
    assert signal(farm)
    ledger.reverse(Move.objects.get(key=receipt.key), key=uuid.uuid4(), by=owner.user, today=farm.today)
    assert watch_lines(farm_watch(farm.today)) == []


def test_a_note_keeps_a_signal_quiet_until_it_grows(owner, farm):
    die(farm)
    assert note(owner, farm).status_code == 303
    row = WatchNote.objects.get()
    assert (row.pond.code, row.by_name, row.noted_on) == ("B", owner.user.username, farm.today)
    text = owner.get(WATCH).content.decode()
    assert "Looked into, and not grown since" in text
    assert "A dog came through the fence" in text
    assert not [
        one for one in owner.get(reverse("stock:pond-list")).context["todo"].waiting if one.about == "Watch"
    ]
    die(farm, females=12, days=0)
    assert "It has grown since." in owner.get(WATCH).content.decode()


def test_the_same_key_twice_is_one_note_and_notes_are_append_only(owner, farm):
    die(farm)
    key = uuid.uuid4()
    assert [note(owner, farm, key=key).status_code for _ in range(2)] == [303, 303]
    row = WatchNote.objects.get()
    for change in (lambda: WatchNote.objects.filter(pk=row.pk).delete(), row.delete):
        with pytest.raises((DatabaseError, NeverChanged)), transaction.atomic():
            change()
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE stock_watchnote SET note = 'nothing'")
    assert WatchNote.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "status", "words"),
    [
        ({"note": " "}, 422, "Say in a few words what was found"),
        ({"note": "x" * 501}, 422, "501 characters; 500 fit"),
        ({"subject": "deaths of nobody"}, 409, "no longer points to this"),
        ({"key": "seven"}, 422, "open the watch again"),
    ],
)
def test_a_note_that_is_not_taken_says_why_and_keeps_what_was_typed(owner, farm, changed, status, words):
    die(farm)
    response = note(owner, farm, **changed)
    assert response.status_code == status
    text = response.content.decode()
    assert words in text
    assert WatchNote.objects.count() == 0


def test_only_an_owner_notes(hand, reader, farm):
    die(farm)
    for client in (hand, reader):
        assert note(client, farm).status_code == 403
    assert WatchNote.objects.count() == 0


def test_a_cluster_after_a_bought_batch_points_to_the_batch(owner, farm):
    PondFactory(code="Q", kinds=[farm.slider])
    farm.post(("FEMALE", "BOUGHT", "Q", 80, {"batch": "SPRING-1"}), days=20,
              batches=(BatchDraft("SPRING-1", "BOUGHT", farm.ago(20)),))  # fmt: skip
    farm.post(("FEMALE", "Q", "DIED", 6), days=9)
    (line,) = [line for line in watch_lines(farm_watch(farm.today)) if line.subject == "batch SPRING-1"]
    assert "after heads of batch SPRING-1 came into pond Q" in line.sentence
    assert "Look at the batch first." in line.sentence
    assert "/batches/SPRING-1/" in owner.get(WATCH).content.decode()


def test_the_queries_are_few_whatever_the_ponds_and_the_age(owner, farm):
    def cost():
        watch_facts.forget()
        with CaptureQueriesContext(connection) as asked:
            assert owner.get(WATCH).status_code == 200
        return len(asked)

    die(farm)
    few = cost()
    for code in "DEFGH":
        farm.pond(code, days=900, females=200, males=80)
        farm.post(("FEMALE", code, "DIED", 1), days=500)
    # More than half of them are the season's, which finds the nests missing; both are kept until something changes.
    assert cost() == few <= 58
    with CaptureQueriesContext(connection) as again:
        owner.get(WATCH)
    assert len(again) <= few - 6
