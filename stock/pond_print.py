"""A pond on one page: what stands and how that is known, a year's flow, what it gives, and what is to be done.

The same plain sheet is the pond page's print, a PDF, and a page of the farm's year. Reads only; a farm of any size
costs as many queries as one pond.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Q, Sum

from ponds.models import Farm, NestDay, Pond
from ponds.seasons import Season
from stock import pond_page, review_rows
from stock.advice import season_forecast
from stock.book import FIELD_OF_CLASS, ClassHeads
from stock.drafts import CLASSES
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.models import Reason
from stock.move_words import CAUSE_WORDS, class_words
from stock.pond_facts import pond_kinds, year_before
from stock.pond_kind import PondKind
from stock.pond_page import Origin
from stock.pond_pictures import charts_of, rows_of_panels
from stock.pond_rows import PondKindId
from stock.printed import PrintedSheet, PrintedTable
from stock.review_rows import Flow
from stock.season_now import PondSeason
from stock.season_of_pond import learnt_seasons
from stock.small_charts import SmallChart
from stock.tasks import open_tasks
from stock.templatetags.stock_format import age, interval, number, ratio_interval
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import ratio as ratio_words
from stock.watched_ponds import watched_on

MOST_KINDS, MOST_ORIGINS, MOST_TASKS, MOST_CONCERNS = 4, 5, 5, 6
MOST_ON_A_PAGE = 66
SAME_SCALE = (
    "Every panel has the same scales: ratios by the share of females, the band shaded; bars are the dead of each "
    "month, the line heads of breeding size at month ends."
)
WHOSE_HEADS = (
    "F females and M males are as they probably stand, like the ratio beside them, where the pond was counted by sex; "
    "else by the book, with U unsexed. J juveniles and the line of heads are the book's."
)
REASON_WORDS = dict(Reason.choices)
Flows = Mapping[tuple[int, int, str], Flow]
TaskWords = tuple[str, str, str, str]


def sheets_of(ponds: Sequence[Pond], farm: Farm, day: dt.date) -> list[PrintedSheet]:
    """Return a sheet for each pond as of a day, in the order given: some thirty queries for any number of ponds."""
    ids = [pond.pk for pond in ponds]
    facts: dict[int, list[PondKind]] = defaultdict(list)
    for one in watched_on(day).of(pond_kinds(day, pond_ids=ids, moved_since=year_before(day))):
        facts[one.pond_id].append(one)
    read = read_rows(ponds, day, [one for of_pond in facts.values() for one in of_pond])
    return [sheet_of(pond, farm, day, facts[pond.pk], read) for pond in ponds]


@dataclass(frozen=True)
class Dug:
    """Nests dug and eggs picked in the year to a day, and in its season so far."""

    nests: int
    eggs: int
    season_nests: int
    season_eggs: int


@dataclass(frozen=True)
class SheetRows:
    """
    What the sheets of some ponds need beside the facts of the day.

    Parameters
    ----------
    flows : mapping
        (pond id, kind id, class) -> what came and went in the year to the day.
    nests : mapping
        (pond id, kind id) -> nests dug and eggs picked.
    origins : mapping
        (pond id, kind id) -> where the heads came from, most heads first.
    tasks : mapping
        Pond id -> sentence, progress, day decided and day due of each open task.
    seasons : mapping
        (pond id, kind id) -> its season by what past ones taught; the kind's figures tell where there is none.
    """

    flows: Flows
    nests: Mapping[PondKindId, Dug]
    origins: Mapping[PondKindId, Sequence[Origin]]
    tasks: Mapping[int, Sequence[TaskWords]]
    seasons: Mapping[PondKindId, PondSeason] = field(default_factory=dict)


def read_rows(ponds: Sequence[Pond], day: dt.date, facts: Sequence[PondKind]) -> SheetRows:
    """Read them for some ponds: five queries and those of `learnt_seasons`."""
    ids = [pond.pk for pond in ponds]
    by_code = {pond.code: pond.pk for pond in ponds}
    tasks: dict[int, list[TaskWords]] = defaultdict(list)
    for task in open_tasks(ids):
        due = day_words(task.due_on) if task.due_on else ""
        tasks[by_code[task.pond]].append((task.sentence, task.progress, day_words(task.decided_on), due))
    nests = nests_of(ids, facts[0].season, day) if facts else {}
    return SheetRows(
        year_flows(ids, day), nests, pond_page.origins_by_pond(facts), tasks, learnt_seasons(day)
    )


def year_flows(pond_ids: Sequence[int], day: dt.date) -> Flows:
    """Return what came and went in the year to a day: two queries."""
    return review_rows.flows(year_before(day), day, pond_ids)


def sheet_of(
    pond: Pond, farm: Farm, day: dt.date, facts: Sequence[PondKind], read: SheetRows
) -> PrintedSheet:
    """Arrange one pond's sheet; no query. What does not fit on a page is left out and said."""
    standing = [one for one in facts if one.heads.total or _flowed(one, read.flows)]
    shown = sorted(standing or facts, key=lambda one: -one.heads.total)[:MOST_KINDS]
    shown.sort(key=lambda one: one.kind_name)
    tables = [
        _stands(shown),
        _known(shown),
        _flow(shown, read.flows),
        _yields(shown, read),
        _deaths(shown),
        _origins(shown, read.origins),
        _tasks(read.tasks.get(pond.pk, ())),
    ]
    return PrintedSheet(
        name=f"Pond {pond.code}",
        title=f"Pond {pond.code}{f', {pond.name}' if pond.name else ''}, on {day_words(day)}",
        facts=_facts(pond, farm, facts, left=len(standing) - len(shown)),
        tables=tuple(table for table in tables if table.rows),
        charts=charts_of(shown),
        notes=(
            "By the book unless said otherwise. What probably stands has 90 % limits. The year is the 365 days to "
            f"{day_words(day)}; the book's columns go by the day of booking, deaths by the day they were found.",
            f"{RETENTION} {NOT_ADVICE}",
        ),
        is_one_page=True,
    )


def picture_sheet(panels: Sequence[SmallChart], farm: Farm, day: dt.date) -> PrintedSheet:
    """Arrange the farm's picture as a sheet; on one page where sixty panels or so are to stand on it."""
    return PrintedSheet(
        name="Every pond",
        title=f"{farm.name}: every pond on {day_words(day)}",
        facts=(),
        tables=(),
        notes=(SAME_SCALE, WHOSE_HEADS),
        charts=rows_of_panels(panels),
        is_one_page=len(panels) <= MOST_ON_A_PAGE,
    )


def _facts(pond: Pond, farm: Farm, facts: Sequence[PondKind], *, left: int) -> tuple[tuple[str, str], ...]:
    expiry = f", expires {day_words(farm.licence_expires_on)}" if farm.licence_expires_on else ""
    licence = f"licence {farm.licence}{expiry}" if farm.licence else "no licence written down"
    use = facts[0].use if facts else None
    state = f"{use.words}{f' since {day_words(use.from_on)}' if use.from_on else ''}" if use else "in use"
    if use is not None and use.ends_on:
        state += f", due to end on {day_words(use.ends_on)}"
    if pond.retired_on:
        state = f"retired on {day_words(pond.retired_on)}"
    limit = f" of a limit of {number(pond.head_limit)}" if pond.head_limit else ""
    load = f"{number(facts[0].head_use if facts else 0)} heads weighted by space{limit}"
    said = [
        ("Farm", f"{farm.name}, farmer code {farm.code or 'not written down'}, {licence}"),
        ("Pond", f"{state}; opened {day_words(pond.opened_on)}; {load}"),
    ]
    listed = [f"{one.kind_name} ({one.listing})" for one in facts if one.listing and one.heads.total]
    if listed:
        said.append(("Protected kinds", f"{', '.join(listed)}: papers go with every head"))
    concerns = [concern.sentence for one in facts for concern in one.all_concerns]
    if concerns:
        more = f" And {len(concerns) - MOST_CONCERNS} more." if len(concerns) > MOST_CONCERNS else ""
        said.append(("To look at", " ".join(concerns[:MOST_CONCERNS]) + more))
    if left > 0:
        said.append(("Not shown", f"{left} more kinds stand here; the extract has them all."))
    return tuple(said)


def _stands(facts: Sequence[PondKind]) -> PrintedTable:
    rows = tuple(
        (
            one.kind_name, one.heads.females, one.heads.males, one.heads.unsexed, one.heads.juveniles,
            one.heads.total, ratio_words(one.by_book.ratio) if one.heads.females or one.heads.males else "",
            one.how_it_stands,
        )
        for one in facts
    )  # fmt: skip
    return PrintedTable(
        "What stands, by the book",
        ("Kind", "Females", "Males", "Unsexed", "Juveniles", "All", "Ratio", "How it stands"),
        rows,
        widths=(1.6, 0.8, 0.8, 0.8, 0.9, 0.8, 1, 2.4),
    )


def _known(facts: Sequence[PondKind]) -> PrintedTable:
    rows = []
    for one in facts:
        stands, count = one.standing, one.last_count
        counted = (
            f"{count.how_known_words} {day_words(count.as_of)}, {age(count.as_of, one.day)}"
            if count
            else "never counted"
        )
        if stands is None:
            if one.heads.total:
                rows.append((one.kind_name, "not known by sex", "", "", counted))
            continue
        rows.append(
            (
                one.kind_name,
                f"{number(stands.females)} ({interval(*stands.female_limits)})",
                f"{number(stands.males)} ({interval(*stands.male_limits)})",
                f"{ratio_words(stands.ratio)} ({ratio_interval(*stands.ratio_limits)})",
                counted,
            )
        )
    return PrintedTable(
        "What probably stands, and how that is known",
        ("Kind", "Females", "Males", "Ratio, females per male", "Last counted"),
        tuple(rows),
        widths=(1.4, 1.5, 1.5, 1.8, 2.2),
    )


def _flow(facts: Sequence[PondKind], flows: Flows) -> PrintedTable:
    rows = []
    for one in facts:
        for of_class in CLASSES:
            flow = flows.get((one.pond_id, one.kind_id, of_class), Flow())
            closing = getattr(one.heads, FIELD_OF_CLASS[of_class])
            came, went, dead = sum(flow.came.values()), sum(flow.went.values()), flow.went["DIED"]
            if not (closing or came or went):
                continue
            how = [f"{REASON_WORDS[reason]} +{heads}" for reason, heads in flow.came.items() if heads]
            how += [
                f"{REASON_WORDS[reason]} -{heads}"
                for reason, heads in flow.went.items()
                if heads and reason != "DIED"
            ]
            rows.append(
                (
                    f"{one.kind_name}, {class_words(of_class, 2)}", closing - came + went, came, went - dead, dead,
                    closing, ", ".join(how),
                )
            )  # fmt: skip
    return PrintedTable(
        "The year: opening + in - out - dead = closing",
        ("Kind and class", "Opening", "In", "Out", "Dead", "Closing", "What came and went"),
        tuple(rows),
        widths=(1.9, 0.8, 0.6, 0.6, 0.6, 0.8, 3),
    )


def _yields(facts: Sequence[PondKind], read: SheetRows) -> PrintedTable:
    rows = []
    for one in facts:
        dug = read.nests.get((one.pond_id, one.kind_id), Dug(0, 0, 0, 0))
        said = _expected(one, read.seasons.get((one.pond_id, one.kind_id)))
        if not said and not dug.nests:
            continue
        rows.append(
            (
                one.kind_name, dug.nests, dug.eggs, dug.season_nests, said.get("Nests", "none"), dug.season_eggs,
                said.get("Eggs", "none"),
                next((words for name, words in said.items() if name not in ("Nests", "Eggs")), "none"),
            )
        )  # fmt: skip
    season = str(facts[0].season) if facts else "the season"
    return PrintedTable(
        f"Nests and eggs of the year, and {season} against its forecast (90 % of seasons)",
        (
            "Kind", "Nests, year", "Eggs, year", "Nests so far", "of a season's", "Eggs so far", "of a season's",
            "Hatched",
        ),
        tuple(rows),
        widths=(1.6, 0.9, 0.9, 0.9, 1.2, 0.9, 1.2, 1.2),
    )  # fmt: skip


def _expected(one: PondKind, season: PondSeason | None) -> dict[str, str]:
    """Return the season's nests, eggs and hatched eggs as limits: learnt where it is, else by the kind's figures."""
    if season is not None:
        now = season.now
        return {
            words: f"{number(limits.low)} to {number(limits.high)}"
            for words, limits in (("Nests", now.nests), ("Eggs", now.eggs), ("Hatched eggs", now.hatched))
        }
    forecast = season_forecast(one)
    return (
        {row.words: f"{number(row.low)} to {number(row.high)}" for row in forecast.yields} if forecast else {}
    )


def _deaths(facts: Sequence[PondKind]) -> PrintedTable:
    rows = []
    for one in facts:
        by_cause: dict[str, int] = defaultdict(int)
        for death in one.deaths_by_cause:
            by_cause[CAUSE_WORDS.get(death.cause, "not known")] += death.heads
        causes = sorted(
            ((cause, heads) for cause, heads in by_cause.items() if heads), key=lambda row: -row[1]
        )
        if not one.deaths.total:
            continue
        usual = round(one.losing.expected, 1) if one.losing else None
        died: ClassHeads = one.deaths
        rows.append(
            (
                one.kind_name, died.females, died.males, died.unsexed, died.juveniles, usual,
                ", ".join(f"{cause} {heads}" for cause, heads in causes[:4]),
            )
        )  # fmt: skip
    return PrintedTable(
        "Found dead in the year",
        ("Kind", "Females", "Males", "Unsexed", "Juveniles", "Usual for adults", "Causes"),
        tuple(rows),
        widths=(1.6, 0.8, 0.8, 0.8, 0.9, 1.1, 3),
    )


def _origins(facts: Sequence[PondKind], found: Mapping[PondKindId, Sequence[Origin]]) -> PrintedTable:
    rows = [(one.kind_name, row) for one in facts for row in found.get((one.pond_id, one.kind_id), ())]
    rows.sort(key=lambda row: -row[1].expected)
    return PrintedTable(
        "Where its heads came from",
        ("Kind", "Batch", "Heads", "At least", "At most", "Source", "Generation", "Papers"),
        tuple(
            (
                kind, row.batch, round(row.expected), row.at_least, row.at_most,
                ", ".join(part for part in (row.source, row.party) if part)[:50], row.generation, row.papers[:40],
            )
            for kind, row in rows[:MOST_ORIGINS]
        ),
        note=f"And {len(rows) - MOST_ORIGINS} batches of fewer heads." if len(rows) > MOST_ORIGINS else "",
        widths=(1.1, 1.1, 0.6, 0.7, 0.7, 1.9, 1.2, 1.6),
    )  # fmt: skip


def _tasks(tasks: Sequence[TaskWords]) -> PrintedTable:
    return PrintedTable(
        "To be done here",
        ("Task", "Done", "Decided", "Due"),
        tuple(tasks[:MOST_TASKS]),
        note=f"And {len(tasks) - MOST_TASKS} more." if len(tasks) > MOST_TASKS else "",
        widths=(3.5, 1, 1, 1),
    )


def _flowed(one: PondKind, flows: Flows) -> bool:
    return any((one.pond_id, one.kind_id, of_class) in flows for of_class in CLASSES)


def nests_of(pond_ids: Sequence[int], season: Season, last: dt.date) -> dict[PondKindId, Dug]:
    """Return (pond id, kind id) -> what was dug and picked in the year and the season to a day: one query."""
    so_far = Q(dug_on__gte=season.starts_on)
    rows = (
        NestDay.objects.standing()
        .filter(pond__in=pond_ids, dug_on__range=(year_before(last), last), kind__isnull=False)
        .values_list("pond", "kind")
        .annotate(
            all_nests=Sum("nests"),
            all_eggs=Sum("eggs"),
            season_nests=Sum("nests", filter=so_far),
            season_eggs=Sum("eggs", filter=so_far),
        )
    )
    return {(pond, kind): Dug(*(figure or 0 for figure in figures)) for pond, kind, *figures in rows}
