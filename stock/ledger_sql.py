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


def farm(pond_codes: Collection[str], batch_codes: Collection[str]) -> list[tuple]:
    """
    Return what is known of the ponds and batches named, of all kinds, and of the latest month closed: one query.

    Each row is (what it tells, id, code, text, id of a kind or None, day, later day or None):

    - POND: a pond and a kind allowed there or None, opened on, retired on;
    - STATE: a pond's code and a state, from day, due to end on;
    - KIND: a kind, its common name, a kind not kept with it or None;
    - BATCH: a batch and its source;
    - CLOSED: the latest closed month's first day.
    """
    ponds, batches = _places(pond_codes), _places(batch_codes)
    # Days are read as such by the columns of the first part, on SQLite.
    return _rows(
        f"""SELECT 'POND', p.id, p.code, '', a.kind_id, p.opened_on, p.retired_on FROM ponds_pond p
        LEFT JOIN ponds_pond_kinds_allowed a ON a.pond_id = p.id WHERE p.code IN ({ponds})
        UNION ALL SELECT 'STATE', s.id, p.code, s.state, NULL, s.from_on, s.ends_on FROM ponds_pondstate s
        JOIN ponds_pond p ON p.id = s.pond_id WHERE p.code IN ({ponds})
        UNION ALL SELECT 'KIND', k.id, k.code, k.common_name, n.to_kind_id, NULL, NULL FROM ponds_kind k
        LEFT JOIN ponds_kind_not_with n ON n.from_kind_id = k.id
        UNION ALL SELECT 'BATCH', b.id, b.code, b.source, NULL, NULL, NULL FROM stock_batch b
        WHERE b.code IN ({batches})
        UNION ALL SELECT 'CLOSED', c.id, '', '', NULL, c.month, NULL FROM stock_monthclose c
        WHERE c.month = (SELECT MAX(month) FROM stock_monthclose)""",
        [*pond_codes, *pond_codes, *batch_codes],
    )


def cells(pond_ids: Sequence[int], outside: Sequence[str], kind_ids: Iterable[int]) -> list[tuple]:
    """Return (id, pond id, outside place, kind id, class) of the cells of ponds and outside places."""
    read = f"SELECT id, pond_id, outside, kind_id, of_class FROM stock_cell WHERE kind_id IN ({_ids(kind_ids)}) AND"
    return _rows(
        f"{read} pond_id IN ({_ids(pond_ids)}) UNION ALL "
        f"{read} pond_id IS NULL AND outside IN ({_places(outside)})",
        outside,
    )


CELL = "{0}.pond_id, {0}p.code, {0}.outside, {0}.kind_id, {0}k.code, {0}k.common_name, {0}.of_class"
"""A cell's name: pond's id and code or None, outside place, kind's id, code and name, class."""
CELL_TABLES = (
    "LEFT JOIN ponds_pond {0}p ON {0}p.id = {0}.pond_id LEFT JOIN ponds_kind {0}k ON {0}k.id = {0}.kind_id"
)


def cells_named(ids: Iterable[int]) -> list[tuple]:
    """Return the names of cells, each as in `CELL`."""
    return _rows(
        f"SELECT {CELL.format('c')} FROM stock_cell c {CELL_TABLES.format('c')} WHERE c.id IN ({_ids(ids)})"
    )


def make_cells(rows: Sequence[tuple]) -> None:
    """Make cells (pond id or None, outside place, kind id, class), but those that somebody else just made."""
    _insert("stock_cell (pond_id, outside, kind_id, of_class)", rows, "ON CONFLICT DO NOTHING")


def lock_cells(ids: Iterable[int]) -> None:
    """Lock cells in the order of their ids; SQLite's immediate transaction holds everything already."""
    if connection.vendor == "postgresql":
        _rows(f"SELECT id FROM stock_cell WHERE id IN ({_ids(ids)}) ORDER BY id FOR UPDATE")


def month_ends(ids: Iterable[int], first: dt.date) -> list[tuple]:
    """
    Return (cell, month, heads, lowest, marked, lowest unmarked) from the month `first` on, in order.

    The latest stored month before `first` comes before them, where there is one.
    """
    return _rows(
        f"""SELECT e.cell_id, e.month, e.heads, e.lowest, e.marked, e.lowest_unmarked
        FROM stock_cell c JOIN stock_monthend e ON e.cell_id = c.id AND e.month >= COALESCE(
            (SELECT MAX(b.month) FROM stock_monthend b WHERE b.cell_id = c.id AND b.month < %s), %s)
        WHERE c.id IN ({_ids(ids)}) ORDER BY e.cell_id, e.month""",
        [first, first],
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


def keys_taken(keys: Iterable[uuid.UUID]) -> list[uuid.UUID]:
    """Return those of the keys under which a move was posted."""
    asked = [key.hex for key in keys]
    found = []
    for start in range(0, len(asked), MOST_VALUES):
        part = asked[start : start + MOST_VALUES]
        found += _rows(f"SELECT key FROM stock_move WHERE key IN ({_places(part)})", part)
    return [uuid.UUID(str(key)) for (key,) in found]


def entries_of(move: int) -> list[tuple]:
    """Return (heads, reason, cause, batch's code or None, source, target) of a move, each cell as in `CELL`."""
    return _rows(
        f"""SELECT e.heads, e.reason, e.cause, b.code, {CELL.format("s")}, {CELL.format("t")} FROM stock_entry e
        LEFT JOIN stock_batch b ON b.id = e.batch_id
        JOIN stock_cell s ON s.id = e.source_id {CELL_TABLES.format("s")}
        JOIN stock_cell t ON t.id = e.target_id {CELL_TABLES.format("t")}
        WHERE e.move_id = %s ORDER BY e.line""",
        [move],
    )


def steps_of(move: int) -> list[tuple]:
    """Return (turtle's code, how, booked on, source or nulls, target or nulls) of a move, each cell as in `CELL`."""
    return _rows(
        f"""SELECT u.code, m.how, m.booked_on, {CELL.format("s")}, {CELL.format("t")} FROM stock_markstep m
        JOIN stock_turtle u ON u.id = m.turtle_id
        LEFT JOIN stock_cell s ON s.id = m.source_id {CELL_TABLES.format("s")}
        LEFT JOIN stock_cell t ON t.id = m.target_id {CELL_TABLES.format("t")}
        WHERE m.move_id = %s ORDER BY m.id""",
        [move],
    )


SINCE = """LEFT JOIN stock_markstep s ON s.id = (
    SELECT l.id FROM stock_markstep l WHERE l.turtle_id = t.id AND l.how <> 'REVERSED' AND l.move_id <> {0}
    AND NOT EXISTS (
        SELECT 1 FROM stock_markstep u JOIN stock_move r ON r.id = u.move_id
        WHERE u.turtle_id = t.id AND u.how = 'REVERSED' AND r.reverses_id = l.move_id
    ) ORDER BY l.id DESC LIMIT 1
)"""
"""Of a turtle, its latest step that was not taken back: a mistake hides no earlier day."""


def turtles_named(codes: Collection[str], *, without: int = 0) -> list[tuple]:
    """
    Return (code, kind's code, cell or None, last seen on, day of the latest step or None) of marked turtles.

    `without` is the id of a move whose steps are left out.
    """
    return _turtles(f"t.code IN ({_places(codes)})", list(codes), without)


def turtles_in(cell: int) -> list[tuple]:
    """Return the same of the marked turtles whose latest step put them into a cell."""
    return _turtles("t.cell_id = %s", [cell], 0)


def _turtles(which: str, values: list, without: int) -> list[tuple]:
    return _rows(
        f"""SELECT t.code, k.code, t.cell_id, t.last_seen_on, s.booked_on FROM stock_turtle t
        JOIN ponds_kind k ON k.id = t.kind_id {SINCE.format(int(without))} WHERE {which}""",
        values,
    )


def cells_of_turtles(codes: Collection[str]) -> list[int]:
    """Return the ids of the cells that the turtles named stand in."""
    places = _places(codes)
    rows = _rows(
        f"SELECT DISTINCT cell_id FROM stock_turtle WHERE code IN ({places}) AND cell_id IS NOT NULL",
        list(codes),
    )
    return [cell for (cell,) in rows]


def lock_turtles(codes: Collection[str]) -> list[int]:
    """
    Lock the turtles named, in the order of their ids, and return the ids of the cells that they stand in.

    SQLite's immediate transaction holds everything already: there the answer is empty.
    """
    if connection.vendor != "postgresql":
        return []
    rows = _rows(
        f"SELECT cell_id FROM stock_turtle WHERE code IN ({_places(codes)}) ORDER BY id FOR UPDATE",
        list(codes),
    )
    return [cell for (cell,) in rows if cell is not None]


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


def entry_ids(moves: Iterable[int]) -> dict[tuple[int, int], int]:
    """Return the ids of moves' entries by move and line."""
    rows = _rows(f"SELECT move_id, line, id FROM stock_entry WHERE move_id IN ({_ids(moves)})")
    return {(move, line): pk for move, line, pk in rows}


def write_steps(rows: Sequence[tuple]) -> None:
    """Write marked turtles' steps: (turtle, move, entry or None, source or None, target or None, how, booked on)."""
    _insert("stock_markstep (turtle_id, move_id, entry_id, source_id, target_id, how, booked_on)", rows)


def place_turtles(rows: Sequence[tuple]) -> None:
    """Bring turtles up to date: (code, cell or None, last seen on, turtle)."""
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE stock_turtle SET code = %s, cell_id = %s, last_seen_on = %s WHERE id = %s", rows
        )


def see_turtles(rows: Sequence[tuple]) -> None:
    """Write when turtles were last seen and first marked: (day, day, code)."""
    if not rows:
        return
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE stock_turtle SET last_seen_on = %s, first_marked_on = %s WHERE code = %s", rows
        )


def batches(codes: Collection[str]) -> list[tuple]:
    """Return (code, id, source) of the batches named."""
    return _rows(f"SELECT code, id, source FROM stock_batch WHERE code IN ({_places(codes)})", list(codes))


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
    """Insert rows: few in one statement, which is one way to the server; many row by row."""
    if not rows:
        return
    one = _row_of(len(rows[0]))
    with connection.cursor() as cursor:
        if len(rows) * len(rows[0]) <= MOST_VALUES:
            values = [value for row in rows for value in row]
            cursor.execute(f"INSERT INTO {into} VALUES {', '.join([one] * len(rows))} {otherwise}", values)
        else:
            cursor.executemany(f"INSERT INTO {into} VALUES {one} {otherwise}", rows)


def _insert_returning(into: str, rows: Sequence[tuple], wanted: str) -> list[tuple]:
    """Insert rows, as many at once as SQLite takes values, and return what is `wanted` of each."""
    returned: list[tuple] = []
    if rows:
        one = _row_of(len(rows[0]))
        at_once = MOST_VALUES // len(rows[0])
        for start in range(0, len(rows), at_once):
            part = rows[start : start + at_once]
            statement = f"INSERT INTO {into} VALUES {', '.join([one] * len(part))} RETURNING {wanted}"
            returned += _rows(statement, [value for row in part for value in row])
    return returned


def _row_of(number: int) -> str:
    return f"({', '.join(['%s'] * number)})"


def _places(values: Collection) -> str:
    return ", ".join(["%s"] * len(values)) or "NULL"


def _ids(ids: Iterable[int]) -> str:
    return ", ".join(str(int(one)) for one in ids) or "NULL"


def _rows(statement: str, values: Sequence[Any] = ()) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, list(values))
        return cursor.fetchall()
