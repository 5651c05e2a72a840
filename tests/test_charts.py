"""The charts: honest pictures of few, missing, extreme and hostile figures. No database."""

import doctest
import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from ponds import svg_marks
from stock.charts import (
    Interval,
    Series,
    bar_chart,
    figure_text,
    interval_strip,
    line_chart,
    sparkline,
    stacked_bar_chart,
    ticks,
)
from stock.templatetags import stock_format

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun")
HOSTILE = "<script>alert('x')</script>\"&"


def drawn(chart):
    """Read the SVG as XML, which fails on anything unescaped or unclosed."""
    return ElementTree.fromstring(chart.svg)  # noqa: S314


def marks(chart, css):
    return [element for element in drawn(chart).iter() if css in element.get("class", "").split()]


def heights(chart, css="mark"):
    found = (re.search(r"translate\(\S+ (\S+)\)", mark.get("transform", "")) for mark in marks(chart, css))
    return [float(match[1]) for match in found if match]


def every_chart(values, labels=None):
    labels = MONTHS[: len(values)] if labels is None else labels
    yield line_chart("Line", labels, [Series("Females", tuple(values))])
    yield bar_chart("Bars", labels, values)
    if all(value is None or value >= 0 for value in values):
        yield stacked_bar_chart("Stack", labels, [Series("Females", tuple(values))])
    yield sparkline("Spark", labels, values)
    yield interval_strip("Strip", [Interval(at, v, v, v) for at, v in zip(labels, values, strict=True)])


def numbers_in(chart):
    places = ("d", "x", "y", "width", "height", "transform")
    written = " ".join(element.get(place, "") for element in drawn(chart).iter() for place in places)
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?|nan|inf", written)]


@pytest.mark.parametrize(
    "values",
    [
        (),
        (7,),
        (0, 0, 0),
        (3, None, None, 5),
        (None, None),
        (-4, 2, -9),
        (1e6, 3e6, 2),
        (0.001, 0.002),
        (3, math.inf, math.nan),
    ],
    ids=[
        "empty",
        "one point",
        "all zero",
        "gap",
        "nothing known",
        "negative",
        "a million",
        "tiny",
        "no limit",
    ],
)
def test_every_chart_draws_every_run_of_figures(values):
    for chart in every_chart(values):
        figures = numbers_in(chart)
        assert all(math.isfinite(figure) for figure in figures), chart.name
        assert all(-20 <= figure <= 420 for figure in figures), chart.name
        assert len(chart.rows) == len(values)
        assert chart.summary.endswith("."), chart.name


def test_each_picture_has_a_name_a_description_and_a_role():
    for chart in every_chart((3, 4)):
        root = drawn(chart)
        name, description = root[0], root[1]
        assert root.get("role") == "img"
        assert root.get("aria-labelledby") == f"{name.get('id')} {description.get('id')}"
        assert (name.text, description.text) == (chart.name, chart.summary)


def test_no_line_is_drawn_across_a_gap():
    chart = line_chart("Book", MONTHS, [Series("Females", (10, 12, None, None, 9, 9))])
    (line,) = marks(chart, "line")
    assert line.get("d").count("M") == 2
    assert line.get("d").count("L") == 2
    # Four marked points, and the marker beside the line's name.
    assert len(heights(chart)) == 5
    assert sparkline("Book", MONTHS, (10, 12, None, None, 9, 9)).svg.count("M4.0") == 1


def test_greater_figures_stand_higher_and_zero_on_the_axis():
    chart = line_chart("Book", MONTHS[:4], [Series("Females", (0, 20, 40, -20))])
    (axis,) = marks(chart, "axis")
    zero = float(axis.get("d").split()[1].split("H")[0])
    none, some, most, below = heights(chart)[:4]
    assert none == zero
    # Equal steps of the figures are equal steps of the picture; down is greater in SVG.
    assert none - some == pytest.approx(some - most, abs=0.11)
    assert below - none == pytest.approx(none - some, abs=0.11)


def test_bars_are_as_long_as_their_figures():
    chart = bar_chart("Change", ("A", "B", "C"), (10, -20, None), unit="heads")
    ten, minus_twenty = marks(chart, "bar")
    assert float(minus_twenty.get("width")) == pytest.approx(2 * float(ten.get("width")), abs=0.2)
    assert float(minus_twenty.get("x")) < float(ten.get("x"))
    assert chart.rows[2] == ("C", "none")
    assert "none" in [element.text for element in marks(chart, "tick")]


def test_stacked_parts_join_and_add_up():
    chart = stacked_bar_chart("Stock", ("A",), [Series("Females", (30,)), Series("Males", (10,))])
    females, males = (bar for bar in marks(chart, "bar") if bar.get("height") == "20.0")
    assert float(females.get("width")) == pytest.approx(3 * float(males.get("width")), abs=0.2)
    assert float(females.get("x")) + float(females.get("width")) == pytest.approx(
        float(males.get("x")), abs=0.11
    )
    assert chart.rows == (("A", "30", "10", "40"),)
    # Told apart without color: the second part carries a pattern.
    assert len(marks(chart, "pattern")) == 2
    with pytest.raises(ValueError, match="below zero"):
        stacked_bar_chart("Stock", ("A",), [Series("Females", (-1,))])


def test_an_interval_with_an_open_end_has_an_arrow_and_words():
    chart = interval_strip(
        "Ratio",
        [
            Interval("A", 3.0, 2.0, 4.0),
            Interval("B", math.inf, 5.2, math.inf),
            Interval("C", None, None, None),
        ],
        band=(2.5, 4.5),
        target=3.0,
    )
    (band,), (target,) = marks(chart, "band"), marks(chart, "target")
    (dot,) = marks(chart, "mark")
    at = float(re.search(r"translate\((\S+) ", dot.get("transform"))[1])
    assert float(band.get("x")) < at < float(band.get("x")) + float(band.get("width"))
    assert target.get("d").startswith(f"M{at:.1f} ")
    assert "l7 5l-7 5" in marks(chart, "whisker")[1].get("d")
    assert chart.rows[1] == ("B", "no limit", "5.2", "no limit")
    assert "not known" in [element.text for element in marks(chart, "tick")]
    assert chart.summary == "1 of 3 lie in the band, 2.50 to 4.50."


def test_the_table_holds_the_figures_of_the_picture():
    chart = line_chart(
        "Book",
        MONTHS[:3],
        [Series("Females", (160, None, 1581)), Series("Males", (50, 49.5, -1))],
        unit="heads",
    )
    assert chart.columns == ("When", "Females, heads", "Males, heads")
    assert chart.rows == (("Jan", "160", "50.0"), ("Feb", "none", "49.5"), ("Mar", "1\u202f581", "−1.0"))
    assert chart.summary == (
        "Females: 1\u202f581 heads in Mar, 1\u202f421 more than in Jan. "
        "Males: −1 heads in Mar, 50.50 fewer than in Feb."
    )


def test_what_differs_by_nothing_that_is_shown_is_the_same():
    labels = ["2025", "2026"]
    for before, now, words in (
        (1.504, 1.5, "1.50 in 2026, the same as in 2025."),
        (1.49, 1.5, "1.50 in 2026, 0.01 more than in 2025."),
        (1000.0, 1000.0, "in 2026, the same as in 2025."),
        (1010.0, 1000.0, "in 2026, 10 fewer than in 2025."),
    ):
        assert line_chart("Nests", labels, [Series("Nests", (before, now))]).summary.endswith(words)


def test_every_word_is_escaped():
    charts = [
        line_chart(HOSTILE, [HOSTILE], [Series(HOSTILE, (1,))], unit=HOSTILE, summary=HOSTILE),
        bar_chart(HOSTILE, [HOSTILE], [1], unit=HOSTILE),
        stacked_bar_chart(HOSTILE, [HOSTILE], [Series(HOSTILE, (1,))], unit=HOSTILE),
        sparkline(HOSTILE, [HOSTILE], [1], unit=HOSTILE),
        interval_strip(HOSTILE, [Interval(HOSTILE, 1, 0, 2)], unit=HOSTILE),
        line_chart(HOSTILE, [], []),
    ]
    for chart in charts:
        assert "script" not in {element.tag for element in drawn(chart).iter()}
        assert "<script" not in chart.svg
        assert "style=" not in chart.svg
        # What is shown is what was given: escaped once, not twice.
        assert drawn(chart)[0].text == HOSTILE


def test_a_dozen_lines_differ_in_more_than_color():
    chart = line_chart("Nests", MONTHS, [Series(f"Pond {n}", (n,) * 6) for n in range(12)])
    looks = {(mark.get("d"), mark.get("class")) for mark in marks(chart, "mark")}
    assert len(looks) == 12
    named = [float(element.get("y")) for element in marks(chart, "name")]
    assert min(b - a for a, b in pairwise(sorted(named))) >= 15.9
    with pytest.raises(ValueError, match="12 lines, not 13"):
        line_chart("Nests", MONTHS, [Series(str(n), (n,) * 6) for n in range(13)])


def test_unequal_lengths_are_refused_with_both_numbers():
    with pytest.raises(ValueError, match="Females has 2 figures for 6 labels"):
        line_chart("Book", MONTHS, [Series("Females", (1, 2))])


@pytest.mark.parametrize(("low", "high"), [(0, 46), (-30, 12), (0, 3e6), (0, 0), (0.0021, 0.0089)])
def test_ticks_are_round_even_and_cover_the_figures(low, high):
    steps = ticks(low, high)
    gaps = {round(b - a, 9) for a, b in pairwise(steps)}
    assert len(gaps) == 1
    assert steps[0] <= low
    assert steps[-1] >= high
    leading = f"{gaps.pop():.6e}"
    assert leading[:8] in {"1.000000", "2.000000", "5.000000"}
    assert 2 <= len(steps) <= 7


def test_forty_sparklines_are_small():
    """Criterion: at most 60 kB for a page of forty ponds over two years; their time is a benchmark's matter."""
    labels, values = [str(n) for n in range(24)], [100 + (n * 7) % 13 for n in range(24)]
    charts = [sparkline(f"Pond {n}: females", labels, values) for n in range(40)]
    assert sum(len(chart.svg.encode()) for chart in charts) < 60_000


def test_figures_are_written_the_same_everywhere():
    assert figure_text(1234567.0) == stock_format.number(1234567.0) == "1\u202f234\u202f567"
    assert figure_text(-0.001, 2) == stock_format.number(-0.001, 2) == "0.00"


@pytest.mark.parametrize("module", [svg_marks, stock_format], ids=lambda module: module.__name__)
def test_examples_in_the_documentation_hold(module):
    outcome = doctest.testmod(module)
    assert outcome.attempted > 0
    assert outcome.failed == 0
