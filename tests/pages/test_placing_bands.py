"""New females go to a pond only as far as the ratio that is shown stays within the band."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stock.placing_advice import advise
from stock.placing_answer import Question
from stock.pond_facts import pond_kinds
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db


@pytest.fixture
def pond(owner):
    """Return a counted pond of sliders, band 2.5 to 4.5, as it would be with other heads by its standing."""
    farm = FarmOfPonds(owner.user)
    farm.pond("A", days=40, females=300, males=100)
    (facts,) = pond_kinds(farm.today)

    def with_heads(females, males):
        stands = replace(facts.standing, females=females, males=males, ratio=females / males)
        question = Question(facts.kind_id, 30)
        (found,) = advise(question, [replace(facts, standing=stands)]).ponds
        return found

    return with_heads


def test_a_pond_beyond_its_band_by_the_ratio_shown_gets_none(pond):
    # 88 to 20 would be 4.40 : 1, and room for two; 88.4 : 19.6 is 4.51.
    found = pond(88.4, 19.6)
    assert found.cap == 0
    assert (
        found.obstacles[0].sentence == "88 females to 20 males (4.51 : 1) is at the top of the band, 4.5 : 1."
    )


def test_a_pond_within_its_band_by_the_ratio_shown_is_filled_to_its_top(pond):
    # 90 to 20 would be the top of the band; 89.6 : 20.4 is 4.39, and two more make 4.49, three 4.54.
    found = pond(89.6, 20.4)
    assert (found.cap, found.given) == (2, 2)
    assert found.facts.ratio_with(2) < 4.5 < found.facts.ratio_with(3)
    assert "The band ends at 4.5 : 1." in found.why


def test_the_welfare_ratio_is_held_to_the_ratio_shown(pond):
    # 30 to 20 would be 1.5 : 1, which is enough; 29.6 : 20.4 is 1.45.
    found = pond(29.6, 20.4)
    assert "30 females to 20 males (1.45 : 1) is below 1.5 : 1: 1 males must leave" in (
        found.obstacles[0].sentence
    )
    assert pond(30.4, 19.6).cap > 0
