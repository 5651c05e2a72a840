from django.core.management.base import BaseCommand

from stock.check import differences
from stock.models import Entry


class Command(BaseCommand):
    help = (
        "Recompute the whole ledger from its entries; exit 1 with a line for each difference. Run it nightly."
    )

    def handle(self, *args, **options) -> None:
        found = differences()
        for sentence in found:
            self.stdout.write(sentence)
        if found:
            self.stderr.write(f"{len(found)} differences in the ledger.")
            raise SystemExit(1)
        self.stdout.write(f"The ledger holds: {Entry.objects.count()} entries recomputed, no difference.")
