"""The season's pages on a small farm, each figure held against a plain computation of its own."""

from __future__ import annotations

import datetime as dt
import math
import re
import uuid

import pytest

from ponds import nest_book
from ponds.farm import the_farm
from ponds.models import Kind, KindFigure, Pond
from ponds.seasons import Season
from stock import season_now as season_bridge
from stock import yield_book
from stock.season_now import season_now, whole_weeks
from tests.factories import KindFactory, PondFactory
from tests.pages.bank import put

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

FIGURES = {
    "LAYING_SHARE": (0.4, 0.5, 0.6),
    "NESTS": (2, 3, 4),
    "EGGS": (7, 9, 11),
    "HATCH_SHARE": (0.7, 0.8, 0.9),
    "INCUBATION_DAYS": (60, 65, 70),
    "INCUBATION_TEMPERATURE": (300_150, 301_150, 302_150),
}
TODAY = dt.date(2026, 6, 10)
THROUGH = dt.date(2026, 6, 7)


def make_kind(code: str, name: str) -> Kind:
    kind = KindFactory(code=code, common_name=name)
    for figure, (low, expected, high) in FIGURES.items():
        typed = {"low_typed": str(low), "expected_typed": str(expected), "high_typed": str(high)}
        held = {"low": low, "expected": expected, "high": high, "source": "invented for this test", **typed}
        KindFigure.objects.update_or_create(kind=kind, name=figure, defaults=held)
    return kind


def dig(pond: str, kind: Kind | None, day: dt.date, nests: int, eggs: int | None = None) -> None:
    nest_book.record(
        key=uuid.uuid4(), pond=Pond.objects.get(code=pond), kind=kind, dug_on=day, nests=nests, eggs=eggs,
        today=TODAY, by=None,
    )  # fmt: skip


@pytest.fixture
def clock(monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    yield_book.forget()
    season_bridge.forget()


@pytest.fixture
def farm(clock):
    """Ponds A, B and C of sliders, A with a kind without nesting dates; B digs hardly anything this season."""
    slider, other = make_kind("red-eared-slider", "Slider"), make_kind("house-kind", "House kind")
    for code in "ABC":
        PondFactory(code=code, opened_on=dt.date(2024, 1, 1), kinds=[slider, other])
        put(code, {"FEMALE": 100, "MALE": 30}, kind=slider.code, batch=f"s{code}")
    put("A", {"FEMALE": 50, "MALE": 20}, kind=other.code, batch="other")
    for year in (2025, 2026):
        for week in range(5):
            day = dt.date(year, 4, 27) + dt.timedelta(days=7 * week)
            for code in "ABC":
                nests = 1 if (code, year) == ("B", 2026) else 30
                dig(code, slider, day, nests, 9 * nests)
            dig("A", other, day, 14)
    dig("A", slider, TODAY, 4)
    return slider, other


def test_a_season_is_read_in_whole_weeks():
    season = Season(2026)
    assert [whole_weeks(season, day) for day in (dt.date(2025, 9, 6), dt.date(2025, 9, 7), THROUGH)] == [
        0,
        1,
        40,
    ]
    assert whole_weeks(season, season.ends_on) == 53
    assert whole_weeks(season, dt.date(2025, 8, 1)) == 0


def test_what_is_dug_is_counted_and_the_pond_that_falls_behind_is_named(farm, owner):
    now = season_now(TODAY)
    assert (now.season, now.through, now.dug_since, now.without_place) == (Season(2026), THROUGH, 4, 0)
    dug = {(one.pond, one.kind_name): (one.dug, one.opened, one.eggs) for one in now.ponds}
    assert dug == {
        ("A", "Slider"): (150, 150, 1350), ("B", "Slider"): (5, 5, 45), ("C", "Slider"): (150, 150, 1350),
        ("A", "House kind"): (70, 0, 0),
    }  # fmt: skip
    assert [one.pond for one in now.named] == ["B"]
    for kind in now.kinds:
        for part in (kind.before, kind.now):
            assert part.nests.low <= part.nests.expected <= part.nests.high
    slider = next(kind for kind in now.kinds if kind.kind.code == "red-eared-slider")
    assert slider.dug_by_week.sum() == 305
    assert slider.now.nests.low >= 305
    assert slider.eggs_by_week.sum() == pytest.approx(slider.now.eggs.expected, rel=0.02)
    page = " ".join(owner.get("/season/").content.decode().split())
    assert "1 pond falls behind." in page
    assert "Pond B, Slider: 5 nests dug by 7 Jun 2026" in page
    assert "/season/B/red-eared-slider/" in page
    assert "4 nests dug since then are not in these figures yet" in page
    assert "No nesting dates are published here for House kind" in page
    shown = owner.get("/season/?show=behind&_export=csv").content.decode().splitlines()
    assert len(shown) == 2
    assert shown[1].startswith("B,Slider,100")


def test_each_figure_of_a_pond_can_be_worked_out_from_what_its_page_says(farm, owner):
    page = owner.get("/season/A/red-eared-slider/").content.decode()
    products = re.findall(r'class="typed">(odds )?([^<]+) = ([\d.]+)<', page)
    assert len(products) == 4
    for _, product, said in products:
        powers = [part.split("^") for part in product.split(" × ")]
        worked = math.prod(float(base) ** float(power) for base, power in powers)
        assert worked == pytest.approx(float(said), rel=0.01)
    # 150 nests of 100 settled females, and 9 eggs a nest, in the one season before.
    own = re.findall(r"This pond&#x27;s own seasons</th><td class=\"num\">([\d.]+)", page)
    assert [float(value) for value in own[:2]] == pytest.approx([1.5, 9.0], rel=0.01)


def test_the_hatchery_counts_baskets_containers_and_hatch_days(farm, owner):
    answer = owner.get("/season/hatchery/?basket=60&water=10&per_page=100&sort=starts_on")
    weeks = [row.record for row in answer.context["table"].rows if row.record.kind_code == "red-eared-slider"]
    full = next(week for week in weeks if week.starts_on == dt.date(2026, 4, 27))
    # 61 nests of 9 eggs; 60 eggs a basket, two baskets a container, at the kind's own temperature 60 to 70 days.
    a_nest = full.eggs / 61
    assert a_nest == pytest.approx(9, rel=0.05)
    assert (full.baskets, full.containers) == (
        math.ceil(full.eggs / 60),
        math.ceil(math.ceil(full.eggs / 60) / 2),
    )
    assert (full.hatch_from, full.hatch_until) == (dt.date(2026, 6, 26), dt.date(2026, 7, 12))
    assert full.water_liters == 10 * full.shelf_places
    bad = owner.get("/season/hatchery/?basket=x&temperature=500").content.decode()
    assert "There is a problem" in bad


def test_the_hatchery_shows_what_stands_on_the_shelf_whichever_seasons_eggs_it_is(farm, owner):
    """Nests of the last week of August hatch within 60 to 70 days, in the next season's first weeks."""
    page = "/season/hatchery/?per_page=100&sort=starts_on&kind=red-eared-slider"
    dig("A", farm[0], dt.date(2025, 8, 26), 40)
    shown = owner.get(page).context
    rows = [row.record for row in shown["table"].rows]
    days = [row.starts_on for row in rows]
    assert days == [dt.date(2025, 9, 1) + dt.timedelta(days=7 * at) for at in range(len(days))]
    held = [row.shelf_places for row in rows]
    # 40 nests of a little more than 9 eggs in baskets of 60, two a container: 4 containers, gone 70 days later.
    assert held[:10] == [4] * 10
    assert held[11:14] == [0] * 3
    assert 0 < sum(row.hatching for row in rows[:11]) < 40 * 9.5
    assert [row.kind for row in rows[12:14]] == ["no eggs"] * 2
    # They are no eggs to set in this season.
    assert [row.eggs for row in rows[:11]] == [0] * 11
    assert shown["eggs"] == pytest.approx(sum(row.eggs for row in rows))
    # The season that they are of tells of them in the same days; this season's eggs would too.
    last = owner.get(f"{page}&season=2025").context["table"].rows
    of_last = {row.record.starts_on: row.record.shelf_places for row in last}
    assert of_last[dt.date(2025, 8, 31)] == 4
    assert len(shown["charts"]) == 3
    for chart in shown["charts"]:
        assert [row[0] for row in chart.rows] == [f"{day.day} {day:%b}" for day in days]


def test_the_weight_of_the_published_ranges_is_the_owners_to_set(farm, owner, hand):
    before = season_now(TODAY).book.learnt.nests.ponds[0]
    assert hand.post("/season/weight/", {"weight": "20"}).status_code == 403
    assert owner.post("/season/weight/", {"weight": "0"}).status_code == 422
    assert owner.post("/season/weight/", {"weight": "20"}).status_code == 303
    assert the_farm().published_weight == 20
    after = season_now(TODAY).book.learnt.nests.ponds[0]
    assert after.published_share > before.published_share
    assert "as much as 20 seasons of one pond" in owner.get("/season/").content.decode()


def test_an_empty_farm_and_a_day_that_is_not_one_are_answered(clock, owner):
    assert "Nothing can be expected yet" in owner.get("/season/").content.decode()
    assert "No eggs are expected" in owner.get("/season/hatchery/").content.decode()
    assert owner.get("/season/?season=1999&on=2030-01-01").status_code == 200
    assert "is after today" in owner.get("/season/?on=2030-01-01").content.decode()
    assert "is before season 2026, which began on 1 Sep 2025" in (
        owner.get("/season/?season=2026&on=2024-01-01").content.decode()
    )
    assert (
        "“1999” is not in the list. Choose one from it." in owner.get("/season/?season=1999").content.decode()
    )
    assert owner.get("/season/Q/none/").status_code == 404


def test_a_nest_of_today_sets_nobody_to_reckoning_and_one_of_last_week_does(farm, monkeypatch):
    before = season_now(TODAY)
    reckoned = []
    for module, name in (
        (yield_book, "learn_yields"),
        (yield_book, "coming_season"),
        (season_bridge, "forecast"),
    ):
        monkeypatch.setattr(module, name, _noted(reckoned, name, getattr(module, name)))
    dig("C", farm[0], TODAY, 7)
    after = season_now(TODAY)
    assert (before.dug_since, after.dug_since, reckoned) == (4, 11, [])
    assert [kind.now for kind in after.kinds] == [kind.now for kind in before.kinds]
    dig("C", farm[0], THROUGH, 20)
    later = season_now(TODAY)
    assert reckoned == ["forecast"]
    assert later.of(*_slider_of("C", farm[0])).dug == 170
    dig("C", farm[0], dt.date(2025, 5, 4), 20)
    season_now(TODAY)
    assert reckoned == ["forecast", "learn_yields", "coming_season", "forecast"]


@pytest.mark.parametrize("stray", [dt.date(2022, 8, 20), dt.date(2021, 6, 10), dt.date(2024, 12, 24)])
def test_a_nest_of_a_year_in_which_nothing_stood_takes_no_page_down(farm, owner, stray):
    before = {(one.pond, one.kind_name): one.before.nests.expected for one in season_now(TODAY).ponds}
    Pond.objects.update(opened_on=dt.date(2011, 1, 1))
    dig("A", farm[0], stray, 12)
    for page in ("/", "/season/", "/season/hatchery/", "/ponds/A/", "/season/A/red-eared-slider/"):
        assert owner.get(page).status_code == 200
    after = {(one.pond, one.kind_name): one.before.nests.expected for one in season_now(TODAY).ponds}
    # Nests of no females teach nothing of what a female digs; on the 24th of December it is a season that was kept.
    assert after.keys() == before.keys()
    if stray.year < 2024:
        # What is drawn anew differs by less than anybody would look for a cause of.
        assert after == pytest.approx(before, rel=0.01)


def test_a_kind_that_is_renamed_has_its_new_name_at_once(farm):
    season_now(TODAY)
    Kind.objects.filter(pk=farm[0].pk).update(common_name="Pond slider")
    assert "Pond slider" in [kind.kind.name for kind in season_now(TODAY).kinds]


def _noted(reckoned, name, work_out):
    def noting(*args, **more):
        reckoned.append(name)
        return work_out(*args, **more)

    return noting


def _slider_of(pond, slider):
    return Pond.objects.get(code=pond).pk, slider.pk


def test_a_past_season_is_a_record_and_another_asks_for_few_queries(
    farm, owner, django_assert_max_num_queries
):
    page = owner.get("/season/?season=2025").content.decode()
    assert "What did season 2025 give" in page
    assert "As it ended on 31 Aug 2025" in page
    with django_assert_max_num_queries(100):
        season_bridge.forget()
        yield_book.forget()
        owner.get("/season/")
    with django_assert_max_num_queries(14):
        owner.get("/season/")


def test_today_names_the_pond_that_falls_behind_in_one_line(farm, owner):
    page = owner.get("/").content.decode()
    assert page.count("Pond falls behind in nests: B (Slider).") == 1
