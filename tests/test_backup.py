"""A backup is a whole and proven copy, and putting it back never costs what stands unasked."""

import datetime as dt
import io
import json
import stat
import uuid

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from PIL import Image

from config import backup
from config.photo_backup import folder, photos_of
from ponds.models import Kind, Pond
from stock import append_only, ledger, photos
from stock.check import differences
from stock.drafts import BatchDraft, Draft, Line
from stock.models import Entry, Move

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both_databases]
MAY, TODAY = dt.date(2026, 5, 10), dt.date(2026, 6, 30)


def buy(person, batch, heads=40):
    line = Line("slider", "FEMALE", "BOUGHT", "A", heads, batch=batch)
    draft = Draft(uuid.uuid4(), MAY, (line,), batches=(BatchDraft(batch, "BOUGHT", MAY),))
    return ledger.record(draft, by=person, today=TODAY)


@pytest.fixture
def farm(make_person, settings, tmp_path):
    """One pond with 40 females, and a data folder of its own."""
    settings.DATA_DIR = tmp_path / "farm"
    settings.DATA_DIR.mkdir()
    slider = Kind.objects.create(code="slider", common_name="Slider")
    Pond.objects.create(code="A", opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
    wren = make_person("owner", "wren")
    buy(wren, "P1")
    return wren


@pytest.fixture
def copy(farm, tmp_path):
    """The farm as it stood with one purchase."""
    file = tmp_path / "register.backup"
    call_command("backup", file)
    return file


def test_a_backup_says_what_it_holds_is_private_and_is_never_overwritten(copy):
    manifest = json.loads(backup.manifest_of(copy).read_text())
    assert (manifest["moves"], manifest["entries"], manifest["people"]) == (1, 1, 1)
    assert manifest["database"] == connection.vendor
    assert manifest["bytes"] == copy.stat().st_size
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert backup.last_backup()["sha256"] == manifest["sha256"]
    before = copy.read_bytes()
    with pytest.raises(CommandError, match="stands already"):
        call_command("backup", copy)
    assert copy.read_bytes() == before


def test_a_register_that_does_not_add_up_gives_no_backup(farm, tmp_path):
    append_only.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE stock_entry SET heads = 41")
    file = tmp_path / "register.backup"
    with pytest.raises(CommandError, match="The copy does not hold"):
        call_command("backup", file)
    append_only.install(connection)
    assert list(tmp_path.glob("register.backup*")) == []
    with pytest.raises(CommandError, match="There is no folder"):
        call_command("backup", tmp_path / "none" / "register.backup")


def test_restoring_brings_the_day_back_with_its_guards_and_keeps_what_stood(copy, farm, settings):
    buy(farm, "P2")
    with pytest.raises(CommandError, match=r"1 ponds, 2 moves and 1 people\. Give --replace"):
        call_command("restore", copy)
    assert Move.objects.count() == 2
    call_command("restore", copy, replace=True)
    assert Entry.objects.get().batch.code == "P1"
    assert differences() == []
    assert append_only.missing(connection) == []
    buy(farm, "P3", heads=2)
    assert Move.objects.count() == 2
    (kept,) = [one for one in settings.DATA_DIR.glob("before-restore-*") if one.suffix != ".json"]
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    # What was put away can be put back like any backup.
    call_command("restore", kept, replace=True)
    assert set(Entry.objects.values_list("batch__code", flat=True)) == {"P1", "P2"}


def test_an_older_backup_goes_over_a_newer_register(copy, farm):
    """A table the backup does not know, and which points at one it knows, goes with the rest."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE stock_later (move_id bigint REFERENCES stock_move (id))")
    call_command("restore", copy, replace=True)
    assert "stock_later" not in connection.introspection.table_names()
    assert differences() == []


def test_what_is_not_the_backup_its_manifest_describes_is_refused(copy, farm):
    buy(farm, "P2")
    sound, said = copy.read_bytes(), backup.manifest_of(copy).read_text()

    def refused(words):
        with pytest.raises(CommandError, match=words):
            call_command("restore", copy, replace=True)
        assert Move.objects.count() == 2

    torn = bytearray(sound)
    torn[len(torn) // 2] ^= 255
    copy.write_bytes(torn)
    refused("SHA-256 differs")
    copy.write_bytes(sound)
    for changes, words in (
        ({"entries": 7}, "does not hold what its manifest says"),
        ({"database": "other"}, "was made on other"),
    ):
        backup.manifest_of(copy).write_text(json.dumps({**json.loads(said), **changes}))
        refused(words)
    backup.manifest_of(copy).unlink()
    refused(r"manifest\.json is missing")
    copy.unlink()
    refused("There is no file")


def test_photographs_go_along_and_come_back(farm, settings, tmp_path):
    def file_of(photo):
        return photos.kept_file(folder(), photo.name)

    written = io.BytesIO()
    Image.new("RGB", (80, 60), "olive").save(written, "PNG")
    photo = photos.read_photo(written.getvalue())
    photos.keep(photo, folder())
    copy = tmp_path / "register.backup"
    call_command("backup", copy)
    assert stat.S_IMODE(photos_of(copy).stat().st_mode) == 0o600
    assert json.loads(backup.manifest_of(copy).read_text())["photos"] == 1
    file_of(photo).write_bytes(b"damaged")
    with pytest.raises(CommandError, match="is damaged"):
        call_command("backup", tmp_path / "another.backup")
    assert list(tmp_path.glob("another.backup*")) == []
    call_command("restore", copy, replace=True)
    assert file_of(photo).read_bytes() == photo.content
    with photos_of(copy).open("ab") as opened:
        opened.write(b"x")
    with pytest.raises(CommandError, match="differs from the manifest"):
        call_command("restore", copy, replace=True)
    photos_of(copy).unlink()
    with pytest.raises(CommandError, match="is missing beside"):
        call_command("restore", copy, replace=True)
