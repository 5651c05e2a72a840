from django.apps import AppConfig
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate


class ConfigConfig(AppConfig):
    name = "config"
    verbose_name = "Scutebook"

    def ready(self) -> None:
        from config.durability import refuse_unsafe_once

        connection_created.connect(refuse_unsafe_once, dispatch_uid="config.refuse_unsafe_once")
        post_migrate.connect(make_role_groups, sender=self)


def make_role_groups(sender, using: str = DEFAULT_DB_ALIAS, **kwargs) -> None:
    """Receive `post_migrate`; quiet while the table of groups is not there yet."""
    if "auth_group" in connections[using].introspection.table_names():
        from ponds.roles import make_groups

        make_groups(using)
