"""Surveys: hauls put together, read side by side, and accepted as a count by an owner."""

from __future__ import annotations

import html
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind, Pond
from stock import ledger, survey_book
from stock.drafts import CatchLine, CountDraft, Draft, HaulDraft, Line, MarkDraft
from stock.models import Count, CountReversal, Entry, Haul, Move, Survey, SurveyHaul
from stock.survey_floor import Flow, LaterCatch, floor_of, marked_on
from stock.surveys import read
from tests.page_rules import page_faults
from tests.pages.bank import held, make_farm, today
from tests.pages.survey_farm import ago, haul, passes, survey

pytestmark = pytest.mark.django_db

NEW = "/counts/surveys/new/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return (
        re.sub(r"\s+", " ", html.unescape(response.content.decode()))
        .replace("\u202f", " ")
        .replace("\xa0", " ")
    )


def shown(client, one: Survey) -> str:
    response = client.get(reverse("stock:survey-detail", args=[one.pk]))
    assert response.status_code == 200
    assert page_faults(response) == []
    return words(response)


def accept_url(one: Survey, kind: str = "slider") -> str:
    return reverse("stock:survey-accept", args=[one.pk, kind])


def sent(one: Survey, client, **more) -> dict:
    """Return what the accept page sends when nothing is changed on it."""
    page = client.get(accept_url(one))
    form = page.context["form"]
    start = {
        "key": str(form["key"].value()),
        "as_read": form["as_read"].value(),
        "method": form["method"].value(),
        "method_reason": "",
        "reason": "",
    }
    return {**start, **({"resets_book": "on"} if form["resets_book"].value() else {}), **more}


def declining() -> Survey:
    return survey(*passes((28, 10), (20, 6), (8, 4)))


# Putting hauls together


def test_after_logging_a_haul_the_receipt_leads_to_reading_it_with_others(hand, reader):
    one = haul({"FEMALE": 20}, days=0)
    receipt = reverse("stock:move-detail", args=[one.move.key])
    assert f'href="{NEW}?haul={one.pk}">Read it with other hauls</a>' in words(hand.get(receipt))
    assert "Read it with other hauls" not in words(reader.get(receipt))


def test_a_new_survey_has_the_hauls_of_a_fortnight_ticked_and_none_of_another_pond(hand):
    old, near, this = haul({"FEMALE": 9}, days=30), haul({"FEMALE": 20}, days=10), haul({"MALE": 4}, days=0)
    haul({"FEMALE": 3}, pond="B", days=1)
    form = hand.get(NEW, {"haul": this.pk}).context["form"]
    assert set(form["hauls"].value()) == {str(near.pk), str(this.pk)}
    assert {pk for pk, _ in form.fields["hauls"].choices} == {str(one.pk) for one in (old, near, this)}


def test_a_haul_joins_the_ponds_open_survey_or_begins_another(hand):
    one = survey(haul({"FEMALE": 20}, days=4))
    later = haul({"FEMALE": 12}, days=0)
    response = hand.get(NEW, {"haul": later.pk})
    assert response["Location"] == f"{reverse('stock:survey-change', args=[one.pk])}?haul={later.pk}"
    form = hand.get(response["Location"]).context["form"]
    assert str(later.pk) in form["hauls"].value()
    assert hand.get(NEW, {"haul": later.pk, "new": 1}).status_code == 200


def test_hauls_are_put_together_once_for_a_key(hand):
    first, second = haul({"FEMALE": 20}), haul({"FEMALE": 12})
    asked = {
        "key": str(uuid.uuid4()),
        "pond": "A",
        "hauls": [first.pk, second.pk],
        "note": "held out in the pen",
    }
    response = hand.post(NEW, asked)
    one = Survey.objects.get()
    assert response.status_code == 303
    assert response["Location"] == reverse("stock:survey-detail", args=[one.pk])
    assert {row.haul_id for row in one.members.all()} == {first.pk, second.pk}
    assert (one.note, one.started_by) == ("held out in the pen", hand.user)
    hand.post(NEW, asked)
    assert Survey.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"hauls": []}, "Tick at least one haul: a survey is read from hauls."),
        ({"hauls": ["999999"]}, "One of the hauls ticked is not free any more"),
        ({"marked-slider-FEMALE": "-3"}, "-3 is below 0. Give a whole number from 0 up."),
        ({"marked-slider-MALE": "two"}, "“two” is not a whole number."),
        ({"marks_both": "5"}, "Give all three figures, 0 where there was none"),
        ({"note": "x" * 301}, "This has 301 characters; at most 300 fit."),
        ({"key": ""}, "This page had lost its key."),
    ],
)
def test_each_wrong_entry_has_its_sentence_and_nothing_is_written(hand, wrong, sentence):
    one = haul({"FEMALE": 20})
    response = hand.post(
        NEW, {"key": str(uuid.uuid4()), "pond": "A", "hauls": [one.pk], "note": "kept", **wrong}
    )
    assert response.status_code == 200
    assert sentence in words(response)
    assert "Error: " in response.content.decode().split("</title>")[0]
    assert not Survey.objects.exists()
    if "note" not in wrong:
        assert 'value="kept"' in response.content.decode()


def test_a_haul_is_read_in_one_survey_at_a_time(hand):
    one = haul({"FEMALE": 20})
    survey(one)
    response = hand.post(NEW, {"key": str(uuid.uuid4()), "pond": "A", "hauls": [one.pk]})
    assert "not free any more" in words(response)
    assert Survey.objects.count() == 1


def test_hauls_are_added_and_taken_out_and_marks_kept(hand):
    first, second, third = (haul({"FEMALE": heads}) for heads in (20, 12, 7))
    one = survey(first, second)
    address = reverse("stock:survey-change", args=[one.pk])
    asked = {
        "key": str(uuid.uuid4()), "hauls": [second.pk, third.pk], "marked-slider-FEMALE": "40",
        "marks_both": "30", "marks_first_only": "2", "marks_second_only": "3", "note": "",
        "as_read": survey_book.as_it_is(one),
    }  # fmt: skip
    assert hand.post(address, asked).status_code == 303
    assert {row.haul_id for row in one.members.all()} == {second.pk, third.pk}
    text = shown(hand, one)
    assert "40 Slider female" in text
    assert "30 with both, 2 with the first only, 3 with the second only" in text
    form = hand.get(address).context["form"]
    assert form["marked-slider-FEMALE"].value() == 40
    assert SurveyHaul.objects.filter(haul=first).count() == 0


def test_a_survey_is_given_up_only_while_nothing_was_accepted(hand, owner):
    spare, used = survey(haul({"FEMALE": 20})), declining()
    assert hand.post(reverse("stock:survey-drop", args=[spare.pk])).status_code == 303
    assert not Survey.objects.filter(pk=spare.pk).exists()
    assert Haul.objects.count() == 4
    owner.post(accept_url(used), sent(used, owner))
    response = hand.post(reverse("stock:survey-drop", args=[used.pk]), follow=True)
    assert "A count was accepted from this survey, so it stays with it." in words(response)
    assert Survey.objects.filter(pk=used.pk).exists()


# Reading


def test_passes_held_out_are_read_as_carle_and_strub_do(reader):
    # Carle and Strub (1978): catches of 38, 26 and 12 are 91 heads.
    hauls = [haul({"UNSEXED": heads}, is_held_out=True) for heads in (38, 26, 12)]
    text = shown(reader, survey(*hauls))
    assert "Slider: 91 heads" in text
    assert "none was sexed" in text
    assert "The form of what was done fixes it beforehand, not the answer." in text
    assert "It takes for granted that" in text


def test_two_hauls_with_marks_are_read_as_chapman_does(reader):
    # Skalski, Robson and Simmons (1983), cottontails: 87 marked, 14 caught, 7 of them marked are 164 by Chapman.
    first = haul({"UNSEXED": 87}, days=5, newly={"UNSEXED": 87})
    text = shown(reader, survey(first, haul({"UNSEXED": 14}, days=1, carrying={"UNSEXED": 7})))
    assert "Slider: 164 heads" in text
    assert "Chapman" in text


def test_a_catch_that_did_not_decline_has_nothing_to_accept(owner):
    # Carle and Strub (1978) print 44 heads for 5, 7 and 8; the catch rose, so it is none to accept.
    one = survey(*[haul({"UNSEXED": heads}, is_held_out=True) for heads in (5, 7, 8)])
    text = shown(owner, one)
    assert "There is nothing to accept" in text
    assert "What would accepting it mean?" not in text
    assert text.index("There is nothing to accept") < text.index("Methods side by side")
    response = owner.post(accept_url(one), {"key": str(uuid.uuid4()), "method": "carle-strub"}, follow=True)
    assert "There is nothing to accept." in words(response)
    assert not Count.objects.exists()


def test_one_haul_alone_says_what_to_do(owner):
    text = shown(owner, survey(haul({"FEMALE": 20, "MALE": 6})))
    assert "There is nothing to accept" in text


def test_a_survey_whose_hauls_caught_nothing_says_so(owner):
    assert "These hauls caught nothing" in shown(owner, survey(haul({})))


def test_a_haul_taken_back_is_left_out_and_said(owner):
    one = declining()
    last = one.members.order_by("-pk").first().haul
    ledger.reverse(last.move, key=uuid.uuid4(), by=owner.user, today=today())
    text = shown(owner, one)
    assert "does not stand any more and is left out" in text
    assert len(read(one)[0].hauls) == 2


# Accepting


def test_what_accepting_means_is_said_first(owner):
    before = CountDraft("A", "slider", ago(90), "SEINED", females=160, females_se=5, males=60, males_se=4)
    ledger.accept_count(before, key=uuid.uuid4(), by=owner.user, today=today())
    dead = (Line("slider", "FEMALE", "A", "DIED", 6, cause="BITES"),)
    haul({"FEMALE": 30}, days=40, lines=dead)
    one = declining()
    text = words(owner.get(accept_url(one)))
    assert "the book holds 144" in text
    assert "6 recorded deaths" in text
    assert "Left unexplained" in text
    after = text.split("So there should be</th>")[1]
    assert re.findall(r'class="num">(\d+)</td>', after)[:2] == ["154", "60"]


def test_an_owner_accepts_the_first_method_and_the_book_stays(owner):
    one = declining()
    response = owner.post(accept_url(one), sent(one, owner))
    count = Count.objects.get()
    assert response.status_code == 303
    assert response["Location"] == reverse("stock:count-detail", args=[count.pk])
    (reading,) = read(one)
    figures = reading.figures(reading.reading.headline)
    assert (count.females, count.males) == (figures.females, figures.males)
    assert count.as_of == ago(3)
    assert {row.haul_id for row in count.evidence.all()} == {row.haul_id for row in one.members.all()}
    assert (count.survey, count.by, count.move) == (one, owner.user, None)
    assert held("A") == (100, 40, 10)


def test_the_same_page_sent_twice_is_one_count_and_another_is_refused(owner):
    one = declining()
    asked = sent(one, owner)
    owner.post(accept_url(one), asked)
    owner.post(accept_url(one), asked)
    assert Count.objects.count() == 1
    response = owner.post(accept_url(one), {**asked, "key": str(uuid.uuid4())})
    assert "was accepted from these hauls already" in words(response)
    assert Count.objects.count() == 1


@pytest.mark.parametrize("who", ["hand", "reader"])
def test_only_an_owner_accepts_or_takes_back(request, owner, who):
    client = request.getfixturevalue(who)
    one = declining()
    assert (
        client.post(accept_url(one), {"key": str(uuid.uuid4()), "method": "carle-strub"}).status_code == 403
    )
    assert not Count.objects.exists()
    owner.post(accept_url(one), sent(one, owner))
    back = reverse("stock:count-take-back", args=[Count.objects.get().pk])
    assert client.post(back, {"key": str(uuid.uuid4()), "reason": "no"}).status_code == 403
    assert not CountReversal.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"method": "guess"}, "There is no method “guess”. Choose one from the list."),
        ({"method": ""}, "Choose by which method the count is accepted."),
        ({"resets_book": "on"}, "Only a complete drain-down resets the book by itself."),
        ({"resets_book": "on", "reason": "x" * 301}, "This has 301 characters; at most 300 fit."),
        ({"key": "lost"}, "This page had lost its key."),
    ],
)
def test_each_wrong_way_of_accepting_has_its_sentence_and_nothing_is_written(owner, wrong, sentence):
    one = declining()
    response = owner.post(accept_url(one), sent(one, owner, **wrong))
    assert response.status_code == 200
    assert sentence in words(response)
    assert "Error: " in response.content.decode().split("</title>")[0]
    assert not Count.objects.exists()
    assert not Move.objects.filter(made_as="COUNT").exists()


def test_another_method_than_the_first_needs_a_reason(owner):
    first = haul({"UNSEXED": 109}, days=5, newly={"UNSEXED": 109})
    one = survey(first, haul({"UNSEXED": 177}, days=1, carrying={"UNSEXED": 57}))
    rows = owner.get(accept_url(one)).context["rows"]
    if len(rows) < 2:
        pytest.fail("Two hauls with marks are read by more than one method.")
    other = rows[1].code
    response = owner.post(accept_url(one), sent(one, owner, method=other))
    assert "Another method than the first needs a reason" in words(response)
    assert not Count.objects.exists()
    owner.post(
        accept_url(one), sent(one, owner, method=other, method_reason="set down before the second haul")
    )
    count = Count.objects.get()
    assert (count.method, count.method_reason) == (other, "set down before the second haul")


def test_the_owners_decision_resets_the_book_with_its_reason(owner):
    one = declining()
    owner.post(accept_url(one), sent(one, owner, resets_book="on", reason="the book was a guess"))
    count = Count.objects.get()
    assert held("A") == (round(count.females), round(count.males), 0)
    assert set(count.move.entries.values_list("reason", flat=True)) == {"COUNT_RESET"}
    assert "was reset to it: the book was a guess" in words(
        owner.get(reverse("stock:count-detail", args=[count.pk]))
    )


def test_a_complete_drain_down_resets_the_book_without_a_reason(owner):
    one = survey(haul({"FEMALE": 91, "MALE": 38, "UNSEXED": 3}, method="DRAIN_DOWN", is_complete=True))
    owner.post(accept_url(one), sent(one, owner))
    count = Count.objects.get()
    assert (count.how_known, count.females, count.females_se) == ("DRAINED", 91, 0)
    assert held("A") == (91, 38, 3)


def test_what_was_sold_of_a_haul_is_no_longer_in_the_count(owner):
    sold = (Line("slider", "MALE", "A", "SOLD", 8),)
    drained = haul({"FEMALE": 91, "MALE": 38}, lines=sold, method="DRAIN_DOWN", is_complete=True)
    one = survey(drained)
    assert "the booked moves brought −8 adults" in words(owner.get(accept_url(one)))
    owner.post(accept_url(one), sent(one, owner))
    assert Count.objects.get().males == 30
    assert held("A") == (91, 30, 0)


def test_what_was_beyond_the_book_moves_no_turtle(owner):
    drained = haul({"FEMALE": 130, "MALE": 38}, method="DRAIN_DOWN", is_complete=True)
    assert Entry.objects.filter(reason="BEYOND_BOOK").exists() or held("A")[0] >= 100
    one = survey(drained)
    owner.post(accept_url(one), sent(one, owner))
    assert Count.objects.get().females == 130


def test_a_count_is_not_taken_below_what_later_moves_prove(owner):
    one = declining()
    (reading,) = read(one)
    say = reading.figures(reading.reading.headline).females
    moved = (Line("slider", "FEMALE", "A", "B", 95),)
    haul({"FEMALE": 95}, days=1, lines=moved)
    assert say < 95
    text = words(owner.get(accept_url(one)))
    assert "Moves after that day prove at least 95 females" in text
    owner.post(accept_url(one), sent(one, owner))
    assert Count.objects.get().females == 95


def test_a_count_is_taken_back_with_a_reason(owner):
    one = declining()
    owner.post(accept_url(one), sent(one, owner, resets_book="on", reason="the book was a guess"))
    count = Count.objects.get()
    back = reverse("stock:count-take-back", args=[count.pk])
    response = owner.post(back, {"key": str(uuid.uuid4()), "reason": " "})
    assert "Say in a few words why the count is taken back" in words(response)
    assert not CountReversal.objects.exists()
    assert owner.post(back, {"key": str(uuid.uuid4()), "reason": "two passes were one"}).status_code == 303
    text = words(owner.get(reverse("stock:count-detail", args=[count.pk])))
    assert "This count does not stand: taken back by owner. two passes were one" in text
    assert held("A") == (100, 40, 10)
    again = owner.post(back, {"key": str(uuid.uuid4()), "reason": "once more"})
    assert "This count was taken back already." in words(again)
    assert "nothing is accepted" in shown(owner, one).lower() or "taken back" in shown(owner, one)


def test_a_survey_says_when_its_hauls_changed_after_accepting(owner):
    one = declining()
    owner.post(accept_url(one), sent(one, owner))
    assert "The hauls have changed since" not in shown(owner, one)
    fourth = haul({"FEMALE": 3, "MALE": 1}, is_held_out=True)
    kept = [row.haul_id for row in one.members.all()]
    owner.post(
        reverse("stock:survey-change", args=[one.pk]),
        {
            "key": str(uuid.uuid4()),
            "hauls": [*kept, fourth.pk],
            "note": "",
            "as_read": survey_book.as_it_is(one),
        },
    )
    assert "The hauls have changed since" in shown(owner, one)


def test_a_count_falls_with_a_haul_it_was_read_from(owner):
    one = declining()
    owner.post(accept_url(one), sent(one, owner))
    first = one.members.order_by("pk").first().haul
    ledger.reverse(first.move, key=uuid.uuid4(), by=owner.user, today=today())
    assert "fell with a haul" in shown(owner, one)
    assert "fell with a haul" in words(owner.get(reverse("stock:count-list")))


def test_an_unknown_kind_is_sent_back_with_a_sentence(owner):
    one = declining()
    response = owner.get(accept_url(one, "snapper"), follow=True)
    assert "This survey caught none of the kind “snapper”" in words(response)


# As many queries whatever there is


def queries(client, address: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_the_pages_ask_as_many_queries_of_3_hauls_as_of_300(owner):
    one = declining()
    pages = [
        reverse("stock:survey-detail", args=[one.pk]),
        accept_url(one),
        f"{NEW}?pond=A",
        reverse("stock:survey-change", args=[one.pk]),
    ]
    free = haul({"FEMALE": 2, "MALE": 1}, days=1)
    few = {page: queries(owner, page) for page in pages}
    assert max(few.values()) <= 24
    for number in range(300):
        Haul.objects.filter(pk=free.pk).exists()
        haul({"FEMALE": 1 + number % 3, "MALE": 1}, days=number % 10)
    assert Kind.objects.count() == 2
    assert {page: queries(owner, page) for page in pages} == few


def test_a_count_is_not_taken_below_what_a_later_haul_brought(owner):
    one = declining()
    haul({"FEMALE": 98}, days=1)
    text = words(owner.get(accept_url(one)))
    assert "A later haul proves at least 98 females" in text
    owner.post(accept_url(one), sent(one, owner))
    assert Count.objects.get().females == 98


def test_what_came_later_proves_nothing_of_before():
    flows = [
        Flow(1, ago(2), 7, "FEMALE", 30, "BOUGHT"),
        Flow(1, ago(1), 8, "FEMALE", -50, "SOLD"),
        Flow(1, ago(1), 9, "FEMALE", -40, "COUNT_RESET"),
    ]
    # Of the 50 sold, 30 came after the day; the haul of the day before the sale brought 35, 30 of them perhaps new.
    floor = floor_of(ago(3), flows, [LaterCatch(1, ago(2), 5, "FEMALE", 35)], {"MALE": 4})
    assert (floor.females, floor.males, floor.adults) == (20, 4, 20)
    assert floor.proof == "Moves after that day prove"


def test_marked_turtles_that_stand_there_are_known_until_they_leave():
    pond = Pond.objects.get(code="A")
    marks = tuple(MarkDraft(f"T{number}", "slider", "MALE", "A") for number in range(5))
    ledger.record(Draft(uuid.uuid4(), ago(9), marks=marks, pond="A"), by=None, today=today())
    sold = Line("slider", "MALE", "A", "SOLD", 2, turtles=("T0", "T1"))
    ledger.record(Draft(uuid.uuid4(), ago(4), (sold,), pond="A"), by=None, today=today())
    slider = Kind.objects.get(code="slider").pk
    assert [marked_on(pond, ago(days)) for days in (10, 9, 5, 4)] == [
        {}, {(slider, "MALE"): 5}, {(slider, "MALE"): 5}, {(slider, "MALE"): 3},
    ]  # fmt: skip


def test_a_haul_that_spoke_in_one_survey_does_not_speak_again_in_another(owner, hand):
    one = declining()
    owner.post(accept_url(one), sent(one, owner))
    hauls = [row.haul for row in one.members.order_by("pk")]
    kept = {
        "key": str(uuid.uuid4()), "hauls": [hauls[0].pk], "note": "", "as_read": survey_book.as_it_is(one),
    }  # fmt: skip
    hand.post(reverse("stock:survey-change", args=[one.pk]), kept)
    other = survey(*hauls[1:], *passes((3, 1)))
    text = words(owner.get(accept_url(other)))
    assert "a haul speaks once" in text
    assert "Accept the count" not in text
    asked = {"key": str(uuid.uuid4()), "method": "carle-strub"}
    assert "was accepted from these hauls already" in words(owner.post(accept_url(other), asked))
    assert Count.objects.count() == 1


def test_a_survey_is_open_again_when_its_count_fell(owner):
    one = declining()
    owner.post(accept_url(one), sent(one, owner))
    assert "Surveys still open" not in words(owner.get(reverse("stock:count-list")))
    first = one.members.order_by("pk").first().haul
    ledger.reverse(first.move, key=uuid.uuid4(), by=owner.user, today=today())
    assert "Surveys still open" in words(owner.get(reverse("stock:count-list")))


def test_each_kind_of_a_haul_is_read_and_accepted_by_itself(owner):
    catch = (
        CatchLine("slider", "FEMALE", 91), CatchLine("slider", "MALE", 38), CatchLine("snapper", "FEMALE", 12),
    )  # fmt: skip
    drained = HaulDraft("DRAIN_DOWN", catch, is_complete=True)
    receipt = ledger.record(Draft(uuid.uuid4(), ago(1), pond="A", haul=drained), by=None, today=today())
    one = survey(Haul.objects.get(move_id=receipt.move_id))
    text = shown(owner, one)
    assert "Slider: 129 heads" in text
    assert "Snapper: 12 heads" in text
    owner.post(accept_url(one, "snapper"), sent_for(one, owner, "snapper"))
    assert [(count.kind.code, count.females) for count in Count.objects.all()] == [("snapper", 12)]


def sent_for(one: Survey, client, kind: str) -> dict:
    form = client.get(accept_url(one, kind)).context["form"]
    return {
        "key": str(form["key"].value()),
        "as_read": form["as_read"].value(),
        "method": form["method"].value(),
        "method_reason": "",
        "reason": "",
    }
