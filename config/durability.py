"""What the database must promise before a move may be acknowledged.

SQLite below 3.51.3 (other than 3.44.6 and 3.50.7 and what follows them in their lines) can lose or corrupt
commits in WAL mode when two connections race, so there the rollback journal with `synchronous=EXTRA` is used
instead. SQLite's locks cannot be trusted on a network share, and a journal that is off or kept in memory cannot
mend a file that a power cut left half-written.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from django.core.exceptions import ImproperlyConfigured

Version = tuple[int, ...]

SYNCHRONOUS_FULL = 2
SYNCHRONOUS_NAMES = {0: "OFF", 1: "NORMAL", 2: "FULL", 3: "EXTRA"}
WAL_SOUND_FROM = (3, 51, 3)
WAL_SOUND_BACKPORTS = ((3, 44, 6), (3, 50, 7))
NETWORK_FILE_SYSTEMS = {
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "ncpfs",
    "fuse.sshfs",
    "fuse.glusterfs",
}
POSTGRESQL_SETTINGS = ("fsync", "full_page_writes", "synchronous_commit")

_checked: set[str] = set()


def wal_is_sound(version: Version) -> bool:
    """Say whether this SQLite library has the mended WAL mode."""
    if version >= WAL_SOUND_FROM:
        return True
    return any(version[:2] == mended[:2] and version >= mended for mended in WAL_SOUND_BACKPORTS)


def sqlite_options(version: Version = sqlite3.sqlite_version_info) -> dict[str, object]:
    """Return the connection options for this SQLite library."""
    pragmas = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
    if not wal_is_sound(version):
        pragmas = "PRAGMA journal_mode=DELETE; PRAGMA synchronous=EXTRA;"
    return {"transaction_mode": "IMMEDIATE", "timeout": 30, "init_command": pragmas}


def faults(connection: Any) -> list[str]:
    """Return one sentence for each setting of this connection that could lose a move."""
    if connection.vendor == "sqlite":
        return _sqlite_faults(connection)
    if connection.vendor == "postgresql":
        return _postgresql_faults(connection)
    return [f"Scutebook keeps its ledger on SQLite or PostgreSQL, not on {connection.vendor}."]


def refuse_unsafe(connection: Any) -> None:
    """Raise ImproperlyConfigured when a move could be lost; the message names each setting."""
    if found := faults(connection):
        raise ImproperlyConfigured(" ".join(found))


def refuse_unsafe_once(connection: Any, **kwargs: Any) -> None:
    """Receive `connection_created`: look once at each database in each program, whichever command it runs."""
    if connection.alias in _checked:
        return
    # Marked first: asking the settings uses the connection that has just been made.
    _checked.add(connection.alias)
    try:
        refuse_unsafe(connection)
    except ImproperlyConfigured:
        _checked.discard(connection.alias)
        connection.close()
        raise


def describe(connection: Any) -> list[tuple[str, str]]:
    """Return what the health page says of this database: label and value."""
    if connection.vendor == "sqlite":
        pragma = _pragmas(connection)
        return [
            ("Database", "SQLite"),
            ("Version", sqlite3.sqlite_version),
            ("Journal mode", str(pragma["journal_mode"])),
            ("Synchronous", SYNCHRONOUS_NAMES.get(pragma["synchronous"], str(pragma["synchronous"]))),
            ("Foreign keys", "on" if pragma["foreign_keys"] else "off"),
            ("Transactions", str(connection.settings_dict["OPTIONS"].get("transaction_mode", "DEFERRED"))),
            ("File system", file_system_of(Path(connection.settings_dict["NAME"])) or "not known"),
        ]
    shown = _shown(connection, "server_version", *POSTGRESQL_SETTINGS, "data_checksums")
    return [
        ("Database", "PostgreSQL"),
        ("Version", shown["server_version"]),
        ("Journal mode", "write-ahead log"),
        *((name, shown[name]) for name in (*POSTGRESQL_SETTINGS, "data_checksums")),
    ]


def file_system_of(path: Path, mounts: str | None = None) -> str:
    """Return the kind of file system that holds `path`, or "" where this machine does not say (not Linux)."""
    if mounts is None:
        try:
            mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""
    resolved = path.resolve()
    longest, kind = -1, ""
    for line in mounts.splitlines():
        words = line.split(" ")
        if len(words) < 3:
            continue
        point = Path(words[1].encode().decode("unicode_escape"))
        # Of two mounts on one point the later one is on top.
        if (resolved == point or point in resolved.parents) and len(point.parts) >= longest:
            longest, kind = len(point.parts), words[2]
    return kind


def _pragmas(connection: Any) -> dict[str, Any]:
    found = {}
    with connection.cursor() as cursor:
        for name in ("journal_mode", "synchronous", "foreign_keys"):
            cursor.execute(f"PRAGMA {name}")
            found[name] = cursor.fetchone()[0]
    return found


def _shown(connection: Any, *names: str) -> dict[str, str]:
    found = {}
    with connection.cursor() as cursor:
        for name in names:
            cursor.execute(f"SHOW {name}")
            found[name] = cursor.fetchone()[0]
    return found


def _sqlite_faults(connection: Any) -> list[str]:
    found = []
    mode = connection.settings_dict.get("OPTIONS", {}).get("transaction_mode") or "DEFERRED"
    if mode not in ("IMMEDIATE", "EXCLUSIVE"):
        found.append(
            f"SQLite's transactions open as {mode}, so two people posting at once are refused for nothing; "
            "set transaction_mode to IMMEDIATE in the database's OPTIONS."
        )
    pragma = _pragmas(connection)
    if int(pragma["synchronous"]) < SYNCHRONOUS_FULL:
        found.append(
            f"SQLite's synchronous is {SYNCHRONOUS_NAMES[int(pragma['synchronous'])]}: a move that was "
            "acknowledged could be lost at a power cut; set it to FULL or EXTRA."
        )
    if not pragma["foreign_keys"]:
        found.append("SQLite's foreign_keys is off: rows could point at nothing; set it to ON.")
    journal = str(pragma["journal_mode"]).lower()
    if journal == "wal" and not wal_is_sound(sqlite3.sqlite_version_info):
        found.append(
            f"SQLite {sqlite3.sqlite_version} can lose commits in WAL mode; set journal_mode to DELETE and "
            "synchronous to EXTRA, or run with SQLite 3.51.3 or later."
        )
    if not connection.is_in_memory_db():
        if journal in ("off", "memory"):
            found.append(
                f"SQLite's journal_mode is {journal.upper()}: a power cut could leave the file half-written; "
                "set it to DELETE."
            )
        kind = file_system_of(Path(connection.settings_dict["NAME"]))
        if kind in NETWORK_FILE_SYSTEMS:
            found.append(
                f"The database {connection.settings_dict['NAME']} lies on a network share ({kind}), where "
                "SQLite's locks do not hold; put it on this machine's own disk, or use PostgreSQL."
            )
    return found


def _postgresql_faults(connection: Any) -> list[str]:
    return [
        f"PostgreSQL runs with {name}=off: a move that was acknowledged could be lost at a power cut; "
        f"set {name} to on."
        for name, value in _shown(connection, *POSTGRESQL_SETTINGS).items()
        if value == "off"
    ]
