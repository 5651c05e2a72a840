"""Small charts drawn into a PDF, from the same marks as their SVG. Black on white; nothing told by color alone."""

from __future__ import annotations

from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Polygon, PolyLine, Rect, String
from reportlab.lib import colors

from stock import small_charts
from stock.small_charts import SmallChart

_BAND = colors.HexColor("#dcdcdc")
_SOFT = colors.HexColor("#8a8a8a")
_FONT, _BOLD = "Helvetica", "Helvetica-Bold"
_DASHES: dict[str, list[float] | None] = {"s0": None, "s1": [4, 2], "s2": [1, 2], "s3": [6, 2, 1, 2]}


def drawing_of(chart: SmallChart, width: float) -> Drawing:
    """Return a chart as a drawing `width` points wide, its height in proportion."""
    wide, high = chart.size
    scale = width / wide
    # Marks count downward from the top, as SVG does; a PDF counts upward from the bottom.
    group = Group(transform=(scale, 0, 0, scale, 0, 0))
    for mark in chart.marks:
        group.add(_shape(mark, high))
    drawing = Drawing(width, high * scale)
    drawing.add(group)
    return drawing


def _shape(mark: small_charts.Mark, high: float) -> Line | Rect | Circle | Polygon | PolyLine | String:
    if isinstance(mark, small_charts.Line):
        points = [length for x, y in mark.points for length in (x, high - y)]
        style = next((style for style in _DASHES if style in mark.css.split()), "s0")
        return PolyLine(
            points,
            strokeColor=_SOFT if mark.css == "grid" else colors.black,
            strokeWidth={"grid": 0.5, "axis": 0.8, "whisker": 1.4}.get(mark.css, 1.5),
            strokeDashArray=_DASHES[style],
        )
    if isinstance(mark, small_charts.Box):
        look = mark.css.split()
        fill = {"band": _BAND, "bar": colors.black}.get(look[0])
        edge = colors.black if look[0] == "frame" else None
        return Rect(
            mark.x, high - mark.y - mark.height, mark.width, mark.height,
            fillColor=fill, strokeColor=edge, strokeWidth=2.2 if "heavy" in look else 0.6,
        )  # fmt: skip
    if isinstance(mark, small_charts.Dot):
        return _marker(mark.nth, mark.x, high - mark.y)
    look = mark.css.split()
    leads = "strong" in look or "name" in look
    return String(
        mark.x, high - mark.y, plain(mark.text),
        fontName=_BOLD if leads else _FONT,
        fontSize=14 if "strong" in look else 10.5,
        textAnchor="end" if "end" in look else "middle" if "mid" in look else "start",
    )  # fmt: skip


def _marker(nth: int, x: float, y: float) -> Circle | Rect | Polygon:
    fill = colors.black if nth < 4 else colors.white
    look = {"fillColor": fill, "strokeColor": colors.black, "strokeWidth": 0.8}
    if nth % 4 == 0:
        return Circle(x, y, 3, **look)
    if nth % 4 == 1:
        return Rect(x - 2.8, y - 2.8, 5.6, 5.6, **look)
    if nth % 4 == 2:
        return Polygon([x, y + 4, x + 3.8, y - 3, x - 3.8, y - 3], **look)
    return Polygon([x, y + 4, x + 4, y, x, y - 4, x - 4, y], **look)


def plain(words: str) -> str:
    """Return what the PDF's own fonts can write; what they cannot is a question mark."""
    for sign, written in (
        ("\u2212", "-"),
        ("\u202f", " "),
        ("\u2009", " "),
        ("\u2026", "..."),
        ("\u2019", "'"),
    ):
        words = words.replace(sign, written)
    return words.encode("cp1252", "replace").decode("cp1252")
