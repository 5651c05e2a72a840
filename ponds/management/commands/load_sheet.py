"""`load_sheet`: bring in a sheet from the command line, all rows or none; or print its template."""

from __future__ import annotations

import csv
from pathlib import Path

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError

from ponds.sheet_files import MOST_BYTES
from ponds.sheets import MORE_TO_CHECK, Outcome, after_loading, load, registered_sheets, told_once
from ponds.svg_marks import figure_text
from ponds.written_days import ORDERS

MOST_ASKED = 50


class Command(BaseCommand):
    help = (
        "Load a CSV or XLSX sheet: every row or none. --dry-run says what would happen; --template prints the "
        "columns, which are needed, their types and an example, as CSV."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("what", choices=sorted(registered_sheets()), metavar="WHAT", help="which sheet")
        parser.add_argument("file", nargs="?", metavar="FILE", help="a .csv or .xlsx file")
        parser.add_argument("--dry-run", action="store_true", help="check and count, write nothing")
        parser.add_argument(
            "--yes",
            action="store_true",
            help="what is asked about is right: write it; without it nothing is written where something is asked",
        )
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
            confirmed=None if options["yes"] else "",
        )
        self._report(outcome, dry_run=options["dry_run"])
        if outcome.is_written:
            for afterwards in after_loading:
                afterwards(self.stdout.write)

    def _report(self, outcome: Outcome, *, dry_run: bool) -> None:
        if outcome.bad_rows:
            for bad in told_once(outcome.bad_rows):
                self.stderr.write(str(bad))
            if outcome.is_more_to_check:
                self.stderr.write(MORE_TO_CHECK)
            number = len(outcome.bad_rows)
            raise CommandError(f"Nothing was written: {number} thing{'s' if number != 1 else ''} to mend.")
        if outcome.remarks:
            rows = ", ".join(str(number) for number in outcome.remarks[:10])
            more = " and more" if len(outcome.remarks) > 10 else ""
            self.stdout.write(f"Passed over as remarks, for they begin with #: row {rows}{more}.")
        asked = outcome.written.warnings if outcome.written else ()
        for warning in asked[:MOST_ASKED]:
            self.stdout.write(f"Is this right? {warning}")
        if len(asked) > MOST_ASKED:
            self.stdout.write(f"And {figure_text(len(asked) - MOST_ASKED)} more like these.")
        before = "" if outcome.is_written else "Dry run, nothing written: "
        if outcome.is_asking and not dry_run:
            raise CommandError(
                f"Nothing was written ({outcome.written}): {figure_text(len(asked))} "
                f"question{'' if len(asked) == 1 else 's'} above. Mend the sheet, or where all is right as typed, run "
                "this again with --yes."
            )
        self.stdout.write(f"{before}{outcome.written}.")
        if outcome.is_asking:
            self.stdout.write("Where all of this is right as typed, load it with --yes.")


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
