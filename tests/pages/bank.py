"""A small farm for page tests, and what a Log page sends; heads come through the ledger only."""

from __future__ import annotations

import datetime as dt
import uuid

from ponds.farm import the_farm
from ponds.models import Kind, Pond
from stock import ledger
from stock.book import by_pond_and_kind
from stock.drafts import BatchDraft, Draft, Line
from tests.factories import KindFactory, PondFactory

OPENED = dt.date(2024, 1, 1)
STOOD_ON = dt.date(2024, 6, 1)


def make_farm() -> None:
    """Make ponds A, B and C of sliders; A holds 100 females, 40 males, 10 unsexed; snappers are listed."""
    slider = KindFactory(code="slider", common_name="Slider")
    KindFactory(code="snapper", common_name="Snapper", listing="CITES App. II")
    for code in "ABC":
        PondFactory(code=code, opened_on=OPENED, kinds=[slider])
    put("A", {"FEMALE": 100, "MALE": 40, "UNSEXED": 10})


def put(pond: str, heads: dict[str, int], *, kind: str = "slider", batch: str = "first") -> None:
    """Open a pond with heads that stood there."""
    draft = Draft(
        key=uuid.uuid4(),
        happened_on=STOOD_ON,
        made_as="OPENING",
        pond=pond,
        lines=tuple(Line(kind, of_class, "OPENING", pond, n, batch=batch) for of_class, n in heads.items()),
        batches=(BatchDraft(batch, "OPENING", STOOD_ON),),
    )
    ledger.record(draft, by=None, today=today())


def today() -> dt.date:
    return the_farm().today()


def held(pond: str, kind: str = "slider") -> tuple[int, int, int]:
    """Return females, males and unsexed by the book today."""
    where = (Pond.objects.get(code=pond).pk, Kind.objects.get(code=kind).pk)
    heads = by_pond_and_kind(today()).get(where)
    return (heads.females, heads.males, heads.unsexed) if heads else (0, 0, 0)


def sent_log(*rows: dict, arrivals: tuple[dict, ...] = (), **head) -> dict:
    """Return what the Log page of pond A sends; rows are sliders."""
    sent = {"key": str(uuid.uuid4()), "pond": "A", "day": today().isoformat(), "how": "SEINE", **head}
    for prefix, filled in (("rows", rows), ("arrivals", arrivals)):
        sent[f"{prefix}-TOTAL_FORMS"] = len(filled)
        sent[f"{prefix}-INITIAL_FORMS"] = 0
        for number, row in enumerate(filled):
            row = {"kind": "slider", **row}
            sent.update({f"{prefix}-{number}-{name}": value for name, value in row.items()})
    return sent
