"""What an owner found of a signal is written here and nowhere else."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import IntegrityError, transaction

from ponds.svg_marks import figure_text
from stock.models import WatchNote
from stock.refusals import Refused
from stock.watch_page import WatchLine

LONGEST_NOTE = 500


class NotNoted(Refused):
    """A note that was not taken; `sentence` says why."""


def acknowledge(line: WatchLine, *, note: str, key: uuid.UUID, by, today: dt.date) -> WatchNote:
    """
    Note that somebody looked into a signal. The same key again gives the note that stands.

    Raises
    ------
    NotNoted
        The note is empty or too long.
    """
    words = note.strip()
    if not words:
        raise NotNoted("Say in a few words what was found or done: the next who looks at the pond reads it.")
    if len(words) > LONGEST_NOTE:
        raise NotNoted(f"The note has {figure_text(len(words))} characters; {LONGEST_NOTE} fit. Shorten it.")
    try:
        with transaction.atomic():
            if standing := WatchNote.objects.filter(key=key).first():
                return standing
            return WatchNote.objects.create(
                key=key,
                pond_id=line.pond_id,
                kind_id=line.kind_id,
                subject=line.subject,
                excess=line.excess,
                sentence=line.sentence,
                note=words,
                noted_on=today,
                by=by,
                by_name=by.get_username(),
            )
    except IntegrityError:
        return WatchNote.objects.get(key=key)
