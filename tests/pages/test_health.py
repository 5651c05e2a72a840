"""What the owner sees of the database, and what anybody may ask."""

from __future__ import annotations

import sqlite3

import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.urls import reverse

from stock import append_only

pytestmark = pytest.mark.django_db


def test_anybody_may_ask_whether_it_runs_and_learns_nothing_else(nobody):
    answer = nobody.get("/up/")
    assert (answer.status_code, answer.json()) == (200, {"up": True})


def test_the_owner_sees_database_version_and_mode(owner):
    page = owner.get(reverse("health")).content.decode()
    assert "nothing here could lose a move" in page
    if connection.vendor == "sqlite":
        expected = ["SQLite", sqlite3.sqlite_version, "Synchronous", "IMMEDIATE", "Foreign keys"]
    else:
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version")
            expected = ["PostgreSQL", cursor.fetchone()[0], "fsync", "synchronous_commit", "data_checksums"]
    for words in expected:
        assert words in page


def test_a_fault_of_the_database_is_shown_with_its_remedy(owner, monkeypatch):
    monkeypatch.setattr(
        "config.durability.faults", lambda _: ["PostgreSQL runs with fsync=off: set fsync to on."]
    )
    page = owner.get(reverse("health")).content.decode()
    assert "1 thing to mend" in page
    assert "fsync=off" in page


def test_a_missing_guard_is_shown(owner):
    append_only.remove(connection)
    page = owner.get(reverse("health")).content.decode()
    assert "The guard stock_entry_no_update is missing" in page
    append_only.install(connection)


def test_a_migration_that_has_not_run_is_shown(owner):
    MigrationRecorder(connection).record_unapplied("config", "0001_one_time_passwords")
    page = owner.get(reverse("health")).content.decode()
    assert "The migration config 0001_one_time_passwords has not run" in page
