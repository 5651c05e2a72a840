"""What past seasons teach of every pond's yield, and what the coming or running season may bring.

The bridge from the nest book, the hatch log and the origins to `stock.advisor.yields`. All ponds of a farm teach each
other, so all are learnt together; the answer is kept in this process until a row of any of those books is added.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ponds.figures import Range
from ponds.models import Farm
from ponds.seasons import Season, season_of
from stock import yield_rows
from stock.advisor.season_learning import CLEAR_RANGE
from stock.advisor.yields import (
    ComingSeason,
    PublishedFigures,
    SeasonBook,
    YieldsLearnt,
    coming_season,
    delayed_fertility,
    learn_yields,
)
from stock.kept_answers import KeptAnswers, content_of
from stock.pond_kind import PondKind
from stock.pond_rows import KindRow, kinds_with_figures
from stock.standing_rows import stamp as stock_stamp
from stock.yield_rows import Laying, NestSums

PondKindId = tuple[int, int]
Floats = NDArray[np.float64]

SEASONS_READ = 10
"""Older seasons would count a fifth and less of the last one."""
BOOK_DOUBT = 0.08
"""Relative standard error of a past season's females by the book: an assumption, for the book is no count."""
SEED = 20_250_901
"""One seed for every forecast: the same rows give the same forecast on every page and day."""
DRAWS = 4000
ANSWERS_KEPT = 4
LAYING = "LAYING_SHARE"
NEEDED = (LAYING, "NESTS", "EGGS")


@dataclass(frozen=True)
class YieldBook:
    """
    What is learnt for one season, from the seasons before it.

    Parameters
    ----------
    season : Season
        The one asked about.
    places : tuple of (pond id, kind id)
        In the order of `learnt`; ponds that lay now, and those that ever did in the seasons read. Kinds without the
        figures a yield needs are left out.
    learnt : YieldsLearnt or None
        None where there are no such places.
    laying : mapping
        (pond id, kind id) -> who lays this season, by the book.
    fertility : array, shape (places,)
        Share of full fertility this season, by the ratios of this and the last seasons.
    nests : mapping
        (pond id, kind id, year) -> nests of the seasons read, those of a kind not known shared out.
    hatched : mapping
        (pond id, kind id, year) -> eggs followed to their end, hatched, clear.
    shared_out : int
        Nests of a kind not known that were shared out.
    weight : float or None
        Seasons of one pond that the published ranges count as much as, where the owner set it.
    stamp : tuple
        Another one whenever anything that was read is another.
    content : bytes
        Another one only where what was learnt, or learnt from, is another.
    """

    season: Season
    places: tuple[PondKindId, ...]
    learnt: YieldsLearnt | None
    laying: Mapping[PondKindId, Laying]
    fertility: Floats
    nests: Mapping[tuple[int, int, int], NestSums]
    hatched: Mapping[tuple[int, int, int], tuple[int, int, int]]
    shared_out: int
    kinds: Mapping[int, KindRow]
    weight: float | None = None
    stamp: tuple[Any, ...] = ()
    content: bytes = b""

    def place(self, pond_id: int, kind_id: int) -> int | None:
        """Return where a pond and kind stands in `places`, None where it has none."""
        try:
            return self.places.index((pond_id, kind_id))
        except ValueError:
            return None

    def females(self, ponds: Sequence[PondKind]) -> tuple[Floats, Floats]:
        """
        Return settled-equivalent females of every place and their standard errors.

        From the standing where a pond has one (its females, settled in the book's proportion), else by the book.
        """
        heads = np.array(
            [self.laying[where].settled if where in self.laying else 0.0 for where in self.places]
        )
        errors = BOOK_DOUBT * heads
        facts = {(one.pond_id, one.kind_id): one for one in ponds}
        for at, where in enumerate(self.places):
            one = facts.get(where)
            if one is None or one.standing is None or not one.heads.females:
                continue
            settled = one.settled_females / one.heads.females
            heads[at] = one.standing.females * settled
            errors[at] = one.standing.female_se * settled
        return heads, errors

    def coming(self, females: Floats, errors: Floats) -> ComingSeason | None:
        """Return the season as it looked before its first nest, from what `females` returns; None without places."""
        learnt = self.learnt
        if learnt is None:
            return None
        return _coming.of(
            (content_of(self.content, females, errors, self.fertility),),
            lambda: coming_season(
                learnt, females, female_se=errors, fertility=self.fertility, draws=DRAWS, rng=SEED
            ),
        )


_answers: KeptAnswers[YieldBook] = KeptAnswers(ANSWERS_KEPT)
# A nest entered today changes the stamp, and nothing that past seasons teach.
_learnt: KeptAnswers[YieldsLearnt] = KeptAnswers(ANSWERS_KEPT)
_coming: KeptAnswers[ComingSeason] = KeptAnswers(ANSWERS_KEPT)


def yield_book(day: dt.date, season: Season | None = None) -> YieldBook:
    """
    Return what is learnt for the season of `day`, or another; nothing of that season itself is read.

    Four queries where nothing changed since it was last asked in this process; else some fifty, whatever the number
    of ponds and the age of the farm.
    """
    season = season or season_of(day)
    kinds = kinds_with_figures()
    weight = Farm.objects.values_list("published_weight", flat=True).first()
    stamp = (
        season,
        weight,
        _figures_key(kinds),
        stock_stamp(),
        yield_rows.stamp(),
    )
    # A season's females are counted when its laying begins: days after it change nothing.
    day = min(day, yield_rows.laying_begins(season))
    return _answers.of((*stamp, day), lambda: _learn(day, season, kinds, weight, stamp))


def forget() -> None:
    """Drop the answers kept in this process: for tests that count queries."""
    for kept in (_answers, _learnt, _coming):
        kept.forget()


def _figures_key(kinds: Mapping[int, KindRow]) -> tuple[Any, ...]:
    return tuple(
        (pk, kind.name, name, kind.figures[name])
        for pk, kind in sorted(kinds.items())
        for name in sorted(kind.figures)
    )


def _learn(
    day: dt.date,
    season: Season,
    kinds: Mapping[int, KindRow],
    weight: float | None,
    stamp: tuple[Any, ...],
) -> YieldBook:
    published = {pk: _published(kind.figures) for pk, kind in kinds.items() if _has_figures(kind)}
    last = Season(season.year - 1)
    sums = yield_rows.nests_by_season(Season(season.year - SEASONS_READ), last)
    hatched = yield_rows.hatched_by_season(range(season.year - SEASONS_READ, season.year))
    years = sorted({year for *_, year in sums} | {year for *_, year in hatched})
    # The ratio of two seasons before the first one kept still tells in its clear eggs.
    read = range(min(years, default=season.year) - 2, season.year)
    lay = {year: yield_rows.laying(Season(year), day) for year in read}
    lay[season.year] = yield_rows.laying(season, day)
    nests, shared_out = _with_kinds(sums, lay, kinds)
    places = tuple(
        sorted(
            {
                (pond, kind)
                for pond, kind in (
                    *lay[season.year],
                    *((pond, kind) for pond, kind, _ in nests),
                    *((pond, kind) for pond, kind, _ in hatched),
                )
                if kind in published
            }
        )
    )
    fertility = _fertility(places, lay)
    learnt, content = None, b""
    if places:
        book = _season_book(places, years, nests, hatched, lay, fertility)
        of_places = {kind: published[kind] for _, kind in places}
        columns = (getattr(book, column.name) for column in fields(book))
        content = content_of(season.year, weight, places, of_places, *columns)
        learnt = _learnt.of(
            (content,),
            lambda: learn_yields(
                book, [kind for _, kind in places], published, season=season.year, published_weight=weight
            ),
        )
    this_season = np.array([fertility[season.year][at] for at in range(len(places))])
    return YieldBook(
        season,
        places,
        learnt,
        lay[season.year],
        this_season,
        nests,
        hatched,
        shared_out,
        dict(kinds),
        weight,
        stamp,
        content,
    )


def _has_figures(kind: KindRow) -> bool:
    return all(name in kind.figures and kind.figures[name].expected > 0 for name in NEEDED)


def _published(figures: Mapping[str, Range]) -> PublishedFigures:
    laying, nests, eggs = (_three(figures[name]) for name in NEEDED)
    if "HATCH_SHARE" in figures:
        return PublishedFigures(laying, nests, eggs, hatch=_three(figures["HATCH_SHARE"]), clear=CLEAR_RANGE)
    return PublishedFigures(laying, nests, eggs)


def _three(figure: Range) -> tuple[float, float, float]:
    return figure.low, figure.expected, figure.high


def laying_females(
    lay: Mapping[PondKindId, Laying], pond: int, kinds: Mapping[int, KindRow]
) -> dict[int, float]:
    """
    Return kind id -> females of a pond that lay: settled ones by the published share of their kind that lays.

    Where a kind has no such figure, all its settled females count.
    """
    return {
        kind: held.settled
        * (row.figures[LAYING].expected if (row := kinds.get(kind)) and LAYING in row.figures else 1)
        for (of_pond, kind), held in lay.items()
        if of_pond == pond
    }


def _with_kinds(
    sums: Mapping[tuple[int, int | None, int], NestSums],
    lay: Mapping[int, Mapping[PondKindId, Laying]],
    kinds: Mapping[int, KindRow],
) -> tuple[dict[tuple[int, int, int], NestSums], int]:
    """Return the sums by pond, kind and year with those of no known kind shared out, and how many nests that were."""
    found: dict[tuple[int, int, int], NestSums] = {}
    unknown: list[tuple[int, int, NestSums]] = []
    for (pond, kind, year), one in sums.items():
        if kind is None:
            unknown.append((pond, year, one))
        else:
            found[pond, kind, year] = NestSums(one.nests, one.opened, one.eggs)
    shared = 0
    for pond, year, one in unknown:
        for kind, part in yield_rows.share_out(one, laying_females(lay[year], pond, kinds)).items():
            held = found.setdefault((pond, kind, year), NestSums())
            held.nests += part.nests
            held.opened += part.opened
            held.eggs += part.eggs
            shared += part.nests
    return found, shared


def _fertility(
    places: Sequence[PondKindId], lay: Mapping[int, Mapping[PondKindId, Laying]]
) -> dict[int, Floats]:
    """Return year -> share of full fertility of every place; where nobody stood, the next season's ratio is taken."""
    years = sorted(lay)
    ratios = np.full((len(places), len(years)), np.nan)
    for column, year in enumerate(years):
        for at, where in enumerate(places):
            if where in lay[year]:
                ratios[at, column] = lay[year][where].ratio
    for column in range(len(years) - 2, -1, -1):
        gone = np.isnan(ratios[:, column])
        ratios[gone, column] = ratios[gone, column + 1]
    for column in range(1, len(years)):
        gone = np.isnan(ratios[:, column])
        ratios[gone, column] = ratios[gone, column - 1]
    ratios = np.where(np.isnan(ratios), 0.0, ratios)
    if not places:
        return {year: np.zeros(0) for year in years}
    return {year: delayed_fertility(ratios[:, : column + 1]) for column, year in enumerate(years)}


def _season_book(
    places: Sequence[PondKindId],
    years: Sequence[int],
    nests: Mapping[tuple[int, int, int], NestSums],
    hatched: Mapping[tuple[int, int, int], tuple[int, int, int]],
    lay: Mapping[int, Mapping[PondKindId, Laying]],
    fertility: Mapping[int, Floats],
) -> SeasonBook:
    """Return one row a place and season: a pond with any nest book in a season dug none of its other kinds there."""
    kept = {(pond, year) for pond, _, year in nests}
    columns: dict[str, list[float]] = defaultdict(list)
    for at, where in enumerate(places):
        for year in years:
            key = (*where, year)
            held = lay[year].get(where)
            sums, eggs = nests.get(key), hatched.get(key, (0, 0, 0))
            if sums is None and not eggs[0] and (held is None or (where[0], year) not in kept):
                continue
            was_kept = (where[0], year) in kept
            sums = sums or NestSums()
            females = held.settled if held is not None else 0.0
            for name, value in (
                ("pond", at), ("season", year), ("females", females), ("female_se", BOOK_DOUBT * females),
                ("nests", sums.nests if was_kept else np.nan), ("opened", sums.opened), ("eggs", sums.eggs),
                ("eggs_set", eggs[0]), ("hatched", eggs[1]), ("clear", eggs[2]), ("fertility", fertility[year][at]),
            ):  # fmt: skip
                columns[name].append(value)
    names = (
        "pond", "season", "females", "female_se", "nests", "opened", "eggs", "eggs_set", "hatched", "clear",
        "fertility",
    )  # fmt: skip
    return SeasonBook(**{name: np.array(columns[name], dtype=float) for name in names})
