"""Notch codes written and read: published examples, worked values, every code of every scheme, and what is refused."""

import doctest
import itertools
import random

import pytest

from stock.marks import codes, positions, tag_frame
from stock.marks.issued import Issued
from stock.marks.notch import (
    LEFT_RIGHT_SCHEME,
    LETTER_SCHEME,
    LETTER_SCHEME_11,
    SCHEMES,
    Scheme,
    ScutePosition,
    capacity,
    decode,
    distance,
    encode,
    in_words,
    letter_scheme,
    mask_of,
    mirror,
    misreads,
    normalize,
    parse_positions,
    positions_in,
)

# Letters of the scheme round the rim (Nagle, Kinney, Gibbons & Congdon 2017; unused letters and the style of the
# codes: marking protocol of the box turtle study, University of North Carolina at Greensboro).
LETTERS = dict(
    zip(
        "ABCHIJKLMNOPQVWX",
        [
            "R1",
            "R2",
            "R3",
            "R8",
            "R9",
            "R10",
            "R11",
            "R12",
            "L12",
            "L11",
            "L10",
            "L9",
            "L8",
            "L3",
            "L2",
            "L1",
        ],
        strict=True,
    )
)
# Worked by hand from that table: code, places, left-right numbers, mirror image.
WORKED = [
    ("ABC", "R1 R2 R3", "0-1,2,3", "VWX"),
    ("BKO", "R2 R11 L10", "10-2,11", "JNW"),
    ("ABX", "R1 R2 L1", "1-1,2", "AWX"),
    ("AX", "R1 L1", "1-1", "AX"),
    ("LM", "R12 L12", "12-12", "LM"),
    ("BJK", "R2 R10 R11", "0-2,10,11", "NOW"),
    ("OPV", "L10 L9 L3", "3,9,10-0", "CIJ"),
]


@pytest.mark.parametrize(("letter", "place"), LETTERS.items())
def test_each_letter_stands_for_its_scute(letter, place):
    assert decode(LETTER_SCHEME, letter) == (place,)
    assert encode(LETTER_SCHEME, [place]) == letter


@pytest.mark.parametrize(("code", "places", "numbers", "image"), WORKED, ids=[row[0] for row in WORKED])
def test_worked_letter_codes(code, places, numbers, image):
    positions = places.split()
    assert decode(LETTER_SCHEME, code) == tuple(positions)
    for shuffled in itertools.permutations(positions):
        assert encode(LETTER_SCHEME, shuffled) == code
    assert encode(LEFT_RIGHT_SCHEME, positions) == numbers
    assert set(decode(LEFT_RIGHT_SCHEME, numbers)) == set(positions)
    assert mirror(LETTER_SCHEME, code) == image
    assert mirror(LETTER_SCHEME, image) == code


@pytest.mark.parametrize("code", ["ABX", "BJK", "HQW", "IWX", "MPQ", "OPV", "PWX", "BKO"])
def test_published_letter_codes_are_read(code):
    """The eight examples of the box turtle protocol (University of North Carolina at Greensboro)."""
    assert encode(LETTER_SCHEME, decode(LETTER_SCHEME, code)) == code


@pytest.mark.parametrize("letter", "DEFGRSTU")
def test_letters_of_the_bridge_are_refused(letter):
    """Unused letters of the same protocol."""
    with pytest.raises(ValueError, match="lies on the bridge and is not part of this scheme"):
        decode(LETTER_SCHEME, f"A{letter}")


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("ABD", "right marginal 4 lies on the bridge"),
        ("ABB", "B stands twice in ABB"),
        ("ABY", "Y is no letter of this scheme"),
        ("", "No code was given"),
        ("  ", "No code was given"),
        ("A1", "1 is no letter"),
        ("Å", "no letter of this scheme"),
        ("A" * 500, "has 500 characters"),
        (17, "give it as text"),
        (None, "give it as text"),
        (("A", "B"), "give it as text"),
    ],
)
def test_what_is_no_letter_code_is_refused_in_a_sentence(code, says):
    with pytest.raises(ValueError, match="(?i)" + says):
        decode(LETTER_SCHEME, code)


@pytest.mark.parametrize("typed", ["BA", "ab", " b a ", "B-A", "b,a"])
def test_letters_in_any_order_and_case_are_put_in_order(typed):
    assert normalize(LETTER_SCHEME, typed) == "AB"


def test_the_other_side_may_have_the_first_letter():
    swapped = letter_scheme("own", first_side="L")
    assert decode(swapped, "A") == ("L1",)
    assert decode(swapped, "BKO") == ("L2", "L11", "R10")
    assert {encode(swapped, decode(LETTER_SCHEME, code)) for code, *_ in WORKED} == {row[3] for row in WORKED}


def test_with_eleven_marginals_two_letters_are_not_there():
    assert decode(LETTER_SCHEME_11, "KN") == ("R11", "L11")
    for code in ("AL", "AM", "LM"):
        with pytest.raises(ValueError, match="marginal 12 is not there in kinds with 11 marginals a side"):
            decode(LETTER_SCHEME_11, code)
    assert LETTER_SCHEME_11.key != LETTER_SCHEME.key
    assert letter_scheme("own", marginals=11).rows == LETTER_SCHEME_11.rows


@pytest.mark.parametrize(("one", "other", "scutes"), [("ABC", "ABH", 2), ("BKO", "BK", 1), ("ABC", "VWX", 6)])
def test_distance(one, other, scutes):
    assert distance(one, other) == distance(other, one) == scutes
    assert distance(decode(LETTER_SCHEME, one), decode(LETTER_SCHEME, other)) == scutes
    assert distance(one, one) == 0


@pytest.mark.parametrize(
    ("one", "other"), [("10-2,11", "10-2"), ("442", "44"), ("AB", ["R1"]), (["R1"], ["B"])]
)
def test_distance_of_what_cannot_be_compared_is_refused(one, other):
    with pytest.raises(ValueError, match=r"decode it|one of each|not a place"):
        distance(one, other)


def test_misreads_by_one_scute():
    # Worked by hand: K is R11 between J and L, O is L10 between N and P, B is R2 between A and C.
    assert misreads(LETTER_SCHEME, "BKO") == ("AKO", "BJO", "BKN", "BKP", "BLO", "CKO")
    assert {distance("BKO", code) for code in misreads(LETTER_SCHEME, "BKO")} == {2}
    # The gap of the bridge (C to H), the nuchal (A to X) and the tail (L to M) are not crossed.
    assert misreads(LETTER_SCHEME, "C") == ("B",)
    assert misreads(LETTER_SCHEME, "H") == ("I",)
    assert misreads(LETTER_SCHEME, "A") == ("B",)
    assert misreads(LETTER_SCHEME, "L") == ("K",)


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_misreads_and_mirrors_go_both_ways(scheme):
    rng = random.Random(5)
    for mask in rng.sample([int(mask) for mask in every_mask(scheme)], 60):
        code = encode(scheme, positions_in(mask))
        image = mirror(scheme, code)
        assert image is None or mirror(scheme, image) == code
        for other in misreads(scheme, code):
            assert code in misreads(scheme, other)
            assert distance(decode(scheme, code), decode(scheme, other)) == 2


def is_written(scheme, chosen):
    """Say whether a number is written so: two notches a decade at most, and 9 of the decade's unit at most."""
    values = [str(scheme.value_at[bit]) for bit in chosen]
    decades = [
        [int(value[0]) for value in values if len(value) == size] for size in {len(value) for value in values}
    ]
    return all(len(digits) <= 2 and sum(digits) <= 9 for digits in decades)


def every_mask(scheme):
    """Yield every legal set of places of a scheme by trying all sets of its usable scutes."""
    for size in range(1, len(scheme.bits) + 1):
        for chosen in itertools.combinations(scheme.bits, size):
            mask = sum(1 << bit for bit in chosen)
            if scheme.broken_rule(mask):
                continue
            if scheme.style == "additive" and not is_written(scheme, chosen):
                continue
            yield mask


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_every_code_of_the_scheme_comes_back(scheme):
    """The whole domain, but for the 262,143 codes of the scheme of 18 scutes, where a seeded 70,000 are drawn."""
    masks = list(every_mask(scheme))
    assert len(masks) == capacity(scheme)
    if len(masks) > 100_000:
        masks = random.Random(1).sample(masks, 70_000)
    codes = Issued.from_masks(scheme, masks).codes()
    assert len(set(codes)) == len(masks)
    assert Issued.of(scheme, codes).masks.tolist() == masks
    for mask, code in random.Random(2).sample(list(zip(masks, codes, strict=True)), min(3000, len(masks))):
        positions = decode(scheme, code)
        assert mask_of(positions) == mask
        assert encode(scheme, positions) == encode(scheme, reversed(positions)) == code


@pytest.mark.parametrize(
    ("positions", "says"),
    [
        ([], "There is no notch"),
        (["R2", "R2"], "is given twice"),
        (["r2", "R02"], "is given twice"),
        (["R0"], "nuchal"),
        (["R13"], "Right marginal 13 is not part of this scheme"),
        (["R99"], "There is no right marginal 99"),
        (["R5"], "Right marginal 5 lies on the bridge"),
        (["X2"], "is not a place on the rim"),
        (["R"], "is not a place"),
        (["R2.5"], "is not a place"),
        (["R٣"], "is not a place"),
        ([2], "is not a place"),
        ([None], "is not a place"),
        ("R2", "give the places one by one"),
    ],
)
def test_what_is_no_set_of_places_is_refused_in_a_sentence(positions, says):
    with pytest.raises(ValueError, match=says):
        encode(LETTER_SCHEME, positions)


def test_places_in_words_and_as_one_number():
    assert in_words(["L10", "R2", "R11"]) == "right marginals 2 and 11, left marginal 10"
    assert mask_of(["R1"]) == 1
    assert mask_of(["L1"]) == 1 << 16
    assert positions_in(mask_of(["L11", "R2"])) == ("R2", "L11")
    for text in ("R2 R11 L10", "r2,l10,r11", "R2R11L10", "L10 + R 2 + R11"):
        assert parse_positions(text) == ("R2", "R11", "L10")
    for text in ("", "R2 X", "2 11", "R2 R2", "BKO", "R"):
        with pytest.raises(ValueError, match=r"row of places|given twice"):
            parse_positions(text)
    for mask in (-1, 1 << 15, 1 << 31, True, 1.0):
        with pytest.raises(ValueError, match="not a set of places"):
            positions_in(mask)


def row(position, symbol, *, usable=True):
    return ScutePosition(position, symbol, usable)


@pytest.mark.parametrize(
    ("style", "rows", "says"),
    [
        ("colors", [row("R1", "A")], "style: 'colors' is not known"),
        ("letters", [], "0 scutes may be notched"),
        ("letters", [row("R1", "A", usable=False)], "0 scutes may be notched"),
        ("letters", [row("R1", "A"), row("R1", "B")], "a scute has two rows"),
        ("letters", [row("R1", "A"), row("R2", "A")], "two scutes have the same symbol"),
        ("letters", [row("R1", "AB")], "must be one capital letter"),
        ("letters", [row("R1", "")], "must be one capital letter"),
        ("additive", [row("R1", "12")], "a digit followed by zeros"),
        ("left-right", [row("R1", "A")], "a number from 1 to 99"),
        ("left-right", [row(f"{side}{at}", str(at)) for side in "LR" for at in range(1, 14)], "26 scutes"),
        ("letters", [row("S1", "A")], "is not a place on the rim"),
    ],
)
def test_a_scheme_that_could_be_read_two_ways_is_refused(style, rows, says):
    with pytest.raises(ValueError, match=says):
        Scheme("own", "Own", "A test", style, tuple(rows))


def test_letter_schemes_that_cannot_be():
    with pytest.raises(ValueError, match="is not a side"):
        letter_scheme(first_side="B")
    with pytest.raises(ValueError, match="give 1 to 12"):
        letter_scheme(marginals=13)


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_every_scheme_names_its_source_and_what_to_confirm(scheme):
    assert scheme.source
    assert scheme.confirm.endswith(".")


def test_the_examples_in_the_docstrings_hold():
    tried = [doctest.testmod(module) for module in (codes, positions, tag_frame)]
    assert [one.failed for one in tried] == [0, 0, 0]
    assert all(one.attempted for one in tried)
