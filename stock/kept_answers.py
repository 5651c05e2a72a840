"""Answers that cost much to work out, kept in this process until anything they were read from changes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from hashlib import blake2b
from typing import Any, Generic, TypeVar

import numpy as np
from django.db import connection

Answer = TypeVar("Answer")

NEWEST = 500


class KeptAnswers(Generic[Answer]):
    """The last few answers, each under what was asked and a stamp of what it was read from, of one database."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._kept: OrderedDict[tuple[Any, ...], Answer] = OrderedDict()

    def of(self, asked: tuple[Any, ...], work_out: Callable[[], Answer]) -> Answer:
        """Return the kept answer, or work it out and keep it in the place of the oldest."""
        key = (connection.settings_dict["NAME"], connection.settings_dict.get("HOST"), *asked)
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = work_out()
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
        return found

    def forget(self) -> None:
        """Drop them all: for tests that count queries."""
        self._kept.clear()


def content_of(*parts: Any) -> bytes:
    """
    Return a digest that is the same for the same arrays and plain values.

    For answers that cost much from figures that cost little: a stamp changes with every row written, what is read from
    the rows seldom does.
    """
    digest = blake2b(digest_size=16)
    for part in parts:
        if isinstance(part, np.ndarray):
            digest.update(f"{part.dtype} {part.shape}".encode())
            digest.update(np.ascontiguousarray(part).tobytes())
        else:
            digest.update(repr(part).encode())
        digest.update(b";")
    return digest.digest()


def stamp_of(tables: Sequence[str], newest: Sequence[str] = ("recorded_at",)) -> tuple[Any, ...]:
    """
    Return what changes with every row added to tables whose rows are only ever added: one query.

    Transactions that run side by side may become visible out of the order of their ids: the sum over the newest ids
    sees that. The columns `newest` of the newest row tell apart databases of the same size.

    Parameters
    ----------
    tables, newest : sequence of str
        Names from this code, never from a request.
    """
    parts = []
    for table in tables:
        last = "".join(
            f", (SELECT CAST({column} AS varchar(40)) FROM {table} ORDER BY id DESC LIMIT 1)"  # noqa: S608 (our own words)
            for column in newest
        )
        parts.append(
            f"SELECT '{table}', COALESCE(SUM(n.id), 0), COUNT(*), COALESCE(MAX(n.id), 0){last} "  # noqa: S608
            f"FROM (SELECT id FROM {table} ORDER BY id DESC LIMIT {NEWEST}) n"
        )
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(parts))
        return tuple(sorted(tuple(row) for row in cursor.fetchall()))
