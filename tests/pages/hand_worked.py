"""A farm of three ponds whose May 2024 was worked by hand: the review and the extract are held against it."""

import datetime as dt
import uuid

from ponds.models import Kind, Pond
from ponds.nest_book import record as book_nests
from ponds.retiring import retire
from stock import ledger
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line
from stock.models import Move

TODAY = dt.date(2024, 8, 15)
MAY, JUNE, JULY = dt.date(2024, 5, 1), dt.date(2024, 6, 1), dt.date(2024, 7, 1)
OPENED = {
    "A": {"FEMALE": 300, "MALE": 100},
    "B": {"FEMALE": 120, "MALE": 80},
    "C": {"FEMALE": 90, "MALE": 20, "UNSEXED": 10},
}


class Farm:
    def __init__(self, by):
        self.by = by

    def post(self, day, *lines, **more):
        drawn = tuple(Line("slider", *line[:4], **(line[4] if len(line) > 4 else {})) for line in lines)
        draft = Draft(key=uuid.uuid4(), happened_on=dt.date(2024, *day), lines=drawn, **more)
        return ledger.record(draft, by=self.by, today=TODAY)


def make_farm(by) -> Farm:
    """Make three ponds, opened in April; the farm's today must be `TODAY`."""
    slider = Kind.objects.create(code="slider", common_name="Slider")
    made = Farm(by)
    for code, heads in OPENED.items():
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
        draft = ledger.opening_draft(
            pond=code, kind="slider", day=dt.date(2024, 4, 1), heads=heads, how_known="DRAINED",
            batch=BatchDraft(f"OPEN-{code}", "OPENING", dt.date(2024, 4, 1)), key=uuid.uuid4(),
        )  # fmt: skip
        ledger.record(draft, by=made.by, today=TODAY)
    seine = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 40), CatchLine("slider", "MALE", 12)))
    made.post(
        (5, 3),
        ("FEMALE", "A", "B", 12), ("MALE", "A", "SOLD", 4), ("FEMALE", "A", "DIED", 1),
        pond="A", haul=seine,
    )  # fmt: skip
    made.post(
        (5, 7), ("FEMALE", "BOUGHT", "C", 40, {"batch": "P7"}),
        batches=(BatchDraft("P7", "BOUGHT", dt.date(2024, 5, 7)),),
    )  # fmt: skip
    made.post((5, 9), ("MALE", "B", "C", 10), ("MALE", "B", "DIED", 2, {"cause": "BITES"}), pond="B")
    sold = made.post((5, 12), ("FEMALE", "C", "SOLD", 5))
    ledger.reverse(Move.objects.get(pk=sold.move_id), key=uuid.uuid4(), by=made.by, today=TODAY)
    made.post(
        (5, 15),
        ("UNSEXED", "C", "C", 4, {"to_class": "FEMALE"}), ("UNSEXED", "C", "C", 2, {"to_class": "MALE"}),
        pond="C",
    )  # fmt: skip
    # Three juveniles that the book did not hold.
    made.post((5, 20), ("JUVENILE", "C", "A", 3), pond="C")
    for code, day, nests, eggs in (("A", 20, 30, 270), ("B", 22, 8, None)):
        book_nests(
            key=uuid.uuid4(), pond=Pond.objects.get(code=code), kind=slider, dug_on=dt.date(2024, 5, day),
            nests=nests, eggs=eggs, today=TODAY, by=made.by,
        )  # fmt: skip
    return made


def empty_b(farm, month, day):
    """Move what May left in B (132 females, 68 males) to A, but for 12 females found dead, and retire B."""
    farm.post(
        (month, day),
        ("FEMALE", "B", "DIED", 12), ("FEMALE", "B", "A", 120), ("MALE", "B", "A", 68),
        pond="B",
    )  # fmt: skip
    return retire(pond=Pond.objects.get(code="B"), on=dt.date(2024, month, day), today=TODAY)
