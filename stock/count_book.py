"""Counts accepted, as lists and pages read them: which stand, and what the book held beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.db.models import Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce, TruncMonth

from stock.drafts import Z_95
from stock.models import Count, CountHaul, Entry, MonthEnd, Move, Reason
from stock.templatetags.stock_format import number

FIELD_OF_CLASS = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed"}
STANDS = "stands"
METHOD_WORDS = {
    "drain-down": "drained to the last head",
    "chapman": "two hauls with marks (Chapman)",
    "chapman-together": "two hauls with marks (Chapman, both sexes together)",
    "petersen": "two hauls with marks (Petersen)",
    "bailey": "two hauls with marks (Bailey)",
    "schnabel-modified": "several hauls with marks (Schnabel, modified)",
    "schnabel": "several hauls with marks (Schnabel)",
    "schumacher-eschmeyer": "several hauls with marks (Schumacher and Eschmeyer)",
    "carle-strub": "passes held out (Carle and Strub)",
    "mle": "passes held out (greatest likelihood)",
    "leslie": "catch by effort (Leslie)",
    "leslie-half-catch": "catch by effort (Leslie, half of each catch added)",
}


def with_book(counts: QuerySet[Count]) -> QuerySet[Count]:
    """
    Annotate what the book held of each adult class at the end of the count's day, and whether a haul fell.

    A reset that the count itself made is left out: what the book said before it is what the count is held against.
    """
    fallen = CountHaul.objects.filter(count=OuterRef("pk"), haul__move__reversed_by__isnull=False)
    counts = counts.select_related("pond", "kind", "survey", "move__reversed_by", "reversed_by").annotate(
        month=TruncMonth("as_of"), has_fallen=Exists(fallen)
    )
    book = {
        f"book_{name}": _ends(of_class) + _booked("target", of_class) - _booked("source", of_class)
        for of_class, name in FIELD_OF_CLASS.items()
    }
    return counts.annotate(**book)


def in_short(count: Count) -> str:
    """Return how a count was made, in words."""
    if count.method:
        return METHOD_WORDS.get(count.method, count.method)
    return str(count.get_how_known_display())


def is_opening(count: Count) -> bool:
    return count.move is not None and count.move.made_as == Move.MadeAs.OPENING


def state_of(count: Count) -> str:
    """Return whether a count, loaded by `with_book`, stands; else why not."""
    if getattr(count, "reversed_by", None) is not None:
        return "taken back"
    if count.move is not None and getattr(count.move, "reversed_by", None) is not None:
        return "fell with its opening" if is_opening(count) else "fell with its move"
    if count.has_fallen:  # type: ignore[attr-defined]
        return "fell with a haul"
    return STANDS


@dataclass(frozen=True)
class AgainstBook:
    """A count of adults beside the book of its day, over the classes that were counted."""

    counted: float
    se: float
    book: int

    @property
    def difference(self) -> float:
        return self.counted - self.book

    @property
    def half_width(self) -> float:
        return Z_95 * self.se

    @property
    def is_clear(self) -> bool:
        """Whether the difference is more than the count's own doubt."""
        return abs(self.difference) > self.half_width

    @property
    def words(self) -> str:
        """Return "17 fewer than the book's 340", or that they agree."""
        gap = round(self.difference)
        if gap == 0:
            return f"as the book, {number(self.book)}"
        return f"{number(abs(gap))} {'more' if gap > 0 else 'fewer'} than the book’s {number(self.book)}"


def against_book(count: Count) -> AgainstBook | None:
    """Return a count, loaded by `with_book`, against the book; None for an opening, which made the book."""
    if is_opening(count):
        return None
    known = [name for name in FIELD_OF_CLASS.values() if getattr(count, name) is not None]
    if not known:
        return None
    # A count that sexed nobody holds every adult as unsexed, those that the book holds by sex among them.
    held = list(FIELD_OF_CLASS.values()) if known == ["unsexed"] else known
    variance = sum((getattr(count, f"{name}_se") or 0.0) ** 2 for name in known)
    if "females" in known and "males" in known:
        variance += 2 * count.covariance
    return AgainstBook(
        counted=sum(getattr(count, name) for name in known),
        se=math.sqrt(max(0.0, variance)),
        book=sum(getattr(count, f"book_{name}") for name in held),
    )


def plus_or_minus(se: float | None) -> float | None:
    """Return the half-width of a 95 % interval."""
    return None if se is None else Z_95 * se


def _ends(of_class: str) -> Coalesce:
    ends = MonthEnd.objects.filter(
        cell__pond=OuterRef("pond"), cell__kind=OuterRef("kind"), cell__of_class=of_class,
        month__lt=OuterRef("month"),
    )  # fmt: skip
    return Coalesce(Subquery(ends.order_by("-month").values("heads")[:1]), 0)


def _booked(side: str, of_class: str) -> Coalesce:
    own_reset = Q(reason=Reason.COUNT_RESET, move=Coalesce(OuterRef("move"), Value(0)))
    rows = (
        Entry.objects.filter(
            **{
                f"{side}__pond": OuterRef("pond"),
                f"{side}__kind": OuterRef("kind"),
                f"{side}__of_class": of_class,
            },
            booked_on__gte=OuterRef("month"),
            booked_on__lte=OuterRef("as_of"),
        )
        .exclude(own_reset)
        .order_by()
        .annotate(side=F(f"{side}_id"))
        .values("side")
    )
    return Coalesce(
        Subquery(rows.annotate(total=Sum("heads")).values("total"), output_field=IntegerField()), 0
    )
