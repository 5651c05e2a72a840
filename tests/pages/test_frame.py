"""The page frame and the forms: what is wrong is said once at the top and again where it is."""

import re

import pytest
from django import forms
from django.contrib.auth.models import AnonymousUser
from django.template.loader import render_to_string
from django.test import RequestFactory

from config.context import farm_and_role, places
from config.forms import problems
from ponds.models import Farm


class CountForm(forms.Form):
    heads = forms.IntegerField(label="Females", help_text="As counted at the bank.")
    caught = forms.ChoiceField(widget=forms.RadioSelect, choices=[("S", "Seine"), ("T", "Traps")])
    drained = forms.BooleanField(required=False)
    key = forms.CharField(widget=forms.HiddenInput)

    def clean(self):
        raise forms.ValidationError("Pond A holds 12 females; 40 were asked for. Count again.")


Rows = forms.formset_factory(CountForm, extra=2)


def wrong_form():
    return CountForm({"heads": "<four>", "key": ""})


def test_every_problem_is_listed_in_order_and_leads_to_its_control():
    found = problems(wrong_form())
    assert [(problem.anchor, problem.sentence.split(":")[0]) for problem in found] == [
        ("", "Pond A holds 12 females; 40 were asked for. Count again."),
        ("id_heads", "Females"),
        ("id_caught_0", "Caught"),
        ("", "Key"),
    ]
    shown = str(wrong_form())
    for problem in found:
        if problem.anchor:
            assert f'href="#{problem.anchor}"' in shown
            assert len(re.findall(rf'\bid="{problem.anchor}"', shown)) == 1


def test_the_form_says_what_is_wrong_beside_the_field_and_loses_nothing_typed():
    shown = str(wrong_form())
    assert shown.count("There is a problem") == 1
    assert 'value="&lt;four&gt;"' in shown
    assert "<four>" not in shown
    assert 'id="id_heads_error"' in shown
    assert 'aria-describedby="id_heads_helptext id_heads_error"' in shown
    assert 'aria-invalid="true"' in shown
    # The whole-form sentence stands in the summary only, each field's in the summary and beside the field.
    assert shown.count("Count again.") == 1
    assert shown.count("Enter a whole number.") == 2


def test_a_form_not_sent_yet_has_no_problem():
    assert problems(CountForm()) == []
    assert "There is a problem" not in str(CountForm())
    assert "<fieldset" in str(CountForm())


def test_problems_of_rows_name_the_row():
    posted = {"form-TOTAL_FORMS": "2", "form-INITIAL_FORMS": "0", "form-1-heads": "x"}
    found = problems(formset=Rows(posted))
    assert ("id_form-1-heads", "Row 2: Females: Enter a whole number.") in [
        (problem.anchor, problem.sentence) for problem in found
    ]
    assert [problem.sentence for problem in found if problem.sentence.startswith("Row 1")] == []


def test_rows_bring_their_management_form_and_a_template_for_more():
    shown = str(Rows())
    assert shown.count('name="form-TOTAL_FORMS"') == 1
    assert 'name="form-__prefix__-heads"' in shown
    assert '<button type="button" class="button plain" data-add-row hidden>' in shown


@pytest.mark.parametrize(
    ("path", "here"),
    [("/", "/"), ("/ponds/A/", "/"), ("/moves/", "/moves/"), ("/moves/3/", "/moves/"), ("/up/", None)],
)
def test_the_menu_marks_the_place_one_is_in(monkeypatch, path, here):
    known = {"stock:pond-list": "/", "stock:move-list": "/moves/", "stock:log": "/log/"}

    def reverse(name):
        from django.urls import NoReverseMatch

        if name not in known:
            raise NoReverseMatch(name)
        return known[name]

    monkeypatch.setattr("config.context.reverse", reverse)
    menu = places(path, "owner")
    assert [place.word for place in menu] == ["Ponds", "Log", "Moves"]
    assert [place.url for place in menu if place.here] == ([here] if here else [])
    assert [place.word for place in places(path, "reader")] == ["Ponds", "Moves"]


def test_a_visitor_costs_no_query(db, django_assert_num_queries):
    request = RequestFactory().get("/")
    request.user = AnonymousUser()
    with django_assert_num_queries(0):
        assert farm_and_role(request) == {"role": "", "nav": [], "farm": None, "printed_on": None}


def test_a_person_costs_one_query_for_the_role_and_one_for_a_shown_farm(hand, django_assert_num_queries):
    Farm.objects.all().delete()
    Farm.objects.create(name="Cypress Bend", code="LA-7")
    request = RequestFactory().get("/")
    request.user = type(hand.user).objects.get(pk=hand.user.pk)
    with django_assert_num_queries(1):
        context = farm_and_role(request)
        assert context["role"] == "hand"
    with django_assert_num_queries(1):
        assert context["farm"].name == "Cypress Bend"
        assert context["printed_on"]() == context["farm"].today()


def test_the_printed_page_names_the_farm_its_code_and_the_day(hand):
    Farm.objects.all().delete()
    Farm.objects.create(name="Cypress <Bend>", code="LA-7")
    request = RequestFactory().get("/")
    request.user = hand.user
    shown = render_to_string("404.html", request=request)
    (foot,) = re.findall(r'<footer class="print-foot print-only">(.*?)</footer>', shown)
    assert re.fullmatch(r"Cypress &lt;Bend&gt; · LA-7 · printed \d{1,2} [A-Z][a-z]{2} \d{4}", foot)


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_stand_without_a_context_and_offer_a_way_on(name):
    shown = render_to_string(name)
    assert 'href="/"' in shown
    assert "<h1" in shown
    assert "{{" not in shown
    assert "{%" not in shown


def test_an_undo_posts_with_a_fresh_key_each_time():
    key = r'name="key" value="([0-9a-f-]{36})"'
    first, second = (
        render_to_string("includes/undo.html", {"action": "/moves/3/reverse/"}) for _ in range(2)
    )
    assert 'method="post" action="/moves/3/reverse/"' in first
    assert re.search(key, first)[1] != re.search(key, second)[1]
