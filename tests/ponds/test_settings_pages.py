"""Settings: the farm, kinds, ponds as set up, and sheets."""

import datetime as dt
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds import retiring
from ponds.farm import the_farm
from ponds.kind_forms import KindForm, kind_initial
from ponds.models import Farm, Kind, KindFigure, Pond, PondState
from ponds.places import PondDraft, change_pond
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db
SHEETS = reverse("ponds:sheets")


@pytest.fixture
def slider():
    return KindFactory(code="slider", common_name="Slider")


def count_queries(client, address: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


# ---- the farm ----

FARM = {
    "name": "Cane Bayou Turtles",
    "code": "LA-7",
    "licence": "T-12",
    "licence_expires_on": "2027-06-30",
    "zone": "America/Chicago",
    "area_unit": "HECTARE",
    "temperature_unit": "C",
    "length_unit": "MM",
}


def test_the_farm_is_changed(owner):
    assert owner.post(reverse("ponds:farm-edit"), FARM).status_code == 303
    farm = Farm.objects.get()
    assert (farm.name, farm.area_unit, farm.licence_expires_on) == (
        "Cane Bayou Turtles",
        "HECTARE",
        dt.date(2027, 6, 30),
    )
    assert "Cane Bayou Turtles" in owner.get(reverse("ponds:settings")).content.decode()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": ""}, "Write the name of the farm."),
        ({"zone": "Mars/Base"}, "Select a valid choice"),
        ({"area_unit": "MILES"}, "Select a valid choice"),
        ({"licence_expires_on": "soon"}, "not a day"),
        ({"name": "x" * 81}, "at most 80 characters"),
    ],
)
def test_a_farm_that_cannot_be_is_refused(owner, changes, words):
    answer = owner.post(reverse("ponds:farm-edit"), FARM | changes)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Farm.objects.get().name == "My farm"


# ---- kinds ----


def kind_entry(kind: Kind, **changes) -> dict:
    return {name: value for name, value in kind_initial(kind).items() if value is not None} | changes


def test_a_kind_shows_its_figures_in_the_farms_units_with_sources(reader, slider):
    page = reader.get(reverse("ponds:kind-detail", args=["slider"])).content.decode()
    for text in ("40 %", "70 %", "82 °F", "3.5", "assumption"):
        assert text in page
    Farm.objects.update(temperature_unit="C")
    assert "27.8 °C" in reader.get(reverse("ponds:kind-detail", args=["slider"])).content.decode()


def test_saving_a_kind_unchanged_changes_nothing(owner, slider):
    before = list(KindFigure.objects.order_by("pk").values())
    Farm.objects.update(temperature_unit="C", area_unit="HECTARE")
    answer = owner.post(reverse("ponds:kind-edit", args=["slider"]), kind_entry(slider))
    assert answer.status_code == 303
    assert list(KindFigure.objects.order_by("pk").values()) == before


def test_a_figure_is_changed_and_kept_as_typed(owner, slider):
    entry = kind_entry(slider, LAYING_SHARE_unit="PERCENT")
    entry |= {"LAYING_SHARE_low": "50", "LAYING_SHARE_expected": "72.50", "LAYING_SHARE_high": "90"}
    assert owner.post(reverse("ponds:kind-edit", args=["slider"]), entry).status_code == 303
    figure = slider.figures.get(name="LAYING_SHARE")
    assert (figure.expected, figure.expected_typed, figure.unit_typed) == (0.725, "72.50", "PERCENT")
    assert "72.5 %" in owner.get(reverse("ponds:kind-detail", args=["slider"])).content.decode()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"EGGS_low": "2,5"}, "write a decimal with a point: 2.5"),
        ({"EGGS_low": "ten"}, "ten is not a number"),
        ({"EGGS_low": "10"}, "must rise in that order"),
        ({"EGGS_high": "999"}, "not between 0 and 200"),
        ({"EGGS_source": ""}, "or write: assumption"),
        ({"EGGS_source": "x" * 301}, "301 characters; 300 is the most"),
        ({"INCUBATION_TEMPERATURE_expected": "28"}, "28 °F is not between"),
        ({"SURVIVAL_high": "1.2"}, "cannot be a share"),
        ({"target": "9"}, "does not lie in the band"),
        ({"target": "0"}, "not between 0.1 and 100"),
        ({"common_name": ""}, "what the kind is called"),
        ({"common_name": "other  KIND"}, "is the name of the kind"),
        ({"marginals_a_side": "-2"}, "This is below 1"),
        ({"note": "x" * 5_000_000}, "5000000 characters"),
    ],
)
def test_a_kind_that_cannot_be_keeps_what_is_typed(owner, slider, changes, words):
    KindFactory(code="other", common_name="Other kind")
    entry = kind_entry(slider, **({"listing": "CITES App. II"} | changes))
    answer = owner.post(reverse("ponds:kind-edit", args=["slider"]), entry)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert "CITES App. II" in page
    for value in changes.values():
        assert len(value) > 100 or f'value="{value}"' in page or not value
    assert Kind.objects.get(code="slider").listing == ""


def test_a_kind_is_added_from_anothers_figures(owner, slider):
    page = owner.get(reverse("ponds:kind-new") + "?like=slider").content.decode()
    assert "Slider&#x27;s, carried over: assumption" in page
    entry = kind_entry(slider, code="cooter", common_name="Cooter", not_with=["slider"])
    assert owner.post(reverse("ponds:kind-new"), entry).status_code == 303
    assert Kind.objects.get(code="cooter").figures.count() == 7
    assert list(slider.not_with.values_list("code", flat=True)) == ["cooter"]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("slider", "is the code of Slider already"),
        ("River Cooter", "is not a code"),
        ("new", "a page has that address"),
    ],
)
def test_a_code_that_cannot_be_is_refused(owner, slider, code, words):
    answer = owner.post(reverse("ponds:kind-new"), kind_entry(slider, code=code, common_name="Cooter"))
    assert words in answer.content.decode()
    assert Kind.objects.count() == 1


def test_the_shipped_kinds_are_added_by_a_button(owner):
    owner.post(reverse("ponds:kinds-add-shipped"))
    assert Kind.objects.count() == 24
    page = owner.get(reverse("ponds:kind-list") + "?q=graptemys&sort=-target").content.decode()
    assert "Ringed map turtle" in page
    assert "River cooter" not in page
    assert "River cooter" in owner.get(reverse("ponds:kind-list") + "?listed=no").content.decode()
    assert owner.get(reverse("ponds:kind-list") + "?_export=xlsx").content.startswith(b"PK")


def test_every_shipped_kind_passes_its_own_form(owner):
    owner.post(reverse("ponds:kinds-add-shipped"))
    for kind in Kind.objects.prefetch_related("figures", "not_with"):
        form = KindForm(kind_entry(kind), kind=kind)
        assert form.is_valid(), (kind, form.errors)


# ---- ponds ----


def pond_entry(**changes) -> dict:
    entry = {
        "code": "A",
        "opened_on": "2019-03-01",
        "name": "Levee",
        "water_area": "2.5",
        "water_area_unit": "ACRE",
        "bank_area": "",
        "bank_area_unit": "ACRE",
        "head_limit": "8000",
        "kinds": [],
        "note": "",
    }
    return entry | changes


def test_the_next_free_code_is_proposed_and_retired_ponds_count(owner):
    PondFactory(code="Z", retired_on=dt.date(2020, 1, 1))
    assert 'value="AA"' in owner.get(reverse("ponds:pond-new")).content.decode()


def test_a_pond_is_added_then_shown_in_hectares_and_changed_without_drift(owner, slider):
    assert owner.post(reverse("ponds:pond-new"), pond_entry(kinds=["slider"])).status_code == 303
    pond = Pond.objects.get()
    assert (pond.water_area_typed, pond.water_area_cm2) == ("2.5", 101_171_411)
    Farm.objects.update(area_unit="HECTARE")
    assert "1.01 ha" in owner.get(reverse("ponds:pond-settings")).content.decode()
    page = owner.get(reverse("ponds:pond-edit", args=["A"])).content.decode()
    assert 'value="2.5"' in page
    entry = pond_entry(kinds=["slider"], name="New levee")
    assert owner.post(reverse("ponds:pond-edit", args=["a"]), entry).status_code == 303
    pond.refresh_from_db()
    assert (pond.name, pond.water_area_typed, pond.water_area_cm2) == ("New levee", "2.5", 101_171_411)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"code": "B"},
            "B is the code of a pond already, retired on 1 Jan 2020, and a code is never used again",
        ),
        ({"code": "A1"}, "is not a pond&#x27;s code"),
        ({"code": "É"}, "is not a pond&#x27;s code"),
        ({"code": ""}, "Write the pond&#x27;s code."),
        ({"opened_on": "2999-01-01"}, "still to come"),
        ({"water_area": "2,5"}, "write a decimal with a point: 2.5"),
        ({"water_area": "0"}, "not above 0"),
        ({"water_area": "-1"}, "below 0"),
        ({"water_area": "99999"}, "look at the figure and its unit"),
        ({"bank_area": "1/2"}, "0.5 for 1/2"),
        ({"head_limit": "0"}, "below 1"),
        ({"head_limit": "many"}, "not a whole number"),
        ({"head_limit": "99999999999"}, "more than 1000000"),
        ({"kinds": ["slider", "snapper"]}, "Slider and Snapper are not kept together"),
        ({"kinds": ["newt"]}, "newt is not one of the available choices"),
        ({"note": "x" * 5_000_000}, "5000000 characters"),
    ],
)
def test_a_pond_that_cannot_be_keeps_what_is_typed(owner, slider, changes, words):
    snapper = KindFactory(code="snapper", common_name="Snapper")
    slider.not_with.add(snapper)
    PondFactory(code="B", retired_on=dt.date(2020, 1, 1))
    answer = owner.post(reverse("ponds:pond-new"), pond_entry(**changes))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert 'value="Levee"' in page
    assert Pond.objects.count() == 1


def test_a_pond_goes_into_quarantine_and_its_history_is_listed(owner, reader):
    pond = PondFactory(code="A")
    address = reverse("ponds:pond-state", args=["A"])
    today = the_farm().today()
    entry = {"state": "QUARANTINE", "from_on": f"{today}", "ends_on": "", "note": "new females"}
    answer = owner.post(address, entry)
    assert "due to end" in answer.content.decode()
    assert pond.states.count() == 1
    ends_on = today + dt.timedelta(days=45)
    words = f"{ends_on.day} {ends_on:%b %Y}"
    assert owner.post(address, entry | {"ends_on": f"{ends_on}"}).status_code == 303
    page = reader.get(address).content.decode()
    assert f"due to end {words}" in page
    assert "new females" in page
    assert "Add this state" not in page
    assert reader.post(address, entry).status_code == 403
    assert f"quarantine until {words}" in reader.get(reverse("ponds:pond-settings")).content.decode()


def test_a_pond_is_retired_only_with_its_code_typed_and_nothing_against_it(owner, monkeypatch):
    pond = PondFactory(code="A")
    address = reverse("ponds:pond-retire", args=["A"])
    today = f"{the_farm().today()}"
    answer = owner.post(address, {"last_day": today, "typed_code": "B"})
    assert "Type A to retire this pond" in answer.content.decode()
    monkeypatch.setattr(retiring, "checks", [lambda pond, day: ["Pond A holds 12 heads."]])
    answer = owner.post(address, {"last_day": today, "typed_code": "a"})
    assert "Pond A holds 12 heads." in answer.content.decode()
    monkeypatch.setattr(retiring, "checks", [])
    assert owner.post(address, {"last_day": today, "typed_code": "a"}).status_code == 303
    pond.refresh_from_db()
    assert f"{pond.retired_on}" == today
    page = owner.get(reverse("ponds:pond-settings") + "?state=RETIRED").content.decode()
    assert "Pond A" in page


@pytest.mark.parametrize(
    "name", ["ponds:pond-edit", "ponds:pond-state", "ponds:pond-retire", "ponds:kind-detail"]
)
def test_what_is_not_there_is_not_found(owner, name):
    assert owner.get(reverse(name, args=["QQQ"])).status_code == 404


def test_lists_cost_the_same_at_three_rows_and_at_three_hundred(owner):
    from tests.factories import FIGURES

    kinds = [KindFactory() for _ in range(3)]
    ponds = [PondFactory(kinds=kinds) for _ in range(3)]
    addresses = [
        reverse(name) + "?per_page=100"
        for name in ("ponds:kind-list", "ponds:pond-settings", "ponds:settings")
    ]
    few = [count_queries(owner, address) for address in addresses]
    for number in range(297):
        KindFactory(figures=number < 3)
        PondFactory()
    assert [count_queries(owner, address) for address in addresses] == few
    assert max(few) <= 9
    assert len(FIGURES) == 7
    assert len(ponds) == 3


# ---- sheets ----


def upload(client, text: bytes, name: str = "ponds.csv", what: str = "ponds"):
    return client.post(SHEETS, {"what": what, "file": SimpleUploadedFile(name, text)})


def test_a_sheet_is_checked_then_written_by_its_owner(owner):
    answer = upload(owner, b"code,opened on\nA,2019-03-01\nB,2019-03-01\n")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "2 new" in page
    assert Pond.objects.count() == 0
    assert owner.post(reverse("ponds:sheet-write")).status_code == 303
    assert Pond.objects.count() == 2
    assert PondState.objects.filter(by=owner.user).count() == 2
    assert "2 new, 0 changed, 0 as they were" in owner.get(SHEETS).content.decode()
    owner.post(reverse("ponds:sheet-write"))
    assert "No checked sheet is waiting" in owner.get(SHEETS).content.decode()


def test_a_bad_sheet_shows_each_row_and_waits_for_nothing(owner):
    answer = upload(owner, b"code,opened on\nA,2019-03-01\nB,soon\n<b>,2019-03-01\n")
    page = answer.content.decode()
    assert answer.status_code == 422
    for text in ("soon is not a day", "opened on", "&lt;b&gt;"):
        assert text in page
    owner.post(reverse("ponds:sheet-write"))
    assert Pond.objects.count() == 0


def test_a_sheet_that_no_longer_fits_says_so_when_it_is_written(owner):
    PondFactory(code="A", opened_on=dt.date(2019, 3, 1))
    upload(owner, b"code,opened on\nA,2019-03-01\n")
    change_pond(PondDraft("A", {"opened_on": dt.date(2018, 1, 1)}))
    answer = owner.post(reverse("ponds:sheet-write"))
    assert answer.status_code == 422
    assert "booked as opened on 1 Jan 2018" in answer.content.decode()


@pytest.mark.parametrize(
    ("text", "name", "words"),
    [
        (b"", "ponds.csv", "The file is empty."),
        (b"x", "ponds.pdf", "not a sheet that can be read"),
        (b"x", "ponds.xlsm", "without macros"),
        (b"PK\x03\x04", "ponds.xlsx", "not a sound workbook"),
        (b"x" * (5 * 1024 * 1024 + 1), "ponds.csv", "5 MB is the most"),
        (b"code\n\x00", "ponds.csv", "no text file has"),
    ],
)
def test_a_file_that_is_no_sheet_is_refused(owner, text, name, words):
    answer = upload(owner, text, name)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_an_unknown_sort_of_sheet_is_refused(owner):
    assert upload(owner, b"code\nA\n", what="unicorns").status_code == 422


def test_templates_are_sent_as_csv_and_as_a_workbook(owner):
    import openpyxl

    text = owner.get(reverse("ponds:sheet-template", args=["ponds", "csv"]))
    assert text.headers["Content-Disposition"] == 'attachment; filename="ponds.csv"'
    assert text.content.decode("utf-8-sig").startswith("code,opened on")
    book = owner.get(reverse("ponds:sheet-template", args=["kinds", "xlsx"]))
    sheet = openpyxl.load_workbook(io.BytesIO(book.content)).active
    assert sheet["A1"].value == "code"
    assert owner.get(reverse("ponds:sheet-template", args=["unicorns", "csv"])).status_code == 404
    assert owner.get(reverse("ponds:sheet-template", args=["ponds", "pdf"])).status_code == 404
