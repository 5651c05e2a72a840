"""Long files: the page says pond by pond how far they are, and the file is there to take for a day."""

import os
import re

import pytest
from django.urls import reverse

from stock.made_files import KEPT_SECONDS, folder, made_file, new_file
from tests.pages.hand_worked import TODAY, make_farm
from tests.pages.test_extract import text_of

ASKED = {"since": "2024-05-01", "until": "2024-05-31"}


@pytest.mark.django_db
def test_the_whole_farm_is_written_pond_by_pond_and_taken_along(owner, reader, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    make_farm(owner.user)
    page = reader.get(reverse("stock:extract"), ASKED).content.decode()
    assert f'action="{reverse("stock:make-file")}"' in page
    for what, kind in (("extract", "pdf"), ("year", "pdf"), ("extract", "xlsx")):
        answer = reader.post(reverse("stock:make-file"), {**ASKED, "what": what, "as": kind})
        assert answer.streaming
        parts = [part.decode() for part in answer.streaming_content]
        assert len(parts) >= 5
        assert "Pond A · " in parts
        address = re.search(r'href="(/made/[^"]+)"', "".join(parts))[1]
        taken = reader.get(address)
        content = b"".join(taken.streaming_content)
        assert f"2024-05-31.{kind}" in taken["Content-Disposition"]
        if kind == "pdf":
            assert content.startswith(b"%PDF")
            assert "Pond C" in text_of(content)

    assert reader.get(reverse("stock:made", args=["..%2Fsecret_key"])).status_code == 404
    refused = reader.post(
        reverse("stock:make-file"), {"what": "extract", "as": "pdf", "since": "x", "until": "y"}
    )
    assert refused.status_code == 422
    assert "“x” is not a day" in refused.content.decode()


@pytest.mark.django_db
def test_a_file_that_fails_says_so_and_leaves_nothing(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    make_farm(owner.user)

    def fail(*args, **kwargs):
        raise RuntimeError("no room")
        yield

    monkeypatch.setattr("stock.views.made.extracts_of", fail)
    before = set(folder().iterdir())
    answer = owner.post(reverse("stock:make-file"), {**ASKED, "what": "extract", "as": "pdf"})
    assert "It could not be made." in b"".join(answer.streaming_content).decode()
    assert set(folder().iterdir()) == before


def test_files_of_days_ago_are_removed_and_odd_names_are_none():
    old = new_file("year-to-2020-01-01.pdf")
    old.write_bytes(b"x")
    assert made_file(old.name) == old
    then = old.stat().st_mtime - KEPT_SECONDS - 60
    os.utime(old, (then, then))
    new_file("year-to-2020-01-02.pdf")
    assert made_file(old.name) is None
    for name in ("../secret_key", "secret_key", "0" * 32 + "-x.exe"):
        assert made_file(name) is None
