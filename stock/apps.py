from django.apps import AppConfig
from django.db.models.signals import post_migrate


class StockConfig(AppConfig):
    name = "stock"
    verbose_name = "Stock"

    def ready(self) -> None:
        from ponds import nest_words, retiring
        from ponds.sheets import after_loading, register_sheet
        from stock import append_only
        from stock.haul_sheet import HAULS_SHEET
        from stock.marks_sheet import MARKS_SHEET
        from stock.mixes import roll_all
        from stock.move_sheet import MOVES_SHEET
        from stock.nest_grounds import asked_of_nests
        from stock.retiring import heads_standing
        from stock.stock_sheet import STOCK_SHEET
        from stock.turtle_nests import who_dug
        from stock.turtle_sheet import TURTLES_SHEET

        post_migrate.connect(append_only.install_for_app, sender=self)
        for sheet in (STOCK_SHEET, TURTLES_SHEET, MARKS_SHEET, MOVES_SHEET, HAULS_SHEET):
            register_sheet(sheet)
        if roll_all not in after_loading:
            after_loading.append(roll_all)
        if heads_standing not in retiring.checks:
            retiring.checks.append(heads_standing)
        if who_dug not in nest_words.sayings:
            nest_words.sayings.append(who_dug)
        if asked_of_nests not in nest_words.askings:
            nest_words.askings.append(asked_of_nests)
