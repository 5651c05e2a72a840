"""What marked turtles say: survival by sex from the years each was seen in, and the share of marks against the book."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Count, OuterRef, Subquery, Sum

from stock.advisor.share import share_interval
from stock.estimators.estimate import Estimate
from stock.estimators.histories import from_histories
from stock.estimators.recapture import recapture_survival
from stock.models import Cell, Entry, HaulLine, HaulTurtle, MarkStep, MonthEnd
from stock.standing_facts import standings

FEWEST_YEARS, MOST_YEARS = 3, 10
A_YEAR = 365.25
SEXES = ("FEMALE", "MALE")


@dataclass(frozen=True)
class SexSurvival:
    """One sex of a kind: turtles seen, how many again in a later year, survival a year, and the same by counts."""

    kind: str
    sex: str
    turtles: int
    seen_again: int
    survival: Estimate | None
    by_counts: float | None
    sentence: str


@dataclass(frozen=True)
class ShareOfMarks:
    """Of one pond, kind and class: marks among what hauls caught in the last year, and among the book's heads.

    `share` is None where no haul speaks: nobody looked for marks, or none stood there yet.
    """

    pond: str
    kind: str
    of_class: str
    carrying: int
    caught: int
    share: float | None
    lower: float | None
    upper: float | None
    by_book: float | None
    sentence: str


def survival_by_sex(today: dt.date) -> list[SexSurvival]:
    """
    Return survival by kind and sex from the calendar years in which hauls brought each marked turtle.

    A turtle that has died, was sold or went since its last haul was not released again from that haul. Two or more
    hauls of one year are one sample. Each sex has its own survival and its own chance of being seen again, both the
    same in all years; hauls of the last ten years are read.
    """
    since = today.replace(year=today.year - MOST_YEARS, month=1, day=1)
    rows = HaulTurtle.objects.filter(
        haul__move__reversed_by=None, haul__happened_on__gte=since, turtle__sex__in=SEXES
    ).values_list(
        "turtle", "turtle__sex", "turtle__kind", "turtle__kind__common_name", "haul__happened_on__year",
        "turtle__cell__outside",
    )  # fmt: skip
    years: dict[int, dict[tuple[str, str], dict[int, set[int]]]] = defaultdict(lambda: defaultdict(dict))
    names: dict[int, str] = {}
    gone: set[int] = set()
    for turtle, sex, kind, name, year, outside in rows:
        names[kind] = name
        years[kind][sex, name].setdefault(turtle, set()).add(year)
        if outside:
            gone.add(turtle)
    counted = _by_counts(today)
    found = []
    for kind, groups in sorted(years.items(), key=lambda one: names[one[0]]):
        seen = sorted({year for turtles in groups.values() for some in turtles.values() for year in some})
        span = list(range(seen[0], seen[-1] + 1))
        for (sex, name), turtles in sorted(groups.items()):
            histories = [_history(some, span, turtle in gone) for turtle, some in turtles.items()]
            again = sum(len(some) > 1 for some in turtles.values())
            found.append(_one_sex(name, sex, histories, again, span, counted.get((kind, sex))))
    return found


def _history(seen: set[int], span: list[int], is_gone: bool) -> str:
    last = max(seen)
    return "".join("2" if is_gone and year == last else str(int(year in seen)) for year in span)


def _one_sex(
    kind: str, sex: str, histories: list[str], again: int, span: list[int], by_counts: float | None
) -> SexSurvival:
    turtles = len(histories)
    if len(span) < FEWEST_YEARS or not again:
        wanted = (
            f"Hauls of {len(span)} year{'' if len(span) == 1 else 's'} scanned them; {FEWEST_YEARS} are needed."
            if len(span) < FEWEST_YEARS
            else "None was seen again in a later year."
        )
        return SexSurvival(kind, sex, turtles, again, None, by_counts, wanted)
    captures = from_histories(histories)
    survival = recapture_survival({sex: (captures.released, captures.first_recaptures)}).survival[sex][0]
    return SexSurvival(kind, sex, turtles, again, survival, by_counts, " ".join(map(str, survival.notes)))


def _by_counts(today: dt.date) -> dict[tuple[int, str], float]:
    """Return kind and sex -> yearly survival that counts and recorded deaths make likely, over all ponds counted."""
    heads: dict[tuple[int, str], float] = defaultdict(float)
    gone: dict[tuple[int, str], float] = defaultdict(float)
    head_years: dict[tuple[int, str], float] = defaultdict(float)
    for (_, kind), one in standings(today).items():
        for sex, counted, unseen, died in (
            ("FEMALE", one.count.counted.females, one.unseen_females, one.died_females),
            ("MALE", one.count.counted.males, one.unseen_males, one.died_males),
        ):
            if counted and one.age_days:
                heads[kind, sex] += counted
                gone[kind, sex] += unseen + died
                head_years[kind, sex] += counted * one.age_days / A_YEAR
    return {
        of: max(0.0, 1 - gone[of] / heads[of]) ** (heads[of] / head_years[of])
        for of in heads
        if head_years[of]
    }


def shares_of_marks(today: dt.date) -> list[ShareOfMarks]:
    """
    Return, by pond, kind and class, the share of marks in the hauls of the last year beside the book's.

    A haul speaks where marks were looked for in it, and where marked heads stood there before its day; it is held
    against the heads and marks of that day. So many queries whatever the number of hauls.
    """
    hauls = HaulLine.objects.filter(
        haul__happened_on__gt=today - dt.timedelta(days=A_YEAR), haul__move__reversed_by=None, caught__gt=0
    )
    lines = hauls.order_by("haul__pond__code", "kind__common_name", "of_class", "haul__happened_on").values_list(
        "haul__pond", "haul__pond__code", "kind", "kind__common_name", "of_class", "haul__happened_on",
        "caught", "carrying_marks",
    )  # fmt: skip
    book = _Book(today)
    groups: dict[tuple[str, str, str], list[_Haul]] = defaultdict(list)
    marked_now: dict[tuple[str, str, str], int] = {}
    for pond, code, kind, name, of_class, day, caught, carrying in lines:
        heads, marked = book.before(day, (pond, kind, of_class))
        group = (code, name, of_class)
        groups[group].append(_Haul(caught, carrying or 0, heads, marked, carrying is not None))
        marked_now[group] = book.now.get((pond, kind, of_class), (0, 0))[1]
    return [
        _share(group, some)
        for group, some in groups.items()
        if marked_now[group] or any(one.carrying for one in some)
    ]


@dataclass(frozen=True)
class _Haul:
    """What one haul caught of a kind and class, and what stood there before its day by the book."""

    caught: int
    carrying: int
    heads: int
    marked: int
    was_looked: bool


def _share(group: tuple[str, str, str], hauls: list[_Haul]) -> ShareOfMarks:
    speak = [
        one for one in hauls if one.was_looked and one.heads > 0 and (one.marked > 0 or one.carrying > 0)
    ]
    if not speak:
        since = [one for one in hauls if one.marked > 0]
        says = (
            "Not looked for: in no haul since they were marked did anybody scan a mark or write how many carried one."
            if since
            else "Not known yet: no haul was made since they were marked."
        )
        return ShareOfMarks(*group, 0, 0, None, None, None, None, says)
    caught, carrying = sum(one.caught for one in speak), sum(one.carrying for one in speak)
    limits = share_interval(carrying, caught)
    # What so many caught would carry if each haul took marked and unmarked alike.
    by_book = sum(one.caught * one.marked / one.heads for one in speak) / caught
    if limits.upper is not None and limits.upper < by_book:
        says = (
            "Fewer marks than the book has: marks were lost, marked ones are gone, or more heads stand there."
        )
    elif limits.lower is not None and limits.lower > by_book:
        says = "More marks than the book has: fewer unmarked heads stand there, or the marked are easier to catch."
    else:
        says = "As many as the book has, within the doubt of so many caught."
    return ShareOfMarks(
        *group, carrying, caught, carrying / caught, limits.lower, limits.upper, by_book, says
    )


class _Book:
    """Heads and marked heads of every pond's cells: now, and before any day of the last year; three queries."""

    def __init__(self, today: dt.date) -> None:
        ends = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lte=today).order_by("-month")
        cells = Cell.objects.filter(pond__isnull=False).annotate(
            heads=Subquery(ends.values("heads")[:1]), marked=Subquery(ends.values("marked")[:1])
        )
        names = {}
        self.now: dict[tuple[int, int, str], tuple[int, int]] = {}
        for cell in cells:
            if cell.pond_id is not None:
                names[cell.pk] = (cell.pond_id, cell.kind_id, cell.of_class)
                self.now[names[cell.pk]] = (cell.heads or 0, cell.marked or 0)
        since = today - dt.timedelta(days=A_YEAR)
        entries = Entry.objects.filter(happened_on__gt=since).values_list("source", "target", "happened_on")
        steps = MarkStep.objects.filter(move__happened_on__gt=since).values_list(
            "source", "target", "move__happened_on"
        )
        self._since: dict[tuple[int, int, str], list[tuple[dt.date, int, int]]] = defaultdict(list)
        for source, target, day, heads in entries.annotate(Sum("heads")):
            for cell, came in ((source, -heads), (target, heads)):
                if cell in names:
                    self._since[names[cell]].append((day, came, 0))
        for source, target, day, marked in steps.annotate(Count("pk")):
            for cell, came in ((source, -marked), (target, marked)):
                if cell in names:
                    self._since[names[cell]].append((day, 0, came))

    def before(self, day: dt.date, cell: tuple[int, int, str]) -> tuple[int, int]:
        """Return the heads and the marked heads of a cell at the start of a day."""
        heads, marked = self.now.get(cell, (0, 0))
        later = [one for one in self._since[cell] if one[0] >= day]
        return heads - sum(one[1] for one in later), marked - sum(one[2] for one in later)
