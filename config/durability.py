"""What the database must promise before a move may be acknowledged.

SQLite below 3.51.3 (other than 3.44.6 and 3.50.7) can lose or corrupt commits in WAL mode when two
connections race, so there the rollback journal with `synchronous=EXTRA` is used instead.
"""

import sqlite3

from django.core.exceptions import ImproperlyConfigured

SYNCHRONOUS_FULL = 2
WAL_SOUND_FROM = (3, 51, 3)
WAL_SOUND_BACKPORTS = ((3, 44, 6), (3, 50, 7))


def wal_is_sound(version: tuple[int, int, int]) -> bool:
    """Say whether this SQLite library has the mended WAL mode."""
    if version >= WAL_SOUND_FROM:
        return True
    return any(version[:2] == fixed[:2] and version >= fixed for fixed in WAL_SOUND_BACKPORTS)


def sqlite_options(version: tuple[int, int, int] = sqlite3.sqlite_version_info) -> dict[str, object]:
    """Return the connection options for this SQLite library."""
    pragmas = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
    if not wal_is_sound(version):
        pragmas = "PRAGMA journal_mode=DELETE; PRAGMA synchronous=EXTRA;"
    return {"transaction_mode": "IMMEDIATE", "timeout": 30, "init_command": pragmas}


def faults(connection) -> list[str]:
    """Return one sentence for each setting of this connection that could lose a move."""
    if connection.vendor == "sqlite":
        return _sqlite_faults(connection)
    if connection.vendor == "postgresql":
        return _postgresql_faults(connection)
    return [f"Scutebook keeps its ledger on SQLite or PostgreSQL, not on {connection.vendor}."]


def refuse_unsafe(connection) -> None:
    """Raise ImproperlyConfigured when a move could be lost; the message names each setting."""
    if found := faults(connection):
        raise ImproperlyConfigured(" ".join(found))


def _sqlite_faults(connection) -> list[str]:
    found = []
    options = connection.settings_dict.get("OPTIONS", {})
    if options.get("transaction_mode") not in ("IMMEDIATE", "EXCLUSIVE"):
        found.append("SQLite must open its transactions as IMMEDIATE (OPTIONS transaction_mode).")
    with connection.cursor() as cursor:
        pragma = {}
        for name in ("journal_mode", "synchronous", "foreign_keys"):
            cursor.execute(f"PRAGMA {name}")
            pragma[name] = cursor.fetchone()[0]
    if int(pragma["synchronous"]) < SYNCHRONOUS_FULL:
        found.append("SQLite's synchronous is below FULL: an acknowledged move could be lost at a power cut.")
    if not pragma["foreign_keys"]:
        found.append("SQLite's foreign_keys is off.")
    if pragma["journal_mode"] == "wal" and not wal_is_sound(sqlite3.sqlite_version_info):
        found.append(
            f"SQLite {sqlite3.sqlite_version} can lose commits in WAL mode; use the rollback journal."
        )
    return found


def _postgresql_faults(connection) -> list[str]:
    found = []
    with connection.cursor() as cursor:
        for name in ("fsync", "full_page_writes", "synchronous_commit"):
            cursor.execute(f"SHOW {name}")
            if cursor.fetchone()[0] == "off":
                found.append(f"PostgreSQL runs with {name}=off: an acknowledged move could be lost.")
    return found
