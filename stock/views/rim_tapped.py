"""A rim to tap on a page: each scute a link, no script; what was tapped stands in the address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from django.utils.safestring import SafeString, mark_safe

from stock.ledger import schemes_in_use
from stock.marks import notch, shell
from stock.marks.codes import place_mask
from stock.marks.notch import LETTER_SCHEME, SCHEMES, Scheme
from stock.marks.positions import position_at
from stock.scute_links import code_of, scute_links, tapped


@dataclass(frozen=True)
class TappedRim:
    """The drawing of a scheme with what was tapped, its code, and the other schemes' addresses."""

    scheme: Scheme
    code: str
    shell: SafeString
    chosen: str
    schemes: tuple[tuple[Scheme, str], ...]
    is_in_use: bool


def tapped_rim(asked: Mapping[str, str], page: str, name: str, kept: Mapping[str, str]) -> TappedRim:
    """
    Return the rim of a page whose address holds the scheme and, under `at`, the tapped scutes.

    Parameters
    ----------
    asked : mapping of str to str
        The address's query.
    page : str
        The page's path.
    name : str
        Whose shell it is, in words.
    kept : mapping of str to str
        What else the links keep in the address.
    """
    scheme = SCHEMES.get(asked.get("scheme", ""), LETTER_SCHEME)
    chosen = tapped(asked.get("at", ""), scheme.usable_mask)
    kept = {**kept, "form": "NOTCH", "scheme": scheme.key}
    links = scute_links(page, "at", chosen, scheme.usable_mask, kept)
    drawn = shell.draw_shell(scheme, chosen, code=code_of(scheme, chosen), name=name, links=links)
    return TappedRim(
        scheme=scheme,
        code=code_of(scheme, chosen),
        shell=mark_safe(drawn),  # noqa: S308 (drawn by us, every word escaped)
        chosen=notch.in_words(chosen) if chosen else "",
        schemes=tuple(
            (one, f"{page}?{urlencode({**kept, 'scheme': one.key, 'at': ''})}#shell")
            for one in SCHEMES.values()
            if one.key != scheme.key
        ),
        is_in_use=scheme.key in schemes_in_use(),
    )


def half_read_rim(scheme: Scheme, clear: tuple[str, ...], faint: tuple[str, ...], page: str) -> TappedRim:
    """Return the rim of a search: a scute tapped once is notched, twice in doubt, three times neither."""
    sure = notch.positions_in(place_mask(scheme, clear))
    unsure = tuple(one for one in notch.positions_in(place_mask(scheme, faint)) if one not in sure)
    links = {}
    for bit in range(scheme.usable_mask.bit_length()):
        if scheme.usable_mask >> bit & 1:
            at = position_at(bit)
            is_sure, is_unsure = at in sure, at in unsure
            then_sure = (
                [one for one in sure if one != at] if is_sure else [*sure, *([] if is_unsure else [at])]
            )
            then_unsure = [*unsure, at] if is_sure else [one for one in unsure if one != at]
            links[at] = _half_read_address(page, scheme, then_sure, then_unsure)
    drawn = shell.draw_shell(scheme, sure, doubtful=unsure, name="the turtle", links=links)
    told = [notch.in_words(sure)] if sure else []
    told += [f"in doubt {notch.in_words(unsure)}"] if unsure else []
    return TappedRim(
        scheme=scheme,
        code="",
        shell=mark_safe(drawn),  # noqa: S308 (drawn by us, every word escaped)
        chosen="; ".join(told),
        schemes=tuple(
            (one, _half_read_address(page, one, [], [])) for one in SCHEMES.values() if one.key != scheme.key
        ),
        is_in_use=True,
    )


def _half_read_address(page: str, scheme: Scheme, clear: list[str], faint: list[str]) -> str:
    typed = {"rim": scheme.key, "clear": " ".join(clear), "faint": " ".join(faint)}
    return f"{page}?{urlencode(typed)}#shell"
