"""The turtles sheet: all rows or none, the same sheet once, and 48 published shells through it."""

import datetime as dt
import uuid

import pytest

from ponds.models import Kind, Pond
from ponds.sheets import load, registered_sheets
from stock.check import differences
from stock.drafts import Draft, Line
from stock.forms.turtle import MeasureForm
from stock.ledger import record
from stock.marks.growth import sex_difference, size_summary
from stock.models import Mark, Measure, Move, SexStep, Turtle
from stock.turtle_sizes import kind_sizes
from tests.marks.painted_turtles import shells, sizes

pytestmark = pytest.mark.django_db
CHIP = "985113007399202"


@pytest.fixture(autouse=True)
def pond():
    kind = Kind.objects.create(
        code="painted", common_name="Painted turtle", scientific_name="Chrysemys picta", marginals_a_side=12
    )
    found = Pond.objects.create(code="A", opened_on=dt.date(2020, 1, 1))
    found.kinds_allowed.add(kind)
    loaded("stock", "pond,kind,day,females,males,unsexed,how known\nA,painted,2024-01-02,40,40,5,drained\n")
    return found


def loaded(what, text, **more):
    return load(registered_sheets()[what], f"{what}.csv", text.encode(), **more)


HEADINGS = "day,pond,kind,class,other mark,tag,carapace length,carapace width,shell height,mass\n"


def turtles(*rows, headings=HEADINGS):
    return loaded("turtles", headings + "".join(f"{row}\n" for row in rows))


def published_sheet():
    """The 48 shells of Jolicoeur & Mosimann 1960, Growth 24: 339-354, as a sheet."""
    return [
        f"2024-06-01,A,painted,{row['sex'].replace('F', 'female').replace('M', 'male')},"
        f"shell {number},,{row['length']},{row['width']},{row['height']},"
        for number, row in enumerate(shells(), start=1)
    ]


def test_48_published_shells_come_in_and_show_the_published_difference_of_the_sexes(reader):
    outcome = turtles(*published_sheet())
    assert (outcome.bad_rows, outcome.written.new, outcome.written.warnings) == ([], 48, ())
    held = {
        (sex, code): list(
            Measure.objects.standing().filter(turtle__sex=sex, what=code).values_list("stored", flat=True)
        )
        for sex in ("FEMALE", "MALE")
        for code in ("SCL_MAX", "CW", "SH")
    }
    assert sorted(held["FEMALE", "SH"]) == sorted(sizes("F", "height"))
    females, males = size_summary(held["FEMALE", "SCL_MAX"]), size_summary(held["MALE", "SCL_MAX"])
    # Means and variances as reprinted in Morrison, Multivariate Statistical Methods.
    assert (females.heads, males.heads) == (24, 24)
    assert females.mean.value == pytest.approx(136.00, abs=0.006)
    assert males.mean.value == pytest.approx(113.38, abs=0.006)
    assert females.deviation**2 == pytest.approx(451.39, abs=0.006)
    assert males.deviation**2 == pytest.approx(138.77, abs=0.006)
    difference = sex_difference(held["FEMALE", "SCL_MAX"], held["MALE", "SCL_MAX"])
    assert difference.difference.lower > 0
    assert difference.p_value < 0.001
    (kind,) = kind_sizes()
    length = kind.rows[0]
    assert (length.code, length.females.mean, length.difference) == ("SCL_MAX", females.mean, difference)
    shown = reader.get("/turtles/sizes/").content.decode()
    assert "136" in shown
    assert "+23 (+13 to +33)" in shown
    assert differences() == []


def test_the_same_sheet_again_changes_nothing():
    rows = published_sheet()[:3]
    turtles(*rows)
    before = (Move.objects.count(), Turtle.objects.count(), Measure.objects.count())
    again = turtles(*rows)
    assert (again.bad_rows, again.written.same, again.written.new) == ([], 3, 0)
    assert (Move.objects.count(), Turtle.objects.count(), Measure.objects.count()) == before


def test_a_mark_met_again_is_the_same_turtle_with_new_measures():
    outcome = turtles(
        "2025-06-01,A,painted,female,,985 113 007 399 202,150,,,",
        f"2024-06-01,A,painted,female,,{CHIP},140,,,3 lb 1 oz",
    )
    assert (outcome.bad_rows, outcome.written.new) == ([], 2)
    assert Turtle.objects.count() == Mark.objects.count() == 1
    assert list(Measure.objects.order_by("measured_on", "what").values_list("what", "stored")) == [
        ("MASS", 1389), ("SCL_MAX", 140), ("SCL_MAX", 150),
    ]  # fmt: skip
    third = turtles("2026-06-01,A,painted,female,,LA 00000 0 985 113007399202,154,,,")
    assert (third.bad_rows, third.written.new, Turtle.objects.count()) == ([], 1, 1)
    number = Turtle.objects.get().pk
    by_number = turtles(
        f"2026-07-01,A,painted,female,{number},155", headings="day,pond,kind,class,turtle,carapace length\n"
    )
    assert (by_number.bad_rows, by_number.written.new) == ([], 1)


def test_odd_measures_warn_and_are_written():
    outcome = turtles("2024-06-01,A,painted,female,white 5,,5.5,,,")
    assert outcome.bad_rows == []
    assert "it looks like inches, that is 140 mm" in outcome.written.warnings[0]
    assert Measure.objects.get().stored == 6


def test_origin_sex_and_conflicts_come_along():
    headings = "day,pond,kind,class,tag,conflict,sex method,certainty\n"
    outcome = turtles(
        f"2024-06-01,A,painted,female,{CHIP},no,eggs laid or felt,certain",
        f"2024-06-02,A,painted,male,{CHIP},yes,foreclaws,probable",
        headings=headings,
    )
    assert outcome.bad_rows == []
    assert [mark.conflict for mark in Mark.objects.order_by("pk")] == [0, 1]
    assert list(SexStep.objects.order_by("pk").values_list("sex", "method", "certainty")) == [
        ("FEMALE", "EGGS", "CERTAIN"), ("MALE", "CLAWS", "PROBABLE"),
    ]  # fmt: skip
    assert differences() == []


@pytest.mark.parametrize(
    ("rows", "column", "says"),
    [
        (["2024-06-01,A,painted,female,,,140,,,"], "notch", "carries a mark"),
        (["2024-06-01,A,painted,female,,98511300739920,140,,,"], "tag", "15 digits"),
        (["2024-06-01,A,painted,female,,60030207938416,140,,,"], "tag", "060030207938416"),
        (["2024-06-01,A,painted,female,x,,2 lb,,,"], "carapace length", "is given in mm"),
        (["2024-06-01,Q,painted,female,x,,140,,,"], "pond", "Q"),
        (["2999-06-01,A,painted,female,x,,140,,,"], "day", ""),
        (
            [f"2024-06-01,A,painted,female,,{CHIP},140,,,", f"2024-06-01,A,painted,female,,{CHIP},141,,,"],
            "tag",
            "stands in row 3, the same day",
        ),
        (
            [f"2024-06-01,A,painted,female,,{CHIP},140,,,", f"2024-06-02,A,painted,male,,{CHIP},141,,,"],
            "class",
            "another kind or class",
        ),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_written(rows, column, says):
    outcome = turtles("2024-06-01,A,painted,male,good,,120,,,", *rows)
    assert [bad.column for bad in outcome.bad_rows] == [column]
    assert says in outcome.bad_rows[0].reason
    assert Turtle.objects.count() == Measure.objects.count() == 0


@pytest.mark.parametrize(
    ("headings", "row", "column", "says"),
    [
        ("notch", "BKO", "notch", "printed figure"),
        ("notch", "ABD", "notch", "bridge"),
        ("turtle", "77", "turtle", "There is no turtle 77"),
        ("other mark,certainty,sex method", "x,certain,foreclaws", "certainty", "is an opinion"),
        ("other mark,sex", "x,male", "sex", "mend one"),
    ],
)
def test_what_contradicts_the_register_is_refused(headings, row, column, says):
    outcome = turtles(f"2024-06-01,A,painted,female,{row}", headings=f"day,pond,kind,class,{headings}\n")
    assert [bad.column for bad in outcome.bad_rows] == [column]
    assert says in outcome.bad_rows[0].reason


def test_rows_cost_the_same_each(django_assert_max_num_queries):
    with django_assert_max_num_queries(64 + 24 * 3):
        turtles(*published_sheet()[:24])


TAGGED = "day,pond,kind,class,turtle,tag,carapace length\n"


def two_that_carry_one_tag():
    headings = "day,pond,kind,class,tag,conflict\n"
    outcome = turtles(
        f"2024-06-01,A,painted,female,{CHIP},no", f"2024-06-02,A,painted,female,{CHIP},yes", headings=headings
    )
    assert outcome.bad_rows == []
    return list(Turtle.objects.order_by("pk"))


def test_a_tag_of_two_turtles_is_refused_until_one_is_named():
    first, second = two_that_carry_one_tag()
    outcome = turtles(f"2025-06-01,A,painted,female,,{CHIP},140", headings=TAGGED)
    assert [bad.column for bad in outcome.bad_rows] == ["turtle"]
    assert f"Turtles {first.pk} and {second.pk} carry this tag" in outcome.bad_rows[0].reason
    assert Measure.objects.count() == 0
    named = turtles(f"2025-06-01,A,painted,female,{second.pk},{CHIP},140", headings=TAGGED)
    assert named.bad_rows == []
    assert Measure.objects.get().turtle == second


def test_a_tag_of_two_rows_is_refused_until_their_animals_are_named():
    headings = "day,pond,kind,class,tag,conflict,animal,carapace length\n"
    rows = [
        f"2024-06-01,A,painted,female,{CHIP},no,{{}},120",
        f"2024-06-02,A,painted,female,{CHIP},yes,{{}},130",
        f"2024-06-03,A,painted,female,{CHIP},no,{{}},131",
    ]
    outcome = turtles(*(row.format("") for row in rows), headings=headings)
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(4, "animal")]
    assert "of the turtle of row 2 and 3" in outcome.bad_rows[0].reason
    named = [row.format(name) for row, name in zip(rows, ("one", "other", "other"), strict=True)]
    for new in (3, 0):
        outcome = turtles(*named, headings=headings)
        assert (outcome.bad_rows, outcome.written.new) == ([], new)
    assert sorted(Measure.objects.values_list("turtle", "stored")) == [
        (one.pk, stored) for one, some in zip(Turtle.objects.order_by("pk"), ([120], [130, 131]), strict=True)
        for stored in some
    ]  # fmt: skip


def test_a_turtle_that_stands_in_another_pond_is_refused(pond):
    other = Pond.objects.create(code="B", opened_on=dt.date(2020, 1, 1))
    other.kinds_allowed.add(Kind.objects.get())
    turtles(f"2024-06-01,A,painted,female,,{CHIP},140,,,")
    number = Turtle.objects.get().pk
    row = f"2025-06-01,B,painted,female,,{CHIP},150,,,"
    outcome = turtles(row)
    assert [bad.column for bad in outcome.bad_rows] == ["pond"]
    assert f"Turtle {number} stands in pond A by the register on 1 Jun 2025" in outcome.bad_rows[0].reason
    assert Measure.objects.count() == 1
    # The same measures in a row that only repeats them: nothing is left to write, and it is said all the same.
    again = turtles(f"2024-06-01,B,painted,female,,{CHIP},140,,,")
    assert again.bad_rows == []
    assert "stands in pond A by the register" in again.written.warnings[0]


def test_a_turtle_that_the_sheet_marks_in_one_pond_and_has_in_another_is_pointed_out():
    other = Pond.objects.create(code="B", opened_on=dt.date(2020, 1, 1))
    other.kinds_allowed.add(Kind.objects.get())
    outcome = turtles(
        f"2024-06-01,A,painted,female,,{CHIP},140,,,", f"2025-06-01,B,painted,female,,{CHIP},150,,,"
    )
    assert outcome.bad_rows == []
    assert "It was marked in pond A (row 2) and is in pond B here" in outcome.written.warnings[0]


def test_measures_are_held_against_those_that_the_register_has():
    first = turtles(f"2024-11-01,A,painted,female,,{CHIP},153,,,")
    assert first.written.warnings == ()
    later = turtles(f"2024-11-28,A,painted,female,,{CHIP},100,,,")
    assert later.bad_rows == []
    assert "was 153 mm on 1 Nov 2024, 100 mm now: a shell does not shrink" in later.written.warnings[0]
    assert turtles(f"2024-11-28,A,painted,female,,{CHIP},100,,,").written.warnings == ()


def test_a_further_mark_and_a_sex_of_a_known_turtle_are_written_once():
    turtles(f"2024-06-01,A,painted,unsexed,,{CHIP},140,,,")
    headings = "day,pond,kind,class,tag,paint,sex,sex method,certainty\n"
    row = f"2025-06-01,A,painted,unsexed,{CHIP},white 5,female,eggs laid or felt,certain"
    for new in (1, 0):
        outcome = turtles(row, headings=headings)
        assert (outcome.bad_rows, outcome.written.new) == ([], new)
    assert sorted(Mark.objects.values_list("form", "text", "put_on_on")) == [
        ("PAINT", "white 5", dt.date(2025, 6, 1)), ("TAG", "", dt.date(2024, 6, 1)),
    ]  # fmt: skip
    assert Turtle.objects.get().sex == "FEMALE"
    assert SexStep.objects.filter(method="EGGS", sexed_on="2025-06-01").count() == 1


@pytest.mark.parametrize(
    ("day", "length", "mass", "says"),
    [
        ("2024-07-01", "45", "", "shorter than the females of a breeding pond are"),
        ("2024-05-01", "140", "", "is before 1 Jun 2024, when this turtle was first marked"),
        ("2025-03-01", "", "30", "is usual for that length"),
        ("2025-03-01", "170", "", "a shell does not shrink"),
        ("2024-06-15", "141", "600", ""),
    ],
)
@pytest.mark.parametrize("sex", ["", "not to be told"])
def test_the_sheet_and_the_page_ask_the_same(owner, day, length, mass, says, sex):
    """Each on a turtle of its own that was marked and measured alike."""
    headings = "day,pond,kind,class,other mark,carapace length,sex\n"
    turtles(
        f"2024-06-01,A,painted,female,one,,{sex}", f"2024-06-01,A,painted,female,two,,{sex}",
        headings=headings,
    )  # fmt: skip
    one, two = Turtle.objects.order_by("pk")
    later = [f"2025-06-01,A,painted,female,{turtle.pk},150" for turtle in (one, two)]
    assert turtles(*later, headings="day,pond,kind,class,turtle,carapace length\n").bad_rows == []
    outcome = turtles(
        f"{day},A,painted,female,{one.pk},{length},{mass}",
        headings="day,pond,kind,class,turtle,carapace length,mass\n",
    )
    assert outcome.bad_rows == []
    by_sheet = [warning.removeprefix("Row 2: ") for warning in outcome.written.warnings]
    typed = {"measured_on": day, "SCL_MAX": length, "MASS": mass, "length_unit": "MM", "mass_unit": "G"}
    form = MeasureForm({"key": str(uuid.uuid4()), **typed}, turtle=Turtle.objects.get(pk=two.pk))
    by_page = [sentence for sentences in form.errors.values() for sentence in sentences]
    assert sorted(by_sheet) == sorted(by_page)
    assert any(says in sentence for sentence in by_sheet) if says else by_sheet == []


def test_a_measure_of_its_young_days_is_asked_about_as_of_a_young_one(owner):
    headings = "day,pond,kind,class,tag,carapace length\n"
    loaded("stock", "pond,kind,day,juveniles,how known\nA,painted,2024-01-03,4,drained\n")
    turtles(f"2024-02-01,A,painted,juvenile,{CHIP},40", headings=headings)
    turtle = Turtle.objects.get()
    matured = Line("painted", "JUVENILE", "A", "A", 1, to_class="FEMALE", turtles=(turtle.code,))
    record(
        Draft(uuid.uuid4(), dt.date(2025, 6, 1), (matured,), pond="A"),
        by=owner.user,
        today=dt.date(2026, 1, 1),
    )
    outcome = turtles(
        f"2024-03-01,A,painted,juvenile,{CHIP},44", f"2025-07-01,A,painted,female,{CHIP},45",
        headings=headings,
    )  # fmt: skip
    assert outcome.bad_rows == []
    (asked,) = outcome.written.warnings
    assert asked.startswith("Row 3")
    assert "counted as one" in asked


def test_all_that_is_wrong_is_named_in_one_round(pond):
    other = Pond.objects.create(code="B", opened_on=dt.date(2020, 1, 1))
    other.kinds_allowed.add(Kind.objects.get())
    turtles(f"2024-06-01,A,painted,female,,{CHIP},140,,,")
    headings = "day,pond,kind,class,tag,notch,other mark,turtle,carapace length\n"
    outcome = turtles(
        "2025-06-01,A,painted,female,98511300739920,,,,",  # cannot be read
        "2025-06-01,A,painted,female,,ABD,,,",  # on the bridge
        "2025-06-01,A,painted,female,,,x,77,",  # no such turtle
        f"2025-06-01,B,painted,female,{CHIP},,,,150",  # stands elsewhere
        "2025-06-01,A,painted,female,,BKO,,,",  # a scheme that is not confirmed
        "2025-06-01,A,painted,male,,,fine,,120",
        headings=headings,
    )
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [
        (2, "tag"), (3, "notch"), (4, "turtle"), (5, "pond"), (6, "notch"),
    ]  # fmt: skip
    assert Turtle.objects.count() == Measure.objects.count() == 1


def test_what_rests_on_a_refused_row_is_no_fault_of_its_own():
    headings = "day,pond,kind,class,notch,animal,carapace length\n"
    outcome = turtles(
        "2025-06-01,A,painted,female,BKO,one,", "2025-07-01,A,painted,female,,one,140", headings=headings
    )
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(2, "notch")]
