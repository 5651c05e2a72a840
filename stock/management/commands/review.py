"""The monthly review as text, CSV or JSON."""

import csv
import datetime as dt
import json
import math
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from ponds.farm import the_farm
from ponds.svg_marks import day_text
from stock.review import KindMonth, PondMonth, month_review

FIELDS = (
    "pond", "kind", "verdict", "how_it_stands", "class", "opening", "in", "out", "dead", "closing", "signed_by",
)  # fmt: skip


class Command(BaseCommand):
    help = (
        "Prints the review of a month, pond by pond, worst first. JSON: `month`, `last_day`, `is_running` and `ponds`, "
        "a list of objects with `pond`, `name`, `signed_by` (null where nobody), `words`, `decisions` (each `task`, "
        "`state`) and `kinds`, each with `kind`, `verdict` (of the ratio), `verdict_by` (whose it is), `how_it_stands` "
        "(words, the worst first), `standing` (null, or "
        "`females`, `males` and `females_per_male`, each a list of what is probable and its 90 % limits, null where "
        "there is none), `females_per_male` by the book (null without males, `no_males` then true), `concerns`, "
        "`to_explain`, `died`, `nests`, `eggs`, and `classes`: `class`, `opening`, `in`, `out`, `dead`, `closing`. "
        "Heads of classes are whole numbers by the book; opening + in - out - dead = closing."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("month", metavar="YYYY-MM")
        parser.add_argument("--pond", metavar="CODE", help="only this pond")
        parser.add_argument("--format", choices=["text", "csv", "json"], default="text")

    def handle(self, *args, month: str, pond: str | None, format: str, **options) -> None:
        today = the_farm().today()
        try:
            first = dt.date.fromisoformat(f"{month}-01")
        except ValueError:
            raise CommandError(
                f"“{month}” is no month; write the year and the month, such as 2026-10."
            ) from None
        if first > today:
            raise CommandError(f"{first:%B %Y} has not begun; today is {day_text(today)}.")
        found = month_review(first, today)
        ponds = [one for one in found.ponds if pond in (None, one.pond_code)]
        if pond is not None and not ponds:
            raise CommandError(f"Pond {pond} was not open in {first:%B %Y}, or there is no such pond.")
        if format == "json":
            written = {
                "month": month,
                "last_day": found.last.isoformat(),
                "is_running": found.is_running,
                "ponds": [_pond(one) for one in ponds],
            }
            self.stdout.write(json.dumps(written, indent=1))
        elif format == "csv":
            table = csv.writer(self.stdout, lineterminator="\n")
            table.writerow(FIELDS)
            table.writerows(_rows(ponds))
        else:
            self._text(found.last, ponds)

    def _text(self, last: dt.date, ponds: list[PondMonth]) -> None:
        self.stdout.write(f"As of {last}, by the book.")
        for one in ponds:
            signed = f"signed by {one.signature.by_name}" if one.signature else "not signed"
            self.stdout.write(f"\nPond {one.pond_code} {one.pond_name} ({signed})")
            for kind in one.kinds:
                self.stdout.write(f"  {kind.facts.kind_name}: {kind.facts.how_it_stands}, {kind.facts.basis}")
                for row in kind.classes:
                    self.stdout.write(
                        f"    {row.words:<10}{row.opening:>8} + {row.came} - {row.went} - {row.dead} dead "
                        f"= {row.closing}"
                    )
                for sentence in (*(concern.sentence for concern in kind.facts.concerns), *kind.to_explain):
                    self.stdout.write(f"    {sentence}")
            for decision in one.decisions:
                self.stdout.write(f"  Decided: {decision.sentence} ({decision.state})")


def _pond(one: PondMonth) -> dict[str, Any]:
    return {
        "pond": one.pond_code,
        "name": one.pond_name,
        "signed_by": one.signature.by_name if one.signature else None,
        "words": one.signature.words if one.signature else "",
        "decisions": [{"task": row.sentence, "state": row.state} for row in one.decisions],
        "kinds": [_kind(kind) for kind in one.kinds],
    }


def _standing(kind: KindMonth) -> dict[str, list[float | None]] | None:
    stands = kind.facts.standing
    if stands is None:
        return None
    found = {
        "females": (stands.females, *stands.female_limits),
        "males": (stands.males, *stands.male_limits),
        "females_per_male": (stands.ratio, *stands.ratio_limits),
    }
    return {
        name: [figure if math.isfinite(figure) else None for figure in figures]
        for name, figures in found.items()
    }


def _kind(kind: KindMonth) -> dict[str, Any]:
    heads = kind.facts.heads
    nests = kind.nests.month if kind.nests else None
    return {
        "kind": kind.facts.kind_code,
        "verdict": kind.facts.word,
        "how_it_stands": [tag.words for tag in kind.facts.tags],
        "verdict_by": kind.facts.basis,
        "standing": _standing(kind),
        "females_per_male": heads.females / heads.males if heads.males else None,
        "no_males": bool(heads.females and not heads.males),
        "concerns": [concern.sentence for concern in kind.facts.concerns],
        "to_explain": list(kind.to_explain),
        "died": kind.died.total,
        "nests": nests.nests if nests else 0,
        "eggs": nests.eggs if nests else 0,
        "classes": [
            {
                "class": row.words,
                "opening": row.opening,
                "in": row.came,
                "out": row.went,
                "dead": row.dead,
                "closing": row.closing,
            }
            for row in kind.classes
        ],
    }


def _rows(ponds: list[PondMonth]):
    for one in ponds:
        for kind in one.kinds:
            for row in kind.classes:
                yield (
                    one.pond_code, kind.facts.kind_code, kind.facts.word, kind.facts.how_it_stands, row.words,
                    row.opening, row.came, row.went, row.dead, row.closing,
                    one.signature.by_name if one.signature else "",
                )  # fmt: skip
