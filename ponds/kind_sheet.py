"""The kinds sheet: one row a kind, with its seven figures."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from ponds import figures
from ponds.cell_values import Choice, Code, Codes, Number, Text, WholeNumber
from ponds.kinds import FIGURE_COLUMNS, KindDraft, TypedFigure, write_kind
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written

FIELDS = {
    "common name": "common_name",
    "scientific name": "scientific_name",
    "marginals a side": "marginals_a_side",
    "target": "target",
    "band low": "band_low",
    "band high": "band_high",
    "space a head": "space_a_head",
    "listing": "listing",
    "listing source": "listing_source",
    "note": "note",
}
UNITS = {name: Choice(figures.units_of(name)) for name in FIGURE_COLUMNS.values()}


def _figure_columns() -> list[Column]:
    examples = {
        "laying share": ("40", "70", "95", "%"),
        "nests": ("1", "2", "3.5", ""),
        "eggs": ("6.5", "9", "11", ""),
        "hatch share": ("70", "80", "90", "%"),
        "incubation temperature": ("81", "82", "83", "°F"),
        "incubation days": ("62", "67", "72", ""),
        "survival": ("77", "90", "97", "%"),
    }
    columns = []
    for words, name in FIGURE_COLUMNS.items():
        *example, unit = examples[words]
        for place, meaning in enumerate(("5 % point", "expected", "95 % point")):
            columns.append(
                Column(
                    f"{words} {('low', 'expected', 'high')[place]}",
                    True,
                    f"{name.label}: {meaning}",
                    example[place],
                    # The text is kept as typed; what it means is read with its unit, in `_figures`.
                    Number(0, 1_000),
                )
            )
        if len(figures.units_of(name)) > 1:
            columns.append(
                Column(
                    f"{words} unit", name in figures.TEMPERATURES, "What it is given in", unit, UNITS[name]
                )
            )
        columns.append(
            Column(f"{words} source", True, "Paper, own records, or assumption", "own records", Text(300))
        )
    return columns


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Write the kinds, then which are not kept together, since a row may name a kind further down."""
    words, bad_rows = [], list(_twice(rows))
    for row in rows:
        try:
            words.append(write_kind(KindDraft(row["code"], _fields(row), _figures(row))))
        except _FigureRefused as refused:
            bad_rows.append(refused.bad_row)
        except ValidationError as refused:
            bad_rows += _bad_rows(row, refused)
    if bad_rows:
        raise RowsRefused(bad_rows)
    for place, codes in _not_kept_with(rows).items():
        try:
            word = write_kind(KindDraft(rows[place]["code"], {}, {}, codes))
        except ValidationError as refused:
            bad_rows.append(rows[place].bad("not kept with", " ".join(refused.messages)))
            continue
        words[place] = word if words[place] == "same" else words[place]
    if bad_rows:
        raise RowsRefused(bad_rows)
    return Written.of(words)


def _not_kept_with(rows: list[SheetRow]) -> dict[int, tuple[str, ...]]:
    """Return row place -> codes; a pair holds when either row of the sheet names it."""
    places = {row["code"]: place for place, row in enumerate(rows) if row.has("not kept with")}
    wanted: dict[int, set[str]] = {place: set() for place in places.values()}
    for code, place in places.items():
        for other in rows[place]["not kept with"] or ():
            wanted[place].add(other)
            if other in places:
                wanted[places[other]].add(code)
    return {place: tuple(sorted(codes)) for place, codes in wanted.items()}


class _FigureRefused(Exception):
    def __init__(self, bad_row: BadRow) -> None:
        self.bad_row = bad_row
        super().__init__(str(bad_row))


def _twice(rows: list[SheetRow]) -> list[BadRow]:
    seen: dict[str, int] = {}
    bad = []
    for row in rows:
        if row["code"] in seen:
            bad.append(row.bad("code", f"Row {seen[row['code']]} is about the same kind; keep one of them."))
        seen.setdefault(row["code"], row.number)
    return bad


def _fields(row: SheetRow) -> dict[str, Any]:
    fields = {}
    for column, name in FIELDS.items():
        if not row.has(column):
            continue
        value = row[column]
        if name in ("target", "band_low", "band_high", "space_a_head"):
            if value is None:
                continue
            value = float(value)
        elif value is None and name != "marginals_a_side":
            value = ""
        fields[name] = value
    return fields


def _figures(row: SheetRow) -> dict[str, TypedFigure]:
    typed: dict[str, TypedFigure] = {}
    for words, name in FIGURE_COLUMNS.items():
        unit = row.values.get(f"{words} unit") or figures.unit_left_out(name)
        one = TypedFigure(
            row.text(f"{words} low"),
            row.text(f"{words} expected"),
            row.text(f"{words} high"),
            unit,
            row[f"{words} source"],
        )
        for column, text in (("low", one.low), ("expected", one.expected), ("high", one.high)):
            try:
                figures.read_figure(name, text, one.unit)
            except ValueError as refused:
                raise _FigureRefused(row.bad(f"{words} {column}", str(refused))) from None
        try:
            figures.read_range(name, one.low, one.expected, one.high, one.unit)
        except ValueError as refused:
            raise _FigureRefused(row.bad(f"{words} expected", str(refused))) from None
        typed[name] = one
    return typed


def _bad_rows(row: SheetRow, refused: ValidationError) -> list[BadRow]:
    columns = {name: column for column, name in FIELDS.items()}
    if not hasattr(refused, "error_dict"):
        return [row.bad("", " ".join(refused.messages))]
    return [
        row.bad(columns.get(name, ""), " ".join(error.messages[0] for error in errors))
        for name, errors in refused.error_dict.items()
    ]


KINDS_SHEET = Sheet(
    what="kinds",
    title="Kinds",
    meaning="One row is one kind, with its breeding figures and where each comes from.",
    columns=(
        Column("code", True, "Never changes; names the kind in other sheets", "river-cooter", Code()),
        Column("common name", True, "What you call it", "River cooter", Text(80)),
        Column("scientific name", False, "Genus and species", "Pseudemys concinna", Text(120)),
        Column(
            "marginals a side",
            False,
            "Marginal scutes a side; empty for softshells",
            "12",
            WholeNumber(1, 14),
        ),
        Column("target", False, "Females per male aimed at; 3 when empty", "3", Number(0.1, 100)),
        Column("band low", False, "Fewest females per male; 2.5 when empty", "2.5", Number(0.1, 100)),
        Column("band high", False, "Most females per male; 4.5 when empty", "4.5", Number(0.1, 100)),
        Column(
            "space a head", False, "Share of a head limit one adult takes; slider 1", "1", Number(0.01, 100)
        ),
        Column("listing", False, "Protection that asks for papers", "CITES App. II", Text(120)),
        Column("listing source", False, "Where that is written", "50 CFR 23", Text(200)),
        Column(
            "not kept with", False, "Codes of kinds that must not share a pond", "common-snapper", Codes()
        ),
        Column("note", False, "Anything worth knowing", "", Text(4000)),
        *_figure_columns(),
    ),
    apply=write_rows,
)
