"""What somebody asks the ledger to post, as plain values. Pure: ponds and kinds are named by their codes.

A place is a pond's code (one to three capital letters) or an outside place (BOUGHT, SOLD, DIED, ...),
which is always longer, so the two cannot be mixed up.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from dataclasses import dataclass, field, replace

SOURCES_OUTSIDE = ("OPENING", "BOUGHT", "RAISED", "WILD")
TARGETS_OUTSIDE = ("DIED", "SOLD", "CULLED", "ESCAPED")
OUTSIDE = (*SOURCES_OUTSIDE, *TARGETS_OUTSIDE, "UNSEEN")
CLASSES = ("FEMALE", "MALE", "UNSEXED", "JUVENILE")

MOST_HEADS = 100_000
LONGEST_NOTE = 2000
LONGEST_TURTLE = 40
Z_95 = 1.959964
"""Half-width of a 95 % interval in standard errors: what is typed and shown as plus-or-minus."""
REVERSAL_NAMESPACE = uuid.UUID("8a3b46a5-0c0f-4d0b-9f0e-5c2f3a7e6d11")


@dataclass(frozen=True)
class Line:
    """So many heads of one kind and class from one place to another.

    With `to_class` the place stays the same and the class changes (sexed, or matured from juvenile).
    """

    kind: str
    of_class: str
    source: str
    target: str
    heads: int
    to_class: str = ""
    cause: str = ""
    batch: str = ""
    turtles: tuple[str, ...] = ()


@dataclass(frozen=True)
class BatchDraft:
    """A batch that arrives with the move, with the paper it came with, if any."""

    code: str
    source: str
    arrived_on: dt.date
    party: str = ""
    generation: str = "NOT_KNOWN"
    note: str = ""
    paper: PaperDraft | None = None


@dataclass(frozen=True)
class PaperDraft:
    """A document of what came or went; every part may be empty but not all."""

    party: str = ""
    licence: str = ""
    document: str = ""
    purpose: str = ""
    disposal: str = ""
    expires_on: dt.date | None = None
    note: str = ""

    @property
    def says_something(self) -> bool:
        return any((self.party, self.licence, self.document, self.purpose, self.disposal, self.note))


@dataclass(frozen=True)
class CatchLine:
    """
    What a haul brought of one kind and class: all of it, whatever became of it.

    `carrying_marks` is None where nobody looked for marks, which is not the 0 of who looked and found none.
    """

    kind: str
    of_class: str
    caught: int
    carrying_marks: int | None = None
    newly_marked: int = 0
    dead_in_net: int = 0


@dataclass(frozen=True)
class HaulDraft:
    """One drawing of the seine, round of traps, or drain-down in the move's pond."""

    method: str
    lines: tuple[CatchLine, ...]
    effort: float | None = None
    effort_typed: str = ""
    water_mk: int | None = None
    water_typed: str = ""
    water_unit: str = ""
    is_held_out: bool = False
    is_complete: bool = False


@dataclass(frozen=True)
class CountDraft:
    """A head count of one pond and kind; a class not counted is None, which is not 0."""

    pond: str
    kind: str
    as_of: dt.date
    how_known: str
    females: float | None = None
    females_se: float | None = None
    males: float | None = None
    males_se: float | None = None
    covariance: float = 0.0
    unsexed: float | None = None
    unsexed_se: float | None = None
    juveniles: float | None = None
    juveniles_se: float | None = None


@dataclass(frozen=True)
class PutOn:
    """A mark as it is put on: positions as a mask for NOTCH, family and number for TAG, words for PAINT and OTHER.

    `is_conflict` says that the turtle came with a code which another one has: it is recorded, and both are shown.
    """

    form: str
    scheme: str = ""
    mask: int | None = None
    family: str = ""
    tag: str = ""
    text: str = ""
    site: str = ""
    is_conflict: bool = False
    note: str = ""


@dataclass(frozen=True)
class SexDraft:
    """What somebody takes a turtle's sex to be, by what method and how sure."""

    sex: str
    method: str = "NOT_KNOWN"
    certainty: str = "PROBABLE"


@dataclass(frozen=True)
class MarkDraft:
    """A mark put on a head that stands in a pond already (or that arrives with this move).

    `code` is the turtle's number in the register; a new turtle, which has none yet, is called "+" and any word by the
    draft, and gets its number when it is written. `batch` is what it came with, where that is known.
    """

    code: str
    kind: str
    of_class: str
    pond: str
    put_on: tuple[PutOn, ...] = ()
    sex: SexDraft | None = None
    batch: str = ""


@dataclass(frozen=True)
class Seen:
    """A marked turtle in hand at the draft's pond, whatever became of it; one that no line names went back."""

    code: str
    kind: str
    of_class: str


@dataclass(frozen=True)
class Draft:
    """One move as it is asked for. `made_as` is BANK (a fact), OFFICE (not yet carried out) or OPENING.

    `marks_end` says what became of the marks of `lost_marks`: REMOVED or MISTAKEN; LOST where it is empty.
    """

    key: uuid.UUID
    happened_on: dt.date
    lines: tuple[Line, ...] = ()
    made_as: str = "BANK"
    pond: str = ""
    note: str = ""
    haul: HaulDraft | None = None
    batches: tuple[BatchDraft, ...] = ()
    papers: tuple[PaperDraft, ...] = ()
    counts: tuple[CountDraft, ...] = ()
    marks: tuple[MarkDraft, ...] = ()
    tasks: tuple[int, ...] = field(default=())
    seen: tuple[Seen, ...] = ()
    lost_marks: tuple[str, ...] = ()
    marks_end: str = ""


# Later than the first postings: left out of a draft's sum while empty, so that old keys stand for the same content.
_LATER_FIELDS = frozenset({"seen", "lost_marks", "marks_end", "put_on", "sex"})
NEW_TURTLE = "+"

# What is empty today was written so before it could be: summed as it was, so that what was sent then is the same still.
_ONCE_WRITTEN = {"carrying_marks": 0}
_AS_THEY_ARE = frozenset({str, int, float, bool, type(None)})


def content_sha256(*parts: object) -> str:
    """Return the SHA-256 of what was asked, the same for the same content whatever made it."""
    canonical = json.dumps([_plain(part) for part in parts], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode()).hexdigest()


def reversal_key(key: uuid.UUID) -> uuid.UUID:
    """Return the key of the reversal that a correction with `key` posts beside its replacement."""
    return uuid.uuid5(REVERSAL_NAMESPACE, str(key))


def with_numbers(draft: Draft) -> Draft:
    """Return the draft with its new turtles called by names that no other draft uses."""
    if not any(mark.code.startswith(NEW_TURTLE) for mark in draft.marks):
        return draft

    def named(code: str) -> str:
        return f"{draft.key.hex}{code}"[:LONGEST_TURTLE] if code.startswith(NEW_TURTLE) else code

    return replace(
        draft,
        marks=tuple(replace(mark, code=named(mark.code)) for mark in draft.marks),
        seen=tuple(replace(one, code=named(one.code)) for one in draft.seen),
        lines=tuple(
            replace(line, turtles=tuple(named(code) for code in line.turtles)) for line in draft.lines
        ),
    )


def turtles_named(draft: Draft) -> list[str]:
    """Return the marked turtles that a draft names anywhere."""
    return [
        *(code for line in draft.lines for code in line.turtles),
        *(mark.code for mark in draft.marks),
        *(one.code for one in draft.seen),
        *draft.lost_marks,
    ]


def _plain(part: object) -> object:
    # By type first: on a large sheet this is where the time goes.
    kind = type(part)
    if kind in _AS_THEY_ARE:
        return part
    if hasattr(kind, "__dataclass_fields__"):
        return {
            name: (_ONCE_WRITTEN.get(name) if value is None else value)
            if type(value) in _AS_THEY_ARE
            else _plain(value)
            for name, value in vars(part).items()
            if value or name not in _LATER_FIELDS
        }
    if isinstance(part, list | tuple):
        return [_plain(one) for one in part]
    if isinstance(part, dt.date | uuid.UUID):
        return str(part)
    return part
