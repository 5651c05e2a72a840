"""Measures and figures in the farm's own units."""

from __future__ import annotations

from django import template

from ponds import figures, units
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
    """Say what was typed, where the page shows it in another unit; else nothing."""
    shown = figures.units_of(figure.name)
    words = dict(shown).get(figure.unit_typed, "")
    same = figure.unit_typed in (farm.temperature_unit, figures.PERCENT) or len(shown) == 1
    if same:
        return ""
    return f"typed {figure.low_typed}, {figure.expected_typed}, {figure.high_typed} ({words})"
