"""Private to `stock/ledger.py`: what a draft must obey before any cell is looked at. Pure but for its facts."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from dataclasses import dataclass, field

from ponds.svg_marks import day_text, figure_text
from stock.drafts import (
    CLASSES,
    LONGEST_NOTE,
    MOST_HEADS,
    NEW_TURTLE,
    OUTSIDE,
    SOURCES_OUTSIDE,
    TARGETS_OUTSIDE,
    CountDraft,
    Draft,
    Line,
    MarkDraft,
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
    PondNotOpen,
    SamePlace,
    UnknownKind,
    UnknownPlace,
)

CAUSES = (
    "NOT_KNOWN", "DROWNED", "INJURY", "BITES", "PREDATOR", "DISEASE", "WEATHER", "EGG_BOUND", "OTHER",
)  # fmt: skip
# A count's reset and a reversal have doors of their own.
WAYS_TO_POST = ("BANK", "OFFICE", "OPENING")
GENERATIONS = ("NOT_KNOWN", "WILD", "FIRST", "SECOND")
METHODS = ("SEINE", "TRAPS", "DRAIN_DOWN")
WAYS_OF_KNOWING = ("DRAINED", "SEINED", "NOTEBOOK", "GUESS")
# As long as their columns: SQLite takes any length and PostgreSQL breaks off, so it is said here.
LONGEST = {
    "code": 24,
    "party": 120,
    "licence": 60,
    "document": 120,
    "purpose": 120,
    "disposal": 120,
    "note": 300,
    "effort_typed": 20,
    "water_typed": 20,
    "mark": 40,
    "reason": 300,
}


@dataclass(frozen=True)
class PondFacts:
    """What the rules need of a pond."""

    code: str
    opened_on: dt.date
    retired_on: dt.date | None = None
    kinds_allowed: frozenset[str] = frozenset()
    # (from day, state, due to end or None), the earliest first.
    states: tuple[tuple[dt.date, str, dt.date | None], ...] = ()

    def state_on(self, day: dt.date) -> tuple[str, dt.date | None]:
        """Return the state that holds on a day, and when it is due to end."""
        standing = [(state, ends_on) for from_on, state, ends_on in self.states if from_on <= day]
        return standing[-1] if standing else ("IN_USE", None)


@dataclass(frozen=True)
class FarmFacts:
    """
    What the rules need of the farm: its ponds and kinds by code, and the batches there are by code.

    `not_with` maps a kind's code to those it is not kept with, code to name.
    """

    today: dt.date
    ponds: dict[str, PondFacts]
    kinds: dict[str, str]
    batches: dict[str, str] = field(default_factory=dict)
    not_with: dict[str, dict[str, str]] = field(default_factory=dict)


def check_draft(draft: Draft, farm: FarmFacts) -> None:
    """Raise the refusal of the first rule that the draft breaks; the line is named where it is one line's."""
    if not (draft.lines or draft.haul or draft.marks or draft.counts or draft.seen or draft.lost_marks):
        raise NothingToPost("Nothing was typed: give at least one line with heads, or what the haul caught.")
    if draft.made_as not in WAYS_TO_POST:
        raise BadLine(
            f"A move cannot be posted as “{draft.made_as}”; use one of {', '.join(WAYS_TO_POST)}. "
            "A count is accepted and a move is taken back on pages of their own.",
            field="made_as",
        )
    check_text(draft.note, "note", LONGEST_NOTE)
    _check_texts(draft)
    if draft.happened_on > farm.today:
        raise DayInFuture(
            f"{day_text(draft.happened_on)} is after today, {day_text(farm.today)}. A move is logged "
            "on the day it happened or later.",
            field="happened_on",
        )
    if draft.pond:
        _check_pond(draft.pond, draft.happened_on, farm)
    for index, line in enumerate(draft.lines):
        _check_line(index, line, draft, farm)
    _check_haul(draft, farm)
    for mark in draft.marks:
        _check_mark(mark, draft, farm)
    _check_seen(draft, farm)
    for count in draft.counts:
        _check_count(count, farm)


def check_text(text: str, field: str, most: int | None = None) -> None:
    """Refuse a text that is too long for its field, or that no database keeps."""
    most = LONGEST[field] if most is None else most
    if len(text) > most:
        raise NoteTooLong(
            f"The {field.replace('_typed', '')} has {figure_text(len(text))} characters; at most "
            f"{figure_text(most)} fit. "
            "Shorten it, or keep the long text in a file of your own.",
            field=field,
        )
    if "\x00" in text:
        raise BadLine(f"The {field} holds a character (code 0) that is no text. Type it anew.", field=field)


def _check_texts(draft: Draft) -> None:
    for batch in draft.batches:
        check_text(batch.code, "code")
        check_text(batch.party, "party")
        check_text(batch.note, "note")
        if batch.source not in SOURCES_OUTSIDE:
            raise BadLine(
                f"Batch {batch.code} is said to be “{batch.source}”; use one of {', '.join(SOURCES_OUTSIDE)}.",
                field="batch",
            )
        if batch.generation not in GENERATIONS:
            raise BadLine(
                f"Batch {batch.code} is said to be of the generation “{batch.generation}”; use one of "
                f"{', '.join(GENERATIONS)}.",
                field="batch",
            )
    for paper in (*draft.papers, *(batch.paper for batch in draft.batches if batch.paper is not None)):
        for field_name in ("party", "licence", "document", "purpose", "disposal", "note"):
            check_text(getattr(paper, field_name), field_name)
    if draft.haul is not None:
        check_text(draft.haul.effort_typed, "effort_typed")
        check_text(draft.haul.water_typed, "water_typed")


def _check_mark(mark: MarkDraft, draft: Draft, farm: FarmFacts) -> None:
    _check_kind(mark.kind, farm, None)
    _check_class(mark.of_class, None)
    _check_pond(mark.pond, draft.happened_on, farm)
    if not mark.code.strip():
        raise BadLine("A mark without its code: give the notch or tag that the turtle carries.", field="mark")
    check_text(mark.code, "mark")


def _check_seen(draft: Draft, farm: FarmFacts) -> None:
    """See that turtles in hand were met in a pond, once each, and are no more than the haul caught."""
    if draft.seen and not draft.pond:
        raise UnknownPlace("Turtles are scanned at one pond: choose which.", field="pond")
    if twice := [code for code, times in Counter(one.code for one in draft.seen).items() if times > 1]:
        raise BadLine(f"Turtle {twice[0]} is named twice; name it once.", field="mark")
    for one in draft.seen:
        _check_kind(one.kind, farm, None)
        _check_class(one.of_class, None)
    if draft.haul is None:
        return
    scanned, new = scanned_by_class(draft)
    lines = {(one.kind, one.of_class): one for one in draft.haul.lines}
    for kind, of_class in sorted(set(scanned) | set(new)):
        line = lines.get((kind, of_class))
        carrying = max(scanned[kind, of_class], (line.carrying_marks or 0) if line else 0)
        newly = max(new[kind, of_class], line.newly_marked if line else 0)
        if carrying + newly > (line.caught if line else 0):
            raise BadHeads(
                f"Of {farm.kinds[kind]} {CLASS_WORDS[of_class][1]}, {carrying} carried marks (or were scanned) and "
                f"{newly} were newly marked, but the haul caught {line.caught if line else 0}. Raise the catch, or "
                "take a scan off the list.",
                field="caught",
            )


def scanned_by_class(draft: Draft) -> tuple[Counter[tuple[str, str]], Counter[tuple[str, str]]]:
    """Return the turtles in hand that carried marks, and those newly marked, by kind and class."""
    new = {mark.code: mark for mark in draft.marks if NEW_TURTLE in mark.code and mark.pond == draft.pond}
    return (
        Counter((one.kind, one.of_class) for one in draft.seen if one.code not in new),
        Counter((mark.kind, mark.of_class) for mark in new.values()),
    )


def _check_count(count: CountDraft, farm: FarmFacts) -> None:
    _check_kind(count.kind, farm, None)
    if count.as_of > farm.today:
        raise DayInFuture(
            f"A count as of {day_text(count.as_of)} is after today, {day_text(farm.today)}. Give the day it was made.",
            field="as_of",
        )
    _check_pond(count.pond, count.as_of, farm)
    if count.how_known not in WAYS_OF_KNOWING:
        raise BadLine(
            f"“{count.how_known}” is not a way of knowing heads; use one of {', '.join(WAYS_OF_KNOWING)}.",
            field="how_known",
        )
    numbers = (
        count.females, count.females_se, count.males, count.males_se,
        count.unsexed, count.unsexed_se, count.juveniles, count.juveniles_se,
    )  # fmt: skip
    for number in numbers:
        if number is not None and not 0 <= number <= MOST_HEADS:  # also refuses what is not a number
            raise BadHeads(
                f"“{number}” counted: give a number from 0 to {figure_text(MOST_HEADS)}, or leave the class out.",
                field="heads",
            )
    if not math.isfinite(count.covariance):
        raise BadHeads(f"“{count.covariance}” is not a covariance of two counts.", field="heads")


def check_states(draft: Draft, farm: FarmFacts) -> tuple[str, ...]:
    """Refuse in the office, and say at the bank, that heads go where a pond's state lets none go."""
    warnings: dict[str, None] = {}
    for index, line in enumerate(draft.lines):
        for sentence in _against_states(line, draft.happened_on, farm):
            if draft.made_as == "OFFICE":
                raise PondNotOpen(sentence, line=index, field="target")
            warnings[sentence] = None
    return tuple(warnings)


def _against_states(line: Line, day: dt.date, farm: FarmFacts) -> list[str]:
    if line.source == line.target or line.target in ("DIED", "CULLED", "ESCAPED"):
        return []
    found = []
    for place in (line.source, line.target):
        pond = farm.ponds.get(place)
        if pond is None:
            continue
        comes_in = place == line.target
        state, ends_on = pond.state_on(day)
        # What is bought may be held apart in a quarantine pond: that is what it is for.
        if state == "QUARANTINE" and not (comes_in and line.source in OUTSIDE):
            until = f", due to end on {day_text(ends_on)}" if ends_on else ""
            found.append(
                f"Pond {place} is in quarantine on {day_text(day)}{until}: nothing comes in from "
                "another pond and nothing "
                "goes out. End the quarantine under Settings first, or log the move at the bank if it was made."
            )
        if comes_in and state == "RESTING":
            found.append(
                f"Pond {place} is resting on {day_text(day)}: nothing comes in. Put it back in use "
                "under Settings first, "
                "or log the move at the bank if it was made."
            )
        if comes_in and pond.retired_on is not None:
            found.append(
                f"Pond {place} was retired on {day_text(pond.retired_on)}: heads put there would be left behind. "
                "Choose another pond."
            )
    return found


def _check_line(index: int, line: Line, draft: Draft, farm: FarmFacts) -> None:
    check_heads(line.heads, index)
    _check_kind(line.kind, farm, index)
    for of_class in (line.of_class, line.to_class or line.of_class):
        _check_class(of_class, index)
    for place in (line.source, line.target):
        if place not in OUTSIDE:
            _check_pond(place, draft.happened_on, farm, index)
    if (
        line.batch
        and line.batch not in farm.batches
        and line.batch not in {one.code for one in draft.batches}
    ):
        raise BatchMissing(f"There is no batch “{line.batch}”.", line=index, field="batch")
    if line.cause and line.cause not in CAUSES:
        raise BadLine(f"“{line.cause}” is not a cause of death in the list.", line=index, field="cause")
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
            place=line.source,
        )
    if goes_out and line.target not in TARGETS_OUTSIDE:
        raise BadLine(
            f"Heads cannot go to {_place(line.target)}. They go to a pond, or are "
            f"{', '.join(word.lower() for word in TARGETS_OUTSIDE)}.",
            line=index,
            place=line.target,
        )
    if not goes_out:
        _check_allowed(index, line, farm)
    if comes_in:
        _check_batch(index, line, draft, farm)


def check_heads(heads: object, line: int | None = None) -> None:
    """Refuse a number of heads that nobody can have handled."""
    if not isinstance(heads, int) or isinstance(heads, bool) or heads < 1 or heads > MOST_HEADS:
        where = f" in line {line + 1}" if line is not None else ""
        raise BadHeads(
            f"“{heads}” heads{where}: give a whole number from 1 to {figure_text(MOST_HEADS)}.",
            line=line,
            field="heads",
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
    effort = draft.haul.effort
    if effort is not None and not (effort > 0 and math.isfinite(effort)):
        raise BadLine(
            f"An effort of {effort} is none: give a number above 0, or leave it out.", field="effort"
        )
    seen = set()
    for caught in draft.haul.lines:
        _check_kind(caught.kind, farm, None)
        _check_class(caught.of_class, None)
        if (caught.kind, caught.of_class) in seen:
            raise BadLine(
                f"The catch of {farm.kinds[caught.kind]} {CLASS_WORDS[caught.of_class][1]} is given twice; "
                "give it once, all heads together.",
                field="caught",
            )
        seen.add((caught.kind, caught.of_class))
        carrying = 0 if caught.carrying_marks is None else caught.carrying_marks
        for number in (caught.caught, carrying, caught.newly_marked, caught.dead_in_net):
            if not isinstance(number, int) or number < 0 or number > MOST_HEADS:
                raise BadHeads(
                    f"“{number}” caught: give a whole number from 0 to {figure_text(MOST_HEADS)}.",
                    field="caught",
                )
        if carrying + caught.newly_marked > caught.caught or caught.dead_in_net > caught.caught:
            raise BadHeads(
                f"Of {caught.caught} caught, {carrying} carried marks, {caught.newly_marked} were newly "
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


def _check_class(of_class: str, line: int | None) -> None:
    if of_class not in CLASSES:
        raise BadLine(
            f"“{of_class}” is not a class; use one of {', '.join(CLASSES)}.", line=line, field="of_class"
        )


def _check_kind(kind: str, farm: FarmFacts, line: int | None) -> None:
    if kind not in farm.kinds:
        raise UnknownKind(
            f"No kind has the code “{kind}”. The kinds are listed under Settings; add it there first.",
            line=line,
            field="kind",
        )


def _check_pond(place: str, day: dt.date, farm: FarmFacts, line: int | None = None) -> None:
    pond = farm.ponds.get(place)
    if pond is None:
        raise UnknownPlace(
            f"There is no pond “{place}”. Choose one from the list; new ponds are made under Settings.",
            line=line,
            field="pond",
            place=place,
        )
    if day < pond.opened_on:
        raise BeforePondOpened(
            f"Pond {place} was opened on {day_text(pond.opened_on)}; {day_text(day)} is before that. "
            "Mend the day here, or the pond's opening day under Settings.",
            line=line,
            field="happened_on",
        )
    if pond.retired_on is not None and day > pond.retired_on:
        raise BeforePondOpened(
            f"Pond {place} was retired on {day_text(pond.retired_on)}; {day_text(day)} is after that. "
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
    source = sources[line.batch]
    if source != line.source:
        raise BatchMissing(
            f"Batch {line.batch} is of heads {source.lower()}, but the line says {line.source.lower()}. "
            "Use a code of its own for this batch.",
            line=index,
            field="batch",
        )


def _place(place: str) -> str:
    return place.lower() if place in OUTSIDE else f"pond {place}"
