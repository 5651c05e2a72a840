"""Each named change of every sheet once: harmless ones load whole, faults are refused by row and column, none crashes.

`python -m tests.sheet_faults` does the same with two hundred sheets of each.
"""

import pytest

from tests.sheet_faults.changes import FAULTS, HARMLESS
from tests.sheet_faults.trial import CHANGES, WHATS, clean, make, trial
from tests.sheet_faults.valid import a_farm

pytestmark = pytest.mark.django_db


def test_there_are_changes_enough():
    assert (len(FAULTS) >= 20, len(HARMLESS) >= 10, len(CHANGES) * 200 >= 10_000) == (True, True, True)


@pytest.mark.parametrize("what", WHATS)
def test_every_change_of_a_sheet_is_received_as_it_must_be(what):
    a_farm()
    known = clean(what)
    wrong = []
    for seed, change in enumerate(CHANGES):
        if (case := make(what, change, seed)) is not None:
            wrong += [f"{change} {seed}: {sentence}" for sentence in trial(what, case, known)[1]]
    assert wrong == []
