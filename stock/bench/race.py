"""Many processes posting to few heads at once, some killed, and the judge who looks at what is left.

Run by itself (`python -m stock.bench.race`) against a scratch database that is migrated and empty; prints what
came of it as JSON. Every answer is written to the process's own file before the next post is begun, so a killed
process has said all that it was told.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import datetime as dt
import json
import os
import random
import signal
import sys
import tempfile
import time
import traceback
import uuid
from pathlib import Path

TODAY = dt.date(2026, 6, 30)
FIRST = dt.date(2026, 2, 1)
PONDS = ("A", "B", "C", "D")
MARKS = {code: (f"{code}1", f"{code}2") for code in PONDS}
HEADS_AT_FIRST = 25
MOST_ASKED = 40
CLOSES = {0.3: dt.date(2026, 2, 1), 0.6: dt.date(2026, 3, 1)}
SHARED = uuid.UUID("5d0b8a5e-5f0c-4c39-8b3e-1f7c0d0a9b11")
CLASS_OF = {"F": "FEMALE", "M": "MALE"}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--processes", type=int, default=8)
    words.add_argument("--posts", type=int, default=4000)
    words.add_argument("--kills", type=int, default=1)
    words.add_argument("--one-by-one", action="store_true", help="kill one process after the other, mid-post")
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    import django

    django.setup()
    from django.db import connections

    open_farm()
    # A connection must not be shared by two processes: each child opens its own.
    connections.close_all()
    with tempfile.TemporaryDirectory(prefix="race-") as folder:
        began = time.monotonic()
        if asked.one_by_one:
            killed = kill_one_by_one(Path(folder), asked.kills, asked.seed)
        else:
            killed = let_race(Path(folder), asked.processes, asked.posts, asked.kills, asked.seed)
        seconds = time.monotonic() - began
        json.dump({"seconds": seconds, "killed": killed, **judge(Path(folder))}, sys.stdout)


def open_farm() -> None:
    """Make four ponds of sliders with few heads each."""
    from django.contrib.auth.models import User

    from ponds.models import Kind, Pond
    from stock import ledger
    from stock.drafts import BatchDraft, Draft, Line, MarkDraft

    person = User.objects.create(username="racer")
    slider, _ = Kind.objects.get_or_create(code="slider", defaults={"common_name": "Slider"})
    for code in PONDS:
        Pond.objects.create(code=code, opened_on=FIRST).kinds_allowed.add(slider)
        ledger.record(
            Draft(
                uuid.uuid4(),
                FIRST,
                tuple(
                    Line("slider", of_class, "OPENING", code, HEADS_AT_FIRST, batch=f"opening {code}")
                    for of_class in CLASS_OF.values()
                ),
                made_as="OPENING",
                pond=code,
                marks=tuple(MarkDraft(mark, "slider", "FEMALE", code) for mark in MARKS[code]),
                batches=(BatchDraft(f"opening {code}", "OPENING", FIRST),),
            ),
            by=person,
            today=TODAY,
        )


def let_race(folder: Path, processes: int, posts: int, kills: int, seed: int) -> int:
    """Let processes post side by side; kill the first `kills` of them once each is a third through."""
    each = posts // processes
    children = {}
    for number in range(processes):
        children[number] = _start(lambda number=number: post_many(folder, number, each, seed))
    victims, killed, running = set(range(kills)), 0, dict(children)
    while running:
        for number, pid in list(running.items()):
            if number in victims and len(_lines(folder, number)) > each // 3:
                os.kill(pid, signal.SIGKILL)
                victims.discard(number)
                killed += 1
            if os.waitpid(pid, os.WNOHANG)[0]:
                del running[number]
        time.sleep(0.01)
    return killed


def kill_one_by_one(folder: Path, kills: int, seed: int) -> int:
    """Kill one posting process after the other, each at a moment of chance, most of them within a post."""
    rng = random.Random(seed)  # noqa: S311 (a reproducible race, no secret)
    for number in range(kills):
        pid = _start(lambda number=number: post_many(folder, number, 100_000, seed))
        enough = rng.randint(1, 12)
        while len(_lines(folder, number)) < enough:
            time.sleep(0.002)
        time.sleep(rng.uniform(0, 0.03))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
    return kills


def _start(work) -> int:
    """Run `work` in a process of its own."""
    pid = os.fork()
    if pid:
        return pid
    try:
        work()
    except BaseException:  # noqa: BLE001 (the child must end here whatever happens)
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def _lines(folder: Path, number: int) -> list[str]:
    with contextlib.suppress(FileNotFoundError):
        return (folder / f"{number}.jsonl").read_text().splitlines()
    return []


def post_many(folder: Path, number: int, posts: int, seed: int) -> None:
    """Post and write down each answer before the next post."""
    from django.contrib.auth.models import User

    from stock.refusals import LedgerRefusal

    person = User.objects.get(username="racer")
    rng = random.Random(seed * 1000 + number)  # noqa: S311
    with (folder / f"{number}.jsonl").open("a") as answers:
        for step in range(posts):
            asked = ask(rng, number, step, posts)
            began = time.monotonic()
            try:
                answer = {"answer": "posted", **post(asked, person)}
            except LedgerRefusal as refusal:
                answer = {"answer": "refused", "refusal": type(refusal).__name__}
            except Exception as error:  # noqa: BLE001 (any other error is what the race is to find)
                answer = {"answer": "error", "error": f"{type(error).__name__}: {error}"}
            answer["seconds"] = time.monotonic() - began
            answers.write(json.dumps({**asked, **answer}, default=str) + "\n")
            answers.flush()


def ask(rng: random.Random, number: int, step: int, posts: int) -> dict:
    """Return what a process asks at one step, in plain words."""
    for share, month in CLOSES.items():
        if step == int(share * posts) and posts < 100_000:
            return {"what": "close", "month": month}
    chance = rng.random()
    if chance < 0.06:
        return {"what": "reverse", "key": str(uuid.UUID(int=rng.getrandbits(128))), "pick": rng.random()}
    key = str(uuid.UUID(int=rng.getrandbits(128)))
    pair = random.Random(f"{number // 2} {step}")  # noqa: S311
    is_shared = pair.random() < 0.1
    if is_shared:
        # Two neighbors post the same move under the same key; now and then one of them another content.
        key = str(uuid.uuid5(SHARED, f"{number // 2} {step}"))
        rng = pair
    source, target = rng.sample(PONDS, 2)
    of_class = rng.choice(list(CLASS_OF))
    day = TODAY - dt.timedelta(days=rng.choice((0, 0, 0, rng.randint(0, 149))))
    note = "clash" if rng.random() < 0.2 and is_shared and number % 2 else ""
    asked = {"what": "move", "key": key, "day": day, "note": note}
    kind_of = rng.random()
    if kind_of < 0.16:
        return {**asked, "made_as": "BANK", "lines": [[of_class, source, "SOLD", rng.randint(1, 6)]]}
    if kind_of < 0.20:
        # Which pond it is in by the book, nobody asks: it was in hand here.
        turtle = rng.choice([mark for marks in MARKS.values() for mark in marks])
        return {**asked, "made_as": "BANK", "lines": [["F", source, target, 1]], "turtles": [turtle]}
    if kind_of < 0.28:
        return {**asked, "made_as": "BANK", "lines": [[of_class, "BOUGHT", target, rng.randint(1, 6)]]}
    return {**asked, "made_as": "OFFICE", "lines": [[of_class, source, target, rng.randint(1, MOST_ASKED)]]}


def post(asked: dict, person) -> dict:
    """Ask the ledger; return the move and key it answers with."""
    from stock import ledger
    from stock.drafts import BatchDraft, Draft, Line
    from stock.models import Move

    if asked["what"] == "close":
        ledger.close_month(asked["month"], by=person, today=TODAY)
        return {}
    if asked["what"] == "reverse":
        latest = list(Move.objects.filter(reverses=None).exclude(made_as="OPENING").order_by("-pk")[:12])
        if not latest:
            return {}
        move = latest[int(asked["pick"] * len(latest))]
        receipt = ledger.reverse(move, key=uuid.UUID(asked["key"]), by=person, today=TODAY)
        return {"move": receipt.move_id}
    lines = tuple(
        Line(
            "slider",
            CLASS_OF[of_class],
            source,
            target,
            heads,
            batch="bought" if source == "BOUGHT" else "",
            turtles=tuple(asked.get("turtles", ())),
        )
        for of_class, source, target, heads in asked["lines"]
    )
    batches = (BatchDraft("bought", "BOUGHT", FIRST),) if lines[0].batch else ()
    draft = Draft(
        uuid.UUID(asked["key"]), asked["day"], lines, asked["made_as"], note=asked["note"], batches=batches
    )
    receipt = ledger.record(draft, by=person, today=TODAY)
    return {"move": receipt.move_id, "replay": receipt.is_replay}


def judge(folder: Path) -> dict:
    """Compare all answers with what the database holds."""
    from stock.check import differences
    from stock.models import Entry, Move

    answers = [
        json.loads(line) for file in sorted(folder.glob("*.jsonl")) for line in file.read_text().splitlines()
    ]
    moves = {str(key): pk for key, pk in Move.objects.exclude(made_as="OPENING").values_list("key", "pk")}
    entries = collections.defaultdict(list)
    rows = Entry.objects.exclude(reason__in=["SEXED", "BEYOND_BOOK"]).values_list(
        "move__key", "source__of_class", "source__pond__code", "source__outside",
        "target__pond__code", "target__outside", "heads",
    )  # fmt: skip
    for key, of_class, source, source_outside, target, target_outside, heads in rows:
        entries[str(key)].append([of_class[0], source or source_outside, target or target_outside, heads])
    posted = [answer for answer in answers if answer["answer"] == "posted" and "move" in answer]
    told = {answer["key"] for answer in posted}
    asked = [answer for answer in posted if answer["what"] == "move"]
    seconds = sorted(answer["seconds"] for answer in answers)
    return {
        "posts": len(answers),
        "accepted": sum(answer["answer"] == "posted" for answer in answers),
        "replays": sum(bool(answer.get("replay")) for answer in posted),
        "refused": dict(
            collections.Counter(answer["refusal"] for answer in answers if answer["answer"] == "refused")
        ),
        "errors": [answer["error"] for answer in answers if answer["answer"] == "error"],
        "lost": sum(moves.get(answer["key"]) != answer["move"] for answer in posted),
        "torn_or_doubled": sum(entries[answer["key"]] != answer["lines"] for answer in asked),
        "never_told": len(set(moves) - told),
        "differences": differences(),
        "slowest_ms": 1000 * seconds[-1],
        "half_within_ms": 1000 * seconds[len(seconds) // 2],
    }


if __name__ == "__main__":
    main()
