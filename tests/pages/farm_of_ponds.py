"""A small farm for the pages of ponds: made through the ledger, on the farm's own day."""

from __future__ import annotations

import datetime as dt
import uuid

from ponds.farm import the_farm
from stock import ledger
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line
from tests.factories import KindFactory, PondFactory

CLASSES = {"females": "FEMALE", "males": "MALE", "unsexed": "UNSEXED", "juveniles": "JUVENILE"}


class FarmOfPonds:
    """Ponds of sliders by code, with the ledger's verbs in short."""

    def __init__(self, by) -> None:
        self.by = by
        self.today = the_farm().today()
        self.slider = KindFactory(code="slider", common_name="Slider")

    @classmethod
    def of_a_quiet_year(cls, by) -> FarmOfPonds:
        """Return ponds A, B and C of sliders for a year and more, one death in each of the last months."""
        farm = cls(by)
        for code in "ABC":
            farm.pond(code, days=420, females=300, males=100)
        for days in range(20, 400, 60):
            farm.post(*(("FEMALE", code, "DIED", 1) for code in "ABC"), days=days)
        return farm

    def ago(self, days: int) -> dt.date:
        return self.today - dt.timedelta(days=days)

    def pond(self, code: str, *, days: int = 300, kind=None, how_known: str = "SEINED", **heads: int):
        """Open a pond and what stands in it, counted so many days ago."""
        kind = kind or self.slider
        pond = PondFactory(code=code, kinds=[kind], head_limit=1000)
        if heads:
            self.opening(code, days=days, kind=kind.code, how_known=how_known, **heads)
        return pond

    def drained(self, code: str, **heads: int):
        """Open a pond that was drained and counted to the last head today: its standing is the count."""
        return self.pond(code, days=0, how_known="DRAINED", **heads)

    def opening(
        self, code: str, *, days: int = 300, kind: str = "slider", how_known: str = "SEINED", **heads: int
    ):
        batch = BatchDraft(f"OPEN-{code}-{kind}"[:24], "OPENING", self.ago(days))
        draft = ledger.opening_draft(
            pond=code,
            kind=kind,
            day=self.ago(days),
            heads={CLASSES[name]: number for name, number in heads.items()},
            how_known=how_known,
            batch=batch,
            key=uuid.uuid4(),
        )
        return ledger.record(draft, by=self.by, today=self.today)

    def post(self, *lines, days: int = 1, kind: str = "slider", **more):
        """Post lines given as (class, source, target, heads[, more])."""
        drawn = tuple(Line(kind, *line[:4], **(line[4] if len(line) > 4 else {})) for line in lines)
        draft = Draft(key=uuid.uuid4(), happened_on=self.ago(days), lines=drawn, **more)
        return ledger.record(draft, by=self.by, today=self.today)

    def haul(self, code: str, females: int, males: int, *, days: int = 1, lines=(), **more):
        caught = (("FEMALE", females), ("MALE", males))
        catch = tuple(CatchLine("slider", of_class, number) for of_class, number in caught if number)
        return self.post(*lines, days=days, pond=code, haul=HaulDraft("SEINE", catch, **more))
