"""Scans typed into the Log page: who was in hand, where each went, and what is asked of each."""

import uuid

import pytest
from django.urls import reverse

from stock.check import differences
from stock.drafts import Line
from stock.models import HaulLine, HaulTurtle, Move, Turtle
from stock.scans import read_scans
from tests.turtles.marked_farm import MarkedFarm, notch, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
TAGS = [f"98511300739{number:04}" for number in range(20)]
LOG = reverse("stock:log")


@pytest.fixture
def farm(hand):
    made = MarkedFarm(hand.user)
    made.confirm()
    yield made
    assert differences() == []


def sent(scans, back="", moved="", target="", **more):
    """Return a Log page of a haul of females in pond A."""
    return {
        "key": str(uuid.uuid4()), "pond": "A", "day": "2026-03-20", "how": "SEINE", "scans": "\r\n".join(scans),
        "rows-TOTAL_FORMS": "1", "rows-INITIAL_FORMS": "0", "rows-0-kind": "slider", "rows-0-of_class": "FEMALE",
        "rows-0-back": back, "rows-0-moved": moved, "rows-0-target": target, **more,
    }  # fmt: skip


def confirm(client, page, address=LOG):
    """Post a page that asks, tick what it asks, and post it again."""
    asked = client.post(address, page)
    assert asked.status_code == 200, asked.url
    return asked.context["asked"], client.post(address, {**page, "confirmed": asked.context["asked_name"]})


def post(client, page, address=LOG):
    """Post a page of these days, long ago by now: that is asked about, and nothing else."""
    asked, answer = confirm(client, page, address)
    assert [sentence.partition(" is ")[0] for sentence in asked] == ["20 Mar 2026"]
    return answer


def test_scans_are_kept_in_their_order_and_a_double_scan_counts_once(farm, hand):
    codes = [farm.register(5, tag(TAGS[number])).pk for number in range(3)]
    page = sent([TAGS[2], TAGS[0], TAGS[2], f"LA_985_{TAGS[1][3:]}"], back="5")
    assert post(hand, page).status_code == 303
    in_order = list(HaulTurtle.objects.order_by("place").values_list("turtle", flat=True))
    assert in_order == [codes[2], codes[0], codes[1]]
    assert HaulLine.objects.get().carrying_marks == 3


def test_where_a_turtle_went_follows_its_line_or_its_whole_class(farm, hand):
    first, second = (farm.register(5, tag(TAGS[number])) for number in range(2))
    assert post(hand, sent([f"{TAGS[0]} b", TAGS[1]], back="3", moved="1", target="B")).status_code == 303
    third = farm.register(5, notch("BKO"))
    assert post(hand, sent(["BKO"], moved="2", target="B")).status_code == 303
    places = []
    for turtle in (first, second, third):
        turtle.refresh_from_db()
        places.append(turtle.cell.pond.code)
    assert places == ["B", "A", "B"]


def test_one_of_another_pond_one_never_seen_and_a_dead_one_are_each_asked_about(farm, hand):
    away = farm.register(5, tag(TAGS[0]), pond="B")
    dead = farm.register(5, tag(TAGS[1]))
    farm.post(6, Line("slider", "FEMALE", "A", "DIED", 1, turtles=(dead.code,)), pond="A")
    asked, answer = confirm(hand, sent([TAGS[0], TAGS[1], TAGS[9]], back="4"))
    assert "stands in pond B by the register" in asked[0]
    assert "was booked died before" in asked[1]
    assert "is on no turtle of the register" in asked[2]
    assert answer.status_code == 303
    for turtle in (away, dead):
        turtle.refresh_from_db()
        assert turtle.cell.pond.code == "A"
    assert Move.objects.latest("pk").note == f"Scanned, not in the register: {TAGS[9]}."


def test_a_number_that_is_a_notch_code_too_is_asked_about(farm):
    """Additive codes are numbers: 2 is the second right scute by itself, and turtle 2 may be another."""
    farm.confirm("SUM16")
    by_number = farm.register(5, tag(TAGS[0]))
    code = str(by_number.pk)
    by_notch = farm.register(5, notch(code, scheme="SUM16"))
    found = read_scans(code, "A", ("A", "B"))
    assert [scan.code for scan in found.scans] == [code]
    assert found.asked == [
        f"“{code}” is read as turtle {code}; as a notch code it is on turtle {by_notch.pk}. If that one is in hand, "
        "type its number instead."
    ]
    other = farm.register(5, notch("700", scheme="SUM16"))
    found = read_scans("700", "A", ("A", "B"))
    assert [scan.code for scan in found.scans] == [other.code]
    assert found.asked[0].startswith("No turtle has the number 700; as a notch code")


def test_a_turtle_is_named_by_its_number_in_words(farm):
    turtle = farm.register(5, tag(TAGS[0]))
    for typed in (
        f"{turtle.pk}",
        f"#{turtle.pk}",
        f"turtle {turtle.pk}",
        f"Turtle no. {turtle.pk}",
        f"T-000{turtle.pk}",
    ):
        for line, goes in (
            (typed, ""),
            (f"{typed} B", "B"),
            (f"{typed} to b", "B"),
            (f"{typed} sold", "SOLD"),
        ):
            found = read_scans(line, "A", {"A", "B"})
            assert [(scan.code, scan.goes) for scan in found.scans] == [(turtle.code, goes)], line
            assert (found.asked, found.faults) == ([], []), line
    assert read_scans("turtle 999", "A", {"A"}).unknown == ["turtle 999"]


def test_a_code_with_a_ponds_letter_behind_it_is_said_back_or_both_readings_are_named(farm, hand):
    """B and K are letters of the code and names of ponds."""
    single = farm.register(5, notch("A"))
    found = read_scans("A B", "A", {"A", "B"})
    assert [(scan.code, scan.goes) for scan in found.scans] == [(single.code, "B")]
    assert found.asked == [
        f"“A B” is read as turtle {single.pk}, code A, going to pond B. If the code in hand is AB, write it together."
    ]
    both = farm.register(5, notch("AB"))
    found = read_scans("A B", "A", {"A", "B"})
    assert found.scans == []
    assert found.faults == [
        f"“A B” can be read two ways: turtle {single.pk}, code A, going to pond B; or turtle {both.pk}, code AB. "
        "Write “A to B” for the first, or “AB” for the second."
    ]
    page = hand.post(LOG, sent(["A B"], moved="1", target="B"))
    assert "can be read two ways" in page.content.decode()
    assert not HaulTurtle.objects.exists()
    assert [(one.code, one.goes) for one in read_scans("A to B\nAB", "A", {"A", "B"}).scans] == [
        (single.code, "B"), (both.code, ""),
    ]  # fmt: skip
    longer = farm.register(5, notch("HIB"))
    found = read_scans("H I B", "A", {"A", "B"})
    assert [(scan.code, scan.goes) for scan in found.scans] == [(longer.code, "")]
    assert found.asked == [
        f"“H I B” is read as code HIB, turtle {longer.pk}. If H I in hand goes to pond B, write “H I to B”."
    ]
    assert read_scans("C B", "A", {"A", "B"}).unknown == ["C B"]  # neither C nor CB: the line is kept whole
    # Without such a pond the line has one reading.
    assert read_scans("H I B", "A", {"A", "C"}).asked == []


def test_nothing_typed_is_lost_where_a_scan_cannot_be_placed(farm, hand):
    turtle = farm.register(5, tag(TAGS[0]))
    farm.register(5, tag(TAGS[0], is_conflict=True))
    other = farm.register(5, tag(TAGS[1]))
    page = hand.post(LOG, sent([TAGS[0]], back="4")).content.decode()
    assert f"is on turtles {turtle.pk}, {other.pk - 1}" in page
    assert f"{turtle.pk}: Slider, pond A. {other.pk - 1}: Slider, pond A." in page
    assert f">{TAGS[0]}</textarea>" in page.replace("\n", "").replace("\r", "")
    page = post(hand, sent([f"{TAGS[1]} B"], back="4")).content.decode()
    assert "no row of its kind and class goes there" in page
    page = post(hand, sent([str(turtle.pk), str(other.pk)], back="1")).content.decode()
    assert "2 carried marks (or were scanned)" in page


def test_a_correction_shows_the_scans_and_keeps_them(farm, hand):
    first, second = (farm.register(5, tag(TAGS[number])) for number in range(2))
    post(hand, sent([f"{TAGS[0]} B", TAGS[1]], back="3", moved="1", target="B"))
    move = Move.objects.latest("pk")
    address = reverse("stock:move-correct", args=[move.key])
    typed = hand.get(address).context["entry"].head["scans"].value()
    assert typed == f"{first.pk} B\n{second.pk}"
    page = sent(typed.split("\n"), back="4", moved="1", target="B")
    assert hand.post(address, page).status_code == 303
    first.refresh_from_db()
    assert (first.cell.pond.code, HaulTurtle.objects.count()) == ("B", 4)


def test_a_marking_is_taken_back_and_not_corrected(farm, hand):
    turtle = farm.register(5, tag(TAGS[0]))
    address = reverse("stock:move-correct", args=[turtle.steps.get().move.key])
    assert "not corrected" in hand.get(address, follow=True).content.decode()


def test_two_thousand_lines_ask_three_questions(farm, django_assert_num_queries):
    farm.register(5, tag(TAGS[0]))
    with django_assert_num_queries(3):
        read = read_scans(
            "\n".join([TAGS[0], *(f"98511300800{number:04}" for number in range(1900))]), "A", {"A"}
        )
    assert len(read.scans) == 1
    assert len(read.unknown) == 1900


def test_the_office_names_which_marked_turtles_go(farm, owner):
    for number in range(6):
        farm.register(5, tag(TAGS[number]), of_class="MALE")
    sent_move = {
        "key": str(uuid.uuid4()), "day": "2026-03-20", "lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0",
        "lines-0-heads": "2", "lines-0-kind": "slider", "lines-0-of_class": "MALE", "lines-0-source": "A",
        "lines-0-target": "SOLD",
    }  # fmt: skip
    address = reverse("stock:move-new")
    assert "Name which marked turtles go" in owner.post(address, sent_move).content.decode()
    unknown = owner.post(address, {**sent_move, "lines-0-turtles": TAGS[9]}).content.decode()
    assert f"“{TAGS[9]}” is on no turtle of the register" in unknown
    answer = owner.post(address, {**sent_move, "lines-0-turtles": f"{TAGS[0]}, {TAGS[3]}"})
    assert answer.status_code == 303
    gone = Turtle.objects.filter(cell__outside="SOLD").order_by("pk").values_list("marks__tag", flat=True)
    assert list(gone) == [TAGS[0], TAGS[3]]


def test_the_box_names_what_may_be_typed_and_each_is_read_so(farm, hand):
    page = hand.get(LOG, {"pond": "A"})
    told = str(page.context["entry"].head.fields["scans"].help_text)
    turtle = farm.register(5, tag(TAGS[0]), notch("BKO"))
    for words, typed in (
        ("scan a tag", TAGS[0]),
        ("a notch code", "BKO"),
        ("“#3”", f"#{turtle.pk}"),
        ("“turtle 3”", f"turtle {turtle.pk}"),
    ):
        assert words in told
        assert [(one.code, one.goes) for one in read_scans(typed, "A", {"A", "B"}).scans] == [
            (turtle.code, "")
        ]
    for words, typed, goes in (
        ("… to K", f"#{turtle.pk} to B", "B"),
        ("… sold", "BKO sold", "SOLD"),
        ("… died", f"{TAGS[0]} died", "DIED"),
    ):
        assert words in told
        assert [(one.code, one.goes) for one in read_scans(typed, "A", {"A", "B"}).scans] == [
            (turtle.code, goes)
        ]


@pytest.mark.parametrize("slip", ["soled", "Z", "to Z", "> soled"])
@pytest.mark.parametrize("scan", ["tag", "number", "code"])
def test_a_place_typed_with_a_slip_is_refused_with_the_words_that_may_stand_there(farm, hand, scan, slip):
    turtle = farm.register(5, tag(TAGS[0]), notch("BKO"))
    typed = {"tag": TAGS[0], "number": f"turtle {turtle.pk}", "code": "BKO"}[scan]
    answer = hand.post(LOG, sent([f"{typed} {slip}"], back="3"))
    assert answer.status_code == 200
    said = " ".join(fault.sentence for fault in answer.context["entry"].faults())
    assert f"“{slip.split()[-1]}” is no place that a turtle can go to" in said
    assert "a pond in use (A, B), sold, died, dead, culled, escaped or back" in said
    assert not HaulTurtle.objects.exists()


@pytest.mark.parametrize(
    "typed", ["985 113 007 390 000", f"{TAGS[0]} FDXB", "LA 00000 0 985 113007390000", "B K O"]
)
def test_a_number_in_parts_is_no_slip(farm, typed):
    turtle = farm.register(5, tag(TAGS[0]), notch("BKO"))
    scans = read_scans(typed, "A", ("A", "B"))
    assert (scans.faults, [scan.code for scan in scans.scans]) == ([], [turtle.code])


@pytest.mark.parametrize(
    ("typed", "goes"),
    [
        (f"{TAGS[0]} 2026-05-01 10:11:12", ""),
        (f"{TAGS[0]}\t2026-05-01\t10:11", ""),
        (f"{TAGS[0]}, 2026-05-01, 10:11:12", ""),
        (f"{TAGS[0]} #12", ""),
        (f"{TAGS[0]};B", "B"),
        (f"{TAGS[0]}, sold", "SOLD"),
        # To the pond it is scanned in, a turtle goes back.
        (f"{TAGS[0]} A", "BACK"),
    ],
)
def test_what_a_reader_writes_behind_a_tag_is_no_place_and_a_place_behind_a_comma_is(farm, typed, goes):
    turtle = farm.register(5, tag(TAGS[0]))
    scans = read_scans(typed, "A", ("A", "B"))
    assert (scans.faults, scans.asked) == ([], [])
    assert [(scan.code, scan.goes) for scan in scans.scans] == [(turtle.code, goes)]
