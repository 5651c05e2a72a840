"""Copy the whole register into one verified file."""

import json
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from config.backup import CannotBackUp, back_up, manifest_of, totals_here
from stock.check import differences


class Command(BaseCommand):
    help = (
        "Copies the register into FILE while people work, opens the copy, recomputes its ledger, and writes what it "
        "holds beside it (FILE.manifest.json). Never overwrites. Keep one copy off this machine."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, nargs="?")
        parser.add_argument(
            "--totals", action="store_true", help="recompute the ledger and print what stands, as JSON"
        )

    def handle(self, *args, file: Path | None, totals: bool, **options) -> None:
        if totals:
            if found := differences():
                raise CommandError(f"{len(found)} differences in the ledger, the first: {found[0]}")
            self.stdout.write(json.dumps(totals_here()))
            return
        if file is None:
            raise CommandError("Say where to: manage.py backup FILE.")
        try:
            manifest = back_up(file, say=self.stdout.write)
        except CannotBackUp as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{file}: {manifest['bytes']:,} bytes, {manifest['moves']:,} moves, {manifest['entries']:,} entries; "
            f"opened and recomputed, no difference. What it holds is written in {manifest_of(file).name}."
        )
