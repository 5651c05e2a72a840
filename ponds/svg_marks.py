"""The marks that charts are made of, as SVG text: every word escaped, every look left to the stylesheet.

Lengths are in the units of the drawing, 400 to its width, whatever the screen.
"""

from __future__ import annotations

import datetime as dt
import math
import zlib
from collections.abc import Callable, Iterable, Sequence
from html import escape
from typing import TypeGuard

WIDTH = 400
LETTER = 7.2  # a little more than the mean width of a letter of the 13-unit text
BOLD_LETTER = 8.2
LONGEST_LABEL = 20
LEGEND_LINE = 20
LEGEND_GAP = 34
STYLES = 4  # line styles, markers and fills before they repeat
MARKERS = (
    "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0",
    "M-3-3h6v6h-6z",
    "M0-4.5L4 3H-4z",
    "M0-4.5L4.5 0L0 4.5L-4.5 0z",
)
NO_FIGURES = "No figures yet."
Point = tuple[float, float]


def drawing(
    name: str, description: str, size: tuple[float, float], body: Iterable[str], css: str = "chart"
) -> str:
    """Wrap marks in an `svg` element that reads aloud as one picture with a name and a description."""
    key = anchor(name + description)
    view = f"0 0 {size[0]:.0f} {size[1]:.0f}"
    return (
        f'<svg class="{css}" viewBox="{view}" role="img" aria-labelledby="{key}t {key}d">'
        f'<title id="{key}t">{escape(name)}</title><desc id="{key}d">{escape(description)}</desc>'
        f"{''.join(body)}</svg>"
    )


def blank(name: str) -> str:
    """Draw what stands where there is nothing to draw."""
    return drawing(name, NO_FIGURES, (WIDTH, 60), [text(WIDTH / 2, 36, NO_FIGURES, "tick mid")])


def anchor(text: str) -> str:
    """Return a short id that is the same for the same text."""
    return f"c{zlib.crc32(text.encode()):08x}"


def text(x: float, y: float, words: str, css: str) -> str:
    """Write words at a point; css "end" and "mid" say which part of them stands there."""
    return f'<text class="{css}" x="{x:.1f}" y="{y:.1f}">{escape(words)}</text>'


def rect(css: str, x: float, y: float, width: float, height: float, fill: str = "") -> str:
    """Draw a box; `fill` names a pattern of the same drawing."""
    paint = f' fill="url(#{fill})"' if fill else ""
    return f'<rect class="{css}" x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"{paint}/>'


def path(css: str, line: str) -> str:
    """Draw a line given in SVG path letters."""
    return f'<path class="{css}" d="{line}"/>'


def marker(nth: int, x: float, y: float) -> str:
    """Draw the marker of the nth series: disc, square, triangle, lozenge; then hollow, then dashed."""
    turn, style = divmod(nth, STYLES)
    place = f'd="{MARKERS[style]}" transform="translate({x:.1f} {y:.1f})"'
    return f'<path class="mark s{style} v{turn}" {place}/>'


def broken_line(placed: Sequence[Point | None]) -> str:
    """Return the path through points, lifted wherever one is missing.

    >>> broken_line([(0, 1), (2, 3), None, (4, 5)])
    'M0.0 1.0L2.0 3.0M4.0 5.0'
    """
    pieces, lifted = [], True
    for point in placed:
        if point is not None:
            pieces.append(f"{'M' if lifted else 'L'}{point[0]:.1f} {point[1]:.1f}")
        lifted = point is None
    return "".join(pieces)


def points(
    values: Sequence[float | None], across: Callable[[int], float], up: Callable[[float], float]
) -> list[Point | None]:
    """Place each figure by its number in the run and its height; None where there is nothing to place."""
    return [(across(nth), up(value)) if is_drawable(value) else None for nth, value in enumerate(values)]


def spread(wanted: Iterable[tuple[float, int]], apart: float, lowest: float) -> list[tuple[float, int]]:
    """Move heights apart so that labels do not overlap and none falls below `lowest` (down is greater)."""
    placed: list[tuple[float, int]] = []
    for height, nth in sorted(wanted):
        placed.append((max(height, placed[-1][0] + apart) if placed else height, nth))
    for at in range(len(placed) - 1, -1, -1):
        limit = lowest if at == len(placed) - 1 else placed[at + 1][0] - apart
        placed[at] = (min(placed[at][0], limit), placed[at][1])
    return placed


def figure_text(value: float | None, decimals: int | None = None) -> str:
    """Write a figure for a label or a table cell: thin spaces between thousands, a true minus sign.

    >>> [figure_text(number) for number in (46, -0.5, None, float("inf"))]
    ['46', '−0.50', 'none', 'no limit']
    >>> len(figure_text(10**400))
    534
    """
    if isinstance(value, int) and not decimals:  # of any size: what was typed may be no float
        return f"{value:,d}".replace(",", "\u202f").replace("-", "−")
    if value is None or math.isnan(value):
        return "none"
    if math.isinf(value):
        return "no limit"
    if decimals is None:
        decimals = 0 if float(value).is_integer() else 2
    written = f"{value:,.{decimals}f}".replace(",", "\u202f")
    return written.replace("-", "−") if float(f"{value:.{decimals}f}") else written.lstrip("-")


def day_text(day: dt.date) -> str:
    """Write a day so that no reader can swap day and month.

    >>> day_text(dt.date(2026, 3, 4))
    '4 Mar 2026'
    """
    return f"{day.day} {day:%b %Y}"


def ticks(low: float, high: float, wanted: int = 4) -> tuple[float, ...]:
    """Return round steps (1, 2 or 5 times a power of ten) that cover low to high.

    >>> ticks(0, 46)
    (0.0, 20.0, 40.0, 60.0)
    """
    high = high if high > low else low + 1
    rough = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * times for times in (1, 2, 5, 10) if power * times >= rough * 0.999)
    first, final = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return tuple(round(n * step, 10) for n in range(first, final + 1))


def legend_rows(names: Sequence[str]) -> list[list[int]]:
    """Break series into legend lines that fit the drawing's width."""
    lines: list[list[int]] = []
    room = 0.0
    for nth, name in enumerate(names):
        wide = LEGEND_GAP + LETTER * len(name)
        if not lines or wide > room:
            lines.append([])
            room = WIDTH
        lines[-1].append(nth)
        room -= wide
    return lines


def legend(names: Sequence[str], fills: Sequence[str]) -> list[str]:
    """Draw the names of the series, each beside a box of its fill."""
    marks = []
    for line, row in enumerate(legend_rows(names)):
        x, y = 2.0, line * LEGEND_LINE + 14
        for nth in row:
            marks += filled_box(nth, fills, x, y - 10, 12, 12)
            marks.append(text(x + 18, y, names[nth], "tick"))
            x += LEGEND_GAP + LETTER * len(names[nth])
    return marks


def short(words: str) -> str:
    """Cut a label that would leave the drawing no room; the table keeps it whole.

    >>> short("Pond 12, behind the old hatchery")
    'Pond 12, behind the…'
    """
    return words if len(words) <= LONGEST_LABEL else f"{words[: LONGEST_LABEL - 1].rstrip()}…"


def fill_patterns(name: str) -> tuple[str, tuple[str, ...]]:
    """Return the definitions of four fills (plain, slanted lines, empty, dots) and the ids to fill with."""
    key = anchor(name)
    size = 'width="6" height="6" patternUnits="userSpaceOnUse"'
    slanted = f'<pattern id="{key}h" {size}><path class="hatch" d="M-1 7L7-1"/></pattern>'
    dots = f'<pattern id="{key}p" {size}><circle class="dot" cx="3" cy="3" r="1.5"/></pattern>'
    return f"<defs>{slanted}{dots}</defs>", ("", f"{key}h", "", f"{key}p")


def filled_box(nth: int, fills: Sequence[str], x: float, y: float, width: float, height: float) -> list[str]:
    """Draw the box of the nth series, and its pattern over it where it has one."""
    fill = fills[nth % STYLES]
    over = [rect("pattern", x, y, width, height, fill)] if fill else []
    return [rect(f"bar s{nth % STYLES}", x, y, width, height), *over]


def finite(values: Iterable[float | None]) -> list[float]:
    """Return the figures that are known and have an end."""
    return [value for value in values if is_drawable(value)]


def is_drawable(value: float | None) -> TypeGuard[float]:
    """Say whether a figure is known and has an end; what has none is told in the table only."""
    return value is not None and math.isfinite(value)
