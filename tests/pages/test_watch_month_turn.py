"""A signal of the month just over stands through the next one, until somebody notes it."""

import datetime as dt
import html
import uuid
from types import SimpleNamespace

import pytest
from django.urls import reverse

from ponds.models import Pond
from stock.advisor.farm_watch import DeathSignal
from stock.advisor.farm_watch_all import ALL, FarmSignals, still_standing
from stock.drafts import BatchDraft
from stock.models import WatchNote
from stock.watch_book import acknowledge
from stock.watch_facts import farm_watch
from stock.watch_page import signals_on, watch_lines
from tests.factories import PondFactory
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db
STOP = "Stop all moves into the pond and out of it, and call a veterinarian."


@pytest.fixture
def farm(owner):
    """Six ponds with two deaths a month in each, but for the last two months."""
    farm = FarmOfPonds(owner.user)
    for code in "ABCDEF":
        farm.pond(code, days=480, females=300, males=100)
    day = month_before(farm.today)
    for _ in range(13):
        day = month_before(day)
        if day != month_before(month_before(farm.today)):
            farm.post(*(("FEMALE", code, "DIED", 2) for code in "ABCDEF"), days=(farm.today - day).days)
    return farm


def month_before(day: dt.date) -> dt.date:
    """Return the last day of the month before."""
    return day.replace(day=1) - dt.timedelta(days=1)


def die(farm, on: dt.date, females=10, code="B"):
    """Heads found dead at the end of a month, logged today."""
    return farm.post(("FEMALE", code, "DIED", females), days=(farm.today - on).days)


def note(line, owner, farm):
    return acknowledge(line, note="The fence was down.", key=uuid.uuid4(), by=owner.user, today=farm.today)


def words(response) -> str:
    return html.unescape(response.content.decode())


def test_the_dead_of_a_months_last_day_stop_moves_on_every_page_of_the_next_month(owner, farm):
    last = month_before(farm.today)
    pages = {
        "today": ("/", {}),
        "log": ("/log/", {"pond": "B"}),
        "pond": ("/ponds/B/", {}),
        "new females": ("/new-females/", {"kind": "slider", "heads": "5", "pond-B": "5"}),
        "farm plan": ("/plan/", {"kind": "slider"}),
        "review": (reverse("stock:review-pond", args=[f"{farm.today:%Y-%m}", "B"]), {}),
        "watch": ("/watch/", {}),
    }
    told = f"died in {last:%B %Y}"
    for url, asked in pages.values():
        assert told not in words(owner.get(url, asked))
    die(farm, last)
    (line,) = signals_on(farm.today)
    assert (line.pond_code, line.title, line.remedy) == ("B", "more deaths in a month", STOP)
    assert line.sentence.startswith(f"10 adults died in {last:%B %Y}, where ")
    for name, (url, asked) in pages.items():
        assert line.sentence in words(owner.get(url, asked)), name
    note(line, owner, farm)
    assert signals_on(farm.today) == []
    assert told not in words(owner.get("/log/", {"pond": "B"}))
    # Whoever noted it still finds it among what was looked into, while the month runs.
    assert "Looked into, and not grown since" in words(owner.get("/watch/"))


def test_it_says_the_same_from_the_day_it_was_found_through_the_next_month_and_no_longer(farm):
    last = month_before(month_before(farm.today))
    die(farm, last)
    next_month = last + dt.timedelta(days=1)
    found = [
        [(line.subject, line.sentence) for line in signals_on(day)]
        for day in (last, next_month, month_before(farm.today))
    ]
    assert len(found[0]) == 1
    assert found[0] == found[1] == found[2]
    assert signals_on(farm.today) == []


def test_what_was_noted_in_its_own_month_is_not_told_again_in_the_next(owner, farm):
    die(farm, farm.today)
    (line,) = signals_on(farm.today)
    turned = (farm.today.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    assert [one.subject for one in signals_on(turned)] == [line.subject]
    note(line, owner, farm)
    assert watch_lines(farm_watch(turned)) == []


def test_deaths_after_a_batch_stand_as_long_on_the_pond_where_they_died(owner, farm):
    """A batch whose days ended in the month before; another of its ponds has lost more since."""
    came = month_before(farm.today).replace(day=1) - dt.timedelta(days=30)
    days = (farm.today - came).days
    for code in "QR":
        PondFactory(code=code, kinds=[farm.slider])
    farm.post(*(("FEMALE", "BOUGHT", code, 80, {"batch": "SPRING-1"}) for code in "QR"), days=days,
              batches=(BatchDraft("SPRING-1", "BOUGHT", came),))  # fmt: skip
    farm.post(("FEMALE", "Q", "DIED", 7), ("FEMALE", "R", "DIED", 1), days=days - 29)
    farm.post(("FEMALE", "R", "DIED", 2), days=1)
    lines = {line.subject: line for line in signals_on(farm.today)}
    assert lines["batch SPRING-1"].pond_code == "Q"
    assert "more deaths in a month" not in {line.title for line in lines.values()}
    note(lines["batch SPRING-1"], owner, farm)
    assert "batch SPRING-1" not in {line.subject for line in signals_on(farm.today)}


def test_the_months_own_dead_are_told_where_the_worse_ones_of_the_month_before_were_answered(owner, farm):
    """A page that drops what was noted in its own month must not drop with it what came behind it since."""
    pond = Pond.objects.get(code="B")
    kind = pond.kinds_allowed.get()
    older = DeathSignal(0, "slow", 14, 24, 40, 21.8, 9.0, 0.001, 0.1, 0.1)
    newer = DeathSignal(0, "burst", 25, 25, 13, 2.6, 9.0, 0.001, 0.1, 0.1)
    both = still_standing(FarmSignals(((ALL, newer),), ()), FarmSignals(((ALL, older),), ()))
    months = [dt.date(2024 + (place + 3) // 12, (place + 3) % 12 + 1, 1) for place in range(26)]
    read = SimpleNamespace(places=[(pond.pk, kind.pk)], months=months)
    found = SimpleNamespace(
        day=months[-1].replace(day=20), read=read, deaths=both.deaths, behind=both.behind,
        lopsided=(), batches=(), unseen=(),
    )  # fmt: skip
    (line,) = watch_lines(found, with_charts=False)
    assert line.sentence.startswith("40 adults died since June 2025")
    WatchNote.objects.create(
        pond=pond, kind=kind, subject=line.subject, excess=line.excess, noted_on=months[-1] - dt.timedelta(days=5),
        note="The fence was down.", by=owner.user, key=uuid.uuid4(),
    )  # fmt: skip
    (line,) = watch_lines(found, with_charts=False)
    assert line.sentence.startswith("13 adults died in May 2026")
