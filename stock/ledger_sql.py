"""Private to the ledger: what every posting reads and writes most of, in SQL that both databases take.

A posting runs these each time, and building the same queries anew cost far more than the database's answers.
"""
# Only ids (through `int`) and our own words are put into a statement; what is typed goes in as a value.
# ruff: noqa: S608

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from django.db import connection

MOST_VALUES = 999
"""As many values as any SQLite takes in one statement."""


def last_closed_month() -> dt.date | None:
    """Return the first day of the latest closed month."""
    rows = _rows("SELECT month FROM stock_monthclose ORDER BY month DESC LIMIT 1")
    return rows[0][0] if rows else None


def kinds() -> list[tuple]:
    """Return (id, code, common name, id of a kind not kept with it or None) of all kinds."""
    return _rows(
        """SELECT k.id, k.code, k.common_name, n.to_kind_id FROM ponds_kind k
        LEFT JOIN ponds_kind_not_with n ON n.from_kind_id = k.id"""
    )


def ponds(codes: Collection[str]) -> list[tuple]:
    """Return (id, code, opened on, retired on, id of a kind allowed or None) of the ponds named."""
    places = ", ".join(["%s"] * len(codes)) or "NULL"
    return _rows(
        f"""SELECT p.id, p.code, p.opened_on, p.retired_on, a.kind_id FROM ponds_pond p
        LEFT JOIN ponds_pond_kinds_allowed a ON a.pond_id = p.id WHERE p.code IN ({places})""",
        list(codes),
    )


def pond_states(ids: Iterable[int]) -> list[tuple]:
    """Return (pond's code, from day, state, due to end on or None), the earliest first."""
    return _rows(
        f"""SELECT p.code, s.from_on, s.state, s.ends_on FROM ponds_pondstate s
        JOIN ponds_pond p ON p.id = s.pond_id WHERE s.pond_id IN ({_ids(ids)}) ORDER BY s.from_on, s.id"""
    )


def cells(pond_ids: Sequence[int], outside: Sequence[str], kind_ids: Iterable[int]) -> list[tuple]:
    """Return (id, pond id, outside place, kind id, class) of the cells of ponds and outside places."""
    read = f"SELECT id, pond_id, outside, kind_id, of_class FROM stock_cell WHERE kind_id IN ({_ids(kind_ids)}) AND"
    places = ", ".join(["%s"] * len(outside)) or "NULL"
    return _rows(
        f"{read} pond_id IN ({_ids(pond_ids)}) UNION ALL {read} pond_id IS NULL AND outside IN ({places})",
        outside,
    )


def lock_cells(ids: Iterable[int]) -> None:
    """Lock cells in the order of their ids; SQLite's immediate transaction holds everything already."""
    if connection.vendor == "postgresql":
        _rows(f"SELECT id FROM stock_cell WHERE id IN ({_ids(ids)}) ORDER BY id FOR UPDATE")


def openings(ids: Iterable[int], month: dt.date) -> list[tuple]:
    """Return (cell, heads, marked) at the latest stored month end before `month`."""
    return _rows(
        f"""SELECT e.cell_id, e.heads, e.marked FROM stock_cell c JOIN stock_monthend e ON e.cell_id = c.id
        AND e.month = (SELECT MAX(b.month) FROM stock_monthend b WHERE b.cell_id = c.id AND b.month < %s)
        WHERE c.id IN ({_ids(ids)})""",
        [month],
    )


def month_ends(ids: Iterable[int], first: dt.date) -> list[tuple]:
    """Return (cell, month, heads, lowest, marked, lowest unmarked) from the month `first` on, in order."""
    return _rows(
        f"""SELECT cell_id, month, heads, lowest, marked, lowest_unmarked FROM stock_monthend
        WHERE cell_id IN ({_ids(ids)}) AND month >= %s ORDER BY cell_id, month""",
        [first],
    )


def changes(ids: Iterable[int], runs: Iterable[tuple[dt.date, dt.date]]) -> list[tuple]:
    """Return (source, target, day, heads, marked) of entries and marked turtles' steps within runs of days."""
    days = list(runs)
    within = " OR ".join("(booked_on >= %s AND booked_on < %s)" for _ in days)
    wanted = _ids(ids)
    parts = []
    for table, heads, marked in (("stock_entry", "heads", "0"), ("stock_markstep", "0", "1")):
        read = f"SELECT source_id, target_id, booked_on, {heads}, {marked} FROM {table} WHERE ({within}) AND"
        # Each half has an index to go by; what joins two of the cells is read by the first half alone.
        parts += [
            f"{read} source_id IN ({wanted})",
            f"{read} target_id IN ({wanted}) AND (source_id IS NULL OR source_id NOT IN ({wanted}))",
        ]
    return _rows(" UNION ALL ".join(parts), [day for run in days for day in run] * len(parts))


def late_changes(ids: Iterable[int], day: dt.date) -> list[tuple]:
    """Return (source, target, happened on, booked on, heads) of entries booked after `day` and later than they
    happened.
    """
    wanted = _ids(ids)
    read = (
        "SELECT source_id, target_id, happened_on, booked_on, heads FROM stock_entry WHERE booked_on > %s AND"
    )
    return _rows(
        f"{read} happened_on < booked_on AND source_id IN ({wanted}) UNION ALL "
        f"{read} happened_on < booked_on AND target_id IN ({wanted}) AND source_id NOT IN ({wanted})",
        [day, day],
    )


def write_moves(rows: Sequence[tuple]) -> dict[str, int]:
    """
    Write moves and return their ids by the hex digits of their keys.

    Each row is (hex digits of the key, content, made as, pond or None, happened on, booked on, by or None,
    name of who did it, note, move reversed or None, move replaced or None); the database writes the instant.
    """
    columns = (
        "stock_move (key, content_sha256, made_as, pond_id, happened_on, booked_on, by_id, by_name, note, "
        "reverses_id, replaces_id)"
    )
    return {uuid.UUID(str(key)).hex: pk for pk, key in _insert_returning(columns, rows, "id, key")}


def write_hauls(rows: Sequence[tuple]) -> dict[int, int]:
    """
    Write hauls and return their ids by their moves'.

    Each row is (move, pond, happened on, method, effort or None, effort typed, water in mK or None, water typed,
    its unit, whether it is held out, whether it is complete).
    """
    columns = (
        "stock_haul (move_id, pond_id, happened_on, method, effort, effort_typed, water_mk, water_typed, "
        "water_unit, is_held_out, is_complete)"
    )
    return {move: pk for pk, move in _insert_returning(columns, rows, "id, move_id")}


def write_entries(rows: Sequence[tuple]) -> None:
    """
    Write entries.

    Each row is (move, line, source, target, heads, reason, cause, batch or None, happened on, booked on).
    """
    _insert(
        "stock_entry (move_id, line, source_id, target_id, heads, reason, cause, batch_id, happened_on, booked_on)",
        rows,
    )


def write_papers(rows: Sequence[tuple]) -> None:
    """
    Write papers; the database writes the instant.

    Each row is (batch or None, move or None, party, licence, document, purpose, disposal, expires on or None,
    note, by or None).
    """
    _insert(
        "stock_paper (batch_id, move_id, party, licence, document, purpose, disposal, expires_on, note, by_id)",
        rows,
    )


def write_catches(rows: Sequence[tuple]) -> None:
    """Write haul lines: (haul, kind, class, caught, carrying marks, newly marked, dead in net)."""
    _insert(
        "stock_haulline (haul_id, kind_id, of_class, caught, carrying_marks, newly_marked, dead_in_net)", rows
    )


def write_month_ends(rows: Sequence[tuple]) -> None:
    """Write or renew month ends: (cell, month, is pond, heads, lowest, marked, lowest unmarked)."""
    _insert(
        "stock_monthend (cell_id, month, is_pond, heads, lowest, marked, lowest_unmarked)",
        rows,
        """ON CONFLICT (cell_id, month) DO UPDATE SET heads = excluded.heads, lowest = excluded.lowest,
        marked = excluded.marked, lowest_unmarked = excluded.lowest_unmarked""",
    )


def forget_mixes(month: dt.date) -> None:
    """Drop what is kept of origins from a month on."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM stock_stockmix WHERE month >= %s", [month])


def keep_mixes(rows: Sequence[tuple]) -> None:
    """Keep what cells are made of: (cell, month, state as JSON)."""
    _insert("stock_stockmix (cell_id, month, state)", rows)


def _insert(into: str, rows: Sequence[tuple], otherwise: str = "") -> None:
    if rows:
        marks = ", ".join(["%s"] * len(rows[0]))
        with connection.cursor() as cursor:
            cursor.executemany(f"INSERT INTO {into} VALUES ({marks}) {otherwise}", rows)


def _insert_returning(into: str, rows: Sequence[tuple], wanted: str) -> list[tuple]:
    """Insert rows, as many at once as SQLite takes values, and return what is `wanted` of each."""
    returned: list[tuple] = []
    if rows:
        one = f"({', '.join(['%s'] * len(rows[0]))})"
        at_once = MOST_VALUES // len(rows[0])
        for start in range(0, len(rows), at_once):
            part = rows[start : start + at_once]
            statement = f"INSERT INTO {into} VALUES {', '.join([one] * len(part))} RETURNING {wanted}"
            returned += _rows(statement, [value for row in part for value in row])
    return returned


def _ids(ids: Iterable[int]) -> str:
    return ", ".join(str(int(one)) for one in ids) or "NULL"


def _rows(statement: str, values: Sequence[Any] = ()) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, list(values))
        return cursor.fetchall()
