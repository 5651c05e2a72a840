"""Measures and figures in the farm's own units."""

from __future__ import annotations

from django import template

from ponds import figures, svg_marks, units
from ponds.models import Farm, KindFigure

register = template.Library()


@register.filter
def in_unit(stored: int | None, unit: str) -> str:
    """Write a stored measure in a unit, with the unit after it; "not known" where there is none.

    >>> in_unit(101_171_411, "ACRE"), in_unit(101_171_411, "HECTARE"), in_unit(None, "ACRE")
    ('2.5 acres', '1.01 ha', 'not known')
    """
    if stored is None:
        return "not known"
    return f"{units.shown(stored, unit)} {units.symbol(unit)}"


@register.simple_tag
def figure_text(figure: KindFigure, which: str, farm: Farm) -> str:
    """Write `low`, `expected` or `high` of a kind's figure in the farm's units."""
    return figures.show_figure(figure.name, getattr(figure, which), farm.temperature_unit)


@register.simple_tag
def typed_otherwise(figure: KindFigure, farm: Farm) -> str:
    """Say what was typed, where the page shows a temperature in another unit; else nothing."""
    if figure.name not in figures.TEMPERATURES or figure.unit_typed == farm.temperature_unit:
        return ""
    words = units.symbol(figure.unit_typed)
    return f"typed {figure.low_typed}, {figure.expected_typed}, {figure.high_typed} {words}"


@register.filter
def spaced(value: float | None) -> str:
    """Write a whole figure, thousands parted by a narrow space.

    >>> spaced(1234), spaced(None)
    ('1\u202f234', 'not known')
    """
    return "not known" if value is None else svg_marks.figure_text(value, 0)


@register.filter
def plain(value: float) -> str:
    """Write a figure with no more decimals than it has.

    >>> plain(3.0), plain(2.5), plain(0.25)
    ('3', '2.5', '0.25')
    """
    return f"{value:g}"
