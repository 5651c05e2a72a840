"""Surveys are grouped here and nowhere else: begun, changed, and given up while nothing was accepted from them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.db import transaction

from ponds.models import Kind, Pond
from stock.drafts import content_sha256
from stock.models import Count, Haul, Survey, SurveyHaul, SurveyMarked
from stock.refusals import Refused

MOST_HAULS = 60


class SurveyRefused(Refused):
    """A survey that was not written; `sentence` says why, `field` which field it is about."""


@dataclass(frozen=True)
class SurveyDraft:
    """What belongs to a survey: its hauls, what is marked in the pond before them, and the double marks checked."""

    hauls: tuple[int, ...]
    note: str = ""
    marked_before: Mapping[tuple[str, str], int] = field(default_factory=dict)
    marks_checked: tuple[int, int, int] | None = None


def begin(pond: Pond, draft: SurveyDraft, *, key: uuid.UUID, by) -> Survey:
    """
    Begin a survey; the same key again returns the survey that was begun with it.

    Raises
    ------
    SurveyRefused
        Without a haul, or with one of another pond, taken back, or read in another survey.
    """
    with transaction.atomic():
        Pond.objects.select_for_update().get(pk=pond.pk)
        if existing := Survey.objects.filter(key=key).first():
            return existing
        survey = Survey(key=key, pond=pond, started_by=by)
        return _write(survey, draft)


def change(survey: Survey, draft: SurveyDraft, *, as_read: str) -> Survey:
    """
    Put what belongs to a survey in the place of what did; counts accepted from it stay as they were read.

    Parameters
    ----------
    as_read : str
        `as_it_is` of the survey when what to change was decided.

    Raises
    ------
    SurveyRefused
        Where somebody else changed the survey since, and for the reasons of `begin`.
    """
    with transaction.atomic():
        Pond.objects.select_for_update().get(pk=survey.pond_id)
        stored = Survey.objects.select_for_update().filter(pk=survey.pk).first()
        if stored is None:
            raise SurveyRefused(
                f"This survey of pond {survey.pond.code} was given up by somebody else. Its hauls are free: begin "
                "another with them."
            )
        if (now := as_it_is(stored)) != as_read and now != _digest(draft):
            raise SurveyRefused(_changed_since(stored))
        return _write(stored, draft)


def as_it_is(survey: Survey) -> str:
    """Return the digest of what belongs to a survey; it differs as soon as somebody changes it."""
    both, first, second = survey.marks_both, survey.marks_first_only, survey.marks_second_only
    checked = None if both is None or first is None or second is None else (both, first, second)
    marked = SurveyMarked.objects.filter(survey=survey).values_list("kind__code", "of_class", "heads")
    hauls = SurveyHaul.objects.filter(survey=survey).values_list("haul_id", flat=True)
    before = {(kind, of_class): heads for kind, of_class, heads in marked}
    return _digest(SurveyDraft(tuple(hauls), survey.note, before, checked))


def _digest(draft: SurveyDraft) -> str:
    marked = sorted(
        [kind, of_class, heads] for (kind, of_class), heads in draft.marked_before.items() if heads
    )
    return content_sha256(sorted(draft.hauls), draft.note, marked, draft.marks_checked)


def _changed_since(survey: Survey) -> str:
    days = SurveyHaul.objects.filter(survey=survey).order_by("haul__happened_on", "haul_id")
    hauls = ", ".join(f"{day.day} {day:%b %Y}" for day in days.values_list("haul__happened_on", flat=True))
    return (
        f"Somebody changed this survey since you opened the page: it now reads the hauls of {hauls or 'no day'}. "
        "Nothing of yours was kept yet. What you ticked and typed still stands below: press again to put it in the "
        "place of theirs, or go back to see the survey as it is."
    )


def give_up(survey: Survey) -> None:
    """Take a survey away from which nothing was ever accepted; its hauls stay in the book, free for another."""
    with transaction.atomic():
        Pond.objects.select_for_update().get(pk=survey.pond_id)
        if Count.objects.filter(survey=survey).exists():
            raise SurveyRefused(
                "A count was accepted from this survey, so it stays with it. Take the count back if it is wrong."
            )
        SurveyMarked.objects.filter(survey=survey).delete()
        SurveyHaul.objects.filter(survey=survey).delete()
        Survey.objects.filter(pk=survey.pk).delete()


def _write(survey: Survey, draft: SurveyDraft) -> Survey:
    _check_hauls(survey, draft.hauls)
    kinds = {
        kind.code: kind for kind in Kind.objects.filter(code__in={kind for kind, _ in draft.marked_before})
    }
    survey.note = draft.note
    both, first, second = draft.marks_checked or (None, None, None)
    survey.marks_both, survey.marks_first_only, survey.marks_second_only = both, first, second
    survey.save()
    kept = SurveyHaul.objects.filter(survey=survey)
    kept.exclude(haul__in=draft.hauls).delete()
    there = set(kept.values_list("haul_id", flat=True))
    SurveyHaul.objects.bulk_create(
        SurveyHaul(survey=survey, haul_id=haul) for haul in draft.hauls if haul not in there
    )
    SurveyMarked.objects.filter(survey=survey).delete()
    SurveyMarked.objects.bulk_create(
        SurveyMarked(survey=survey, kind=kinds[kind], of_class=of_class, heads=heads)
        for (kind, of_class), heads in draft.marked_before.items()
        if heads and kind in kinds
    )
    return survey


def _check_hauls(survey: Survey, hauls: Sequence[int]) -> None:
    if not hauls:
        raise SurveyRefused(
            f"Tick at least one haul of pond {survey.pond.code}: a survey is read from hauls.", field="hauls"
        )
    if len(hauls) > MOST_HAULS:
        raise SurveyRefused(
            f"{len(hauls)} hauls are ticked; at most {MOST_HAULS} are read together. A survey is a few days' work.",
            field="hauls",
        )
    found = {haul.pk: haul for haul in Haul.objects.filter(pk__in=hauls).select_related("pond", "in_survey")}
    taken_back = set(
        Haul.objects.filter(pk__in=hauls, move__reversed_by__isnull=False).values_list("pk", flat=True)
    )
    for pk in hauls:
        haul = found.get(pk)
        if haul is None or haul.pond_id != survey.pond_id:
            raise SurveyRefused(
                f"One of the hauls ticked is not of pond {survey.pond.code}: tick among those listed.",
                field="hauls",
            )
        other = getattr(haul, "in_survey", None)
        if other is not None and other.survey_id != survey.pk:
            raise SurveyRefused(
                f"The haul of {haul.happened_on} is read in another survey already. Take it out there first.",
                field="hauls",
            )
        if pk in taken_back and (other is None or survey.pk is None):
            raise SurveyRefused(
                f"The haul of {haul.happened_on} was taken back; tick its correction instead.", field="hauls"
            )
