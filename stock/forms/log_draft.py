"""From a checked Log page to one draft for the ledger, and from a refusal back to the row it is about."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms

from ponds.sums import sum_known
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line, PaperDraft
from stock.forms.log import NO_HAUL, LogEntry
from stock.forms.log_rows import RowForm
from stock.forms.log_scans import noted, with_turtles
from stock.refusals import LedgerRefusal, ScansMisplaced

GONE = (("moved", ""), ("sold", "SOLD"), ("culled", "CULLED"), ("dead", "DIED"), ("escaped", "ESCAPED"))


@dataclass(frozen=True)
class LineOrigin:
    """The form and field that a draft's line came from."""

    form: forms.BaseForm
    field: str


def build(entry: LogEntry, *, more_papers: tuple[PaperDraft, ...] = ()) -> tuple[Draft, list[LineOrigin]]:
    """Return the draft of a valid entry, and where each of its lines came from.

    Sexings come first, so that heads sexed at the bank leave as what they were found to be.
    """
    typed = entry.head.cleaned_data
    pond = typed["pond"]
    lines: list[Line] = []
    origins: list[LineOrigin] = []

    def add(form: forms.BaseForm, field: str, line: Line) -> None:
        lines.append(line)
        origins.append(LineOrigin(form, field))

    for row in entry.used_rows:
        if row.typed.get("sexed_as") and row.heads:
            kind, was = row.typed["kind"], row.typed["of_class"]
            add(row, "sexed_as", Line(kind, was, pond, pond, row.heads, to_class=row.class_after))
    for row in entry.used_rows:
        for field, place in GONE:
            if heads := row.typed.get(field):
                cause = (row.typed.get("cause") or "NOT_KNOWN") if field == "dead" else ""
                target = place or row.typed["target"]
                add(row, field, Line(row.typed["kind"], row.class_after, pond, target, heads, cause=cause))
    batch = entry.batch.cleaned_data
    for arrival in entry.used_arrivals:
        came = arrival.cleaned_data
        line = Line(came["kind"], came["of_class"], batch["source"], pond, came["heads"], batch=batch["code"])
        add(arrival, "heads", line)
    sale = PaperDraft(**entry.sale.cleaned_data)
    lines, seen, faults = with_turtles(entry, entry.scans, lines)
    if faults:
        raise ScansMisplaced(" ".join(faults), field="scans")
    draft = Draft(
        key=typed["key"],
        happened_on=typed["day"],
        lines=tuple(lines),
        made_as="BANK",
        pond=pond,
        note=noted(typed["note"], entry.scans),
        seen=seen,
        haul=_haul(entry),
        batches=_batches(entry),
        papers=(*((sale,) if sale.says_something else ()), *more_papers),
        tasks=tuple(sorted(int(task) for task in typed["tasks"])),
    )
    return draft, origins


def place_refusal(entry: LogEntry, refusal: LedgerRefusal, origins: list[LineOrigin]) -> None:
    """Put a refusal's sentence beside the row it is about, else beside its field, else on top."""
    if refusal.line is not None and refusal.line < len(origins):
        origin = origins[refusal.line]
        form = entry.batch if refusal.field == "batch" else origin.form
        names = {"batch": "code", "target": "target", "kind": "kind", "cause": "cause"}
        name = names.get(refusal.field, origin.field)
        if refusal.field in ("pond", "happened_on") and origin.field == "moved":
            name = "target"
        if name == "target" and not form.data.get(form.add_prefix("target")):
            name = origin.field
        form.add_error(name if name in form.fields else None, refusal.sentence)
        return
    name = {"happened_on": "day", "batch": "", "mark": "scans"}.get(refusal.field, refusal.field)
    if refusal.field == "batch":
        entry.batch.add_error("code", refusal.sentence)
    elif name in entry.head.fields:
        entry.head.add_error(name, refusal.sentence)
    else:
        entry.say("", refusal.sentence)


def _catch(kind: str, of_class: str, rows: list[RowForm]) -> CatchLine:
    """Return what was caught of a kind and class; carrying marks is unsaid where every row leaves it empty."""
    return CatchLine(
        kind,
        of_class,
        caught=sum(row.heads for row in rows),
        carrying_marks=sum_known(row.typed.get("carrying_marks") for row in rows),
        newly_marked=sum(row.typed.get("newly_marked") or 0 for row in rows),
        dead_in_net=sum(_dead_in_net(row) for row in rows),
    )


def _haul(entry: LogEntry) -> HaulDraft | None:
    typed = entry.head.cleaned_data
    if typed["how"] == NO_HAUL:
        return None
    rows: dict[tuple[str, str], list[RowForm]] = {}
    for row in entry.used_rows:
        rows.setdefault((row.typed["kind"], row.class_after), []).append(row)
    water = typed["water"]
    return HaulDraft(
        method=typed["how"],
        lines=tuple(_catch(*of, some) for of, some in rows.items()),
        effort=float(typed["effort"]) if typed["effort"] else None,
        effort_typed=typed["effort"],
        water_mk=water.stored if water else None,
        water_typed=water.typed if water else "",
        water_unit=water.unit if water else "",
        is_held_out=typed["is_held_out"],
        is_complete=typed["is_complete"],
    )


def _dead_in_net(row: RowForm) -> int:
    return (row.typed.get("dead") or 0) if row.typed.get("cause") == "DROWNED" else 0


def _batches(entry: LogEntry) -> tuple[BatchDraft, ...]:
    typed = entry.batch.cleaned_data
    if not entry.used_arrivals or typed["code"] in entry.known_batches:
        return ()
    paper = PaperDraft(party=typed["party"], licence=typed["licence"], document=typed["document"])
    # The seller's name alone is the batch's own; a paper is a licence or a document.
    has_paper = bool(typed["licence"] or typed["document"])
    return (
        BatchDraft(
            code=typed["code"],
            source=typed["source"],
            arrived_on=entry.head.cleaned_data["day"],
            party=typed["party"],
            generation=typed["generation"] or "NOT_KNOWN",
            note=typed["note"],
            paper=paper if has_paper else None,
        ),
    )
