"""What a form asks once before it writes: never refused, kept where the person says that it is so."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Asked:
    """A question in a sentence, and the field that it stands beside; "" for the whole form."""

    field: str
    sentence: str


class AskOnce:
    """For a form: questions stand as errors until the answer to these very questions comes with what was typed."""

    data: Mapping[str, Any]
    fields: dict[str, Any]
    asked: tuple[Asked, ...] = ()

    def ask_once(self, asked: Iterable[Asked]) -> None:
        """Ask; the same questions are not asked again once they were answered."""
        self.asked = tuple(asked)
        if self.asked and self.data.get("right") != self.answer():
            for one in self.asked:
                self.add_error(one.field if one.field in self.fields else None, one.sentence)  # type: ignore[attr-defined]

    def answer(self) -> str:
        """Return what the button "it is so" sends: it holds for these questions only."""
        words = "|".join(one.sentence for one in self.asked)
        return hashlib.sha256(words.encode()).hexdigest()[:16] if words else ""

    @property
    def may_be_right(self) -> str:
        """The answer to send where nothing but questions stands in the way; "" otherwise."""
        said = {one.sentence for one in self.asked}
        found = [sentence for sentences in self.errors.values() for sentence in sentences]  # type: ignore[attr-defined]
        return self.answer() if found and all(sentence in said for sentence in found) else ""
