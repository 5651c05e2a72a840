"""Two ponds of sliders, and one schemes' confirmation: what tests of marked turtles start from."""

import datetime as dt
import uuid

from ponds.models import Kind, Pond
from stock import ledger, turtle_book
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line, PutOn, Seen
from stock.marks.notch import SCHEMES, decode, mask_of

TODAY = dt.date(2026, 6, 30)
FIRST = dt.date(2026, 3, 1)


def notch(code: str, scheme: str = "NA16", **more) -> PutOn:
    return PutOn("NOTCH", scheme=scheme, mask=mask_of(decode(SCHEMES[scheme], code)), **more)


def tag(digits: str, **more) -> PutOn:
    return PutOn("TAG", family="iso", tag=digits, **more)


class MarkedFarm:
    """Pond A holds 20 females and 6 males, pond B 10 females; `days` after 1 March."""

    def __init__(self, person, females: int = 20):
        self.person = person
        self.kind = Kind.objects.create(
            code="slider", common_name="Slider", scientific_name="Trachemys scripta elegans"
        )
        for code in "AB":
            Pond.objects.create(code=code, opened_on=FIRST).kinds_allowed.add(self.kind)
        self.post(
            0,
            Line("slider", "FEMALE", "BOUGHT", "A", females, batch="P1"),
            Line("slider", "MALE", "BOUGHT", "A", 6, batch="P1"),
            Line("slider", "FEMALE", "BOUGHT", "B", 10, batch="P1"),
            batches=(BatchDraft("P1", "BOUGHT", FIRST),),
        )

    def confirm(self, scheme: str = "NA16") -> None:
        turtle_book.confirm_scheme(scheme, against="The printed figure", by=self.person, today=TODAY)

    @staticmethod
    def day(days: int) -> dt.date:
        return FIRST + dt.timedelta(days=days)

    def post(self, days: int, *lines: Line, **more) -> ledger.Receipt:
        draft = Draft(uuid.uuid4(), self.day(days), lines, **more)
        return ledger.record(draft, by=self.person, today=TODAY)

    def register(self, days: int, *put_on: PutOn, pond: str = "A", of_class: str = "FEMALE", **more):
        """Mark a head of a pond and return the turtle."""
        more.setdefault("key", uuid.uuid4())
        return turtle_book.register(
            kind="slider", of_class=of_class, pond=pond, day=self.day(days), put_on=put_on, by=self.person,
            today=TODAY, **more,
        )[0]  # fmt: skip

    def haul(
        self, days: int, pond: str, caught: int, *turtles: str, lines=(), of_class: str = "FEMALE", **more
    ):
        """Post a haul of one class with these turtles scanned, in this order."""
        return self.post(
            days,
            *lines,
            pond=pond,
            haul=HaulDraft("SEINE", (CatchLine("slider", of_class, caught),)),
            seen=tuple(Seen(code, "slider", of_class) for code in turtles),
            **more,
        )
