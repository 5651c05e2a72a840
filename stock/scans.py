"""What a tag reader typed at the pond, line by line: which turtle each line is, and what must be said of it."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from django.db.models import Q

from ponds.svg_marks import figure_text
from stock.mark_ends import MISTAKEN, ends_of
from stock.marks import tag
from stock.models import Cell, Mark, Turtle
from stock.turtle_search import is_called, masks_of, number_in

MOST_LINES = 2000
MOST_PONDS_SAID = 30
TO = ("to", "->", ">")
READER_WORDS = ("FDX", "FDXB", "HDX")
OF_A_READER = re.compile(r"[#\d./:,;+TZ-]*\d[#\d./:,;+TZ-]*|[AP]M", re.IGNORECASE)
"""A day, an instant or a running number, as readers write them in columns behind a tag."""
APART = re.compile(r"(.*\S)\s*[;,]\s*([A-Za-z]\w*)")
"""A word set apart from the scan by a comma or a semicolon."""
AWAY = {
    "SOLD": "SOLD", "DIED": "DIED", "DEAD": "DIED", "CULLED": "CULLED", "ESCAPED": "ESCAPED", "BACK": "BACK",
}  # fmt: skip


@dataclass(frozen=True)
class Scan:
    """One turtle in hand: its number, kind, class, and where it goes if that was typed ("" where not)."""

    typed: str
    code: str
    kind: str
    of_class: str
    goes: str = ""


@dataclass
class Scans:
    """All scans of a page in their order: turtles once each, what is asked about them, and what is wrong."""

    scans: list[Scan] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Line:
    """
    A line as typed without where it goes; `whole` and `as_code` are the line read as one notch code.

    `slip` is a last word that is no place to go; `before_slip` is the line read without it.
    """

    typed: str
    goes: str
    number: int | None
    tag: str
    masks: frozenset[int]
    whole: str = ""
    as_code: frozenset[int] = frozenset()
    slip: str = ""
    before_slip: _Line | None = None

    def ids(self, by_mark: Mapping[str | int, set[int]], turtles: Collection[int]) -> set[int]:
        """Return the turtles that the line can mean."""
        found = set(by_mark.get(self.tag, ())) if self.tag else set()
        for mask in self.masks:
            found |= by_mark.get(mask, set())
        return {self.number} if self.number in turtles else found  # type: ignore[arg-type]


def read_scans(
    text: str, pond: str, ponds: Collection[str], *, before: Mapping[int, Cell | None] | None = None
) -> Scans:
    """
    Read scans, one a line; a line may end with where the turtle goes: a pond's code, sold, died, culled or escaped.

    "B K" may be code B going to pond K, or code BK. Where only one of them is on a turtle it is read so, and said
    back; where both are, neither is taken. "B to K" and "BK" have one reading each.

    A code that was typed by mistake never was on that turtle, and means it no more. One that was lost or taken off
    still does, and it is asked whether it is in hand: a code has one turtle only.

    Asks three questions of the database, however many lines there are.

    Parameters
    ----------
    text : str
        As typed: tags in any form, notch codes, or turtles' numbers.
    pond : str
        Where they were scanned.
    ponds : collection of str
        Codes of the ponds a turtle may go to.
    before : mapping, optional
        Of a move being corrected: turtle's id to the cell it stood in before that move.
    """
    found = Scans()
    typed = [line for line in (one.strip() for one in re.split(r"[\r\n]+", text)) if line]
    if len(typed) > MOST_LINES:
        found.faults.append(
            f"{figure_text(len(typed))} lines were scanned; at most {figure_text(MOST_LINES)} fit in one log."
        )
        return found
    lines = [_read_line(line, ponds) for line in typed]
    # Whoever is to go to the pond it is scanned in goes back.
    lines = [replace(line, goes="BACK") if line.goes == pond else line for line in lines]
    read = [*lines, *(line.before_slip for line in lines if line.before_slip)]
    wanted = Q(tag__in={line.tag for line in read if line.tag}) | Q(
        mask__in={mask for line in read for mask in line.masks | line.as_code}
    )
    by_mark, ended = _turtles_by_mark(wanted) if lines else ({}, {})
    ids = {pk for some in by_mark.values() for pk in some} | {line.number for line in read if line.number}
    turtles = {row.pk: row for row in Turtle.objects.filter(pk__in=ids).select_related("kind", "cell__pond")}
    for pk, cell in (before or {}).items():
        if pk in turtles:
            turtles[pk].cell = cell
    seen: dict[int, int] = {}
    for line in lines:
        if line.before_slip is not None and _is_slip(line, by_mark, turtles):
            found.faults.append(
                f"“{line.typed[:60]}”: “{line.slip[:20]}” is no place that a turtle can go to. Behind a scan may stand "
                f"{_places(ponds)}; or nothing, where it went with the rest of its class."
            )
            continue
        _place(line, by_mark, turtles, pond, found, seen)
        _ask_of_ended(line, ended, turtles, found)
    return found


def _turtles_by_mark(
    wanted: Q,
) -> tuple[dict[str | int, set[int]], dict[str | int, dict[int, str]]]:
    """
    Return the turtles that carry each code, and those whose mark of that code ended, with how.

    Where the mark of one stands and that of another was lost or taken off, the code means the one.
    """
    rows = list(Mark.objects.filter(wanted).values_list("pk", "tag", "mask", "turtle"))
    ends = ends_of([row[0] for row in rows]) if rows else {}
    standing: dict[str | int, set[int]] = {}
    ended: dict[str | int, dict[int, str]] = {}
    for pk, code, mask, turtle in rows:
        name = code or mask or 0
        if pk in ends:
            ended.setdefault(name, {})[turtle] = ends[pk]
        else:
            standing.setdefault(name, set()).add(turtle)
    by_mark = dict(standing)
    for name, some in ended.items():
        if name not in standing and (were := {turtle for turtle, end in some.items() if end != MISTAKEN}):
            by_mark[name] = were
    return by_mark, ended


def _ask_of_ended(
    line: _Line,
    ended: Mapping[str | int, Mapping[int, str]],
    turtles: Mapping[int, Turtle],
    found: Scans,
) -> None:
    """Ask about a turtle that was taken for the one in hand by a mark that was lost or taken off."""
    if not found.scans or line.number in turtles:
        return
    last = found.scans[-1]
    names: list[str | int] = [line.tag, *line.masks, *line.as_code]
    for turtle, end in [one for name in names for one in ended.get(name, {}).items()]:
        if (
            turtle in turtles
            and last.code == turtles[turtle].code
            and end != MISTAKEN
            and last.typed in (line.typed[:40], line.whole[:40])
        ):
            word = "lost" if end == "LOST" else "taken off"
            found.asked.append(
                f"“{last.typed}” was noted as {word} on turtle {turtle}. Is it in hand after all? Post, and write "
                "on its page that the mark was read; if another carries it, take the scan off and mark that one."
            )


def _is_slip(line: _Line, by_mark: Mapping[str | int, set[int]], turtles: Collection[int]) -> bool:
    """Say whether a last word that is no place to go was meant as one: the line names a turtle without it."""
    before = line.before_slip
    if before is None:
        return False
    if line.tag and before.tag == line.tag:
        # A reader may send its tag's standard, a day or an instant behind the number.
        return line.slip.upper() not in READER_WORDS and not OF_A_READER.fullmatch(line.slip)
    return not line.ids(by_mark, turtles) and bool(before.ids(by_mark, turtles))


def _places(ponds: Collection[str]) -> str:
    codes = sorted(ponds)
    told = f"{', '.join(codes[:MOST_PONDS_SAID])}{' and so on' if len(codes) > MOST_PONDS_SAID else ''}"
    words = ", ".join(word.lower() for word in AWAY if word != "BACK")
    return f"a pond in use ({told}), {words} or back" if codes else f"{words} or back"


def _read_line(typed: str, ponds: Collection[str]) -> _Line:
    words = typed.split()
    line = _read_words(typed, ponds)
    if line.goes or len(words) < 2:
        return line
    to = len(words) > 2 and words[-2].lower() in TO
    return replace(
        line, slip=words[-1], before_slip=_read_words(" ".join(words[: -2 if to else -1]), frozenset())
    )


def _read_words(typed: str, ponds: Collection[str]) -> _Line:
    if (told := APART.fullmatch(typed)) and (told[2].upper() in AWAY or told[2].upper() in ponds):
        typed = f"{told[1]} {told[2]}"
    goes, words, whole = "", typed.split(), ""
    if len(words) > 1 and (words[-1].upper() in AWAY or words[-1].upper() in ponds):
        goes = AWAY.get(words[-1].upper(), words[-1].upper())
        if len(words) > 2 and words[-2].lower() in TO:
            words = words[:-1]
        else:
            whole = typed
        typed = " ".join(words[:-1])
    number = number_in(typed)
    if number is not None and is_called(typed):
        return _Line(typed, goes, number, "", frozenset())
    try:
        code = "" if number is not None else tag.parse(typed).code
    except tag.TagRefused:
        code = ""
    masks = frozenset() if code else frozenset(masks_of(typed[:60]))
    as_code = frozenset(masks_of(whole[:60])) if whole and not code else frozenset()
    return _Line(typed, goes, number, code, masks, whole, as_code)


def _two_readings(
    line: _Line, ids: set[int], by_mark: Mapping[str | int, set[int]], found: Scans
) -> _Line | None:
    """Return a line that can be read as one code too as it is to be read, and say so; None where both are in use."""
    as_one = {pk for mask in line.as_code for pk in by_mark.get(mask, ())}
    together = "".join(line.whole.split()).upper()
    away = f"pond {line.goes}" if line.goes == line.whole.split()[-1].upper() else line.goes.lower()
    way = f"“{line.typed} to {line.whole.split()[-1]}”"
    if ids and as_one:
        found.faults.append(
            f"“{line.whole[:40]}” can be read two ways: {_turtles(ids)}, code {line.typed}, going to {away}; or "
            f"{_turtles(as_one)}, code {together}. Write {way} for the first, or “{together}” for the second."
        )
        return None
    if as_one:
        found.asked.append(
            f"“{line.whole[:40]}” is read as code {together}, {_turtles(as_one)}. If {line.typed} in hand goes to "
            f"{away}, write {way}."
        )
        return replace(line, typed=line.whole, goes="", number=None, masks=line.as_code)
    if ids:
        found.asked.append(
            f"“{line.whole[:40]}” is read as {_turtles(ids)}, code {line.typed}, going to {away}. If the code in "
            f"hand is {together}, write it together."
        )
    return line


def _who(turtle: Turtle) -> str:
    pond = turtle.cell.pond if turtle.cell is not None else None
    return f"{turtle.pk}: {turtle.kind.common_name}, {f'pond {pond.code}' if pond else 'in no pond'}."


def _turtles(ids: Collection[int]) -> str:
    return f"turtle{'' if len(ids) == 1 else 's'} {', '.join(map(str, sorted(ids)))}"


def _place(
    line: _Line,
    by_mark: dict[str | int, set[int]],
    turtles: dict[int, Turtle],
    pond: str,
    found: Scans,
    seen: dict[int, int],
) -> None:
    ids = set(by_mark.get(line.tag, ())) if line.tag else set()
    for mask in line.masks:
        ids |= by_mark.get(mask, set())
    if line.as_code:
        read = _two_readings(line, ids, by_mark, found)
        if read is None:
            return
        line, ids = read, {pk for mask in read.masks for pk in by_mark.get(mask, ())}
    shown = (line.whole if line.as_code and not ids else line.typed)[:40]
    if line.number in turtles:
        # A number is a turtle's number first; some schemes write their notch codes as numbers too.
        if others := ids - {line.number}:
            found.asked.append(
                f"“{shown}” is read as turtle {line.number}; as a notch code it is on turtle "
                f"{', '.join(map(str, sorted(others)))}. If that one is in hand, type its number instead."
            )
        ids = {line.number}  # type: ignore[arg-type]
    elif line.number is not None and len(ids) == 1:
        found.asked.append(
            f"No turtle has the number {line.number}; as a notch code “{shown}” is on turtle {min(ids)}, and is read "
            "so. Look whether that one was in hand."
        )
    if not ids:
        found.unknown.append(shown)
        found.asked.append(
            f"“{shown}” is on no turtle of the register: read it again, or post without it and mark the turtle "
            "under Turtles. The scan is kept in the note."
        )
        return
    if len(ids) > 1:
        found.faults.append(
            f"“{shown}” is on turtles {', '.join(map(str, sorted(ids)))}: type the number of the one in hand instead. "
            f"{' '.join(_who(turtles[pk]) for pk in sorted(ids)[:5])}"
        )
        return
    turtle = turtles[ids.pop()]
    if turtle.pk in seen:
        place = seen[turtle.pk]
        if line.goes and not found.scans[place].goes:
            was = found.scans[place]
            found.scans[place] = Scan(was.typed, was.code, was.kind, was.of_class, line.goes)
        found.notes.append(f"Turtle {turtle.pk} was scanned more than once; it is counted once.")
        return
    cell = turtle.cell
    stands = cell.pond if cell is not None else None
    if cell is not None and stands is None:
        found.asked.append(
            f"Turtle {turtle.pk} (“{shown}”) was booked {cell.get_outside_display()} before. If it is alive in "
            "your hands, post: it comes back, and its record says so."
        )
    elif stands is not None and stands.code != pond:
        found.asked.append(
            f"Turtle {turtle.pk} (“{shown}”) stands in pond {stands.code} by the register. Post, and it is found "
            f"here in pond {pond}."
        )
    elif cell is None:
        found.notes.append(f"Turtle {turtle.pk}: its whereabouts were not known; now they are.")
    by_sex = turtle.sex if turtle.sex in ("FEMALE", "MALE") else "UNSEXED"
    seen[turtle.pk] = len(found.scans)
    found.scans.append(
        Scan(shown, turtle.code, turtle.kind.code, cell.of_class if cell is not None else by_sex, line.goes)
    )
