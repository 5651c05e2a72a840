"""Signals of the watch as the page shows them: the sentence, the arithmetic, a chart, the notes. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace

from ponds.models import Kind, Pond
from stock.advisor.farm_watch import BURST, DeathSignal, has_grown
from stock.advisor.farm_watch_all import ALL, FEMALES, JUVENILES, MALES
from stock.advisor.farm_watch_causes import WINDOWS, BatchSignal, LopsidedSignal, UnseenSignal
from stock.charts import Chart, Series, line_chart
from stock.links import link, task_link
from stock.models import WatchNote
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import number, percent, signed
from stock.timeline import next_month
from stock.watch_facts import CountPair, FarmWatch, NormalMonth, expected_by_month, farm_watch
from stock.watch_rows import Arrival, PondKindId

CHART_MONTHS = 24
NOTES_HOLD = 365
UNSEEN_SUBJECT = "unseen"
NOTES_READ = 500
SERIES_WORDS = {ALL: "adults", FEMALES: "females", MALES: "males", JUVENILES: "juveniles"}
STOP = "Stop all moves into the pond and out of it, and call a veterinarian."
COUNT = "Count the pond, and look over fence, screens and bank."


@dataclass(frozen=True)
class WatchLine:
    """
    One signal.

    ``subject`` with pond and kind names it from day to day; ``title`` is what every page calls it; ``arithmetic`` is
    its sum, line by line; ``note`` is the newest that holds for it, and ``is_quiet`` says that it has not grown since.
    ``ponds`` are all ponds and kinds it speaks of: those that a batch went to, else its own. ``is_over`` says that
    it is of the month before, with nothing of the day's own month in it.
    """

    pond_id: int
    pond_code: str
    kind_id: int
    kind_code: str
    kind_name: str
    subject: str
    title: str
    sentence: str
    remedy: str
    excess: float
    arithmetic: tuple[tuple[str, str], ...]
    chart: Chart | None
    links: tuple[tuple[str, str], ...] = ()
    ponds: tuple[PondKindId, ...] = ()
    note: WatchNote | None = None
    is_quiet: bool = False
    is_over: bool = False

    @property
    def asks_to_stop(self) -> bool:
        """Whether nothing may move until somebody has looked into it."""
        return self.remedy != COUNT

    @property
    def anchor(self) -> str:
        return f"{self.subject}-{self.pond_code}-{self.kind_code}".lower().replace(" ", "-").replace("/", "-")

    @property
    def url(self) -> str:
        return link("stock:watch") + f"#{self.anchor}"


@dataclass(frozen=True)
class _Names:
    ponds: dict[int, Pond]
    kinds: dict[int, Kind]


def watch_lines(
    found: FarmWatch, *, with_charts: bool = True, noted_by: dt.date | None = None
) -> list[WatchLine]:
    """
    Return every signal with what was noted of it up to its own day, or `noted_by`: three queries.

    Deaths come first, then what counts miss, the most heads first; what was noted and has not grown comes last. A
    signal of the month before stands until it is noted or the day's own month is over; noted in time, it is gone.
    """
    signals = len(found.deaths) + len(found.lopsided) + len(found.batches) + len(found.unseen)
    if not signals:
        return []
    names = _Names(Pond.objects.in_bulk(), Kind.objects.in_bulk())
    of_batches = {where for arrival, *_ in found.batches for where in arrival.ponds}
    lines = [
        *(_batch_line(found, names, *one, with_charts) for one in found.batches),
        *(
            _death_line(found, names, series, signal, with_charts)
            for series, signal in found.deaths
            # What the batch explains is said once, with the batch.
            if not (signal.what == BURST and found.read.places[signal.pond] in of_batches)
        ),
        *(_lopsided_line(found, names, one, with_charts) for one in found.lopsided),
        *(_unseen_line(found, names, *one) for one in found.unseen),
    ]
    began = found.day.replace(day=1)
    behind = [_death_line(found, names, series, signal, with_charts) for series, signal in found.behind]
    noted = _noted([*lines, *behind], noted_by or found.day)
    shown = [
        line
        for line in noted[: len(lines)]
        if not (line.is_over and line.is_quiet and line.note is not None and line.note.noted_on < began)
    ]
    # One line of a kind a pond: the month's own where the older one, which is worse, was answered in its time.
    anchors = {line.anchor for line in shown}
    shown += [line for line in noted[len(lines) :] if line.anchor not in anchors]
    return sorted(
        shown,
        key=lambda line: (line.is_quiet, line.subject == UNSEEN_SUBJECT, -line.excess),
    )


def signals_on(day: dt.date, *, noted_by: dt.date | None = None) -> list[WatchLine]:
    """Return the signals of a day that nobody has looked into, or that grew since, without their charts."""
    lines = watch_lines(farm_watch(day), with_charts=False, noted_by=noted_by)
    return [line for line in lines if not line.is_quiet]


def noted_since(pond_id: int, day: dt.date, today: dt.date) -> list[WatchLine]:
    """Return a pond's signals of an earlier day that somebody has looked into since."""
    if day >= today:
        return []
    lines = watch_lines(farm_watch(day), with_charts=False, noted_by=today)
    return [
        line
        for line in lines
        if line.note is not None and line.note.noted_on > day and pond_id in {pond for pond, _ in line.ponds}
    ]


def normal_words(month: NormalMonth | None) -> str:
    """Say how a month's deaths compare with what is normal there; "" where that is not known."""
    if month is None or not month.expected:
        return ""
    most = f"up to {number(month.most)} may be chance" if month.most else "none expected by chance"
    judged = " More than that died." if month.died > month.most else ""
    return f"normal there: {_few(month.expected)}, {most}.{judged}"


def _noted(lines: Iterable[WatchLine], day: dt.date) -> list[WatchLine]:
    """Put beside each signal what was noted of it in the last year: one query."""
    newest: dict[tuple[int, int, str], WatchNote] = {}
    rows = WatchNote.objects.filter(noted_on__gt=day - dt.timedelta(days=NOTES_HOLD), noted_on__lte=day)
    for row in rows.order_by("-noted_on", "-pk")[:NOTES_READ]:
        newest.setdefault((row.pond_id, row.kind_id, row.subject), row)
    found = []
    for line in lines:
        note = newest.get((line.pond_id, line.kind_id, line.subject))
        is_quiet = note is not None and not has_grown(line.excess, note.excess)
        found.append(replace(line, note=note, is_quiet=is_quiet))
    return found


def _line(names: _Names, where: PondKindId, **parts: object) -> WatchLine:
    pond, kind = names.ponds[where[0]], names.kinds[where[1]]
    return WatchLine(
        pond_id=pond.pk,
        pond_code=pond.code,
        kind_id=kind.pk,
        kind_code=kind.code,
        kind_name=kind.common_name,
        **{"ponds": (where,), **parts},  # type: ignore[arg-type]
    )


def _death_line(
    found: FarmWatch, names: _Names, series: str, signal: DeathSignal, with_charts: bool
) -> WatchLine:
    where = found.read.places[signal.pond]
    first = found.read.months[signal.first]
    who = SERIES_WORDS[series]
    is_month = signal.what == BURST or signal.first == signal.last
    when = f"{'in' if is_month else 'since'} {first:%B %Y}"
    times = f", {number(signal.times, 1)} times as many" if signal.expected >= 0.05 else ""
    sentence = (
        f"{signal.deaths} {who} died {when}, where {_few(signal.expected)} "
        f"{'is' if _few(signal.expected) == '1' else 'are'} normal there{times}."
    )
    if signal.what == BURST:
        rule = (
            ("Most that is still taken for chance", f"{number(signal.limit)} in the whole month"),
            ("Chance of so many where nothing changed", _odds(signal.score)),
        )
    else:
        rule = (
            (
                "Evidence of a rise, added up month by month",
                number(signal.score) if signal.score < 1e6 else "more than a million",
            ),
            ("It signals beyond", number(signal.limit)),
        )
    return _line(
        names,
        where,
        subject=f"deaths {series}",
        title="more deaths in a month" if signal.what == BURST else "deaths rising",
        sentence=sentence,
        remedy=STOP,
        excess=signal.excess,
        arithmetic=(
            (f"Died {when}", str(signal.deaths)),
            ("Normal there in that time", number(signal.expected, 1)),
            ("Normal there: deaths a year in 100 heads", number(100 * signal.own_rate, 1)),
            ("On the whole farm", number(100 * signal.farm_rate, 1)),
            *rule,
        ),
        chart=_chart(found, signal.pond, names, series) if with_charts else None,
        links=_links(names, where),
        is_over=signal.last < len(found.read.months) - 1,
    )


def _lopsided_line(found: FarmWatch, names: _Names, signal: LopsidedSignal, with_charts: bool) -> WatchLine:
    where = found.read.places[signal.pond]
    who, other = ("females", "males") if signal.sex == 0 else ("males", "females")
    of_sex, of_other = (signal.females, signal.males) if signal.sex == 0 else (signal.males, signal.females)
    share = signal.expected_share if signal.sex == 0 else 1 - signal.expected_share
    total = signal.females + signal.males
    return _line(
        names,
        where,
        subject=f"lopsided {who}",
        title=f"mostly {who} died",
        sentence=(
            f"{of_sex} {who} and {of_other} {other} died in twelve months; by their heads about "
            f"{number(share * total)} of the {total} should be {who}."
            + (" Look for bites: too many males harm females first." if signal.sex == 0 else "")
        ),
        remedy=STOP,
        excess=signal.excess,
        arithmetic=(
            (f"Died in twelve months, {who}", str(of_sex)),
            (f"Died in twelve months, {other}", str(of_other)),
            (f"Share of {who} to expect, by heads and the farm's habit", percent(share)),
            ("Chance of so uneven deaths", _odds(signal.chance)),
            ("It signals below", _odds(signal.limit)),
        ),
        chart=_chart(found, signal.pond, names, FEMALES if signal.sex == 0 else MALES)
        if with_charts
        else None,
        links=_links(names, where),
    )


def _batch_line(
    found: FarmWatch, names: _Names, arrival: Arrival, signal: BatchSignal, marked: int, with_charts: bool
) -> WatchLine:
    ponds = sorted({names.ponds[pond].code for pond, _ in arrival.ponds})
    batch = arrival.batch
    until = batch.arrived_on + dt.timedelta(days=WINDOWS[-1])
    where = max(arrival.ponds, key=lambda one: _died(found, one, batch.arrived_on, until))
    beside = (
        f" In the other ponds that are not in trouble themselves {signal.elsewhere} died, where "
        f"{_few(signal.elsewhere_expected)} are normal."
        if signal.times is not None
        else ""
    )
    of_marked = f" {marked} of them are marked turtles of the batch." if marked else ""
    noun = "pond" if len(ponds) == 1 else "ponds"
    return _line(
        names,
        where,
        subject=f"batch {batch.code}"[:60],
        ponds=tuple(arrival.ponds),
        title="deaths after a batch came",
        sentence=(
            f"{signal.deaths} died within {signal.days} days after heads of batch {batch.code} came into {noun} "
            f"{', '.join(ponds)}; {_few(signal.expected)} would be normal there in all those days.{of_marked}{beside} "
            "Look at the batch first."
        ),
        remedy=f"Stop all moves into {noun} {', '.join(ponds)} and out, and call a veterinarian.",
        excess=signal.excess,
        arithmetic=(
            ("Batch came", f"{day_words(batch.arrived_on)}, {arrival.heads} heads"),
            ("Died where it went", str(signal.deaths)),
            (f"Normal there in all {signal.days} days", number(signal.expected, 1)),
            ("Died in the other ponds", str(signal.elsewhere)),
            ("Normal in the other ponds so far", number(signal.elsewhere_expected, 1)),
            ("Marked turtles of the batch among the dead", str(marked)),
            ("Chance of so many where nothing changed", _odds(signal.chance)),
            ("It signals below", _odds(signal.limit)),
        ),
        chart=_chart(found, found.read.places.index(where), names, ALL)
        if with_charts and where in found.read.places
        else None,
        links=(("The batch and its papers", link("stock:batch-detail", batch.code)), *_links(names, where)),
        is_over=until < found.day.replace(day=1),
    )


def _died(found: FarmWatch, where: PondKindId, first: dt.date, last: dt.date) -> float:
    """Return the adults that died in the months of some days; a note finds its pond again long after them."""
    if where not in found.read.places:
        return -1.0
    died = found.read.deaths[ALL][found.read.places.index(where)]
    return float(
        sum(
            heads
            for month, heads in zip(found.read.months, died, strict=True)
            if first.replace(day=1) <= month <= last
        )
    )


def _unseen_line(
    found: FarmWatch, names: _Names, where: PondKindId, pair: CountPair, signal: UnseenSignal
) -> WatchLine:
    return _line(
        names,
        where,
        subject=UNSEEN_SUBJECT,
        title="missing at the count",
        sentence=(
            f"The count of {day_words(pair.now.as_of)} found {number(signal.missing)} heads fewer than the count of "
            f"{day_words(pair.before.as_of)} and the book leave; about {number(signal.expected)} would be normal. "
            "Deaths nobody saw, escape and theft look alike."
        ),
        remedy=COUNT,
        excess=signal.excess,
        arithmetic=(
            (f"Counted {day_words(pair.before.as_of)}", number(pair.should - pair.moved + pair.died)),
            ("Came less went since, by the book", signed(pair.moved)),
            ("Recorded dead since", signed(-pair.died)),
            ("Should stand there", number(pair.should)),
            (f"Counted {day_words(pair.now.as_of)}", number(pair.found)),
            ("Missing", f"{number(signal.missing)}, give or take {number(1.96 * signal.se)}"),
            ("Normally lost unseen in that time", number(signal.expected)),
            ("Chance of so many missing", _odds(signal.chance)),
            ("It signals below", _odds(signal.limit)),
        ),
        chart=None,
        links=(("That count", link("stock:count-detail", pair.now.count_id)), *_links(names, where)),
    )


def _links(names: _Names, where: PondKindId) -> tuple[tuple[str, str], ...]:
    code = names.ponds[where[0]].code
    return (
        ("The pond's deaths", link("stock:pond-detail", code) + "#deaths"),
        ("What moved there", link("stock:move-list", pond=code)),
    )


def recount_url(line: WatchLine) -> str:
    """Return where to make "count the pond" a task."""
    return task_link(line.pond_code, "RECOUNT", kind=line.kind_code, why=line.sentence)


def _few(figure: float) -> str:
    return number(figure) if figure >= 9.5 else number(figure, 1).removesuffix(".0")


def _odds(chance: float) -> str:
    if chance < 1e-6:
        return "less than 1 in a million"
    return f"1 in {number(round(1 / chance, -1) if chance < 0.05 else 1 / chance)}"


def _chart(found: FarmWatch, place: int, names: _Names, series: str) -> Chart:
    where = found.read.places[place]
    months = found.read.months[-CHART_MONTHS:]
    died = found.read.deaths[series][place, -CHART_MONTHS:]
    drawn = [Series("Died", tuple(float(heads) for heads in died))]
    if series == ALL:
        normal = expected_by_month(found, place)
        drawn.append(Series("Normal there", tuple(round(normal[month], 2) for month in months)))
    running = (
        "" if found.day == next_month(months[-1]) - dt.timedelta(days=1) else " The last month is running."
    )
    return line_chart(
        f"Pond {names.ponds[where[0]].code}: {SERIES_WORDS[series]} found dead by month",
        [f"{month:%b %y}" for month in months],
        drawn,
        unit="heads",
        summary=f"{int(died.sum())} in {len(months)} months.{running}",
    )
