"""The turtles sheet: marked turtles with their codes, tags, sex, origin and measures, all rows or none.

One row is one turtle in hand on one day. A row whose notch code, tag or number the register (or a row above) has
already is the same turtle met again: only its measures are written.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from ponds.cell_values import Choice, Code, Day, PondCode, Text, WholeNumber, YesNo
from ponds.farm import the_farm
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written
from ponds.units import UnitRefused
from stock import turtle_records
from stock.drafts import Draft, MarkDraft, PutOn, SexDraft
from stock.marks import notch, tag
from stock.marks.measures import DEFINITIONS, UNITS_OF, Typed, read_measure
from stock.marks.plausible import Earlier, questions
from stock.marks.sexes import CERTAINTIES, INDETERMINATE, METHODS, SEXES, check_certainty
from stock.models import HeadClass, Mark, Measure, Move, Turtle
from stock.sheet_rows import RowKeys, post_sheet

MEASURE_COLUMNS = {
    "SCL_MAX": "carapace length",
    "SCL_MID": "carapace length midline",
    "PL_MAX": "plastron length",
    "PL_MID": "plastron length midline",
    "CW": "carapace width",
    "SH": "shell height",
    "TAIL": "tail to vent",
    "CLAW": "third claw",
    "MASS": "mass",
}
COLUMN_OF = {
    "happened_on": "day",
    "kind": "kind",
    "pond": "pond",
    "mark": "notch",
    "sex": "sex",
    "batch": "batch",
}
MOST_SAID = 50
Name = tuple[str, str, Any]


@dataclass(frozen=True)
class MeasureCell:
    """A measure of one definition, a unit behind it or mm and g."""

    code: str

    @property
    def shape(self) -> str:
        symbols = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}
        units = [symbols[one] for one in UNITS_OF[DEFINITIONS[self.code].quantity]]
        return f"number, {units[0]} unless one of {', '.join(units[1:])} stands behind it"

    def __call__(self, cell: str) -> Typed:
        try:
            return read_measure(self.code, cell)
        except UnitRefused as refused:
            raise ValueError(str(refused)) from None


@dataclass(frozen=True)
class TagCell:
    """A tag's number in any form it is printed or sent by a reader."""

    shape: str = "text, 15 digits or as the reader sends it"

    def __call__(self, cell: str) -> tag.Tag:
        found = tag.parse(cell)
        if found.is_guess:
            raise ValueError(" ".join(str(note) for note in found.notes) + " Write all 15 digits as text.")
        return found


@dataclass
class Line:
    """One row of the sheet, read: what it puts on, and whose turtle it is once that is known."""

    row: SheetRow
    key: uuid.UUID
    put_on: tuple[PutOn, ...]
    names: tuple[Name, ...]
    typed: tuple[Typed, ...]
    turtle: Turtle | None = None
    first: Line | None = None
    draft: Draft | None = None
    notes: list[str] = field(default_factory=list)


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Mark new turtles through the ledger, and write the measures of all."""
    keys = RowKeys("turtles")
    bad_rows: list[BadRow] = []
    lines = [line for row in rows if (line := _line(row, keys, bad_rows)) is not None]
    if bad_rows:
        raise RowsRefused(bad_rows)
    lines.sort(key=lambda line: line.row["day"])
    _find(lines, bad_rows)
    if bad_rows:
        raise RowsRefused(bad_rows)
    fresh = [line for line in lines if line.turtle is None and line.first is None]
    for line in fresh:
        line.draft = _draft(line)
    written = post_sheet([([line.row], line.draft) for line in fresh if line.draft], COLUMN_OF, by=by)
    made = _made(fresh)
    for line in lines:
        line.turtle = line.turtle or made[(line.first or line).key]
    states = _write_measures(lines, by=by)
    again = [state for line, state in zip(lines, states, strict=True) if line.draft is None]
    return replace(
        written,
        new=written.new + again.count("new"),
        same=written.same + again.count("same"),
        warnings=(*written.warnings, *_asked(lines, made)),
    )


def _line(row: SheetRow, keys: RowKeys, bad_rows: list[BadRow]) -> Line | None:
    """Read one row's marks and sex; what is wrong is added to `bad_rows`."""
    found = len(bad_rows)
    put_on: list[PutOn] = []
    names: list[Name] = []
    is_conflict, site, notes = row["conflict"], row["site"] or "", []
    if row["notch"]:
        scheme = notch.SCHEMES[row["notch scheme"] or "NA16"]
        try:
            mask = notch.mask_of(notch.decode(scheme, notch.normalize(scheme, row["notch"])))
        except ValueError as refused:
            bad_rows.append(row.bad("notch", str(refused)))
        else:
            put_on.append(PutOn("NOTCH", scheme=scheme.key, mask=mask, is_conflict=is_conflict))
            names.append(("NOTCH", row["kind"], mask))
    if row["tag"]:
        put_on.append(
            PutOn("TAG", family=row["tag"].family, tag=row["tag"].code, site=site, is_conflict=is_conflict)
        )
        names.append(("TAG", row["tag"].family, row["tag"].code))
        notes = [str(note) for note in row["tag"].notes]
    if row["other mark"]:
        put_on.append(PutOn("OTHER", text=row["other mark"], site=site))
    _check_sex(row, bad_rows)
    if not put_on and not row["turtle"] and not row["notch"]:
        bad_rows.append(
            row.bad("notch", "A marked turtle carries a mark: give a notch code, a tag, or another.")
        )
    if len(bad_rows) > found:
        return None
    key = keys.key(*(row.text(column.name) for column in TURTLES_SHEET.columns))
    typed = tuple(row[name] for name in MEASURE_COLUMNS.values() if row[name] is not None)
    return Line(row, key, tuple(put_on), tuple(names), typed, notes=notes)


def _check_sex(row: SheetRow, bad_rows: list[BadRow]) -> None:
    """See that class, sex, method and certainty of a row go together."""
    sex = _sex(row)
    try:
        check_certainty(sex.sex, sex.method, sex.certainty)
    except ValueError as refused:
        bad_rows.append(row.bad("certainty" if row["certainty"] else "sex", str(refused)))
    if row["class"] in ("FEMALE", "MALE") and sex.sex not in (row["class"], INDETERMINATE):
        bad_rows.append(
            row.bad("sex", f"The class is {row['class'].lower()} and the sex {SEXES[sex.sex]}: mend one.")
        )


def _sex(row: SheetRow) -> SexDraft:
    of_class = row["class"]
    told = row["sex"] or (of_class if of_class in ("FEMALE", "MALE") else INDETERMINATE)
    return SexDraft(told, row["sex method"] or "NOT_KNOWN", row["certainty"] or "PROBABLE")


def _find(lines: list[Line], bad_rows: list[BadRow]) -> None:
    """Say of each row whose turtle it is: of the register, of a row above, or new."""
    posted = set(Move.objects.filter(key__in=[line.key for line in lines]).values_list("key", flat=True))
    known = _known(lines)
    numbers = {line.row["turtle"] for line in lines if line.row["turtle"]}
    by_number = Turtle.objects.select_related("kind").in_bulk(numbers)
    above: dict[Name, Line] = {}
    for line in lines:
        row = line.row
        if row["turtle"]:
            line.turtle = by_number.get(row["turtle"])
            if line.turtle is None:
                bad_rows.append(
                    row.bad("turtle", f"There is no turtle {row['turtle']}. Leave it empty for a new one.")
                )
                continue
        elif line.key not in posted and not row["conflict"]:
            turtles = {known[name].pk: known[name] for name in line.names if name in known}
            if len(turtles) > 1:
                numbers_said = " and ".join(str(number) for number in sorted(turtles))
                bad_rows.append(
                    row.bad("tag", f"Its marks are on turtles {numbers_said}: two animals. Mend the row, or write yes "
                                   "under conflict.")
                )  # fmt: skip
                continue
            line.turtle = next(iter(turtles.values()), None)
            line.first = next((above[name] for name in line.names if name in above), None)
        _check_same(line, bad_rows)
        if line.turtle is None and line.first is None:
            above.update(dict.fromkeys(line.names, line))


def _check_same(line: Line, bad_rows: list[BadRow]) -> None:
    """See that a turtle met again is of the same kind and sex, and not met twice on a day."""
    row, first = line.row, line.first
    if first is not None:
        if first.row["day"] == row["day"]:
            bad_rows.append(
                row.bad(
                    "notch" if row["notch"] else "tag",
                    f"The same mark stands in row {first.row.number}, the same day.",
                )
            )
        elif (first.row["kind"], first.row["class"]) != (row["kind"], row["class"]):
            bad_rows.append(
                row.bad("class", f"The same mark stands in row {first.row.number}, of another kind or class.")
            )
    if line.turtle is not None:
        sex = _sex(row).sex
        if line.turtle.kind.code != row["kind"]:
            bad_rows.append(row.bad("kind", f"Turtle {line.turtle.pk} is a {line.turtle.kind.common_name}."))
        elif {sex, line.turtle.sex} == {"FEMALE", "MALE"}:
            bad_rows.append(
                row.bad(
                    "class",
                    f"Turtle {line.turtle.pk} is {line.turtle.get_sex_display()} in the register. Mend the row, or its "
                    "sex on its page.",
                )
            )


def _known(lines: Iterable[Line]) -> dict[Name, Turtle]:
    """Return the turtles of the register by the codes that the rows name; two queries."""
    masks: set[int] = set()
    tags: set[str] = set()
    for line in lines:
        for form, _, code in line.names:
            (masks if form == "NOTCH" else tags).add(code)
    rows = Mark.objects.filter(conflict=0).select_related("turtle__kind")
    found: dict[Name, Turtle] = {}
    for mark in rows.filter(mask__in=masks) if masks else ():
        found["NOTCH", mark.turtle.kind.code, mark.mask] = mark.turtle
    for mark in rows.filter(tag__in=tags) if tags else ():
        found["TAG", mark.family, mark.tag] = mark.turtle
    return found


def _draft(line: Line) -> Draft:
    row = line.row
    sex = _sex(row)
    mark = MarkDraft(
        "+1",
        row["kind"],
        row["class"],
        row["pond"],
        put_on=line.put_on,
        sex=sex if sex.sex != INDETERMINATE or row["sex"] else None,
        batch=row["batch"] or "",
    )
    return Draft(
        key=line.key, happened_on=row["day"], pond=row["pond"], marks=(mark,), note=row["note"] or ""
    )


def _made(fresh: list[Line]) -> dict[uuid.UUID, Turtle]:
    """Return the turtles that these rows made, by the key of the row."""
    marks = Mark.objects.filter(move__key__in=[line.key for line in fresh])
    return {mark.move.key: mark.turtle for mark in marks.select_related("move", "turtle__kind") if mark.move}


def _write_measures(lines: list[Line], *, by: Any) -> list[str]:
    """Write every row's measures; return for each "new", or "same" where they stand already or there are none."""
    measured = [line for line in _not_yet_measured(lines) if line.typed and line.turtle is not None]
    handlings = [
        turtle_records.Handling(
            line.turtle, line.typed, line.row["day"], line.key, line.row["measured by"] or ""
        )
        for line in measured
        if line.turtle is not None
    ]
    try:
        written = turtle_records.record_handlings(handlings, by=by, today=the_farm().today())
    except turtle_records.TurtleRowRefused as refused:
        raise RowsRefused([measured[refused.place].row.bad("day", refused.sentence)]) from None
    is_new = {line.key: new for line, (_, new) in zip(measured, written, strict=True)}
    return ["new" if is_new.get(line.key) else "same" for line in lines]


def _not_yet_measured(lines: list[Line]) -> list[Line]:
    """Return the lines without the measures that stand already, same turtle, day and figure: one query."""
    standing = set(
        Measure.objects.standing()
        .filter(turtle__in={line.turtle.pk for line in lines if line.turtle is not None})
        .values_list("turtle", "what", "measured_on", "stored")
    )
    return [
        replace(
            line,
            typed=tuple(
                one
                for one in line.typed
                if line.turtle is None
                or (line.turtle.pk, one.code, line.row["day"], one.stored) not in standing
            ),
        )
        for line in lines
    ]


def _asked(lines: list[Line], made: dict[uuid.UUID, Turtle]) -> list[str]:
    """Return what a person should look at, row by row: odd measures, odd tags."""
    found: list[tuple[int, str]] = []
    earlier: dict[int, list[Earlier]] = {}
    for line in lines:
        found += [(line.row.number, note) for note in line.notes]
        if line.turtle is None or not line.typed:
            continue
        before = earlier.setdefault(line.turtle.pk, [])
        kind, day = line.turtle.kind.scientific_name, line.row["day"]
        asked = questions(kind, _sex(line.row).sex, line.typed, before, on=day)
        found += [(line.row.number, one.sentence) for one in asked]
        before += [Earlier(one.code, one.stored, day) for one in line.typed]
    said = [f"Row {number}: {sentence}" for number, sentence in sorted(found, key=lambda one: one[0])]
    if len(said) > MOST_SAID:
        said = [*said[:MOST_SAID], f"And {len(said) - MOST_SAID} more rows like these."]
    return said


def _measure_columns() -> tuple[Column, ...]:
    examples = {"SCL_MAX": "203", "MASS": "1.4 kg"}
    return tuple(
        Column(name, False, DEFINITIONS[code].meaning, examples.get(code, ""), MeasureCell(code))
        for code, name in MEASURE_COLUMNS.items()
    )


TURTLES_SHEET = Sheet(
    what="turtles",
    title="Marked turtles",
    meaning="One row is one marked turtle in hand on one day; a mark that is known already is the same turtle again.",
    columns=(
        Column("day", True, "The day it was marked or met", "2026-03-14", Day()),
        Column("pond", True, "Code of the pond it was in", "A", PondCode()),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("class", True, "Female, male, unsexed or juvenile", "female", Choice(HeadClass.choices)),
        Column("turtle", False, "Its number in the register, if it has one", "", WholeNumber(1, 10**9)),
        Column("notch", False, "Notch code as its scheme writes it", "BKO", Text(40)),
        Column("notch scheme", False, "NA16 if empty", "NA16", Choice([(key, key) for key in notch.SCHEMES])),
        Column("tag", False, "Microchip or other tag, as printed or sent", "985113007399202", TagCell()),
        Column("other mark", False, "Any other mark, in words", "", Text(40)),
        Column("site", False, "Where on the body tag or mark is", "left hind leg", Text(40)),
        Column("conflict", False, "Yes if another turtle carries the same code", "no", YesNo(), False),
        Column(
            "sex",
            False,
            "Female, male or not to be told; the class if empty",
            "female",
            Choice(SEXES.items()),
        ),
        Column("sex method", False, "How it was told", "foreclaws", Choice(METHODS.items())),
        Column("certainty", False, "Certain, probable or doubtful", "probable", Choice(CERTAINTIES.items())),
        Column("batch", False, "Code of the batch it came with", "", Text(24)),
        *_measure_columns(),
        Column("measured by", False, "Who measured", "", Text(150)),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    makes=("row about a turtle", "rows about turtles"),
    apply=write_rows,
)
