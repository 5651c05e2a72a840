"""Hauls and surveys for page tests: on the small farm of `tests/pages/bank.py`, through the ledger only."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping

from ponds.models import Pond
from stock import ledger, survey_book
from stock.drafts import CatchLine, Draft, HaulDraft, Line
from stock.models import Haul, Survey
from stock.survey_book import SurveyDraft
from tests.pages.bank import today


def ago(days: int) -> dt.date:
    return today() - dt.timedelta(days=days)


def haul(
    caught: Mapping[str, int],
    *,
    days: int = 3,
    pond: str = "A",
    carrying: Mapping[str, int] | None = None,
    newly: Mapping[str, int] | None = None,
    kind: str = "slider",
    lines: tuple[Line, ...] = (),
    method: str = "SEINE",
    **more,
) -> Haul:
    """Log a haul so many days ago; all that no line takes away went back."""
    catch = tuple(
        CatchLine(kind, of_class, heads, (carrying or {}).get(of_class, 0), (newly or {}).get(of_class, 0))
        for of_class, heads in caught.items()
    )
    draft = Draft(
        uuid.uuid4(), ago(days), lines, pond=pond, haul=HaulDraft(method=method, lines=catch, **more)
    )
    receipt = ledger.record(draft, by=None, today=today())
    return Haul.objects.get(move_id=receipt.move_id)


def survey(*hauls: Haul, pond: str = "A", **more) -> Survey:
    draft = SurveyDraft(tuple(one.pk for one in hauls), **more)
    return survey_book.begin(Pond.objects.get(code=pond), draft, key=uuid.uuid4(), by=None)


def passes(*catches: tuple[int, int], pond: str = "A", days: int = 3, effort: float = 4) -> list[Haul]:
    """Log passes of one day, females and males, each held out until the last."""
    return [
        haul(
            {"FEMALE": f, "MALE": m},
            pond=pond,
            days=days,
            effort=effort,
            effort_typed=f"{effort:g}",
            is_held_out=True,
        )
        for f, m in catches
    ]
