"""What may happen to a sheet on its way here: each change is named, and says what must come of it."""

from __future__ import annotations

import copy
import csv
import datetime as dt
import io
import random
from collections.abc import Callable
from dataclasses import dataclass

import openpyxl

from ponds.cell_values import Choice, Code, Day, Number, PondCode, Text, WholeNumber
from ponds.sheets import Sheet
from tests.sheet_faults.valid import Grid

LOADS, REFUSED, EITHER = "loads", "refused", "either"


@dataclass(frozen=True)
class Case:
    """A file and what must come of it: each of `places` (row, heading) must be named, or one of them if not strict."""

    name: str
    content: bytes
    expect: str
    places: tuple[tuple[int, str], ...] = ()
    is_strict: bool = True
    days: str = ""


Change = Callable[[Sheet, Grid, random.Random], Case | None]
HARMLESS: dict[str, Change] = {}
FAULTS: dict[str, Change] = {}


def harmless(name: str):
    def keep(change: Change) -> Change:
        HARMLESS[name] = change
        return change

    return keep


def fault(name: str):
    def keep(change: Change) -> Change:
        FAULTS[name] = change
        return change

    return keep


def csv_of(grid: Grid, **options) -> bytes:
    written = io.StringIO()
    csv.writer(written, **options).writerows(grid)
    return written.getvalue().encode()


def book_of(grid: Grid, change: Callable[[openpyxl.Workbook], None] = lambda book: None) -> bytes:
    book = openpyxl.Workbook()
    for row in grid:
        book.active.append(row)
    change(book)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _columns(
    sheet: Sheet, grid: Grid, sort: type | tuple[type, ...], *, filled: bool = True
) -> list[tuple[int, int]]:
    """Return (row, place) of every cell whose column is read by `sort`."""
    by_name = {column.name: column for column in sheet.columns}
    return [
        (at, place)
        for place, heading in enumerate(grid[0])
        if isinstance(by_name[heading].parse, sort)
        for at in range(1, len(grid))
        if grid[at][place] or not filled
    ]


def _put(grid: Grid, cells: list[tuple[int, int]], text: str, chance: random.Random, **more) -> Case | None:
    """Write `text` into one of the cells; it must be refused there."""
    if not cells:
        return None
    at, place = chance.choice(cells)
    grid[at][place] = text
    return Case("sheet.csv", csv_of(grid), REFUSED, ((at + 1, grid[0][place]),), **more)


# ---- harmless ----


@harmless("columns in another order")
def _(sheet, grid, chance):
    order = chance.sample(range(len(grid[0])), len(grid[0]))
    return Case("sheet.csv", csv_of([[row[place] for place in order] for row in grid]), LOADS)


@harmless("headings in capitals, with other spaces and underscores")
def _(sheet, grid, chance):
    ways = (str.upper, str.title, lambda text: f"  {text} ", lambda text: text.replace(" ", "_"),
            lambda text: text.replace(" ", "  "), lambda text: f"{text}*", lambda text: f"{text}:")  # fmt: skip
    grid[0] = [chance.choice(ways)(heading) for heading in grid[0]]
    return Case("sheet.csv", csv_of(grid), LOADS)


@harmless("another encoding")
def _(sheet, grid, chance):
    text = csv_of(grid).decode()
    return Case("sheet.csv", text.encode(chance.choice(("utf-8-sig", "utf-16", "cp1252"))), LOADS)


@harmless("another delimiter, quotes or line ends")
def _(sheet, grid, chance):
    content = csv_of(
        grid,
        delimiter=chance.choice(",;\t"),
        quoting=chance.choice((csv.QUOTE_ALL, csv.QUOTE_MINIMAL)),
        lineterminator=chance.choice(("\n", "\r\n", "\r")),
    )
    return Case(chance.choice(("sheet.csv", "SHEET.CSV", "sheet.txt")), content, LOADS)


@harmless("a note of the delimiter before the headings")
def _(sheet, grid, chance):
    return Case("sheet.csv", b"sep=;\r\n" + csv_of(grid, delimiter=";"), LOADS)


@harmless("blank rows and columns at the end")
def _(sheet, grid, chance):
    wide = [row + [""] * chance.randint(1, 4) for row in grid]
    wide += [[chance.choice(("", " ", "\u00a0"))] * len(wide[0]) for _ in range(chance.randint(1, 40))]
    return Case("sheet.csv", csv_of(wide), LOADS)


@harmless("blank rows and remarks in between")
def _(sheet, grid, chance):
    for _ in range(chance.randint(1, 5)):
        line = chance.choice(([""] * len(grid[0]), ["# of the notebook"], ["#"], ["# seen", "by Wren"]))
        grid.insert(chance.randint(1, len(grid)), line)
    return Case("sheet.csv", csv_of(grid), LOADS)


@harmless("spaces around cells")
def _(sheet, grid, chance):
    around = ("", " ", "  ", "\t", "\u00a0")
    rows = [[f"{chance.choice(around)}{cell}{chance.choice(around)}" for cell in row] for row in grid]
    return Case("sheet.csv", csv_of(rows, quoting=csv.QUOTE_ALL), LOADS)


def _typed(sheet: Sheet, grid: Grid) -> list[list]:
    """Return the rows as a spreadsheet program keeps them: days as days, numbers as numbers."""
    rows: list[list] = [list(row) for row in grid]
    for at, place in _columns(sheet, grid, Day):
        rows[at][place] = dt.datetime.fromisoformat(grid[at][place])
    for at, place in _columns(sheet, grid, (WholeNumber, Number)):
        rows[at][place] = float(grid[at][place])
    return [[None if cell == "" else cell for cell in row] for row in rows]


@harmless("a workbook with days and numbers as such")
def _(sheet, grid, chance):
    return Case("sheet.xlsx", book_of(_typed(sheet, grid)), LOADS)


@harmless("a workbook with a hidden sheet and an empty one")
def _(sheet, grid, chance):
    def change(book):
        book.create_sheet("old").append(["not", "this"])
        book["old"].sheet_state = chance.choice(("hidden", "veryHidden"))
        book.create_sheet("empty")

    return Case("sheet.xlsx", book_of(_typed(sheet, grid), change), LOADS)


@harmless("days written so that only one can be meant")
def _(sheet, grid, chance):
    ways = ("%d %B %Y", "%d-%b-%Y", "%B %d, %Y", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%G-W%V-%u", "%Y-%j",
            "%Y-%m-%d 00:00:00")  # fmt: skip
    for at, place in _columns(sheet, grid, Day):
        day = dt.date.fromisoformat(grid[at][place])
        certain = ("%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y") if day.day > 12 or day.day == day.month else ()
        grid[at][place] = day.strftime(chance.choice((*ways, *certain)))
    return Case("sheet.csv", csv_of(grid), LOADS)


@harmless("days in an order that was said")
def _(sheet, grid, chance):
    order, way = chance.choice((("day-first", "%d/%m/%Y"), ("month-first", "%m/%d/%Y")))
    cells = _columns(sheet, grid, Day)
    for at, place in cells:
        grid[at][place] = dt.date.fromisoformat(grid[at][place]).strftime(way)
    return Case("sheet.csv", csv_of(grid), LOADS, days=order) if cells else None


@harmless("columns without anything in them left out")
def _(sheet, grid, chance):
    needed = {column.name for column in sheet.columns if column.needed}
    kept = [at for at, name in enumerate(grid[0]) if name in needed or any(row[at] for row in grid[1:])]
    return Case("sheet.csv", csv_of([[row[at] for at in kept] for row in grid]), LOADS)


@harmless("whole numbers with a point and zeros")
def _(sheet, grid, chance):
    for at, place in _columns(sheet, grid, WholeNumber):
        grid[at][place] += chance.choice(("", ".", ".0", ".00"))
    return Case("sheet.csv", csv_of(grid), LOADS)


# ---- faults of one cell ----


@fault("a needed cell is empty")
def _(sheet, grid, chance):
    needed = {column.name for column in sheet.columns if column.needed}
    cells = [
        (at, place) for at in range(1, len(grid)) for place, name in enumerate(grid[0]) if name in needed
    ]
    return _put(grid, cells, "", chance)


def _cell_fault(
    name: str,
    sort: type | tuple[type, ...],
    texts: tuple[str, ...],
    *,
    is_strict: bool = True,
    not_in: tuple[str, ...] = (),
) -> None:
    @fault(name)
    def _(sheet, grid, chance):
        if sheet.what in not_in:
            return None
        cells = _columns(sheet, grid, sort, filled=is_strict)
        return _put(grid, cells, chance.choice(texts), chance, is_strict=is_strict)


NUMBERS = (WholeNumber, Number)
_cell_fault("words for a number", NUMBERS, ("many", "about 30", "?", "n/a", "-", "ten", "3 or 4", "~20"))
_cell_fault("a number below 0", NUMBERS, ("-1", "-300", "-0.5"))
_cell_fault("a number far too big", NUMBERS, ("99999999999", "123456789012345678901234567890", "1e9"))
_cell_fault("half a head", WholeNumber, ("2.5", "0.1", "1/2", "12.0001"))
_cell_fault("a comma in a number", NUMBERS, ("1,200", "2,5", "1.200,50", "12,"))
_cell_fault("a unit where none belongs", NUMBERS, ("12 heads", "3 rods", "40%", "12 kg"))
_cell_fault(
    "a number in letters of other scripts", NUMBERS, ("\u0661\u0662", "\uff11\uff12", "\u00b2", "\u216b")
)
_cell_fault(
    "a formula as text", (*NUMBERS, Day), ("=1+2", "=SUM(A1:A9)", "+1+2", "@A1", "=cmd|' /C calc'!A0")
)
_cell_fault(
    "a day not in the calendar", Day, ("2025-02-30", "2025-13-01", "31/04/2025", "2023-02-29", "2025-W60-1")
)
_cell_fault("a day that may be two", Day, ("03/04/2026", "3.4.2025", "12-11-2025", "01/02/2024"))
_cell_fault("a year of two digits", Day, ("14/05/25", "5.14.25", "14 May 25", "25-05-14"))
_cell_fault("a day as a bare number", Day, ("45791", "45791.0", "46156"))
_cell_fault("no day at all", Day, ("spring", "yesterday", "2025", "May", "?", "2025-05-14 08:30", "0"))
_cell_fault("a day to come", Day, ("2099-01-13", "31 December 2099"), is_strict=False)
_cell_fault("a day long ago", Day, ("0001-01-01", "1849-05-14", "1066-10-14"))
_cell_fault("a pond that is none", PondCode, ("ZZ", "QQQ"), is_strict=False, not_in=("ponds",))
_cell_fault("a pond's code with more in it", PondCode, ("A1", "pond A", "A-B", "ABCD", "\u0410", "*"))
_cell_fault("a kind that is none", Code, ("toad", "newt-9"), is_strict=False, not_in=("kinds",))
_cell_fault(
    "a kind's code with more in it", Code, ("Red Slider", "slider!", "-slider", "slider--x", "\u0455lider")
)
_cell_fault("a word that is not one of the list", Choice, ("perhaps", "femal", "M/F", "?", "12", "0"))
_cell_fault("too many letters", Text, ("x" * 5000, "long " * 1000))
_cell_fault("a letter that cannot be printed", Text, ("a\x07b", "bell\x1b[31m", "\x7f"))
_cell_fault(
    "an error of a spreadsheet",
    (Text, *NUMBERS, Day, PondCode, Code),
    ("#REF!", "#N/A", "#VALUE!", "#DIV/0!"),
)


# ---- faults of rows and headings ----


@fault("a needed column is missing")
def _(sheet, grid, chance):
    needed = [column.name for column in sheet.columns if column.needed]
    name = chance.choice(needed)
    place = grid[0].index(name)
    rows = [[cell for at, cell in enumerate(row) if at != place] for row in grid]
    return Case("sheet.csv", csv_of(rows), REFUSED, ((1, name),))


@fault("a heading that is none")
def _(sheet, grid, chance):
    place, name = (
        chance.randrange(len(grid[0])),
        chance.choice(("colour", "heads 2", "=1+1", "day (UTC)", "\u041f")),
    )
    grid[0][place] = name
    return Case("sheet.csv", csv_of(grid), REFUSED, ((1, name),))


@fault("a heading twice")
def _(sheet, grid, chance):
    place = chance.randrange(len(grid[0]))
    name = grid[0][place]
    rows = [[*row, cell] for row, cell in zip(grid, [name, *(row[place] for row in grid[1:])], strict=True)]
    return Case("sheet.csv", csv_of(rows), REFUSED, ((1, name),))


@fault("a cell beside the headings")
def _(sheet, grid, chance):
    at = chance.randrange(1, len(grid))
    grid[at] = [*grid[at], *[""] * chance.randint(0, 3), "stray"]
    return Case("sheet.csv", csv_of(grid), REFUSED, ((at + 1, f"column {len(grid[at])}"),))


@fault("a row that looks like a remark")
def _(sheet, grid, chance):
    name = grid[0][0]
    at = chance.randrange(1, len(grid))
    grid[at][0] = chance.choice(("#3", "#REF!", "#A", "##"))
    is_text = isinstance({column.name: column for column in sheet.columns}[name].parse, Text)
    return None if is_text else Case("sheet.csv", csv_of(grid), REFUSED, ((at + 1, name),))


@fault("a row moved one cell to the right")
def _(sheet, grid, chance):
    at = chance.randrange(1, len(grid))
    grid[at] = ["", *grid[at]]
    first = grid[0][0]
    return Case("sheet.csv", csv_of(grid), REFUSED, ((at + 1, first),))


@fault("two rows at odds, or one said twice")
def _(sheet, grid, chance):
    if sheet.what not in ("kinds", "ponds", "stock", "hauls"):
        return None
    at = chance.randrange(1, len(grid))
    grid.append(list(grid[at]))
    return Case("sheet.csv", csv_of(grid), REFUSED, ((len(grid), ""), (at + 1, "")), is_strict=False)


@fault("two faults in two rows")
def _(sheet, grid, chance):
    needed = [place for place, name in enumerate(grid[0]) if {c.name: c for c in sheet.columns}[name].needed]
    rows = chance.sample(range(1, len(grid)), 2)
    places = [chance.choice(needed) for _ in rows]
    for at, place in zip(rows, places, strict=True):
        grid[at][place] = ""
    return Case(
        "sheet.csv",
        csv_of(grid),
        REFUSED,
        tuple((at + 1, grid[0][p]) for at, p in zip(rows, places, strict=True)),
    )


# ---- faults of the file ----


@fault("merged cells")
def _(sheet, grid, chance):
    at = chance.randrange(2, len(grid) + 1)
    return Case(
        "sheet.xlsx", book_of(grid, lambda book: book.active.merge_cells(f"A{at}:A{at + 1}")), REFUSED
    )


@fault("a formula without a result")
def _(sheet, grid, chance):
    at, place = chance.randrange(2, len(grid) + 1), chance.randrange(1, len(grid[0]) + 1)
    return Case("sheet.xlsx", book_of(grid, lambda book: book.active.cell(at, place, "=1+2")), REFUSED)


@fault("a hidden row or column")
def _(sheet, grid, chance):
    def change(book):
        if chance.random() < 0.5:
            book.active.row_dimensions[chance.randrange(2, len(grid) + 1)].hidden = True
        else:
            book.active.column_dimensions["A"].hidden = True

    return Case("sheet.xlsx", book_of(grid, change), REFUSED)


@fault("two sheets filled")
def _(sheet, grid, chance):
    return Case("sheet.xlsx", book_of(grid, lambda book: book.create_sheet("more").append(["x"])), REFUSED)


@fault("headings alone, or nothing")
def _(sheet, grid, chance):
    content = chance.choice(
        (csv_of(grid[:1]), b"\n\n\n", b"\xef\xbb\xbf", b",,,\n,,,\n", csv_of([["# only", "this"]]))
    )
    return Case("sheet.csv", content, REFUSED)


@fault("a NUL, or letters that are not known")
def _(sheet, grid, chance):
    content = csv_of(grid)
    at = chance.randrange(len(content))
    return Case("sheet.csv", content[:at] + chance.choice((b"\0", b"\x81\xff\x8d")) + content[at:], REFUSED)


@fault("a file of another sort")
def _(sheet, grid, chance):
    name, content = chance.choice(
        (
            ("sheet.xls", csv_of(grid)),
            ("sheet.xlsx", csv_of(grid)),
            ("sheet.csv", book_of(grid)),
            ("sheet", csv_of(grid)),
        )
    )
    return Case(name, content, REFUSED)


@fault("a quote that is not closed")
def _(sheet, grid, chance):
    grid = copy.deepcopy(grid)
    lines = csv_of(grid, lineterminator="\n").split(b"\n")
    at = chance.randrange(1, len(grid))
    lines[at] = b'"' + lines[at]
    return Case("sheet.csv", b"\n".join(lines), REFUSED)


@fault("cut off, or bytes changed")
def _(sheet, grid, chance):
    name, content = chance.choice((("sheet.csv", csv_of(grid)), ("sheet.xlsx", book_of(grid))))
    changed = bytearray(content[: chance.randrange(1, len(content))] if chance.random() < 0.3 else content)
    for _ in range(chance.randint(1, 20)):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return Case(name, bytes(changed), EITHER)


@fault("cells of two columns changed about")
def _(sheet, grid, chance):
    at = chance.randrange(1, len(grid))
    first, second = chance.sample(range(len(grid[0])), 2)
    grid[at][first], grid[at][second] = grid[at][second], grid[at][first]
    return Case("sheet.csv", csv_of(grid), EITHER)
