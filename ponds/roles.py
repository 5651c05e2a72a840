"""Who may do what: owner, hand and reader, kept as groups.

An **owner** may do everything, a **hand** logs what the seine brought, a **reader** looks and takes an
extract. A view that writes, or shows a form that writes, carries `for_hand` or `for_owner`. A view without a
mark may be read by all three; `config.middleware` refuses a reader's writing request on it all the same.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import DEFAULT_DB_ALIAS
from django.http import HttpRequest, HttpResponse

if TYPE_CHECKING:
    from django.contrib.auth.models import User

OWNER = "owner"
HAND = "hand"
READER = "reader"
ROLES = (OWNER, HAND, READER)

WHO = {OWNER: "an owner", HAND: "a hand", READER: "a reader"}

View = Callable[..., HttpResponse]


class SignedRequest(HttpRequest):
    """The request a view gets behind the sign-in: its `user` is a person. For annotations only."""

    user: User


def role_of(user) -> str:
    """Return "owner", "hand" or "reader", or "" for nobody and for a person without a role.

    Asks the database once for each user object and remembers the answer on it.
    """
    if user is None or not user.is_authenticated:
        return ""
    if not hasattr(user, "_scutebook_role"):
        names = set(user.groups.filter(name__in=ROLES).values_list("name", flat=True))
        # The most a person was given holds, should two groups ever have been set by hand.
        user._scutebook_role = next((role for role in ROLES if role in names), "")
    return user._scutebook_role


def give_role(user, role: str) -> None:
    """Make `role` the one role of this user."""
    from django.contrib.auth.models import Group

    if role not in ROLES:
        raise ValueError(f"There is no role {role!r}; the roles are {', '.join(ROLES)}.")
    others = Group.objects.filter(name__in=ROLES).exclude(name=role)
    user.groups.remove(*others)
    user.groups.add(Group.objects.get(name=role))
    user._scutebook_role = role


def make_groups(using: str = DEFAULT_DB_ALIAS) -> None:
    """Make the three groups where they are missing; safe to repeat."""
    from django.contrib.auth.models import Group

    for role in ROLES:
        Group.objects.using(using).get_or_create(name=role)


def refusal(user, allowed: tuple[str, ...]) -> PermissionDenied:
    """Return the 403 whose sentence says who may do this and who is asking."""
    who = " or ".join(WHO[role] for role in allowed)
    mine = WHO.get(role_of(user), "not given a role yet")
    return PermissionDenied(
        f"Only {who} may do this; you are {mine}. "
        "Ask an owner to do it, or to change your role under Settings, People."
    )


def for_roles(*allowed: str) -> Callable[[View], View]:
    """Let only these roles use a view; the mark `roles` on the view names them to tests and middleware."""

    def decorate(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            if role_of(request.user) not in allowed:
                raise refusal(request.user, allowed)
            return view(request, *args, **kwargs)

        checked.roles = allowed  # type: ignore[attr-defined]
        return checked

    return decorate


for_owner = for_roles(OWNER)
for_hand = for_roles(OWNER, HAND)
for_everyone = for_roles(*ROLES)
