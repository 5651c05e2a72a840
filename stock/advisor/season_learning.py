"""Nests a female, eggs a nest, hatch and clear share of each pond, learnt from the seasons' books."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stock.advisor.families import Family, Floats, Kept
from stock.advisor.hierarchy import Hierarchy, Spreads, learn_hierarchy
from stock.advisor.ranges import Z_95, check_ranges, draw_ranges
from stock.advisor.season_book import BookTable, SeasonBook, check_book
from stock.estimators.estimate import check_confidence, check_number

DECAY = 0.85
"""What a season counts against the one after it: ten seasons back counts a fifth (an assumption)."""

CLEAR_RANGE = (0.03, 0.08, 0.2)
"""Share of clear eggs with males enough: low, expected, high (an assumption; no source)."""

SPREADS: Mapping[str, Spreads] = MappingProxyType(
    {
        "nests": Spreads(pond=0.22, season=0.15, rest=0.12),
        "eggs": Spreads(pond=0.09, season=0.06, rest=0.05),
        "hatch": Spreads(pond=0.35, season=0.25, rest=0.25),
        "clear": Spreads(pond=0.35, season=0.25, rest=0.25),
    }
)
"""
How far ponds, seasons and the rest differ before anything is learnt, in natural logarithms (log odds for the
shares); each may be twice or half as large. Assumptions: no farm series is published; sliders in Illinois
varied by 16 to 18 % of clutch mass between years (Tucker, Paukstis & Janzen 1998, J. Herpetol. 32, 515).
"""

_FAMILIES = {
    "nests": Family("log"),
    "eggs": Family("log"),
    "hatch": Family("logit"),
    "clear": Family("logit", rises=True),
}
_WORDS = {
    "nests": "Nests a settled female",
    "eggs": "Eggs a nest",
    "hatch": "Share of eggs that hatch",
    "clear": "Share of eggs that are clear",
}
_LEAST_SHARE, _LEAST_PART, _LEAST_SD = 0.005, 0.05, 0.01
_PRODUCT_DRAWS = 20_000


@dataclass(frozen=True)
class PublishedFigures:
    """
    What is published about a kind: low (5 % point), expected and high (95 % point) of each figure.

    ``laying``, ``hatch`` and ``clear`` are shares 0 to 1; ``nests`` are nests a laying female and
    season, ``eggs`` eggs a nest.
    """

    laying: tuple[float, float, float]
    nests: tuple[float, float, float]
    eggs: tuple[float, float, float]
    hatch: tuple[float, float, float] = (0.7, 0.8, 0.9)
    clear: tuple[float, float, float] = CLEAR_RANGE


@dataclass(frozen=True)
class LearntFigure:
    """
    One figure of one pond-kind, with what it was put together from.

    Parameters
    ----------
    value : float
        The middling season's figure (median), ``lower`` to ``upper`` at ``confidence``.
    own, kind, published : float or None
        What the pond's own seasons say (corrected for good and bad seasons), what all ponds of the kind
        say, and what is published; None where nothing was kept.
    own_share, kind_share, published_share : float
        How much of the value comes from each; they add up to 1.
    scale : str
        ``log``: the value is own ** own_share x kind ** kind_share x published ** published_share;
        ``logit``: the same for the odds, share / (1 - share).
    seasons : int
        Seasons of this pond in which the figure was kept.
    counted : float
        The same, older ones counting less.
    """

    words: str
    value: float
    lower: float
    upper: float
    confidence: float
    own: float | None
    own_share: float
    kind: float | None
    kind_share: float
    published: float
    published_share: float
    scale: str
    seasons: int
    counted: float

    @property
    def arithmetic(self) -> str:
        """The value as a product that can be worked out by hand."""
        parts = (
            (self.own, self.own_share),
            (self.kind, self.kind_share),
            (self.published, self.published_share),
        )
        odds = self.scale == "logit"
        shown = " × ".join(
            f"{_odds(figure) if odds else figure:.4g}^{share:.3f}"
            for figure, share in parts
            if figure is not None
        )
        return f"{'odds ' if odds else ''}{shown} = {_odds(self.value) if odds else self.value:.4g}"


@dataclass(frozen=True)
class FigureLearnt:
    """
    One figure learnt over the farm.

    Parameters
    ----------
    ponds : tuple of LearntFigure
        One a pond-kind.
    kinds : mapping of kind to (value, lower, upper)
        A middling pond of each kind.
    published_seasons : mapping of kind to float
        Seasons of one pond that the published range counts as much as.
    season_factors : mapping of int to float
        How good each season was for the whole farm: 1.1 is a tenth better (of the odds, for shares).
    pond_spread, season_spread, rest_spread : float
        Learnt standard deviation, on the scale, between ponds, seasons, and beyond both.
    hierarchy : Hierarchy
        For drawing coming seasons.
    family : Family
    """

    ponds: tuple[LearntFigure, ...]
    kinds: Mapping[Any, tuple[float, float, float]]
    published_seasons: Mapping[Any, float]
    season_factors: Mapping[int, float]
    pond_spread: float
    season_spread: float
    rest_spread: float
    hierarchy: Hierarchy
    family: Family


@dataclass(frozen=True)
class YieldsLearnt:
    """
    All four figures: nests a settled female, eggs a nest, hatch share and clear share.

    ``kinds`` are those given, one a pond-kind; ``season`` is the coming one; ``notes`` are sentences
    the reader must see.
    """

    kinds: tuple[Any, ...]
    season: int
    nests: FigureLearnt
    eggs: FigureLearnt
    hatch: FigureLearnt
    clear: FigureLearnt
    notes: tuple[str, ...]


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else np.inf


def learn_yields(
    book: SeasonBook,
    kinds: Sequence[Any],
    published: Mapping[Any, PublishedFigures],
    *,
    season: int,
    decay: float = DECAY,
    published_weight: float | None = None,
    spreads: Mapping[str, Spreads] = SPREADS,
    confidence: float = 0.9,
) -> YieldsLearnt:
    """
    Learn the yield figures of every pond-kind from the seasons before the one asked about.

    Each pond is drawn toward its kind and each kind toward its published range, by as much as is known
    of each (`learn_hierarchy`). Nests are counted over settled-equivalent females, whose doubt widens
    the limits; eggs over nests opened; hatched and clear eggs over eggs set. Good and bad seasons are
    the whole farm's, all kinds alike; what a pond does beyond that is learnt too. A clutch is taken to
    vary about as much as chance (variance = mean); eggs of one clutch that live or die together add to
    what is learnt as the rest. The four figures are learnt apart from each other.

    Parameters
    ----------
    book : SeasonBook
        One row a pond-kind and season; no rows on a farm that begins.
    kinds : sequence, length pond-kinds
        Kind of each.
    published : mapping of kind to PublishedFigures
        For each kind among ``kinds``.
    season : int
        The coming season.
    decay : float
        What a season counts against the one after it, above 0 to 1.
    published_weight : float, optional
        Seasons of one pond that the published ranges count as much as; by default their width decides,
        and ``published_seasons`` of each figure says what that comes to.
    spreads : mapping of str to Spreads
        For ``nests``, ``eggs``, ``hatch``, ``clear``.
    confidence : float
        Two-sided confidence level of the limits.

    Returns
    -------
    YieldsLearnt

    Raises
    ------
    ValueError
        If a figure is impossible, a pond has two rows for one season, or a row is of the coming season
        or later.
    """
    level = check_confidence(confidence)
    if check_number(decay, "decay", low=0, high=1) == 0:
        raise ValueError("decay: 0 would let only the last season count; give more than 0, up to 1.")
    if published_weight is not None and check_number(published_weight, "published_weight", low=0) == 0:
        raise ValueError("published_weight: give more than 0 seasons; 0.1 lets a farm's own figures rule.")
    columns, notes = check_book(book, len(kinds), season)
    names = tuple(dict.fromkeys(kinds))
    missing = [name for name in names if name not in published]
    if missing:
        raise ValueError(f"published: no figures were given for {', '.join(map(str, missing))}.")
    kind_of = np.array([names.index(kind) for kind in kinds], dtype=np.int64)
    years = np.unique(columns["season"]).astype(int)
    table = BookTable(len(kinds), years, columns, season, decay)
    learnt = {}
    for name, count, size in (
        ("nests", "nests", "females"),
        ("eggs", "eggs", "opened"),
        ("hatch", "hatched", "eggs_set"),
        ("clear", "clear", "eggs_set"),
    ):
        starts = [_on_scale(name, published[kind]) for kind in names]
        learnt[name] = _learn_one(
            name, table.kept(count, size), kind_of, names, np.array(starts).reshape(-1, 2), years,
            spreads[name], published_weight, level,
        )  # fmt: skip
    return YieldsLearnt(
        tuple(kinds), season, learnt["nests"], learnt["eggs"], learnt["hatch"], learnt["clear"], notes
    )


def _learn_one(
    name: str,
    kept: Kept,
    kind_of: NDArray[np.int64],
    names: tuple[Any, ...],
    starts: Floats,
    years: NDArray[np.int_],
    spreads: Spreads,
    published_weight: float | None,
    level: float,
) -> FigureLearnt:
    family = _FAMILIES[name]
    found = learn_hierarchy(
        kept, kind_of, starts[:, 0], starts[:, 1], family=family, spreads=spreads,
        published_weight=published_weight,
    )  # fmt: skip
    reach = float(special.ndtri((1 + level) / 2))
    back = family.inverse
    lower, upper = back(found.mean - reach * found.sd), back(found.mean + reach * found.sd)
    values, own, kind, published = back(found.mean), back(found.own), back(found.kind), back(found.published)
    seen = kept.sizes > 0
    counted = (np.where(seen, kept.weights, 0.0)).sum(axis=1)
    ponds = tuple(
        LearntFigure(
            words=_WORDS[name],
            value=float(values[pond]),
            lower=float(lower[pond]),
            upper=float(upper[pond]),
            confidence=level,
            own=float(own[pond]) if seen[pond].any() else None,
            own_share=float(found.own_share[pond]),
            kind=float(kind[pond]) if found.kind_share[pond] > 0 else None,
            kind_share=float(found.kind_share[pond]),
            published=float(published[pond]),
            published_share=float(found.published_share[pond]),
            scale=family.link,
            seasons=int(seen[pond].sum()),
            counted=float(counted[pond]),
        )
        for pond in range(len(kind_of))
    )
    kind_limits = [back(found.kind_mean + side * reach * found.kind_sd) for side in (0, -1, 1)]
    return FigureLearnt(
        ponds,
        {kind: (float(a), float(b), float(c)) for kind, a, b, c in zip(names, *kind_limits, strict=True)},
        dict(zip(names, found.published_seasons.tolist(), strict=True)),
        dict(zip(years.tolist(), np.exp(found.season_effects).tolist(), strict=True)),
        pond_spread=float(found.spreads[0]),
        season_spread=float(found.spreads[1]),
        rest_spread=float(found.spreads[2]),
        hierarchy=found,
        family=family,
    )


def _on_scale(name: str, figures: PublishedFigures) -> tuple[float, float]:
    """Return middle and standard deviation of a published range on its scale."""
    if name == "nests":
        rng = np.random.default_rng(0)
        laying = draw_ranges(
            check_ranges(figures.laying, 1, "laying", high=1.0), _PRODUCT_DRAWS, rng, high=1.0
        )
        per_laying = draw_ranges(check_ranges(figures.nests, 1, "nests"), _PRODUCT_DRAWS, rng)
        # Extremes are not multiplied: the range is that of the product.
        low, middle, high = np.quantile(laying * per_laying, [0.05, 0.5, 0.95]).tolist()
    else:
        most = np.inf if name == "eggs" else 1.0
        low, middle, high = check_ranges(getattr(figures, name), 1, name, high=most)[0].tolist()
    if _FAMILIES[name].link == "log":
        if middle <= 0:
            raise ValueError(
                f"{name}: a published middle of 0 leaves nothing to learn from; give more than 0."
            )
        ends = np.log([max(low, _LEAST_PART * middle), middle, high])
    else:
        ends = special.logit(np.clip([low, middle, high], _LEAST_SHARE, 1 - _LEAST_SHARE))
    return float(ends[1]), max(float(ends[2] - ends[0]) / (2 * Z_95), _LEAST_SD)
