"""The program on a farm's network: HTTPS settings, a check without warnings, a start that refuses what is unsafe."""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FARM = {
    "SCUTEBOOK_HTTPS": "true",
    "SCUTEBOOK_HOSTS": "book.farm.example",
    "SCUTEBOOK_ORIGINS": "https://book.farm.example",
}


def run(arguments: list[str], data: Path, **more: str) -> subprocess.CompletedProcess:
    """Run Python on the farm's own settings, with nothing of the tests' in its environment."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("SCUTEBOOK_", "DJANGO_", "PYTEST_")) and name != "DATABASE_URL"
    }
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env={**kept, "SCUTEBOOK_DATA": str(data), **more},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def ask_settings(expression: str, data: Path, **more: str) -> str:
    """Return what an expression over the farm's settings gives, in a program of its own."""
    done = run(
        ["-c", f"from config import settings as s; print({expression})"],
        data,
        DJANGO_SETTINGS_MODULE="config.settings",
        **more,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_deployment_check_warns_of_nothing_on_the_farms_network(tmp_path):
    done = run(["manage.py", "check", "--deploy", "--fail-level", "WARNING"], tmp_path, **FARM)
    assert done.returncode == 0, done.stderr
    assert "no issues (0 silenced)" in done.stdout


def test_on_the_farms_network_cookies_travel_by_https_only(tmp_path):
    asked = "s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS >= 31536000"
    assert ask_settings(asked, tmp_path, **FARM) == "True True True True"


def test_on_the_farms_network_cookies_are_bound_to_this_host(tmp_path):
    asked = "s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.SESSION_COOKIE_HTTPONLY, s.SESSION_COOKIE_SAMESITE"
    assert ask_settings(asked, tmp_path, **FARM) == "__Host-sessionid __Host-csrftoken True Lax"


SERVE_A_PAGE = """
import re
import django
django.setup()
from django.core.management import call_command
from django.test import Client
call_command("migrate", verbosity=0)
call_command("collectstatic", interactive=False, verbosity=0)
from config.wsgi import application
client = Client(headers={"host": "127.0.0.1"})
page = client.get("/sign-in/")
for address in re.findall(r'(?:src|href)="(/static/[^"]+)"', page.content.decode()):
    answer = client.get(address)
    print(address, answer.status_code, "immutable" in answer.headers["Cache-Control"],
          answer.headers["Content-Security-Policy"] == page.headers["Content-Security-Policy"])
"""


def test_in_production_every_file_of_a_page_is_served_under_a_hashed_name_with_the_policy(tmp_path):
    done = run(["-c", SERVE_A_PAGE], tmp_path, DJANGO_SETTINGS_MODULE="config.settings")
    assert done.returncode == 0, done.stderr
    served = done.stdout.splitlines()
    assert {re.sub(r"\.[0-9a-f]{12}\.", ".", line.split()[0]) for line in served} >= {
        "/static/config/app.css",
        "/static/config/app.js",
    }
    for line in served:
        assert re.fullmatch(r"/static/\S+\.[0-9a-f]{12}\.\w+ 200 True True", line), line


def test_on_one_machine_plain_http_works(tmp_path):
    asked = "s.SESSION_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS, s.DEBUG"
    assert ask_settings(asked, tmp_path) == "False False 0 False"


def test_no_name_is_answered_to_by_default_but_this_machines(tmp_path):
    assert ask_settings("*s.ALLOWED_HOSTS", tmp_path) == "127.0.0.1 localhost [::1]"


def test_the_key_is_kept_in_the_data_folder_and_not_printed_by_the_check(tmp_path):
    key = ask_settings("s.SECRET_KEY", tmp_path)
    assert (tmp_path / "secret_key").read_text() == key
    done = run(["manage.py", "check", "--deploy"], tmp_path)
    assert key not in done.stdout + done.stderr


def test_a_key_that_others_can_read_stops_the_program(tmp_path):
    ask_settings("s.SECRET_KEY", tmp_path)
    (tmp_path / "secret_key").chmod(0o644)
    done = run(["manage.py", "check"], tmp_path)
    assert done.returncode != 0
    assert "chmod 600" in done.stderr


UNSAFE_START = """
from config import durability
durability.sqlite_options = lambda: {options!r}
import django
from django.conf import settings
{then}
"""


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"init_command": "PRAGMA synchronous=EXTRA"}, "open as DEFERRED"),
        (
            {"transaction_mode": "IMMEDIATE", "init_command": "PRAGMA synchronous=NORMAL"},
            "synchronous is NORMAL",
        ),
    ],
    ids=["deferred", "normal"],
)
@pytest.mark.parametrize(
    "then",
    [
        "import config.wsgi",
        "django.setup(); from django.core.management import call_command; call_command('migrate')",
    ],
    ids=["server", "command"],
)
def test_the_program_refuses_to_start_where_a_move_could_be_lost(tmp_path, options, words, then):
    start = UNSAFE_START.format(options=options, then=then)
    done = run(["-c", start], tmp_path, DJANGO_SETTINGS_MODULE="config.settings")
    assert done.returncode != 0
    assert "ImproperlyConfigured" in done.stderr
    assert words in done.stderr


def test_the_program_starts_where_all_is_sound_and_its_file_keeps_the_mode(tmp_path):
    done = run(
        ["-c", "import config.wsgi; print('started')"], tmp_path, DJANGO_SETTINGS_MODULE="config.settings"
    )
    assert (done.returncode, done.stdout.strip()) == (0, "started"), done.stderr
    opened = sqlite3.connect(tmp_path / "register.sqlite3")
    from config.durability import wal_is_sound

    expected = "wal" if wal_is_sound(sqlite3.sqlite_version_info) else "delete"
    assert opened.execute("PRAGMA journal_mode").fetchone() == (expected,)
    opened.close()
