"""What is said of a tag number: the messages, each with a code by which a page can tell them apart."""

from __future__ import annotations

MESSAGES = {
    "PIT01": "A microchip number has 15 digits; this has {n}.",
    "PIT02": "Only digits are allowed; found '{c}' at place {k}. Letter O is often typed for zero, I or l for one.",
    "PIT03": ("One digit short. If the first zero was lost (spreadsheets do this), the number may be 0{s}."),
    "PIT04": "This number was rounded by a spreadsheet and cannot be restored. Read the tag again.",
    "PIT05": "The last 12 digits may not exceed 274 877 906 943. Check digits 4 to 15.",
    "PIT06": "000 is not a valid country or maker code.",
    "PIT07": "999 marks a test tag; it may not be unique.",
    "PIT08": "{ccc} is not an assigned country number.",
    "PIT09": "The animal number is all zeros: blank or unprogrammed tag.",
    "PIT10": "This tag is active on {animal} since {date}. Close that record or mark a conflict.",
    "PIT11": "Tag is coded as non-animal.",
    "PIT12": "Checksum does not match; read again.",
    "PIT13": "Very close to {other}; was it mistyped?",
    # Ours, for what the standard's numbers do not cover.
    "PIT20": "No tag number was given.",
    "PIT21": "The reader marks this as no animal's tag (LR): {line}",
    "PIT22": "Several different numbers stand in this line, {numbers}: {line}. Read one tag at a time.",
    "PIT23": "No tag number was found in: {line}. Expected are 15 digits, as 985 113007399202.",
    "PIT24": "These 16 characters can be read from either end, as {numbers}; read the tag again as 15 digits.",
    "PIT25": "{line} is not the content of an animal tag; read the tag again as 15 digits.",
    "PIT26": "The first three digits would be {n}, which is above 999; read the tag again.",
    "PIT27": "The text has {n} characters, more than any reader sends; give one tag number.",
    "PIT28": (
        "These 16 digits are one too many for a number, or a reader's hexadecimal form of {digits}; read the tag again "
        "as 15 digits."
    ),
    "PIT30": "An older tag of 9 digits (125 kHz), which no animal standard covers: kept as it is.",
    "PIT31": (
        "An older tag of 10 characters. Makes that share this form cannot be told apart by their text: it is kept as "
        "it is; the make, if it is known, can stand in the note."
    ),
    "PIT32": "All ten characters are digits: this may be a 15-digit number cut short. Read the tag again.",
    "PIT40": "Its reserved bits are not zero ({n}).",
    "PIT41": "The animal has been tagged anew; the tag's counter stands at {n}.",
    "PIT42": "The frame has 32 characters 0 to 9 and A to F; this has {n} of {all} characters right.",
    "PIT43": "The frame does not begin with ten zeros and a one, or a control bit is missing; read again.",
    "PIT44": "The tag says that no more follows, but what follows its number is not zero; read again.",
}


class Note(str):
    """A sentence about a tag number that does not stop its use, with its code ("PIT07")."""

    code: str

    def __new__(cls, code: str, **words: object) -> Note:
        """Write the message of a code with its gaps filled."""
        note = super().__new__(cls, MESSAGES[code].format(**words))
        note.code = code
        return note


class TagRefused(ValueError):
    """A tag number that cannot be: the sentence says why, `code` is the message's ("PIT05")."""

    def __init__(self, code: str, **words: object) -> None:
        super().__init__(MESSAGES[code].format(**words))
        self.code = code


def conflict(animal: str, since: str) -> Note:
    """
    Say that a tag is active on another animal. Both records stand: tags are coded twice in the trade, and moved.

    Parameters
    ----------
    animal : str
        Who carries it by the book.
    since : str
        Since when, as it is to be shown.
    """
    return Note("PIT10", animal=animal, date=since)
