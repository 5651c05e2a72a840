"""Ponds: opening, states, retiring."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from ponds import retiring
from ponds.farm import the_farm
from ponds.models import Farm, PondState
from ponds.places import PondDraft, add_state, open_pond, state_on
from tests.factories import PondFactory, UserFactory

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 1)
QUARANTINE = PondState.State.QUARANTINE
RESTING = PondState.State.RESTING


@pytest.fixture
def pond():
    return PondFactory(code="A", opened_on=dt.date(2020, 1, 1))


def add(pond, **changes):
    entry = {"state": RESTING, "from_on": dt.date(2026, 5, 1), "ends_on": None, "today": TODAY}
    return add_state(pond=pond, **entry | changes)


def test_the_farm_is_there_after_migrate_and_costs_one_query(django_assert_num_queries):
    with django_assert_num_queries(1):
        assert the_farm().name == "My farm"
    assert Farm.objects.count() == 1


def test_a_new_pond_is_in_use_from_its_opening():
    person = UserFactory(role="owner")
    pond = open_pond(PondDraft("A", {"opened_on": dt.date(2024, 3, 1)}), by=person)
    state = state_on(pond, TODAY)
    assert (state.state, state.from_on, state.by) == (PondState.State.IN_USE, dt.date(2024, 3, 1), person)
    assert state_on(pond, dt.date(2024, 2, 29)) is None


def test_a_code_is_refused_for_ever():
    PondFactory(code="A", retired_on=dt.date(2022, 1, 1))
    with pytest.raises(ValidationError, match=r"never used again\. The next free one is B"):
        open_pond(PondDraft("A", {"opened_on": TODAY}))


def test_the_latest_state_on_or_before_a_day_holds(pond):
    add(pond)
    add(pond, state=QUARANTINE, from_on=dt.date(2026, 5, 20), ends_on=dt.date(2026, 7, 1))
    assert state_on(pond, dt.date(2026, 4, 30)).state == PondState.State.IN_USE
    assert state_on(pond, dt.date(2026, 5, 19)).state == RESTING
    assert state_on(pond, dt.date(2026, 5, 20)).state == QUARANTINE


def test_of_two_states_from_one_day_the_later_said_holds(pond):
    add(pond)
    add(pond, state=PondState.State.IN_USE)
    assert state_on(pond, dt.date(2026, 5, 1)).state == PondState.State.IN_USE


def test_the_same_state_said_twice_is_one_row(pond):
    assert add(pond) == add(pond)
    assert pond.states.count() == 2


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"state": QUARANTINE}, "ends_on", "due to end"),
        ({"state": QUARANTINE, "ends_on": dt.date(2026, 5, 1)}, "ends_on", "after that day"),
        ({"state": QUARANTINE, "ends_on": dt.date(2036, 5, 1)}, "ends_on", "more than three years"),
        ({"ends_on": dt.date(2026, 7, 1)}, "ends_on", "Only a quarantine"),
        ({"from_on": dt.date(2019, 5, 1)}, "from_on", "opened on 1 Jan 2020"),
        ({"from_on": dt.date(2062, 5, 1)}, "from_on", "more than a year from today"),
        ({"note": "x" * 301}, "note", "300 characters"),
    ],
)
def test_a_state_that_cannot_be_is_refused(pond, changes, field, words):
    with pytest.raises(ValidationError) as refused:
        add(pond, **changes)
    assert words in " ".join(refused.value.message_dict[field])
    assert pond.states.count() == 1


def test_a_pond_is_retired_once_and_takes_no_more_states(pond):
    retired = retiring.retire(pond=pond, on=TODAY, today=TODAY)
    assert retired.retired_on == TODAY
    with pytest.raises(retiring.RetiringRefused, match="was retired on 1 Jun 2026 already"):
        retiring.retire(pond=pond, on=TODAY, today=TODAY)
    with pytest.raises(ValidationError, match="its states are history"):
        add(pond)


def test_what_speaks_against_retiring_is_said_in_full(pond, monkeypatch):
    monkeypatch.setattr(
        retiring, "checks", [lambda pond, day: [f"Pond {pond.code} holds 12 heads on {day}."]]
    )
    with pytest.raises(retiring.RetiringRefused) as refused:
        retiring.retire(pond=pond, on=dt.date(2026, 7, 1), today=TODAY)
    assert refused.value.reasons == [
        "1 Jul 2026 is still to come; today is 1 Jun 2026.",
        "Pond A holds 12 heads on 2026-07-01.",
    ]


def test_a_pond_is_not_retired_before_it_opened(pond):
    with pytest.raises(retiring.RetiringRefused, match="opened on 1 Jan 2020"):
        retiring.retire(pond=pond, on=dt.date(2019, 1, 1), today=TODAY)
