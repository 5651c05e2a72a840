"""What is refused in a sentence for the person who typed, whoever refuses: books, lists and the register. Pure."""

from __future__ import annotations


class Refused(Exception):
    """
    Something that was asked and not done.

    `sentence` says to the person who asked what is wrong and how to mend it, `field` which field it is about, "" where
    it is about none; a class may name the one that it is always about.
    """

    field: str = ""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field or self.field
