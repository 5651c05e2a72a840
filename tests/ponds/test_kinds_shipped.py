"""The shipped kinds: complete, sourced, loaded once, and never over the farm's own."""

import pytest

from ponds.figures import SHARES
from ponds.kind_sheet import KINDS_SHEET
from ponds.kinds import kept_apart
from ponds.kinds_shipped import KINDS_FILE, load_shipped_kinds
from ponds.models import Kind, KindFigure
from ponds.sheets import load
from tests.factories import KindFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def shipped():
    return load_shipped_kinds()


def figure(code: str, name: str) -> tuple[float, float, float]:
    row = KindFigure.objects.get(kind__code=code, name=name)
    return row.low, row.expected, row.high


def test_every_kind_has_all_seven_figures_each_with_a_source(shipped):
    assert Kind.objects.count() == shipped.added == 24
    for kind in Kind.objects.prefetch_related("figures"):
        assert {row.name for row in kind.figures.all()} == set(KindFigure.Name.values), kind
        assert all(row.source for row in kind.figures.all()), kind
        assert kind.scientific_name


@pytest.mark.parametrize(
    ("code", "name", "kept", "source"),
    [
        ("red-eared-slider", "EGGS", (6.5, 9, 11), "Aresco 2004 found 6.6, Iverson 2024 found 10.7"),
        ("coastal-plain-cooter", "EGGS", (10, 12.4, 15), "Aresco 2004: P. floridana 12.4"),
        ("florida-softshell", "EGGS", (9, 20.6, 38), "Iverson & Moler 1997: 9 to 38, mean 20.6"),
        ("ringed-map", "NESTS", (0.96, 1.1, 1.42), "Jones 2006: 0.96 to 1.42; Jones & Selman 2009: 1.10"),
        ("coastal-plain-cooter", "INCUBATION_DAYS", (62, 65.9, 71), "62 to 71 d, mean 65.9, at 30 °C"),
    ],
)
def test_figures_are_those_of_the_papers(shipped, code, name, kept, source):
    assert figure(code, name) == kept, source


def test_hatch_share_and_survival_say_that_they_are_not_measured(shipped):
    for row in KindFigure.objects.filter(name="HATCH_SHARE"):
        assert (row.low, row.expected, row.high, row.source) == (0.7, 0.8, 0.9, "common practice, no source")
    for row in KindFigure.objects.filter(name="SURVIVAL"):
        assert (row.low, row.expected, row.high) == (0.77, 0.9, 0.97)
        assert row.source.startswith("assumption")
        assert "wild" in row.source


def test_every_source_names_a_paper_or_says_that_there_is_none(shipped):
    named = ("assumption", "common practice, no source", "Krueger & Janzen")
    for row in KindFigure.objects.all():
        assert any(word in row.source for word in named) or any(
            f"{year}" in row.source for year in range(1922, 2025)
        )


def test_softshells_have_no_marginals_and_musk_and_mud_turtles_eleven(shipped):
    assert set(
        Kind.objects.filter(scientific_name__startswith="Apalone").values_list("marginals_a_side", flat=True)
    ) == {None}
    for genus in ("Kinosternon", "Sternotherus"):
        assert set(
            Kind.objects.filter(scientific_name__startswith=genus).values_list("marginals_a_side", flat=True)
        ) == {11}


def test_listings_follow_cites_cop19(shipped):
    """CoP19 (in force 23 February 2023): snappers, softshells, mud and musk turtles, broad-headed maps in App. II."""
    second = {
        kind.scientific_name.split()[0]
        for kind in Kind.objects.filter(listing__contains="CITES App. II").exclude(listing__contains="III")
    }
    assert second == {"Chelydra", "Macrochelys", "Apalone", "Kinosternon", "Sternotherus", "Graptemys"}
    for genus in ("Trachemys", "Pseudemys", "Chrysemys"):
        assert set(
            Kind.objects.filter(scientific_name__startswith=genus).values_list("listing", flat=True)
        ) == {""}
    assert all(kind.listing_source for kind in Kind.objects.exclude(listing=""))


def test_snappers_and_softshells_are_kept_apart_from_sliders(shipped):
    pairs = {
        (one.code, other.code)
        for one, other in kept_apart(["common-snapper", "red-eared-slider", "river-cooter"])
    }
    assert pairs == {("common-snapper", "red-eared-slider"), ("common-snapper", "river-cooter")}
    assert kept_apart(["spiny-softshell", "smooth-softshell"]) == []


def test_loading_again_adds_nothing_and_keeps_the_farms_own_edits(shipped):
    Kind.objects.filter(code="red-eared-slider").update(target=4)
    KindFigure.objects.filter(kind__code="red-eared-slider", name="EGGS").update(expected=10)
    again = load_shipped_kinds()
    assert (again.added, again.kept) == (0, 24)
    assert Kind.objects.get(code="red-eared-slider").target == 4
    assert figure("red-eared-slider", "EGGS")[1] == 10


def test_a_kind_the_farm_has_under_another_code_is_left_to_the_farm():
    KindFactory(code="res", common_name="Red-Eared  Slider")
    loaded = load_shipped_kinds()
    assert (loaded.added, loaded.kept) == (23, 1)
    assert not Kind.objects.filter(code="red-eared-slider").exists()


def test_the_file_is_a_kinds_sheet_that_changes_nothing_when_loaded_again(shipped):
    outcome = load(KINDS_SHEET, "kinds.csv", KINDS_FILE.read_bytes())
    assert outcome.bad_rows == []
    assert (outcome.written.new, outcome.written.changed, outcome.written.same) == (0, 0, 24)


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ("slider,12,3,2.5,4.5", "slider,12,3,3.5,4.5", "", "low, then target, then high"),
        ("slider,12,3,2.5,4.5", "slider,99,3,2.5,4.5", "marginals a side", "not between 1 and 14"),
    ],
)
def test_a_bad_kind_is_refused_with_its_row(old, new, column, words):
    text = (
        KINDS_FILE.read_text(encoding="utf-8")
        .replace("Trachemys scripta elegans", "slider", 1)
        .replace(old, new, 1)
    )
    outcome = load(KINDS_SHEET, "kinds.csv", text.encode())
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(2, column)]
    assert words in outcome.bad_rows[0].reason
    assert Kind.objects.count() == 0


def test_shares_stay_at_most_one(shipped):
    for row in KindFigure.objects.filter(name__in=SHARES):
        assert 0 < row.low <= row.expected <= row.high <= 1
