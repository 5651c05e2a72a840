"""A pond, a kind and an egg lot to begin with, by the hatch log's own door."""

from __future__ import annotations

import datetime as dt
import uuid

from ponds import lot_book
from ponds.lot_drafts import BasketDraft, LotDraft
from ponds.lot_state import LotState
from ponds.models import Kind
from ponds.units import measure
from tests.factories import KindFactory, PondFactory

SET_ON = dt.date(2023, 5, 2)
DUG_ON = dt.date(2023, 5, 1)
TODAY = dt.date(2023, 9, 1)


def a_kind() -> Kind:
    return Kind.objects.filter(code="slider").first() or KindFactory(code="slider", common_name="Slider")


def a_pond(code: str = "A"):
    from ponds.models import Pond

    found = Pond.objects.filter(code=code).first()
    return found or PondFactory(code=code, opened_on=dt.date(2020, 1, 1), kinds=[a_kind()])


def draft(
    code: str = "2023-001", eggs: tuple[int, ...] = (18, 20, 16), ponds: str = "A", **changes
) -> LotDraft:
    """Return a lot of one basket for each figure of `eggs`; `ponds` says whose, the last one for the rest."""
    facts = {
        "key": uuid.uuid4(),
        "code": code,
        "kind": a_kind(),
        "set_on": SET_ON,
        "incubator": "Room 1",
        "temperature": measure("82", "F"),
        "baskets": tuple(
            BasketDraft(pond=a_pond(ponds[min(place, len(ponds) - 1)]), dug_on=DUG_ON, eggs=count)
            for place, count in enumerate(eggs)
        ),
    }
    return LotDraft(**facts | changes)


def a_lot(code: str = "2023-001", *, by=None, today: dt.date = TODAY, **changes) -> LotState:
    return lot_book.open_lot(draft(code, **changes), by=by, today=today)
