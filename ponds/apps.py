from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PondsConfig(AppConfig):
    name = "ponds"
    verbose_name = "Ponds"

    def ready(self) -> None:
        from ponds import farm, guards, kind_sheet, lot_sheet, nest_sheet, pond_sheet, sheets

        post_migrate.connect(guards.install_for_app, sender=self)
        post_migrate.connect(farm.ensure_farm, sender=self)
        for sheet in (
            kind_sheet.KINDS_SHEET,
            pond_sheet.PONDS_SHEET,
            nest_sheet.NESTS_SHEET,
            lot_sheet.LOTS_SHEET,
        ):
            sheets.register_sheet(sheet)
