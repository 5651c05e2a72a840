"""Posts that were refused are kept with what was typed, until their form is posted after all."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.http import QueryDict

from ponds.models import Pond
from ponds.svg_marks import figure_text
from stock.models import Move, RefusedPost

LONGEST_VALUE = 20_000
NOT_KEPT = ("csrfmiddlewaretoken", "key")


def keep_refused(
    *, key: uuid.UUID, pond: Pond | None, sentence: str, sent: QueryDict, by
) -> RefusedPost | None:
    """Keep a refused post; the same one sent again is kept once, one with nothing typed not at all."""
    typed = typed_in(sent)
    if not any(name for name in typed if not name.endswith(("_FORMS", "-kind", "-of_class", "-fixed"))):
        return None
    sentence = sentence.replace("\0", "")
    latest = RefusedPost.objects.filter(key=key).order_by("-pk").first()
    if latest is not None and (latest.typed, latest.sentence) == (typed, sentence):
        return latest
    return RefusedPost.objects.create(
        key=key, pond=pond, sentence=sentence, typed=typed, by=by, by_name=by.get_username()
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
    """Return the newest refused post of each form that has not been posted since: newest first."""
    later = RefusedPost.objects.filter(key=OuterRef("key"), pk__gt=OuterRef("pk"))
    posted = Move.objects.filter(key=OuterRef("key"))
    return (
        RefusedPost.objects.filter(~Exists(later), ~Exists(posted))
        .select_related("pond")
        .order_by("-refused_at", "-pk")
    )


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
