"""A small part of the coverage study, with a fixed seed; `manage.py bench coverage` runs the whole."""

import numpy as np
import pytest

from stock.bench import coverage
from stock.bench.coverage import BAND, LEAST_EXACT, Cell, Group

RUNS = 5_000


@pytest.fixture(scope="module")
def cells():
    rng = np.random.default_rng(41)
    return list(coverage.two_hauls(rng, RUNS, pond_heads=(50, 500, 2000), ratios=(1, 6), captures=(0.1, 0.5)))


def test_limits_hold_as_often_as_they_say(cells):
    # What chance may do in so many runs, at 99.9 %: 0.8 points at the band's edge.
    slack = coverage.slack(BAND[0], RUNS)
    assert slack < 1.2
    limits = set()
    for cell in cells:
        for group in cell.groups:
            limits.add(group.limit)
            if group.limit == "band":
                assert BAND[0] - slack <= group.covered <= BAND[1] + slack, (cell, group)
            elif group.limit == "least":
                assert group.covered >= LEAST_EXACT - slack, (cell, group)
    assert limits == {"band", "least", ""}


def test_a_group_is_held_to_the_limit_of_its_own_heads(cells):
    by_place = {(cell.heads, cell.ratio, cell.capture): cell for cell in cells}
    limits = [group.limit for group in by_place[500, 6, 0.5].groups]
    # 429 females expect 107 recaptures; 71 males are fewer than 200 heads.
    assert limits == ["band", "band", "least", ""]
    # 2,000 heads caught at a tenth expect 20 recaptures together, and fewer of each sex.
    assert [group.limit for group in by_place[2000, 1, 0.1].groups] == ["band", "least", "least", ""]


def test_every_cell_is_printed(cells):
    lines = coverage.table(cells).splitlines()
    rows = [line.split() for line in lines if line[:8].strip().isdigit()]
    assert [(int(row[0]), row[1], row[2]) for row in rows] == [
        (cell.heads, f"{cell.ratio}:1", f"{cell.capture:.0%}") for cell in cells
    ]


def test_refused_surveys_are_counted_not_dropped(cells):
    small = next(cell for cell in cells if (cell.heads, cell.ratio, cell.capture) == (50, 1, 0.1))
    # Nobody is caught again in half of the surveys or more: (1 - 0.01) ** 50 = 0.605.
    assert small.refused == pytest.approx(60.5, abs=coverage.slack(60.5, RUNS))
    assert small.groups[0].unbounded == pytest.approx(small.refused)


def cell_with(covered, limit):
    group = Group("total", 500, 45.0, covered, covered, 0.0, limit)
    return Cell("two hauls with marks", 2, 500, 3, 0.3, RUNS, 0.0, 100.0, (group,))


@pytest.mark.parametrize(
    ("covered", "limit", "is_missed"),
    [
        (92.9, "band", True),
        (97.1, "band", True),
        (95.0, "band", False),
        (93.9, "least", True),
        (99.9, "least", False),
        (50.0, "", False),
    ],
)
def test_a_cell_that_misses_says_which_and_by_what(covered, limit, is_missed):
    missed = cell_with(covered, limit).missed
    assert bool(missed) is is_missed
    if is_missed:
        assert "500 heads, ratio 3, capture 30%" in missed[0]
        assert f"{covered:.2f} %" in missed[0]
