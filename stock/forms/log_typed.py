"""Which entries of a bank move somebody typed, and which the ledger added to fill a gap of the book."""

from __future__ import annotations

from stock.drafts import CatchLine, Draft, HaulDraft, Line, PaperDraft, content_sha256
from stock.models import Entry, Haul, Move
from stock.moves_read import place_of


def typed_entries(move: Move) -> list[Entry]:
    """
    Return the entries that were typed, of a move loaded by `with_entries`; the ledger works out the rest afresh.

    What fills a gap of the book comes after the typed lines: heads sexed out of the unsexed, then heads beyond
    the book. Typed sexings come before whatever left or came. Where a move has sexings alone, as of a haul of
    which everything went back, the digest of what was asked tells how many of them were typed.
    """
    entries = list(move.entries.all())
    if move.made_as != Move.MadeAs.BANK:
        return [entry for entry in entries if entry.reason != "BEYOND_BOOK"]
    while entries and _may_fill(entries[-1]):
        entries.pop()
    if entries:
        return [entry for entry in entries if entry.reason != "BEYOND_BOOK"]
    sexed = []
    for entry in move.entries.all():
        if entry.reason == "BEYOND_BOOK":
            break
        sexed.append(entry)
    counts = range(len(sexed), -1, -1)
    return sexed[: next((count for count in counts if _is_what_was_asked(move, sexed[:count])), len(sexed))]


def move_papers(move: Move) -> list[PaperDraft]:
    """Return the papers of a move as drafts, oldest first."""
    return [
        PaperDraft(
            paper.party,
            paper.licence,
            paper.document,
            paper.purpose,
            paper.disposal,
            paper.expires_on,
            paper.note,
        )
        for paper in move.papers.order_by("pk")
    ]


def _may_fill(entry: Entry) -> bool:
    if entry.reason == "BEYOND_BOOK":
        return True
    return entry.reason == "SEXED" and entry.source.of_class == "UNSEXED"


def _is_what_was_asked(move: Move, sexed: list[Entry]) -> bool:
    haul = getattr(move, "haul", None)
    draft = Draft(
        key=move.key,
        happened_on=move.happened_on,
        lines=tuple(
            Line(
                entry.source.kind.code,
                entry.source.of_class,
                place_of(entry.source),
                place_of(entry.target),
                entry.heads,
                to_class=entry.target.of_class,
            )
            for entry in sexed
        ),
        made_as="BANK",
        pond=move.pond.code if move.pond else "",
        note=move.note,
        haul=_haul_draft(haul) if haul else None,
        papers=tuple(move_papers(move)),
        tasks=tuple(sorted(move.tasks_done.values_list("task", flat=True))),
    )
    asked = ("correct", move.replaces.key, draft) if move.replaces else ("record", draft)
    return content_sha256(*asked) == move.content_sha256


def _haul_draft(haul: Haul) -> HaulDraft:
    return HaulDraft(
        haul.method,
        tuple(
            CatchLine(
                line.kind.code,
                line.of_class,
                line.caught,
                line.carrying_marks,
                line.newly_marked,
                line.dead_in_net,
            )
            for line in haul.lines.select_related("kind").order_by("pk")
        ),
        haul.effort,
        haul.effort_typed,
        haul.water_mk,
        haul.water_typed,
        haul.water_unit,
        haul.is_held_out,
        haul.is_complete,
    )
