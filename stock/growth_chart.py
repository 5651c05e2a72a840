"""A turtle's lengths over the years as a small chart: time runs true, each measure is a dot. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from ponds import svg_marks as svg
from ponds.charts import Chart
from ponds.svg_marks import day_text, figure_text, ticks

TOP, BOTTOM, RIGHT = 12, 192, svg.WIDTH - 14


def growth_chart(name: str, points: Sequence[tuple[dt.date, int]], *, unit: str = "mm") -> Chart:
    """
    Draw lengths (or masses) by day.

    Parameters
    ----------
    name : str
        What was measured.
    points : sequence of (date, int)
        In the order of their days.
    unit : str
        Printed beside the figures.
    """
    rows = tuple((day_text(day), figure_text(value)) for day, value in points)
    columns = ("Day", f"{name}, {unit}")
    if not points:
        return Chart(name, svg.blank(name), "Not measured yet.", columns, rows)
    words = _sentence(points, unit)
    values = [value for _, value in points]
    steps = ticks(min(values) * 0.98, max(values) * 1.02)
    left = 10 + svg.LETTER * max(len(figure_text(step)) for step in steps)
    first, last = points[0][0], points[-1][0]
    days = max(1, (last - first).days)

    def across(day: dt.date) -> float:
        return left + 10 + (RIGHT - left - 20) * ((day - first).days / days if first != last else 0.5)

    def down(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - steps[0]) / ((steps[-1] - steps[0]) or 1)

    body = [svg.path("grid", f"M{left:.1f} {down(step):.1f}H{RIGHT}") for step in steps]
    body += [svg.text(left - 6, down(step) + 4.5, figure_text(step), "tick end") for step in steps]
    placed = [(across(day), down(value)) for day, value in points]
    body.append(svg.path("line s0", svg.broken_line(placed)))
    body += [svg.marker(0, *point) for point in placed]
    years = [year for year in range(first.year, last.year + 2) if first <= dt.date(year, 1, 1) <= last]
    every = max(1, len(years) // 6)
    body += [
        svg.text(across(dt.date(year, 1, 1)), BOTTOM + 20, str(year), "tick mid") for year in years[::every]
    ]
    if not years:
        body.append(svg.text((left + RIGHT) / 2, BOTTOM + 20, str(first.year), "tick mid"))
    return Chart(name, svg.drawing(name, words, (svg.WIDTH, BOTTOM + 28), body), words, columns, rows)


def _sentence(points: Sequence[tuple[dt.date, int]], unit: str) -> str:
    (first_on, first), (last_on, last) = points[0], points[-1]
    if len(points) == 1 or first_on == last_on:
        return f"{figure_text(last)} {unit} on {day_text(last_on)}."
    years = (last_on - first_on).days / 365.25
    change = last - first
    ends = f"{figure_text(last)} {unit} on {day_text(last_on)}"
    told = f"From {figure_text(first)} {unit} on {day_text(first_on)} to {ends}"
    if years < 0.5:
        return f"{told}."
    return f"{told}: {abs(change) / years:.1f} {unit} {'more' if change >= 0 else 'less'} a year."
