"""The one farm of this database."""

from __future__ import annotations

from django.db import DEFAULT_DB_ALIAS, connections

from ponds.models import Farm


def the_farm() -> Farm:
    """Return the farm: one query. Where a database was filled past `migrate`, it is made first."""
    return Farm.objects.first() or Farm.objects.get_or_create(only=True)[0]


def ensure_farm(sender, using: str = DEFAULT_DB_ALIAS, **kwargs) -> None:
    """Receive `post_migrate`: make the farm, so that no page ever has to write one."""
    if Farm._meta.db_table in connections[using].introspection.table_names():
        Farm.objects.using(using).get_or_create(only=True)
