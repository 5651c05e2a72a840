"""What past seasons gave: by pond and settled female, by egg lot, by batch, and against what was expected.

The bridge from the learnt yields, the hatch log and the origins to plain rows; it only reads.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ponds import hatch_log
from ponds.models import EggLot, Pond
from ponds.seasons import Season, season_of
from stock import yield_rows
from stock.advisor.mix import UNKNOWN
from stock.advisor.season_shares import ShrunkShare, shrink_shares
from stock.advisor.yields import shrink_rates
from stock.estimators.estimate import Estimate
from stock.mixes import mixes_on
from stock.models import Batch
from stock.season_now import season_now
from stock.templatetags.stock_format import percent
from stock.yield_book import BOOK_DOUBT, YieldBook, yield_book

CONFIDENCE = 0.9
Z_90 = 1.6448536269514722
YEARS_DRAWN = 6
MOSTLY = 0.8
"""A pond speaks for a batch where at least this share of its females are of it: judgement, no source."""


@dataclass(frozen=True)
class PondRecord:
    """What a pond's females of one kind gave in a season; limits are 90 %, None where nothing was counted."""

    place: int
    pond: str
    kind: str
    settled: float
    nests: int
    nests_each: Estimate | None
    eggs: int
    eggs_each: float | None
    followed: int
    hatched: int
    share: ShrunkShare | None
    hatchlings_each: Estimate | None
    expected_low: float | None
    expected_high: float | None
    against: str
    before: float | None


@dataclass(frozen=True)
class LotRecord:
    """One lot of a season; `share` is None until nothing of it is left."""

    code: str
    kind: str
    set_on: dt.date
    ponds: str
    eggs: int
    hatched: int
    clear: int
    dead: int
    raw: float | None
    share: ShrunkShare | None
    standing: str


@dataclass(frozen=True)
class BatchRecord:
    """One batch among a season's laying females, and what the ponds gave that it fills."""

    code: str
    kind: str
    source: str
    arrived_on: dt.date
    party: str
    females: float
    at_least: float
    at_most: float
    where: str
    purest: float
    nests_each: Estimate | None
    share: ShrunkShare | None
    told: str


@dataclass(frozen=True)
class YearLine:
    """One kind's season on the whole farm."""

    year: int
    kind: str
    settled: float
    nests: int
    followed: int
    hatched: int

    @property
    def nests_each(self) -> float | None:
        return self.nests / self.settled if self.settled > 0 else None

    @property
    def hatch_share(self) -> float | None:
        return self.hatched / self.followed if self.followed else None


@dataclass(frozen=True)
class SeasonRecord:
    """A season as it was (`is_over`) or is so far on `day`, with what was known before it and after it."""

    season: Season
    day: dt.date
    is_over: bool
    before: YieldBook
    after: YieldBook
    codes: Mapping[int, str]

    def kind(self, kind_id: int) -> str:
        return self.after.kinds[kind_id].name


def season_record(day: dt.date, season: Season) -> SeasonRecord:
    """Read a season: as many queries on an old farm as on a young one."""
    return SeasonRecord(
        season=season,
        day=day,
        is_over=day > season.ends_on,
        before=yield_book(day, season),
        after=yield_book(day, Season(season.year + 1)),
        codes=dict(Pond.objects.values_list("pk", "code")),
    )


def pond_records(record: SeasonRecord) -> list[PondRecord]:
    """
    Return every pond and kind that laid or had settled females by the book, in letter order.

    The forecast is the one that the season's own page tells: from the females that probably stood there before the
    first nest.
    """
    year, before, after = record.season.year, record.before, record.after
    places = sorted(
        {where for where, held in before.laying.items() if held.settled > 0}
        | {(pond, kind) for pond, kind, of in after.nests if of == year},
        key=lambda where: (len(record.codes[where[0]]), record.codes[where[0]], record.kind(where[1])),
    )
    rates, shares = _rates(record, places), _shares(record, places)
    forecasts = {
        (one.pond_id, one.kind_id): one.before.nests for one in season_now(record.day, record.season).ponds
    }
    rows = []
    for at, where in enumerate(places):
        held = before.laying.get(where)
        settled = held.settled if held else 0.0
        sums = after.nests.get((*where, year), yield_rows.NestSums())
        followed, hatched, _ = after.hatched.get((*where, year), (0, 0, 0))
        eggs_each = sums.eggs / sums.opened * sums.nests / settled if sums.opened and settled else None
        share = shares.get(where) if followed else None
        forecast = forecasts.get(where)
        low, high = (forecast.low, forecast.high) if forecast else (None, None)
        rows.append(
            PondRecord(
                place=at,
                pond=record.codes[where[0]],
                kind=record.kind(where[1]),
                settled=settled,
                nests=sums.nests,
                nests_each=rates.get(where),
                eggs=sums.eggs,
                eggs_each=eggs_each,
                followed=followed,
                hatched=hatched,
                share=share,
                hatchlings_each=_hatchlings(rates.get(where), sums, share),
                expected_low=low,
                expected_high=high,
                against=_against(record, sums.nests, low, high),
                before=_before(record, where),
            )
        )
    return rows


def _rates(record: SeasonRecord, places: Sequence[tuple[int, int]]) -> dict[tuple[int, int], Estimate]:
    """Return nests a settled female, the ponds of a kind drawn together."""
    found: dict[tuple[int, int], Estimate] = {}
    for kind in {kind for _, kind in places}:
        of_kind = [where for where in places if where[1] == kind and _settled(record, where) > 0]
        if not of_kind:
            continue
        nests = [
            record.after.nests.get((*where, record.season.year), yield_rows.NestSums()).nests
            for where in of_kind
        ]
        shrunk = shrink_rates(nests, [_settled(record, where) for where in of_kind], confidence=CONFIDENCE)
        found.update(zip(of_kind, shrunk.means, strict=True))
    return found


def _settled(record: SeasonRecord, where: tuple[int, int]) -> float:
    held = record.before.laying.get(where)
    return held.settled if held else 0.0


def _shares(record: SeasonRecord, places: Sequence[tuple[int, int]]) -> dict[tuple[int, int], ShrunkShare]:
    found: dict[tuple[int, int], ShrunkShare] = {}
    for kind in {kind for _, kind in places}:
        of_kind = [where for where in places if where[1] == kind]
        counts = [record.after.hatched.get((*where, record.season.year), (0, 0, 0)) for where in of_kind]
        shrunk = shrink_shares([one[1] for one in counts], [one[0] for one in counts], confidence=CONFIDENCE)
        if shrunk is not None:
            found.update(zip(of_kind, shrunk.shares, strict=True))
    return found


def _hatchlings(
    rate: Estimate | None, sums: yield_rows.NestSums, share: ShrunkShare | None
) -> Estimate | None:
    """
    Return hatchlings a settled female: nests a female x eggs a nest x hatch share.

    Limits from the doubts of the rate, of the share and of the females themselves, taken as independent and
    log-normal; that of eggs a nest is left out.
    """
    if rate is None or not rate.value or share is None or not sums.opened or share.value <= 0:
        return None
    value = rate.value * sums.eggs / sums.opened * share.value
    doubts = [BOOK_DOUBT]
    if rate.lower and rate.upper:
        doubts.append(math.log(rate.upper / rate.lower) / 2 / Z_90)
    if share.lower > 0:
        doubts.append(math.log(share.upper / share.lower) / 2 / Z_90)
    width = math.exp(Z_90 * math.hypot(*doubts))
    return Estimate(
        value=value,
        lower=value / width,
        upper=value * width,
        confidence=CONFIDENCE,
        method="hatchlings a female",
    )


def _against(record: SeasonRecord, nests: int, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return "no forecast"
    if nests > high:
        return "more than forecast"
    if nests < low:
        return "fewer than forecast" if record.is_over else "still short of the forecast"
    return "as forecast" if record.is_over else "within the forecast so far"


def _before(record: SeasonRecord, where: tuple[int, int]) -> float | None:
    """Return the nests of the season before, None where none are in the book."""
    sums = record.before.nests.get((*where, record.season.year - 1))
    return float(sums.nests) if sums else None


def lot_records(record: SeasonRecord) -> list[LotRecord]:
    """Return the lots set in a season, those surest to have done well first."""
    season = record.season
    lots = hatch_log.by_lot(
        EggLot.objects.standing()
        .filter(set_on__gte=season.starts_on, set_on__lte=season.ends_on)
        .select_related("kind")
    )
    of_kind: dict[str, list[hatch_log.LotHatch]] = defaultdict(list)
    for one in lots:
        of_kind[one.lot.kind.common_name].append(one)
    rows = []
    for kind, these in of_kind.items():
        done = [one for one in these if one.is_done and one.eggs]
        shrunk = shrink_shares(
            [one.hatched for one in done], [one.eggs for one in done], confidence=CONFIDENCE
        )
        shares = dict(zip((one.lot.pk for one in done), shrunk.shares, strict=True)) if shrunk else {}
        for one in these:
            share = shares.get(one.lot.pk)
            rows.append(
                LotRecord(
                    code=one.lot.code,
                    kind=kind,
                    set_on=one.lot.set_on,
                    ponds=" ".join(one.ponds),
                    eggs=one.eggs,
                    hatched=one.hatched,
                    clear=one.clear,
                    dead=one.dead,
                    raw=one.hatched / one.eggs if share else None,
                    share=share,
                    standing=_standing(share, shrunk.overall if shrunk else None),
                )
            )
    return sorted(rows, key=lambda row: (-(row.share.lower if row.share else -1.0), row.code))


def _standing(share: ShrunkShare | None, overall: float | None) -> str:
    if share is None or overall is None:
        return "not finished"
    if share.lower > overall:
        return "better than most"
    if share.upper < overall:
        return "worse than most"
    return "no different that can be told"


def batch_records(record: SeasonRecord, day: dt.date) -> list[BatchRecord]:
    """Return the batches among the laying females of a season: by kind, those that can be told first."""
    on = min(yield_rows.laying_begins(record.season), day)
    of_batch: dict[tuple[int, int], list[tuple[int, float, float, float, float]]] = defaultdict(list)
    for (pond, kind, of_class), mix in mixes_on(on).items():
        if of_class == "FEMALE" and mix.heads:
            for batch, part in mix.batches.items():
                # Heads found beyond the book are of no batch.
                if batch == UNKNOWN:
                    continue
                share = part.expected / mix.heads
                of_batch[int(batch), kind].append((pond, part.expected, part.at_least, part.at_most, share))
    batches = Batch.objects.in_bulk({batch for batch, _ in of_batch})
    rows = []
    for kind in {kind for _, kind in of_batch}:
        if kind not in record.after.kinds:
            continue
        rows += _of_kind(
            record, kind, {key[0]: held for key, held in of_batch.items() if key[1] == kind}, batches
        )
    return sorted(rows, key=lambda row: (row.nests_each is None, row.kind, row.arrived_on, row.code))


def _of_kind(
    record: SeasonRecord, kind: int, of_batch: Mapping[int, list], batches: Mapping[int, Batch]
) -> list:
    """A batch that fills a pond speaks with that pond's figures; every other pond stands for itself."""
    year = record.season.year
    owner = {held[0]: batch for batch, parts in of_batch.items() for held in parts if held[4] >= MOSTLY}
    groups: dict[tuple[str, int], list[int]] = defaultdict(list)
    for pond, of in record.before.laying:
        if of == kind and _settled(record, (pond, kind)) > 0:
            groups["batch" if pond in owner else "pond", owner.get(pond, pond)].append(pond)
    names = list(groups)
    nests = [sum(_nests(record, pond, kind) for pond in groups[name]) for name in names]
    settled = [sum(_settled(record, (pond, kind)) for pond in groups[name]) for name in names]
    rates = (
        dict(zip(names, shrink_rates(nests, settled, confidence=CONFIDENCE).means, strict=True))
        if names
        else {}
    )
    counts = [
        [sum(part) for part in zip(*(record.after.hatched.get((pond, kind, year), (0, 0, 0)) for pond in groups[name]),
                                   strict=True)]
        for name in names
    ]  # fmt: skip
    shrunk = shrink_shares([one[1] for one in counts], [one[0] for one in counts], confidence=CONFIDENCE)
    shares = {
        name: share
        for name, one, share in zip(names, counts, shrunk.shares if shrunk else (), strict=False)
        if one[0]
    }
    rows = []
    for batch, parts in of_batch.items():
        parts.sort(key=lambda part: -part[1])
        own = batches[batch]
        purest = max(part[4] for part in parts)
        is_told = ("batch", batch) in rates
        rows.append(
            BatchRecord(
                code=own.code,
                kind=record.kind(kind),
                source=own.get_source_display(),
                arrived_on=own.arrived_on,
                party=own.party,
                females=sum(part[1] for part in parts),
                at_least=sum(part[2] for part in parts),
                at_most=sum(part[3] for part in parts),
                where=", ".join(f"{record.codes[part[0]]} {percent(part[4])}" for part in parts[:6])
                + (f" and {len(parts) - 6} more" if len(parts) > 6 else ""),
                purest=purest,
                nests_each=rates.get(("batch", batch)),
                share=shares.get(("batch", batch)),
                told=_told(record, groups.get(("batch", batch), []), purest, is_told=is_told),
            )
        )
    return rows


def _told(record: SeasonRecord, ponds: Sequence[int], purest: float, *, is_told: bool) -> str:
    if is_told:
        names = ", ".join(sorted((record.codes[pond] for pond in ponds), key=lambda code: (len(code), code)))
        return f"by pond {names}, where it is nearly all; a good batch and a good pond look alike"
    if purest >= MOSTLY:
        return "not settled enough to lay yet"
    return f"cannot be told: mixed with others, {percent(purest)} of a pond's females at most"


def _nests(record: SeasonRecord, pond: int, kind: int) -> int:
    sums = record.after.nests.get((pond, kind, record.season.year))
    return sums.nests if sums else 0


def seasons_of(record: YieldBook) -> list[int]:
    """Return the seasons with anything in them, newest first."""
    return sorted({year for *_, year in record.nests} | {year for *_, year in record.hatched}, reverse=True)


def year_lines(record: SeasonRecord, day: dt.date) -> list[YearLine]:
    """Return each kind's last seasons up to this one, oldest first."""
    lines = []
    years = [year for year in seasons_of(record.after) if year <= record.season.year][:YEARS_DRAWN]
    for year in sorted(years):
        lay = record.before.laying if year == record.season.year else yield_rows.laying(Season(year), day)
        for kind in sorted({kind for _, kind, _ in record.after.nests}, key=record.kind):
            hatch = [one for (_, of, at), one in record.after.hatched.items() if of == kind and at == year]
            lines.append(
                YearLine(
                    year=year,
                    kind=record.kind(kind),
                    settled=sum(held.settled for (_, of), held in lay.items() if of == kind),
                    nests=sum(
                        s.nests for (_, of, at), s in record.after.nests.items() if of == kind and at == year
                    ),
                    followed=sum(one[0] for one in hatch),
                    hatched=sum(one[1] for one in hatch),
                )
            )
    return lines


def newest_season(day: dt.date) -> tuple[Season, list[int]]:
    """Return the last season with anything in it (this one if none), and all of those read."""
    years = seasons_of(yield_book(day, Season(season_of(day).year + 1)))
    return Season(years[0]) if years else season_of(day), years
