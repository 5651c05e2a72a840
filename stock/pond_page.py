"""What a pond's page reads beside the facts of the day: one query a question. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, Subquery, Sum

from ponds.models import NestDay, Pond
from ponds.seasons import Season
from stock.advisor.mix import UNKNOWN
from stock.advisor.ratio import Ratio, ratio
from stock.advisor.watch import CountLimits, poisson_limits
from stock.book import FIELD_OF_CLASS, ClassHeads
from stock.charts import Chart, Interval, Series, bar_chart, interval_strip, line_chart
from stock.links import link
from stock.models import Batch, Cause, Entry, HaulLine, Move, Paper
from stock.moves_read import move_sentence, with_entries
from stock.pond_kind import PondKind
from stock.pond_rows import months_between

MOVES, HAULS = 10, 10
STRIP_HAULS = 5
NOT_PAPERED = "not papered yet"
BEFORE_REGISTER = "not known, before the register"


@dataclass(frozen=True)
class Neighbors:
    """A pond and the codes of the ponds before and after it in letter order, "" at the ends."""

    pond: Pond
    before: str
    after: str


def pond_and_neighbors(code: str) -> Neighbors | None:
    """Return the pond of a code (one query), or None where there is none."""
    ponds = list(Pond.objects.in_letter_order())
    at = next((at for at, pond in enumerate(ponds) if pond.code == code), None)
    if at is None:
        return None
    before = ponds[at - 1].code if at else ""
    return Neighbors(ponds[at], before, ponds[at + 1].code if at + 1 < len(ponds) else "")


@dataclass(frozen=True)
class MoveRow:
    """A move in one sentence."""

    day: dt.date
    sentence: str
    by: str
    url: str
    is_reversed: bool


def last_moves(pond: Pond, day: dt.date) -> list[MoveRow]:
    """Return the newest moves that touched a pond up to a day: three queries."""
    touching = Entry.objects.filter(Q(source__pond=pond) | Q(target__pond=pond), move=OuterRef("pk"))
    moves = with_entries(Move.objects.filter(Q(pond=pond) | Exists(touching), happened_on__lte=day))
    return [
        MoveRow(
            move.happened_on,
            ("Taken back: " if move.reverses_id else "") + move_sentence(move),
            move.by_name,
            link("stock:move-detail", move.key),
            hasattr(move, "reversed_by"),
        )
        for move in moves.order_by("-happened_on", "-pk")[:MOVES]
    ]


@dataclass(frozen=True)
class HaulRow:
    """One haul's catch of one kind, with the ratio it gives."""

    haul_id: int
    day: dt.date
    method: str
    heads: ClassHeads
    ratio: Ratio | None


def last_hauls(pond: Pond, day: dt.date) -> dict[int, list[HaulRow]]:
    """Return kind id -> the newest hauls of a pond that stand, newest first: one query."""
    lines = (
        HaulLine.objects.filter(haul__pond=pond, haul__happened_on__lte=day, haul__move__reversed_by=None)
        .select_related("haul")
        .order_by("-haul__happened_on", "-haul_id")
    )
    caught: dict[tuple[int, int], list[HaulLine]] = defaultdict(list)
    for line in lines[: HAULS * 12]:
        caught[line.kind_id, line.haul_id].append(line)
    found: dict[int, list[HaulRow]] = defaultdict(list)
    for (kind_id, haul_id), of_haul in caught.items():
        if len(found[kind_id]) >= HAULS:
            continue
        heads = ClassHeads(**{FIELD_OF_CLASS[line.of_class]: line.caught for line in of_haul})
        haul = of_haul[0].haul
        adults = heads.females, heads.males, heads.unsexed
        is_sexed = heads.females or heads.males
        total = sum(adults) if haul.is_complete else None
        found[kind_id].append(
            HaulRow(
                haul_id,
                haul.happened_on,
                haul.get_method_display(),
                heads,
                ratio(*adults, total=total) if is_sexed else None,
            )
        )
    return found


@dataclass(frozen=True)
class Origin:
    """Heads of one batch among those of a pond and kind: expected, and the fewest and most there can be."""

    batch: str
    expected: float
    at_least: int
    at_most: int
    source: str
    arrived_on: dt.date | None
    party: str
    generation: str
    papers: str
    is_papered: bool
    url: str


def origins_of(facts: Sequence[PondKind]) -> dict[int, list[Origin]]:
    """Return kind id -> where the heads of one pond came from, most heads first: one query."""
    return {kind_id: rows for (_, kind_id), rows in origins_by_pond(facts).items()}


def origins_by_pond(facts: Sequence[PondKind]) -> dict[tuple[int, int], list[Origin]]:
    """Return (pond id, kind id) -> where its heads came from, most heads first: one query."""
    shares: dict[tuple[int, int, str], tuple[float, int, int]] = {}
    for one in facts:
        for mix in one.mixes.values():
            for name, share in mix.batches.items():
                before = shares.get((one.pond_id, one.kind_id, name), (0.0, 0, 0))
                shares[one.pond_id, one.kind_id, name] = (
                    before[0] + share.expected,
                    before[1] + share.at_least,
                    before[2] + share.at_most,
                )
    ids = {int(name) for *_, name in shares if name != UNKNOWN}
    latest = Paper.objects.filter(batch=OuterRef("pk")).order_by("-pk")
    first_entry = Entry.objects.filter(batch=OuterRef("pk")).order_by("pk")
    batches = Batch.objects.filter(pk__in=ids).annotate(
        paper_id=Subquery(latest.values("pk")[:1]),
        document=Subquery(latest.values("document")[:1]),
        licence=Subquery(latest.values("licence")[:1]),
        move_key=Subquery(first_entry.values("move__key")[:1]),
    )
    by_name = {str(batch.pk): batch for batch in batches}
    totals = {(one.pond_id, one.kind_id): one.heads.total for one in facts}
    found: dict[tuple[int, int], list[Origin]] = defaultdict(list)
    for (pond_id, kind_id, name), (expected, at_least, at_most) in shares.items():
        if at_most:
            heads = expected, at_least, min(at_most, totals[pond_id, kind_id])
            found[pond_id, kind_id].append(_origin(by_name.get(name), heads))
    return {where: sorted(rows, key=lambda row: (-row.expected, row.batch)) for where, rows in found.items()}


def _origin(batch: Batch | None, heads: tuple[float, int, int]) -> Origin:
    if batch is None:
        return Origin(
            "beyond the book",
            *heads,
            "not known",
            None,
            "",
            "not known",
            "none: nobody logged them",
            False,
            "",
        )
    paper_id, document, licence = batch.paper_id, batch.document, batch.licence  # type: ignore[attr-defined]
    is_papered = paper_id is not None
    without = BEFORE_REGISTER if batch.source == Batch.Source.OPENING else NOT_PAPERED
    if batch.source == Batch.Source.RAISED:
        without = "raised here, none needed"
    return Origin(
        batch=batch.code,
        expected=heads[0],
        at_least=heads[1],
        at_most=heads[2],
        source=batch.get_source_display(),
        arrived_on=batch.arrived_on,
        party=batch.party,
        generation=batch.get_generation_display(),
        papers=(document or licence or "on file") if is_papered else without,
        is_papered=is_papered or batch.source == Batch.Source.RAISED,
        url=link("stock:move-detail", batch.move_key) if batch.move_key else "",  # type: ignore[attr-defined]
    )


@dataclass(frozen=True)
class NestsSoFar:
    """What the nest book has of a season: nests dug and eggs picked."""

    nests: int
    eggs: int


def nests_so_far(pond: Pond, season: Season, day: dt.date) -> dict[int | None, NestsSoFar]:
    """Return kind id (None: kind not known) -> nests and eggs of the season up to a day: one query."""
    rows = (
        NestDay.objects.standing()
        .filter(pond=pond, dug_on__range=(season.starts_on, min(season.ends_on, day)))
        .values("kind")
        .annotate(all_nests=Sum("nests"), all_eggs=Sum("eggs"))
        .values_list("kind", "all_nests", "all_eggs")
    )
    return {kind: NestsSoFar(nests, eggs or 0) for kind, nests, eggs in rows}


@dataclass(frozen=True)
class DeathTable:
    """A year's recorded deaths of one kind by cause and class, by month, and Garwood's limits."""

    causes: tuple[tuple[str, ClassHeads], ...]
    total: ClassHeads
    limits: CountLimits
    chart: Chart


def death_table(one: PondKind, first: dt.date) -> DeathTable:
    """Arrange the deaths of a pond and kind from `first` to its day; no query."""
    words = dict(Cause.choices)
    by_cause: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    by_month: dict[dt.date, int] = defaultdict(int)
    for death in one.deaths_by_cause:
        by_cause[str(words.get(death.cause, "not known"))][FIELD_OF_CLASS[death.of_class]] += death.heads
        by_month[death.month] += death.heads
    months = months_between(first, one.day)
    causes = sorted(
        ((cause, ClassHeads(**heads)) for cause, heads in by_cause.items()), key=lambda row: -row[1].total
    )
    chart = bar_chart(
        f"Deaths of {one.kind_name} by month",
        [f"{month:%b %y}" for month in months],
        [by_month[month] for month in months],
        unit="heads",
        summary=f"{one.deaths.total} recorded in twelve months.",
    )
    limits = poisson_limits(max(0, one.deaths.total))
    return DeathTable(tuple(row for row in causes if row[1].total), one.deaths, limits, chart)


def history_chart(one: PondKind) -> Chart | None:
    """Draw females and males at month ends, the unsexed where there were any; None where none ever stood.

    A pond of juveniles alone shows those.
    """
    points = list(one.history)
    while points and not points[0][1].total:
        points.pop(0)
    runs = {
        "Females": tuple(heads.females for _, heads in points),
        "Males": tuple(heads.males for _, heads in points),
        "Unsexed": tuple(heads.unsexed for _, heads in points),
    }
    if not any(any(run) for run in runs.values()):
        runs = {"Juveniles": tuple(heads.juveniles for _, heads in points)}
    drawn = {name: run for name, run in runs.items() if any(run)}
    if not drawn:
        return None
    if drawn.keys() & {"Females", "Males"}:
        drawn = {"Females": runs["Females"], "Males": runs["Males"]} | drawn
    return line_chart(
        f"{one.kind_name}: heads by the book at month ends",
        [f"{month:%b %y}" for month, _ in points],
        [Series(name, run) for name, run in drawn.items()],
        unit="heads",
    )


def hauls_strip(one: PondKind, hauls: Iterable[HaulRow]) -> Chart | None:
    """Draw the ratios of the latest sexed hauls against the band; None without any."""
    rows = [
        Interval(f"{haul.day.day} {haul.day:%b %Y}", haul.ratio.value, haul.ratio.lower, haul.ratio.upper)
        for haul in hauls
        if haul.ratio is not None
    ]
    if not rows:
        return None
    return interval_strip(
        f"{one.kind_name}: females per male in the last sexed hauls",
        rows[:STRIP_HAULS],
        band=one.band,
        target=one.target,
        unit="females per male",
    )
