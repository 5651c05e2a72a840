"""The page of replacements: hatchlings to keep back, what if, and the incubator."""

from __future__ import annotations

import datetime as dt
import uuid
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.farm import the_farm
from ponds.models import Farm
from stock import ledger
from stock.drafts import BatchDraft, Draft, Line
from tests.factories import KindFactory, PondFactory
from tests.pages.test_new_females import stand

pytestmark = pytest.mark.django_db
URL = "/replacements/"


@pytest.fixture
def farm(owner):
    """Sliders in A and B, 1,000 females and 350 males, 140 juveniles; softshells and snappers in C and D."""
    slider = KindFactory(code="slider", common_name="Slider", scientific_name="Trachemys scripta elegans")
    softshell = KindFactory(code="softshell", common_name="Softshell", scientific_name="Apalone ferox")
    snapper = KindFactory(code="snapper", common_name="Snapper", scientific_name="Chelydra serpentina")
    KindFactory(code="musk", common_name="Musk turtle", scientific_name="Sternotherus odoratus")
    mud = KindFactory(code="mud", common_name="Mud turtle", scientific_name="Kinosternon subrubrum")
    ponds = {
        code: PondFactory(code=code, kinds=[kind])
        for code, kind in (("A", slider), ("B", slider), ("C", softshell), ("D", snapper), ("E", mud))
    }
    stand(ponds["A"], slider, owner.user, FEMALE=700, MALE=200, JUVENILE=140)
    stand(ponds["B"], slider, owner.user, FEMALE=300, MALE=150)
    stand(ponds["C"], softshell, owner.user, FEMALE=60, MALE=20)
    stand(ponds["D"], snapper, owner.user, FEMALE=30, MALE=10, JUVENILE=20)
    stand(ponds["E"], mud, owner.user, FEMALE=9, MALE=3, JUVENILE=4)
    Farm.objects.update(temperature_unit="F")
    return ponds


def words(response):
    return " ".join(unescape(response.content.decode()).split())


def cells(page):
    def plain(text):
        return text.replace("\u202f", " ")

    return {plain(row.name): tuple(map(plain, row.cells)) for row in page.context["rows"]}


def test_the_place_is_in_the_menu_and_answers_at_once(reader, farm):
    assert ">Replacements</a>" in reader.get("/").content.decode()
    page = reader.get(URL)
    text = words(page)
    # 100 of 1,000 die a year; 0.9 x 0.7^7 of hatchlings grow up: 1,349.2, so 1,350.
    for told in (
        "To hold 1 000 Slider females: 1 350 female hatchlings a year, from eggs at 87.3 °F",
        "They breed after 8 years.",
        "140 juveniles stand there. From the kind's usual room nearly all hatch male, so they are planned as male",
        "An 82 °F room gives sliders that are nearly all male.",
        "At the kind’s usual room, 82 °F: 3 % female (1 to 12).",
        "Log the temperature beside the eggs, not the room",
        "Wild sliders of 1 to 3 years, South Carolina: 53.9 to 82.9 % (Frazer, Gibbons & Greene 1990)",
        "Myhrvold et al. 2015",
        "One percent better survival of adult females does more for the stock than one percent better survival in",
        "is worth as much as 9 % more hatchlings kept back",
        "Of 1 000 females 100.0 are lost a year",
        # 0.9^8 of 1,000.
        "Those kept back from now on first breed in 8 years. Until then 100 grown females a year hold the number; "
        "without them about 430 are left by then.",
        "Females in the years ahead",
        "Females by temperature",
    ):
        assert told in text, told


def test_what_holds_the_stock_holds_it(owner, farm):
    row = cells(owner.get(URL))
    assert row["Growth of the females in the long run"] == ("holds",)
    assert row["Females in the end"] == ("1 001",)  # 1,350 in place of 1,349.2
    assert row["Females lost a year"] == ("100",)
    # Nothing kept: 0.9 a year.
    row = cells(owner.get(URL, {"kept": "0"}))
    assert row["Growth of the females in the long run"] == ("shrinks 10.0 % a year",)
    assert row["Females in 10 years"] == (str(round(1000 * 0.9**10)),)
    assert row["Females in the end"] == ("0",)
    assert "None is kept back" in words(owner.get(URL, {"kept": "0"}))


def test_hatchlings_to_raise_follow_the_room(owner, farm):
    assert cells(owner.get(URL))["Hatchlings to raise for them"] == ("1 392",)  # 1,350 / 0.97
    text = cells(owner.get(URL, {"kind": "softshell"}))
    assert "milder and of a steeper" not in words(owner.get(URL, {"kind": "softshell"}))
    assert "milder and of a steeper" in words(owner.get(URL, {"kind": "slider"}))
    # Nine years to breed: 6 / (0.9 x 0.7^8) = 115.6; half of the young are female.
    assert text["Hatchlings to raise for them"] == ("232",)


def test_what_if_stands_beside(owner, farm):
    page = owner.get(URL, {"sold": "60", "lost": "B", "juvenile_more": "5", "adult_more": "2"})
    row = cells(page)
    assert row["Females standing"] == ("1 000", "700")
    assert row["Males standing"] == ("350", "140")
    assert row["Ratio"] == ("2.86 : 1", "5.00 : 1")
    # The 1,000 are still to be held: 80 lost of 1,000, 0.9 x 0.75^7 grow up.
    need = row["Female hatchlings to keep back a year, to hold 1 000"]
    assert need[0].startswith("1 350 (")
    assert need[1].startswith("666 (")  # 80 / (0.9 x 0.75^7) = 665.9
    assert row["Growth of the females in the long run"][1].startswith("grows")
    assert "What if" in words(page)
    assert [len(cell) for cell in row.values()] == [2] * len(row)


def test_what_is_asked_stands_on_the_print_too(reader, farm):
    text = words(reader.get(URL, {"sold": "60", "lost": "B", "juvenile_more": "5", "adult_more": "-1"}))
    assert (
        "What if: 60 males sold; pond B lost with all that stands in it; 5 percentage points more of the juveniles "
        "survive a year; 1 percentage point fewer of the adults survive a year." in text
    )
    assert "What if: 1 male sold." in words(reader.get(URL, {"sold": "1"}))
    assert "What if:" not in words(reader.get(URL))


@pytest.mark.parametrize(
    ("kind", "told"),
    [
        # Of sliders 97 % are male at 27.85 C by the middle curve, at 26.97 C (80.5 F) by the one that errs least.
        ("slider", "97 % or more males hatch at 80.5 °F or cooler."),
        # Of snappers at 25.25 C (77.5 F); at 21.5 C a quarter is female again (O'Steen 1998).
        ("snapper", "97 % or more males hatch at 77.5 °F or little cooler; colder rooms give females again."),
        ("softshell", "Half of all that hatch."),
        ("mud", ""),
    ],
)
def test_males_have_their_room_too(owner, farm, kind, told):
    page = owner.get(URL, {"kind": kind})
    (row,) = [row for row in page.context["rows"] if row.name.startswith("Male hatchlings")]
    assert row.note == told


def test_typed_figures_are_taken_without_doubt(owner, farm):
    page = owner.get(
        URL, {"first_year": "95", "juvenile": "95", "adult": "90", "female_years": "4", "male_years": "3"}
    )
    # 100 / (0.95 x 0.95^3) = 122.8.
    assert cells(page)["Female hatchlings to keep back a year, to hold 1 000"] == ("123",)
    assert words(page).count("Typed here; taken without doubt.") == 3
    assert page.context["form"].figures_are_typed


def test_both_ways_of_the_incubator(owner, farm):
    text = words(owner.get(URL, {"share": "50", "temperature": "88"}))
    assert "For 50 % females: 84.7 °F (84 to 84.9) beside the eggs." in text
    assert "At 88 °F: 99 % female" in text
    # 19 clutches of sliders at 29.4 °C, 0 to 100 % males (Wibbels & Murdock), in the farm's own unit.
    assert (
        "Clutches differ as much as 0.9 °F does: at 84.9 °F 19 slider clutches gave 0 to 100 % males" in text
    )
    Farm.objects.update(temperature_unit="C")
    text = words(owner.get(URL, {"share": "50", "temperature": "31"}))
    assert "For 50 % females: 29.3 °C (28.9 to 29.4) beside the eggs." in text
    assert "At 31 °C: 98 % female" in text
    assert "Clutches differ as much as 0.5 °C does: at 29.4 °C 19 slider clutches" in text


def test_kinds_whose_sex_does_not_follow_the_slider(owner, farm):
    text = words(owner.get(URL, {"kind": "softshell", "temperature": "88"}))
    assert "Softshell: sex is genetic. No temperature changes it; about half hatch female." in text
    assert "keep twice as many as the females wanted" in text
    assert "Females by temperature" not in text
    text = words(owner.get(URL, {"kind": "snapper"}))
    assert "Females hatch at both ends, warm and cold" in text
    assert "% are planned as female, as the kind's usual room gives" in text
    text = words(owner.get(URL, {"kind": "mud"}))
    assert "how sex follows temperature is not known here" in text
    assert "Their sex is not known, so they are planned as male until sexed" in text


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"kind": "zebra"}, "There is no kind “zebra”"),
        ({"kind": "musk"}, "Musk turtle stands in no pond, and none is kept for it"),
        ({"wanted": "-4"}, "-4 is below 0"),
        ({"kept": "many"}, "“many” is not a whole number"),
        ({"lost": "ZZ"}, "There is no pond “ZZ”"),
        ({"juvenile_more": "500"}, "500 is not between -50 and 50"),
        ({"adult": "101"}, "101 is not between 0 and 100"),
        ({"share": "lots"}, "lots is not a number"),
        ({"temperature": "28"}, "28 °F is not between 68 and 96.8 °F, where eggs develop"),
        ({"temperature": "warm"}, "warm is not a number"),
        ({"female_years": "400"}, "400 years is more than 40"),
        ({"female_years": "0"}, "0 is too few"),
    ],
)
def test_bad_input_gets_its_sentence_and_is_kept(owner, farm, asked, sentence):
    page = owner.get(URL, asked)
    assert page.status_code == 200
    assert sentence in words(page)
    assert "answer" not in page.context
    for name, value in asked.items():
        assert page.context["form"][name].value() == value


def test_more_males_than_stand_cannot_be_sold(owner, farm):
    text = words(owner.get(URL, {"sold": "300", "lost": "B"}))
    assert "300 males cannot be sold: 200 Slider males stand on the farm without pond B. Sell fewer." in text


def test_a_farm_without_ponds_says_what_to_do(owner):
    assert "No pond is kept for any kind yet." in words(owner.get(URL))


def test_empty_ponds_and_survival_at_its_ends_break_nothing(owner):
    kind = KindFactory(code="bare", common_name="Bare", figures=False)
    PondFactory(code="A", kinds=[kind])
    for asked in (
        {},
        {"wanted": "100"},
        {"adult": "100"},
        {"juvenile": "0"},
        {"first_year": "0", "wanted": "5"},
    ):
        page = owner.get(URL, asked)
        assert page.status_code == 200
        assert page.context["answer"].kind_name == "Bare"
    assert "By these figures no hatchling of Bare lives to breed." in words(
        owner.get(URL, {"juvenile": "0", "wanted": "5"})
    )


def test_as_many_queries_for_three_hundred_ponds_as_for_three(owner):
    kind = KindFactory(code="slider", common_name="Slider", scientific_name="Trachemys scripta elegans")
    today = the_farm().today()
    day = today - dt.timedelta(days=500)
    counts = []
    for more in (3, 297):
        drafts = []
        for _ in range(more):
            pond = PondFactory(kinds=[kind])
            batch = BatchDraft(f"B-{pond.code}", "OPENING", day)
            lines = tuple(
                Line("slider", of_class, "OPENING", pond.code, heads, batch=batch.code)
                for of_class, heads in (("FEMALE", 240), ("MALE", 100))
            )
            drafts.append(
                Draft(uuid.uuid4(), day, lines, made_as="OPENING", pond=pond.code, batches=(batch,))
            )
        ledger.record_all(drafts, by=owner.user, today=today)
        with CaptureQueriesContext(connection) as queries:
            page = owner.get(URL)
        assert page.context["answer"].as_it_is.females == 240 * (300 if more > 3 else 3)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 24, counts
