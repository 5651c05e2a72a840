"""Rows changed under the triggers, one at a time and all at once: `check_ledger` exits 1 and names each."""

import datetime as dt
import uuid

import pytest
from django.core.management import call_command
from django.db import connection

from ponds.models import Kind, Pond
from stock import append_only, ledger, mixes
from stock.drafts import BatchDraft, Draft, Line, MarkDraft
from stock.models import Cell, Entry, MarkStep, MonthEnd, Move, StockMix, Turtle

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

TODAY = dt.date(2026, 6, 30)
APRIL, MAY, JUNE = dt.date(2026, 4, 10), dt.date(2026, 5, 10), dt.date(2026, 6, 10)


@pytest.fixture
def farm(make_person):
    """Two ponds of sliders: a purchase in April with two marked, a haul in May, a reversal; April is closed."""
    wren = make_person("owner", "wren")
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)

    def post(on, *lines, **more):
        draft = Draft(uuid.uuid4(), on, tuple(Line("slider", *line) for line in lines), **more)
        return ledger.record(draft, by=wren, today=TODAY)

    marks = (MarkDraft("T1", "slider", "FEMALE", "A"), MarkDraft("T2", "slider", "FEMALE", "A"))
    post(
        APRIL,
        ("FEMALE", "BOUGHT", "A", 40, "", "", "P1"),
        ("UNSEXED", "BOUGHT", "A", 9, "", "", "P1"),
        batches=(BatchDraft("P1", "BOUGHT", APRIL),),
        marks=marks,
    )
    post(MAY, ("FEMALE", "A", "B", 10), ("FEMALE", "A", "DIED", 2), ("MALE", "A", "SOLD", 3))
    post(JUNE, ("FEMALE", "A", "B", 1))
    back = post(JUNE, ("FEMALE", "A", "SOLD", 4))
    ledger.reverse(Move.objects.get(pk=back.move_id), key=uuid.uuid4(), by=wren, today=TODAY)
    ledger.close_month(APRIL, by=wren, today=TODAY)
    mixes.roll(TODAY)


@pytest.fixture
def tamper(farm):
    """Return a function that runs SQL as somebody would who has taken the triggers away."""

    def run(statement, *values):
        # PostgreSQL drops no trigger of a table whose foreign keys are still to be looked at.
        connection.check_constraints()
        append_only.remove(connection)
        with connection.cursor() as cursor:
            cursor.execute(statement, values)
            assert cursor.rowcount == 1
        connection.check_constraints()
        append_only.install(connection)

    return run


@pytest.fixture
def complaints(capsys):
    """Return a function that runs the command and returns its lines; it must have failed."""

    def run():
        with pytest.raises(SystemExit) as ended:
            call_command("check_ledger")
        assert ended.value.code == 1
        said = capsys.readouterr()
        assert f"{len(said.out.splitlines())} differences" in said.err
        return said.out

    return run


def cell(place, of_class="FEMALE"):
    where = {"pond__code": place} if len(place) == 1 else {"outside": place}
    return Cell.objects.get(kind__code="slider", of_class=of_class, **where)


def entry(reason, heads):
    return Entry.objects.get(reason=reason, heads=heads, move__reverses=None)


def test_an_untouched_ledger_holds(farm, capsys):
    call_command("check_ledger")
    assert "no difference" in capsys.readouterr().out


def test_changed_heads_of_an_entry_are_found(tamper, complaints):
    tamper("UPDATE stock_entry SET heads = 11 WHERE id = %s", entry("MOVED", 10).pk)
    said = complaints()
    assert "pond A, slider, female: stored for 2026-05 are 28 heads" in said
    assert "the entries give 27" in said
    assert "pond B, slider, female: stored for 2026-05 are 10 heads" in said


def test_a_changed_class_is_found(tamper, complaints):
    cell("A", "UNSEXED")
    moved = entry("MOVED", 10)
    tamper("UPDATE stock_entry SET source_id = %s WHERE id = %s", cell("A", "UNSEXED").pk, moved.pk)
    said = complaints()
    assert (
        f"Entry {moved.pk} changes class from pond A, slider, unsexed to pond B, slider, female as “moved”."
        in said
    )
    assert "pond A, slider, unsexed: -4 heads at the end of 2026-05-10" in said


def test_a_changed_reason_is_found(tamper, complaints):
    died = entry("DIED", 2)
    tamper("UPDATE stock_entry SET reason = 'SOLD' WHERE id = %s", died.pk)
    assert (
        f"Entry {died.pk} is booked as “sold” from pond A, slider, female to died, slider, female."
        in complaints()
    )


def test_a_changed_day_is_found(tamper, complaints):
    moved = entry("MOVED", 10)
    tamper("UPDATE stock_entry SET happened_on = %s WHERE id = %s", dt.date(2026, 5, 2), moved.pk)
    assert f"Entry {moved.pk} is dated 2026-05-02, booked 2026-05-10; its move 2026-05-10" in complaints()


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("heads", "are 29 heads (lowest 28"),
        ("lowest", "are 28 heads (lowest 29"),
        ("marked", "marked 3"),
        ("lowest_unmarked", "lowest unmarked 27)"),
    ],
)
def test_a_changed_month_end_is_found(tamper, complaints, column, said):
    row = MonthEnd.objects.get(cell=cell("A"), month=dt.date(2026, 5, 1))
    tamper(f"UPDATE stock_monthend SET {column} = {column} + 1 WHERE id = %s", row.pk)
    assert said in complaints()


def test_a_deleted_month_end_is_found(tamper, complaints):
    row = MonthEnd.objects.get(cell=cell("A"), month=dt.date(2026, 5, 1))
    tamper("DELETE FROM stock_monthend WHERE id = %s", row.pk)
    assert "pond A, slider, female: no month end is stored for 2026-05; the entries give 28." in complaints()


def test_a_changed_place_of_a_mark_is_found(tamper, complaints):
    tamper("UPDATE stock_turtle SET cell_id = %s WHERE code = 'T1'", cell("B").pk)
    assert (
        "Turtle T1: the register says pond B, slider, female; its steps lead to pond A, slider, female."
        in complaints()
    )


def test_a_changed_step_of_a_mark_is_found(tamper, complaints):
    step = MarkStep.objects.get(turtle=Turtle.objects.get(code="T2"))
    tamper("UPDATE stock_markstep SET target_id = %s WHERE id = %s", cell("B").pk, step.pk)
    said = complaints()
    assert "Turtle T2: the register says pond A" in said
    assert "pond B, slider, female: 1 marked of 0 heads at the end of 2026-04-10." in said


def test_turtles_changed_under_the_triggers_are_found(tamper, complaints):
    step = MarkStep.objects.get(turtle=Turtle.objects.get(code="T2"))
    tamper("UPDATE stock_markstep SET how = 'REVERSED' WHERE id = %s", step.pk)
    tamper("UPDATE stock_turtle SET last_seen_on = %s WHERE code = 'T1'", JUNE)
    tamper("UPDATE stock_turtle SET sex = 'MALE' WHERE code = 'T1'")
    said = complaints()
    assert f"Turtle T2: step {step.pk} is taken back by a move that is no reversal." in said
    assert "Turtle T1: last seen on 2026-06-10 by the register, on 2026-04-10 by its moves and hauls." in said
    assert "Turtle T1: the register says male; its steps say nothing." in said


def test_a_deleted_entry_is_found(tamper, complaints):
    died = entry("DIED", 2)
    tamper("DELETE FROM stock_entry WHERE id = %s", died.pk)
    said = complaints()
    assert f"Move {died.move.key} has" in said
    assert "pond A, slider, female: stored for 2026-05 are 28 heads" in said
    assert "the entries give 30" in said


def test_a_move_left_without_its_entries_is_found(tamper, complaints):
    moved = entry("MOVED", 1)
    tamper("DELETE FROM stock_entry WHERE id = %s", moved.pk)
    assert f"Move {moved.move.key} of 2026-06-10 has no entry, no haul, no mark and no count." in complaints()


def test_a_reversal_that_does_not_undo_its_move_is_found(tamper, complaints):
    sold = entry("SOLD", 4)
    tamper("UPDATE stock_entry SET heads = 5 WHERE id = %s", sold.pk)
    assert f"Move {sold.move_id} is not undone exactly by its reversal." in complaints()


def test_a_move_booked_into_a_closed_month_is_found(tamper, complaints):
    key = uuid.uuid4()
    tamper(
        "INSERT INTO stock_move (key, content_sha256, made_as, happened_on, booked_on, by_name, note) "
        "VALUES (%s, '', 'BANK', %s, %s, 'nobody', '')",
        key if connection.vendor == "postgresql" else key.hex,
        APRIL,
        APRIL,
    )
    assert f"Move {key} is booked on 2026-04-10, but was recorded after that month's close." in complaints()


@pytest.mark.parametrize("on", [dt.date(2024, 2, 10), dt.date(2026, 3, 31)])
def test_a_move_booked_before_the_first_closed_month_is_found(tamper, complaints, on):
    key = uuid.uuid4()
    tamper(
        "INSERT INTO stock_move (key, content_sha256, made_as, happened_on, booked_on, by_name, note) "
        "VALUES (%s, '', 'BANK', %s, %s, 'nobody', '')",
        key if connection.vendor == "postgresql" else key.hex,
        on,
        on,
    )
    assert f"Move {key} is booked on {on}, but was recorded after that month's close." in complaints()


def test_a_later_close_that_came_first_locks_the_months_before_it(tamper, complaints):
    """May's close is dated before the purchase of April was recorded: April was locked by it as well."""
    tamper(
        "INSERT INTO stock_monthclose (month, by_name, note, closed_at) VALUES (%s, 'nobody', '', %s)",
        dt.date(2026, 5, 1),
        "2020-01-01 00:00:00+00:00" if connection.vendor == "postgresql" else "2020-01-01 00:00:00",
    )
    said = complaints()
    assert "is booked on 2026-04-10, but was recorded after that month's close." in said
    assert "is booked on 2026-05-10, but was recorded after that month's close." in said
    assert "is booked on 2026-06-10" not in said


def test_a_batch_of_another_origin_is_found(tamper, complaints):
    tamper("UPDATE stock_batch SET source = 'RAISED'")
    bought = entry("BOUGHT", 40)
    assert (
        f"Entry {bought.pk} brings heads from bought, slider, female, but its batch P1 is of heads raised."
        in complaints()
    )


def test_a_missing_batch_is_found(tamper, complaints):
    bought = entry("BOUGHT", 9)
    tamper("UPDATE stock_entry SET batch_id = NULL WHERE id = %s", bought.pk)
    assert f"Entry {bought.pk} names no batch for heads from bought, slider, unsexed." in complaints()


def test_a_purchase_taken_back_keeps_its_batch_and_holds(farm, capsys):
    bought = entry("BOUGHT", 9)
    wren = bought.move.by
    draft = Draft(
        uuid.uuid4(),
        JUNE,
        (Line("slider", "MALE", "RAISED", "B", 5, batch="R1"),),
        batches=(BatchDraft("R1", "RAISED", JUNE),),
    )
    raised = Move.objects.get(pk=ledger.record(draft, by=wren, today=TODAY).move_id)
    ledger.reverse(raised, key=uuid.uuid4(), by=wren, today=TODAY)
    call_command("check_ledger")
    assert "no difference" in capsys.readouterr().out


def test_a_gap_between_closed_months_is_found(tamper, complaints):
    tamper("UPDATE stock_monthclose SET month = %s", dt.date(2026, 1, 1))
    tamper(
        "INSERT INTO stock_monthclose (month, by_name, note) VALUES (%s, 'nobody', '')",
        dt.date(2026, 3, 1),
    )
    assert "2026-01 and 2026-03 are closed, but not the months between." in complaints()


def test_changed_origins_are_found(tamper, complaints):
    mix = StockMix.objects.get(cell=cell("A"), month=dt.date(2026, 5, 1))
    (batch,) = mix.state["batches"]
    state = str({**mix.state, "heads": 27}).replace("'", '"')
    assert batch in state
    tamper("UPDATE stock_stockmix SET state = %s WHERE id = %s", state, mix.pk)
    assert "pond A, slider, female: the origins kept for 2026-05 are not those" in complaints()


@pytest.mark.parametrize("name", ["stock_entry_no_update", "stock_move_no_delete", "the entry's own rules"])
def test_a_missing_trigger_is_found(farm, complaints, name):
    own = "stock_entry_obeys" if connection.vendor == "postgresql" else "stock_entry_same_kind"
    name = own if name.startswith("the") else name
    table = "stock_move" if "move" in name else "stock_entry"
    connection.check_constraints()
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}" + (f" ON {table}" if connection.vendor == "postgresql" else ""))
    assert f"The trigger {name} is missing" in complaints()


def test_everything_at_once_is_named_thing_by_thing(tamper, complaints):
    tamper("UPDATE stock_entry SET heads = 11 WHERE id = %s", entry("MOVED", 10).pk)
    tamper("UPDATE stock_entry SET reason = 'SOLD' WHERE id = %s", entry("DIED", 2).pk)
    row = MonthEnd.objects.get(cell=cell("A", "UNSEXED"), month=dt.date(2026, 4, 1))
    tamper("UPDATE stock_monthend SET heads = 12 WHERE id = %s", row.pk)
    tamper("UPDATE stock_turtle SET cell_id = %s WHERE code = 'T1'", cell("B").pk)
    said = complaints()
    for part in ("stored for 2026-05 are 28", "booked as “sold”", "2026-04 are 12 heads", "Turtle T1"):
        assert part in said
