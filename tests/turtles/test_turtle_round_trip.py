"""The sheets that go out hold all that stands, and every mark with what became of it: loaded back they add nothing,
elsewhere they make all anew."""

import csv
import datetime as dt
import io
import random
import uuid
from collections import Counter

import pytest

from ponds.sheets import load, registered_sheets
from stock import ledger, turtle_export
from stock.check import differences
from stock.drafts import BatchDraft, Draft, Line, PutOn, SexDraft
from stock.marks.measures import read_measure
from stock.marks.notch import SCHEMES
from stock.marks.positions import mask_of
from stock.models import Mark, MarkEvent, Measure, Move, SexStep, Turtle
from stock.turtle_book import confirm_scheme, note_mark, note_sex, put_mark, register
from stock.turtle_records import record_measures
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 30)
START = dt.date(2024, 1, 2)


@pytest.fixture
def farm(hand):
    """Two kinds with heads in one pond; the second one is the register that has no turtles yet."""
    kinds = [
        KindFactory(code=code, scientific_name="Trachemys scripta elegans") for code in ("hare", "tortoise")
    ]
    pond = PondFactory(kinds=kinds)
    for kind in kinds:
        lines = tuple(
            Line(kind.code, of_class, "BOUGHT", pond.code, 30, batch="spring")
            for of_class in ("FEMALE", "UNSEXED")
        )
        batches = (
            (BatchDraft("spring", "BOUGHT", START, party="A farm upstream"),) if kind is kinds[0] else ()
        )
        ledger.record(
            Draft(key=uuid.uuid4(), happened_on=START, lines=lines, batches=batches),
            by=hand.user,
            today=TODAY,
        )
    confirm_scheme("NA16", against="Figure 2", by=hand.user, today=START)
    return kinds[0], pond


def day(number):
    return START + dt.timedelta(days=number)


def tag(number):
    return PutOn("TAG", family="iso", tag=f"9851130073990{number:02}", site="left hind leg")


def notches(*scutes, **more):
    return PutOn("NOTCH", scheme="NA16", mask=mask_of(scutes), **more)


class Maker:
    """Makes turtles through the register, as the office types them."""

    def __init__(self, user, kind, pond):
        self.user, self.kind, self.pond = user, kind, pond

    def turtle(self, on, *put_on, of_class="FEMALE", sex=None, batch=""):
        made, _ = register(
            key=uuid.uuid4(), kind=self.kind.code, of_class=of_class, pond=self.pond.code, day=day(on), put_on=put_on,
            by=self.user, today=TODAY, sex=sex, batch=batch,
        )  # fmt: skip
        return made

    def mark(self, turtle, on, put_on):
        return put_mark(turtle, put_on, day=day(on), by=self.user, today=TODAY)

    def end(self, mark, on, what, **more):
        note_mark(mark, what, key=uuid.uuid4(), day=day(on), by=self.user, today=TODAY, **more)

    def sex(self, turtle, on, *told):
        note_sex(turtle, SexDraft(*told), day=day(on), by=self.user, today=TODAY)

    def measure(self, turtle, on, observer="", **typed):
        read = [read_measure(code, words) for code, words in typed.items()]
        record_measures(
            turtle, read, measured_on=day(on), key=uuid.uuid4(), by=self.user, today=TODAY, observer=observer
        )


def every_case(make):
    """One turtle for each way in which a sheet once lost something."""
    male_in_females = make.turtle(10, tag(1))
    make.sex(male_in_females, 400, "MALE", "CLAWS", "PROBABLE")
    two_tags = make.turtle(11, tag(2), notches("R2", "R11", "L10"), batch="spring")
    make.mark(two_tags, 40, tag(3))
    make.mark(two_tags, 40, notches("R1"))
    make.mark(two_tags, 41, notches("R1", "L1"))
    make.measure(two_tags, 11, SCL_MAX="8 in", MASS="3 lb 1 oz")
    twice_a_day = make.turtle(12, PutOn("PAINT", text="white 5"), of_class="UNSEXED")
    make.measure(twice_a_day, 60, observer="wren", SCL_MAX="200", CW="150")
    make.measure(twice_a_day, 60, observer="wren", SCL_MAX="201")
    make.measure(twice_a_day, 60, observer="kite", SCL_MAX="201")
    before = make.turtle(100, tag(4))
    make.measure(before, 20, SCL_MAX="180")
    make.sex(before, 30, "FEMALE", "EGGS", "CERTAIN")
    mistaken = make.turtle(13, tag(5))
    make.measure(mistaken, 14, SCL_MAX="190")
    make.end(Mark.objects.get(turtle=mistaken), 15, "MISTAKEN")
    lost_one = make.turtle(14, tag(6), PutOn("OTHER", text="hole in the rim", site="left"))
    make.end(Mark.objects.get(turtle=lost_one, form="TAG"), 50, "LOST")
    make.measure(lost_one, 51, SCL_MAX="191")
    sexed_late = make.turtle(15, tag(7), sex=SexDraft("MALE", "CLAWS", "DOUBTFUL"), of_class="UNSEXED")
    make.sex(sexed_late, (TODAY - START).days, "FEMALE", "ULTRASOUND", "CERTAIN")
    make.measure(sexed_late, 300, SCL_MAX="201")
    twin = make.turtle(16, PutOn("TAG", family="iso", tag=tag(7).tag, is_conflict=True))
    make.measure(twin, 301, SCL_MAX="160")
    bare = make.turtle(17, tag(8))
    make.measure(bare, 90, SCL_MAX="195")
    make.end(Mark.objects.get(turtle=bare), 80, "REMOVED", note="It had grown in")
    worn = make.turtle(18, notches("R1", "R2", "R3"), PutOn("PAINT", text="white 9", note="for the day"))
    code = Mark.objects.get(turtle=worn, form="NOTCH")
    make.end(code, 60, "WORN", faint_mask=mask_of(("R2",)))
    for on, what in ((70, "LOST"), (75, "RENEWED"), (80, "READ")):
        make.end(code, on, what)
    make.end(Mark.objects.get(turtle=worn, form="PAINT"), 19, "LOST", note="Washed off")
    make.mark(worn, 30, PutOn("PAINT", text="white 9"))
    first = make.turtle(20, tag(9))
    make.mark(first, 21, tag(10))
    make.end(Mark.objects.get(turtle=first, tag=tag(9).tag), 22, "LOST")
    second = make.turtle(5, PutOn("TAG", family="iso", tag=tag(9).tag, is_conflict=True))
    make.measure(second, 23, SCL_MAX="192")


def by_chance(make, seed):
    """Turtles with any number of marks, measures and sexes, on any days."""
    chance = random.Random(seed)
    number = 10
    for _ in range(8):
        number += 1
        turtle = make.turtle(
            chance.randint(5, 200), tag(number), of_class=chance.choice(["FEMALE", "UNSEXED"])
        )
        for _ in range(chance.randint(0, 3)):
            number += 1
            put_on = chance.choice([tag(number), PutOn("PAINT", text=f"white {number}", site="shell")])
            mark = make.mark(turtle, chance.randint(200, 400), put_on)
            if chance.random() < 0.3:
                make.end(mark, chance.randint(400, 500), chance.choice(["LOST", "REMOVED", "MISTAKEN"]))
        for _ in range(chance.randint(0, 4)):
            make.measure(turtle, chance.randint(1, 30) * 20, SCL_MAX=str(chance.randint(150, 160)))
        for _ in range(chance.randint(0, 2)):
            make.sex(turtle, chance.randint(1, 900), chance.choice(["FEMALE", "MALE"]), "SIZE", "DOUBTFUL")


def held(kind):
    """Everything of each turtle of a kind that its sheets must keep."""
    standing = ledger.marks_that_stand([turtle.code for turtle in Turtle.objects.filter(kind__code=kind)])
    of_events = (
        "mark__form",
        "mark__mask",
        "mark__tag",
        "mark__text",
        "what",
        "happened_on",
        "faint_mask",
        "note",
    )
    marks = ("form", "scheme", "mask", "tag", "text", "site", "put_on_on")
    sexes = ("sexed_on", "sex", "method", "certainty")
    return sorted(
        (
            sorted(map(str, standing.filter(turtle=turtle).values_list(*marks))),
            sorted(map(str, Mark.objects.filter(turtle=turtle).values_list(*marks, "note"))),
            sorted(map(str, MarkEvent.objects.filter(mark__turtle=turtle).values_list(*of_events))),
            sorted(
                map(
                    str, Measure.objects.standing().filter(turtle=turtle).values_list(
                        "what", "measured_on", "stored", "typed", "unit", "observer"
                    ),
                )
            ),
            sorted(map(str, SexStep.objects.filter(turtle=turtle).values_list(*sexes))),
            turtle.sex,
            turtle.cell.of_class if turtle.cell else "not among the marked",
            turtle.batch.code if turtle.batch else "",
        )
        for turtle in Turtle.objects.filter(kind__code=kind).select_related("batch", "cell")
    )  # fmt: skip


def sheets(kind):
    lived = turtle_export.lives(kind=kind)
    return [
        turtle_export.sheet_csv(rows(lived)) for rows in (turtle_export.sheet_rows, turtle_export.mark_rows)
    ]


def loaded(what, text):
    return load(registered_sheets()[what], f"{what}.csv", text.encode())


def rows_of_the_register():
    tables = (Turtle, Mark, MarkEvent, Measure, SexStep, Move)
    return Counter({table: table.objects.count() for table in tables})


def elsewhere(text):
    """The same sheet for a register that has none of its turtles: of another kind, with tags that are free."""
    return text.replace("hare", "tortoise").replace("9851130073990", "9851130083990").replace("T-", "T-900")


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_what_goes_out_comes_back_whole(hand, farm, seed):
    make = Maker(hand.user, *farm)
    if seed is None:
        every_case(make)
    else:
        by_chance(make, seed)
    was, rows, (turtles, marks) = held("hare"), rows_of_the_register(), sheets("hare")
    assert len(was) == (12 if seed is None else 8)
    for what, text in (("turtles", turtles), ("marks", marks)):
        back = loaded(what, text)
        assert (back.bad_rows, back.written.new) == ([], 0)
        assert (held("hare"), rows_of_the_register()) == (was, rows)
    for what, text in (("turtles", turtles), ("marks", marks)):
        assert loaded(what, elsewhere(text)).bad_rows == []
    same_tags = str(held("tortoise")).replace("9851130083990", "9851130073990")
    assert same_tags == str(was)
    rows = rows_of_the_register()
    for what, text in (("turtles", turtles), ("marks", marks)):
        assert loaded(what, elsewhere(text)).written.new == 0
    assert rows_of_the_register() == rows
    assert differences() == []


def test_nothing_of_the_cases_is_missing_in_the_sheets(hand, farm):
    """What the round trip compares is there at all: a sheet that lost rows of both would pass it."""
    every_case(Maker(hand.user, *farm))
    turtles, marks = sheets("hare")
    for number in (1, 2, 3, 4, 7):
        assert tag(number).tag in turtles
        assert tag(number).tag in marks
    for gone in (5, 6, 8):
        assert tag(gone).tag not in turtles
        assert tag(gone).tag in marks
    assert "BKO" in turtles
    assert turtles.count(",201 mm") == 3
    assert "2026-11-30" in turtles
    assert SCHEMES["NA16"].key in turtles
    told = [tuple(row.values())[8:] for row in csv.DictReader(io.StringIO(marks))]
    assert ("taken off", day(80).isoformat(), "", "It had grown in") in told
    assert ("read with doubt", day(60).isoformat(), "R2", "") in told
    assert ("typed by mistake", day(15).isoformat(), "", "") in told
    assert ("lost or failed", day(19).isoformat(), "", "Washed off") in told
    assert ("put on", day(18).isoformat(), "", "for the day") in told


def test_one_workbook_holds_both_sheets_and_each_loads_from_it(hand, farm):
    every_case(Maker(hand.user, *farm))
    lived = turtle_export.lives(kind="hare")
    book = turtle_export.turtles_xlsx(turtle_export.sheet_rows(lived), turtle_export.mark_rows(lived))
    rows = rows_of_the_register()
    for what in ("turtles", "marks"):
        outcome = load(registered_sheets()[what], "turtles.xlsx", book)
        assert (outcome.bad_rows, outcome.written.new) == ([], 0)
        assert outcome.written.same > 20
    assert rows_of_the_register() == rows
    (refused,) = load(registered_sheets()["moves"], "turtles.xlsx", book).bad_rows
    assert "2 filled sheets" in refused.reason
