"""`load_sheet`: bring in a sheet from the command line, all rows or none; or print its template."""

from __future__ import annotations

import csv
from pathlib import Path

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError

from ponds.sheet_files import MOST_BYTES
from ponds.sheets import Outcome, after_loading, load, registered_sheets, told_once
from ponds.written_days import ORDERS


class Command(BaseCommand):
    help = (
        "Load a CSV or XLSX sheet: every row or none. --dry-run says what would happen; --template prints the "
        "columns, which are needed, their types and an example, as CSV."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("what", choices=sorted(registered_sheets()), metavar="WHAT", help="which sheet")
        parser.add_argument("file", nargs="?", metavar="FILE", help="a .csv or .xlsx file")
        parser.add_argument("--dry-run", action="store_true", help="check and count, write nothing")
        parser.add_argument("--template", action="store_true", help="print the template and stop")
        parser.add_argument(
            "--days",
            choices=[order for order, _ in ORDERS],
            default="",
            help="which comes first in days such as 03/04/2026",
        )
        parser.add_argument("--by", metavar="NAME", help="sign-in name of the person who loads it")

    def handle(self, *args, **options) -> None:
        sheet = registered_sheets()[options["what"]]
        if options["template"]:
            csv.writer(self.stdout, lineterminator="\n").writerows(sheet.template_rows())
            return
        if not options["file"]:
            raise CommandError("Name the file to load, or ask for the --template.")
        path = Path(options["file"])
        outcome = load(
            sheet,
            path.name,
            _content(path),
            by=_person(options["by"]),
            dry_run=options["dry_run"],
            days=options["days"],
        )
        self._report(outcome)
        if outcome.is_written:
            for afterwards in after_loading:
                afterwards(self.stdout.write)

    def _report(self, outcome: Outcome) -> None:
        if outcome.bad_rows:
            for bad in told_once(outcome.bad_rows):
                self.stderr.write(str(bad))
            number = len(outcome.bad_rows)
            raise CommandError(f"Nothing was written: {number} thing{'s' if number != 1 else ''} to mend.")
        if outcome.remarks:
            rows = ", ".join(str(number) for number in outcome.remarks[:10])
            more = " and more" if len(outcome.remarks) > 10 else ""
            self.stdout.write(f"Passed over as remarks, for they begin with #: row {rows}{more}.")
        for warning in outcome.written.warnings if outcome.written else ():
            self.stdout.write(f"Look at this: {warning}")
        before = "" if outcome.is_written else "Dry run, nothing written: "
        self.stdout.write(f"{before}{outcome.written}.")


def _content(path: Path) -> bytes:
    try:
        # One byte more than is allowed is enough to see that it is too big.
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as refused:
        raise CommandError(f"{path} cannot be read: {refused.strerror}.") from refused


def _person(name: str | None):
    if not name:
        return None
    person = get_user_model().objects.filter(username=name).first()
    if person is None:
        raise CommandError(f"Nobody here signs in as {name}.")
    return person
