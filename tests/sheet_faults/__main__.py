"""Ten thousand changed sheets: `python -m tests.sheet_faults [--each 200] [--sample 100]`; prints what came of each.

Exit 1 where one crashed, was loaded in part, was refused or loaded against what it holds, or was refused in words
that do not name the row and the column.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import time
from collections import Counter


def main() -> int:
    """Run all of it on a scratch database."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--each", type=int, default=200, help="sheets of each change")
    asked.add_argument("--sample", type=int, default=0, help="how many refusals to print, drawn at random")
    options = asked.parse_args()

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from django.db import connection

    connection.creation.create_test_db(verbosity=0)
    try:
        return _run(options.each, options.sample)
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _run(each: int, sample: int) -> int:
    from tests.sheet_faults.trial import CHANGES, HARMLESS, WHATS, Tally, clean, make, trial
    from tests.sheet_faults.valid import a_farm

    a_farm()
    known = {what: clean(what) for what in WHATS}
    began, total, sheets = time.monotonic(), Counter(), 0
    sentences: list[str] = []
    for change in CHANGES:
        tally, whats = Tally(), [what for what in WHATS if make(what, change, 0) is not None]
        for number in range(each):
            what = whats[number % len(whats)]
            case = make(what, change, number)
            if case is None:
                continue
            tally.sheets += 1
            try:
                outcome, wrong = trial(what, case, known[what])
            except Exception as crashed:  # noqa: BLE001  (a crash is what is looked for)
                tally.wrong.append(f"{what} {number}: crashed: {type(crashed).__name__}: {crashed}")
                continue
            tally.loaded += outcome.is_written
            tally.refused += bool(outcome.bad_rows)
            tally.wrong += [f"{what} {number}: {sentence}" for sentence in wrong]
            sentences += [f"{what}: {change}: {bad}" for bad in outcome.bad_rows]
        sheets += tally.sheets
        total.update(loaded=tally.loaded, refused=tally.refused, wrong=len(tally.wrong))
        sort = "harmless" if change in HARMLESS else "fault"
        _say(f"{sort:8} {change:58} {tally.sheets:4} sheets, {tally.loaded:4} loaded, {tally.refused:4} refused, "
              f"{len(tally.wrong)} wrong")  # fmt: skip
        for sentence in tally.wrong[:4]:
            _say(f"         ! {sentence[:400]}")
    seconds = time.monotonic() - began
    _say(f"{sheets:,} sheets of {len(CHANGES)} changes in {seconds:.0f} s: {total['loaded']:,} loaded, "
          f"{total['refused']:,} refused, {total['wrong']} wrong.")  # fmt: skip
    if sample:
        for line in random.Random(sample).sample(sentences, min(sample, len(sentences))):
            _say(line[:330])
    return 1 if total["wrong"] else 0


if __name__ == "__main__":
    sys.exit(main())
