"""Groups, the three roles, and the marks on views."""

import logging

import pytest
from django.contrib.auth.models import AnonymousUser, Group
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse

from config.logs import without_trace_of_refusal
from ponds.roles import ROLES, for_hand, for_owner, give_role, role_of

pytestmark = pytest.mark.django_db


def test_the_three_groups_stand_after_migrate():
    assert set(Group.objects.values_list("name", flat=True)) == set(ROLES)


@pytest.mark.parametrize("role", ROLES)
def test_a_person_has_the_role_given_last(make_person, role):
    person = make_person("hand")
    give_role(person, role)
    assert role_of(type(person).objects.get(pk=person.pk)) == role
    assert person.groups.count() == 1


def test_nobody_and_a_person_without_a_role_have_none(make_person):
    assert role_of(AnonymousUser()) == ""
    assert role_of(make_person()) == ""


def test_an_unknown_role_is_refused_with_the_roles_there_are(make_person):
    with pytest.raises(ValueError, match="owner, hand, reader"):
        give_role(make_person(), "boss")


@pytest.mark.parametrize(
    ("mark", "role", "may"),
    [
        (for_owner, "owner", True),
        (for_owner, "hand", False),
        (for_owner, "reader", False),
        (for_owner, "", False),
        (for_hand, "owner", True),
        (for_hand, "hand", True),
        (for_hand, "reader", False),
        (for_hand, "", False),
    ],
    ids=lambda value: "-".join(value.__closure__[0].cell_contents) if callable(value) else str(value),
)
def test_a_marked_view_serves_its_roles_only(rf, make_person, mark, role, may):
    @mark
    def view(request):
        return HttpResponse("served")

    request = rf.get("/")
    request.user = make_person(role)
    if may:
        assert view(request).content == b"served"
    else:
        with pytest.raises(PermissionDenied, match="Ask an owner"):
            view(request)


@pytest.mark.django_db(transaction=True)
def test_groups_and_guards_outlive_a_flush():
    """The first transactional test empties the tables; the second finds groups and guards again."""
    from django.core.management import call_command
    from django.db import connection

    from ponds import guards
    from stock import append_only

    append_only.remove(connection)
    guards.remove(connection, "ponds")
    call_command("flush", interactive=False, verbosity=0)
    assert Group.objects.count() == len(ROLES)
    assert append_only.missing(connection) == []


def test_a_refusal_is_one_line_in_the_log_without_a_traceback(reader, caplog):
    assert reader.get("/log/").status_code == 403
    (record,) = [record for record in caplog.records if record.name == "django.request"]
    assert "/log/" in record.getMessage()
    assert record.exc_info is None
    broken = logging.makeLogRecord({"status_code": 500, "exc_info": (ValueError, ValueError("x"), None)})
    assert without_trace_of_refusal(broken)
    assert broken.exc_info
