"""The Turtles page: every mark in every form finds its turtle, half-read rims, a new turtle, schemes confirmed."""

import csv
import io
import uuid

import pytest
from django.urls import reverse

from stock.drafts import Line, PutOn
from stock.models import Measure, SchemeConfirmation, Turtle
from stock.turtle_search import free_code
from tests.turtles.marked_farm import MarkedFarm, notch, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
DIGITS = "985113007399202"
# The same tag in its printed forms and as readers send it: ISO 11784 fields; ISO11784Tools' printed forms.
PRINTED = (
    DIGITS, "985.113.007.399.202", "985 113007399202", "985-113007399202", "0985113007399202", "3d9.1a4fc41122",
    "LA_985_113007399202", "8000F65A4FC41122", "007399202",
)  # fmt: skip
PAGE = reverse("stock:turtle-list")


@pytest.fixture
def farm(owner):
    made = MarkedFarm(owner.user)
    made.confirm()
    return made


def found(client, **asked):
    """Return the numbers on the page, or the one that a search opened."""
    answer = client.get(PAGE, asked)
    if answer.status_code == 302:
        return [int(answer.url.rstrip("/").split("/")[-1])]
    return [row.record.pk for row in answer.context["table"].rows]


def test_every_form_of_every_mark_finds_its_turtle(farm, owner):
    tagged = farm.register(5, tag(DIGITS)).pk
    notched = farm.register(5, notch("BKO")).pk
    painted = farm.register(5, PutOn("PAINT", text="white 5 on the shell")).pk
    for typed in PRINTED:
        assert found(owner, q=typed) == [tagged], typed
    for typed in ("BKO", "bko", "OKB", "R2 R11 L10", "10-2,11"):
        assert found(owner, q=typed) == [notched], typed
    assert found(owner, q="white 5") == [painted]
    for typed in (str(notched), f"#{notched}", f"turtle {notched}", f"Turtle #{notched}", f"T-{notched:04}"):
        assert found(owner, q=typed) == [notched], typed
    assert "There is no turtle 999." in owner.get(PAGE, {"q": "turtle 999"}).content.decode()
    farm.register(5, PutOn("PAINT", text=f"red #{notched}"))
    assert len(found(owner, q=f"#{notched}")) == 2  # a number, and words of a mark: both are shown
    assert found(owner, q="985113007399203") == []
    assert "No marked turtle carries" in owner.get(PAGE, {"q": "zzz"}).content.decode()


def test_a_half_read_rim_lists_what_it_may_be_fewest_doubts_first(farm, owner):
    codes = ("ABC", "ABH", "AHI", "BKO", "BKN", "BJO", "HKO", "JNW", "KO", "BK")
    turtles = {code: farm.register(5, notch(code)).pk for code in codes}
    # `Reading with notches clear {B,K}, faint {O}`: BK uses no doubtful scute and stands first.
    assert found(owner, rim="NA16", clear="B K", faint="O") == [turtles["BK"], turtles["BKO"]]
    page = owner.get(PAGE, {"rim": "NA16", "clear": "A B X", "faint": ""}).content.decode()
    assert "possible misreadings" in page
    wrong = owner.get(PAGE, {"rim": "NA16", "clear": "Z9"})
    assert wrong.status_code == 200
    assert wrong.context["half"].errors


def test_lists_are_filtered_sorted_and_taken_along(farm, owner):
    first = farm.register(5, tag(DIGITS))
    farm.register(6, notch("BKO"), pond="B")
    assert found(owner, pond="A") == [first.pk]
    assert len(found(owner, where="NOT_KNOWN")) == 0
    farm.post(7, Line("slider", "FEMALE", "A", "DIED", 1, turtles=(first.code,)), pond="A")
    assert (found(owner, where="GONE"), found(owner, where="BACK")) == ([first.pk], [])
    farm.haul(8, "A", 3, first.code)
    assert (found(owner, where="GONE"), found(owner, where="BACK")) == ([], [first.pk])
    assert found(owner, sort="-number") == sorted(Turtle.objects.values_list("pk", flat=True), reverse=True)
    sent = owner.get(PAGE, {"_export": "csv"})
    rows = list(csv.reader(io.StringIO(b"".join(sent).decode("utf-8-sig"))))
    assert rows[1][:3] == [str(first.pk), "", DIGITS]


def test_the_list_says_last_in_hand_as_the_page_does_days_of_measuring_too(farm, owner, reader):
    measured, met, neither = (farm.register(5, tag(f"98511300739920{n}")) for n in range(3))
    row = Measure.objects.create(
        turtle=measured,
        what="SCL_MAX",
        measured_on=farm.day(20),
        typed="200",
        unit="MM",
        stored=200,
        by=owner.user,
    )
    Measure.objects.create(
        turtle=neither, what="MASS", measured_on=farm.day(2), typed="900", unit="G", stored=900, by=owner.user
    )
    farm.haul(9, "A", 3, met.code)

    def listed():
        days = [
            (one.record.pk, one.record.in_hand_on)
            for one in owner.get(PAGE, {"sort": "-in_hand_on"}).context["table"].rows
        ]
        for pk, day in days:
            page = reader.get(reverse("stock:turtle", args=[pk])).content.decode()
            assert f"Last in hand {day:%-d %b %Y}" in page
        return days

    assert listed() == [(measured.pk, farm.day(20)), (met.pk, farm.day(9)), (neither.pk, farm.day(5))]
    assert "Last in hand" in owner.get(PAGE).content.decode()
    assert "Last seen" not in owner.get(PAGE).content.decode()
    # A measure taken back was none.
    Measure.objects.create(
        turtle=measured, what="SCL_MAX", measured_on=farm.day(20), typed="200", unit="MM", stored=200, by=owner.user,
        replaces=row, is_void=True,
    )  # fmt: skip
    assert dict(listed())[measured.pk] == farm.day(5)
    sent = owner.get(PAGE, {"_export": "csv", "sort": "-in_hand_on"})
    rows = list(csv.DictReader(io.StringIO(b"".join(sent).decode("utf-8-sig"))))
    assert [row["Last in hand"] for row in rows] == ["2026-03-10", "2026-03-06", "2026-03-06"]


def test_the_list_asks_as_much_of_one_turtle_as_of_thirty(farm, owner, django_assert_max_num_queries):
    for number in range(30):
        farm.register(5, tag(f"98511300739{number:04}"), pond="A")
        if number in (0, 29):
            with django_assert_max_num_queries(14):
                owner.get(PAGE)


def test_a_head_is_marked_on_its_page_and_the_code_taken_is_said_beside_its_field(farm, hand):
    address = reverse("stock:turtle-new")
    sent = {
        "key": str(uuid.uuid4()), "pond": "A", "kind": "slider", "of_class": "FEMALE", "method": "CLAWS",
        "day": "2026-03-09", "form": "NOTCH", "scheme": "NA16", "code": "bko", "number": "", "text": "",
    }  # fmt: skip
    answer = hand.post(address, sent)
    turtle = Turtle.objects.get()
    assert answer.url == reverse("stock:turtle", args=[turtle.pk])
    assert (turtle.sex, turtle.cell.pond.code) == ("FEMALE", "A")
    assert hand.post(address, sent).url == answer.url
    again = hand.post(address, {**sent, "key": str(uuid.uuid4())})
    assert again.status_code == 422
    assert f"is on turtle {turtle.pk} since" in again.content.decode()
    assert 'value="bko"' in again.content.decode()


def test_a_scheme_waits_for_the_owner_to_hold_it_against_the_figure(farm, owner, hand):
    address = reverse("stock:scheme-confirm", args=["LR16"])
    sent = {"key": uuid.uuid4(), "against": "Cagle 1939", "is_same": "on"}
    assert hand.post(address, sent).status_code == 403
    assert owner.post(address, {**sent, "is_same": ""}).status_code == 422
    for _ in range(2):  # pressed twice
        assert owner.post(address, sent).status_code == 303
    row = SchemeConfirmation.objects.get(scheme="LR16")
    assert (row.by, row.against) == (owner.user, "Cagle 1939")
    assert "confirmed" in hand.get(reverse("stock:scheme-list")).content.decode()


def test_the_next_free_code_passes_over_all_that_were_ever_used(farm):
    from stock.marks.notch import LETTER_SCHEME

    for code in ("ABC", "ABH"):
        farm.register(5, notch(code))
    # ABC and ABH used, two scutes apart: ABI is next (alphabetical, three notches).
    assert free_code(LETTER_SCHEME, farm.kind) == "ABI"


def test_nothing_about_an_animal_is_chosen_beforehand(farm, hand):
    """A first choice left as it is would be written as a fact that nobody looked at."""
    address = reverse("stock:turtle-new")
    page = hand.get(address)
    form = page.context["form"]
    assert [form[name].value() for name in ("pond", "kind", "of_class", "method")] == [None] * 4
    assert page.context["free"] == [("Slider", "ABC")]
    sent = {"key": str(uuid.uuid4()), "day": "2026-03-09", "form": "PAINT", "text": "red", "scheme": ""}
    empty = {"pond": "", "kind": "", "of_class": "", "method": ""}
    refused = hand.post(address, {**sent, **empty}).content.decode()
    assert all(f"Choose the {noun}." in refused for noun in ("pond", "kind", "class"))
    chosen = {**empty, "pond": "A", "kind": "slider", "of_class": "FEMALE"}
    assert hand.post(address, {**sent, **chosen}).status_code == 303
    turtle = Turtle.objects.get()
    assert turtle.sex_steps.get().method == "NOT_KNOWN"
    sexing = reverse("stock:turtle-sex", args=[turtle.pk])
    told = {
        "key": str(uuid.uuid4()),
        "day": "2026-03-09",
        "sex": "FEMALE",
        "method": "",
        "certainty": "PROBABLE",
    }
    assert "Choose the method." in hand.post(sexing, told).content.decode()
