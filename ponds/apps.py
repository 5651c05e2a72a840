from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PondsConfig(AppConfig):
    name = "ponds"
    verbose_name = "Ponds"

    def ready(self) -> None:
        from ponds import guards

        post_migrate.connect(guards.install_for_app, sender=self)
