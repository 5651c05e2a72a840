"""Heads that came and went by the animals' day: what is kept of months that are over, and what of it is true."""

import datetime as dt
import uuid

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stock import flows, ledger
from stock.drafts import BatchDraft, Draft, Line
from stock.models import KeptFlows, Move
from tests.factories import KindFactory, PondFactory

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

OPENED, TODAY = dt.date(2025, 1, 1), dt.date(2026, 6, 30)
MARCH = dt.date(2026, 3, 9)


@pytest.fixture
def farm(make_person):
    """Two ponds opened with 100 females and 40 males each, A with 30 unsexed and 20 juveniles too."""
    by = make_person("owner", "wren")
    slider = KindFactory(code="slider", common_name="Slider")
    for code, more in (("A", {"UNSEXED": 30, "JUVENILE": 20}), ("B", {})):
        PondFactory(code=code, kinds=[slider])
        draft = ledger.opening_draft(
            pond=code, kind="slider", day=OPENED, heads={"FEMALE": 100, "MALE": 40, **more},
            how_known="DRAINED", batch=BatchDraft(f"OPEN-{code}", "OPENING", OPENED), key=uuid.uuid4(),
        )  # fmt: skip
        ledger.record(draft, by=by, today=TODAY)
    return by


def post(by, *lines, on=MARCH, today=TODAY, **more):
    drawn = tuple(Line("slider", *line) for line in lines)
    return ledger.record(Draft(uuid.uuid4(), on, drawn, "BANK", pond="A", **more), by=by, today=today)


def told(first=OPENED):
    """Return (class code, day, came, went, died, sexed) of pond A."""
    from ponds.models import Pond

    pond = Pond.objects.get(code="A").pk
    rows = [row for row in flows.since(first) if row["pond"] == pond]
    return sorted(
        (
            int(row["of_class"]), dt.date.fromordinal(int(row["day"])),
            *(int(row[name]) for name in ("came", "went", "died", "sexed")),
        )
        for row in rows
    )  # fmt: skip


def test_real_moves_and_deaths_are_told_apart_and_openings_are_none(farm):
    assert told() == []
    post(
        farm,
        ("FEMALE", "A", "B", 7),
        ("FEMALE", "A", "DIED", 2),
        ("MALE", "B", "A", 3),
        ("MALE", "A", "SOLD", 1),
    )
    assert told() == [(flows.FEMALE, MARCH, 0, 7, 2, 0), (flows.MALE, MARCH, 3, 1, 0, 0)]


def test_what_is_beyond_the_book_moves_only_what_went(farm):
    # 150 females go where the book has 100 and 30 unsexed: 30 are booked as sexed, 20 as beyond the book.
    post(farm, ("FEMALE", "A", "SOLD", 150))
    assert told() == [(flows.FEMALE, MARCH, 0, 150, 0, 30)]


def test_young_that_mature_arrive_and_juveniles_are_nowhere(farm):
    matured = Line("slider", "JUVENILE", "A", "A", 5, to_class="MALE")
    draft = Draft(
        uuid.uuid4(), MARCH, (matured, Line("slider", "JUVENILE", "A", "DIED", 2)), "BANK", pond="A"
    )
    ledger.record(draft, by=farm, today=TODAY)
    assert told() == [(flows.MALE, MARCH, 5, 0, 0, 0)]


def test_a_move_taken_back_leaves_no_trace(farm):
    receipt = post(farm, ("FEMALE", "A", "SOLD", 9))
    flows.keep(TODAY)
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    assert told() == []
    flows.keep(TODAY)
    assert told() == []


def test_what_is_kept_says_the_same_and_a_posting_drops_its_own_month_alone(farm):
    post(farm, ("FEMALE", "A", "SOLD", 9))
    post(farm, ("MALE", "A", "DIED", 1), on=dt.date(2025, 8, 2))
    before = told()
    # January 2025 to May 2026; June is not over.
    assert flows.keep(TODAY) == 17
    assert told() == before
    assert told(MARCH) == before[:1]
    post(farm, ("FEMALE", "A", "SOLD", 1))
    assert KeptFlows.objects.count() == 16
    assert not KeptFlows.objects.filter(month=MARCH.replace(day=1)).exists()
    assert told()[0] == (flows.FEMALE, MARCH, 0, 10, 0, 0)
    assert flows.keep(TODAY) == 1
    assert list(flows.untrue()) == []


def test_a_month_that_was_over_only_yesterday_is_not_kept_yet(farm):
    flows.keep(dt.date(2026, 7, 2))
    assert not KeptFlows.objects.filter(month=dt.date(2026, 6, 1)).exists()
    flows.keep(dt.date(2026, 7, 3))
    assert KeptFlows.objects.filter(month=dt.date(2026, 6, 1)).exists()


def test_a_late_fact_is_dropped_by_the_animals_day(farm):
    post(farm, ("FEMALE", "A", "SOLD", 9))
    for month in range(1, 16):
        ledger.close_month(dt.date(2025 + (month - 1) // 12, (month - 1) % 12 + 1, 1), by=farm, today=TODAY)
    flows.keep(TODAY)
    late = post(farm, ("FEMALE", "A", "DIED", 1))
    assert late.booked_on > late.happened_on
    assert told() == [(flows.FEMALE, MARCH, 0, 9, 1, 0)]


def test_check_ledger_names_a_month_that_was_tampered_with(farm, capsys):
    post(farm, ("FEMALE", "A", "SOLD", 9))
    flows.keep(TODAY)
    call_command("check_ledger")
    rows = flows.from_entries([(MARCH.replace(day=1), dt.date(2026, 4, 1))])
    rows["went"] = 8
    KeptFlows.objects.filter(month=MARCH.replace(day=1)).update(rows=rows.tobytes())
    with pytest.raises(SystemExit):
        call_command("check_ledger")
    assert "came and went, kept for 2026-03, are not those that the entries give" in capsys.readouterr().out


def test_a_posting_of_this_month_asks_nothing_more_and_a_back_dated_one_a_single_query(farm):
    flows.keep(TODAY)

    def asked(on):
        with CaptureQueriesContext(connection) as queries:
            post(farm, ("FEMALE", "A", "SOLD", 1), on=on)
        return [query["sql"] for query in queries if "keptflows" in query["sql"]]

    assert (len(asked(TODAY)), len(asked(MARCH))) == (0, 1)
