"""A scratch database of the kind that is configured, made for one benchmark and thrown away; never the farm's."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

MEMORY = "/dev/shm"  # noqa: S108 (a temporary folder of our own is made inside)
ROOT = Path(__file__).resolve().parents[2]


@contextlib.contextmanager
def scratch_database(url: str | None = None, *, on_disk: bool = True) -> Iterator[dict[str, str]]:
    """
    Yield the environment of a migrated, empty database.

    On PostgreSQL (`url`, or DATABASE_URL when not given) it is a database of its own on the same server, else
    a SQLite file in a temporary folder; not `on_disk`, that folder is in memory where the machine has such a
    one. Killed processes cannot tell the two apart, but only a disk takes its time.
    """
    url = os.environ.get("DATABASE_URL", "") if url is None else url
    memory = None if on_disk or not os.access(MEMORY, os.W_OK) else MEMORY
    with tempfile.TemporaryDirectory(prefix="scutebook-bench-", dir=memory) as folder:
        environment = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "SCUTEBOOK_DATA": folder,
            "PYTHONPATH": str(ROOT),
        }
        environment.pop("SCUTEBOOK_TEST_SQLITE", None)
        if not url.startswith("postgres"):
            environment.pop("DATABASE_URL", None)
            _migrate(environment)
            yield environment
            return
        import psycopg

        name = f"scutebook_bench_{uuid.uuid4().hex[:12]}"
        with psycopg.connect(url, autocommit=True) as server:
            server.execute(f'CREATE DATABASE "{name}"')
            try:
                environment["DATABASE_URL"] = urlunsplit(urlsplit(url)._replace(path=f"/{name}"))
                _migrate(environment)
                yield environment
            finally:
                server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def run_module(environment: dict[str, str], module: str, *words: str) -> dict:
    """Run a module by itself in a scratch environment and return the JSON that it prints."""
    done = subprocess.run(  # noqa: S603 (our own module, with our own words)
        [sys.executable, "-m", module, *words],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
    )
    if done.returncode:
        raise RuntimeError(f"{module} ended with {done.returncode}: {done.stderr[-2000:]}")
    return json.loads(done.stdout)


def _migrate(environment: dict[str, str]) -> None:
    subprocess.run(  # noqa: S603
        [sys.executable, str(ROOT / "manage.py"), "migrate", "--verbosity", "0"],
        env=environment,
        check=True,
        timeout=300,
    )
