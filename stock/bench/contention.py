"""Eight processes contending for few heads, one killed mid-run, on a database of the kind that is configured."""

from __future__ import annotations

from stock.bench.registry import Measured
from stock.bench.scratch import run_module, scratch_database

PROCESSES, POSTS, SHARE = 8, 4000, 0.3


def measure() -> Measured:
    """Race eight processes, then post the same number by one process alone as the reference."""
    with scratch_database() as environment:
        race = run_module(
            environment, "stock.bench.race", "--processes", str(PROCESSES), "--posts", str(POSTS)
        )
    with scratch_database() as environment:
        alone = run_module(
            environment,
            "stock.bench.race",
            "--processes",
            "1",
            "--posts",
            str(POSTS // PROCESSES),
            "--kills",
            "0",
        )
    rate, rate_alone = race["posts"] / race["seconds"], alone["posts"] / alone["seconds"]
    refused = sum(race["refused"].values())
    accepted_share, refused_share = race["accepted"] / race["posts"], refused / race["posts"]
    missed = faults(race)
    if min(accepted_share, refused_share) < SHARE:
        missed.append(
            f"race: {accepted_share:.0%} accepted, {refused_share:.0%} refused; each must be {SHARE:.0%}."
        )
    reasons = ", ".join(f"{name} {number}" for name, number in sorted(race["refused"].items()))
    return Measured(
        "race",
        f"{PROCESSES} processes, {race['posts']} posts, {race['killed']} killed: {rate:.0f} posts/s, "
        f"{rate / rate_alone:.2f} times one process alone ({rate_alone:.0f}/s); {accepted_share:.0%} accepted "
        f"({race['replays']} of them by a key posted before), {refused_share:.0%} refused ({reasons}); half within "
        f"{race['half_within_ms']:.0f} ms, the slowest {race['slowest_ms']:.0f} ms; {race['lost']} lost, "
        f"{race['torn_or_doubled']} torn or doubled, {len(race['errors'])} errors, "
        f"{len(race['differences'])} differences.",
        {
            "posts_per_second": rate,
            "reference_posts_per_second": rate_alone,
            "ratio": rate / rate_alone,
            **race,
        },
        tuple(missed),
    )


def faults(race: dict) -> list[str]:
    """Return a sentence for each thing that a race may never show."""
    found = [f"race: {error}" for error in race["errors"][:5]]
    found += [f"race: {sentence}" for sentence in race["differences"][:5]]
    if race["lost"]:
        found.append(f"race: {race['lost']} acknowledged moves are not in the database.")
    if race["torn_or_doubled"]:
        found.append(f"race: {race['torn_or_doubled']} moves are torn or doubled.")
    if race["never_told"] > race["killed"]:
        found.append(f"race: {race['never_told']} moves stand that nobody was told of.")
    return found
