"""The migrations say what the models say."""

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration(capsys):
    call_command("makemigrations", check=True, dry_run=True, verbosity=1)
    assert "No changes detected" in capsys.readouterr().out


@pytest.mark.both_databases
@pytest.mark.django_db(transaction=True)
def test_keys_of_marks_come_to_a_register_that_has_rows_and_go_again(make_person):
    """A register taken back to an earlier migration comes forward again, with its rows and its guards."""
    from django.db import connection

    from stock import append_only
    from stock.models import Mark, MarkEvent
    from tests.turtles.one_turtle import MAY, marked_turtle, put_mark

    mark = put_mark(marked_turtle(make_person("hand", "hand")))
    MarkEvent.objects.create(mark=mark, what="READ", happened_on=MAY, by_name="hand")
    try:
        call_command("migrate", "stock", "0013", verbosity=0)
        with connection.cursor() as cursor:
            columns = {
                one.name for one in connection.introspection.get_table_description(cursor, "stock_mark")
            }
        assert "key" not in columns
    finally:
        call_command("migrate", verbosity=0)
    assert (Mark.objects.get(), Mark.objects.get().key) == (mark, None)
    assert MarkEvent.objects.get().mark == mark
    assert append_only.missing(connection) == []
