"""Numbered notch codes (left-right, additive, by site), and how many codes a scheme has."""

import itertools

import pytest

from stock.marks.notch import (
    ADDITIVE_SCHEME,
    LEFT_RIGHT_SCHEME,
    LETTER_SCHEME,
    LETTER_SCHEME_11,
    RELABELLED_SCHEME,
    SITE_SCHEME,
    Scheme,
    additive_scheme,
    capacity,
    decode,
    distance,
    encode,
    normalize,
)


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


def test_additive_values_that_leave_a_digit_out_say_so():
    coarse = additive_scheme("own", "Own", "A test", {"R1": 1, "R2": 2, "R3": 30})
    assert decode(coarse, "33") == ("R1", "R2", "R3")
    with pytest.raises(ValueError, match="a digit of it has no scutes"):
        decode(coarse, "4")
    assert capacity(coarse) == 7  # 1, 2, 3, 30, 31, 32, 33
