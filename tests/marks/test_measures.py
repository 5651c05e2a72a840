"""Measures as they are typed, and what odd ones make one ask."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ponds.units import UnitRefused
from stock.marks import bodies
from stock.marks.measures import DEFINITIONS, UNITS_OF, read_measure
from stock.marks.plausible import Earlier, questions
from tests.marks.painted_turtles import shells

SLIDER = "Trachemys scripta elegans"


@pytest.mark.parametrize(
    ("code", "text", "unit", "typed", "chosen", "stored"),
    [
        # NIST Special Publication 811, appendix B.8: inch 25.4 mm, pound 453.59237 g, ounce 28.349523125 g, exact.
        ("SCL_MAX", "203", "", "203", "MM", 203),
        ("SCL_MAX", "20.3", "CM", "20.3", "CM", 203),
        ("SCL_MAX", "8.25", "INCH", "8.25", "INCH", 210),  # 209.55 mm
        ("SCL_MAX", "8 1/4 in", "", "8 1/4", "INCH", 210),
        ("SCL_MAX", "8-1/4 inches", "MM", "8-1/4", "INCH", 210),
        ("CW", '5 1/2"', "", "5 1/2", "INCH", 140),
        ("MASS", "2 lb 6 oz", "", "2 lb 6", "OZ", 1077),  # 1077.28187875 g
        ("MASS", "3.5 lb", "", "3.5", "LB", 1588),  # 1587.573295 g
        ("MASS", "1.4", "KG", "1.4", "KG", 1400),
        ("MASS", "1.4 kg", "G", "1.4", "KG", 1400),
        ("MASS", "6.94", "", "6.94", "G", 7),
    ],
)
def test_measures_are_kept_as_typed(code, text, unit, typed, chosen, stored):
    found = read_measure(code, text, unit)
    assert (found.typed, found.unit, found.stored) == (typed, chosen, stored)


@pytest.mark.parametrize(
    ("code", "text", "says"),
    [
        ("SCL_MAX", "", "Nothing is written"),
        ("SCL_MAX", "0", "not above 0"),
        ("SCL_MAX", "-5", "not above 0"),
        ("SCL_MAX", "2 lb", "is given in mm, cm, in"),
        ("MASS", "20 cm", "is given in g, kg, lb, oz"),
        ("MASS", "2 lb 18 oz", "write 3 lb 2 oz"),
        ("SCL_MAX", "203 furlongs", "is not a unit here"),
        ("SCL_MAX", "203 in", "more than any turtle"),
        ("SCL_MAX", "1,203", "two ways"),
        ("SCL_MAX", "3/0", "fraction"),
        ("WINGS", "3", "not measured here"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(code, text, says):
    with pytest.raises(UnitRefused, match=says):
        read_measure(code, text)


@given(code=st.sampled_from(sorted(DEFINITIONS)), figure=st.integers(1, 2000), place=st.integers(0, 3))
def test_what_is_shown_reads_back(code, figure, place):
    units = UNITS_OF[DEFINITIONS[code].quantity]
    unit = units[place % len(units)]
    try:
        found = read_measure(code, str(figure), unit)
    except UnitRefused:
        assert unit != DEFINITIONS[code].stored_unit
        return
    assert read_measure(code, found.words) == found


@given(st.text(max_size=25))
def test_nothing_typed_crashes(text):
    try:
        words = read_measure("MASS", text).words
    except UnitRefused as refused:
        words = str(refused)
    assert words


@pytest.mark.parametrize(
    ("length", "mass"),
    # Means of sliders raised two years, Sarnat et al. 1981, Anatomical Record 199: 32.47 mm 6.94 g, 75.21 mm 80.63 g;
    # between and beyond on the power law through both.
    [(32.47, 6.94), (75.21, 80.63), (75, 80), (100, 185), (150, 605), (200, 1402)],
)
def test_mass_expected_of_a_slider(length, mass):
    assert bodies.expected_mass(SLIDER, length) == pytest.approx(mass, abs=1.0)


def ask(kind=SLIDER, sex="FEMALE", earlier=(), on=None, of_class="", known_since=None, **texts):
    typed = [read_measure(code, text) for code, text in texts.items()]
    return questions(kind, sex, typed, earlier, on=on, of_class=of_class, known_since=known_since)


@pytest.mark.parametrize(
    ("texts", "measure", "says"),
    [
        ({"SCL_MAX": "200", "MASS": "1.4"}, "MASS", "looks like kg, that is 1\u202f400 g"),
        ({"SCL_MAX": "200", "MASS": "3.1"}, "MASS", "looks like lb, that is 1\u202f406 g"),
        ({"SCL_MAX": "7.9", "MASS": "1400"}, "SCL_MAX", "looks like inches, that is 201 mm"),
        ({"SCL_MAX": "20", "MASS": "1400"}, "SCL_MAX", "looks like centimeters"),
        ({"SCL_MAX": "200", "MASS": "49"}, "MASS", "looks like oz, that is 1\u202f389 g"),
        ({"SCL_MAX": "200", "MASS": "14000"}, "MASS", "point looks out of place, that is 1\u202f400 g"),
        ({"SCL_MAX": "200", "MASS": "140"}, "MASS", "point looks out of place, that is 1\u202f400 g"),
        ({"SCL_MAX": "200", "MASS": "1400 kg"}, "MASS", ""),
        ({"SCL_MAX": "7.9"}, "SCL_MAX", "shorter than any hatchling; it looks like inches"),
        ({"SCL_MAX": "2030"}, "SCL_MAX", "longer than the longest female"),
        ({"SCL_MAX": "150", "CW": "200"}, "CW", "looks swapped with Straight carapace length"),
        ({"SCL_MAX": "185", "PL_MAX": "200"}, "PL_MAX", "looks swapped with Straight carapace length"),
        ({"SCL_MAX": "200", "CW": "80", "SH": "150"}, "CW", "looks swapped with Shell height"),
        ({"SCL_MAX": "200", "CW": "15"}, "CW", "centimeters"),
        ({"SCL_MAX": "200", "CW": "6"}, "CW", "looks like inches, that is 152 mm"),
    ],
)
def test_slips_are_named(texts, measure, says):
    if "1400 kg" in texts.values():
        with pytest.raises(UnitRefused, match="more than any turtle"):
            ask(**texts)
        return
    (question,) = ask(**texts)
    assert question.measure == measure
    assert says in question.sentence
    assert not question.is_note


def test_a_healthy_animal_is_not_asked_about():
    assert ask(SCL_MAX="200", SCL_MID="197", PL_MAX="184", CW="150", SH="80", MASS="1350") == ()


def test_an_odd_mass_between_is_only_pointed_out():
    (question,) = ask(SCL_MAX="200", MASS="2500")
    assert question.is_note
    assert "about 1\u202f402 g is usual" in question.sentence


def test_none_of_48_published_shells_is_asked_about():
    """Jolicoeur & Mosimann 1960, Growth 24: 339-354."""
    for row in shells():
        sex = {"F": "FEMALE", "M": "MALE"}[row["sex"]]
        assert ask("Chrysemys picta", sex, SCL_MAX=row["length"], CW=row["width"], SH=row["height"]) == ()


def test_published_snapping_turtles_are_not_asked_about():
    """Ten pounds at 10.5 inches, thirty-five at 13."""
    assert ask("Chelydra serpentina", "MALE", SCL_MAX="10.5 in", MASS="10 lb") == ()
    assert ask("Chelydra serpentina", "MALE", SCL_MAX="13 in", MASS="35 lb") == ()


def test_a_male_map_turtle_as_long_as_a_female_is_asked_about():
    kind = "Graptemys pseudogeographica kohnii"
    assert ask(kind, "FEMALE", SCL_MAX="230") == ()
    (question,) = ask(kind, "MALE", SCL_MAX="230")
    assert "longest male" in question.sentence


LAST_YEAR = dt.date(2025, 5, 1)


@pytest.mark.parametrize(
    ("code", "was", "now", "asked", "says"),
    [
        ("SCL_MAX", 203, "201", False, ""),
        ("SCL_MAX", 203, "200", True, "a shell does not shrink"),
        ("SCL_MAX", 203, "20.4", True, "that is 204 mm"),
        ("SCL_MAX", 203, "228", False, ""),
        ("SCL_MAX", 203, "229", True, "much for a grown animal"),
        ("SCL_MAX", 90, "120", False, ""),
        ("MASS", 1400, "1130", False, ""),
        ("MASS", 1400, "1100", True, "more than a fifth lighter"),
    ],
)
def test_what_was_measured_before_is_held_against_it(code, was, now, asked, says):
    found = ask(earlier=[Earlier(code, was, LAST_YEAR)], on=dt.date(2026, 5, 1), **{code: now})
    assert bool(found) is asked
    assert says in "".join(question.sentence for question in found)


def test_another_observer_is_given_more_room():
    typed = [read_measure("SCL_MAX", "200")]
    earlier = [Earlier("SCL_MAX", 203, LAST_YEAR, "Ana")]
    assert questions(SLIDER, "FEMALE", typed, earlier, observer="Ben") == ()
    assert questions(SLIDER, "FEMALE", typed, earlier, observer="Ana") != ()


def test_a_kind_that_is_not_listed_is_asked_little():
    assert ask("Testudo graeca", "", SCL_MAX="200", MASS="1900", CW="140") == ()
    assert ask("", "", SCL_MAX="7.9")[0].code == "smallest"


@pytest.mark.parametrize(
    ("code", "later", "typed", "says"),
    [
        (
            "SCL_MAX",
            181,
            "186",
            "186 mm on 1 May 2025, and 181 mm on 1 May 2026 after that: a shell does not shrink",
        ),
        ("SCL_MAX", 181, "183", ""),
        ("SCL_MAX", 230, "200", "much for a grown animal"),
        ("SCL_MAX", 200, "7.5 in", ""),
        ("MASS", 1040, "1400", "more than a fifth lighter. Eggs laid, or ill?"),
        ("MASS", 1040, "1200", ""),
    ],
)
def test_a_back_dated_measure_is_held_against_the_later_ones(code, later, typed, says):
    found = ask(earlier=[Earlier(code, later, dt.date(2026, 5, 1))], on=LAST_YEAR, **{code: typed})
    assert bool(found) is bool(says)
    assert says in "".join(question.sentence for question in found)


def test_a_measure_before_the_day_of_marking_is_asked_about():
    marked = dt.date(2023, 5, 3)
    (question,) = ask(SCL_MAX="186", on=dt.date(2020, 1, 1), known_since=marked)
    assert question.code == "before"
    assert "1 Jan 2020 is before 3 May 2023, when this turtle was first marked" in question.sentence
    assert ask(SCL_MAX="186", on=marked, known_since=marked) == ()


@pytest.mark.parametrize(
    ("texts", "earlier", "says"),
    [
        ({"SCL_MAX": "20"}, [], "looks like centimeters"),
        ({"SCL_MAX": "98"}, [], "shorter than the females of a breeding pond"),
        ({"SCL_MAX": "100"}, [], ""),
        ({"MASS": "2.4"}, [], "looks like lb, that is 1\u202f089 g"),
        ({"MASS": "1.1"}, [], "looks like kg, that is 1\u202f100 g"),
        ({"MASS": "38"}, [], "looks like oz"),
        ({"MASS": "1040"}, [], ""),
        (
            {"MASS": "2.4"},
            [("MASS", 1040)],
            "more than a fifth lighter; it looks like lb, that is 1\u202f089 g",
        ),
        ({"MASS": "1100"}, [("MASS", 2)], "more than any turtle gains"),
        ({"MASS": "1.3"}, [("SCL_MAX", 200)], "looks like kg, that is 1\u202f300 g"),
        ({"MASS": "1300"}, [("SCL_MAX", 200)], ""),
        ({"SCL_MID": "230"}, [("SCL_MAX", 20)], "of the other figure it looks like centimeters"),
        (
            {"SCL_MID": "210"},
            [("SCL_MAX", 200)],
            "105 % of straight carapace length, greatest, 200 mm on 1 May 2025",
        ),
        ({"SCL_MID": "199"}, [("SCL_MAX", 200)], ""),
        ({"SCL_MAX": "200", "SCL_MID": "210"}, [], "105 % of straight carapace length, greatest, 200 mm"),
        (
            {"PL_MAX": "18.4"},
            [("SCL_MAX", 200)],
            "looks like centimeters, or the point is out of place, that is 184",
        ),
        ({"PL_MAX": "7.2"}, [("SCL_MAX", 200)], "looks like inches, that is 183 mm"),
        ({"SCL_MAX": "20"}, [("PL_MAX", 184)], "looks like centimeters"),
        ({"PL_MID": "180", "PL_MAX": "170"}, [], "of plastron length, "),
        ({"CW": "150"}, [("SCL_MAX", 200)], ""),
    ],
)
def test_a_figure_is_held_against_its_class_and_the_others_of_the_same_shell(texts, earlier, says):
    before = [Earlier(code, stored, LAST_YEAR) for code, stored in earlier]
    found = ask(earlier=before, on=dt.date(2025, 5, 2), of_class="FEMALE", **texts)
    assert bool(found) is bool(says)
    assert says in "".join(question.sentence for question in found)
    assert not any(question.is_note for question in found)


def test_a_juvenile_of_the_same_kind_is_not_held_against_the_grown_ones():
    assert ask(SCL_MAX="60", of_class="JUVENILE") == ()
    assert ask(MASS="45", of_class="JUVENILE") == ()


def test_the_same_figure_of_the_same_day_is_written_already():
    earlier = [Earlier("SCL_MAX", 203, LAST_YEAR)]
    (question,) = ask(earlier=earlier, on=LAST_YEAR, SCL_MAX="203")
    assert "203 mm on 1 May 2025 is written already. Was it typed twice" in question.sentence
    (question,) = ask(earlier=earlier, on=LAST_YEAR, SCL_MAX="204")
    assert "is a second figure of that day" in question.sentence


def test_a_figure_is_quoted_as_it_was_typed():
    (question,) = ask(earlier=[Earlier("SCL_MAX", 181, LAST_YEAR)], on=dt.date(2026, 5, 1), SCL_MAX="18.5")
    assert "was 181 mm on 1 May 2025, 18.5 mm now" in question.sentence
