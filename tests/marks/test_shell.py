"""The shell as drawn: well-formed, every notch marked by more than color, and said in words."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from stock.marks.notch import (
    ADDITIVE_SCHEME,
    LETTER_SCHEME,
    LETTER_SCHEME_11,
    SCHEMES,
    decode,
    letter_scheme,
)
from stock.marks.shell import draw_shell, shell_words

HOSTILE = "<script>alert('x')</script>\"&"
STYLE = Path(__file__).resolve().parents[2] / "config/static/config/app.css"


def drawn(svg):
    """Read the SVG as XML, which fails on anything unescaped or unclosed."""
    return ElementTree.fromstring(svg)  # noqa: S314


def classes(element):
    return element.get("class", "").split()


def marginals(svg, state=None):
    """Return the marginal scutes by place, those of one state only where one is named."""
    return {
        element.get("data-position"): element
        for element in drawn(svg).iter("g")
        if "marginal" in classes(element) and state in (None, *classes(element))
    }


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_each_scute_is_drawn_once_and_each_notch_is_marked(scheme):
    usable = [row.position for row in scheme.rows if row.usable]
    for positions in ([], usable[:1], usable[1:4], usable):
        svg = draw_shell(scheme, positions)
        scutes = marginals(svg)
        assert set(scutes) == {f"{side}{at}" for side in "LR" for at in range(1, scheme.marginals + 1)}
        assert svg.count("data-position") == len(scutes)
        for place, scute in scutes.items():
            found = {name for part in scute for name in classes(part)}
            # A triangle and a hatch, so that nothing hangs on color.
            assert {"cut", "worked"} <= found if place in positions else not {"cut", "worked"} & found
            assert [part.text for part in scute if "number" in classes(part)] == [place[1:]]
        assert set(marginals(svg, "notched")) == set(positions)


def test_the_hatch_of_a_notch_is_defined_in_the_same_drawing():
    root = drawn(draw_shell(LETTER_SCHEME, "BKO"))
    patterns = {pattern.get("id") for pattern in root.iter("pattern")}
    used = {element.get("fill") for element in root.iter("path") if "worked" in classes(element)}
    assert used == {f"url(#{pattern})" for pattern in patterns}


def test_a_notch_is_a_triangle_whose_point_lies_inside_the_rim():
    scute = marginals(draw_shell(LETTER_SCHEME, "B"))["R2"]
    (cut,) = [part.get("d") for part in scute if "cut" in classes(part)]
    points = [tuple(map(float, pair.split())) for pair in cut.strip("MZ").split("L")]
    assert len(points) == 3
    outside = [((x - 160) / 128) ** 2 + ((y - 180) / 150) ** 2 for x, y in points]
    assert outside[0] == pytest.approx(1, abs=0.01)
    assert outside[2] == pytest.approx(1, abs=0.01)
    assert outside[1] < 0.85


def test_right_is_right_and_the_first_marginals_are_at_the_head():
    def middle(place):
        (number,) = [
            part for part in marginals(draw_shell(LETTER_SCHEME))[place] if "number" in classes(part)
        ]
        return float(number.get("x")), float(number.get("y"))

    assert all(middle(f"R{at}")[0] > 160 > middle(f"L{at}")[0] for at in range(1, 13))
    heights = [middle(f"R{at}")[1] for at in range(1, 13)]
    assert heights == sorted(heights)
    assert heights == [middle(f"L{at}")[1] for at in range(1, 13)]


def test_it_reads_aloud():
    root = drawn(draw_shell(LETTER_SCHEME, "BKO", doubtful=["R1"], missing=["L1"], code="BKO", name="T-0147"))
    title, description = root.find("title"), root.find("desc")
    assert root.get("role") == "img"
    assert root.get("aria-labelledby").split() == [title.get("id"), description.get("id")]
    assert title.text == "Shell of T-0147, code BKO"
    assert description.text == (
        "Seen from above, head up; right and left are the animal's own. Notched: right marginals 2 and 11, left "
        "marginal 10. Doubtful: right marginal 1. Not there: left marginal 1. In letters: B K O."
    )
    assert shell_words(ADDITIVE_SCHEME, decode(ADDITIVE_SCHEME, "7"), code="7") == (
        "Shell, code 7",
        "Seen from above, head up; right and left are the animal's own. Notched: right marginal 8.",
    )
    assert drawn(draw_shell(LETTER_SCHEME)).find("desc").text.endswith("Notched: no marginal.")


def test_doubtful_missing_and_closed_scutes_look_otherwise():
    svg = draw_shell(LETTER_SCHEME, "B", doubtful="BO", missing="X")
    assert set(marginals(svg, "doubtful")) == {"L10"}
    assert set(marginals(svg, "missing")) == {"L1"}
    assert set(marginals(svg, "closed")) == {f"{side}{at}" for side in "LR" for at in (4, 5, 6, 7)}
    (number,) = [part.text for part in marginals(svg)["L10"] if "number" in classes(part)]
    assert number == "10?"
    assert any("cross" in classes(part) for part in marginals(svg)["L1"])


def test_a_notch_on_a_closed_scute_or_one_too_many_is_drawn_where_it_is():
    assert set(marginals(draw_shell(LETTER_SCHEME, ["R5"]), "notched")) == {"R5"}
    extra = marginals(draw_shell(LETTER_SCHEME, ["L13"]))
    assert set(extra) == {f"{side}{at}" for side in "LR" for at in range(1, 14)}
    assert len(marginals(draw_shell(LETTER_SCHEME_11))) == 22


@pytest.mark.parametrize(
    ("scheme", "symbols"),
    [(LETTER_SCHEME, "ABCHIJKLMNOPQVWX"), (LETTER_SCHEME_11, "ABCHIJKNOPQVWX")],
)
def test_letters_stand_outside_the_rim(scheme, symbols):
    found = [e.text for e in drawn(draw_shell(scheme)).iter("text") if "symbol" in classes(e)]
    assert sorted(found) == list(symbols)


def test_scutes_that_can_be_tapped_are_links_with_names():
    root = drawn(draw_shell(LETTER_SCHEME, "B", links={"R2": "?at=B&off=1", "R3": "?at=C"}))
    links = {link.get("href"): link.get("aria-label") for link in root.iter("a")}
    assert links == {"?at=B&off=1": "Right marginal 2, notched", "?at=C": "Right marginal 3, not notched"}
    assert root.get("role") == "group"


def test_no_word_escapes_and_nothing_is_inline():
    svg = draw_shell(LETTER_SCHEME, "B", code=HOSTILE, name=HOSTILE, links={"R1": HOSTILE})
    root = drawn(svg)
    assert root.find("title").text == f"Shell of {HOSTILE}, code {HOSTILE}"
    assert not list(root.iter("script"))
    for element in root.iter():
        assert not [name for name in element.attrib if name == "style" or name.startswith("on")]
    assert not re.search(r"#[0-9a-f]{6}\b", svg.replace(root.find("title").get("id"), ""))


@pytest.mark.parametrize(
    "scheme", [*SCHEMES.values(), letter_scheme("whole", closed=())], ids=[*SCHEMES, "whole"]
)
def test_everything_stays_in_the_picture(scheme):
    """By the widest letter of the type, 9 units at 13: nothing may run over the edge of 320 by 360."""
    root = drawn(draw_shell(scheme, [row.position for row in scheme.rows if row.usable]))
    for element in root.iter("text"):
        x, y, wide = float(element.get("x")), float(element.get("y")), 9 * len(element.text)
        left = x - wide if "end" in classes(element) else x - wide / 2 if "mid" in classes(element) else x
        assert left >= 0, element.text
        assert left + wide <= 320, element.text
        assert 12 <= y <= 356, element.text
    for element in root.iter("path"):
        numbers = [float(number) for number in re.findall(r"-?\d+\.?\d*", element.get("d"))]
        assert all(-1 <= number <= 361 for number in numbers)


def test_every_class_it_uses_is_drawn_by_the_stylesheet():
    css = STYLE.read_text()
    root = drawn(draw_shell(LETTER_SCHEME, "B", doubtful="C", missing="X"))
    used = {name for element in root.iter() for name in classes(element)} - {
        "marginal",
        "open",
        "worked",
        "number",
    }
    assert {name for name in used if not re.search(rf"\.{name}\b", css)} == set()
    assert ".shell .notched .number" in css


def test_what_is_no_scute_is_refused():
    for wrong in (["Z"], ["R0"], ["R99"], [None]):
        with pytest.raises(ValueError, match=r"rim|nuchal|no right marginal"):
            draw_shell(LETTER_SCHEME, wrong)
    with pytest.raises(ValueError, match="not a place on the rim"):
        draw_shell(LETTER_SCHEME, [], links={"B": "?"})
