"""Text as it is compared: case and accents folded the same way on every database. Imports no Django."""

import unicodedata


def name_key(text: str) -> str:
    """Return `text` for comparing: NFKD without accents, casefolded, spaces single."""
    decomposed = unicodedata.normalize("NFKD", text)
    plain = "".join(letter for letter in decomposed if not unicodedata.combining(letter))
    return " ".join(plain.casefold().split())


def next_pond_code(used: list[str]) -> str:
    """Return the first letter code after the last one used: A to Z, then AA, AB and on."""
    if not used:
        return "A"
    last = max(used, key=lambda code: (len(code), code))
    letters = list(last)
    place = len(letters) - 1
    while place >= 0:
        if letters[place] != "Z":
            letters[place] = chr(ord(letters[place]) + 1)
            return "".join(letters)
        letters[place] = "A"
        place -= 1
    return "A" * (len(last) + 1)
