"""Ponds and their states are written here and nowhere else, from a form or a sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from ponds import units
from ponds.kinds import HOW_TO_ADD_A_KIND, kept_apart
from ponds.models import Kind, Pond, PondState
from ponds.names import next_pond_code
from ponds.svg_marks import day_text

# Above this an area is a slip of the pen or of the unit.
LARGEST_AREA_CM2 = units.to_stored(1_000, "HECTARE")
DAYS_AHEAD = 366
LONGEST_QUARANTINE_DAYS = 3 * 366


@dataclass(frozen=True)
class PondDraft:
    """A pond to be written. `fields` holds model fields by name; None for `kinds` leaves those alone."""

    code: str
    fields: dict[str, Any] = field(default_factory=dict)
    kinds: tuple[str, ...] | None = None


def proposed_code() -> str:
    """Return the next free code; a retired pond's code counts as used for ever. One query."""
    return next_pond_code(list(Pond.objects.values_list("code", flat=True)))


def read_area(text: str, unit: str) -> units.Measure | None:
    """Read a typed area, None where nothing is typed; raises ValueError with a sentence."""
    if not text.strip():
        return None
    area = units.measure(text, unit)
    if not 0 < area.stored <= LARGEST_AREA_CM2:
        most = units.shown(LARGEST_AREA_CM2, unit)
        raise ValueError(
            f"{area.typed} {units.symbol(unit)} is not above 0 and at most {most}; look at the figure and its unit."
        )
    return area


def area_fields(which: str, area: units.Measure | None) -> dict[str, Any]:
    """Return the three fields of a pond's `water_area` or `bank_area`."""
    return {
        f"{which}_cm2": area.stored if area else None,
        f"{which}_typed": area.typed if area else "",
        f"{which}_unit": area.unit if area else "",
    }


@transaction.atomic
def open_pond(draft: PondDraft, *, by: Any = None) -> Pond:
    """Make a pond, in use from the day it opened; raises ValidationError with sentences by field."""
    if taken := Pond.objects.filter(code=draft.code).first():
        # A code is asked for once in a farm's life, also after the pond is retired.
        retired = f", retired on {day_text(taken.retired_on)}" if taken.retired_on else ""
        raise ValidationError(
            {
                "code": f"{draft.code} is the code of a pond already{retired}, and a code is never used again. "
                f"The next free one is {proposed_code()}."
            }
        )
    pond = Pond(code=draft.code, **draft.fields)
    pond.full_clean()
    pond.save()
    if draft.kinds:
        _set_kinds(pond, draft.kinds)
    PondState.objects.create(
        pond=pond, from_on=pond.opened_on, state=PondState.State.IN_USE, note="opened", by=by
    )
    return pond


@transaction.atomic
def change_pond(draft: PondDraft) -> str:
    """Change a pond's fields and kinds; returns "changed" or "same", raises ValidationError by field."""
    pond = Pond.objects.select_for_update().get(code=draft.code)
    if (opened_on := draft.fields.get("opened_on")) and opened_on > pond.opened_on:
        raise ValidationError(
            {
                "opened_on": f"Pond {pond.code} is booked as opened on {day_text(pond.opened_on)}. That day can be "
                "moved back, not forward: the book may hold moves and nests since then."
            }
        )
    changed = [name for name, value in draft.fields.items() if getattr(pond, name) != value]
    for name in changed:
        setattr(pond, name, draft.fields[name])
    if changed:
        pond.full_clean()
        pond.save()
    kinds_changed = draft.kinds is not None and _set_kinds(pond, draft.kinds)
    return "changed" if changed or kinds_changed else "same"


def _set_kinds(pond: Pond, codes: Iterable[str]) -> bool:
    wanted = set(codes)
    kinds = list(Kind.objects.filter(code__in=wanted))
    if missing := sorted(wanted - {kind.code for kind in kinds}):
        raise ValidationError(
            {"kinds_allowed": f"There is no kind {', '.join(missing)}. {HOW_TO_ADD_A_KIND}"}
        )
    for one, other in kept_apart(wanted):
        raise ValidationError(
            {
                "kinds_allowed": f"{one.common_name} and {other.common_name} are not kept together. Take one of "
                "them out here, or change that in the kind's settings."
            }
        )
    if set(pond.kinds_allowed.values_list("code", flat=True)) == wanted:
        return False
    pond.kinds_allowed.set(kinds)
    return True


@transaction.atomic
def add_state(
    *,
    pond: Pond,
    state: str,
    from_on: dt.date,
    ends_on: dt.date | None,
    note: str = "",
    by: Any = None,
    today: dt.date,
) -> PondState:
    """
    Add what a pond is used as from a day on.

    Parameters
    ----------
    pond : Pond
        Not retired.
    state : str
        A value of `PondState.State`.
    from_on : date
        First day of it; not before the pond opened, at most a year from `today`.
    ends_on : date or None
        For a quarantine the day it is due to end; None for the others.
    note : str
        Why.
    by : user, optional
        Who says so.
    today : date
        The farm's day.

    Returns
    -------
    PondState
        The new row. The same state said again for the same days returns the row that says it.

    Raises
    ------
    ValidationError
        With sentences by field.
    """
    pond = Pond.objects.select_for_update().get(pk=pond.pk)
    wrong = _state_faults(pond, state, from_on, ends_on, today)
    if wrong:
        raise ValidationError(wrong)
    latest = pond.states.filter(from_on=from_on).order_by("-id").first()
    if latest and (latest.state, latest.ends_on, latest.note) == (state, ends_on, note):
        return latest
    row = PondState(pond=pond, state=state, from_on=from_on, ends_on=ends_on, note=note, by=by)
    row.full_clean(exclude=["by"])
    row.save()
    return row


def _state_faults(
    pond: Pond, state: str, from_on: dt.date, ends_on: dt.date | None, today: dt.date
) -> dict[str, str]:
    wrong = {}
    if pond.retired_on:
        wrong["state"] = (
            f"Pond {pond.code} was retired on {day_text(pond.retired_on)}; its states are history."
        )
    if from_on < pond.opened_on:
        wrong["from_on"] = (
            f"Pond {pond.code} opened on {day_text(pond.opened_on)}; give that day or a later one."
        )
    elif from_on > today + dt.timedelta(days=DAYS_AHEAD):
        wrong["from_on"] = (
            f"{day_text(from_on)} is more than a year from today, {day_text(today)}; look at the year."
        )
    if state == PondState.State.QUARANTINE:
        if ends_on is None:
            wrong["ends_on"] = "Say on which day the quarantine is due to end; it can be changed later."
        elif ends_on <= from_on:
            wrong["ends_on"] = f"A quarantine from {day_text(from_on)} must be due to end after that day."
        elif ends_on > from_on + dt.timedelta(days=LONGEST_QUARANTINE_DAYS):
            wrong["ends_on"] = (
                f"{day_text(ends_on)} is more than three years from its start; look at the year."
            )
    elif ends_on is not None:
        wrong["ends_on"] = "Only a quarantine has a day it is due to end; leave this empty."
    return wrong


def state_on(pond: Pond, day: dt.date) -> PondState | None:
    """Return the state that holds on a day, None before the first: one query."""
    return pond.states.filter(from_on__lte=day).order_by("-from_on", "-id").first()
