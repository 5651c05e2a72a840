"""Notch codes written and read: published examples, worked values, every code of every scheme, and what is refused."""

import itertools
import random

import pytest

from stock.marks.issued import Issued
from stock.marks.notch import (
    ADDITIVE_SCHEME,
    LEFT_RIGHT_SCHEME,
    LETTER_SCHEME,
    LETTER_SCHEME_11,
    RELABELLED_SCHEME,
    SCHEMES,
    SITE_SCHEME,
    Scheme,
    ScutePosition,
    additive_scheme,
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


@pytest.mark.parametrize(
    ("scheme", "notches", "codes"),
    [
        # Binomial coefficients of 16 and of 14 scutes.
        (LETTER_SCHEME, 1, 16),
        (LETTER_SCHEME, 2, 120),
        (LETTER_SCHEME, 3, 560),
        (LETTER_SCHEME, 4, 1820),
        (LETTER_SCHEME, 5, 4368),
        (LETTER_SCHEME, None, 65_535),
        (LETTER_SCHEME_11, 1, 14),
        (LETTER_SCHEME_11, 2, 91),
        (LETTER_SCHEME_11, 3, 364),
        (LETTER_SCHEME_11, 4, 1001),
        (LETTER_SCHEME, 17, 0),
        # "No limit" of a left-right scheme with eight usable scutes a side.
        (LEFT_RIGHT_SCHEME, None, 65_535),
        # One left notch for the site and up to three right ones: 9 sites of 129.
        (SITE_SCHEME, None, 9 * 129),
        (SITE_SCHEME, 2, 9 * 9),
        (SITE_SCHEME, 1, 0),
        (ADDITIVE_SCHEME, None, 9999),
    ],
)
def test_capacity(scheme, notches, codes):
    assert capacity(scheme, notches=notches) == codes


def test_capacity_up_to_so_many_notches():
    # Sums of binomial coefficients: 16 + 120 + 560 = 696, + 1820 = 2516; 14 + 91 + 364 = 469.
    assert sum(capacity(LETTER_SCHEME, notches=notches) for notches in (1, 2, 3)) == 696
    assert sum(capacity(LETTER_SCHEME, notches=notches) for notches in (1, 2, 3, 4)) == 2516
    assert sum(capacity(LETTER_SCHEME_11, notches=notches) for notches in (1, 2, 3)) == 469


def limited(most_a_side):
    return Scheme(
        "own",
        "Own",
        "A test",
        "left-right",
        LEFT_RIGHT_SCHEME.rows,
        most_left=most_a_side,
        most_right=most_a_side,
    )


@pytest.mark.parametrize(("most_a_side", "codes"), [(2, 1368), (1, 80)])
def test_capacity_with_a_limit_a_side(most_a_side, codes):
    # (1 + 8 + 28)^2 - 1 and (1 + 8)^2 - 1: every side's choices, less the unmarked animal.
    assert capacity(limited(most_a_side)) == codes
    with pytest.raises(ValueError, match=f"left side has 3 notches; this scheme wants 0 to {most_a_side}"):
        decode(limited(most_a_side), "1,2,3-0")


def test_two_right_notches_a_site_give_45_animals():
    # 9 + 36; with three 129 (tested above).
    narrow = Scheme(
        "own",
        "Own",
        "A test",
        "site",
        SITE_SCHEME.rows,
        least_left=1,
        most_left=1,
        least_right=1,
        most_right=2,
    )
    assert capacity(narrow) == 9 * 45


@pytest.mark.parametrize(
    ("number", "values"),
    [
        # 1545 is the worked example of a field data sheet with this scheme of values.
        (1545, (1000, 400, 100, 40, 4, 1)),
        (7, (7,)),
        (11, (10, 1)),
        (442, (400, 40, 2)),
        (999, (700, 200, 70, 20, 7, 2)),
        (9999, (7000, 2000, 700, 200, 70, 20, 7, 2)),
    ],
)
def test_numbers_are_sums_of_values(number, values):
    place_of = {int(row.symbol): row.position for row in ADDITIVE_SCHEME.rows}
    positions = {place_of[value] for value in values}
    assert set(decode(ADDITIVE_SCHEME, str(number))) == positions
    assert encode(ADDITIVE_SCHEME, positions) == str(number)


@pytest.mark.parametrize(
    ("number", "letters"), [(1545, "ACKMOQ"), (442, "BKO"), (999, "BHJLNP"), (205, "ACN")]
)
def test_numbers_share_their_scutes_with_letter_codes(number, letters):
    # The sample layout runs along the letters: R1, R2, R3, R8 = 1, 2, 4, 7, then by tens, hundreds, thousands.
    assert encode(LETTER_SCHEME, decode(ADDITIVE_SCHEME, str(number))) == letters


@pytest.mark.parametrize(
    ("values", "total"), [((1, 2, 4), 7), ((4, 7), 11), ((2, 7, 1), 10)], ids=["1+2+4", "4+7", "2+7+1"]
)
def test_notches_that_their_sum_does_not_stand_for_are_pointed_out(values, total):
    place_of = {int(row.symbol): row.position for row in ADDITIVE_SCHEME.rows}
    with pytest.raises(ValueError, match=f"sum to {total}, but {total} is written with"):
        encode(ADDITIVE_SCHEME, [place_of[value] for value in values])


def test_how_many_numbers_take_how_many_notches():
    # Counted over 1 to 9999 with digits of 1 notch (1, 2, 4, 7) and 2 notches (3, 5, 6, 8, 9): the coefficients of
    # (1 + 4x + 5x^2)^4.
    power = [1]
    for _ in range(4):
        product = [0] * (len(power) + 2)
        for at, times in enumerate(power):
            for step, digits in enumerate((1, 4, 5)):
                product[at + step] += times * digits
        power = product
    counts = [capacity(ADDITIVE_SCHEME, notches=notches) for notches in range(1, 9)]
    assert counts == power[1:] == [16, 116, 496, 1366, 2480, 2900, 2000, 625]
    assert sum(counts[:3]) == 628


def test_additive_numbers_one_notch_apart():
    marks = [set(decode(ADDITIVE_SCHEME, str(number))) for number in range(1, 10_000)]
    pairs = itertools.combinations(marks[:99], 2)
    assert sum(distance(one, other) == 1 for one, other in pairs) == 272
    even = [number for number, mark in enumerate(marks, start=1) if len(mark) % 2 == 0]
    assert len(even) == 5007
    assert sum(number < 1000 for number in even) == 503
    assert even[:15] == [3, 5, 6, 8, 9, 11, 12, 14, 17, 21, 22, 24, 27, 30, 33]


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
    "typed", ["1,9-2", "L1,9R2", "L1L9R2", "r2l1l9", "9,1 - 2", "1,9–2", "1 9-2", "L9,1 R2"]
)
def test_left_right_codes_are_read_in_every_spelling(typed):
    assert normalize(LEFT_RIGHT_SCHEME, typed) == "1,9-2"


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("0-0", "no notch"),
        ("-", "no notch"),
        ("1,9", "is not a left-right code"),
        ("1-2-3", "is not a left-right code"),
        ("1,1-2", "stands twice"),
        ("1,x-2", "is not a scute's number"),
        ("13-0", "the left side has no scute 13"),
        ("L1R2X", "is not understood"),
        ("5-0", "left marginal 5 lies on the bridge"),
        ("²-1", "is not a scute's number"),
    ],
)
def test_what_is_no_left_right_code_is_refused_in_a_sentence(typed, says):
    with pytest.raises(ValueError, match="(?i)" + says):
        decode(LEFT_RIGHT_SCHEME, typed)


def test_a_side_without_notches_may_be_blank():
    assert normalize(LEFT_RIGHT_SCHEME, "-2") == "0-2"
    assert normalize(LEFT_RIGHT_SCHEME, "3-") == "3-0"


def test_the_same_text_means_other_scutes_under_another_scheme():
    # L3R4 is legal where the open scutes are numbered 1 to 9 (marginal 7 is number 4) and on the bridge where
    # marginals keep their own numbers (British Columbia protocol: marginals 9 and 10 are its 6 and 7).
    assert set(decode(RELABELLED_SCHEME, "L3R4")) == {"L3", "R7"}
    with pytest.raises(ValueError, match="Right marginal 4 lies on the bridge"):
        decode(LEFT_RIGHT_SCHEME, "L3R4")
    assert set(decode(RELABELLED_SCHEME, "6-7")) == {"L9", "R10"}


def test_relabelled_scutes():
    # Marginals 1 2 3 7 8 9 10 11 12 carry 1 to 9 in the British Columbia protocol, which leaves out 4, 5 and 6.
    for label, marginal in enumerate((1, 2, 3, 7, 8, 9, 10, 11, 12), start=1):
        assert encode(RELABELLED_SCHEME, [f"R{marginal}"]) == f"0-{label}"
        assert encode(RELABELLED_SCHEME, [f"L{marginal}"]) == f"{label}-0"
    with pytest.raises(ValueError, match="Left marginal 5 lies on the bridge and is not part of this scheme"):
        encode(RELABELLED_SCHEME, ["L5"])


@pytest.mark.parametrize(
    ("code", "says"), [("3-0", "right side has 0"), ("1,2-3", "left side has 2"), ("0-1", "left side has 0")]
)
def test_a_site_code_needs_one_left_notch_and_one_right_at_least(code, says):
    with pytest.raises(ValueError, match=f"The {says} notch"):
        decode(SITE_SCHEME, code)
    assert set(decode(SITE_SCHEME, "3-1,4")) == {"L3", "R1", "R7"}


@pytest.mark.parametrize("code", ["0", "-1", "10000", "1.5", "x", "1e3", "٣", ""])
def test_what_is_no_additive_number_is_refused(code):
    with pytest.raises(ValueError, match=r"they run from 1 to 9999|No code"):
        decode(ADDITIVE_SCHEME, code)


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


def test_additive_values_that_leave_a_digit_out_say_so():
    coarse = additive_scheme("own", "Own", "A test", {"R1": 1, "R2": 2, "R3": 30})
    assert decode(coarse, "33") == ("R1", "R2", "R3")
    with pytest.raises(ValueError, match="a digit of it has no scutes"):
        decode(coarse, "4")
    assert capacity(coarse) == 7  # 1, 2, 3, 30, 31, 32, 33


def test_letter_schemes_that_cannot_be():
    with pytest.raises(ValueError, match="is not a side"):
        letter_scheme(first_side="B")
    with pytest.raises(ValueError, match="give 1 to 12"):
        letter_scheme(marginals=13)


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_every_scheme_names_its_source_and_what_to_confirm(scheme):
    assert scheme.source
    assert scheme.confirm.endswith(".")
