"""Signatures of reviews are written here and nowhere else."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from ponds.models import Pond
from ponds.svg_marks import day_text, figure_text
from stock.ledger_sql import last_closed_month
from stock.models import PondReview
from stock.pond_rows import ponds_of_days
from stock.refusals import Refused
from stock.timeline import next_month

LONGEST_WORDS = 2000


class NotSigned(Refused):
    """A signature that was not taken; `sentence` says why."""


def sign(
    pond: Pond,
    month: dt.date,
    *,
    words: str,
    key: uuid.UUID,
    by,
    today: dt.date,
    figures: Mapping[str, Mapping[str, Any]] | None = None,
) -> PondReview:
    """
    Sign a pond's month. The same key again gives the signature that stands.

    `figures` is the standing that is signed, as `review.signed_figures` gives it: what is logged later changes what
    the month reads as, and never what was signed.

    Raises
    ------
    NotSigned
        The month is not over or is closed, the pond was not open in it, or the words are too long.
    """
    words = words.strip()
    if len(words) > LONGEST_WORDS:
        raise NotSigned(
            f"What was decided has {figure_text(len(words))} characters; {figure_text(LONGEST_WORDS)} fit. Shorten it.",
            field="words",
        )
    opens = next_month(month)
    if today < opens:
        raise NotSigned(f"{month:%B %Y} is not over yet: it can be signed from {day_text(opens)} on.")
    if pond.opened_on >= opens:
        raise NotSigned(f"Pond {pond.code} was opened on {day_text(pond.opened_on)}, after {month:%B %Y}.")
    days = month, opens - dt.timedelta(days=1)
    if pond.retired_on and not ponds_of_days(*days).filter(pk=pond.pk).exists():
        raise NotSigned(
            f"Pond {pond.code} was retired on {day_text(pond.retired_on)}, before {month:%B %Y}, and nothing was "
            "booked for it then: there is nothing to sign."
        )
    with transaction.atomic():
        Pond.objects.select_for_update().get(pk=pond.pk)
        if standing := PondReview.objects.filter(key=key).first():
            return standing
        closed = last_closed_month()
        if closed is not None and month <= closed:
            raise NotSigned(
                f"{month:%B %Y} is closed: what is found later is decided in the review of an open month."
            )
        return PondReview.objects.create(
            key=key, pond=pond, month=month, words=words, by=by, by_name=by.get_username(), figures=figures
        )
