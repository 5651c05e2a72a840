"""Put a verified copy of the register back."""

from pathlib import Path

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from config.backup import CannotBackUp, restore
from stock.check import differences


class Command(BaseCommand):
    help = (
        "Puts a backup made by `manage.py backup` in the place of this register. Refused where anything stands, unless "
        "--replace is given; what stands is then kept in the data folder first. Stop the server before."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--replace", action="store_true", help="put it in the place of what stands")

    def handle(self, *args, file: Path, replace: bool, **options) -> None:
        try:
            manifest = restore(file, replace=replace, say=self.stdout.write)
        except CannotBackUp as error:
            raise CommandError(str(error)) from error
        # An older backup is brought up to this program; the guards are put back with it.
        call_command("migrate", verbosity=0)
        if found := differences():
            raise CommandError(
                f"Restored, but the ledger shows {len(found)} differences, the first: {found[0]}"
            )
        self.stdout.write(
            f"Restored: {manifest['ponds']:,} ponds, {manifest['moves']:,} moves, {manifest['entries']:,} entries "
            f"as of {manifest['made_at']}; recomputed, no difference."
        )
