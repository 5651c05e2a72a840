"""The file that a phone saves of the logs waiting on it, read in the office: a phone may be lost before it sends."""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from typing import Any

from stock.refusals import Refused

MOST_BYTES = 5_000_000
MOST_LOGS = 1000


@dataclass(frozen=True)
class PhoneLog:
    """One log as it waited on a phone: its key, who typed it, and the fields of its form."""

    key: uuid.UUID
    author: str
    typed: tuple[tuple[str, str], ...]


class NotACopy(Refused):
    """A file that no phone saved; `sentence` says what is wrong with it."""


def read_copy(content: bytes) -> tuple[PhoneLog, ...]:
    """
    Return the logs of a file that "Save a copy to a file" wrote, in its order.

    Raises
    ------
    NotACopy
        It is too large, no such file, or one of its logs cannot be read. Then none is.
    """
    if len(content) > MOST_BYTES:
        raise NotACopy(f"The file has more than {MOST_BYTES // 1_000_000} MB: a phone's copy is far smaller.")
    try:
        rows = json.loads(content.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        rows = None
    if not isinstance(rows, list):
        raise NotACopy(
            "This is no copy of a phone's logs: choose the file unsent-logs.json that “Save a copy to a file” wrote."
        )
    if len(rows) > MOST_LOGS:
        raise NotACopy(f"The file holds {len(rows)} logs; {MOST_LOGS} can be read at once.")
    return tuple(_log(row, number) for number, row in enumerate(rows, start=1))


def _log(row: Any, number: int) -> PhoneLog:
    try:
        key, author, typed = uuid.UUID(row["key"]), row["author"], row["typed"]
        fields = tuple((name, value) for name, value in typed)
        if not all(isinstance(word, str) for word in (author, *(word for field in fields for word in field))):
            raise TypeError
    except (AttributeError, KeyError, TypeError, ValueError):
        raise NotACopy(
            f"Log {number} of the file cannot be read: its key, its author or its fields are not as a phone saves "
            "them. Nothing was read."
        ) from None
    return PhoneLog(key, author[:100], fields)
