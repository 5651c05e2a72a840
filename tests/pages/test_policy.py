"""The content security policy stands on every kind of answer, refusals and failures too."""

from __future__ import annotations

import pytest
from django.test import Client, override_settings
from django.urls import path

from config import settings as farm_settings
from config import urls as site_map
from tests.page_rules import POLICY, inline_breaches, page_faults, policy_of


def fails(request):
    raise RuntimeError("a view that fails")


urlpatterns = [*site_map.urlpatterns, path("fails/", fails)]


def test_the_settings_hold_exactly_the_policy_that_was_decided():
    assert {
        name: " ".join(sources)
        for name, sources in farm_settings.CONTENT_SECURITY_POLICY["DIRECTIVES"].items()
    } == POLICY
    assert set(farm_settings.CONTENT_SECURITY_POLICY) == {"DIRECTIVES"}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/up/", 200),
        ("/sign-in/", 200),
        ("/settings/me/", 302),
        ("/no-such-page/", 404),
        ("/static/config/app.css", 200),
        ("/static/config/app.js", 200),
        ("/static/no-such-file.css", 404),
    ],
)
def test_answers_carry_the_policy(client, address, status):
    response = client.get(address)
    assert response.status_code == status
    assert page_faults(response) == []


@pytest.mark.django_db
def test_a_missing_slash_and_a_wrong_host_carry_it_too(client):
    moved = client.get("/up")
    assert (moved.status_code, policy_of(moved)) == (301, POLICY)
    wrong = client.get("/up/", headers={"host": "elsewhere.example"})
    assert (wrong.status_code, page_faults(wrong)) == (400, [])


@pytest.mark.django_db
def test_a_refused_form_carries_it_and_says_what_to_do():
    client = Client(enforce_csrf_checks=True)
    response = client.post("/sign-in/", {"username": "wren", "password": "x"})
    assert (response.status_code, page_faults(response)) == (403, [])
    assert "Nothing was changed" in response.content.decode()


@pytest.mark.django_db
@override_settings(ROOT_URLCONF=__name__)
def test_a_failure_carries_it_and_shows_no_innards(owner):
    owner.raise_request_exception = False
    response = owner.get("/fails/")
    assert (response.status_code, page_faults(response)) == (500, [])
    assert "a view that fails" not in response.content.decode()


@override_settings(SECURE_SSL_REDIRECT=True)
def test_the_redirect_to_https_carries_it(client):
    response = client.get("/up/")
    assert (response.status_code, policy_of(response)) == (301, POLICY)


@pytest.mark.parametrize(
    "html",
    [
        '<p style="color: red">x</p>',
        "<style>p { color: red }</style>",
        "<script>alert(1)</script>",
        '<script src="/a.js">alert(1)</script>',
        '<button onclick="go()">x</button>',
        '<a href="javascript:go()">x</a>',
        '<img src="https://elsewhere.example/a.png">',
        '<link rel="stylesheet" href="//elsewhere.example/a.css">',
        '<img src="data:image/png;base64,AAAA">',
        '<svg><rect style="fill: red"/></svg>',
    ],
)
def test_the_finder_finds_what_the_policy_would_block(html):
    assert inline_breaches(html) != []


def test_the_finder_lets_a_clean_page_pass():
    clean = (
        '<link rel="stylesheet" href="/a.css"><script src="/a.js" defer></script>'
        '<svg xmlns="http://www.w3.org/2000/svg"><a href="https://elsewhere.example/">x</a></svg>'
    )
    assert inline_breaches(clean) == []
