"""Small charts on a shared scale, as plain marks: drawn as SVG on a page and by the PDF from the same marks. Pure.

A row of small charts is read side by side, so the caller gives the top of the scale that all of them share. Each
carries its figures as words in the picture, in one sentence, and as a table. Lengths are in units of the drawing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ponds import svg_marks as svg
from ponds.svg_marks import figure_text
from stock.charts import Chart, Series

WIDTH, HEIGHT = 200.0, 92.0
LEAST_SHARE = 1 / 3  # half a female to a male: what lies below is drawn at the left end
Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A line through points; `css` names its look."""

    css: str
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Box:
    """A box by its upper left corner."""

    css: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Dot:
    """The marker of the nth series."""

    nth: int
    x: float
    y: float


@dataclass(frozen=True)
class Words:
    """A few words; "end" and "mid" in `css` say which part of them stands at the point, "strong" that they lead."""

    css: str
    x: float
    y: float
    text: str


Mark = Line | Box | Dot | Words


@dataclass(frozen=True)
class SmallChart:
    """Marks on a drawing of a size, with the same figures as a sentence and as rows."""

    name: str
    summary: str
    size: tuple[float, float]
    marks: tuple[Mark, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str | float | None, ...], ...]

    @property
    def rows_in_words(self) -> tuple[tuple[str, ...], ...]:
        """The rows as a page shows them; a workbook takes the figures as they are."""
        return tuple(
            tuple(cell if isinstance(cell, str) else figure_text(cell) for cell in row) for row in self.rows
        )

    @property
    def svg(self) -> str:
        """The drawing as SVG text, every word escaped."""
        return svg.drawing(
            self.name, self.summary, self.size, map(_svg_mark, self.marks), css="chart small-chart"
        )

    @property
    def as_chart(self) -> Chart:
        """The same as every other chart of the site is handed on."""
        return Chart(self.name, self.svg, self.summary, self.columns, self.rows_in_words)


def run_chart(
    name: str, title: str, labels: Sequence[str], series: Sequence[Series], *, top: float, unit: str = "heads"
) -> SmallChart:
    """
    Draw up to four runs over the same labels on a scale from 0 to `top`; the latest figure stands at each end.

    Parameters
    ----------
    name, title : str
        What is drawn, in full, and the few words that stand in the picture.
    labels, series : sequences
        As long as each other; None is a gap.
    top : float
        The upper end of the scale, the same in all charts that are read side by side.
    """
    left, right, high, low = 6.0, WIDTH - 68, 26.0, HEIGHT - 18
    top = max(top, 1.0)

    def across(at: int) -> float:
        return left + (right - left) * (at / (len(labels) - 1) if len(labels) > 1 else 0.5)

    def up(value: float) -> float:
        return low - (low - high) * min(value, top) / top

    marks: list[Mark] = [Words("name", 2, 12, title)]
    marks += [Line("grid", ((left, high), (right, high))), Line("axis", ((left, low), (right, low)))]
    ends: list[tuple[float, int]] = []
    for nth, one in enumerate(series):
        placed = svg.points(one.values, across, up)
        for run in _runs(placed):
            marks.append(Line(f"line s{nth % svg.STYLES}", run))
        if known := [point for point in placed if point]:
            marks.append(Dot(nth, *known[-1]))
            ends.append((known[-1][1], nth))
    for y, nth in svg.spread(ends, 13, low):
        value = next(value for value in reversed(series[nth].values) if value is not None)
        marks.append(Dot(nth, right + 9, y))
        marks.append(Words("tick", right + 16, y + 4, f"{figure_text(value)} {series[nth].name.lower()[:7]}"))
    if labels:
        marks.append(Words("tick", left, HEIGHT - 4, labels[0]))
        marks.append(Words("tick end", right, HEIGHT - 4, labels[-1]))
        marks.append(Words("tick end", right, high - 3, f"top {figure_text(round(top))}"))
    rows = tuple((label, *(one.values[at] for one in series)) for at, label in enumerate(labels))
    columns = ("When", *(f"{one.name}, {unit}" for one in series))
    return SmallChart(name, _latest(name, labels, series), (WIDTH, HEIGHT), tuple(marks), columns, rows)


def month_bars(
    name: str, title: str, labels: Sequence[str], values: Sequence[int], *, top: float, unit: str = "heads"
) -> SmallChart:
    """Draw one upright bar a month on a scale from 0 to `top`; each bar carries its figure."""
    left, right, high, low = 6.0, WIDTH - 6, 34.0, HEIGHT - 18
    marks: list[Mark] = [Words("name", 2, 12, title), Line("axis", ((left, low), (right, low)))]
    marks += _bars(values, (left, right, high, low), top, with_figures=True)
    if labels:
        marks.append(Words("tick", left, HEIGHT - 4, labels[0]))
        marks.append(Words("tick end", right, HEIGHT - 4, labels[-1]))
    rows = tuple((label, value) for label, value in zip(labels, values, strict=True))
    summary = (
        f"{name}: {figure_text(sum(values))} {unit} from {labels[0]} to {labels[-1]}." if labels else name
    )
    return SmallChart(name, summary, (WIDTH, HEIGHT), tuple(marks), ("Month", unit), rows)


@dataclass(frozen=True)
class RatioRow:
    """Females per male as one source has it: None where not known, `math.inf` where there are no males."""

    label: str
    value: float | None
    lower: float | None
    upper: float | None
    words: str


def ratio_chart(name: str, title: str, rows: Sequence[RatioRow], *, band: tuple[float, float]) -> SmallChart:
    """Draw ratios under each other against the band, by the share of females, so that every band stands alike."""
    left, right = 6.0, WIDTH - 6
    marks: list[Mark] = [Words("name", 2, 12, title)]
    for nth, row in enumerate(rows[:3]):
        y = 17 + nth * 25.0
        marks.append(Words("tick", left, y + 8, f"{row.label}: {row.words}"))
        marks += _ratio_marks(row.value, row.lower, row.upper, band, (left, right, y + 12, y + 21))
    told = tuple((row.label, row.words) for row in rows)
    summary = "; ".join(f"{row.label} {row.words}" for row in rows) or "No ratio is known"
    return SmallChart(
        name, f"{summary}. Band {band[0]:g} to {band[1]:g} to 1.", (WIDTH, HEIGHT), tuple(marks),
        ("By", "Females per male"), told,
    )  # fmt: skip


@dataclass(frozen=True)
class Panel:
    """
    What one panel of the farm's picture says of a pond and kind.

    Parameters
    ----------
    code, kind, verdict : str
        Its letter, the kind's name, and the word of the verdict.
    is_bad : bool
        Whether it stands among what does harm already: the panel then has a heavy edge.
    heads : tuple of (str, int)
        A letter and the heads of each class that stands there, on the same basis as the ratio.
    heads_by : str
        That basis in words: "probably", by the standing, or "by the book".
    ratio : RatioRow
    band : (float, float)
    deaths : tuple of int
        By month, the oldest first.
    run : tuple of int
        Heads of breeding size at month ends, the oldest first.
    counted : str
        The age of the count in words.
    """

    code: str
    kind: str
    verdict: str
    is_bad: bool
    heads: tuple[tuple[str, int], ...]
    heads_by: str
    ratio: RatioRow
    band: tuple[float, float]
    deaths: tuple[int, ...]
    run: tuple[int, ...]
    counted: str


PANEL = (170.0, 124.0)
LONGEST_KIND = 30


def panel_chart(panel: Panel, *, most_heads: float, most_deaths: float) -> SmallChart:
    """Draw a pond as one small panel; all panels of a farm share the scales given."""
    width, height = PANEL
    heads = "  ".join(f"{figure_text(count)} {letter}" for letter, count in panel.heads) or "empty"
    marks: list[Mark] = [
        Box("frame heavy" if panel.is_bad else "frame", 1, 1, width - 2, height - 2),
        Words("strong", 7, 17, panel.code),
        Words("tick end", width - 7, 15, panel.verdict),
        Words("tick", 7, 31, _shortened(panel.kind, LONGEST_KIND)),
        Words("tick", 7, 44, heads),
    ]
    marks.append(Line("axis", ((7, 63), (width - 7, 63))))
    ratio = panel.ratio
    marks += _ratio_marks(ratio.value, ratio.lower, ratio.upper, panel.band, (7, width - 7, 49, 63))
    marks.append(Words("tick", 7, 75, ratio.words))
    low, middle = 105.0, width / 2
    marks.append(Line("axis", ((7, low), (middle - 5, low))))
    marks += _bars(panel.deaths, (7, middle - 5, 82, low), most_deaths, with_figures=False)
    run = [
        (middle + 5 + (width - 12 - middle) * at / max(1, len(panel.run) - 1), low - 23 * min(value, most_heads)
         / max(most_heads, 1))
        for at, value in enumerate(panel.run)
    ]  # fmt: skip
    marks.append(Line("axis", ((middle + 5, low), (width - 7, low))))
    if len(run) > 1:
        marks += [Line("line s0", tuple(run)), Dot(0, *run[-1])]
    dead = sum(panel.deaths)
    marks.append(Words("tick", 7, 118, f"{figure_text(dead)} dead"))
    marks.append(Words("tick end", width - 7, 118, _short_age(panel.counted)))
    name = f"Pond {panel.code}, {panel.kind}"
    told = f"{heads} {panel.heads_by}" if panel.heads else heads
    words = (
        f"{panel.verdict}; {told}; {ratio.words}, {ratio.label.lower()}; {figure_text(dead)} recorded dead in "
        f"twelve months; {panel.counted}."
    )
    of_letter = dict(panel.heads)
    row = (
        panel.code, panel.kind, panel.verdict, *(of_letter.get(letter, "") for letter in "FMUJ"), panel.heads_by,
        ratio.words, dead, panel.counted,
    )  # fmt: skip
    return SmallChart(name, words, PANEL, tuple(marks), PANEL_COLUMNS, (row,))


PANEL_COLUMNS = (
    "Pond", "Kind", "How it stands", "Females", "Males", "Unsexed", "Juveniles", "Heads", "Ratio", "Dead, 12 months",
    "Counted",
)  # fmt: skip


def _bars(
    values: Sequence[int], edges: tuple[float, float, float, float], top: float, *, with_figures: bool
) -> list[Mark]:
    left, right, high, low = edges
    step = (right - left) / max(1, len(values))
    marks: list[Mark] = []
    for at, value in enumerate(values):
        if value <= 0:
            continue
        tall = (low - high) * min(value, top) / max(top, 1)
        x = left + at * step
        marks.append(Box("bar s0", x + 1, low - tall, step - 2, tall))
        if with_figures:
            marks.append(Words("tick mid", x + step / 2, low - tall - 3, figure_text(value)))
    return marks


def _ratio_marks(
    value: float | None,
    lower: float | None,
    upper: float | None,
    band: tuple[float, float],
    edges: tuple[float, float, float, float],
) -> list[Mark]:
    left, right, high, low = edges

    def across(females_per_male: float) -> float:
        share = 1.0 if math.isinf(females_per_male) else females_per_male / (1 + females_per_male)
        return left + (right - left) * max(0.0, share - LEAST_SHARE) / (1 - LEAST_SHARE)

    middle = (high + low) / 2
    marks: list[Mark] = [Box("band", across(band[0]), high, across(band[1]) - across(band[0]), low - high)]
    if lower is not None and upper is not None:
        start, stop = across(lower), across(upper)
        marks.append(Line("whisker", ((start, middle), (stop, middle))))
        marks += [Line("whisker", ((x, middle - 3), (x, middle + 3))) for x in (start, stop)]
    if value is not None:
        marks.append(Dot(0, across(value), middle))
    return marks


def _runs(placed: Sequence[Point | None]) -> list[tuple[Point, ...]]:
    """Part points where one is missing: no line is drawn across a gap."""
    runs: list[list[Point]] = [[]]
    for point in placed:
        if point is None:
            runs.append([])
        else:
            runs[-1].append(point)
    return [tuple(run) for run in runs if len(run) > 1]


def _latest(name: str, labels: Sequence[str], series: Sequence[Series]) -> str:
    said = [
        f"{one.name} {figure_text(known[0])} to {figure_text(known[-1])}"
        for one in series
        if (known := [value for value in one.values if value is not None])
    ]
    if not said or not labels:
        return f"{name}: no figures yet."
    return f"{name}, {labels[0]} to {labels[-1]}: {', '.join(said)}."


def _short_age(words: str) -> str:
    """Shorten an age of years and months, which would run into the dead beside it."""
    if "year" not in words or "month" not in words:
        return words
    return (
        words.replace(" years", " y").replace(" year", " y").replace(" months", " m").replace(" month", " m")
    )


def _shortened(words: str, room: int) -> str:
    if room < 3:
        return ""
    return words if len(words) <= room else f"{words[: room - 1].rstrip()}…"


def _svg_mark(mark: Mark) -> str:
    if isinstance(mark, Line):
        return svg.path(mark.css, svg.broken_line(mark.points))
    if isinstance(mark, Box):
        return svg.rect(mark.css, mark.x, mark.y, mark.width, mark.height)
    if isinstance(mark, Dot):
        return svg.marker(mark.nth, mark.x, mark.y)
    return svg.text(mark.x, mark.y, mark.text, mark.css)
