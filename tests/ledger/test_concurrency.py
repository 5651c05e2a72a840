"""Real processes on a real database of their own: nothing lost, nothing doubled, nothing but honest refusals.

The race itself is that of `manage.py bench`; here it must be won.
"""

import pytest
from django.conf import settings

from stock.bench.scratch import run_module, scratch_database

pytestmark = pytest.mark.both_databases

PROCESSES, POSTS, KILLS = 8, 4000, 30


@pytest.fixture
def scratch():
    configured = settings.DATABASES["default"]
    url = ""
    if configured["ENGINE"].endswith("postgresql"):
        url = "postgresql://{USER}:{PASSWORD}@{HOST}:{PORT}/postgres".format(**configured)
    with scratch_database(url, on_disk=False) as environment:
        yield environment


def assert_nothing_is_wrong(race):
    assert race["errors"] == []
    assert race["lost"] == 0
    assert race["torn_or_doubled"] == 0
    assert race["differences"] == []
    # A killed process may have been about to say so; nobody else may post without a word.
    assert race["never_told"] <= race["killed"]


def test_eight_processes_post_to_few_heads_and_one_is_killed(scratch):
    race = run_module(scratch, "stock.bench.race", "--processes", str(PROCESSES), "--posts", str(POSTS))
    assert_nothing_is_wrong(race)
    assert race["killed"] == 1
    refused = sum(race["refused"].values())
    assert race["posts"] == race["accepted"] + refused
    assert race["posts"] > POSTS * (PROCESSES - 1) / PROCESSES
    assert race["accepted"] >= 0.3 * race["posts"]
    assert refused >= 0.3 * race["posts"]
    assert race["replays"] >= 50
    # Each of these was raced for: the two closes by all eight, reversals and clashing keys by chance.
    assert race["refused"]["CannotClose"] >= PROCESSES - 1
    assert race["refused"]["KeyReused"] >= 5
    assert race["refused"]["AlreadyReversed"] >= 5


def test_thirty_processes_killed_mid_post_lose_nothing_they_were_told(scratch):
    race = run_module(scratch, "stock.bench.race", "--one-by-one", "--kills", str(KILLS))
    assert_nothing_is_wrong(race)
    assert race["killed"] == KILLS
    assert race["accepted"] >= KILLS
