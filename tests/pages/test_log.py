"""The Log page, one sentence a test: one page, one move or none, and nothing typed is ever lost."""

from __future__ import annotations

import datetime as dt
import html
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind, Pond
from ponds.svg_marks import day_text
from stock import ledger, task_book
from stock.models import Batch, Entry, Haul, HaulLine, Move, Paper, RefusedPost, TaskMove
from stock.refused import still_refused
from stock.tasks import open_tasks
from tests.page_rules import page_faults
from tests.pages.bank import held, make_farm, sent_log, today

pytestmark = pytest.mark.django_db

LOG = "/log/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return html.unescape(response.content.decode())


def posted(response) -> Move:
    assert response.status_code == 303, words(response)[:4000]
    return Move.objects.exclude(made_as="OPENING").get()


def refused(response, *sentences: str) -> str:
    """The page says each sentence, keeps to the policy, and nothing at all was booked."""
    assert response.status_code == 200
    text = words(response)
    for sentence in sentences:
        assert sentence in text
    assert "Error: " in text.split("</title>")[0]
    assert page_faults(response) == []
    assert held("A") == (100, 40, 10)
    assert not Move.objects.exclude(made_as="OPENING").exists()
    assert not Haul.objects.exists()
    return text


FEMALES = {"of_class": "FEMALE"}
MALES = {"of_class": "MALE"}


def test_one_page_books_a_whole_haul_as_one_move(hand):
    move = posted(
        hand.post(
            LOG,
            sent_log(
                {**FEMALES, "back": "20", "moved": "12", "target": "C"},
                {**MALES, "back": "5", "dead": "2", "cause": "DROWNED", "sold": "1"},
                water="82",
                effort="3",
                note="ice on the bank",
            ),
        )
    )
    assert held("A") == (88, 37, 10)
    assert held("C") == (12, 0, 0)
    assert move.by == hand.user
    assert sorted(move.entries.values_list("reason", "heads", "cause")) == [
        ("DIED", 2, "DROWNED"), ("MOVED", 12, ""), ("SOLD", 1, ""),
    ]  # fmt: skip
    haul = move.haul
    assert (haul.effort, haul.water_typed, haul.water_unit) == (3.0, "82", "F")
    # 82 °F is 27.78 °C, 300.93 K: NIST SP 811, appendix B.8
    assert haul.water_mk == pytest.approx(300_928, abs=1)
    caught = {line.of_class: (line.caught, line.dead_in_net) for line in haul.lines.all()}
    assert caught == {"FEMALE": (32, 0), "MALE": (8, 2)}


def test_the_page_prepares_a_row_for_each_kind_and_class_by_the_book(hand):
    text = words(hand.get(LOG, {"pond": "A"}))
    for heading in ("Slider females", "Slider males", "Slider unsexed"):
        assert f"<legend>{heading}</legend>" in text
    assert "100 by the book" in text
    assert "Salmonella" in text
    assert "Found dead, no haul" in text


def test_marks_are_asked_for_where_heads_were_marked_and_the_field_is_empty(hand):
    first = sent_log({**FEMALES, "back": "20", "newly_marked": "20"}, {**MALES, "back": "4"})
    posted(hand.post(LOG, first))
    again = sent_log({**FEMALES, "back": "30"}, {**MALES, "back": "5"})
    with CaptureQueriesContext(connection) as queries:
        text = words(hand.post(LOG, again))
    assert "How many of the 30 Slider females carried marks? 20 were marked in pond A" in text
    # No male was marked, so nobody is asked about them.
    assert "Slider males carried marks" not in text
    assert sum("stock_haulline" in query["sql"] for query in queries) <= 2
    for said in ("0", "6"):
        answer = hand.post(LOG, sent_log({**FEMALES, "back": "30", "carrying_marks": said}))
        assert answer.status_code in (302, 303)
        assert HaulLine.objects.order_by("pk").last().carrying_marks == int(said)
    # Whoever says that it is right is taken at their word, and found only is no haul.
    confirmed = re.search(r'name="confirmed" value="(\w+)"', text)[1]
    for sent in ({**again, "confirmed": confirmed}, sent_log({**FEMALES, "dead": "1"}, how="NONE")):
        assert hand.post(LOG, sent).status_code in (302, 303)
    assert Move.objects.exclude(made_as="OPENING").count() == 5
    # Empty is booked as nobody having looked, not as none found.
    unsaid = HaulLine.objects.filter(carrying_marks=None).order_by("pk")
    assert list(unsaid.values_list("caught", flat=True)) == [20, 4, 30, 5]


def test_an_empty_pond_prepares_rows_of_what_may_live_there(hand):
    assert "<legend>Slider females</legend>" in words(hand.get(LOG, {"pond": "B"}))


def test_the_dead_are_posted_with_pond_number_and_one_button(hand):
    text = words(hand.get(LOG, {"pond": "A"}))
    assert text.count("<form") - text.count('action="/sign-out/"') == text.count("data-log"), (
        "one form, not two"
    )
    sent = sent_log({**FEMALES}, {**MALES}, how="", **{"dead-FEMALE-slider": "", "dead-MALE-slider": "2"})
    move = posted(hand.post(LOG, sent))
    assert held("A") == (100, 38, 10)
    assert move.entries.get().cause == "NOT_KNOWN"
    assert not Haul.objects.exists()


def test_the_dead_beside_a_haul_are_asked_about_and_neither_is_lost(hand):
    sent = sent_log({**FEMALES, "back": "41"}, **{"dead-MALE-slider": "2"})
    text = refused(hand.post(LOG, sent), "it is not clear whether they are part of it")
    assert 'name="dead-MALE-slider" value="2"' in text
    assert 'value="41"' in text


def test_a_wrong_number_of_dead_is_named_and_kept(hand):
    sent = sent_log({**FEMALES}, how="", **{"dead-FEMALE-slider": "two"})
    assert 'value="two"' in refused(hand.post(LOG, sent), "dead")


def test_heads_sexed_at_the_bank_leave_as_what_they_were_found_to_be(hand):
    posted(
        hand.post(
            LOG,
            sent_log({"of_class": "UNSEXED", "sexed_as": "MALE", "back": "1", "moved": "2", "target": "B"}),
        )
    )
    assert held("A") == (100, 41, 7)
    assert held("B") == (0, 2, 0)
    assert Haul.objects.get().lines.get().of_class == "MALE"


def test_a_second_row_of_the_same_class_goes_to_another_pond(hand):
    posted(
        hand.post(
            LOG,
            sent_log(
                {**FEMALES, "moved": "10", "target": "B"},
                {**FEMALES, "moved": "5", "target": "C", "back": "1"},
            ),
        )
    )
    assert (held("B")[0], held("C")[0]) == (10, 5)
    assert Haul.objects.get().lines.get().caught == 16


def test_arrivals_come_with_their_batch_and_papers(hand):
    sent = sent_log(
        how="NONE",
        arrivals=({**FEMALES, "heads": "20"}, {**MALES, "heads": "6"}),
        **{
            "batch-source": "BOUGHT", "batch-code": "spring", "batch-party": "Cypress Farm",
            "batch-generation": "FIRST", "batch-document": "Invoice 7",
        },
    )  # fmt: skip
    posted(hand.post(LOG, sent))
    assert held("A") == (120, 46, 10)
    batch = Batch.objects.get(code="spring")
    assert (batch.source, batch.party, batch.generation) == ("BOUGHT", "Cypress Farm", "FIRST")
    assert batch.papers.get().document == "Invoice 7"


def test_arrivals_sent_twice_are_booked_once(hand):
    sent = sent_log(
        how="NONE", arrivals=({**FEMALES, "heads": "9"},), **{"batch-source": "WILD", "batch-code": "spring"}
    )
    first, second = hand.post(LOG, sent), hand.post(LOG, sent)
    assert (first.status_code, second.status_code) == (303, 303)
    assert first["Location"] == second["Location"]
    assert held("A")[0] == 109


def test_a_batch_code_in_use_is_refused_beside_its_field(hand):
    text = refused(
        hand.post(
            LOG,
            sent_log(
                how="NONE",
                arrivals=({**FEMALES, "heads": "9"},),
                **{"batch-source": "WILD", "batch-code": "first"},
            ),
        ),
        "Batch first is in use",
    )
    assert 'value="9"' in text


def test_sold_heads_take_their_papers_along(hand):
    move = posted(
        hand.post(
            LOG, sent_log({**MALES, "sold": "4"}, **{"sale-party": "Bayou Pets", "sale-licence": "L-12"})
        )
    )
    assert (move.papers.get().party, move.papers.get().licence) == ("Bayou Pets", "L-12")


def test_a_listed_kind_asks_for_a_paper_and_blocks_nothing(hand):
    Pond.objects.get(code="A").kinds_allowed.add(Kind.objects.get(code="snapper"))
    response = hand.post(
        LOG,
        sent_log(
            how="NONE",
            arrivals=({**FEMALES, "kind": "snapper", "heads": "3"},),
            **{"batch-source": "WILD", "batch-code": "creek"},
        ),
        follow=True,
    )
    assert "Snapper is listed (CITES App. II)" in words(response)
    assert held("A", "snapper") == (3, 0, 0)


# Asked once more


def test_what_is_far_from_the_book_is_asked_once_more_and_then_booked(hand):
    sent = sent_log({**FEMALES, "moved": "40", "target": "B"})
    text = words(hand.post(LOG, sent))
    assert "40 of the 100 Slider females in pond A are said to have gone." in text
    assert "Yes, I counted that" in text
    assert held("A")[0] == 100
    tick = text.split('name="confirmed" value="')[1].split('"')[0]
    posted(hand.post(LOG, {**sent, "confirmed": tick}))
    assert held("B")[0] == 40
    assert not RefusedPost.objects.exists()


def test_a_tick_counts_only_for_what_it_was_asked_for(hand):
    sent = sent_log({**FEMALES, "moved": "40", "target": "B"})
    tick = words(hand.post(LOG, sent)).split('name="confirmed" value="')[1].split('"')[0]
    text = words(hand.post(LOG, {**sent, "rows-0-moved": "90", "confirmed": tick}))
    assert "90 of the 100" in text
    assert held("A")[0] == 100


def test_what_is_unusual_is_held_against_the_book_of_the_typed_day(hand):
    sent = sent_log({**FEMALES, "moved": "40", "target": "B"})
    tick = words(hand.post(LOG, sent)).split('name="confirmed" value="')[1].split('"')[0]
    posted(hand.post(LOG, {**sent, "confirmed": tick}))
    # Today 60 stand there; the day before it was 100, so 90 caught then were no wonder, and 134 are one.
    yesterday = today() - dt.timedelta(days=1)
    day = yesterday.isoformat()
    assert hand.post(LOG, sent_log({**FEMALES, "back": "90"}, day=day)).status_code == 303
    text = words(hand.post(LOG, sent_log({**FEMALES, "back": "134"}, day=day)))
    assert f"134 Slider females were handled; pond A held 100 by the book on {day_text(yesterday)}." in text


def test_more_than_five_dead_are_asked_once_more(hand):
    assert "6 dead on one day." in words(hand.post(LOG, sent_log({**FEMALES, "dead": "6"})))
    assert held("A")[0] == 100


def test_a_haul_that_caught_nothing_is_asked_once_more(hand):
    assert "The haul caught nothing." in words(hand.post(LOG, sent_log()))


def test_what_the_book_did_not_hold_is_booked_and_flagged(hand):
    sent = sent_log({**MALES, "back": "57"})
    tick = words(hand.post(LOG, sent)).split('name="confirmed" value="')[1].split('"')[0]
    response = hand.post(LOG, {**sent, "confirmed": tick}, follow=True)
    # 57 caught against 40 by the book: 10 from the unsexed, 7 beyond the book.
    assert "7 Slider males more than the book held in pond A: flagged for review." in words(response)
    assert held("A") == (100, 57, 0)


# Once only


def test_a_double_click_posts_once(hand):
    sent = sent_log({**FEMALES, "dead": "1"})
    first, second = hand.post(LOG, sent), hand.post(LOG, sent)
    assert first["Location"] == second["Location"]
    assert held("A")[0] == 99


def test_a_double_click_on_a_log_with_a_task_posts_once(owner):
    task = make_task("A", "TAKE_OUT", "MALE", 2)
    sent = sent_log({**MALES, "sold": "2"}, tasks=str(task.pk))
    assert owner.post(LOG, sent)["Location"] == owner.post(LOG, sent)["Location"]
    assert held("A")[1] == 38


def test_a_sent_page_changed_and_sent_again_says_so_and_can_be_posted_as_another(hand):
    sent = sent_log({**FEMALES, "dead": "1"})
    hand.post(LOG, sent)
    text = words(hand.post(LOG, {**sent, "rows-0-dead": "3"}))
    assert "This page was posted before, with other figures" in text
    assert held("A")[0] == 99
    fresh = (
        text.split('form method="post" novalidate data-log')[1].split('name="key" value="')[1].split('"')[0]
    )
    assert fresh != sent["key"]
    hand.post(LOG, {**sent, "rows-0-dead": "3", "key": fresh})
    assert held("A")[0] == 96


# The receipt


def test_the_receipt_offers_undo_and_correct_at_once(hand):
    response = hand.post(LOG, sent_log({**FEMALES, "moved": "2", "target": "C"}), follow=True)
    move = Move.objects.exclude(made_as="OPENING").get()
    text = words(response)
    assert reverse("stock:move-reverse", args=[move.key]) in text
    assert reverse("stock:move-correct", args=[move.key]) in text
    assert "2 caught: 2 Slider females A to C" in text


def test_the_receipt_says_where_a_closed_month_is_booked(owner):
    last_month = today().replace(day=1) - dt.timedelta(days=1)
    month = dt.date(2024, 6, 1)
    while month <= last_month.replace(day=1):
        if month >= dt.date(2024, 6, 1):
            ledger.close_month(month, by=owner.user, today=today())
        month = (month + dt.timedelta(days=32)).replace(day=1)
    response = owner.post(LOG, sent_log({**FEMALES, "dead": "1"}, day=last_month.isoformat()), follow=True)
    text = words(response)
    assert f"because {last_month:%B %Y} is closed" in text
    assert "and is booked on 1 " in text


def make_task(pond, verb, of_class, heads):
    return task_book.make(
        pond=Pond.objects.get(code=pond), verb=verb, kind=Kind.objects.get(code="slider"), of_class=of_class,
        heads=heads, by=None, today=today(),
    )  # fmt: skip


def test_a_task_is_ticked_by_the_log_that_does_it(hand):
    task = make_task("A", "TAKE_OUT", "MALE", 6)
    page = words(hand.get(LOG, {"task": task.pk}))
    assert f'value="{task.pk}" id="id_tasks_{task.pk}" checked' in page
    hand.post(LOG, sent_log({**MALES, "sold": "4"}, tasks=str(task.pk)))
    assert [(one.heads_done, one.heads_left) for one in open_tasks()] == [(4, 2)]
    response = hand.post(LOG, sent_log({**MALES, "sold": "2"}, tasks=str(task.pk)), follow=True)
    assert "Take out 6 Slider males" in words(response)
    assert open_tasks() == []


def test_a_task_to_add_opens_what_came_in_first_and_fills_it_with_what_is_left(hand):
    task = make_task("A", "ADD", "FEMALE", 10)
    hand.post(
        LOG,
        sent_log(arrivals=({**FEMALES, "heads": "4"},), how="NONE", tasks=str(task.pk),
                 **{"batch-source": "BOUGHT", "batch-code": "first-four"}),
    )  # fmt: skip
    response = hand.get(LOG, {"task": task.pk})
    page = words(response)
    assert page_faults(response) == []
    assert '<details class="came-in" open>' in page
    assert page.index("What came in") < page.index("Where they went")
    entry = response.context["entry"]
    assert [entry.arrivals.forms[0][name].value() for name in ("kind", "of_class", "heads")] == [
        "slider", "FEMALE", 6,
    ]  # fmt: skip
    assert entry.head["how"].value() == "NONE"
    # Without that task the page begins with the haul, as ever.
    plain = words(hand.get(LOG, {"pond": "A"}))
    assert '<details class="came-in">' in plain
    assert plain.index("The haul") < plain.index("What came in")


def test_a_task_whose_heads_come_from_another_pond_fills_that_ponds_row(hand):
    task = make_task("C", "ADD", "FEMALE", 10)
    entry = hand.get(LOG, {"pond": "A", "task": task.pk}).context["entry"]
    (row,) = [row for row in entry.rows.forms if row.cell == ("slider", "FEMALE")]
    assert (row["moved"].value(), row["target"].value()) == (10, "C")


def test_a_ticked_task_that_the_move_does_nothing_of_is_said_to_stay_open(hand):
    task = make_task("A", "ADD", "FEMALE", 10)
    response = hand.post(LOG, sent_log({**MALES, "back": "4"}, tasks=str(task.pk)), follow=True)
    said = [str(message) for message in response.context["messages"]]
    assert said[1:] == [
        "The task “Add 10 Slider females”, pond A, was not touched by this move, which brought no Slider females into "
        "pond A: it stays open."
    ]
    assert [one.id for one in open_tasks()] == [task.pk]
    done = hand.post(
        LOG,
        sent_log(arrivals=({**FEMALES, "heads": "10"},), how="NONE", tasks=str(task.pk),
                 **{"batch-source": "BOUGHT", "batch-code": "ten"}),
        follow=True,
    )  # fmt: skip
    assert not [message for message in done.context["messages"] if "not touched" in str(message)]
    assert open_tasks() == []


# What is wrong, beside its row


def test_a_note_of_five_megabytes_gets_its_sentence_and_the_rest_is_kept(hand):
    note = "x" * 5_000_000
    text = refused(
        hand.post(LOG, sent_log({**FEMALES, "back": "17"}, note=note)),
        "The note has 5\u202f000\u202f000 characters; at most 2\u202f000 fit.",
    )
    assert 'value="17"' in text
    assert note in text
    kept = RefusedPost.objects.get()
    assert kept.typed["rows-0-back"] == ["17"]
    assert "cut here: 5\u202f000\u202f000 characters were typed" in kept.typed["note"][0]


WRONG_NUMBERS = [
    ("abc", "“abc” is not a whole number. Write one such as 12."),
    ("-3", "-3 is below 0."),
    ("−3", "−3 is below 0."),
    ("2.5", "“2.5” is not a whole number."),
    ("1e3", "“1e3” is not a whole number."),
    ("٣", "“٣” is not a whole number."),
    ("100001", "100001 is more than the 100\u202f000 heads one line can hold."),
    ("9" * 6000, "is more than the 100\u202f000 heads one line can hold."),
]


@pytest.mark.parametrize(("typed", "sentence"), WRONG_NUMBERS, ids=[typed[:8] for typed, _ in WRONG_NUMBERS])
def test_a_wrong_number_is_named_beside_its_row_and_everything_is_kept(hand, typed, sentence):
    text = refused(
        hand.post(LOG, sent_log({**FEMALES, "back": "17", "dead": typed}, note="kept note")),
        sentence,
        "Slider females, dead:",
        "kept note",
    )
    assert 'value="17"' in text
    assert f'value="{typed}"' in text
    assert RefusedPost.objects.get().by == hand.user


def test_a_day_in_the_future_is_refused(hand):
    tomorrow = today() + dt.timedelta(days=1)
    text = refused(
        hand.post(LOG, sent_log({**FEMALES, "back": "17"}, day=tomorrow.isoformat())),
        f"{day_text(tomorrow)} is after today, {day_text(today())}.",
    )
    assert 'value="17"' in text


def test_a_day_before_the_pond_opened_is_refused(hand):
    refused(
        hand.post(LOG, sent_log({**FEMALES, "back": "17"}, day="2023-12-31")),
        "Pond A was opened on 1 Jan 2024; 31 Dec 2023 is before that.",
    )


@pytest.mark.parametrize("day", ["31.12.2025", "2025-02-30", ""])
def test_what_is_not_a_day_is_refused(hand, day):
    refused(hand.post(LOG, sent_log({**FEMALES, "back": "17"}, day=day)), "2026-07-31")


def test_an_unknown_pond_is_refused_and_the_rows_are_kept(hand):
    text = refused(
        hand.post(LOG, sent_log({**FEMALES, "back": "17"}, pond="ZZ")),
        "There is no pond “ZZ”. Choose one from the list.",
    )
    assert 'value="17"' in text


def test_a_kind_that_may_not_live_there_is_refused_beside_its_row(hand):
    text = refused(
        hand.post(LOG, sent_log({**FEMALES, "kind": "snapper", "moved": "2", "target": "B"})),
        "Snapper is not allowed in pond B (allowed: Slider).",
        "Snapper females, to pond:",
    )
    assert 'value="2"' in text


def test_the_same_pond_as_source_and_target_is_refused(hand):
    refused(
        hand.post(LOG, sent_log({**FEMALES, "moved": "2", "target": "A"})), "Pond A is where they came from."
    )


def test_an_unknown_target_pond_is_refused(hand):
    refused(hand.post(LOG, sent_log({**FEMALES, "moved": "2", "target": "ZZ"})), "There is no pond “ZZ”.")


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({"moved": "2"}, "Say which pond the 2 went to."),
        ({"target": "B"}, "Say how many"),
        ({"back": "1", "target": "B"}, "Say how many went to pond B"),
        ({"back": "1", "cause": "BITES"}, "A cause of death is chosen: say how many were dead."),
        ({"back": "1", "carrying_marks": "2"}, "2 marked, but 1 caught in this row."),
        ({"back": "1", "sexed_as": "MALE"}, "Females are not sexed as males."),
        ({"back": "1", "kind": "dragon"}, "There is no kind “dragon”."),
        ({"back": "1", "kind": ""}, "Choose the kind."),
        ({"back": "1", "of_class": ""}, "Choose females, males, unsexed or juveniles."),
    ],
)
def test_a_row_that_does_not_add_up_says_how_to_mend_it(hand, row, sentence):
    refused(hand.post(LOG, sent_log({**FEMALES, **row})), sentence)


@pytest.mark.parametrize(
    ("head", "sentence"),
    [
        ({"how": ""}, "Choose seine, traps or drain-down, or say that there was no haul."),
        ({"how": "NONE"}, "Heads were caught, so there was a haul"),
        ({"is_complete": "on"}, "Only a drain-down can be drained to the last head"),
        ({"water": "820"}, "820 °F is not pond water"),
        ({"water": "warm"}, "warm is not a number"),
        ({"effort": "0"}, "0 must be above 0."),
        ({"batch-source": "BOUGHT"}, "Nothing is said to have come in"),
        ({"key": "lost"}, "This page had lost its key."),
        ({"tasks": "999"}, "One of the ticked tasks is not open any more"),
        ({"sale-party": "x" * 121}, "This has 121 characters; at most 120 fit."),
    ],
)
def test_what_is_wrong_with_the_haul_is_said_beside_its_field(hand, head, sentence):
    text = refused(hand.post(LOG, sent_log({**FEMALES, "back": "17"}, **head)), sentence)
    assert 'value="17"' in text


def test_marks_that_were_looked_for_were_looked_for_in_a_haul(hand):
    """Also where none was found: a 0 says that somebody looked."""
    row = {**FEMALES, "dead": "1", "carrying_marks": "0"}
    refused(hand.post(LOG, sent_log(row, how="NONE")), "Heads were caught, so there was a haul")


def test_nothing_typed_is_refused_and_not_kept(hand):
    refused(hand.post(LOG, sent_log(how="NONE")), "Nothing was typed")
    hand.post(LOG, {})
    assert not RefusedPost.objects.filter(typed={}).exists()


def test_a_refused_post_is_listed_opened_again_and_gone_once_it_is_posted(hand):
    sent = sent_log({**FEMALES, "back": "17", "dead": "x"})
    hand.post(LOG, sent)
    hand.post(LOG, sent)
    kept = RefusedPost.objects.get()
    assert "“x” is not a whole number" in words(hand.get(reverse("stock:refused-list")))
    page = words(hand.get(LOG, {"refused": kept.pk}))
    assert 'value="17"' in page
    assert "“x” is not a whole number" in page
    hand.post(LOG, {**sent, "rows-0-dead": "1"})
    assert held("A")[0] == 99
    assert not still_refused().exists()


def test_a_get_of_an_unknown_pond_says_so_and_offers_the_ponds(hand):
    text = words(hand.get(LOG, {"pond": "<b>"}))
    assert "There is no pond “<B>” in use." in text
    assert "?pond=A" in text


def test_the_clipboard_sheet_has_the_rows_of_the_page(hand):
    response = hand.get(reverse("stock:log-sheet"), {"pond": "A"})
    text = words(response)
    assert "Slider females (100)" in text
    # The caution stands before the rows, so that it is on the first page however many there are.
    assert 0 < text.index("Salmonella") < text.index("Slider females (100)")
    assert page_faults(response) == []


def test_no_entry_is_written_without_a_move_of_its_own(hand):
    hand.post(LOG, sent_log({**FEMALES, "moved": "2", "target": "B"}, {**MALES, "dead": "x"}))
    assert set(Entry.objects.values_list("move__made_as", flat=True)) == {"OPENING"}
    assert not TaskMove.objects.exists()
    assert not Paper.objects.exists()
