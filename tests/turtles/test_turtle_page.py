"""One turtle's page: what it shows, who may write, what odd measures ask, pictures, the card."""

import datetime as dt
import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from stock import turtle_records
from stock.marks.measures import read_measure
from stock.marks.positions import mask_of
from stock.models import MarkEvent, Measure, Photograph, SexStep
from tests.turtles.one_turtle import CHIP, MAY, TODAY, marked_turtle, picture, put_mark

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def turtle(hand):
    return marked_turtle(hand.user)


def page_of(client, turtle):
    answer = client.get(reverse("stock:turtle", args=[turtle.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def measure(turtle, by, **texts):
    return turtle_records.record_measures(
        turtle,
        [read_measure(code, text) for code, text in texts.items()],
        measured_on=MAY,
        key=uuid.uuid4(),
        by=by,
        today=TODAY,
    )


def test_it_shows_marks_sex_measures_whereabouts_and_origin(hand, reader, turtle):
    put_mark(turtle)
    put_mark(turtle, "TAG")
    SexStep.objects.create(
        turtle=turtle, sex="FEMALE", method="EGGS", certainty="CERTAIN", sexed_on=MAY, by_name="wren"
    )
    for year, length in ((2024, "180"), (2025, "188"), (2026, "7.6 in")):
        turtle_records.record_measures(
            turtle, [read_measure("SCL_MAX", length)], measured_on=dt.date(year, 5, 1), key=uuid.uuid4(),
            by=hand.user, today=TODAY,
        )  # fmt: skip
    shown = page_of(reader, turtle)
    for words in (
        "Shell of turtle", "code BKO", "right marginals 2 and 11, left marginal 10", CHIP, "eggs laid or felt",
        "7.6 in", "193 mm", "mm more a year", "A farm upstream", f"pond {turtle.cell.pond.code}", "Salmonella",
    ):  # fmt: skip
        assert words in shown, words
    assert "Correct" not in shown
    assert reverse("stock:turtle-measure", args=[turtle.pk]) not in shown


def test_a_worn_notch_a_conflict_and_a_protected_kind_are_said(hand, turtle):
    mark = put_mark(turtle)
    MarkEvent.objects.create(
        mark=mark, what="WORN", happened_on=TODAY, faint_mask=mask_of(["R11"]), by_name="wren"
    )
    put_mark(turtle, "TAG")
    other = marked_turtle(hand.user, "+2", turtle.kind, turtle.cell.pond)
    put_mark(other, "TAG", conflict=1)
    type(turtle.kind).objects.filter(pk=turtle.kind_id).update(listing="CITES App. II")
    shown = page_of(hand, turtle)
    assert "Read with doubt on 30 Jun 2026: right marginal 11." in shown
    assert "notch again" in shown
    assert 'class="marginal doubtful" data-position="R11"' in shown
    assert f'<a href="/turtles/{other.pk}/">turtle {other.pk}</a>' in shown
    assert "CITES App. II" in shown
    assert f"turtle {turtle.pk}</a>" in page_of(hand, other)


def test_a_mark_that_was_lost_stands_no_more(hand, turtle):
    mark = put_mark(turtle, "TAG")
    MarkEvent.objects.create(mark=mark, what="LOST", happened_on=TODAY, by_name="wren")
    shown = page_of(hand, turtle)
    assert "lost or failed" in shown
    assert CHIP not in hand.get(reverse("stock:turtle-card", args=[turtle.pk])).content.decode()


def send(client, turtle, **typed):
    start = {"key": uuid.uuid4(), "measured_on": "2024-06-01", "length_unit": "MM", "mass_unit": "G", **typed}
    return client.post(reverse("stock:turtle-measure", args=[turtle.pk]), start)


def test_measures_are_written_as_typed(hand, turtle):
    key = uuid.uuid4()
    for _ in range(2):
        assert send(hand, turtle, key=key, SCL_MAX="203", MASS="3 lb 1 oz", observer="Ana").status_code == 303
    rows = {row.what: row for row in Measure.objects.standing()}
    assert len(rows) == 2
    assert (rows["MASS"].typed, rows["MASS"].unit, rows["MASS"].stored) == ("3 lb 1", "OZ", 1389)
    assert rows["SCL_MAX"].observer == "Ana"
    assert send(hand, turtle, key=key, SCL_MAX="204").status_code == 422


def test_what_is_taken_most_stands_first_each_with_its_last_figure_beside_it(hand, turtle):
    page = hand.get(reverse("stock:turtle-measure", args=[turtle.pk]))
    names = [field.name for field in page.context["form"].visible_fields()]
    first = names.index("SCL_MAX")
    assert names[first : first + 2] == ["SCL_MAX", "MASS"]
    assert page.context["form"].fields["MASS"].help_text.count("Last time") == 0
    typed = [read_measure("MASS", "3 lb 1 oz")]
    turtle_records.record_measures(
        turtle, typed, measured_on=MAY, key=uuid.uuid4(), by=hand.user, today=TODAY
    )
    shown = hand.get(reverse("stock:turtle-measure", args=[turtle.pk])).content.decode()
    assert "net of the bag; note whether she carries eggs. Last time " in shown
    assert "389 g on 1 May 2024." in shown


def test_an_odd_measure_is_asked_about_once_and_kept_when_it_is_right(hand, turtle):
    answer = send(hand, turtle, SCL_MAX="200", MASS="1.4")
    assert answer.status_code == 422
    shown = answer.content.decode()
    assert "it looks like kg, that is 1\u202f400 g" in shown
    assert 'value="1.4"' in shown
    assert Measure.objects.count() == 0
    right = answer.context["form"].may_be_right
    assert send(hand, turtle, SCL_MAX="200", MASS="1.3", right=right).status_code == 422
    assert send(hand, turtle, SCL_MAX="200", MASS="1.4", right=right).status_code == 303


def test_a_back_dated_measure_is_asked_about_by_later_ones_and_the_day_of_marking(hand, turtle):
    measure(turtle, hand.user, SCL_MAX="181")
    answer = send(hand, turtle, SCL_MAX="186", measured_on="2020-01-01")
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert "1 Jan 2020 is before 1 May 2024, when this turtle was first marked" in shown
    assert "186 mm on 1 Jan 2020, and 181 mm on 1 May 2024 after that: a shell does not shrink" in shown
    right = answer.context["form"].may_be_right
    assert send(hand, turtle, SCL_MAX="186", measured_on="2020-01-01", right=right).status_code == 303


def test_a_breeding_female_of_20_mm_and_a_measure_typed_again_are_asked_about(hand, turtle):
    assert "looks like centimeters" in send(hand, turtle, SCL_MAX="20").content.decode()
    assert send(hand, turtle, SCL_MAX="200").status_code == 303
    again = send(hand, turtle, SCL_MAX="200")
    assert again.status_code == 422
    assert "200 mm on 1 Jun 2024 is written already" in again.content.decode()
    assert Measure.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({}, "No measure is given"),
        ({"SCL_MAX": "2 lb"}, "is given in mm, cm, in"),
        ({"SCL_MAX": "200", "measured_on": "2999-01-01"}, "is to come"),
        ({"SCL_MAX": "200", "measured_on": "May"}, "is not a day"),
        ({"SCL_MAX": "200", "length_unit": "MILE"}, "There is no unit"),
    ],
)
def test_what_cannot_be_taken_is_said_and_nothing_typed_is_lost(hand, turtle, typed, says):
    answer = send(hand, turtle, note="kept words", **typed)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert 'value="kept words"' in answer.content.decode()
    assert Measure.objects.count() == 0


def test_a_wrong_measure_is_corrected_or_taken_back_and_stays_in_the_register(
    hand, owner, make_person, turtle
):
    (row,) = measure(turtle, hand.user, SCL_MAX="203")
    correct = reverse("stock:measure-correct", args=[turtle.pk, row.key])
    assert 'value="203"' in hand.get(correct).content.decode()
    sent = {"key": uuid.uuid4(), "measured_on": "2024-05-01", "length_unit": "MM", "SCL_MAX": "208"}
    assert hand.post(correct, sent).status_code == 303
    assert hand.get(correct).status_code == 404
    (now,) = Measure.objects.standing()
    assert (now.stored, now.replaces_id, Measure.objects.count()) == (208, row.pk, 2)
    take_back = reverse("stock:turtle-take-back", args=[turtle.pk, "measure", now.key])
    assert owner.post(take_back, {"key": uuid.uuid4()}).status_code == 303
    assert list(Measure.objects.standing()) == []
    assert Measure.objects.count() == 3


def test_a_hand_mends_only_their_own(hand, owner, turtle):
    (row,) = measure(turtle, owner.user, SCL_MAX="203")
    take_back = reverse("stock:turtle-take-back", args=[turtle.pk, "measure", row.key])
    answer = hand.post(take_back, {"key": uuid.uuid4()})
    assert answer.status_code == 422
    assert "You may correct your own" in answer.content.decode()
    assert "Take back" not in page_of(hand, turtle)


def test_a_picture_is_kept_and_shown_to_those_who_are_in(hand, reader, nobody, turtle):
    sent = {
        "key": uuid.uuid4(),
        "picture": SimpleUploadedFile("IMG_2024.jpg", picture()),
        "taken_on": "2026-06-01",
        "shows": "notches",
    }
    answer = hand.post(reverse("stock:turtle-photo", args=[turtle.pk]), sent)
    assert answer.status_code == 303
    (row,) = Photograph.objects.standing()
    address = reverse("stock:turtle-photo-file", args=[row.key, "small"])
    assert address in page_of(reader, turtle)
    seen = reader.get(address)
    assert seen["Content-Type"] == "image/jpeg"
    assert seen["X-Content-Type-Options"] == "nosniff"
    # Kept by the browser and asked for again each time: signed out or taken back, it is not shown from there.
    assert seen["Cache-Control"] == "private, no-cache"
    assert reader.get(address, headers={"if-none-match": seen["ETag"]}).status_code == 304
    assert "IMG_2024" not in seen["Content-Disposition"]
    assert Image.open(io.BytesIO(b"".join(seen.streaming_content))).size == (90, 60)
    assert nobody.get(address).status_code in (302, 303)
    turtle_records.take_back(row, key=uuid.uuid4(), by=hand.user, today=TODAY)
    assert reader.get(address, headers={"if-none-match": seen["ETag"]}).status_code == 404


@pytest.mark.parametrize(
    ("file", "says"),
    [
        (None, "Choose a picture."),
        (SimpleUploadedFile("a.jpg", b"no picture"), "no JPEG, PNG or WebP"),
        (SimpleUploadedFile("a.jpg", b""), "empty"),
    ],
)
def test_what_is_no_picture_is_refused_in_words(hand, turtle, file, says):
    sent = {"key": uuid.uuid4(), "taken_on": "2026-06-01", "note": "kept words"} | (
        {"picture": file} if file is not None else {}
    )
    answer = hand.post(reverse("stock:turtle-photo", args=[turtle.pk]), sent)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert "kept words" in answer.content.decode()


def test_the_card_leads_to_the_page(reader, turtle):
    put_mark(turtle)
    shown = reader.get(reverse("stock:turtle-card", args=[turtle.pk])).content.decode()
    assert f"http://testserver/turtles/{turtle.pk}/" in shown
    assert 'class="qr"' in shown
    assert "BKO" in shown


def test_no_such_turtle(reader):
    assert reader.get("/turtles/9999/").status_code == 404


def test_the_page_asks_the_same_of_the_database_however_much_is_known(
    hand, turtle, django_assert_max_num_queries
):
    put_mark(turtle)
    put_mark(turtle, "TAG")
    measure(turtle, hand.user, SCL_MAX="203", MASS="1400")
    page_of(hand, turtle)
    with django_assert_max_num_queries(20) as first:
        page_of(hand, turtle)
    for _ in range(6):
        measure(turtle, hand.user, SCL_MAX="203", MASS="1400", PL_MAX="190")
        mark = put_mark(turtle, "PAINT", text="red")
        MarkEvent.objects.create(mark=mark, what="READ", happened_on=TODAY, by_name="wren")
        SexStep.objects.create(turtle=turtle, sex="FEMALE", sexed_on=MAY, by_name="wren")
    with django_assert_max_num_queries(len(first)):
        page_of(hand, turtle)
