"""Kinds are written here and nowhere else, from a form, a sheet or what is shipped."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from ponds import figures
from ponds.models import Kind, KindFigure
from ponds.names import name_key

FIGURE_COLUMNS = {
    "laying share": KindFigure.Name.LAYING_SHARE,
    "nests": KindFigure.Name.NESTS,
    "eggs": KindFigure.Name.EGGS,
    "hatch share": KindFigure.Name.HATCH_SHARE,
    "incubation temperature": KindFigure.Name.INCUBATION_TEMPERATURE,
    "incubation days": KindFigure.Name.INCUBATION_DAYS,
    "survival": KindFigure.Name.SURVIVAL,
}
HOW_TO_ADD_A_KIND = (
    "Look at its code, or add it first: the usual kinds under Settings, Kinds, “Add the shipped kinds”, or by the "
    "command manage.py load_sheet kinds ponds/data/kinds.csv."
)


@dataclass(frozen=True)
class TypedFigure:
    """One figure as typed: low, expected, high, unit code, source."""

    low: str
    expected: str
    high: str
    unit: str
    source: str


@dataclass(frozen=True)
class KindDraft:
    """A kind to be written. `fields` holds model fields by name; None for `not_with` leaves those alone."""

    code: str
    fields: dict[str, Any]
    figures: dict[str, TypedFigure] = field(default_factory=dict)
    not_with: tuple[str, ...] | None = None


@transaction.atomic
def write_kind(draft: KindDraft) -> str:
    """
    Make a kind or change one, with its figures.

    Parameters
    ----------
    draft : KindDraft
        The code says which; every field it names is set.

    Returns
    -------
    str
        "new", "changed" or "same".

    Raises
    ------
    ValidationError
        With sentences by field, if the kind or one of its figures cannot be so.
    """
    kind = Kind.objects.select_for_update().filter(code=draft.code).first()
    is_new = kind is None
    kind = kind or Kind(code=draft.code)
    is_changed = _set(kind, draft.fields)
    if is_new or is_changed:
        kind.full_clean()
        _refuse_taken_name(kind)
        kind.save()
    for name, typed in draft.figures.items():
        is_changed |= _write_figure(kind, name, typed)
    if draft.not_with is not None:
        is_changed |= _write_not_with(kind, draft.not_with)
    return "new" if is_new else "changed" if is_changed else "same"


def _set(row: Any, values: dict[str, Any]) -> bool:
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    return bool(changed)


def _refuse_taken_name(kind: Kind) -> None:
    taken = Kind.objects.filter(name_key=name_key(kind.common_name)).exclude(pk=kind.pk).first()
    if taken:
        raise ValidationError(
            {"common_name": f"{taken.common_name} is the name of the kind {taken.code} already."}
        )


def _write_figure(kind: Kind, name: str, typed: TypedFigure) -> bool:
    found = figures.read_range(name, typed.low, typed.expected, typed.high, typed.unit)
    row = kind.figures.filter(name=name).first() or KindFigure(kind=kind, name=name)
    values = {
        "low": found.low,
        "expected": found.expected,
        "high": found.high,
        "low_typed": typed.low.strip(),
        "expected_typed": typed.expected.strip(),
        "high_typed": typed.high.strip(),
        "unit_typed": typed.unit,
        "source": typed.source,
    }
    if not _set(row, values):
        return False
    # `read_range` has seen to what the constraints ask for, each of which would cost a query here.
    row.full_clean(exclude=["kind"], validate_unique=False, validate_constraints=False)
    row.save()
    return True


def _write_not_with(kind: Kind, codes: tuple[str, ...]) -> bool:
    wanted = set(codes) - {kind.code}
    others = {other.code: other for other in Kind.objects.filter(code__in=wanted)}
    if missing := sorted(wanted - set(others)):
        raise ValidationError({"not_with": f"There is no kind {', '.join(missing)}."})
    held = set(kind.not_with.values_list("code", flat=True))
    if held == wanted:
        return False
    kind.not_with.set(others.values())
    return True


def kept_apart(codes: Iterable[str]) -> list[tuple[Kind, Kind]]:
    """Return the pairs of these kinds that are not kept together: one query."""
    wanted = list(codes)
    pairs = (
        Kind.not_with.through.objects.filter(from_kind__code__in=wanted, to_kind__code__in=wanted)
        .select_related("from_kind", "to_kind")
        .order_by("from_kind__code", "to_kind__code")
    )
    return [(pair.from_kind, pair.to_kind) for pair in pairs if pair.from_kind.code < pair.to_kind.code]
