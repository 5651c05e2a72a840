"""Pages of the egg lots: list, a new lot, one lot, counts, corrections."""

import csv
import datetime as dt
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

from ponds import lot_book
from ponds.farm import the_farm
from ponds.lot_drafts import CandlingDraft, HatchDraft
from ponds.lots import read_lot
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch
from tests.factories import KindFactory
from tests.ponds.lots import TODAY, a_kind, a_lot, a_pond, draft

pytestmark = pytest.mark.django_db
LIST = reverse("ponds:lot-list")
NEW = reverse("ponds:lot-new")


def address(name: str, code: str = "2023-001", *more) -> str:
    return reverse(f"ponds:lot-{name}", args=[code, *more])


def text(answer) -> str:
    return answer.content.decode()


def new_lot(baskets=(("A", "2024-05-01", "18", ""), ("A", "2024-05-01", "20", "")), **changes) -> dict:
    entry = {
        "key": str(uuid.uuid4()),
        "code": "r-7",
        "kind": "slider",
        "set_on": "2024-05-02",
        "incubator": "Room 1",
        "temperature": "82",
        "temperature_unit": "F",
        "note": "",
        "baskets-TOTAL_FORMS": "4",
        "baskets-INITIAL_FORMS": "0",
        "baskets-MIN_NUM_FORMS": "0",
        "baskets-MAX_NUM_FORMS": "60",
    }
    today = f"{the_farm().today():%Y-%m-%d}"
    for row in range(4):
        pond, dug_on, eggs, container = baskets[row] if row < len(baskets) else ("", today, "", "")
        entry |= {f"baskets-{row}-pond": pond, f"baskets-{row}-dug_on": dug_on, f"baskets-{row}-eggs": eggs,
                  f"baskets-{row}-container": container}  # fmt: skip
    return entry | changes


def test_a_lot_is_set_once_however_often_the_form_is_sent(hand):
    a_pond()
    page = text(hand.get(NEW))
    assert 'value="82"' not in page
    assert "Salmonella" in page
    entry = new_lot()
    for _ in range(2):
        answer = hand.post(NEW, entry)
        assert answer.status_code == 303
        assert answer.headers["Location"] == address("detail", "R-7")
    state = read_lot("R-7")
    assert (state.row.by, state.whole().eggs, len(state.baskets)) == (hand.user, 38, 2)
    page = text(hand.get(answer.headers["Location"]))
    assert "38 eggs of Slider, set 2 May 2024 in Room 1 at 82 °F" in page
    assert "Lot R-7 is set: 38 eggs in 2 baskets." in page
    assert 'Candle<span class="visually-hidden"> basket 2</span>' in page


def test_a_pond_in_the_address_is_offered_in_each_row(hand):
    a_pond("C")
    page = text(hand.get(f"{NEW}?pond=c"))
    assert page.count('<option value="C" selected>') >= 4


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"code": ""}, "Write the lot's code."),
        ({"code": "new"}, "a page has that address"),
        ({"code": "a/b"}, "is not a lot's code"),
        ({"code": "TAKEN"}, "Lot TAKEN was set on 2 May 2023; a code is never used again"),
        ({"kind": ""}, "Choose the kind whose eggs these are."),
        ({"kind": "newt"}, "There is no such kind."),
        ({"kind": "snapper"}, "Pond A is for Slider, not Snapper"),
        ({"set_on": ""}, "Say which day."),
        ({"set_on": "2999-01-01"}, "still to come"),
        ({"set_on": "May"}, "not a day"),
        ({"temperature": "hot"}, "hot is not a number"),
        ({"temperature": "28"}, "28 °F is not between 59 and 104 °F"),
        ({"temperature": "82", "temperature_unit": "C"}, "82 °C is not between 15 and 40 °C"),
        ({"temperature_unit": "K"}, "K is not one of the available choices"),
        ({"baskets-0-eggs": ""}, "How many eggs are in it?"),
        ({"baskets-0-eggs": "0"}, "This is below 1"),
        ({"baskets-0-eggs": "1001"}, "1\u202f001 eggs in a basket are not between 1 and 1\u202f000"),
        ({"baskets-0-eggs": "some"}, "not a whole number"),
        ({"baskets-0-pond": ""}, "Choose the pond these eggs were dug at."),
        ({"baskets-0-pond": "Q"}, "There is no such pond in use."),
        ({"baskets-0-dug_on": "2024-05-03"}, "dug on 3 May 2024, after lot R-7 was set on 2 May 2024"),
        ({"baskets-1-dug_on": "2019-05-03"}, "before lot R-7 was set on 2 May 2024; 60 is the most"),
        (
            {"baskets-2-pond": "A", "baskets-2-eggs": "9", "baskets-2-container": "1"},
            "holds baskets 1 and 2 already",
        ),
        ({"note": "x" * 301}, "301 characters; 300 is the most"),
        ({"incubator": "x" * 61}, "61 characters; 60 is the most"),
        ({"key": "x"}, "lost its key"),
        ({"code": "\0"}, "Null characters are not allowed"),
    ],
)
def test_what_cannot_be_gets_its_sentence_and_loses_nothing_typed(hand, changes, words):
    KindFactory(code="snapper", common_name="Snapper")
    a_pond()
    a_lot("TAKEN")
    entry = new_lot(**changes)
    if "baskets-2-pond" in changes:
        entry["baskets-2-dug_on"] = "2024-05-01"
    answer = hand.post(NEW, entry)
    page = text(answer)
    assert answer.status_code == 422
    assert escape(words) in page or words in page
    assert "There is a problem" in page
    assert EggLot.objects.count() == 1
    for name, value in entry.items():
        if value and "\0" not in value and name in ("code", "set_on", "temperature", "incubator", "baskets-0-eggs",
                                                     "baskets-1-eggs", "baskets-0-dug_on"):  # fmt: skip
            assert f'value="{value}"' in page, name


def test_more_baskets_are_put_in_and_an_empty_form_says_so(hand):
    a_lot(eggs=(18,))
    where = address("baskets")
    assert "number 2, in container 1" in text(hand.get(where))
    entry = {name: value for name, value in new_lot().items() if name.startswith("baskets") or name == "key"}
    for row in range(4):
        entry[f"baskets-{row}-dug_on"] = "2023-05-02" if row > 1 else "2023-05-01"
    answer = hand.post(where, entry)
    assert answer.status_code == 303
    assert [basket.number for basket in read_lot("2023-001").baskets] == [1, 2, 3]
    empty = {**entry, "key": str(uuid.uuid4())}
    for row in range(2):
        empty |= {f"baskets-{row}-pond": "", f"baskets-{row}-eggs": "", f"baskets-{row}-dug_on": "2023-05-02"}
    answer = hand.post(where, empty)
    assert answer.status_code == 422
    assert "No row holds a basket." in text(answer)


def test_candling_goes_from_basket_to_basket(hand):
    a_lot(eggs=(18, 20))
    where = address("candle")
    assert '<option value="1" selected>basket 1: pond A, 18 of 18 left' in text(hand.get(where))
    entry = {"key": str(uuid.uuid4()), "basket": "1", "candled_on": "2023-05-16", "clear": "3", "dead": "1"}
    for _ in range(2):
        answer = hand.post(where, entry)
        assert answer.status_code == 303
        assert answer.headers["Location"] == f"{where}?basket=2&day=2023-05-16"
    row = Candling.objects.get()
    assert (row.clear, row.dead, row.basket.number, row.by) == (3, 1, 1, hand.user)
    page = text(hand.get(answer.headers["Location"]))
    assert "Lot 2023-001, basket 1: 3 clear, 1 dead on 16 May 2023." in page
    assert address("row-take-back", "2023-001", "candling", row.key) in page
    assert "34 of 38 eggs are left" in page
    assert '<option value="2" selected>' in page
    last = {"key": str(uuid.uuid4()), "basket": "2", "candled_on": "2023-05-16", "clear": "0", "dead": "0"}
    assert hand.post(where, last).headers["Location"] == address("detail")


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        (
            "candle",
            {"clear": "19"},
            "Basket 1 of lot 2023-001 was set with 18 eggs; none is counted yet, and 20 more",
        ),
        ("candle", {"clear": ""}, "0 where there is none"),
        ("candle", {"clear": "-1"}, "This is below 0"),
        ("candle", {"dead": "x"}, "not a whole number"),
        ("candle", {"candled_on": "2023-05-01"}, "was set on 2 May 2023; 1 May 2023 is before that"),
        ("candle", {"candled_on": "2999-05-01"}, "still to come"),
        ("candle", {"basket": "9"}, "There is no such basket in this lot."),
        ("candle", {"key": ""}, "lost its key"),
        ("hatch", {"hatched": "12", "dead": "7"}, "Basket 1 of lot 2023-001 was set with 18 eggs"),
        ("hatch", {"hatched": ""}, "0 where there is none"),
        ("hatch", {"hatched_on": "2023-05-10"}, "no eggs hatch before day 20"),
        ("hatch", {"basket": "", "hatched": "3"}, "Choose the basket, or the whole lot."),
        ("hatch", {"basket": "whole", "hatched": "39"}, "Lot 2023-001 was set with 38 eggs"),
        ("temperature", {"temperature": "28"}, "28 °F is not between 59 and 104 °F"),
        ("temperature", {"temperature": ""}, "Write what the probe shows"),
        ("temperature", {"temperature": "82,5"}, "write a decimal with a point: 82.5"),
        ("temperature", {"probe": "x" * 81}, "81 characters; 80 is the most"),
    ],
)
def test_a_count_that_cannot_be_is_said_beside_its_field(hand, name, changes, words):
    a_lot(eggs=(18, 20))
    entry = {
        "candle": {"basket": "1", "candled_on": "2023-05-16", "clear": "3", "dead": "1"},
        "hatch": {"basket": "1", "hatched_on": "2023-07-08", "hatched": "12", "clear": "", "dead": "1"},
        "temperature": {
            "measured_on": "2023-05-16",
            "temperature": "81",
            "temperature_unit": "F",
            "probe": "low",
        },
    }[name]
    answer = hand.post(address(name), {"key": str(uuid.uuid4()), "note": "kept words"} | entry | changes)
    page = text(answer)
    assert answer.status_code == 422
    assert escape(words) in page or words in page
    assert "kept words" in page
    assert not Candling.objects.exists()
    assert not Hatch.objects.exists()
    assert not EggTemperature.objects.exists()


def test_a_hatch_closes_a_lot_and_the_page_sums_it(hand):
    a_lot(eggs=(18, 20))
    entry = {"key": str(uuid.uuid4()), "basket": "whole", "hatched_on": "2023-07-08", "hatched": "30", "clear": "2",
             "dead": "", "is_last": "on"}  # fmt: skip
    assert hand.post(address("hatch"), entry).headers["Location"] == address("detail")
    page = text(hand.get(address("detail")))
    assert "Nothing is left in it." in page
    assert "30 hatched, 2 clear, 0 dead; nothing is left" in page
    assert "Whole lot, not by basket" in page


def test_temperatures_beside_the_eggs_give_a_window_of_their_own(hand):
    a_lot()
    for day, degrees in (("2023-05-16", "80"), ("2023-05-17", "80"), ("2023-05-18", "80.5")):
        entry = {"key": str(uuid.uuid4()), "measured_on": day, "temperature": degrees, "temperature_unit": "F",
                 "probe": "in the vermiculite"}  # fmt: skip
        assert hand.post(address("temperature"), entry).status_code == 303
    page = text(hand.get(address("detail")))
    assert "2 Jul to 13 Jul 2023" in page or "3 Jul to 13 Jul 2023" in page
    assert "80.2 °F, mean of 3 readings: by that, " in page
    assert "80.5 °F, in the vermiculite" in page


def test_each_sort_of_row_is_corrected_and_taken_back(hand):
    lot = a_lot(eggs=(18, 20), by=hand.user)
    candling = lot_book.candle(
        lot=lot.first, key=uuid.uuid4(), by=hand.user, today=TODAY,
        draft=CandlingDraft(dt.date(2023, 5, 16), 3, 1, 1),
    )  # fmt: skip
    where = address("row-correct", "2023-001", "candling", candling.key)
    assert 'value="3"' in text(hand.get(where))
    answer = hand.post(
        where, {"key": str(uuid.uuid4()), "candled_on": "2023-05-16", "clear": "2", "dead": "1"}
    )
    assert answer.status_code == 303
    mended = Candling.objects.standing().get()
    assert (mended.clear, mended.basket.number) == (2, 1)
    assert "corrected" in text(hand.get(address("detail")))
    again = hand.post(
        where, {"key": str(uuid.uuid4()), "candled_on": "2023-05-16", "clear": "1", "dead": "1"}
    )
    assert again.status_code == 422
    assert "was corrected already by hand: now 2 clear" in text(again)

    basket = lot.by_number[2]
    where = address("row-correct", "2023-001", "basket", basket.key)
    entry = {"key": str(uuid.uuid4()), "pond": "A", "dug_on": "2023-05-01", "eggs": "21", "container": "1"}
    assert hand.post(where, entry).status_code == 303
    where = address("row-correct", "2023-001", "lot", lot.row.key)
    assert 'value="82"' in text(hand.get(where))
    entry = {"key": str(uuid.uuid4()), "kind": "slider", "set_on": "2023-05-02", "incubator": "Shelf",
             "temperature": "28", "temperature_unit": "C"}  # fmt: skip
    assert hand.post(where, entry).status_code == 303
    state = read_lot("2023-001")
    assert (state.row.incubator, state.row.temperature_mk, state.whole().eggs) == ("Shelf", 301_150, 39)
    assert "at 82.4 °F (typed 28 °C)" in text(hand.get(address("detail")))

    where = address("row-take-back", "2023-001", "lot", state.row.key)
    answer = hand.post(where, {"key": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert (
        "Lot 2023-001 has been counted (0 hatched, 2 clear, 1 dead). Take those counts back first."
        in text(answer)
    )
    undo = address("row-take-back", "2023-001", "candling", mended.key)
    assert hand.post(undo, {"key": str(uuid.uuid4())}).status_code == 303
    assert hand.post(where, {"key": str(uuid.uuid4())}).headers["Location"] == LIST
    assert hand.get(address("detail")).status_code == 404
    assert not Basket.objects.standing().exists()


def test_a_hand_does_not_mend_what_somebody_else_entered_and_a_reader_only_looks(hand, owner, reader):
    lot = a_lot(by=owner.user)
    basket = lot.by_number[1]
    where = address("row-correct", "2023-001", "basket", basket.key)
    assert where not in text(hand.get(address("detail")))
    assert where in text(owner.get(address("detail")))
    assert "This row was entered by owner." in text(hand.get(where, follow=True))
    entry = {"key": str(uuid.uuid4()), "pond": "A", "dug_on": "2023-05-01", "eggs": "2", "container": "1"}
    answer = hand.post(where, entry)
    assert answer.status_code == 422
    assert "ask an owner for this one" in text(answer)
    page = text(reader.get(address("detail")))
    assert "Log a candling" not in page
    assert "Add baskets" not in page
    assert "Take the lot back" not in page
    assert reader.get(address("candle")).status_code == 403
    assert "Set a lot" not in text(reader.get(LIST))


@pytest.mark.parametrize("name", ["detail", "candle", "hatch", "baskets", "temperature"])
def test_a_lot_that_is_not_there_is_said(hand, name):
    for code in ("NOPE", "x" * 500, "%00"):
        assert hand.get(address(name, code)).status_code == 404
    lot = a_lot()
    for what, key in (("basket", uuid.uuid4()), ("egg", lot.row.key), ("candling", lot.row.key)):
        assert hand.get(address("row-correct", "2023-001", what, key)).status_code == 404
    assert hand.get(address("row-correct", "OTHER", "lot", lot.row.key)).status_code == 404


def test_a_kind_without_days_says_where_to_add_them(reader):
    bare = KindFactory(code="bare", common_name="Bare", figures=False)
    a_lot("X", kind=bare, baskets=())
    page = text(reader.get(address("detail", "X")))
    assert "has no days of incubation yet" in page
    assert "No baskets yet." in page
    a_lot("Y", temperature=None)
    assert "no temperature to go by" in text(reader.get(address("detail", "Y")))


def lots_for_the_list():
    a_lot("DONE-1", eggs=(20,), hatches=(HatchDraft(dt.date(2023, 7, 8), 18, 1, 1, 1),), incubator="Room 9")
    a_lot("LATE-1", eggs=(30,), ponds="B", note="fox took the rest")
    today = the_farm().today()
    pond = a_pond("C")
    from ponds.lot_drafts import BasketDraft

    for code, days in (("CANDLE-1", 20), ("YOUNG-1", 2), ("HATCH-1", 67)):
        day = today - dt.timedelta(days=days)
        a_lot(code, set_on=day, baskets=(BasketDraft(pond, day, 12),), today=today)


def test_the_list_shows_what_is_due_first_and_is_searched_and_filtered(reader):
    lots_for_the_list()
    page = text(reader.get(LIST))
    places = [page.index(f">{code}<") for code in ("LATE-1", "HATCH-1", "CANDLE-1", "YOUNG-1", "DONE-1")]
    assert places == sorted(places)
    assert "1 lot late to hatch, 30 eggs left; 1 lot hatch due, 12 eggs left; 1 lot to candle" in page
    for query, shown, hidden in (
        ("due=late", "LATE-1", "DONE-1"),
        ("due=done", "DONE-1", "LATE-1"),
        ("pond=B", "LATE-1", "DONE-1"),
        ("kind=slider", "LATE-1", "nothing hidden"),
        ("season=2023", "DONE-1", "YOUNG-1"),
        ("q=fox", "LATE-1", "DONE-1"),
        ("q=room+9", "DONE-1", "CANDLE-9"),
        ("q=pond+c", "YOUNG-1", "LATE-1"),
        ("sort=code", "CANDLE-1", "nothing hidden"),
        ("sort=-eggs", "LATE-1", "nothing hidden"),
    ):
        page = text(reader.get(f"{LIST}?{query}"))
        assert f">{shown}<" in page, query
        assert f">{hidden}<" not in page, query
    for query in (
        "due=x",
        "season=x",
        "pond=ZZ",
        "page=x",
        "page=99",
        "per_page=1e9",
        "sort=nonsense",
    ):
        assert reader.get(f"{LIST}?{query}").status_code == 200


def test_the_list_exports_figures_days_and_degrees(reader):
    lots_for_the_list()
    a_lot("FORMULA-1", note="=1+1", temperature=None)
    rows = list(csv.DictReader(io.StringIO(reader.get(f"{LIST}?_export=csv").content.decode("utf-8-sig"))))
    by_code = {row["Lot"]: row for row in rows}
    done = by_code["DONE-1"]
    assert (done["Due"], done["Eggs set"], done["Hatched"], done["Clear"], done["Left"]) == (
        "done",
        "20",
        "18",
        "1",
        "0",
    )
    assert (done["Set on"], done["Set to, °F"], done["Ponds"], done["Hatch expected"]) == (
        "2023-05-02", "82.0", "A", "2023-07-08",
    )  # fmt: skip
    assert by_code["FORMULA-1"]["Note"] == "'=1+1"
    assert by_code["FORMULA-1"]["Set to, °F"] == ""
    assert len(rows) == 6
    assert reader.get(f"{LIST}?_export=xlsx").content[:2] == b"PK"


def test_list_and_lot_cost_the_same_at_three_rows_and_at_three_hundred(reader):
    def queries(where: str) -> int:
        with CaptureQueriesContext(connection) as caught:
            assert reader.get(where).status_code == 200
        return len(caught)

    def fill(numbers):
        lot_book.open_lots(
            [draft(f"S-{number}", eggs=(20, 10), ponds="AB") for number in numbers], today=TODAY
        )

    fill(range(3))
    a_lot("BIG", eggs=(10, 10, 10))
    few = [queries(LIST), queries(address("detail", "BIG"))]
    fill(range(3, 300))
    from ponds.lot_drafts import BasketDraft

    for start in range(0, 297, 99):
        more = [BasketDraft(a_pond(), dt.date(2023, 5, 1), 10) for _ in range(99)]
        lot_book.add_baskets(
            lot=read_lot("BIG").first, key=uuid.UUID(int=start + 1), baskets=more, today=TODAY
        )
    assert [queries(f"{LIST}?per_page=100"), queries(address("detail", "BIG"))] == few
    assert max(few) <= 14


def test_the_kinds_list_is_offered_by_name(hand):
    a_kind()
    assert '<option value="slider">Slider</option>' in text(hand.get(NEW))


HATCH = reverse("ponds:hatch-list")


def test_hatch_by_pond_shows_the_most_clear_eggs_first(reader):
    day = dt.date(2023, 7, 8)
    a_lot("X", eggs=(20,), hatches=(HatchDraft(day, 18, 1, 1, 1),))
    a_lot("Y", eggs=(20, 10), ponds="BC", hatches=(HatchDraft(day, 12, 8, 0, 1),))
    page = text(reader.get(HATCH)).partition("<tbody")[2]
    assert page.index(">Pond B<") < page.index(">Pond A<") < page.index(">Pond C<")
    assert "40 %" in page
    assert "5 %" in page
    for query, shown, hidden in (
        ("pond=B", ">Pond B<", ">Pond A<"),
        ("kind=slider&season=2023", ">Pond A<", "never there"),
        ("q=pond+c", ">Pond C<", ">Pond B<"),
        ("sort=-hatch_share", ">Pond A<", "never there"),
    ):
        page = text(reader.get(f"{HATCH}?{query}")).partition("<tbody")[2]
        assert shown in page, query
        assert hidden not in page, query
    for query in ("pond=ZZ", "kind=newt", "season=x", "sort=x", "page=9"):
        assert reader.get(f"{HATCH}?{query}").status_code == 200
    rows = list(csv.DictReader(io.StringIO(reader.get(f"{HATCH}?_export=csv").content.decode("utf-8-sig"))))
    assert [(row["Pond"], row["Kind"], row["Clear share"], row["Still in"]) for row in rows] == [
        ("B", "Slider", "0.4", "0"),
        ("A", "Slider", "0.05", "0"),
        ("C", "Slider", "", "10"),
    ]


def test_hatch_by_pond_costs_the_same_at_three_rows_and_at_three_hundred(reader):
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert reader.get(f"{HATCH}?per_page=100").status_code == 200
        return len(caught)

    a_lot("S-0", eggs=(9, 9, 9), ponds="ABC")
    few = queries()
    fresh = [draft(f"S-{number}", eggs=(20, 10), ponds="DE") for number in range(1, 300)]
    lot_book.open_lots(fresh, today=TODAY)
    assert queries() == few
    # One of them asks which seasons there are, so that not all of them are read.
    assert few <= 10


def test_only_the_last_seasons_are_read_unasked(reader):
    """A book of many years: older lots are a choice away, and cost nothing until then."""
    from ponds.lot_drafts import BasketDraft

    pond = a_pond("A")
    for year in range(2020, 2024):
        day = dt.date(year, 5, 2)
        a_lot(f"L-{year}", set_on=day, baskets=(BasketDraft(pond, day, 9),))
    shown = {
        "": [2023, 2022, 2021], "season=2020": [2020], "season=all": [2023, 2022, 2021, 2020],
        "season=2050": [2023, 2022, 2021], "q=slider": [2023, 2022, 2021, 2020], "q=slider&season=2021": [2021],
    }  # fmt: skip
    for query, years in shown.items():
        page = reader.get(f"{LIST}?{query}")
        assert [year for year in range(2023, 2019, -1) if f">L-{year}<" in text(page)] == years
        hatch = reader.get(f"{HATCH}?{query}").context["table"].rows
        assert [row.record.season for row in hatch] == years
    offered = reader.get(LIST).context["filter"].form.fields["season"].choices
    assert [words for _, words in offered][::5] == ["the last 3", "all 4"]
