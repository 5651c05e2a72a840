"""Notch codes: the names that pages, sheets and scripts use, gathered from the files that hold them."""

from stock.marks.codes import decode, distance, encode, mirror, misreads, normalize
from stock.marks.free import SchemeFull, capacity, next_free
from stock.marks.issued import Issued, PossibleMisreading, candidates, near_codes
from stock.marks.positions import in_words, mask_of, parse_positions, positions_in
from stock.marks.rims import RIMS, Rim, check_rim, not_there, rim_of
from stock.marks.scheme import Scheme, ScutePosition
from stock.marks.schemes import (
    ADDITIVE_SCHEME,
    LEFT_RIGHT_SCHEME,
    LETTER_SCHEME,
    LETTER_SCHEME_11,
    RELABELLED_SCHEME,
    SCHEMES,
    SITE_SCHEME,
    additive_scheme,
    for_eleven,
    letter_scheme,
    numbered_scheme,
)

__all__ = [
    "ADDITIVE_SCHEME",
    "LEFT_RIGHT_SCHEME",
    "LETTER_SCHEME",
    "LETTER_SCHEME_11",
    "RELABELLED_SCHEME",
    "RIMS",
    "SCHEMES",
    "SITE_SCHEME",
    "Issued",
    "PossibleMisreading",
    "Rim",
    "Scheme",
    "SchemeFull",
    "ScutePosition",
    "additive_scheme",
    "candidates",
    "capacity",
    "check_rim",
    "decode",
    "distance",
    "encode",
    "for_eleven",
    "in_words",
    "letter_scheme",
    "mask_of",
    "mirror",
    "misreads",
    "near_codes",
    "next_free",
    "normalize",
    "not_there",
    "numbered_scheme",
    "parse_positions",
    "positions_in",
    "rim_of",
]
