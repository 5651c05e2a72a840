"""What is refused because an acknowledged move could be lost, on SQLite and on PostgreSQL.

The versions of SQLite with the mended WAL mode are those its release notes name: 3.51.3, and the backports 3.50.7
and 3.44.6.
"""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.utils import ConnectionHandler

from config import durability

SAFE = durability.sqlite_options()
SAFE_POSTGRESQL = {"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on"}


@pytest.fixture(autouse=True)
def files_of_ones_own(django_db_blocker, monkeypatch):
    """Let these tests open databases of their own, and look at each themselves."""
    monkeypatch.setattr(durability, "_checked", {"default"})
    with django_db_blocker.unblock():
        yield


@contextmanager
def sqlite(path, **options):
    """Open an SQLite file through Django with these options in place of the safe ones."""
    handler = ConnectionHandler(
        {
            "default": {
                "ENGINE": "django.db.backends.sqlite3",
                "NAME": str(path),
                "OPTIONS": {**SAFE, **options},
            }
        }
    )
    opened = handler["default"]
    try:
        yield opened
    finally:
        opened.close()


@pytest.mark.parametrize(
    ("version", "sound"),
    [
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 0), False),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), True),
        ((4, 0, 0), True),
    ],
    ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else str(value),
)
def test_wal_is_used_only_where_the_library_is_sound(version, sound):
    assert durability.wal_is_sound(version) is sound
    options = durability.sqlite_options(version)
    assert options["transaction_mode"] == "IMMEDIATE"
    assert options["timeout"] >= 20
    expected = (
        ("journal_mode=WAL", "synchronous=FULL") if sound else ("journal_mode=DELETE", "synchronous=EXTRA")
    )
    for pragma in expected:
        assert pragma in options["init_command"]


def test_the_options_this_machine_gets_have_no_fault(tmp_path):
    with sqlite(tmp_path / "book.sqlite3") as opened:
        assert durability.faults(opened) == []


def test_the_database_of_these_tests_has_no_fault(db):
    assert durability.faults(connection) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"transaction_mode": None}, "open as DEFERRED"),
        ({"transaction_mode": "DEFERRED"}, "open as DEFERRED"),
        ({"init_command": "PRAGMA journal_mode=DELETE; PRAGMA synchronous=NORMAL"}, "synchronous is NORMAL"),
        ({"init_command": "PRAGMA journal_mode=DELETE; PRAGMA synchronous=OFF"}, "synchronous is OFF"),
        ({"init_command": "PRAGMA synchronous=EXTRA; PRAGMA foreign_keys=OFF"}, "foreign_keys is off"),
        ({"init_command": "PRAGMA synchronous=EXTRA; PRAGMA journal_mode=OFF"}, "journal_mode is OFF"),
        ({"init_command": "PRAGMA synchronous=EXTRA; PRAGMA journal_mode=MEMORY"}, "journal_mode is MEMORY"),
    ],
    ids=["none", "deferred", "normal", "off", "foreign-keys", "journal-off", "journal-memory"],
)
def test_an_unsafe_setting_of_sqlite_is_refused_by_name(tmp_path, options, words):
    with sqlite(tmp_path / "book.sqlite3", **options) as opened:
        found = durability.faults(opened)
        assert len(found) == 1
        assert words in found[0]
        with pytest.raises(ImproperlyConfigured, match=words):
            durability.refuse_unsafe(opened)


@pytest.mark.parametrize(
    ("version", "refused"), [((3, 40, 1), True), ((3, 51, 2), True), ((3, 51, 3), False)]
)
def test_wal_is_refused_on_an_affected_library(tmp_path, monkeypatch, version, refused):
    monkeypatch.setattr(sqlite3, "sqlite_version_info", version)
    monkeypatch.setattr(sqlite3, "sqlite_version", ".".join(map(str, version)))
    wal = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL"
    with sqlite(tmp_path / "book.sqlite3", init_command=wal) as opened:
        found = durability.faults(opened)
    assert [("can lose commits in WAL mode" in fault) for fault in found] == [True] * refused


def test_every_fault_is_named_at_once(tmp_path):
    unsafe = {"transaction_mode": None, "init_command": "PRAGMA synchronous=OFF; PRAGMA foreign_keys=OFF"}
    with (
        sqlite(tmp_path / "book.sqlite3", **unsafe) as opened,
        pytest.raises(ImproperlyConfigured, match=r"DEFERRED.*synchronous is OFF.*foreign_keys is off"),
    ):
        durability.refuse_unsafe(opened)


MOUNTS = """\
/dev/vda1 / ext4 rw 0 0
server:/farm /mnt/farm nfs4 rw 0 0
//office/share /mnt/with\\040space cifs rw 0 0
/dev/vdb1 /mnt/farm/local ext4 rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/srv/book.sqlite3", "ext4"),
        ("/mnt/farm/book.sqlite3", "nfs4"),
        ("/mnt/with space/book.sqlite3", "cifs"),
        ("/mnt/farm/local/book.sqlite3", "ext4"),
        ("/mnt/farmyard/book.sqlite3", "ext4"),
    ],
)
def test_the_file_system_is_that_of_the_deepest_mount(path, kind):
    assert durability.file_system_of(Path(path), MOUNTS) == kind


def test_a_network_share_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(durability, "file_system_of", lambda path: "nfs4")
    with sqlite(tmp_path / "book.sqlite3") as opened:
        assert ["network share (nfs4)" in fault for fault in durability.faults(opened)] == [True]


def answering(**shown: str) -> SimpleNamespace:
    """Stand in for a connection to a PostgreSQL server that answers SHOW so."""

    class Cursor:
        def __enter__(self):
            return self

        def __exit__(self, *raised):
            return None

        def execute(self, statement):
            verb, self.name = statement.split()
            assert verb == "SHOW"

        def fetchone(self):
            return (shown[self.name],)

    return SimpleNamespace(vendor="postgresql", cursor=Cursor)


def test_a_postgresql_with_everything_on_is_accepted():
    assert durability.faults(answering(**SAFE_POSTGRESQL)) == []


@pytest.mark.parametrize("name", SAFE_POSTGRESQL)
def test_a_postgresql_that_could_lose_a_move_is_refused_by_name(name):
    with pytest.raises(ImproperlyConfigured, match=f"PostgreSQL runs with {name}=off.*set {name} to on"):
        durability.refuse_unsafe(answering(**{**SAFE_POSTGRESQL, name: "off"}))


def test_another_database_is_refused():
    with pytest.raises(ImproperlyConfigured, match="on SQLite or PostgreSQL, not on oracle"):
        durability.refuse_unsafe(SimpleNamespace(vendor="oracle"))


def test_the_first_connection_of_a_program_is_looked_at_and_closed_when_unsafe(tmp_path, monkeypatch):
    monkeypatch.setattr(durability, "_checked", set())
    with sqlite(tmp_path / "book.sqlite3", transaction_mode=None) as opened:
        with pytest.raises(ImproperlyConfigured, match="DEFERRED"):
            opened.ensure_connection()
        # Refused again at the next try, not let through because it has been looked at once.
        with pytest.raises(ImproperlyConfigured, match="DEFERRED"):
            opened.ensure_connection()
