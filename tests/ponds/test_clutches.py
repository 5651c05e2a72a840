"""A line of clutches as it is typed at the bank."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ponds.clutches import ClutchCount, clutch_line, read_clutches


@pytest.mark.parametrize(
    ("line", "clutches"),
    [
        ("9 8 10 (1)", [(9, 0), (8, 0), (10, 1)]),
        ("9,8, 10(1)", [(9, 0), (8, 0), (10, 1)]),
        ("  12 ( 2 ) ; 0  ", [(12, 2), (0, 0)]),
        ("9\n8\n10", [(9, 0), (8, 0), (10, 0)]),
        ("", []),
    ],
)
def test_a_line_is_read(line, clutches):
    assert read_clutches(line) == tuple(ClutchCount(*one) for one in clutches)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("9 8 ten", "“ten” cannot be read"),
        ("9 8.5", r"“8\.5” cannot be read"),
        ("9 -8", "“-8” cannot be read"),
        ("(1) 9", r"\(1\) stands without a nest before it"),
        ("9 (1) (1)", r"\(1\) stands without a nest before it"),
        ("9 (10)", "10 broken of 9 eggs"),
        ("201", "201 eggs in one nest are too many; 200 is the most"),
        ("9 (", r"cannot be read"),
        ("8x", "“8x” cannot be read"),
        ("9 " * 501, "501 clutches in one line are too many"),
        ("9" * 5000, "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_named(line, words):
    with pytest.raises(ValueError, match=words):
        read_clutches(line)


@given(st.lists(st.integers(0, 200).flatmap(lambda eggs: st.tuples(st.just(eggs), st.integers(0, eggs)))))
def test_what_is_written_is_read_back(pairs):
    clutches = tuple(ClutchCount(*pair) for pair in pairs)
    assert read_clutches(clutch_line(clutches)) == clutches
