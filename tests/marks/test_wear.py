"""When a notch code is due to be renewed."""

import datetime as dt

import pytest

from stock.marks.positions import mask_of
from stock.marks.wear import Reading, renotch_reasons

MAY_2024, MAY_2026 = dt.date(2024, 5, 1), dt.date(2026, 5, 1)
FAINT = mask_of(["R2"])


@pytest.mark.parametrize(
    ("readings", "lengths", "today", "says"),
    [
        ((), (None, None), MAY_2026, []),
        ((Reading(MAY_2026),), (200, 210), MAY_2026, []),
        (
            (Reading(MAY_2026, FAINT),),
            (None, None),
            MAY_2026,
            ["Read with doubt on 1 May 2026: right marginal 2."],
        ),
        ((Reading(MAY_2026, FAINT), Reading(dt.date(2026, 5, 2))), (None, None), MAY_2026, []),
        ((Reading(MAY_2026, FAINT), Reading(dt.date(2026, 5, 2), 0, True)), (None, None), MAY_2026, []),
        # Notched again on the day of the doubtful reading, and read with doubt after that on the same day.
        ((Reading(MAY_2026, FAINT), Reading(MAY_2026, 0, True)), (None, None), MAY_2026, []),
        (
            (Reading(MAY_2026, 0, True), Reading(MAY_2026, FAINT)),
            (None, None),
            MAY_2026,
            ["Read with doubt on 1 May 2026: right marginal 2."],
        ),
        ((), (100, 140), MAY_2026, []),
        ((), (100, 141), MAY_2026, ["Notched at 100 mm and 141 mm now: grown by 41 %."]),
        ((), (None, None), dt.date(2029, 5, 1), []),
        ((), (None, None), dt.date(2029, 5, 3), ["Last notched on 1 May 2024, more than 5 years ago."]),
    ],
)
def test_when_to_notch_again(readings, lengths, today, says):
    found = renotch_reasons(MAY_2024, readings, today=today, length_then=lengths[0], length_now=lengths[1])
    assert list(found) == says
