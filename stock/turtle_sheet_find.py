"""Whose turtle each row of the turtles sheet is: of the register, of a row above, or new."""

from __future__ import annotations

import re
import uuid
from collections import defaultdict
from collections.abc import Iterable

from ponds.sheets import BadRow
from stock.marks import notch
from stock.models import Mark, MarkEvent, MarkStep, Move, Turtle
from stock.sheet_rows import ROW_KEYS
from stock.turtle_sheet_lines import Line, Name, said_together

# As `animal_name` writes it. Anything else under "animal" binds rows of its own sheet only.
_ANIMAL = re.compile(r"T-(\d{1,9})-([0-9a-f]{8})", re.ASCII)


def animal_name(turtle: int, first_move: uuid.UUID | None) -> str:
    """Return what a turtle is called in a sheet that goes out: its number, and the move that first marked it."""
    return f"T-{turtle}-{first_move.hex[:8] if first_move else '00000000'}"


def animal_key(line: Line) -> uuid.UUID:
    """Return the key of the move that makes a row's turtle."""
    # Sheets that go out later hold more rows of the same animal: it is made once all the same.
    return _key_of(line.animal) if _ANIMAL.fullmatch(line.animal) else line.key


def _key_of(name: str) -> uuid.UUID:
    return uuid.uuid5(ROW_KEYS, f"turtles|animal|{name}")


def called_so(names: Iterable[str]) -> dict[str, Turtle]:
    """Return the turtles of the register that a sheet which went out calls so, here or made from it; three queries."""
    named = {name: int(found[1]) for name in names if (found := _ANIMAL.fullmatch(name))}
    called: dict[str, int] = {}
    firsts = MarkStep.objects.filter(turtle__in=named.values()).order_by("-pk")
    for number, key in dict(firsts.values_list("turtle", "move__key")).items():
        called[animal_name(number, key)] = number
    made = made_by({_key_of(name) for name in named})
    turtles = Turtle.objects.select_related("kind", "cell__pond").in_bulk({*called.values(), *made.values()})
    found_as = {name: called.get(name) or made.get(_key_of(name)) for name in named}
    return {name: turtles[number] for name, number in found_as.items() if number in turtles}


def made_by(keys: Iterable[uuid.UUID]) -> dict[uuid.UUID, int]:
    """Return which turtles the moves of these keys made."""
    steps = MarkStep.objects.filter(move__key__in=set(keys), how="MARKED")
    return dict(steps.values_list("move__key", "turtle"))


def find(lines: list[Line], bad_rows: list[BadRow]) -> None:
    """Say of each row, in the order of their days, whose turtle it is; what cannot be told is added to `bad_rows`."""
    posted = set(Move.objects.filter(key__in=[line.key for line in lines]).values_list("key", flat=True))
    known = _known(lines)
    numbers = {line.row["turtle"] for line in lines if line.row["turtle"]}
    by_number = Turtle.objects.select_related("kind", "cell__pond").in_bulk(numbers)
    _find_animals(lines)
    above: dict[Name, list[Line]] = defaultdict(list)
    for line in lines:
        row = line.row
        if row["turtle"]:
            line.turtle, line.first = by_number.get(row["turtle"]), None
            if line.turtle is None:
                bad_rows.append(
                    row.bad("turtle", f"There is no turtle {row['turtle']}. Leave it empty for a new one.")
                )
                continue
        elif not (line.animal or row["conflict"] or line.key in posted) and not _find_by_marks(
            line, known, above, bad_rows
        ):
            continue
        _check_same(line, bad_rows)
        if line.turtle is None and line.first is None:
            for name in line.names:
                above[name].append(line)


def _find_animals(lines: list[Line]) -> None:
    """Bind the rows that name one animal: to its turtle of the register, else to the row that marks it first."""
    groups: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        if line.animal:
            groups[line.animal].append(line)
    if not groups:
        return
    leads = {name: next((one for one in some if one.put_on), some[0]) for name, some in groups.items()}
    for lead in leads.values():
        lead.move_key = animal_key(lead)
    turtles = called_so(groups)
    # A word of the sheet's own is known by the row that made its animal, when the same sheet comes again.
    others = {lead.marked_by: name for name, lead in leads.items() if name not in turtles}
    made = made_by(others)
    rows = Turtle.objects.select_related("kind", "cell__pond").in_bulk(made.values())
    turtles |= {others[key]: rows[number] for key, number in made.items()}
    for name, some in groups.items():
        lead = leads[name]
        turtle = turtles.get(name)
        for line in some:
            line.turtle = turtle
            line.first = lead if turtle is None and line is not lead else None


def _find_by_marks(
    line: Line, known: dict[Name, dict[int, Turtle]], above: dict[Name, list[Line]], bad_rows: list[BadRow]
) -> bool:
    """Find a row's turtle by its codes; False where they do not tell one."""
    row = line.row
    for name in line.names:
        if len(carriers := known.get(name, {})) > 1:
            bad_rows.append(
                row.bad(
                    "turtle",
                    f"Turtles {said_together(list(carriers))} carry this {_form(name)}. Write under turtle the "
                    "number of the one in hand.",
                )
            )
            return False
        rows = {id(one.first or one): one.row.number for one in above[name]}
        if len(rows) + len(carriers) > 1:
            others = "".join(f" and of turtle {number}" for number in carriers)
            bad_rows.append(
                row.bad(
                    "animal",
                    f"This {_form(name)} is of the turtle of row {said_together(list(rows.values()))}{others}. Write "
                    "the same word under animal in the rows of one animal.",
                )
            )
            return False
    turtles = {pk: turtle for name in line.names for pk, turtle in known.get(name, {}).items()}
    if len(turtles) > 1:
        bad_rows.append(
            row.bad(
                "tag",
                f"Its marks are on turtles {said_together(list(turtles))}: two animals. Mend the row, or write yes "
                "under conflict.",
            )
        )
        return False
    line.turtle = next(iter(turtles.values()), None)
    if line.turtle is None:
        line.first = next((above[name][0] for name in line.names if above[name]), None)
    return True


def _form(name: Name) -> str:
    return f"tag ({name[2]})" if name[0] == "TAG" else f"notch code ({' '.join(notch.positions_in(name[2]))})"


def _check_same(line: Line, bad_rows: list[BadRow]) -> None:
    """See that a turtle met again is of the same kind and sex, and not met twice on a day."""
    row, first = line.row, line.first
    if first is not None:
        if first.row["day"] == row["day"] and not line.animal:
            bad_rows.append(
                row.bad(
                    "notch" if row["notch"] else "tag",
                    f"The same mark stands in row {first.row.number}, the same day.",
                )
            )
        elif first.row["kind"] != row["kind"] or (first.row["class"] != row["class"] and not line.animal):
            bad_rows.append(
                row.bad("class", f"The same mark stands in row {first.row.number}, of another kind or class.")
            )
    if line.turtle is not None:
        if line.turtle.kind.code != row["kind"]:
            bad_rows.append(row.bad("kind", f"Turtle {line.turtle.pk} is a {line.turtle.kind.common_name}."))
        elif {line.sex.sex, line.turtle.sex} == {"FEMALE", "MALE"} and not line.animal:
            bad_rows.append(
                row.bad(
                    "class",
                    f"Turtle {line.turtle.pk} is {line.turtle.get_sex_display()} in the register. Mend the row, or its "
                    "sex on its page.",
                )
            )


def _known(lines: Iterable[Line]) -> dict[Name, dict[int, Turtle]]:
    """Return every turtle of the register that has or had the codes which the rows name; three queries."""
    masks: set[int] = set()
    tags: set[str] = set()
    for line in lines:
        for form, _, code in line.names:
            (masks if form == "NOTCH" else tags).add(code)
    rows = Mark.objects.select_related("turtle__kind", "turtle__cell__pond").order_by("turtle")
    marks = [
        *(rows.filter(mask__in=masks) if masks else ()),
        *(rows.filter(tag__in=tags) if tags else ()),
    ]
    mistaken = set(
        MarkEvent.objects.filter(mark__in=[mark.pk for mark in marks], what="MISTAKEN")
        .exclude(move__reversed_by__isnull=False)
        .values_list("mark", flat=True)
    )
    found: dict[Name, dict[int, Turtle]] = defaultdict(dict)
    for mark in marks:
        if mark.pk not in mistaken:
            name = (
                ("NOTCH", mark.turtle.kind.code, mark.mask)
                if mark.form == "NOTCH"
                else ("TAG", mark.family, mark.tag)
            )
            found[name][mark.turtle_id] = mark.turtle
    return found
