"""Moves: the list, its filters and export; one move; taking it back, correcting it, office moves; papers."""

from __future__ import annotations

import csv
import datetime as dt
import html
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds.farm import the_farm
from stock import ledger
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line
from stock.models import Batch, Count, Move, Paper
from tests.page_rules import page_faults
from tests.pages.bank import STOOD_ON, held, make_farm, sent_log, today

pytestmark = pytest.mark.django_db

MOVES = "/moves/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return html.unescape(response.content.decode())


def book(*lines: Line, by=None, on=None, **more) -> Move:
    draft = Draft(key=uuid.uuid4(), happened_on=on or today(), lines=lines, **{"pond": "A", **more})
    return Move.objects.get(pk=ledger.record(draft, by=by, today=today()).move_id)


def line(of_class, target, heads, source="A", **more) -> Line:
    return Line("slider", of_class, source, target, heads, **more)


def export(client, form="csv", **asked) -> list[list]:
    response = client.get(MOVES, {**asked, "_export": form})
    assert response.status_code == 200
    content = b"".join(response.streaming_content)
    if form == "csv":
        return list(csv.reader(io.StringIO(content.decode())))
    sheet = load_workbook(io.BytesIO(content), read_only=True).active
    return [list(row) for row in sheet.iter_rows(values_only=True)]


def test_a_row_says_what_moved_in_plain_words(reader):
    book(line("FEMALE", "C", 12), line("MALE", "DIED", 2, cause="BITES"))
    response = reader.get(MOVES)
    assert "12 Slider females A to C; 2 males died in A (bites)" in words(response)
    assert page_faults(response) == []


def test_newest_day_comes_first(reader):
    old = book(line("FEMALE", "C", 1), on=today() - dt.timedelta(days=9))
    new = book(line("FEMALE", "C", 2))
    text = words(reader.get(MOVES))
    assert text.index(str(new.key)) < text.index(str(old.key))


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"pond": "C"}, {"to C"}),
        ({"pond": "B"}, {"looked"}),
        ({"of_class": "MALE"}, {"dead", "opening"}),
        ({"reason": "DIED"}, {"dead"}),
        ({"reason": "DIED", "of_class": "FEMALE"}, set()),
        ({"kind": "snapper"}, set()),
        ({"since": "2024-07-01"}, {"to C", "dead", "looked"}),
        ({"until": "2024-07-01"}, {"opening"}),
        ({"person": "wren"}, {"to C"}),
        ({"beyond": "on"}, {"looked"}),
        ({"q": "levee"}, {"dead"}),
        ({"q": "FIRST"}, {"opening"}),
        ({"pond": "A", "q": "levee", "reason": "DIED", "since": "2024-07-01"}, {"dead"}),
    ],
)
def test_filters_and_search_find_what_meets_all_of_them(reader, make_person, asked, found):
    moves = {
        "opening": Move.objects.get(),
        "to C": book(line("FEMALE", "C", 12), by=make_person("hand", "wren")),
        "dead": book(line("MALE", "DIED", 2), note="by the levee"),
        "looked": book(haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 3),)), pond="B"),
    }
    text = words(reader.get(MOVES, asked))
    assert {name for name, move in moves.items() if str(move.key) in text} == found


@pytest.mark.parametrize("asked", [{"pond": "ZZ"}, {"since": "yesterday"}, {"reason": "X"}, {"page": "9999"}])
def test_a_filter_that_cannot_be_read_is_no_error(reader, asked):
    assert reader.get(MOVES, asked).status_code == 200
    assert reader.get(MOVES, {**asked, "_export": "csv"}).status_code == 200


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_the_export_has_one_row_an_entry_under_all_filters(reader, form):
    book(line("FEMALE", "C", 12), line("MALE", "DIED", 2), note="=1+1")
    heading, *rows = export(reader, form)
    by_reason = {row[heading.index("reason")]: row for row in rows}
    assert len(rows) == 5  # three of the opening, two of the move
    assert int(by_reason["moved"][heading.index("heads")]) == 12
    assert by_reason["moved"][heading.index("to pond")] == "C"
    assert by_reason["moved"][heading.index("note")] == "'=1+1"
    assert by_reason["died"][heading.index("to outside")] == "dead"
    recorded = dt.datetime.fromisoformat(by_reason["moved"][heading.index("recorded at, farm time")])
    assert recorded.utcoffset() == the_farm().tzinfo.utcoffset(recorded.replace(tzinfo=None))
    died = export(reader, form, reason="DIED", pond="A")[1:]
    assert [row[heading.index("reason")] for row in died] == ["died"]


def test_the_list_asks_the_same_number_of_queries_at_three_rows_and_at_three_hundred(reader):
    def queries(per_page: int) -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert reader.get(MOVES, {"per_page": per_page}).status_code == 200
        return len(asked)

    for _ in range(2):
        book(line("FEMALE", "C", 1))
    few = queries(100)
    drafts = [
        Draft(uuid.uuid4(), today(), (line("FEMALE", "C", 1, source="B"),), pond="B", note=str(number))
        for number in range(297)
    ]
    ledger.record_all(drafts, by=None, today=today())
    assert Move.objects.count() == 300
    assert queries(100) == few


def test_moves_of_a_rare_reason_are_found_by_their_entries(reader, monkeypatch):
    move = book(line("MALE", "DIED", 2), line("FEMALE", "C", 1))
    for asked in ({"reason": "DIED"}, {"reason": "MOVED", "of_class": "FEMALE"}):
        with CaptureQueriesContext(connection) as rare:
            found = words(reader.get(MOVES, asked))
        assert str(move.key) in found
        monkeypatch.setattr("stock.tables.moves.FEW_ENTRIES", 0)
        with CaptureQueriesContext(connection) as common:
            assert reader.get(MOVES, asked).status_code == 200
        monkeypatch.undo()
        by_entries = '"stock_move"."id" IN (SELECT'
        assert any(by_entries in query["sql"] for query in rare)
        assert not any(by_entries in query["sql"] for query in common)
    assert str(move.key) not in words(reader.get(MOVES, {"reason": "SOLD"}))


def test_who_signed_is_asked_of_the_people_and_not_of_every_move(reader, make_person):
    wren = make_person("hand", "wren")
    make_person("hand", "heron")
    book(line("FEMALE", "C", 1), by=wren)
    with CaptureQueriesContext(connection) as asked:
        text = words(reader.get(MOVES))
    assert '<option value="wren">' in text
    assert '<option value="heron">' not in text
    assert not any("DISTINCT" in query["sql"] and "by_name" in query["sql"] for query in asked)


def test_an_export_begins_before_any_move_is_read(reader):
    with CaptureQueriesContext(connection) as asked:
        response = reader.get(MOVES, {"_export": "csv"})
        first = next(iter(response.streaming_content))
    assert first.startswith(b"move,happened on,")
    assert [query["sql"] for query in asked if query["sql"].startswith('SELECT "stock_move"."id"')] == []


# One move


def test_the_page_shows_everything_of_a_move(reader):
    batch = BatchDraft("spring", "BOUGHT", today(), party="Cypress Farm")
    move = book(
        line("FEMALE", "A", 9, source="BOUGHT", batch="spring"),
        haul=HaulDraft("SEINE", (CatchLine("slider", "MALE", 4, carrying_marks=1),)),
        batches=(batch,),
        note="line one\nline two",
    )
    response = reader.get(reverse("stock:move-detail", args=[move.key]))
    text = words(response)
    for part in ("9 Slider females bought into A", "Cypress Farm", "spring", "seine", "line one<br>line two"):
        assert part in text
    assert "/reverse/" not in text
    assert page_faults(response) == []


def test_an_unknown_move_is_not_found(reader):
    assert reader.get(reverse("stock:move-detail", args=[uuid.uuid4()])).status_code == 404


# Taking back


def reverse_url(move) -> str:
    return reverse("stock:move-reverse", args=[move.key])


def test_the_page_before_taking_back_says_what_will_happen_and_changes_nothing(owner):
    move = book(line("FEMALE", "C", 12))
    text = words(owner.get(reverse_url(move)))
    assert "12 Slider females: back from C to A" in text
    assert held("C")[0] == 12


def test_taking_back_puts_every_head_where_it_was(owner):
    move = book(line("FEMALE", "C", 12))
    response = owner.post(reverse_url(move), {"key": uuid.uuid4(), "note": "wrong pond"})
    assert response.status_code == 303
    assert held("A") == (100, 40, 10)
    reversal = Move.objects.get(reverses=move)
    assert (reversal.note, reversal.by) == ("wrong pond", owner.user)
    text = words(owner.get(MOVES))
    assert "reversed" in text
    assert "reversal" in text


def test_two_browsers_taking_one_move_back_do_it_once_and_the_second_is_told(owner, make_person):
    move = book(line("FEMALE", "C", 12))
    owner.post(reverse_url(move), {"key": uuid.uuid4()})
    response = owner.post(reverse_url(move), {"key": uuid.uuid4()})
    assert response.status_code == 200
    assert "was taken back by somebody already" in words(response)
    assert "See the reversal" in words(response)
    assert held("A")[0] == 100


def test_the_same_press_twice_takes_back_once(owner):
    move = book(line("FEMALE", "C", 12))
    key = uuid.uuid4()
    first, second = (owner.post(reverse_url(move), {"key": key}) for _ in range(2))
    assert first["Location"] == second["Location"]


def test_what_has_moved_on_since_cannot_be_taken_back_and_the_page_says_why(owner):
    move = book(line("FEMALE", "C", 12))
    book(line("FEMALE", "B", 12, source="C"), pond="C")
    response = owner.post(reverse_url(move), {"key": uuid.uuid4()})
    assert response.status_code == 200
    assert "This cannot be taken back: pond C would hold" in words(response)
    assert held("B")[0] == 12


def test_a_press_without_its_key_is_asked_again(owner):
    move = book(line("FEMALE", "C", 12))
    assert "had lost its key" in words(owner.post(reverse_url(move), {}))
    assert held("C")[0] == 12


def test_a_hand_takes_back_own_moves_only(hand, owner):
    own = book(line("FEMALE", "C", 1), by=hand.user)
    others = book(line("FEMALE", "C", 2), by=owner.user)
    assert hand.post(reverse_url(others), {"key": uuid.uuid4()}).status_code == 403
    assert hand.post(reverse_url(own), {"key": uuid.uuid4()}).status_code == 303
    assert "ask an owner" in words(hand.get(reverse("stock:move-detail", args=[others.key])))


def test_a_hand_does_not_take_back_in_a_closed_month(hand, owner):
    own = book(line("FEMALE", "C", 1), by=hand.user, on=STOOD_ON)
    ledger.close_month(STOOD_ON, by=owner.user, today=today())
    assert hand.post(reverse_url(own), {"key": uuid.uuid4()}).status_code == 403
    assert owner.post(reverse_url(own), {"key": uuid.uuid4()}).status_code == 303


# Correcting


def correct_url(move) -> str:
    return reverse("stock:move-correct", args=[move.key])


def the_log(client, **sent) -> Move:
    before = set(Move.objects.values_list("pk", flat=True))
    assert client.post("/log/", sent_log(**sent.pop("head", {}), **sent)).status_code == 303
    return Move.objects.exclude(pk__in=before).get()


def field_values(text: str) -> dict[str, str]:
    """Return what the page's big form would send: every input and chosen option, tick and text."""
    from html.parser import HTMLParser

    class Fields(HTMLParser):
        def __init__(self):
            super().__init__()
            self.sent, self.select, self.area, self.on = {}, None, None, False

        def handle_starttag(self, tag, attrs):
            given = dict(attrs)
            if tag == "form":
                self.on = "data-log" in given
            if tag == "template":
                self.on = False
            if not self.on:
                return
            if tag == "input" and given.get("type") in ("checkbox", "radio"):
                if "checked" in given:
                    self.sent[given["name"]] = given.get("value", "on")
            elif tag == "input":
                self.sent[given["name"]] = given.get("value", "")
            elif tag == "select":
                self.select = given["name"]
            elif tag == "option" and "selected" in given:
                self.sent[self.select] = given.get("value", "")
            elif tag == "textarea":
                self.area = given["name"]
                self.sent[self.area] = ""

        def handle_endtag(self, tag):
            if tag == "textarea":
                self.area = None
            if tag == "template":
                self.on = True

        def handle_data(self, written):
            if self.area:
                self.sent[self.area] += written

    fields = Fields()
    fields.feed(text)
    fields.sent = {name: value.removeprefix("\n") for name, value in fields.sent.items()}
    return fields.sent


def test_a_logged_move_is_corrected_on_the_log_page_as_it_was_typed(hand):
    rows = (
        {"of_class": "FEMALE", "back": "20", "moved": "12", "target": "C", "carrying_marks": "3"},
        {"of_class": "MALE", "back": "5", "dead": "2", "cause": "BITES", "sold": "1", "carrying_marks": "0"},
        {"of_class": "UNSEXED", "sexed_as": "MALE", "back": "2"},
        {"of_class": "JUVENILE", "back": "1"},
    )
    sent = sent_log(
        *rows, water="82", note="cold", arrivals=({"of_class": "FEMALE", "heads": "6"},),
        **{"batch-source": "BOUGHT", "batch-code": "spring", "sale-party": "Bayou"},
    )  # fmt: skip
    assert hand.post("/log/", sent).status_code == 303
    move = Move.objects.exclude(made_as="OPENING").get()
    before = {held(pond) for pond in "ABC"}
    shown = words(hand.get(correct_url(move)))
    as_it_was = field_values(shown)
    # Sent back unchanged, the replacement is the same move again.
    assert hand.post(correct_url(move), as_it_was).status_code == 303
    assert {held(pond) for pond in "ABC"} == before
    replacement = Move.objects.get(replaces=move)

    def catch(haul):
        return sorted(haul.lines.values_list("of_class", "caught", "carrying_marks", "dead_in_net"))

    assert catch(replacement.haul) == catch(move.haul)
    # A 0 that was typed and a field left empty stay apart.
    assert {of: marks for of, _, marks, _ in catch(move.haul)} == {"FEMALE": 3, "MALE": 0, "JUVENILE": None}
    assert (replacement.note, replacement.haul.water_typed) == ("cold", "82")
    assert replacement.papers.get().party == "Bayou"
    assert Batch.objects.filter(code="spring").count() == 1


@pytest.mark.parametrize(
    "rows",
    [
        # 100 females, 40 males and 10 unsexed stand there: what is more is filled by the ledger.
        [{"of_class": "FEMALE", "back": "110"}],
        [{"of_class": "FEMALE", "moved": "103", "target": "C"}, {"of_class": "MALE", "dead": "47"}],
        [{"of_class": "UNSEXED", "sexed_as": "MALE", "back": "2"}, {"of_class": "FEMALE", "back": "115"}],
        [{"of_class": "UNSEXED", "sexed_as": "FEMALE", "back": "3"}],
        [{"of_class": "UNSEXED", "sexed_as": "FEMALE", "sold": "3"}, {"of_class": "MALE", "back": "44"}],
    ],
)
def test_what_the_ledger_filled_is_not_shown_as_typed(hand, rows):
    def typed(sent):
        names = ("back", "moved", "sold", "dead", "sexed_as")
        return sorted(value for name, value in sent.items() if value and name.split("-")[-1] in names)

    asked = sent_log(*rows, note="a long pull", water="82")
    tick = words(hand.post("/log/", asked)).split('name="confirmed" value="')
    if len(tick) > 1:
        assert hand.post("/log/", {**asked, "confirmed": tick[1].split('"')[0]}).status_code == 303
    move = Move.objects.exclude(made_as="OPENING").get()
    shown = field_values(words(hand.get(correct_url(move))))
    assert typed(shown) == typed(asked)


def test_a_correction_changes_the_figure_and_keeps_both_in_the_book(hand):
    hand.post("/log/", sent_log({"of_class": "FEMALE", "moved": "12", "target": "C"}))
    move = Move.objects.exclude(made_as="OPENING").get()
    sent = field_values(words(hand.get(correct_url(move))))
    name = next(name for name, value in sent.items() if name.endswith("-moved") and value == "12")
    first = hand.post(correct_url(move), {**sent, name: "21"})
    second = hand.post(correct_url(move), {**sent, name: "21"})
    assert first.status_code == 303
    assert first["Location"] == second["Location"]
    assert held("C")[0] == 21
    text = words(hand.get(reverse("stock:move-detail", args=[move.key])))
    assert "corrected" in text
    assert "its correction" in text


def test_a_correction_is_measured_against_the_book_without_the_move_it_replaces(owner):
    move = book(line("MALE", "C", 40), by=owner.user)
    sent = field_values(words(owner.get(correct_url(move))))
    name = next(name for name, value in sent.items() if name.endswith("-moved") and value == "40")
    assert "40 by the book" in words(owner.get(correct_url(move)))
    text = words(owner.post(correct_url(move), {**sent, name: "38"}))
    assert "38 of the 40 Slider males in pond A are said to have gone." in text
    assert owner.post(correct_url(move), {**sent, name: "9"}).status_code == 303
    assert held("A")[1] == 31


def test_a_correction_that_is_refused_keeps_what_was_typed_and_changes_nothing(hand):
    hand.post("/log/", sent_log({"of_class": "FEMALE", "moved": "12", "target": "C"}))
    move = Move.objects.exclude(made_as="OPENING").get()
    sent = field_values(words(hand.get(correct_url(move))))
    name = next(name for name, value in sent.items() if name.endswith("-moved") and value == "12")
    text = words(hand.post(correct_url(move), {**sent, name: "x"}))
    assert "“x” is not a whole number" in text
    assert not Move.objects.filter(reverses=move).exists()


def test_a_corrected_move_cannot_be_corrected_again_and_says_so(owner):
    move = book(line("FEMALE", "C", 12), by=owner.user)
    sent = field_values(words(owner.get(correct_url(move))))
    assert owner.post(correct_url(move), sent).status_code == 303
    assert "was taken back already" in words(owner.get(correct_url(move), follow=True))
    response = owner.post(correct_url(move), {**sent, "key": str(uuid.uuid4())})
    assert "was taken back by somebody already" in words(response)


def test_an_opening_is_corrected_line_by_line_and_its_count_follows(owner):
    figures = {"females": 60.0, "females_se": 5.0}
    opening = book(
        Line("slider", "FEMALE", "OPENING", "B", 60, batch="second"),
        made_as="OPENING",
        pond="B",
        batches=(BatchDraft("second", "OPENING", today()),),
        counts=(CountDraft("B", "slider", today(), "SEINED", **figures),),
    )
    text = words(owner.get(correct_url(opening)))
    assert 'value="60"' in text
    sent = {
        "key": str(uuid.uuid4()), "day": today().isoformat(), "lines-TOTAL_FORMS": "1", "lines-0-heads": "66",
        "lines-0-kind": "slider", "lines-0-of_class": "FEMALE", "lines-0-source": "OPENING", "lines-0-target": "B",
        "lines-0-batch": "second",
    }  # fmt: skip
    assert owner.post(correct_url(opening), sent).status_code == 303
    assert held("B")[0] == 66
    count = Count.objects.get(move__replaces=opening)
    assert (count.females, count.females_se, count.how_known) == (66.0, 5.0, "SEINED")


# Office moves


def office(*lines: dict, **head) -> dict:
    sent = {"key": str(uuid.uuid4()), "day": today().isoformat(), "lines-TOTAL_FORMS": len(lines), **head}
    for number, one in enumerate(lines):
        whole = {"kind": "slider", "of_class": "FEMALE", "source": "A", "target": "C", **one}
        sent.update({f"lines-{number}-{name}": value for name, value in whole.items()})
    return sent


def test_an_office_move_is_booked_once(owner):
    sent = office({"heads": "12"}, {"heads": "3", "of_class": "MALE", "target": "SOLD"}, note="sale")
    first, second = owner.post("/moves/new/", sent), owner.post("/moves/new/", sent)
    assert first["Location"] == second["Location"]
    assert (held("A"), held("C")) == ((88, 37, 10), (12, 0, 0))
    assert Move.objects.latest("pk").made_as == "OFFICE"


def test_an_office_move_brings_a_new_batch(owner):
    owner.post(
        "/moves/new/", office({"heads": "7", "source": "RAISED", "batch": "crop-24"}, party="own hatchery")
    )
    assert held("C")[0] == 7
    assert Batch.objects.get(code="crop-24").party == "own hatchery"


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({"heads": "101"}, "Pond A holds 100 Slider females by the book on"),
        ({"heads": "2", "target": "A"}, "the same place"),
        ({"heads": "2", "kind": "snapper"}, "Snapper is not allowed in pond C"),
        ({"heads": "2", "source": "BOUGHT"}, "name their batch"),
        ({"heads": "2", "cause": "BITES"}, "A cause of death is for heads that died"),
        ({"heads": "-2"}, "-2 is below 0"),
        ({"heads": "0"}, "0 is too few"),
        ({"heads": "two"}, "“two” is not a whole number"),
        ({"heads": "2", "target": "QQ"}, "There is no place “QQ”"),
        ({"heads": ""}, "Say how many heads."),
    ],
)
def test_an_office_move_that_is_refused_says_why_beside_its_line(owner, row, sentence):
    response = owner.post("/moves/new/", office(row, note="kept note"))
    text = words(response)
    assert response.status_code == 200
    assert sentence in text
    assert "kept note" in text
    assert held("A") == (100, 40, 10)
    assert page_faults(response) == []


# Papers and batches


def test_a_paper_added_to_a_move_or_a_batch_stands_on_its_page_once(hand):
    move = book(line("MALE", "SOLD", 3))
    for whose in ({"move": str(move.key)}, {"batch": "first"}):
        sent = {**whose, "document": "Permit 9", "expires_on": "2030-01-31"}
        responses = [hand.post("/papers/add/", sent) for _ in range(2)]
        assert [one.status_code for one in responses] == [303, 303]
        assert "Permit 9" in words(hand.get(responses[0]["Location"]))
    assert Paper.objects.count() == 2


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"batch": "first"}, "A paper needs at least a party, a licence, a document or a note."),
        ({"batch": "first", "document": "x", "expires_on": "soon"}, "“soon” is not a day."),
        ({"batch": "first", "note": "x" * 301}, "This has 301 characters; at most 300 fit."),
        ({"document": "x"}, "Say of which batch or move the paper is"),
    ],
)
def test_a_paper_that_says_nothing_is_refused(hand, sent, sentence):
    assert sentence in words(hand.post("/papers/add/", sent))
    assert not Paper.objects.exists()


def test_a_batch_shows_where_it_came_from_and_where_it_stands(reader):
    book(line("FEMALE", "C", 12))
    book(
        line("FEMALE", "A", 22, source="BOUGHT", batch="spring"),
        batches=(BatchDraft("spring", "BOUGHT", today()),),
    )
    response = reader.get(reverse("stock:batch-detail", args=["first"]))
    text = words(response)
    assert "not known, before the register" in text
    # 150 came; none of them has left the farm, so they are expected on it whole.
    assert "150 heads" in text
    assert "150.0" in text
    assert page_faults(response) == []
    listed = words(reader.get(reverse("stock:batch-list")))
    assert "not papered yet" in listed


def test_a_batch_taken_back_has_no_heads_left(owner):
    move = book(
        line("FEMALE", "A", 22, source="BOUGHT", batch="spring"),
        batches=(BatchDraft("spring", "BOUGHT", today()),),
    )
    owner.post(reverse_url(move), {"key": uuid.uuid4()})
    assert "None of them stand in a pond" in words(owner.get(reverse("stock:batch-detail", args=["spring"])))
