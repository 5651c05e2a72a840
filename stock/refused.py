"""Posts that were refused are kept with what was typed, until their form is posted after all or set aside."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.http import QueryDict

from ponds.models import Pond
from ponds.svg_marks import figure_text
from stock.models import Move, RefusedAside, RefusedPost
from stock.refusals import Refused

LONGEST_VALUE = 20_000
LONGEST_REASON = 300
NOT_KEPT = ("csrfmiddlewaretoken", "key")


def keep_refused(
    *, key: uuid.UUID, pond: Pond | None, sentence: str, sent: QueryDict, by, typed_by: str = ""
) -> RefusedPost | None:
    """Keep a refused post; the same one sent again is kept once, one with nothing typed not at all.

    `typed_by` names who typed it where another reads it in.
    """
    typed = typed_in(sent)
    if not any(name for name in typed if not name.endswith(("_FORMS", "-kind", "-of_class", "-fixed"))):
        return None
    sentence = sentence.replace("\0", "")
    latest = RefusedPost.objects.filter(key=key).order_by("-pk").first()
    if latest is not None and (latest.typed, latest.sentence) == (typed, sentence):
        return latest
    return RefusedPost.objects.create(
        key=key, pond=pond, sentence=sentence, typed=typed, by=by, by_name=typed_by or by.get_username()
    )


def typed_in(sent: QueryDict) -> dict[str, list[str]]:
    """Return what was typed, without tokens and empty fields; a text beyond any use is cut and says so."""
    kept: dict[str, list[str]] = {}
    for name, values in sent.lists():
        filled = [_cut(value.replace("\0", "")) for value in values if value]
        if filled and name not in NOT_KEPT:
            kept[name.replace("\0", "")[:100]] = filled
    return kept


def still_refused() -> QuerySet[RefusedPost]:
    """Return the newest refused post of each form that was neither posted since nor set aside: newest first."""
    later = RefusedPost.objects.filter(key=OuterRef("key"), pk__gt=OuterRef("pk"))
    posted = Move.objects.filter(key=OuterRef("key"))
    return (
        RefusedPost.objects.filter(~Exists(later), ~Exists(posted), set_aside=None)
        .select_related("pond")
        .order_by("-refused_at", "-pk")
    )


def refused_of(person: Any) -> QuerySet[RefusedPost]:
    """Return what a person sent that waits to be mended, the newest first."""
    return still_refused().filter(by=person)


def lately_set_aside() -> QuerySet[RefusedAside]:
    """Return what was set aside, the newest first."""
    return RefusedAside.objects.select_related("refused__pond").order_by("-aside_at", "-pk")


class NotSetAside(Refused):
    """A refused post that was not set aside; `sentence` says why."""


def set_aside(refused: RefusedPost, reason: str, *, by) -> RefusedAside:
    """
    Set a refused post aside with a reason; set aside already, it stays as it is.

    Raises
    ------
    NotSetAside
        There is no reason or it is too long, or the form was posted, or sent and refused again, meanwhile.
    """
    words = " ".join(reason.replace("\0", "").split())
    if not words:
        raise NotSetAside(
            "Say in a few words why it is not to be booked: what was typed was somebody's fact."
        )
    if len(words) > LONGEST_REASON:
        raise NotSetAside(
            f"The reason has {figure_text(len(words))} characters; {LONGEST_REASON} fit. Shorten it."
        )
    if standing := RefusedAside.objects.filter(refused=refused).first():
        return standing
    if not still_refused().filter(pk=refused.pk).exists():
        raise NotSetAside("It was posted, or sent again, meanwhile: the list below is as it stands now.")
    try:
        with transaction.atomic():
            return RefusedAside.objects.create(
                refused=refused, reason=words, by=by, by_name=by.get_username()
            )
    except IntegrityError:
        return RefusedAside.objects.get(refused=refused)


def as_sent(refused: RefusedPost, key: Any) -> QueryDict:
    """Return what was typed as if it were sent again, under a key."""
    sent = QueryDict(mutable=True)
    for name, values in refused.typed.items():
        sent.setlist(name, values)
    sent["key"] = str(key)
    return sent


def _cut(value: str) -> str:
    if len(value) <= LONGEST_VALUE:
        return value
    return f"{value[:LONGEST_VALUE]} (cut here: {figure_text(len(value))} characters were typed)"
