"""A verified copy of the whole register, its photographs in a file beside it, and putting both back.

SQLite is copied by its own online backup, PostgreSQL by `pg_dump`; both while people work. A copy counts as
verified only once it was opened by itself and its ledger recomputed. Beside FILE lies FILE.manifest.json: what
it holds, and the sum by which a damaged file is known.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote, urlsplit, urlunsplit

from django.conf import settings
from django.contrib.auth.models import User
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from config.photo_backup import PhotosUnsound, check_photos, copy_photos, photos_of, put_back_photos
from ponds.models import NestDay, Pond
from stock.models import Count, Entry, Haul, Move

COUNTED = {
    "ponds": Pond, "moves": Move, "entries": Entry, "hauls": Haul, "counts": Count, "nest_days": NestDay,
    "people": User,
}  # fmt: skip
PAGES_AT_ONCE = 2000
RESTORED_IN = "scutebook_restored"


class CannotBackUp(Exception):
    """A copy that could not be made or put back; the text is for the person who asked."""


def manifest_of(file: Path) -> Path:
    """Return where the manifest of a backup file lies."""
    return file.with_name(f"{file.name}.manifest.json")


def back_up(file: Path, *, say: Callable[[str], None] = lambda words: None) -> dict[str, Any]:
    """
    Copy the register into `file`, verify the copy, and return its manifest.

    Nothing stands under the name of `file` until the copy was verified.

    Raises
    ------
    CannotBackUp
        The file stands already, cannot be written, or the copy does not hold.
    """
    for taken in (file, photos_of(file)):
        if taken.exists():
            raise CannotBackUp(
                f"{taken} stands already, and a backup never overwrites one. Give another name."
            )
    if not file.parent.is_dir():
        raise CannotBackUp(f"There is no folder {file.parent}. Make it first, or give another name.")
    part = file.with_name(f"{file.name}.part")
    engine = _engine()
    try:
        say("Copying ...")
        _make_private(part)
        engine.copy_to(part)
        say("Verifying the copy ...")
        with engine.opened(part) as url:
            totals = _totals(url)
        totals |= copy_photos(file)
        manifest = _write_manifest(engine, part, totals, of=file, is_verified=True)
        part.replace(file)
    except PhotosUnsound as unsound:
        raise CannotBackUp(str(unsound)) from unsound
    except OSError as error:
        raise CannotBackUp(f"{file} cannot be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
        if not file.exists():
            photos_of(file).unlink(missing_ok=True)
    last_backup_note().write_text(json.dumps({"file": str(file), **manifest}) + "\n")
    return manifest


def restore(file: Path, *, replace: bool, say: Callable[[str], None] = lambda words: None) -> dict[str, Any]:
    """
    Put a backup in the place of the register, and return its manifest.

    Raises
    ------
    CannotBackUp
        The file is not the one its manifest describes, is of the other database, or the register holds
        anything and `replace` is not set. The register is as it was then.
    """
    if not file.is_file():
        raise CannotBackUp(f"There is no file {file}.")
    if not manifest_of(file).is_file():
        raise CannotBackUp(
            f"{manifest_of(file).name} is missing beside {file.name}: without it nothing is known of it."
        )
    manifest = json.loads(manifest_of(file).read_text())
    if manifest.get("sha256") != _sum_of(file):
        raise CannotBackUp(
            f"{file.name} is not as it was made: its SHA-256 differs from the manifest's. Use another."
        )
    engine = _engine()
    if manifest.get("database") != engine.name:
        raise CannotBackUp(
            f"{file.name} was made on {manifest.get('database')}, and this register is on {engine.name}. "
            "Restore it where DATABASE_URL names such a database."
        )
    _with_sentence(check_photos, file, manifest)
    held = _held_here()
    if held and not replace:
        raise CannotBackUp(
            f"This register holds {held}. Give --replace to put the backup in its place; a copy of what stands now "
            "is kept first."
        )
    with engine.opened(file) as url:
        # An older backup's tables are not this program's; it is recomputed once it was restored and brought up.
        is_older = manifest.get("schema") != _last_schema()
        if not is_older and _totals(url) != {name: manifest.get(name) for name in (*COUNTED, "schema")}:
            raise CannotBackUp(f"{file.name} does not hold what its manifest says. Use another.")
    if held:
        kept = Path(settings.DATA_DIR) / f"before-restore-{dt.datetime.now(dt.UTC):%Y%m%d-%H%M%S}"
        say(f"Keeping what stands now as {kept} ...")
        _keep(engine, kept)
    say("Restoring ...")
    engine.restore_from(file)
    _with_sentence(put_back_photos, file, manifest)
    return manifest


def _with_sentence(
    do: Callable[[Path, dict[str, Any]], object], file: Path, manifest: dict[str, Any]
) -> None:
    try:
        do(file, manifest)
    except PhotosUnsound as unsound:
        raise CannotBackUp(str(unsound)) from unsound


def _make_private(file: Path) -> None:
    """Make an empty file that nobody else on the machine may read: names and password hashes go into it."""
    file.unlink(missing_ok=True)
    os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _keep(engine: _Sqlite | _Postgresql, file: Path) -> None:
    """Copy what stands, sound or not, so that it can be restored like any backup."""
    _make_private(file)
    engine.copy_to(file)
    _write_manifest(engine, file, totals_here(), of=file, is_verified=False)


def _write_manifest(
    engine: _Sqlite | _Postgresql, copy: Path, totals: dict[str, Any], *, of: Path, is_verified: bool
) -> dict[str, Any]:
    """Write what a copy is and holds beside the name `of` it has or will have, and return it."""
    manifest = {
        "made_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        "database": engine.name,
        "bytes": copy.stat().st_size,
        "sha256": _sum_of(copy),
        "verified": is_verified,
        **totals,
    }
    manifest_of(of).write_text(json.dumps(manifest, indent=1) + "\n")
    return manifest


def last_backup_note() -> Path:
    """Return where it is noted when the last verified backup was made."""
    return Path(settings.DATA_DIR) / "last_backup.json"


def last_backup() -> dict[str, Any] | None:
    """Return what is noted of the last verified backup; None where there is none."""
    try:
        return json.loads(last_backup_note().read_text())  # type: ignore[no-any-return]
    except (OSError, ValueError):
        return None


class _Sqlite:
    name = "sqlite"

    def copy_to(self, file: Path) -> None:
        connection = connections[DEFAULT_DB_ALIAS]
        connection.ensure_connection()
        with closing(sqlite3.connect(file)) as copy:
            connection.connection.backup(copy, pages=PAGES_AT_ONCE)

    @contextmanager
    def opened(self, file: Path) -> Iterator[str]:
        with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True)) as copy:
            try:
                found = [
                    *copy.execute("PRAGMA integrity_check(3)"),
                    *copy.execute("PRAGMA foreign_key_check"),
                ]
            except sqlite3.DatabaseError as error:
                raise CannotBackUp(f"{file.name} is no sound database: {error}.") from error
            if found != [("ok",)]:
                raise CannotBackUp(f"{file.name} is damaged: {found[0]}.")
        yield f"sqlite:///{file.resolve()}"

    def restore_from(self, file: Path) -> None:
        connection = connections[DEFAULT_DB_ALIAS]
        connection.ensure_connection()
        with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True)) as copy:
            copy.backup(connection.connection)


class _Postgresql:
    name = "postgresql"

    def copy_to(self, file: Path) -> None:
        _run("pg_dump", "--format=custom", "--no-owner", f"--file={file}", f"--dbname={_url()}")

    @contextmanager
    def opened(self, file: Path) -> Iterator[str]:
        # A dump can only be opened by restoring it: into a database of its own, which goes again.
        scratch = f"{RESTORED_IN}_{os.getpid()}"
        url = _url(scratch)
        _run("psql", "--quiet", f"--command=CREATE DATABASE {scratch}", f"--dbname={_url()}")
        try:
            _run("pg_restore", "--no-owner", "--exit-on-error", f"--dbname={url}", str(file))
            yield url
        finally:
            _run("psql", "--quiet", f"--command=DROP DATABASE {scratch}", f"--dbname={_url()}")

    def restore_from(self, file: Path) -> None:
        # All in one transaction: it comes whole or not at all. The schema goes first, for a newer program's
        # tables stand in no older dump.
        connections[DEFAULT_DB_ALIAS].close()
        script = file.with_name(f"{file.name}.{os.getpid()}.sql")
        _make_private(script)
        try:
            _run("pg_restore", "--no-owner", f"--file={script}", str(file))
            wiped = "DROP SCHEMA IF EXISTS public CASCADE; CREATE SCHEMA public"
            options = ("--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1", "--output=/dev/null")
            _run("psql", *options, f"--command={wiped}", f"--file={script}", f"--dbname={_url()}")
        finally:
            script.unlink(missing_ok=True)


def _engine() -> _Sqlite | _Postgresql:
    return _Sqlite() if connections[DEFAULT_DB_ALIAS].vendor == "sqlite" else _Postgresql()


def _url(database: str = "") -> str:
    asked = connections[DEFAULT_DB_ALIAS].settings_dict
    person = quote(asked["USER"] or "", safe="")
    if asked["PASSWORD"]:
        person += ":" + quote(asked["PASSWORD"], safe="")
    port = f":{asked['PORT']}" if asked["PORT"] else ""
    name = database or asked["NAME"]
    return urlunsplit(
        ("postgres", f"{person}@{asked['HOST'] or 'localhost'}{port}", f"/{quote(name)}", "", "")
    )


def _run(program: str, *arguments: str) -> None:
    path = shutil.which(program)
    if path is None:
        raise CannotBackUp(f"{program} is not on this machine; install PostgreSQL's client programs.")
    # The password goes by the environment: arguments can be read by everybody on the machine.
    secret = unquote(urlsplit(_url()).password or "")
    hidden = [
        argument.replace(f":{quote(secret, safe='')}@", "@") if secret else argument for argument in arguments
    ]
    done = subprocess.run(  # noqa: S603 (a program of PostgreSQL's, arguments our own)
        [path, *hidden], capture_output=True, text=True, check=False, env={**os.environ, "PGPASSWORD": secret}
    )
    if done.returncode:
        raise CannotBackUp(
            f"{program} failed: {done.stderr.strip().splitlines()[-1] if done.stderr else done.returncode}"
        )


def _totals(url: str) -> dict[str, Any]:
    """Open a copy in a process of its own, recompute its ledger, and return what it holds."""
    done = subprocess.run(  # noqa: S603 (this very program)
        [sys.executable, str(Path(settings.BASE_DIR) / "manage.py"), "backup", "--totals"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "DATABASE_URL": url, "SCUTEBOOK_DATA": str(settings.DATA_DIR)},
    )
    if done.returncode:
        words = (done.stdout + done.stderr).strip().splitlines()
        raise CannotBackUp(f"The copy does not hold: {words[-1] if words else 'it cannot be opened'}")
    return json.loads(done.stdout.splitlines()[-1])  # type: ignore[no-any-return]


def totals_here() -> dict[str, Any]:
    """Return how many rows of each kind stand in the register, and the last migration of the ledger."""
    applied = MigrationRecorder(connections[DEFAULT_DB_ALIAS]).migration_qs.filter(app="stock")
    last = applied.order_by("-name").values_list("name", flat=True).first()
    return {**{name: model._default_manager.count() for name, model in COUNTED.items()}, "schema": last or ""}


def _last_schema() -> str:
    """Return the last migration of the ledger that this program knows."""
    return max(name for app, name in MigrationLoader(None).disk_migrations if app == "stock")


def _held_here() -> str:
    """Say what the register holds; "" where it has no tables or nobody and nothing in it."""
    tables = connections[DEFAULT_DB_ALIAS].introspection.table_names()
    if Move._meta.db_table not in tables:
        return ""
    totals = totals_here()
    if not any(totals[name] for name in COUNTED):
        return ""
    return f"{totals['ponds']:,} ponds, {totals['moves']:,} moves and {totals['people']:,} people"


def _sum_of(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()
