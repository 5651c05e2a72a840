"""Reading sheet files: encodings, delimiters, workbooks, and everything that is refused."""

import datetime as dt
import io
import tracemalloc
import zipfile

import openpyxl
import pytest

from ponds.sheet_files import MOST_BYTES, SheetUnreadable, read_rows


def workbook(rows) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def repacked(content: bytes, changes: dict[str, bytes]) -> bytes:
    """Return a workbook with some members replaced or added."""
    written = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for member in old.infolist():
            if member.filename not in changes:
                new.writestr(member.filename, old.read(member))
        for name, inside in changes.items():
            new.writestr(name, inside)
    return written.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        "code,name\nA,Étang\n".encode(),
        "code,name\nA,Étang\n".encode("utf-8-sig"),
        "code,name\r\nA,Étang\r\n".encode("cp1252"),
        "code;name\nA;Étang\n".encode(),
        "code\tname\nA\tÉtang\n".encode(),
        "code\tname\nA\tÉtang\n".encode("utf-16"),
        '"code","name"\n"A","Étang"\n'.encode(),
        "code , name\n A , Étang \n".encode(),
    ],
    ids=["utf-8", "bom", "windows-1252", "semicolons", "tabs", "utf-16", "quoted", "spaces"],
)
def test_csv_is_read_whatever_program_wrote_it(content):
    assert read_rows("ponds.csv", content) == [(1, ["code", "name"]), (2, ["A", "Étang"])]


def test_the_delimiter_note_of_a_spreadsheet_program_counts_as_a_row():
    rows = read_rows("ponds.csv", b"sep=;\ncode;name\nA;Levee\n")
    assert rows == [(2, ["code", "name"]), (3, ["A", "Levee"])]


def test_rows_keep_the_numbers_a_spreadsheet_shows():
    rows = read_rows("ponds.csv", b'code,note\n\nA,"two\nlines"\n,\nB,x\n')
    assert rows == [(1, ["code", "note"]), (3, ["A", "two\nlines"]), (5, ["B", "x"])]


def test_a_workbook_gives_what_would_be_typed():
    content = workbook(
        [
            ["code", "day", "heads", "acres", "ok"],
            ["A", dt.date(2026, 5, 1), 12, 2.5, True],
            ["B", dt.datetime.fromisoformat("2026-05-01T08:30"), 3.0, 0.1 + 0.2, None],
        ]
    )
    assert read_rows("ponds.xlsx", content) == [
        (1, ["code", "day", "heads", "acres", "ok"]),
        (2, ["A", "2026-05-01", "12", "2.5", "yes"]),
        (3, ["B", "2026-05-01 08:30:00", "3", "0.3"]),
    ]


def test_a_quote_put_on_by_our_export_is_taken_off_again():
    assert read_rows("x.csv", b"note\n'=1+1\n'tis high\n-3\n") == [
        (1, ["note"]),
        (2, ["=1+1"]),
        (3, ["'tis high"]),
        (4, ["-3"]),
    ]


def test_a_lying_dimension_does_not_widen_or_lengthen_a_sheet():
    content = workbook([["code"], ["A"]])
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        sheet = packed.read("xl/worksheets/sheet1.xml")
    lying = sheet.replace(b'ref="A1:A2"', b'ref="A1:XFD1048576"')
    assert lying != sheet
    assert read_rows("x.xlsx", repacked(content, {"xl/worksheets/sheet1.xml": lying})) == [
        (1, ["code"]),
        (2, ["A"]),
    ]


def shaped(change) -> bytes:
    """Return a workbook of two rows that `change` was done to."""
    book = openpyxl.Workbook()
    for row in (["code", "heads"], ["A", 3]):
        book.active.append(row)
    change(book)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _hidden(book) -> None:
    book.create_sheet("old").append(["not", "this"])
    book["old"].sheet_state = "hidden"
    book.create_sheet("empty")
    book.active.column_dimensions.group("F", "XFD", hidden=True)
    book.active.row_dimensions[9].hidden = True


def test_a_hidden_sheet_is_never_read_nor_do_hidden_empty_rows_matter():
    assert read_rows("x.xlsx", shaped(_hidden)) == [(1, ["code", "heads"]), (2, ["A", "3"])]


def test_a_formula_is_read_as_the_result_it_shows():
    content = shaped(lambda book: book.active.cell(2, 2, "=1+2"))
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        sheet = packed.read("xl/worksheets/sheet1.xml")
    worked_out = sheet.replace(b"<f>1+2</f><v />", b"<f>1+2</f><v>3</v>").replace(
        b"<f>1+2</f><v></v>", b"<f>1+2</f><v>3</v>"
    )
    assert worked_out != sheet
    assert read_rows("x.xlsx", repacked(content, {"xl/worksheets/sheet1.xml": worked_out}))[1] == (
        2,
        ["A", "3"],
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda book: book.active.merge_cells("A2:A5"), "row 2, column A: the cells A2:A5 are merged"),
        (lambda book: book.active.cell(2, 2, "=1+2"), "row 2, column B: a formula stands there"),
        (lambda book: book.create_sheet("B").append(["x"]), "2 filled sheets, “Sheet”, “B”"),
        (lambda book: setattr(book.active.row_dimensions[2], "hidden", True), "row 2: the row is hidden"),
        (
            lambda book: setattr(book.active.column_dimensions["B"], "hidden", True),
            "column 2: the column is hidden",
        ),
    ],
)
def test_a_workbook_that_shows_other_than_what_would_be_read_is_refused(change, words):
    with pytest.raises(SheetUnreadable, match=words):
        read_rows("x.xlsx", shaped(change))


def _zip_bomb() -> bytes:
    return repacked(workbook([["code"]]), {"xl/media/big.bin": b"\0" * (60 * 1024 * 1024)})


def _lying_header() -> bytes:
    """A member that says it unpacks to 10 bytes and unpacks to 60 MB."""
    content = bytearray(_zip_bomb())
    place = content.rfind(b"PK\x01\x02", 0, content.rfind(b"xl/media/big.bin"))
    content[place + 24 : place + 28] = (10).to_bytes(4, "little")
    return bytes(content)


def _billion_laughs() -> bytes:
    content = workbook([["code"]])
    entities = b'<!ENTITY a "lol">' + b"".join(
        b'<!ENTITY %c "%s">' % (letter, b"&%c;" % (letter - 1) * 10) for letter in range(ord("b"), ord("k"))
    )
    laughing = (
        b'<?xml version="1.0"?><!DOCTYPE x [' + entities + b"]>"
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1"><c r="A1" t="inlineStr"><is><t>&j;</t></is></c></row></sheetData></worksheet>'
    )
    return repacked(content, {"xl/worksheets/sheet1.xml": laughing})


def _far_row() -> bytes:
    content = workbook([["code"]])
    far = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1048576"><c r="A1048576" t="inlineStr"><is><t>x</t></is></c></row></sheetData></worksheet>'
    )
    return repacked(content, {"xl/worksheets/sheet1.xml": far})


def _many_members() -> bytes:
    return repacked(workbook([["code"]]), {f"xl/media/{number}.txt": b"x" for number in range(60)})


def _macros() -> bytes:
    return repacked(workbook([["code"]]), {"xl/vbaProject.bin": b"x"})


def _macro_type() -> bytes:
    kind = b'<Types><Override ContentType="application/vnd.ms-excel.sheet.macroEnabled.main+xml"/></Types>'
    return repacked(workbook([["code"]]), {"[Content_Types].xml": kind})


@pytest.mark.parametrize(
    ("name", "make", "words"),
    [
        ("bomb.xlsx", _zip_bomb, "unpacks to more than"),
        ("lying.xlsx", _lying_header, "unpacks to more than|not a sound workbook"),
        ("laughs.xlsx", _billion_laughs, "not a sound workbook"),
        ("far.xlsx", _far_row, "more than 50\u202f000 rows"),
        ("parts.xlsx", _many_members, "50 is the most"),
        ("macros.xlsx", _macros, "holds macros"),
        ("typed.xlsx", _macro_type, "holds macros"),
        ("macros.xlsm", _macros, "without macros"),
        ("old.xlsx", lambda: b"\xd0\xcf\x11\xe0 old", "old or a locked workbook"),
        ("torn.xlsx", lambda: workbook([["code"]])[:-200], "not a sound workbook"),
        ("text.xlsx", lambda: b"code,name", "not a sound workbook"),
        ("book.csv", lambda: workbook([["code"]]), "is a workbook, not a CSV"),
        ("photo.jpg", lambda: b"\xff\xd8\xff", "not a sheet that can be read"),
        ("noname", lambda: b"code", "not a sheet that can be read"),
        ("empty.csv", lambda: b"  \n", "is empty"),
        ("nul.csv", lambda: b"code\n\0", "characters that no text file has"),
        ("odd.csv", lambda: b"code\n\x81\xff", "letters that are not known here"),
        ("cell.csv", lambda: b"code\n" + b"x" * 4_000_000, "cannot be read as CSV|in one cell"),
        ("cell.csv", lambda: b"code\n" + b"x" * 40_000, "40\u202f000 characters stand in one cell"),
        ("big.csv", lambda: b"x" * (MOST_BYTES + 1), "5.0 MB; a sheet may be 5 MB"),
        ("rows.csv", lambda: b"code\n" + b"A\n" * 50_001, "more than 50\u202f000 rows"),
        ("wide.csv", lambda: b",".join([b"x"] * 61), "more than 60 columns"),
        ("quote.csv", lambda: b'code\n"A\n', "cannot be read as CSV"),
    ],
)
def test_what_is_no_sound_sheet_is_refused_with_a_sentence_in_little_memory(name, make, words):
    content = make()
    # The limit of an upload: at most 100 MB more memory. Its time is a benchmark's matter.
    tracemalloc.start()
    try:
        with pytest.raises(SheetUnreadable, match=words) as refused:
            read_rows(name, content)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert str(refused.value).startswith(name)
    assert most < 100 * 1024 * 1024
