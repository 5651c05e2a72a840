"""Retiring a pond: it leaves use for good; its code and history stay."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.db import transaction

from ponds.models import Pond
from ponds.refusals import Refused
from ponds.svg_marks import day_text

# What else may speak against it: each is called with the pond and the day and returns a sentence for every
# reason. The register of heads appends its own.
checks: list[Callable[[Pond, dt.date], list[str]]] = []


class RetiringRefused(Refused):
    """The pond cannot be retired; the sentence holds all `reasons`, each a sentence of its own."""

    def __init__(self, reasons: list[str]) -> None:
        self.reasons = reasons
        super().__init__(" ".join(reasons))


@transaction.atomic
def retire(*, pond: Pond, on: dt.date, today: dt.date) -> Pond:
    """
    Retire a pond.

    Parameters
    ----------
    pond : Pond
        Which.
    on : date
        Its last day in use.
    today : date
        The farm's day; `on` is not after it.

    Returns
    -------
    Pond
        The pond as it stands then.

    Raises
    ------
    RetiringRefused
        With every reason, each a sentence.
    """
    pond = Pond.objects.select_for_update().get(pk=pond.pk)
    if pond.retired_on:
        raise RetiringRefused([f"Pond {pond.code} was retired on {day_text(pond.retired_on)} already."])
    reasons = []
    if on > today:
        reasons.append(f"{day_text(on)} is still to come; today is {day_text(today)}.")
    if on < pond.opened_on:
        reasons.append(
            f"Pond {pond.code} opened on {day_text(pond.opened_on)}; it cannot be retired before that."
        )
    later = pond.nest_days.standing().filter(dug_on__gt=on).order_by("-dug_on").first()
    if later:
        reasons.append(
            f"The nest book of pond {pond.code} has nests on {day_text(later.dug_on)}; retire it on that day or later."
        )
    for check in checks:
        reasons += check(pond, on)
    if reasons:
        raise RetiringRefused(reasons)
    pond.retired_on = on
    pond.save(update_fields=["retired_on"])
    return pond
