"""The demo farm: it loads whole on any day, its last day is yesterday, and every story is there to be found."""

from __future__ import annotations

import datetime as dt
import os
import random
import re
import socket
import stat
import subprocess
import sys
import time
import traceback
import urllib.request
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.urls import reverse

from ponds.models import Farm, NestDay, Pond
from ponds.roles import role_of
from stock import mixes
from stock.check import differences
from stock.demo import DemoRefused, is_loaded, load_demo
from stock.demo_days import DemoDays, is_just_logged
from stock.demo_sign_in import PEOPLE, sign_in_file, sign_in_lines
from stock.management.commands.demo import refuse_busy
from stock.models import Entry, Move
from tests.demo_by_pandas import (
    the_year_and_its_months_are_what_pandas_makes_of_the_exports,
    the_years_nests_are_those_of_the_exported_nest_book,
)
from tests.demo_stories import STORIES, Loaded
from tests.one_word_a_pond import every_page_says_the_same_of_a_pond

# New Year, before and after the spring seines, mid-nesting, late summer, autumn, and a leap day.
DAYS = ["2027-01-02", "2027-03-01", "2027-05-20", "2027-08-15", "2026-11-25", "2028-02-29"]
DAYS_BY_PANDAS = {"2027-08-15", "2026-11-25"}


@pytest.mark.both_databases
@pytest.mark.django_db
@pytest.mark.parametrize("day", DAYS)
def test_on_any_day_the_farm_loads_whole_and_every_story_is_there(day, monkeypatch):
    farm = Loaded(dt.date.fromisoformat(day))
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: farm.today)
    figures = load_demo(today=farm.today)

    mixes.roll(farm.today)
    assert differences() == []
    assert Move.objects.latest("happened_on").happened_on == farm.last
    assert Entry.objects.latest("booked_on").booked_on == farm.last
    assert NestDay.objects.latest("dug_on").dug_on <= farm.last
    assert Move.objects.earliest("happened_on").happened_on.year == farm.today.year - 3
    assert figures.moves == Move.objects.count()
    assert 400 <= figures.moves <= 1000
    assert 900 <= figures.nest_rows <= 2500
    missing = []
    for story in STORIES:
        try:
            story(farm)
        except AssertionError as refused:
            broken = traceback.extract_tb(refused.__traceback__)[-1]
            missing.append(f"{story.__name__}: {broken.line} {refused}")
    assert not missing, "\n".join(missing)
    if day in DAYS_BY_PANDAS:
        the_year_and_its_months_are_what_pandas_makes_of_the_exports(farm)
        the_years_nests_are_those_of_the_exported_nest_book(farm)
        every_page_says_the_same_of_a_pond(farm)


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("Y-0 05-14", "2027-05-14"),
        ("Y-2 05-14", "2025-05-14"),
        ("D-0", "2027-01-01"),
        ("D-12", "2026-12-20"),
        ("D+9", "2027-01-10"),
    ],
)
def test_days_are_written_from_the_year_and_from_yesterday(written, day):
    assert DemoDays(dt.date(2027, 1, 2)).day(written) == dt.date.fromisoformat(day)


@pytest.mark.parametrize("written", ["2026-05-14", "Y-2 13-01", "D 4", ""])
def test_a_day_written_otherwise_is_refused(written):
    with pytest.raises(ValueError, match=r"not a day of the demo farm|month must be"):
        DemoDays(dt.date(2027, 1, 2)).day(written)


def test_days_to_come_are_left_out_and_the_last_few_are_news():
    days = DemoDays(dt.date(2027, 1, 2))
    assert days.has_come("Y-0 01-01")
    assert not days.has_come("Y-0 01-02")
    assert days.words("bill of sale {Y-2}-071") == "bill of sale 2025-071"
    assert [is_just_logged(day) for day in ("D-3", "D-0", "D-4", "D+1", "Y-0 01-01")] == [
        True,
        True,
        False,
        False,
        False,
    ]


@pytest.fixture
def no_phrase_yet():
    sign_in_file().unlink(missing_ok=True)
    yield
    sign_in_file().unlink(missing_ok=True)


@pytest.mark.django_db
def test_the_command_loads_once_and_is_safe_to_run_again(no_phrase_yet):
    first, again = StringIO(), StringIO()
    call_command("demo", "--no-serve", stdout=first)
    moves, nests = Move.objects.count(), NestDay.objects.count()
    call_command("demo", "--no-serve", stdout=again)

    assert (Move.objects.count(), NestDay.objects.count()) == (moves, nests)
    assert Farm.objects.get().is_demo
    assert Move.objects.latest("happened_on").happened_on == Farm.objects.get().today() - dt.timedelta(days=1)
    assert "loaded already" in again.getvalue()
    phrases = [re.search(r"Pass phrase: (\S+)", said.getvalue())[1] for said in (first, again)]
    assert phrases[0] == phrases[1]
    for name, role in PEOPLE.items():
        person = User.objects.get(username=name)
        assert role_of(person) == role
        assert person.check_password(phrases[0])
    assert stat.S_IMODE(sign_in_file().stat().st_mode) == 0o600
    with pytest.raises(DemoRefused, match="loaded already"):
        load_demo()


@pytest.mark.django_db
def test_a_person_who_chose_another_phrase_keeps_it(no_phrase_yet, make_person):
    for name, role in PEOPLE.items():
        make_person(role, name)
    sign_in_lines()
    ibis = User.objects.get(username="ibis")
    ibis.set_password("chosen by ibis herself")
    ibis.save()

    lines = sign_in_lines()

    assert [line for line in lines if "of their own" in line] == [
        "  ibis   hand (with a pass phrase of their own)"
    ]
    ibis.refresh_from_db()
    assert ibis.check_password("chosen by ibis herself")


@pytest.mark.django_db
@pytest.mark.parametrize("held", ["people", "ponds"])
def test_a_database_that_holds_anything_else_is_not_touched(held, make_person):
    if held == "people":
        make_person("owner")
    else:
        Pond.objects.create(code="A", opened_on=dt.date(2020, 1, 1))
    before = (User.objects.count(), Pond.objects.count())

    with pytest.raises(CommandError, match=rf"holds a farm already \({held}\).*nothing was touched"):
        call_command("demo", "--no-serve", stdout=StringIO())

    assert (User.objects.count(), Pond.objects.count()) == before
    assert not Farm.objects.get().is_demo
    assert not is_loaded()


@pytest.mark.django_db
def test_a_loading_that_fails_leaves_nothing(monkeypatch):
    def fail(*args, **kwargs):
        raise RuntimeError("the power went")

    monkeypatch.setattr("stock.demo._Loading._nests", fail)
    with pytest.raises(RuntimeError, match="the power went"):
        load_demo()

    assert (Move.objects.count(), Pond.objects.count(), User.objects.count()) == (0, 0, 0)
    assert not is_loaded()


def test_a_busy_port_is_said_before_anything_is_done():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Port {port} cannot be used .*--port {port + 1}"):
            refuse_busy(port)
    with pytest.raises(CommandError, match="0 is not a port"):
        refuse_busy(0)


def test_the_demo_is_served_and_says_where(tmp_path):
    port = _port_that_nobody_is_given()
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("SCUTEBOOK_", "DJANGO_", "DATABASE_"))
    }
    server = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=settings.BASE_DIR,
        env={**kept, "SCUTEBOOK_DATA": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        said = ""
        for line in server.stdout:
            said += line
            if "Ctrl-C" in line:
                break
        assert f"http://127.0.0.1:{port}/" in said, said
        assert "Pass phrase: " in said, said
        assert _answers(f"http://127.0.0.1:{port}/up/", server) == 200
        assert "Sign in" in _page(f"http://127.0.0.1:{port}{reverse('sign-in')}")
    finally:
        server.terminate()
        try:
            server.wait(timeout=60)
        finally:
            server.kill()
    assert Path(tmp_path, "register.sqlite3").is_file()


def _port_that_nobody_is_given() -> int:
    """Return a free port below those that the system hands out: the demo binds it only once it is loaded."""
    given_from = int(Path("/proc/sys/net/ipv4/ip_local_port_range").read_text(encoding="ascii").split()[0])
    for port in random.sample(range(10_000, given_from), 50):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError(f"No port of 50 between 10000 and {given_from} is free.")


def _answers(address: str, server: subprocess.Popen) -> int:
    """Ask until the server answers or has ended, for at most two minutes."""
    until = time.monotonic() + 120
    while server.poll() is None and time.monotonic() < until:
        try:
            with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310  (our own server)
                return answer.status
        except OSError:
            time.sleep(0.2)
    raise AssertionError(f"{address} does not answer.")


def _page(address: str) -> str:
    with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310  (our own server)
        return answer.read().decode()
