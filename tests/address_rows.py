"""Who may use which address: one row for each named URL. An address without a row fails the suite.

How to add one (one line, in the order of the site map):

    Row("stock:move-reverse", {"key": move_key}, get=HANDS, post=HANDS),

* the URL's name, with its namespace;
* what its path needs: plain values, or functions below that make the row in the database and return the value;
* `get` and `post`: who may. `OWNERS`, `HANDS` (owner and hand), `ROLES` (owner, hand, reader), `EVERYONE` (also
  nobody signed in), or `NO_ONE` (the default: the view takes no such request).

What is tested of each row, for owner, hand, reader and nobody: who may, gets an answer (200, or a redirect; for a
POST without any fields also 400, 409 or 422); who may not, gets 403 or 405, and nobody is sent to sign in; a GET
writes nothing; a POST without the form's token is refused; every answer carries the content security policy and
nothing inline.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

NO_ONE: frozenset[str] = frozenset()
OWNERS = frozenset({"owner"})
HANDS = frozenset({"owner", "hand"})
ROLES = frozenset({"owner", "hand", "reader"})
EVERYONE = ROLES | {"nobody"}


@dataclass(frozen=True)
class Row:
    name: str
    path: Mapping[str, Any | Callable[[], Any]] = field(default_factory=dict)
    get: frozenset[str] = NO_ONE
    post: frozenset[str] = NO_ONE


def person_name() -> str:
    """Make a hand called Wren, beside whoever is signed in."""
    from django.contrib.auth.models import User

    from ponds.roles import give_role

    person, _ = User.objects.get_or_create(username="wren")
    give_role(person, "hand")
    return person.get_username()


def kind_code() -> str:
    from tests.factories import KindFactory

    return KindFactory(code="address-kind").code


def pond_code() -> str:
    from tests.factories import PondFactory

    return PondFactory(code="QQ").code


def nest_key() -> Any:
    """Record nests in a pond of their own."""
    import datetime as dt
    import uuid

    from ponds.nest_book import record
    from tests.factories import PondFactory

    day = dt.date(2024, 5, 1)
    return record(key=uuid.uuid4(), pond=PondFactory(code="QN"), kind=None, dug_on=day, nests=3, today=day).key


ROWS = [
    Row("up", get=EVERYONE),
    Row("sign-in", get=EVERYONE, post=EVERYONE),
    Row("sign-out", post=ROLES),
    Row("health", get=OWNERS),
    Row("me", get=ROLES, post=ROLES),
    Row("people-list", get=OWNERS),
    Row("person-add", get=OWNERS, post=OWNERS),
    Row("person-detail", {"name": person_name}, get=OWNERS),
    Row("person-role", {"name": person_name}, post=OWNERS),
    Row("person-disable", {"name": person_name}, post=OWNERS),
    Row("person-enable", {"name": person_name}, post=OWNERS),
    Row("person-reset", {"name": person_name}, post=OWNERS),
    Row("ponds:settings", get=ROLES),
    Row("ponds:farm-edit", get=OWNERS, post=OWNERS),
    Row("ponds:kind-list", get=ROLES),
    Row("ponds:kind-new", get=OWNERS, post=OWNERS),
    Row("ponds:kinds-add-shipped", post=OWNERS),
    Row("ponds:kind-detail", {"code": kind_code}, get=ROLES),
    Row("ponds:kind-edit", {"code": kind_code}, get=OWNERS, post=OWNERS),
    Row("ponds:pond-settings", get=ROLES),
    Row("ponds:pond-new", get=OWNERS, post=OWNERS),
    Row("ponds:pond-edit", {"code": pond_code}, get=OWNERS, post=OWNERS),
    Row("ponds:pond-state", {"code": pond_code}, get=ROLES, post=OWNERS),
    Row("ponds:pond-retire", {"code": pond_code}, get=OWNERS, post=OWNERS),
    Row("ponds:sheets", get=OWNERS, post=OWNERS),
    Row("ponds:sheet-write", post=OWNERS),
    Row("ponds:sheet-template", {"what": "ponds", "form": "csv"}, get=OWNERS),
    Row("ponds:nest-list", get=ROLES),
    Row("ponds:nest-new", get=HANDS, post=HANDS),
    Row("ponds:nest-correct", {"key": nest_key}, get=HANDS, post=HANDS),
    Row("ponds:nest-take-back", {"key": nest_key}, get=HANDS, post=HANDS),
]
