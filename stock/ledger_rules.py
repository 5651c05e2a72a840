"""Private to `stock/ledger.py`: what a draft must obey before any cell is looked at. Pure but for its facts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from stock.drafts import (
    CLASSES,
    LONGEST_NOTE,
    MOST_HEADS,
    OUTSIDE,
    SOURCES_OUTSIDE,
    TARGETS_OUTSIDE,
    Draft,
    Line,
)
from stock.planning import CLASS_WORDS
from stock.refusals import (
    BadHeads,
    BadLine,
    BatchMissing,
    BeforePondOpened,
    DayInFuture,
    KindNotAllowed,
    NoteTooLong,
    NothingToPost,
    SamePlace,
    UnknownKind,
    UnknownPlace,
)

CAUSES = (
    "NOT_KNOWN", "DROWNED", "INJURY", "BITES", "PREDATOR", "DISEASE", "WEATHER", "EGG_BOUND", "OTHER",
)  # fmt: skip
METHODS = ("SEINE", "TRAPS", "DRAIN_DOWN")


@dataclass(frozen=True)
class PondFacts:
    """What the rules need of a pond."""

    code: str
    opened_on: dt.date
    retired_on: dt.date | None = None
    kinds_allowed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class FarmFacts:
    """What the rules need of the farm: its ponds and kinds by code, and the batches there are by code."""

    today: dt.date
    ponds: dict[str, PondFacts]
    kinds: dict[str, str]
    batches: dict[str, str] = field(default_factory=dict)


def check_draft(draft: Draft, farm: FarmFacts) -> None:
    """Raise the refusal of the first rule that the draft breaks; the line is named where it is one line's."""
    if not (draft.lines or draft.haul or draft.marks or draft.counts):
        raise NothingToPost("Nothing was typed: give at least one line with heads, or what the haul caught.")
    if len(draft.note) > LONGEST_NOTE:
        raise NoteTooLong(
            f"The note has {len(draft.note):,} characters; at most {LONGEST_NOTE:,} fit. "
            "Shorten it, or keep the long text in a file of your own.",
            field="note",
        )
    if draft.happened_on > farm.today:
        raise DayInFuture(
            f"{draft.happened_on} is after today, {farm.today}. A move is logged on the day it happened or later.",
            field="happened_on",
        )
    if draft.pond:
        _check_place(draft.pond, draft, farm, None)
    for index, line in enumerate(draft.lines):
        _check_line(index, line, draft, farm)
    _check_haul(draft, farm)
    for mark in draft.marks:
        _check_kind(mark.kind, farm, None)
        _check_place(mark.pond, draft, farm, None)


def _check_line(index: int, line: Line, draft: Draft, farm: FarmFacts) -> None:
    check_heads(line.heads, index)
    _check_kind(line.kind, farm, index)
    for of_class in (line.of_class, line.to_class or line.of_class):
        if of_class not in CLASSES:
            raise BadLine(f"“{of_class}” is not a class; use one of {', '.join(CLASSES)}.", line=index)
    for place in (line.source, line.target):
        _check_place(place, draft, farm, index)
    if line.to_class:
        _check_class_change(index, line)
        return
    if line.source == line.target:
        raise SamePlace(
            f"Line {index + 1} goes from {_place(line.source)} to {_place(line.target)}: the same place. "
            "Choose another place, or leave the line out if they went back.",
            line=index,
            field="target",
        )
    comes_in, goes_out = line.source in OUTSIDE, line.target in OUTSIDE
    if comes_in and (goes_out or line.source not in SOURCES_OUTSIDE):
        raise BadLine(
            f"Heads cannot come from {_place(line.source)} to {_place(line.target)}. "
            f"They come from a pond, or from {', '.join(word.lower() for word in SOURCES_OUTSIDE)}.",
            line=index,
        )
    if goes_out and line.target not in TARGETS_OUTSIDE:
        raise BadLine(
            f"Heads cannot go to {_place(line.target)}. They go to a pond, or are "
            f"{', '.join(word.lower() for word in TARGETS_OUTSIDE)}.",
            line=index,
        )
    if line.cause and line.cause not in CAUSES:
        raise BadLine(f"“{line.cause}” is not a cause of death in the list.", line=index, field="cause")
    if not goes_out:
        _check_allowed(index, line, farm)
    if comes_in:
        _check_batch(index, line, draft, farm)


def check_heads(heads: object, line: int | None = None) -> None:
    """Refuse a number of heads that nobody can have handled."""
    if not isinstance(heads, int) or isinstance(heads, bool) or heads < 1 or heads > MOST_HEADS:
        where = f" in line {line + 1}" if line is not None else ""
        raise BadHeads(
            f"“{heads}” heads{where}: give a whole number from 1 to {MOST_HEADS:,}.", line=line, field="heads"
        )


def _check_class_change(index: int, line: Line) -> None:
    if line.source != line.target or line.source in OUTSIDE:
        raise BadLine(
            "Class changes within one pond only: log the sexing where it was done, and the move as its own line.",
            line=index,
        )
    from_juvenile = line.of_class == "JUVENILE" and line.to_class != "JUVENILE"
    sexed = (
        line.of_class != "JUVENILE" and line.to_class in ("FEMALE", "MALE") and line.to_class != line.of_class
    )
    if not (from_juvenile or sexed):
        raise BadLine(
            f"A head does not change from {CLASS_WORDS[line.of_class][0]} to {CLASS_WORDS[line.to_class][0]}. "
            "Juveniles mature; unsexed heads are sexed female or male.",
            line=index,
        )


def _check_haul(draft: Draft, farm: FarmFacts) -> None:
    if draft.haul is None:
        return
    if not draft.pond:
        raise UnknownPlace("A haul is made in one pond: choose which.", field="pond")
    if draft.haul.method not in METHODS:
        raise BadLine(f"“{draft.haul.method}” is not a way of catching; use seine, traps or drain-down.")
    for caught in draft.haul.lines:
        _check_kind(caught.kind, farm, None)
        if caught.of_class not in CLASSES:
            raise BadLine(f"“{caught.of_class}” is not a class; use one of {', '.join(CLASSES)}.")
        for number in (caught.caught, caught.carrying_marks, caught.newly_marked, caught.dead_in_net):
            if not isinstance(number, int) or number < 0 or number > MOST_HEADS:
                raise BadHeads(
                    f"“{number}” caught: give a whole number from 0 to {MOST_HEADS:,}.", field="caught"
                )
        if caught.carrying_marks + caught.newly_marked > caught.caught or caught.dead_in_net > caught.caught:
            raise BadHeads(
                f"Of {caught.caught} caught, {caught.carrying_marks} carried marks, {caught.newly_marked} were newly "
                f"marked and {caught.dead_in_net} were dead in the net: the parts are more than the catch.",
                field="caught",
            )
        gone = sum(
            line.heads
            for line in draft.lines
            if (line.source, line.kind, line.of_class) == (draft.pond, caught.kind, caught.of_class)
            and not line.to_class
        )
        if gone > caught.caught:
            raise BadHeads(
                f"{gone} {CLASS_WORDS[caught.of_class][1]} are said to have left pond {draft.pond}, but the haul "
                f"caught only {caught.caught}. Raise the catch, or lower what went.",
                field="caught",
            )


def _check_kind(kind: str, farm: FarmFacts, line: int | None) -> None:
    if kind not in farm.kinds:
        raise UnknownKind(
            f"No kind has the code “{kind}”. The kinds are listed under Settings; add it there first.",
            line=line,
            field="kind",
        )


def _check_place(place: str, draft: Draft, farm: FarmFacts, line: int | None) -> None:
    if place in OUTSIDE:
        return
    pond = farm.ponds.get(place)
    if pond is None:
        raise UnknownPlace(
            f"There is no pond “{place}”. Choose one from the list; new ponds are made under Settings.",
            line=line,
            field="pond",
        )
    if draft.happened_on < pond.opened_on:
        raise BeforePondOpened(
            f"Pond {place} was opened on {pond.opened_on}; {draft.happened_on} is before that. "
            "Mend the day here, or the pond's opening day under Settings.",
            line=line,
            field="happened_on",
        )
    if pond.retired_on is not None and draft.happened_on > pond.retired_on:
        raise BeforePondOpened(
            f"Pond {place} was retired on {pond.retired_on}; {draft.happened_on} is after that. "
            "Mend the day, or choose another pond.",
            line=line,
            field="happened_on",
        )


def _check_allowed(index: int, line: Line, farm: FarmFacts) -> None:
    allowed = farm.ponds[line.target].kinds_allowed
    if line.kind not in allowed:
        names = ", ".join(sorted(farm.kinds[code] for code in allowed)) or "none yet"
        raise KindNotAllowed(
            f"{farm.kinds[line.kind]} is not allowed in pond {line.target} (allowed: {names}). "
            "Choose another pond, or allow the kind there under Settings.",
            line=index,
            field="target",
        )


def _check_batch(index: int, line: Line, draft: Draft, farm: FarmFacts) -> None:
    sources = {batch.code: batch.source for batch in draft.batches}
    sources.update(farm.batches)
    if not line.batch:
        raise BatchMissing(
            f"Line {index + 1} brings heads from outside: name their batch, so that their origin can be shown.",
            line=index,
            field="batch",
        )
    source = sources.get(line.batch)
    if source is None:
        raise BatchMissing(f"There is no batch “{line.batch}”.", line=index, field="batch")
    if source != line.source:
        raise BatchMissing(
            f"Batch {line.batch} is of heads {source.lower()}, but the line says {line.source.lower()}. "
            "Use a code of its own for this batch.",
            line=index,
            field="batch",
        )


def _place(place: str) -> str:
    return place.lower() if place in OUTSIDE else f"pond {place}"
