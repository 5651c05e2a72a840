"""A ratio's interval as a drawing the size of a word, for a table cell. Pure."""

from __future__ import annotations

import math

from stock import svg_marks as svg

WIDTH, HEIGHT, MIDDLE = 100, 24, 12.0
LEFT, RIGHT = 4.0, 96.0


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

    The scale is the share of females, from none (left) to no males (right): there an open upper limit has its
    place too, and every pond's band stands where the eye expects it.

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


def _across(females_per_male: float) -> float:
    share = 1.0 if math.isinf(females_per_male) else females_per_male / (1 + females_per_male)
    return LEFT + (RIGHT - LEFT) * share
