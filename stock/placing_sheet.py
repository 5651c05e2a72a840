"""The load sheet of a placing: one line a stop, with what the pond can take. Reads and writes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ponds.svg_marks import figure_text
from stock.placing_answer import Advice, PondAdvice
from stock.placing_grounds import Grounds
from stock.placing_tasks import Source
from stock.saved_placings import Stop
from stock.watch_stops import AFTER


@dataclass(frozen=True)
class SheetLine:
    """One stop of the truck: the pond, heads to bring, what was brought before, and the pond's limits in words."""

    number: int
    pond: str
    pond_name: str
    heads: int
    done: int
    limits: str


def limits_of(pond: PondAdvice) -> str:
    """Say what a pond can take: new females at most, its head limit, and the top of its band."""
    facts = pond.facts
    if pond.obstacles:
        return f"None now: {pond.obstacles[0].sentence}"
    limit = (
        f"head limit {figure_text(facts.head_limit)}" if facts.head_limit is not None else "no head limit set"
    )
    return f"at most {figure_text(pond.cap)}; {limit}; {figure_text(facts.males_now)} males"


def lines_of_plan(advice: Advice, heads: dict[str, int]) -> list[SheetLine]:
    """Return the lines of a plan that is only shown, in letter order of its ponds."""
    chosen = [pond for pond in advice.ponds if heads.get(pond.code)]
    chosen.sort(key=lambda pond: (len(pond.code), pond.code))
    return [
        SheetLine(number, pond.code, pond.facts.pond_name, heads[pond.code], 0, limits_of(pond))
        for number, pond in enumerate(chosen, start=1)
    ]


def lines_of_saved(stops: Iterable[Stop], advice: Advice | None, grounds: Grounds) -> list[SheetLine]:
    """Return the lines of a saved placing: the heads left, or all of them once none is."""
    planned = list(stops)
    wanted = [stop for stop in planned if stop.left] or planned
    return [
        SheetLine(
            number,
            stop.pond,
            stop.pond_name,
            stop.left or stop.heads,
            stop.done,
            _limits(stop.pond, advice, grounds),
        )
        for number, stop in enumerate(wanted, start=1)
    ]


def _limits(code: str, advice: Advice | None, grounds: Grounds) -> str:
    now = advice.pond(code) if advice is not None else None
    if now is not None:
        return limits_of(now)
    then = grounds.pond(code)
    return (
        ""
        if then is None
        else f"at most {figure_text(then.cap)} when saved; {figure_text(then.males_used)} males"
    )


def before_loading(source: Source, heads: int, stopped: Iterable[str] = ()) -> Sequence[str]:
    """
    Return what must be true before the first one is loaded, of where they stand and where they go.

    `stopped` are codes of ponds where the watch asks that nothing moves.
    """
    said = [f"Pond {code}: the watch asks to stop all moves in and out. Only {AFTER}." for code in stopped]
    if not source.code:
        return (*said, "Seller's count and papers agree with what stands here.")
    if source.in_quarantine:
        said.append(f"Pond {source.code} is released from quarantine, {source.released_words}. Not before.")
    if heads > source.females:
        said.append(
            f"By the book only {figure_text(source.females)} females stand in pond {source.code}; "
            f"{figure_text(source.unsexed)} unsexed. Sex them first."
        )
    return tuple(said)
