"""Every address of the site, by every role and none, against the table in `tests/address_rows.py`."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.address_rows import EVERYONE, NO_ONE, ROWS, Row
from tests.page_rules import page_faults

GET_ANSWERS = {200, 301, 302, 303}
POST_ANSWERS = {200, 302, 303, 400, 409, 422, 429}
REFUSALS = {403, 405}
ROW_OF = {row.name: row for row in ROWS}


def patterns(resolver: URLResolver, namespace: str = "") -> Iterator[tuple[str, str]]:
    """Walk the site map: name with namespace, and the route as written."""
    for found in resolver.url_patterns:
        if isinstance(found, URLResolver):
            inner = ":".join(filter(None, (namespace, found.namespace)))
            for name, route in patterns(found, inner):
                yield name, str(found.pattern) + route
        elif isinstance(found, URLPattern):
            yield ":".join(filter(None, (namespace, found.name))), str(found.pattern)


PATTERNS = list(patterns(get_resolver()))
NAMES = sorted({name for name, _ in PATTERNS})


def address_of(row: Row) -> str:
    path = {key: made() if callable(made) else made for key, made in row.path.items()}
    return reverse(row.name, kwargs=path or None)


def writes_in(queries: CaptureQueriesContext) -> list[str]:
    """Return the statements that wrote, but for Django's own session."""
    return [
        query["sql"][:120]
        for query in queries.captured_queries
        if query["sql"].lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE"))
        and "django_session" not in query["sql"]
    ]


def is_sent_to_sign_in(response) -> bool:
    return response.status_code == 302 and response.headers["Location"].startswith(reverse("sign-in"))


def test_every_address_has_a_name():
    assert [route for name, route in PATTERNS if not name or name.endswith(":None")] == []


def test_every_address_has_one_row_and_every_row_an_address():
    assert len(ROW_OF) == len(ROWS), "A name stands twice in tests/address_rows.py."
    assert sorted(ROW_OF) == NAMES, (
        "Add the missing rows to tests/address_rows.py, or take the stale ones out."
    )


@pytest.mark.django_db
@pytest.mark.parametrize("role", sorted(EVERYONE))
@pytest.mark.parametrize("name", NAMES)
def test_who_may_use_an_address(request, name, role):
    row = ROW_OF[name]
    client = request.getfixturevalue(role)
    address = address_of(row)
    with CaptureQueriesContext(connection) as queries:
        response = client.get(address)
    _judge(row, role, "GET", row.get, response, GET_ANSWERS)
    assert writes_in(queries) == [], f"GET {address} wrote."
    response = client.post(address)
    _judge(row, role, "POST", row.post, response, POST_ANSWERS)


def _judge(row: Row, role: str, method: str, allowed: frozenset[str], response, answers: set[int]) -> None:
    what = f"{method} {row.name} by {role}: {response.status_code}"
    assert page_faults(response) == [], what
    if role in allowed:
        assert response.status_code in answers, what
        assert not is_sent_to_sign_in(response) or row.name == "sign-out", what
    elif role == "nobody":
        is_open = "nobody" in row.get | row.post
        assert is_sent_to_sign_in(response) or (is_open and response.status_code == 405), what
    else:
        assert response.status_code in REFUSALS, what


@pytest.mark.parametrize("name", sorted(row.name for row in ROWS if row.post != NO_ONE))
def test_a_post_without_the_forms_token_is_refused(make_person, name):
    client = Client(enforce_csrf_checks=True)
    client.force_login(make_person("owner"), backend="django.contrib.auth.backends.ModelBackend")
    response = client.post(address_of(ROW_OF[name]))
    assert response.status_code == 403
    assert page_faults(response) == []
