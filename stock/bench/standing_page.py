"""The Ponds page of a made farm: after a posting, and at the next look. Run by itself; prints JSON."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import uuid

MOVES, YEARS = 6_000, 5


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--ponds", type=int, required=True)
    ponds = words.parse_args().ponds
    # Nothing collects the static files of a scratch folder.
    os.environ["SCUTEBOOK_STATIC"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from ponds.farm import the_farm
    from ponds.roles import OWNER, give_role
    from stock import flows, ledger
    from stock.drafts import Draft, Line
    from stock.models import Cell

    call_command("make_farm", ponds=ponds, moves=MOVES, years=YEARS, seed=4, stdout=sys.stderr)
    today = the_farm().today()
    flows.keep(today)
    from django.contrib.auth.models import User

    user = User.objects.create_user("bench")
    give_role(user, OWNER)
    client = Client()
    client.force_login(user)
    kind, pond = Cell.objects.filter(pond__isnull=False, of_class="FEMALE").values_list(
        "kind__code", "pond__code"
    )[0]

    def look() -> tuple[float, int]:
        began = time.process_time()
        with CaptureQueriesContext(connection) as queries:
            response = client.get("/", headers={"host": "localhost"})
        if response.status_code != 200:
            raise RuntimeError(f"the Ponds page answered {response.status_code}")
        return 1000 * (time.process_time() - began), len(queries)

    look()
    first = []
    for _ in range(3):
        draft = Draft(uuid.uuid4(), today, (Line(kind, "FEMALE", pond, "DIED", 1),), "BANK")
        ledger.record(draft, by=user, today=today)
        first.append(look())
    again = min(look() for _ in range(3))
    json.dump(
        {
            "first_ms": min(first)[0],
            "again_ms": again[0],
            "first_queries": first[0][1],
            "again_queries": again[1],
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main()
