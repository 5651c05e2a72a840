"""Private to `stock/ledger.py`: whether marks may be put on as they are asked for, and what has their codes already."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db.models import Q

from ponds.models import Kind
from ponds.svg_marks import day_text
from stock.drafts import Draft, PutOn, SexDraft
from stock.ledger_checks import of_draft
from stock.ledger_rules import check_text
from stock.mark_words import layout_sha256
from stock.marks.notch import SCHEMES, check_rim, encode, in_words, positions_in
from stock.marks.scheme import Scheme
from stock.marks.sexes import CERTAINTIES, METHODS, SEXES
from stock.marks.tag import FAMILIES
from stock.models import Mark, SchemeConfirmation
from stock.refusals import BadLine, CodeTaken, SchemeNotConfirmed

Codes = set[tuple]


def check_put_on(drafts: Sequence[tuple[int, Draft]]) -> None:
    """Refuse marks that cannot be read, break their scheme, or that another turtle has or had."""
    if not any(mark.put_on or mark.sex for _, draft in drafts for mark in draft.marks):
        return
    kinds = {kind.code: kind for kind in Kind.objects.all()}
    confirmed = confirmed_schemes()
    given: Codes = set()
    put_on = [one for _, draft in drafts for mark in draft.marks for one in mark.put_on]
    taken = taken_codes(put_on)
    for position, draft in drafts:
        with of_draft(position):
            for mark in draft.marks:
                if mark.sex is not None:
                    check_sex(mark.sex)
                for one in mark.put_on:
                    check_one(one, kinds[mark.kind], confirmed)
                    check_free(one, kinds[mark.kind], given, taken)


def confirmed_schemes() -> set[str]:
    """Return the keys of the notch schemes that were held against their printed figure as they stand now."""
    rows = SchemeConfirmation.objects.values_list("scheme", "layout_sha256")
    return {key for key, layout in rows if key in SCHEMES and layout == layout_sha256(SCHEMES[key])}


def check_sex(sex: SexDraft) -> None:
    """Refuse a sex, a method or a certainty that is not in its list."""
    if sex.sex not in SEXES or sex.method not in METHODS or sex.certainty not in CERTAINTIES:
        raise BadLine(
            f"“{sex.sex}, {sex.method}, {sex.certainty}” is no sex with a method and how sure it is. "
            "Choose each from its list.",
            field="sex",
        )


def check_one(put_on: PutOn, kind: Kind, confirmed: set[str]) -> None:
    """Refuse a mark that its own form does not allow."""
    check_text(put_on.note, "note")
    for text, name in ((put_on.tag, "mark"), (put_on.text, "mark"), (put_on.site, "mark")):
        check_text(text, name)
    if put_on.form == "NOTCH":
        _check_notch(put_on, kind, confirmed)
    elif put_on.form == "TAG":
        if put_on.family not in FAMILIES or not put_on.tag:
            raise BadLine("A tag has a family and a number. Scan or type it again.", field="mark")
    elif put_on.form not in ("PAINT", "OTHER") or not put_on.text.strip():
        raise BadLine("Say in words what the mark is, such as “white 5 on the shell”.", field="mark")


def _check_notch(put_on: PutOn, kind: Kind, confirmed: set[str]) -> None:
    scheme = SCHEMES.get(put_on.scheme)
    if scheme is None or not put_on.mask or put_on.mask < 0:
        raise BadLine(
            f"A notch code needs a scheme of the list ({', '.join(SCHEMES)}) and at least one notch.",
            field="mark",
        )
    # What came with the turtle was not cut by this farm's rules: it is kept as it is, if the kind has those scutes.
    if not put_on.is_conflict:
        if scheme.key not in confirmed:
            raise SchemeNotConfirmed(
                f"The scheme “{scheme.title}” was not held against its printed figure yet. The owner confirms it "
                "under Turtles, Notch schemes, before its first use.",
                field="mark",
            )
        try:
            check_rim(scheme, kind.scientific_name, positions_in(put_on.mask))
            encode(scheme, positions_in(put_on.mask))
        except ValueError as error:
            raise BadLine(str(error), field="mark") from error


def taken_codes(put_on: Sequence[PutOn]) -> dict[tuple, Mark]:
    """Return the marks that have one of these codes already, by what each code is known by."""
    tags = {one.tag for one in put_on if one.form == "TAG"}
    masks = {one.mask for one in put_on if one.form == "NOTCH"}
    rows = Mark.objects.filter(Q(tag__in=tags) | Q(mask__in=masks)) if tags or masks else Mark.objects.none()
    return {
        (row.family, row.tag) if row.form == "TAG" else (row.kind_id, row.mask): row
        for row in rows.select_related("turtle").order_by("conflict")
    }


def check_free(put_on: PutOn, kind: Kind, given: Codes, taken: Mapping[tuple, Mark]) -> None:
    """Refuse a code that another turtle has or had; one that came with a turtle is taken as a conflict."""
    if put_on.form not in ("NOTCH", "TAG") or put_on.is_conflict:
        return
    name = (kind.pk, put_on.mask) if put_on.form == "NOTCH" else (put_on.family, put_on.tag)
    other = taken.get(name)
    if other is not None:
        raise CodeTaken(
            f"{words_of(put_on)} is on turtle {other.turtle.code} since {day_text(other.put_on_on)} "
            "(or was): codes are never "
            "used again. Choose another code; if this turtle came with it, say so, and it is kept as a conflict.",
            field="mark",
        )
    if name in given:
        raise CodeTaken(f"{words_of(put_on)} is given twice here. Choose another code.", field="mark")
    given.add(name)


def same_code(put_on: PutOn, kind_id: int):
    """Return the marks that have the same code, whatever became of them."""
    if put_on.form == "NOTCH":
        return Mark.objects.filter(kind=kind_id, mask=put_on.mask)
    return Mark.objects.filter(family=put_on.family, tag=put_on.tag)


def words_of(put_on: PutOn) -> str:
    """Return "Notch code BKO (right marginals 2 and 11, left marginal 10)", "Tag 985113007399202"."""
    if put_on.form == "NOTCH" and put_on.mask:
        positions = positions_in(put_on.mask)
        return f"Notch code {code_in(SCHEMES[put_on.scheme], put_on.mask)} ({in_words(positions)})"
    return f"Tag {put_on.tag}" if put_on.form == "TAG" else put_on.text


def code_in(scheme: Scheme, mask: int) -> str:
    """Return a notch code in a scheme; its positions where the scheme cannot write them."""
    try:
        return encode(scheme, positions_in(mask))
    except ValueError:
        return " ".join(positions_in(mask))
