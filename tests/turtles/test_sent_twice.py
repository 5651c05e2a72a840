"""A page about a turtle that is sent twice, or by two at once: one row, the same answer; other content is refused."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import reverse

from ponds.models import NestDay
from stock import turtle_book
from stock.check import differences
from stock.marks.notch import SCHEMES
from stock.models import Mark, MarkEvent, Measure, Move, NestOfTurtle, Photograph, SchemeConfirmation, SexStep
from stock.refusals import BadLine, KeyReused
from tests.turtles.marked_farm import MarkedFarm, notch, tag
from tests.turtles.one_turtle import CHIP, TODAY, marked_turtle, picture, put_mark

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
OTHER = "sent before with something else in it"
SENDERS = 6


def messages(answer) -> list[str]:
    return [str(one) for one in answer.context["messages"]]


def twice(client, address, sent, rows, *, other):
    """Send a page twice, then once with other content: one row, one answer, one refusal."""
    sent = {"key": str(uuid.uuid4()), **sent}
    before = rows.objects.count()
    answers = []
    for _ in range(2):
        # Files are read to their end: each sending has its own.
        given = {name: value() if callable(value) else value for name, value in sent.items()}
        answers.append(client.post(address, given, follow=True))
    assert [answer.redirect_chain for answer in answers] == [answers[0].redirect_chain] * 2
    assert messages(answers[0]) == messages(answers[1]) != []
    assert rows.objects.count() == before + 1
    given = {name: value() if callable(value) else value for name, value in {**sent, **other}.items()}
    refused = client.post(address, given)
    assert refused.status_code == 422
    assert OTHER in refused.content.decode()
    assert rows.objects.count() == before + 1


def test_every_page_about_a_turtle_writes_once(hand, owner):
    turtle = marked_turtle(hand.user)
    mark, paint = put_mark(turtle), put_mark(turtle, "PAINT", text="red")
    nests = NestDay.objects.create(
        pond=turtle.cell.pond, kind=turtle.kind, dug_on=dt.date(2024, 6, 2), nests=1, by=hand.user
    )

    def at(name, *more):
        return reverse(f"stock:turtle-{name}", args=[turtle.pk, *more])

    day = {"day": "2024-06-01"}
    twice(hand, at("mark"), {**day, "form": "PAINT", "text": "white 5"}, Mark, other={"text": "white 6"})
    twice(hand, at("mark"), {**day, "form": "TAG", "number": CHIP}, Mark, other={"day": "2024-06-03"})
    twice(hand, at("mark-event", mark.pk), {**day, "what": "READ"}, MarkEvent, other={"note": "another"})
    twice(hand, at("mark-event", paint.pk), {**day, "what": "LOST"}, MarkEvent, other={"what": "REMOVED"})
    told = {**day, "sex": "FEMALE", "method": "EGGS", "certainty": "CERTAIN"}
    twice(hand, at("sex"), told, SexStep, other={"certainty": "PROBABLE"})
    twice(hand, at("nest"), {"nest": str(nests.pk), "eggs": "11"}, NestOfTurtle, other={"eggs": "12"})
    units = {"length_unit": "MM", "mass_unit": "G"}
    measured = {"measured_on": "2024-06-01", "observer": "wren", **units, "SCL_MAX": "203"}
    twice(hand, at("measure"), measured, Measure, other={"SCL_MAX": "204"})
    kept = {
        "picture": lambda: SimpleUploadedFile("a.jpg", picture()),
        "taken_on": "2024-06-01",
        "shows": "rim",
    }
    twice(hand, at("photo"), kept, Photograph, other={"shows": "head"})
    confirmed = {"against": "Cagle 1939, plate 1", "is_same": "on"}
    confirm = reverse("stock:scheme-confirm", args=["LR16"])
    twice(owner, confirm, confirmed, SchemeConfirmation, other={"against": "Another"})

    measure = Measure.objects.get()
    correct = reverse("stock:measure-correct", args=[turtle.pk, measure.key])
    wrong = {"measured_on": "2024-06-01", "observer": "wren", "length_unit": "MM", "SCL_MAX": "205"}
    twice(hand, correct, wrong, Measure, other={"SCL_MAX": "206"})
    mended = Measure.objects.standing().get()
    away = reverse("stock:turtle-take-back", args=[turtle.pk, "measure", mended.key])
    sent = {"key": str(uuid.uuid4())}
    first, second = (hand.post(away, sent, follow=True) for _ in range(2))
    assert messages(first) == messages(second) != []
    assert Measure.objects.count() == 3
    assert (
        hand.post(away, {"key": str(uuid.uuid4())}).status_code == 404
    )  # taken back already, by another page


def test_odd_measures_that_were_kept_are_not_asked_about_when_sent_again(hand):
    turtle = marked_turtle(hand.user)
    address = reverse("stock:turtle-measure", args=[turtle.pk])
    units = {"length_unit": "MM", "mass_unit": "G"}
    sent = {"key": str(uuid.uuid4()), "measured_on": "2024-06-01", **units, "SCL_MAX": "200", "MASS": "1.4"}
    asked = hand.post(address, sent)
    assert asked.status_code == 422
    sent["right"] = asked.context["form"].may_be_right
    assert sent["right"]
    assert [hand.post(address, sent).status_code for _ in range(2)] == [303, 303]
    assert Measure.objects.count() == 2


def test_the_last_mark_lost_is_one_move_however_often_it_is_sent(hand):
    farm = MarkedFarm(hand.user)
    turtle = farm.register(5, tag(CHIP))
    mark = Mark.objects.get()
    address = reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk])
    twice(hand, address, {"day": "2026-03-10", "what": "LOST", "note": "torn"}, Move, other={"note": "cut"})
    assert MarkEvent.objects.count() == 1
    assert differences() == []


@pytest.mark.parametrize("what", ["LOST", "REMOVED", "MISTAKEN"])
@pytest.mark.parametrize("other_mark", [False, True])
def test_faint_scutes_of_a_mark_that_is_no_more_are_refused_and_never_dropped(hand, what, other_mark):
    farm = MarkedFarm(hand.user)
    farm.confirm()
    turtle = farm.register(5, notch("BKO"), *([tag(CHIP)] if other_mark else []))
    mark = Mark.objects.get(form="NOTCH")
    address = reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk])
    sent = {"key": str(uuid.uuid4()), "day": "2026-03-10", "what": what, "faint": "R2"}
    for _ in range(2):
        refused = hand.post(address, sent)
        assert refused.status_code == 422
        assert refused.context["form"].errors["faint"] == [turtle_book.FAINT_OF_READ]
    with pytest.raises(BadLine, match="Faint scutes"):
        turtle_book.note_mark(
            mark, what, key=uuid.uuid4(), day=farm.day(9), by=hand.user, today=TODAY, faint_mask=mark.mask
        )
    assert not MarkEvent.objects.exists()
    twice(hand, address, {**sent, "faint": ""}, MarkEvent, other={"note": "another"})
    assert MarkEvent.objects.get().what == what
    renewed = {"key": str(uuid.uuid4()), "day": "2026-03-11", "what": "RENEWED", "faint": "R2"}
    assert [hand.post(address, renewed).status_code for _ in range(2)] == [303, 303]


def test_a_key_of_one_turtle_is_refused_on_another(hand):
    farm = MarkedFarm(hand.user)
    first, second = farm.register(5, tag(CHIP)), farm.register(5, tag("985113007399203"))
    key = uuid.uuid4()
    paint = {"day": farm.day(6), "by": hand.user, "today": TODAY, "key": key}
    put_on = notch("BKO", is_conflict=True)
    assert turtle_book.put_mark(first, put_on, **paint) == turtle_book.put_mark(first, put_on, **paint)
    with pytest.raises(KeyReused, match=OTHER):
        turtle_book.put_mark(second, put_on, **paint)


def test_a_table_that_changed_is_confirmed_anew_under_a_key_of_its_own(hand):
    """Keys that are not given never meet: rows of a sheet or of the ledger have none."""
    for scheme in list(SCHEMES)[:2]:
        turtle_book.confirm_scheme(scheme, against="A figure", by=hand.user, today=TODAY)
    assert SchemeConfirmation.objects.filter(key=None).count() == 2


@pytest.mark.django_db(transaction=True)
def test_two_that_send_one_key_at_once_end_in_one_row_and_one_answer(make_person):
    from django.test import Client

    person = make_person("hand", "hand")
    turtle = marked_turtle(person)
    mark = put_mark(turtle)
    chip = put_mark(turtle, "TAG")
    together = threading.Barrier(SENDERS)

    def send(job):
        address, sent = job
        try:
            client = Client()
            client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
            together.wait(timeout=30)
            answer = client.post(address, sent)
            return answer.status_code, answer.headers.get("Location")
        finally:
            connection.close()

    day = {"day": "2024-06-01"}
    pages = [
        (reverse("stock:turtle-mark", args=[turtle.pk]), {**day, "form": "PAINT", "text": "white 5"}, Mark),
        (reverse("stock:turtle-mark-event", args=[turtle.pk, mark.pk]), {**day, "what": "READ"}, MarkEvent),
        (reverse("stock:turtle-mark-event", args=[turtle.pk, chip.pk]), {**day, "what": "LOST"}, MarkEvent),
        (
            reverse("stock:turtle-sex", args=[turtle.pk]),
            {**day, "sex": "FEMALE", "method": "EGGS", "certainty": "CERTAIN"},
            SexStep,
        ),
        (
            reverse("stock:turtle-measure", args=[turtle.pk]),
            {"measured_on": "2024-06-01", "length_unit": "MM", "mass_unit": "G", "SCL_MAX": "203"},
            Measure,
        ),
    ]
    with ThreadPoolExecutor(SENDERS) as senders:
        for address, sent, rows in pages:
            before = rows.objects.count()
            job = (address, {**sent, "key": str(uuid.uuid4())})
            answers = list(senders.map(send, [job] * SENDERS))
            assert len(set(answers)) == 1, (address, answers)
            assert answers[0][0] == 303
            assert rows.objects.count() == before + 1
