"""The charts of the ground floor, under the name the register's pages know them by."""

from ponds.charts import (
    MOST_LINES,
    Band,
    Chart,
    Interval,
    Series,
    bar_chart,
    figure_text,
    interval_strip,
    line_chart,
    sparkline,
    stacked_bar_chart,
    ticks,
)

__all__ = [
    "MOST_LINES",
    "Band",
    "Chart",
    "Interval",
    "Series",
    "bar_chart",
    "figure_text",
    "interval_strip",
    "line_chart",
    "sparkline",
    "stacked_bar_chart",
    "ticks",
]
