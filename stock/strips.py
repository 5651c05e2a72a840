"""A ratio's interval as a drawing the size of a word, for a table cell. Pure."""

from __future__ import annotations

import math

from ponds import svg_marks as svg

WIDTH, HEIGHT, MIDDLE = 100, 24, 12.0
LEFT, RIGHT = 4.0, 96.0
LEAST_SHARE = 1 / 3  # half a female to a male: what lies below is drawn at the left end


def ratio_strip(
    name: str,
    words: str,
    value: float | None,
    lower: float | None,
    upper: float | None,
    *,
    band: tuple[float, float],
) -> str:
    """
    Draw females per male with its limits against the shaded band, as SVG text.

    The scale is the share of females, from half a female to a male or fewer (left) to no males (right): there
    an open upper limit has its place too, and every pond's band stands where the eye expects it.

    Parameters
    ----------
    name, words : str
        What is drawn, and the same in words for who cannot see it.
    value, lower, upper : float or None
        Females per male; `math.inf` where there are no males. Nothing known draws the band alone.
    band : (float, float)
        Females per male that need no remedy.
    """
    body = [svg.rect("band", _across(band[0]), 2, _across(band[1]) - _across(band[0]), HEIGHT - 4)]
    body.append(svg.path("axis", f"M{LEFT} {HEIGHT - 2}H{RIGHT}"))
    if lower is not None and upper is not None:
        start, stop = _across(lower), _across(upper)
        ends = "".join(f"M{x:.1f} {MIDDLE - 4}v8" for x in (start, stop))
        body.append(svg.path("whisker", f"M{start:.1f} {MIDDLE}H{stop:.1f}{ends}"))
    if value is not None:
        body.append(svg.marker(0, _across(value), MIDDLE))
    return svg.drawing(name, words, (WIDTH, HEIGHT), body, "chart spark")


def limit_bar(name: str, words: str, use: float, limit: float) -> str:
    """Draw heads against a pond's head limit: the bar is what stands, the dashed line the limit."""
    scale = (svg.WIDTH - 8) / max(use, limit, 1)
    body = [
        svg.rect("band", 4, 4, limit * scale, 14),
        svg.rect("bar s0", 4, 7, use * scale, 8),
        svg.path("target", f"M{4 + limit * scale:.1f} 0V22"),
    ]
    return svg.drawing(name, words, (svg.WIDTH, 22), body)


def _across(females_per_male: float) -> float:
    share = 1.0 if math.isinf(females_per_male) else females_per_male / (1 + females_per_male)
    return LEFT + (RIGHT - LEFT) * max(0.0, share - LEAST_SHARE) / (1 - LEAST_SHARE)
