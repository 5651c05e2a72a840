"""Fifty thousand marked turtles in a database: found by mark, by a rim half read, and the next free code."""

from __future__ import annotations

from stock.bench.registry import Measured
from stock.bench.scratch import run_module, scratch_database

MOST_SECONDS = 0.4
TIMES_FASTER = 50


def measure() -> Measured:
    """Time the searches of the Turtles page in a scratch database of the kind that is configured."""
    with scratch_database(on_disk=False) as environment:
        # The pages' files are not collected for a scratch database, and are not what is timed.
        plain = {**environment, "SCUTEBOOK_STATIC": "django.contrib.staticfiles.storage.StaticFilesStorage"}
        figures = run_module(plain, "stock.bench.marked_farm")
    missed = [
        f"turtles: {name} takes {1000 * figures[key]:.0f} ms; the limit is {1000 * MOST_SECONDS:.0f} ms."
        for name, key in (
            ("a search by mark", "mark_seconds"),
            ("the page of a search by mark", "page_seconds"),
            ("a half-read rim", "half_read_seconds"),
            ("the page of a half-read rim", "half_page_seconds"),
            ("the next free code", "free_seconds"),
        )
        if figures[key] > MOST_SECONDS
    ]
    ratio = figures["scan_seconds"] / figures["half_read_seconds"]
    if ratio < TIMES_FASTER:
        missed.append(
            f"turtles: the half-read search is {ratio:.0f} times as fast as a plain scan; the limit is {TIMES_FASTER}."
        )
    if not figures["same_answers"]:
        missed.append("turtles: the half-read search and the plain scan find different turtles.")
    return Measured(
        "turtles",
        f"among {figures['turtles']:,} marked turtles: by a mark in {1000 * figures['mark_seconds']:.0f} ms (the "
        f"slowest of {figures['texts']} texts; its page {1000 * figures['page_seconds']:.0f} ms); a half-read rim in "
        f"{1000 * figures['half_read_seconds']:.1f} ms (its page {1000 * figures['half_page_seconds']:.0f} ms), where "
        f"reading and comparing every mark takes {1000 * figures['scan_seconds']:.0f} ms, {ratio:.0f} times as long; "
        f"the next free code in {1000 * figures['free_seconds']:.0f} ms.",
        {**figures, "half_read_ratio": ratio, "ratio_limit": TIMES_FASTER, "limit_seconds": MOST_SECONDS},
        tuple(missed),
    )
