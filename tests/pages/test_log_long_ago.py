"""What the Log asks about a day that may be a slip: one long ago, or of which the book has nothing."""

import datetime as dt

import pytest

from ponds.svg_marks import day_text
from stock.models import Move
from tests.pages.bank import OPENED, make_farm, sent_log, today

pytestmark = pytest.mark.django_db
LOG = "/log/"
FEMALES = {"of_class": "FEMALE"}


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return response.content.decode()


@pytest.mark.parametrize(("back", "is_asked"), [(62, False), (63, True)])
def test_a_day_long_ago_is_asked_about(hand, back, is_asked):
    day = today() - dt.timedelta(days=back)
    answer = hand.post(LOG, sent_log({**FEMALES, "dead": "1"}, how="NONE", day=day.isoformat()))
    assert (answer.status_code == 303) is not is_asked
    assert ("days ago: are day, month and year right?" in words(answer)) is is_asked
    assert Move.objects.filter(made_as="BANK").exists() is not is_asked


def test_one_dead_where_nothing_stood_is_asked_about(hand):
    """A wrong year: the book then had nothing, and one head more than nothing is no find."""
    day = OPENED + dt.timedelta(days=1)
    text = words(hand.post(LOG, sent_log({**FEMALES, "dead": "1"}, how="NONE", day=day.isoformat())))
    assert f"1 Slider female was handled; pond A held 0 by the book on {day_text(day)}." in text
