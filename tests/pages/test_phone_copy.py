"""A copy that a phone saved of its waiting logs, read in the office: each waits once and is booked once."""

from __future__ import annotations

import json
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from stock.models import Move, RefusedPost
from stock.phone_copy import NotACopy, read_copy
from tests.pages.bank import held, make_farm, sent_log

READ = "/log/refused/copy/"


def a_log(**typed):
    sent = sent_log({"of_class": "FEMALE", "back": "20", "dead": "1", **typed})
    fields = [[name, str(value)] for name, value in sent.items() if name != "key"]
    return {"key": sent["key"], "author": "ibis", "pond": "A", "typed": fields, "at": 1_790_000_000_000}, sent


def upload(client, content: bytes):
    return client.post(READ, {"copy": SimpleUploadedFile("unsent-logs.json", content)}, follow=True)


@pytest.mark.django_db
def test_each_log_waits_to_be_posted_and_one_that_was_sent_is_booked_once(hand):
    make_farm()
    (waits, _), (sent_after_all, sent) = a_log(), a_log(dead="2")
    hand.post("/log/send/", sent)
    copy = json.dumps([waits, sent_after_all], indent=1).encode()
    page = upload(hand, copy).content.decode()
    assert "2 logs read: 1 is booked already; 1 waits below to be looked through and posted." in page
    # Read again it waits once.
    upload(hand, copy)
    refused = RefusedPost.objects.get()
    assert (str(refused.key), refused.by_name, refused.pond.code) == (waits["key"], "ibis", "A")
    form = hand.get(f"/log/?refused={refused.pk}").content.decode()
    assert waits["key"] in form
    hand.post(reverse("stock:log"), {"key": waits["key"], **dict(waits["typed"])})
    assert held("A") == (97, 40, 10)
    assert "2 logs read: all of it is booked already." in upload(hand, copy).content.decode()
    assert Move.objects.filter(key=waits["key"]).count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "This is no copy of a phone"),
        (b"\xff\xfe\x00", "This is no copy of a phone"),
        (b'{"key": 1}', "This is no copy of a phone"),
        (b"[" * 100_000, "This is no copy of a phone"),
        (
            json.dumps([{"key": "no", "author": "ibis", "typed": []}]).encode(),
            "Log 1 of the file cannot be read",
        ),
        (b"[3]", "Log 1 of the file cannot be read"),
    ],
)
def test_another_file_is_refused_in_a_sentence_and_leaves_nothing(hand, content, sentence):
    answer = upload(hand, content)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not RefusedPost.objects.exists()


@pytest.mark.django_db
def test_no_file_is_asked_for_by_name_and_a_reader_is_refused(hand, reader):
    assert "Choose the file that the phone saved" in hand.post(READ).content.decode()
    assert reader.post(READ).status_code == 403


def test_a_log_that_cannot_be_read_is_named_and_what_is_too_much_refused():
    good = {"key": str(uuid.uuid4()), "author": "ibis", "typed": [["pond", "A"]]}
    (log,) = read_copy(json.dumps([good]).encode())
    assert (log.author, log.typed) == ("ibis", (("pond", "A"),))
    for bad in ({**good, "typed": [["pond"]]}, {**good, "author": 3}, {**good, "typed": [["pond", 3]]}):
        with pytest.raises(NotACopy, match="Log 2 of the file"):
            read_copy(json.dumps([good, bad]).encode())
    with pytest.raises(NotACopy, match="1001 logs"):
        read_copy(json.dumps([good] * 1001).encode())
    with pytest.raises(NotACopy, match="more than 5 MB"):
        read_copy(b" " * 5_000_001)
