"""`bench`: run every benchmark, or those named, each against its reference in the same run."""

from __future__ import annotations

import json
from dataclasses import asdict

from django.core.management.base import BaseCommand

from stock.bench.registry import BENCHMARKS, measure


class Command(BaseCommand):
    help = (
        "Run the benchmarks (all, or those named) on scratch databases, never the farm's own. Exit 1 where a "
        "stated limit is missed."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "names", nargs="*", metavar="NAME", choices=[*BENCHMARKS, []], help=", ".join(BENCHMARKS)
        )
        parser.add_argument("--json", action="store_true", help="print all figures as JSON")

    def handle(self, *args, **options) -> None:
        missed: list[str] = []
        figures = []
        for name in options["names"] or BENCHMARKS:
            measured = measure(name)
            missed += measured.missed
            figures.append(asdict(measured))
            if not options["json"]:
                self.stdout.write(f"{measured.name}: {measured.says}")
        if options["json"]:
            self.stdout.write(json.dumps(figures, indent=1))
        for sentence in missed:
            self.stderr.write(f"Missed: {sentence}")
        if missed:
            raise SystemExit(1)
