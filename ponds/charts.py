"""Small charts as SVG text, made on the server: line, bars, stacked bars, sparkline, interval strip.

Pure Python. Nothing is colored here: each mark carries a class and the stylesheet draws it, so dark theme,
high contrast and print follow. Each chart carries its figures as text too, because the table is the truth and
the picture its illustration. A missing figure is a gap; no line is drawn across it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ponds import svg_marks as svg
from ponds.svg_marks import NO_FIGURES, figure_text, ticks

MOST_LINES = 12
MOST_SENTENCES = 4
BAR_STEP, BAR_HEIGHT = 26, 20
STRIP_STEP = 28
Band = tuple[float, float]


@dataclass(frozen=True)
class Series:
    """One named run of figures, as long as the chart's labels; None where there is none."""

    name: str
    values: tuple[float | None, ...]


@dataclass(frozen=True)
class Interval:
    """One row of an interval strip: a figure and its limits; None where not known, `math.inf` where open."""

    label: str
    value: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Chart:
    """A drawn chart: name, SVG text with every word escaped, one sentence, and the same figures as text."""

    name: str
    svg: str
    summary: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def line_chart(
    name: str,
    labels: Sequence[str],
    series: Sequence[Series],
    *,
    unit: str = "",
    band: Band | None = None,
    summary: str | None = None,
) -> Chart:
    """Draw up to a dozen lines over the same labels; `band` shades the range of wanted figures."""
    _check(labels, series)
    if len(series) > MOST_LINES:
        raise ValueError(f"A chart holds {MOST_LINES} lines, not {len(series)}; draw several charts.")
    known = svg.finite(value for one in series for value in one.values)
    places = [_decimals(one.values) for one in series]
    rows = tuple(
        (label, *(figure_text(one.values[at], few) for one, few in zip(series, places, strict=True)))
        for at, label in enumerate(labels)
    )
    words = summary or _changes(series, labels, unit)
    columns = ("When", *(_with_unit(one.name, unit) for one in series))
    if not known:
        return Chart(name, svg.blank(name), words, columns, rows)
    names = [svg.short(one.name) for one in series]
    steps = ticks(min(0, *known), max(0, *known, *(band or ())))
    left = 10 + svg.LETTER * max(len(figure_text(step)) for step in steps)
    right = svg.WIDTH - 22 - svg.BOLD_LETTER * max(map(len, names))
    top, bottom = 12, 192

    def at_label(at: int) -> float:
        return left + 8 + (right - left - 16) * (at / (len(labels) - 1) if len(labels) > 1 else 0.5)

    def at_value(value: float) -> float:
        return bottom - (bottom - top) * (value - steps[0]) / (steps[-1] - steps[0])

    body = []
    if band:
        height = at_value(band[0]) - at_value(band[1])
        body.append(svg.rect("band", left, at_value(band[1]), right - left, height))
    for step in steps:
        body.append(svg.path("grid" if step else "axis", f"M{left:.1f} {at_value(step):.1f}H{right:.1f}"))
        body.append(svg.text(left - 6, at_value(step) + 4.5, figure_text(step), "tick end"))
    every = math.ceil(len(labels) * (max(map(len, labels)) * svg.LETTER + 12) / (right - left))
    shown = range(len(labels) - 1, -1, -every)
    body += [svg.text(at_label(at), bottom + 20, labels[at], "tick mid") for at in shown]
    ends = []
    for nth, one in enumerate(series):
        points = svg.points(one.values, at_label, at_value)
        body.append(svg.path(f"line s{nth % svg.STYLES}", svg.broken_line(points)))
        body.extend(svg.marker(nth, *point) for point in points if point)
        ends += [(point[1], nth) for point in points if point][-1:]
    for y, nth in svg.spread(ends, 16, bottom):
        body += [svg.marker(nth, right + 9, y), svg.text(right + 18, y + 4.5, names[nth], "name")]
    return Chart(name, svg.drawing(name, words, (svg.WIDTH, bottom + 28), body), words, columns, rows)


def bar_chart(
    name: str,
    labels: Sequence[str],
    values: Sequence[float | None],
    *,
    unit: str = "",
    summary: str | None = None,
) -> Chart:
    """Draw one level bar a label, with its figure at its end; a missing figure says "none" and has no bar."""
    _check(labels, [Series(name, tuple(values))])
    places = _decimals(values)
    rows = tuple((label, figure_text(value, places)) for label, value in zip(labels, values, strict=True))
    known = {label: value for label, value in zip(labels, values, strict=True) if svg.is_drawable(value)}
    words, columns = summary or _most_and_least(known, unit), ("Which", unit or name)
    if not known:
        return Chart(name, svg.blank(name), words, columns, rows)
    left, room = _margins(labels, rows)
    low, high = min(0, *svg.finite(values)), max(0, *svg.finite(values))
    room_below = room if low < 0 else 0
    scale = (svg.WIDTH - left - room_below - room) / ((high - low) or 1)
    zero = left + room_below - low * scale
    body = [svg.path("axis", f"M{zero:.1f} 0V{len(labels) * BAR_STEP + 4}")]
    for nth, (label, value) in enumerate(zip(labels, values, strict=True)):
        y, length = nth * BAR_STEP + 5, math.fsum(svg.finite([value])) * scale
        body.append(svg.text(left - 6, y + 15, svg.short(label), "tick end"))
        if length:
            body.append(svg.rect("bar s0", zero + min(0, length), y, abs(length), BAR_HEIGHT))
        end, css = (zero + length - 6, "tick end") if length < 0 else (zero + length + 6, "tick")
        body.append(svg.text(end, y + 15, rows[nth][1], css))
    drawn = svg.drawing(name, words, (svg.WIDTH, len(labels) * BAR_STEP + 8), body)
    return Chart(name, drawn, words, columns, rows)


def stacked_bar_chart(
    name: str,
    labels: Sequence[str],
    series: Sequence[Series],
    *,
    unit: str = "",
    summary: str | None = None,
) -> Chart:
    """Draw one level bar a label, parted by series; parts differ by pattern as well as by color."""
    _check(labels, series)
    known = svg.finite(value for one in series for value in one.values)
    if known and min(known) < 0:
        raise ValueError("Parts of a whole cannot be below zero; draw a line chart of them instead.")
    totals = [math.fsum(svg.finite(one.values[at] for one in series)) for at in range(len(labels))]
    places = _decimals(known)
    rows = tuple(
        (label, *(figure_text(one.values[at], places) for one in series), figure_text(totals[at], places))
        for at, label in enumerate(labels)
    )
    parts = ", ".join(f"{one.name} {figure_text(math.fsum(svg.finite(one.values)))}" for one in series)
    together = f"All together {_with_unit(figure_text(math.fsum(totals)), unit, ' ')}: {parts}."
    words = summary or (together if known else NO_FIGURES)
    columns = ("Which", *(_with_unit(one.name, unit) for one in series), "All")
    if not known:
        return Chart(name, svg.blank(name), words, columns, rows)
    names = [svg.short(one.name) for one in series]
    (left, room), (defined, fills) = _margins(labels, rows), svg.fill_patterns(name + words)
    top = svg.LEGEND_LINE * len(svg.legend_rows(names)) + 8
    scale = (svg.WIDTH - left - room) / (max(totals) or 1)
    body = [defined, *svg.legend(names, fills)]
    for at, label in enumerate(labels):
        y, x = top + at * BAR_STEP, left
        body.append(svg.text(left - 6, y + 15, svg.short(label), "tick end"))
        for nth, one in enumerate(series):
            length = math.fsum(svg.finite([one.values[at]])) * scale
            body += svg.filled_box(nth, fills, x, y, length, BAR_HEIGHT) if length else []
            x += length
        body.append(svg.text(x + 6, y + 15, rows[at][-1], "tick"))
    size = (svg.WIDTH, top + len(labels) * BAR_STEP)
    return Chart(name, svg.drawing(name, words, size, body), words, columns, rows)


def sparkline(name: str, labels: Sequence[str], values: Sequence[float | None], *, unit: str = "") -> Chart:
    """Draw a word-sized line for a table cell, its latest figure marked; a gap stays a gap."""
    only = Series(name, tuple(values))
    _check(labels, [only])
    known = svg.finite(values) or [0]
    # Drawn on the figures' own range, but never on less than a fifth of the greatest: small is to look small.
    low = min(*known, max(known) - 0.2 * max(map(abs, known)))
    words = _change(only, labels, unit)
    places = _decimals(values)
    rows = tuple((label, figure_text(value, places)) for label, value in zip(labels, values, strict=True))
    step, up = 92 / max(1, len(values) - 1), 16 / ((max(known) - low) or 1)
    points = svg.points(values, lambda n: 4 + n * step, lambda v: 20 - (v - low) * up)
    body = [svg.path("line s0", svg.broken_line(points))]
    body += [svg.marker(0, *point) for point in points if point][-1:]
    drawn = svg.drawing(name, words, (100, 24), body, "spark")
    return Chart(name, drawn, words, ("When", _with_unit(name, unit)), rows)


def interval_strip(
    name: str,
    rows: Sequence[Interval],
    *,
    band: Band | None = None,
    target: float | None = None,
    unit: str = "",
    summary: str | None = None,
) -> Chart:
    """Draw each figure as a dot with a whisker to its limits, against a shaded band and a target line.

    An open upper limit ends in an arrow at the edge; a row with neither figure nor limits says "not known".
    """
    places = _decimals(figure for row in rows for figure in (row.value, row.lower, row.upper))
    told = tuple(
        (row.label, *(figure_text(figure, places) for figure in (row.value, row.lower, row.upper)))
        for row in rows
    )
    words = summary or _band_sentence(rows, band)
    columns = ("Which", unit or name, "At least", "At most")
    if not rows:
        return Chart(name, svg.blank(name), words, columns, told)
    seen = svg.finite(v for row in rows for v in (row.value, row.lower, row.upper))
    steps = ticks(min(0, *seen, 0), max(0, *seen, *(band or ()), target or 0))
    left, right = 12 + svg.LETTER * max(len(svg.short(row.label)) for row in rows), svg.WIDTH - 16.0
    bottom = 6 + len(rows) * STRIP_STEP

    def across(value: float) -> float:
        return left + (right - left) * (min(max(value, steps[0]), steps[-1]) - steps[0]) / (
            steps[-1] - steps[0]
        )

    body = (
        [svg.rect("band", across(band[0]), 2, across(band[1]) - across(band[0]), bottom - 2)] if band else []
    )
    if target is not None:
        body.append(svg.path("target", f"M{across(target):.1f} 2V{bottom}"))
    body.append(svg.path("axis", f"M{left:.1f} {bottom}H{right:.1f}"))
    body += [svg.text(across(step), bottom + 18, figure_text(step), "tick mid") for step in steps]
    for nth, row in enumerate(rows):
        y = 6 + STRIP_STEP * (nth + 0.5)
        body.append(svg.text(left - 10, y + 4.5, svg.short(row.label), "tick end"))
        if not svg.finite((row.value, row.lower, row.upper)):
            body.append(svg.text(left + 8, y + 4.5, "not known", "tick"))
            continue
        upper = math.inf if row.upper is None else row.upper
        start, stop = across(row.lower if row.lower is not None else steps[0]), across(upper)
        tip = f"M{stop - 7:.1f} {y - 5}l7 5l-7 5" if math.isinf(upper) else f"M{stop:.1f} {y - 5}v10"
        body.append(svg.path("whisker", f"M{start:.1f} {y}H{stop:.1f}M{start:.1f} {y - 5}v10{tip}"))
        body += [svg.marker(0, across(value), y) for value in svg.finite([row.value])]
    return Chart(name, svg.drawing(name, words, (svg.WIDTH, bottom + 26), body), words, columns, told)


def _check(labels: Sequence[str], series: Sequence[Series]) -> None:
    for one in series:
        if len(one.values) != len(labels):
            raise ValueError(f"{one.name} has {len(one.values)} figures for {len(labels)} labels.")


def _decimals(values: Iterable[float | None]) -> int:
    """Return how many decimals every figure of a column is written with: as few as all need, two at most."""
    known = svg.finite(values)
    return next(
        (places for places in (0, 1) if all(abs(value - round(value, places)) < 1e-9 for value in known)), 2
    )


def _with_unit(words: str, unit: str, between: str = ", ") -> str:
    return f"{words}{between}{unit}" if unit else words


def _margins(labels: Sequence[str], rows: Sequence[tuple[str, ...]]) -> tuple[float, float]:
    return 8 + svg.LETTER * max(len(svg.short(label)) for label in labels), 12 + svg.LETTER * max(
        len(row[-1]) for row in rows
    )


def _change(one: Series, labels: Sequence[str], unit: str) -> str:
    known = [(label, value) for label, value in zip(labels, one.values, strict=True) if value is not None]
    if not known:
        return f"{one.name}: no figures yet."
    label, now = known[-1]
    sentence = f"{one.name}: {_with_unit(figure_text(now), unit, ' ')} in {label}"
    for before, was in known[-2:-1] if svg.is_drawable(now) else ():
        apart = figure_text(abs(now - was))
        # What differs only beyond the decimals shown reads as the same.
        more = "the same as" if not apart.strip("0.") else f"{apart} {'more' if now > was else 'fewer'} than"
        sentence += f", {more} in {before}"
    return sentence + "."


def _changes(series: Sequence[Series], labels: Sequence[str], unit: str) -> str:
    if len(series) <= MOST_SENTENCES:
        return " ".join(_change(one, labels, unit) for one in series) or NO_FIGURES
    latest = {one.name: known[-1] for one in series if (known := svg.finite(one.values))}
    return f"Latest figures. {_most_and_least(latest, unit)}" if latest else NO_FIGURES


def _most_and_least(known: dict[str, float], unit: str) -> str:
    if not known:
        return NO_FIGURES
    most, least = max(known, key=known.__getitem__), min(known, key=known.__getitem__)
    told = [_with_unit(figure_text(known[label]), unit, " ") for label in (most, least)]
    if most == least:
        return f"{most if len(known) == 1 else 'Each'}: {told[0]}."
    return f"Most: {most}, {told[0]}; least: {least}, {told[1]}."


def _band_sentence(rows: Sequence[Interval], band: Band | None) -> str:
    known = [row.value for row in rows if row.value is not None]
    if not rows:
        return NO_FIGURES
    if band is None:
        return f"{len(known)} of {len(rows)} are known."
    inside = sum(band[0] <= value <= band[1] for value in known)
    return f"{inside} of {len(rows)} lie in the band, {figure_text(band[0])} to {figure_text(band[1])}."
