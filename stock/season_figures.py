"""How each learnt figure of a pond comes about, in plain words and in arithmetic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stock.advisor.season_learning import FigureLearnt, LearntFigure
from stock.season_now import PondSeason
from stock.yield_book import YieldBook

NAMES = ("nests", "eggs", "hatch", "clear")
SHARES = ("hatch", "clear")


@dataclass(frozen=True)
class Part:
    """One source of a figure: whose it is, what it says alone, how much of the figure it makes."""

    words: str
    figure: str
    share: float


@dataclass(frozen=True)
class FigureCard:
    """One figure opened: value, limits, parts, and the product by hand."""

    words: str
    value: str
    lower: str
    upper: str
    parts: tuple[Part, ...]
    arithmetic: str
    is_odds: bool
    seasons: int
    counted: float
    published_seasons: float
    seasons_words: str


def cards_of(book: YieldBook, place: int) -> list[FigureCard]:
    """Return nests a settled female, eggs a nest, hatch share and clear share of one place."""
    learnt = book.learnt
    if learnt is None:
        return []
    kind_id = book.places[place][1]
    return [_card(name, getattr(learnt, name), place, kind_id) for name in NAMES]


def kind_rows(book: YieldBook, kind_id: int) -> list[tuple[str, str, str, str, str]]:
    """Return each figure of a middling pond of a kind: words, value, limits, what the published range counts."""
    learnt = book.learnt
    if learnt is None:
        return []
    rows = []
    for name in NAMES:
        figure: FigureLearnt = getattr(learnt, name)
        value, lower, upper = (shown(name, part) for part in figure.kinds[kind_id])
        weight = figure.published_seasons[kind_id]
        rows.append((figure.ponds[0].words, value, lower, upper, f"{weight:.1f}"))
    return rows


def shown(name: str, value: float) -> str:
    """Return a figure as it is read: shares in percent."""
    return f"{100 * value:.1f} %" if name in SHARES else f"{value:.2f}"


def _card(name: str, figure: FigureLearnt, place: int, kind_id: int) -> FigureCard:
    one: LearntFigure = figure.ponds[place]
    parts = [
        Part(
            "this pond's own seasons",
            shown(name, one.own) if one.own is not None else "none kept",
            one.own_share,
        ),
        Part(
            "all ponds of the kind here",
            shown(name, one.kind) if one.kind is not None else "none kept",
            one.kind_share,
        ),
        Part("published", shown(name, one.published), one.published_share),
    ]
    return FigureCard(
        one.words, shown(name, one.value), shown(name, one.lower), shown(name, one.upper), tuple(parts),
        one.arithmetic, one.scale == "logit", one.seasons, one.counted, figure.published_seasons[kind_id],
        _seasons_words(figure),
    )  # fmt: skip


def _seasons_words(figure: FigureLearnt) -> str:
    """Say which seasons were good and which bad, for the whole farm."""
    told = [f"{year}: {factor:.2f}" for year, factor in sorted(figure.season_factors.items())]
    return ", ".join(told)


def product_words(one: PondSeason, cards: Sequence[FigureCard], fertility: float) -> str:
    """Write the season before its first nest as a product that can be worked out by hand."""
    nests, eggs, hatch = (card.value for card in cards[:3])
    return (
        f"{one.females:.1f} settled females × {nests} nests × {eggs} eggs × {hatch} hatch × {100 * fertility:.0f} % of "
        "full fertility. The forecast draws each figure from its own doubt instead, so its mean may differ."
    )
