from django.apps import AppConfig
from django.db.models.signals import post_migrate


class StockConfig(AppConfig):
    name = "stock"
    verbose_name = "Stock"

    def ready(self) -> None:
        from stock import append_only

        post_migrate.connect(append_only.install_for_app, sender=self)
