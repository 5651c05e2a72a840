"""Tag numbers: captured tags and published examples, every form and reader line, and what is refused or noted."""

import itertools
import random
import re

import pytest

from stock.marks import countries
from stock.marks.tag import (
    FAMILIES,
    MESSAGES,
    Note,
    TagBits,
    TagRefused,
    close_to,
    conflict,
    look_alikes,
    parse,
    to_dot_hex,
)
from stock.marks.tag_frame import from_dot_hex

PLAIN = "985113007399202"


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        "985.113.007.399.202",
        "985 113007399202",
        "985-113007399202",
        "0985113007399202",
        "3d9.1a4fc41122",
        "3D9.1A4FC41122",
        "LA_985_113007399202",
        "LA 00000 0 985 113007399202",
        "8000F65A4FC41122",
        "8000f65a4fc41122",
        "448823F25A6F0001",
        "0985-113007399202",
        "985 113 007 399 202",
        "985 1130 0739 9202",
        "LA_00000_0_985_113_007_399_202",
        "985.113007399202",
        "LA 00000 0 985 113007399202 001",
        f"{PLAIN}\r\n",
        "\x02LA 00000 0 985 113007399202\r\n",
        f"{PLAIN},2024-05-01,09:30:00",
        f"{PLAIN};2024-05-01T09:30:00Z",
        f"{PLAIN}\t12.5",
        f"17 {PLAIN} ok",
        f"{PLAIN}\r\n{PLAIN}\r\n",
        f"'{PLAIN}",
        f'"{PLAIN}"',
        f"{PLAIN}.0",
        f"  {PLAIN}  ",
        "985\xa0113007399202",
    ],
)
def test_every_form_of_one_tag(text):
    """The captured tag P1 of the frame tests, in the forms that print and readers give it."""
    tag = parse(text)
    assert (tag.digits, tag.country, tag.national_id, tag.notes) == (PLAIN, 985, 113007399202, ())
    assert (tag.code, tag.family, tag.raw) == (PLAIN, "iso", text)
    assert tag.is_maker
    assert not tag.is_guess


def test_lines_of_a_stick_reader():
    """The two animal lines of a stick reader's manual, and its line for what is no animal."""
    assert parse("LA 982 000001088420\r\n").digits == "982000001088420"
    assert parse("LA 00000 0 982 000001088420\r\n").digits == "982000001088420"
    with pytest.raises(TagRefused, match="no animal's tag") as refused:
        parse("LR_0006_0000000018514348")
    assert refused.value.code == "PIT21"


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("98511300739920", "PIT01", "A microchip number has 15 digits; this has 14."),
        ("9851130073992021", "PIT01", "A microchip number has 15 digits; this has 16."),
        ("985", "PIT01", "this has 3."),
        ("00000000000000", "PIT01", "this has 14."),
        (
            "985113OO7399202",
            "PIT02",
            "found 'O' at place 7. Letter O is often typed for zero, I or l for one.",
        ),
        ("985l13007399202", "PIT02", "found 'l' at place 4."),
        ("985 113oo7399202", "PIT02", "found 'o' at place 8."),
        ("985113007399202X", "PIT02", "found 'X' at place 16."),
        ("985113007399202A", "PIT02", "found 'A' at place 16."),
        ("９85113007399202", "PIT02", "found '９' at place 1."),
        (
            "9.85113E+14",
            "PIT04",
            "This number was rounded by a spreadsheet and cannot be restored. Read the tag again.",
        ),
        ("9,85113E+14", "PIT04", "rounded by a spreadsheet"),
        ("9.85113007399202e14", "PIT04", "rounded by a spreadsheet"),
        ("9E+14", "PIT04", "rounded by a spreadsheet"),
        # 2**38 - 1 = 274 877 906 943; the first number is an impossible one that a published manual prints.
        (
            "989737733408912",
            "PIT05",
            "The last 12 digits may not exceed 274 877 906 943. Check digits 4 to 15.",
        ),
        ("998274877906944", "PIT05", "may not exceed"),
        ("3E7.4000000000", "PIT05", "may not exceed"),
        ("000113007399202", "PIT06", "000 is not a valid country or maker code."),
        ("0000113007399202", "PIT06", "000 is not"),
        ("900000000000000", "PIT09", "The animal number is all zeros: blank or unprogrammed tag."),
        ("384.0000000000", "PIT09", "all zeros"),
        ("8000E10000000000", "PIT09", "all zeros"),
        ("", "PIT20", "No tag number was given."),
        (" \r\n\t\x00", "PIT20", "No tag number was given."),
        ("'", "PIT20", "No tag number was given."),
        ("985 113007399202 985 113007399203", "PIT22", "985113007399202 and 985113007399203"),
        (f"{PLAIN}\r\n982000001088420\r\n", "PIT22", "Read one tag at a time."),
        ("hello", "PIT23", "No tag number was found in: hello."),
        ("3E7.1CBE991A1", "PIT23", "No tag number was found in"),
        ("BKO", "PIT23", "No tag number was found in"),
        ("-", "PIT23", "No tag number was found in"),
        ("1.E+14", "PIT04", "rounded by a spreadsheet"),
        ("985E12", "PIT04", "rounded by a spreadsheet"),
        ("FFFFFFFFFFFFFFFF", "PIT25", "is not the content of an animal tag"),
        ("3FF.0000000001", "PIT26", "would be 1023, which is above 999"),
        ("9" * 201, "PIT27", "The text has 201 characters"),
        ("9851130070000001", "PIT01", "this has 16."),
        ("9851130073990001", "PIT28", "one too many for a number, or a reader's hexadecimal form"),
    ],
)
def test_what_is_no_tag_number_is_refused_in_a_sentence(text, code, says):
    with pytest.raises(ValueError, match=re.escape(says)) as refused:
        parse(text)
    assert refused.value.code == code


@pytest.mark.parametrize("thing", [None, 985113007399202, 9.85e14, b"985", ["985"]])
def test_a_number_that_is_not_text_is_refused(thing):
    with pytest.raises(ValueError, match="leading zeros are lost"):
        parse(thing)


@pytest.mark.parametrize(
    ("text", "digits", "codes", "says"),
    [
        ("999000000001337", "999000000001337", ["PIT07"], "999 marks a test tag; it may not be unique."),
        ("999123456789012", "999123456789012", ["PIT07"], "999 marks a test tag; it may not be unique."),
        ("687059845522518", "687059845522518", ["PIT08"], "687 is not an assigned country number."),
        # A documented example of hexadecimal content, whose country is not in ISO 3166.
        ("8000ABCDEF123456", "687059845522518", ["PIT08"], "687 is not an assigned country number."),
        ("001000000000005", "001000000000005", ["PIT08"], "001 is not an assigned country number."),
        (
            "60030207938416",
            "060030207938416",
            ["PIT03"],
            "One digit short. If the first zero was lost (spreadsheets do "
            "this), the number may be 060030207938416.",
        ),
        ("0000F9C000000539", "999000000001337", ["PIT07", "PIT11"], "Tag is coded as non-animal."),
        ("9CA00000039F0000", "999000000001337", ["PIT07", "PIT11"], "Tag is coded as non-animal."),
        ("A280D200075BCD15", "840000123456789", ["PIT41"], "stands at 2."),
        ("840003123456789", "840003123456789", [], ""),
        ("060030207938416", "060030207938416", [], ""),
        ("0060-030207938416", "060030207938416", [], ""),
    ],
)
def test_what_is_odd_is_kept_and_said(text, digits, codes, says):
    tag = parse(text)
    assert tag.digits == digits
    assert [note.code for note in tag.notes] == codes
    assert says in " ".join(tag.notes)
    assert tag.is_guess is ("PIT03" in codes)


def test_a_short_number_is_mended_only_where_the_mended_one_can_be():
    # 0 + these digits would have a national number above 2**38 - 1, or an all-zero one.
    for text in ("89737733408912", "60000000000000"):
        with pytest.raises(TagRefused, match="this has 14"):
            parse(text)


@pytest.mark.parametrize(
    ("text", "family", "code", "notes"),
    [
        ("012*345*678", "nine-digit", "012345678", ["PIT30"]),
        ("012 345 678", "nine-digit", "012345678", ["PIT30"]),
        ("012345678", "nine-digit", "012345678", ["PIT30"]),
        ("0A1B2C3D4E", "ten-character", "0A1B2C3D4E", ["PIT31"]),
        ("0a1b 2c3d-4e", "ten-character", "0A1B2C3D4E", ["PIT31"]),
        ("1234567E12", "ten-character", "1234567E12", ["PIT31"]),
        ("1234567890", "ten-character", "1234567890", ["PIT31", "PIT32"]),
    ],
)
def test_older_tags_are_kept_as_they_are(text, family, code, notes):
    tag = parse(text)
    assert (tag.family, tag.code, tag.digits, tag.country, tag.national_id) == (
        family,
        code,
        None,
        None,
        None,
    )
    assert [note.code for note in tag.notes] == notes
    assert not tag.is_maker
    assert tag.family in FAMILIES
    with pytest.raises(TagRefused):
        to_dot_hex(tag.code)


def test_fields_of_a_tag_marked_anew():
    """Worked by hand: A280D200075BCD15 = 1, 010, 00101, 000000, 0, 840, 123456789."""
    bits = parse("A280D200075BCD15").bits
    assert bits == TagBits(840, 123456789, True, 2, 5, 0, False)
    assert bits.left_hex == "A280D200075BCD15"


def drawn_tags(count, seed):
    rng = random.Random(seed)
    numbers = [*range(1, 900), *range(900, 1000)]
    for _ in range(count):
        yield f"{rng.choice(numbers):03}{rng.randint(1, 2**38 - 1):012}"


def test_every_form_comes_back_on_a_large_sample():
    """The domain is 999 x (2**38 - 1) numbers: 4,000 are drawn with a seed, and every country with both ends."""
    edges = [f"{country:03}{national:012}" for country in range(1, 1000) for national in (1, 2**38 - 1)]
    for digits in [*drawn_tags(4000, seed=6), *edges]:
        assert parse(digits).digits == digits
        assert from_dot_hex(to_dot_hex(digits)) == digits
        bits = TagBits.of(digits)
        assert TagBits.from_number(bits.number) == bits
        assert bits.digits == digits
        for form in (
            to_dot_hex(digits),
            f"0{digits}",
            f"{digits[:3]} {digits[3:]}",
            f"LA {digits[:3]} {digits[3:]}\r\n",
            ".".join(digits[at : at + 3] for at in range(0, 15, 3)),
        ):
            assert parse(form).digits == digits, form


def test_both_hexadecimal_forms_come_back_or_ask():
    """Whole content either end first: read as what it is, or refused because it could be a decimal or the other end."""
    read = asked = 0
    for digits in drawn_tags(4000, seed=7):
        bits = TagBits.of(digits)
        for form in (bits.left_hex, bits.right_hex):
            if form[0] == "0" and form.isdigit():
                continue  # sixteen digits with a zero before are decimal by rule
            tag, refused = tried(form)
            if refused:
                assert refused.code in ("PIT24", "PIT28")
                assert digits in str(refused)
                asked += 1
            else:
                assert (tag.digits, tag.bits) == (digits, bits)
                read += 1
    assert read > 100 * asked > 0


def test_content_that_is_the_same_from_either_end_is_asked_about():
    # 8001...0001 is ordinary content one way and the other: the numbers differ, so a person must say.
    with pytest.raises(TagRefused, match="can be read from either end, as") as refused:
        parse("8001F9C00A6F0001")
    assert refused.value.code == "PIT24"


def test_nothing_typed_crashes():
    """Twenty thousand seeded texts of the characters that tags and slips are made of: a tag, or a sentence."""
    rng = random.Random(8)
    letters = "0123456789" * 4 + "ABCDEFabcdefLRloO .-_,;:*+'\"\t\r\n\x00\x02\xa0é٣９²½"
    for _ in range(20_000):
        text = "".join(
            rng.choice(letters) for _ in range(rng.choice((0, 1, 3, 9, 10, 14, 15, 16, 17, 20, 26, 40, 199)))
        )
        tag, refused = tried(text)
        if refused:
            assert str(refused).strip()
            assert "{" not in MESSAGES[refused.code].format_map(Anything())
        else:
            assert tag.code
            assert (tag.digits is None) == (tag.family != "iso")
            assert tag.digits is None or re.fullmatch("[0-9]{15}", tag.digits)


def tried(text):
    """Return the tag or the refusal; anything else fails the test."""
    try:
        return parse(text), None
    except TagRefused as refused:
        return None, refused


class Anything(dict):
    def __missing__(self, key):
        return "x"


def test_country_numbers():
    # ISO 3166-1 has 249 entries; the four of the trade, and a few that are not assigned.
    assert len(countries.COUNTRY_NUMBERS) == 249
    assert all(countries.is_country(number) for number in (840, 124, 484, 156, 4, 894, 36, 60, 826))
    assert not any(countries.is_country(number) for number in (0, 1, 687, 899, 900, 985, 999, 1000))
    assert [number for number in range(890, 1001) if countries.is_maker(number)] == list(range(900, 999))


def test_a_conflict_is_a_sentence_and_no_refusal():
    note = conflict("T-0147", "3 May 2024")
    assert note == "This tag is active on T-0147 since 3 May 2024. Close that record or mark a conflict."
    assert (note.code, isinstance(note, str)) == ("PIT10", True)


def test_numbers_that_one_slip_makes_of_another():
    near = look_alikes(PLAIN)
    assert len(near) == 15 * 9 + 14 - sum(one == other for one, other in itertools.pairwise(PLAIN))
    assert {"985113007399203", "985113007399220", "895113007399202"} <= near
    assert PLAIN not in near
    for other in near:
        assert PLAIN in set(swaps(other)) | {other[:at] + PLAIN[at] + other[at + 1 :] for at in range(15)}
    (note,) = close_to(PLAIN, ["985113007399203", "985113007399999", PLAIN])
    assert note == "Very close to 985113007399203; was it mistyped?"
    assert note.code == "PIT13"
    assert close_to(PLAIN, iter(["985113007399302"])) == (Note("PIT13", other="985113007399302"),)
    assert close_to(PLAIN, []) == ()
    with pytest.raises(TagRefused):
        look_alikes("985")


def swaps(digits):
    for at in range(14):
        yield f"{digits[:at]}{digits[at + 1]}{digits[at]}{digits[at + 2 :]}"
