"""The demo farm's surveys: their hauls as moves, the hauls put together, and the count accepted from one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.contrib.auth.models import User

from ponds import units
from ponds.models import Pond
from stock import ledger, survey_book
from stock.demo_sheets import CLASS_OF, DemoMove, DemoSheets, Row, demo_key
from stock.drafts import CatchLine, Draft, HaulDraft
from stock.models import Haul, Survey
from stock.survey_book import SurveyDraft
from stock.surveys import code_of, read

SEXES = ("females", "males")


def survey_moves(sheets: DemoSheets) -> list[DemoMove]:
    """Return the surveys' hauls whose day has come; all of every catch went back, so they move no head."""
    signed_by = {row["survey"]: row["by"] for row in sheets.rows("surveys")}
    return [
        DemoMove(row["haul"], signed_by[row["survey"]], _draft(row, sheets.days.day(row["day"])), False)
        for row in sheets.past_rows("survey_hauls")
    ]


def make_surveys(
    sheets: DemoSheets, *, ponds: Mapping[str, Pond], people: Mapping[str, User], today: dt.date
) -> None:
    """Put the hauls of each survey together once all of them are in, and accept what an owner accepted."""
    asked = _by_survey(sheets.rows("survey_hauls"))
    there = _by_survey(sheets.past_rows("survey_hauls"))
    for row in sheets.rows("surveys"):
        hauls = there.get(row["survey"], [])
        if not hauls or len(hauls) < len(asked[row["survey"]]):
            continue
        keys = [demo_key(haul["haul"]) for haul in hauls]
        found = Haul.objects.filter(move__key__in=keys).values_list("pk", flat=True)
        survey = survey_book.begin(
            ponds[row["pond"]],
            SurveyDraft(tuple(found), note=row["note"]),
            key=demo_key(f"survey {row['survey']}"),
            by=people[row["by"]],
        )
        if row["accepted by"]:
            _accept(survey, by=people[row["accepted by"]], today=today)


def _accept(survey: Survey, *, by: User, today: dt.date) -> None:
    for one in read(survey):
        reading = one.reading.headline
        if reading is None or not one.can_be_accepted:
            continue
        draft = one.figures(reading).draft(
            pond=survey.pond.code, kind=one.kind.code, as_of=one.as_of, how_known="SEINED"
        )
        ledger.accept_count(
            draft,
            key=demo_key(f"count of survey {survey.key} {one.kind.code}"),
            by=by,
            today=today,
            hauls=one.hauls,
            survey=survey,
            method=code_of(reading),
        )


def _draft(row: Row, day: dt.date) -> Draft:
    water = units.measure(row["water F"], "F")
    return Draft(
        key=demo_key(row["haul"]),
        happened_on=day,
        pond=row["pond"],
        note=row["note"],
        haul=HaulDraft(
            method=row["method"].upper(),
            lines=tuple(
                CatchLine(
                    kind=row["kind"],
                    of_class=CLASS_OF[name],
                    caught=int(row[name]),
                    carrying_marks=int(said) if (said := row[f"{name} carrying"]) else None,
                    newly_marked=int(row[f"{name} newly"] or 0),
                )
                for name in SEXES
            ),
            effort=float(row["drags"]),
            effort_typed=row["drags"],
            water_mk=water.stored,
            water_typed=water.typed,
            water_unit=water.unit,
            is_held_out=row["held out"] == "yes",
        ),
    )


def _by_survey(rows: list[dict[str, str]]) -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = {}
    for row in rows:
        found.setdefault(row["survey"], []).append(row)
    return found
