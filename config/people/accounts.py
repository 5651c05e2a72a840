"""Everything that changes an account. Nobody is ever deleted: moves name the people who logged them."""

from __future__ import annotations

import datetime as dt
import logging
import secrets

from django.contrib.auth.models import Group, User
from django.db import transaction
from django.utils import timezone

from config.models import OneTimePassword
from ponds.roles import OWNER, give_role, role_of

# No letters that are taken for one another on paper: i, l, o and u, and no 0 or 1.
PASSWORD_LETTERS = "abcdefghjkmnpqrstvwxyz23456789"  # noqa: S105  (an alphabet, not a password)
PASSWORD_GROUPS = 4
LETTERS_A_GROUP = 5
ONE_TIME_HOURS = 24

logger = logging.getLogger("scutebook.people")


class PeopleRefusal(Exception):
    """An account cannot be changed so; the message is meant for the owner."""


class LastOwner(PeopleRefusal):
    """Without this person nobody could give passwords or close a month any more."""


def add_person(*, name: str, role: str) -> tuple[User, str]:
    """Make an account and return it with its one-time password, which is shown once and kept nowhere."""
    with transaction.atomic():
        person = User.objects.create_user(name)
        give_role(person, role)
        password = _give_one_time_password(person)
    logger.info("%s was added as %s", person.get_username(), role)
    return person, password


def change_role(person: User, role: str) -> None:
    """Give a person another role; the last owner keeps theirs."""
    with transaction.atomic():
        if role != OWNER:
            _refuse_for_last_owner(person, f"made a {role}")
        give_role(person, role)
    logger.info("%s is now %s", person.get_username(), role)


def disable(person: User) -> None:
    """Close a person's account: the next request of any of their sessions is refused."""
    with transaction.atomic():
        _refuse_for_last_owner(person, "disabled")
        person.is_active = False
        person.save(update_fields=["is_active"])
    logger.info("%s was disabled", person.get_username())


def enable(person: User) -> str:
    """Open a disabled account again with a new one-time password, and return that."""
    with transaction.atomic():
        person.is_active = True
        person.save(update_fields=["is_active"])
        password = _give_one_time_password(person)
    logger.info("%s was enabled", person.get_username())
    return password


def reset_password(person: User) -> str:
    """Replace a person's password by a one-time password and return it; all their sessions end."""
    with transaction.atomic():
        password = _give_one_time_password(person)
    logger.info("the password of %s was reset", person.get_username())
    return password


def choose_password(person: User, password: str) -> None:
    """Set the password a person chose; every session but the one that is then refreshed ends."""
    with transaction.atomic():
        person.set_password(password)
        person.save(update_fields=["password"])
        OneTimePassword.objects.filter(user=person).delete()


def _give_one_time_password(person: User) -> str:
    password = "-".join(
        "".join(secrets.choice(PASSWORD_LETTERS) for _ in range(LETTERS_A_GROUP))
        for _ in range(PASSWORD_GROUPS)
    )
    person.set_password(password)
    person.save(update_fields=["password"])
    OneTimePassword.objects.update_or_create(
        user=person, defaults={"expires_at": timezone.now() + dt.timedelta(hours=ONE_TIME_HOURS)}
    )
    return password


def _refuse_for_last_owner(person: User, what: str) -> None:
    # All owners are locked on the group's row, so that two owners cannot disable one another at once.
    group = Group.objects.select_for_update().get(name=OWNER)
    still_there = User.objects.filter(pk=person.pk, is_active=True).first()
    if still_there is None or role_of(still_there) != OWNER:
        return
    if not User.objects.filter(groups=group, is_active=True).exclude(pk=person.pk).exists():
        raise LastOwner(
            f"{person.get_username()} is the only owner who can sign in, so cannot be {what}. "
            "Make somebody else an owner first."
        )
