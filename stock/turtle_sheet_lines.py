"""One row of the turtles sheet as it was read, how its codes and tags are read, and what its marks are called."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import Any

from ponds.sheets import SheetRow
from stock.drafts import Draft, PutOn, SexDraft
from stock.marks import notch, tag
from stock.marks.measures import Typed
from stock.marks.sexes import INDETERMINATE
from stock.models import Mark, Turtle

Name = tuple[str, str, Any]


@dataclass
class Line:
    """
    One row of the sheet, read: what it puts on, and whose turtle it is once that is known.

    `names` are the codes that tell a turtle by themselves; `first` is the row of a turtle that the sheet itself makes.
    """

    row: SheetRow
    key: uuid.UUID
    put_on: tuple[PutOn, ...]
    names: tuple[Name, ...]
    typed: tuple[Typed, ...]
    turtle: Turtle | None = None
    first: Line | None = None
    draft: Draft | None = None
    move_key: uuid.UUID | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def marked_by(self) -> uuid.UUID:
        """The key of the move that makes its turtle."""
        return self.move_key or self.key

    @property
    def animal(self) -> str:
        """What the sheet calls this animal, "" where it does not."""
        return self.row["animal"] or ""

    @property
    def sex(self) -> SexDraft:
        """Its sex as the row tells it, by its class where no sex is written."""
        of_class, row = self.row["class"], self.row
        told = row["sex"] or (
            of_class if of_class in ("FEMALE", "MALE") and not self.animal else INDETERMINATE
        )
        return SexDraft(told, row["sex method"] or "NOT_KNOWN", row["certainty"] or "PROBABLE")


@dataclass(frozen=True)
class TagCell:
    """A tag's number in any form it is printed or sent by a reader."""

    shape: str = "text, 15 digits or as the reader sends it"

    def __call__(self, cell: str) -> tag.Tag:
        found = tag.parse(cell)
        if found.is_guess:
            raise ValueError(" ".join(str(note) for note in found.notes) + " Write all 15 digits as text.")
        return found


def read_notches(scheme: notch.Scheme, typed: str) -> int:
    """Read a code of a scheme, or the positions of one that the scheme cannot write."""
    try:
        return notch.mask_of(notch.decode(scheme, notch.normalize(scheme, typed)))
    except ValueError:
        try:
            return notch.mask_of(notch.parse_positions(typed))
        except ValueError:
            pass
        raise


def carried(mark: Mark | PutOn) -> tuple[str, Any]:
    """Return what a mark on one turtle is known by."""
    return mark.form, mark.tag or mark.mask or mark.text


def said_together(numbers: list[int]) -> str:
    """Return "3 and 8", "3, 8 and 9"."""
    told = [str(number) for number in sorted(numbers)]
    return f"{', '.join(told[:-1])} and {told[-1]}" if len(told) > 1 else told[0]
