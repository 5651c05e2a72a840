"""The short part of the Log page: the dead found without a haul, a number beside each kind and class."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.http import QueryDict

from stock.forms.log_rows import GOES, MARKS

SHORT = "dead-"
ROW_FIELDS = (*GOES, *MARKS, "target", "cause", "sexed_as")
HAUL_FIELDS = ("effort", "water", "is_held_out", "is_complete")
CAUGHT = ("SEINE", "TRAPS", "DRAIN_DOWN")
BOTH_TYPED = (
    "Dead are typed under “Found dead, no haul”, and more is typed below: it is not clear whether they are part of "
    "it. Nothing is booked and both are kept. Clear the short part and give the dead in their rows below; or clear "
    "what is below, post the dead, and log the rest after."
)


@dataclass(frozen=True)
class ShortField:
    """One control of the short part: its name in the form, its label, and what was typed."""

    name: str
    label: str
    typed: str = ""


def short_name(kind: str, of_class: str) -> str:
    """Return the name of the control for the dead of a kind and class."""
    return f"{SHORT}{of_class}-{kind}"


def short_typed(sent: QueryDict) -> dict[tuple[str, str], str]:
    """Return (kind's code, class) -> what was typed in the short part, without what was left empty."""
    found = {}
    for name in sent:
        of_class, _, kind = name.removeprefix(SHORT).partition("-")
        if name.startswith(SHORT) and kind and (typed := str(sent[name]).strip()):
            found[kind, of_class] = typed
    return found


def is_more_typed(sent: QueryDict) -> bool:
    """Whether the page holds a haul, heads, or papers beside its short part, day, note and tasks."""
    row = re.compile(
        rf"rows-\d+-({'|'.join(ROW_FIELDS)})|arrivals-\d+-\w+|sale-\w+|batch-(source|party|document)"
    )
    return (
        sent.get("how", "") in CAUGHT
        or any(sent.get(name, "").strip() for name in HAUL_FIELDS)
        or any(row.fullmatch(name) and str(sent[name]).strip() for name in sent)
    )


def with_the_dead(sent: QueryDict) -> QueryDict:
    """Return what was sent with the dead of the short part in the rows of the page, where nothing else is typed.

    Where more is typed it comes back as it was: the page then asks what is meant.
    """
    typed = short_typed(sent)
    if not typed or is_more_typed(sent):
        return sent
    whole = sent.copy()
    for kind, of_class in typed:
        del whole[short_name(kind, of_class)]
    whole["how"] = "NONE"
    count = int(str(whole["rows-TOTAL_FORMS"]))
    rows: dict[tuple[str, str], int] = {}
    for number in range(min(count, 100)):
        cell = str(whole.get(f"rows-{number}-kind", "")), str(whole.get(f"rows-{number}-of_class", ""))
        rows.setdefault(cell, number)
    for cell, heads in typed.items():
        if cell not in rows:
            rows[cell], count = count, count + 1
            whole[f"rows-{rows[cell]}-kind"], whole[f"rows-{rows[cell]}-of_class"] = cell
            whole[f"rows-{rows[cell]}-fixed"] = "True"
        whole[f"rows-{rows[cell]}-dead"] = heads
    whole["rows-TOTAL_FORMS"] = str(count)
    return whole
