"""A pond with heads in it is not retired."""

import datetime as dt
import uuid

import pytest

from ponds.models import Kind, Pond
from ponds.retiring import RetiringRefused, retire
from stock import ledger
from stock.drafts import BatchDraft, Draft, Line

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 30)


def test_a_pond_with_heads_or_later_moves_is_not_retired(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    pond = Pond.objects.create(code="A", opened_on=dt.date(2020, 1, 1))
    pond.kinds_allowed.add(slider)
    by = make_person("owner")

    def post(on, source, target, **more):
        line = Line("slider", "FEMALE", source, target, 9, batch="P1" if source == "BOUGHT" else "")
        ledger.record(Draft(uuid.uuid4(), on, (line,), **more), by=by, today=TODAY)

    bought = dt.date(2026, 5, 1)
    post(bought, "BOUGHT", "A", batches=(BatchDraft("P1", "BOUGHT", bought),))
    with pytest.raises(RetiringRefused, match="9 heads stand in pond A"):
        retire(pond=pond, on=TODAY, today=TODAY)
    post(dt.date(2026, 6, 1), "A", "SOLD")
    with pytest.raises(RetiringRefused, match="logged up to 1 Jun 2026"):
        retire(pond=pond, on=dt.date(2026, 4, 1), today=TODAY)
    assert retire(pond=pond, on=TODAY, today=TODAY).retired_on == TODAY
