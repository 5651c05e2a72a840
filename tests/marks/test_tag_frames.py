"""The bits of a tag on the air: captured frames, worked checksums, and every error of one or two bits."""

import itertools
import random
import re

import pytest

from stock.marks.tag import (
    TagBits,
    TagRefused,
    crc,
    frame,
    from_dot_hex,
    from_frame,
    parse,
    read_frame,
    to_dot_hex,
)
from stock.marks.tag_frame import kermit, residue

# Digits, left and right hexadecimal, dotted form, checksum, frame. P1: pulses of a test signal in a public reader
# project, decoded by hand. P2, P3: captured tags of public reader projects (P3 with reserved bits, a trailer and the
# mark that it has one). P4: the four forms that a published conversion manual prints as one tag. The others are
# computed from the fields and agree with P1 to P4 in method. P8 is arithmetic only: no tag has number 0.
ROWS = {
    "P1": "985113007399202 8000F65A4FC41122 448823F25A6F0001 3D9.1A4FC41122 FCDF 002898891FCAB56F80407F73F8040201",
    "P2": "999000000001337 8000F9C000000539 9CA00000039F0001 3E7.0000000539 1ED3 00339A080402079F8040797788040201",
    "P2n": "999000000001337 0000F9C000000539 9CA00000039F0000 3E7.0000000539 9ADB 00339A080402079F80403B7598040201",
    "P3": "060030207938416 F0070F0708888F70 0EF11110E0F0E00F 03C.0708888F70 CE2B 0021DF188C43C1F0F043FA9738040203",
    "P4": "999123456789012 8000F9DCBE991A14 2858997D3B9F0001 3E7.1CBE991A14 B70B 0025158CCDF6779F80407A1ED8040201",
    "P5": "840003123456789 8000D200BA2C2B15 A8D4345D004B0001 348.00BA2C2B15 C11F 00351D49A576014B80407F1838040201",
    "P6": "900215000000001 8000E1320EFFA601 8065FF704C870001 384.320EFFA601 028F 0030165FFDC2998780407E3408040201",
    "P7": "998274877906943 8000F9BFFFFFFFFF FFFFFFFFFD9F0001 3E6.3FFFFFFFFF 33BB 003FFFFFFFFFFB9F80407BBCC8040201",
    "P8": "900000000000000 8000E10000000000 0000000000870001 384.0000000000 D775 0020100804020187804075DEB8040201",
}
PLAIN_ROWS = [name for name in ROWS if name not in ("P2n", "P3")]
P2 = ROWS["P2"].split()[-1]


def bits_of(name):
    digits = ROWS[name].split()[0]
    if name == "P3":
        return TagBits.of(digits, retagging=7, reserved=3, more=True)
    return TagBits.of(digits, animal=name != "P2n")


def trailer_of(name):
    return 0x800000 if name == "P3" else 0


@pytest.mark.parametrize("name", ROWS)
def test_captured_and_computed_tags(name):
    digits, left, right, dotted, checksum, whole = ROWS[name].split()
    bits = bits_of(name)
    assert (bits.left_hex, bits.right_hex) == (left, right)
    assert f"{bits.crc:04X}" == checksum
    assert bits.frame(trailer_of(name)) == whole
    assert read_frame(whole) == (bits, trailer_of(name))
    assert from_frame(whole) == from_frame(whole.lower()) == digits
    assert to_dot_hex(digits) == dotted
    assert from_dot_hex(dotted) == digits
    assert residue(bits.block()) == 0


@pytest.mark.parametrize("name", PLAIN_ROWS)
def test_plain_functions_on_plain_tags(name):
    digits, _, _, _, checksum, whole = ROWS[name].split()
    assert crc(digits) == int(checksum, 16)
    assert frame(digits) == whole


@pytest.mark.parametrize("name", [name for name in ROWS if name != "P8"])
def test_every_written_form_is_read(name):
    digits, left, right, dotted, _, _ = ROWS[name].split()
    for form in (digits, left, right, dotted):
        assert parse(form).digits == digits
    for form in (left, right):
        assert parse(form).bits == bits_of(name)
        assert ("PIT11" in [note.code for note in parse(form).notes]) is (name == "P2n")


def test_reserved_bits_of_a_captured_tag():
    """P3's bits 2 to 15 together are 14339 (0x3803), its data block 0x800000, as its reader project states."""
    bits, trailer = read_frame(ROWS["P3"].split()[-1])
    assert bits.retagging << 11 | bits.user_field << 6 | bits.reserved == 14339
    assert (bits.more, trailer) == (True, 0x800000)
    assert bits.block(trailer) == "0EF11110E0F0E00FD473000001"


def test_block_of_a_captured_tag_without_animal_bit():
    """Thirteen bytes that a public reader project lists with the animal bit false."""
    assert bits_of("P2n").block() == "9CA00000039F0000DB59000000"
    assert crc("999000000001337", animal=False) == 0x9ADB
    assert frame("999000000001337", animal=False) == ROWS["P2n"].split()[-1]


def test_a_frame_worked_by_hand():
    """1337 = 0x539, 999 = 0x3E7: eight bytes lowest first, their checksum, a one after each eight bits."""
    octets = bytes.fromhex("39050000C0F90080")
    assert TagBits.of("999000000001337").number == int.from_bytes(octets, "little") == 0x8000F9C000000539
    assert kermit(octets) == 0x1ED3
    assert bytes.fromhex("2211C44F5AF60080") == TagBits.of("985113007399202").number.to_bytes(8, "little")


def test_checksum_of_the_common_test_text():
    # CRC-16/KERMIT's check value in the common catalogs of checksums.
    assert kermit(b"123456789") == 0x2189
    assert kermit(b"") == 0


def plain_crc(bits, start):
    register = start
    for bit in bits:
        top = register >> 15 ^ int(bit)
        register = register << 1 & 0xFFFF ^ (0x1021 if top else 0)
    return register


def air_bits(octets, *, lowest_first):
    return "".join(f"{octet:08b}"[::-1] if lowest_first else f"{octet:08b}" for octet in octets)


def test_the_usual_wrong_checksums_are_not_ours():
    """What P2 gives under wrong settings, computed with a register written out here: none of them is ours."""
    right = crc("999000000001337")
    octets = bytes.fromhex("39050000C0F90080")
    flipped = bytes.fromhex("9CA00000039F0001")
    wrong = {
        "start FFFF, reflected": int(
            f"{plain_crc(air_bits(octets, lowest_first=True), 0xFFFF):016b}"[::-1], 2
        ),
        "not reflected, bytes lowest first": plain_crc(air_bits(octets, lowest_first=False), 0),
        "not reflected, bytes of the air": plain_crc(air_bits(flipped, lowest_first=False), 0),
        "start FFFF, not reflected": plain_crc(air_bits(flipped, lowest_first=False), 0xFFFF),
    }
    assert list(wrong.values()) == [0x625F, 0x399D, 0xCB78, 0xFA46]
    assert right not in wrong.values()
    assert int(f"{right:016b}"[::-1], 2) == 0xCB78


def test_one_wrong_bit_of_a_captured_tag():
    """P1 with the bit of index 5 changed: the number becomes 113007399170 and the receiver's register AD35."""
    block = bits_of("P1").block()
    changed = f"{int(block, 16) ^ 1 << 104 - 1 - 5:026X}"
    assert residue(changed) == 0xAD35
    number = int(f"{int(changed[:16], 16):064b}"[::-1], 2)
    assert TagBits.from_number(number).national_id == 113007399170


def test_all_errors_of_one_and_two_bits_leave_a_residue():
    """80 single and 3160 double errors in number and checksum of P2."""
    block = int(bits_of("P2").block()[:20], 16)
    singles = [1 << at for at in range(80)]
    doubles = [one | other for one, other in itertools.combinations(singles, 2)]
    assert (len(singles), len(doubles)) == (80, 3160)
    assert all(residue(f"{block ^ error:020X}") for error in singles + doubles)


@pytest.mark.parametrize("name", ["P1", "P2", "P7"])
def test_every_wrong_bit_and_pair_of_wrong_bits_in_a_frame_is_caught(name):
    """All 128 single and 8128 double errors: header, control bits, number, checksum and trailer."""
    whole = int(ROWS[name].split()[-1], 16)
    errors = [1 << at for at in range(128)]
    errors += [one | other for one, other in itertools.combinations(errors, 2)]
    assert len(errors) == 128 + 8128
    for error in errors:
        with pytest.raises(TagRefused):
            from_frame(f"{whole ^ error:032X}")


def test_only_a_trailer_can_be_wrong_unseen_and_only_when_told_so():
    whole = int(P2, 16)
    with pytest.raises(TagRefused, match="what follows its number is not zero") as refused:
        from_frame(f"{whole ^ 1 << 1:032X}")
    assert refused.value.code == "PIT44"
    assert from_frame(f"{whole ^ 1 << 1:032X}", any_trailer=True) == "999000000001337"


def test_errors_of_three_to_sixteen_bits_in_a_row_are_caught():
    """A CRC of 16 bits finds every burst no longer than itself (Peterson & Brown 1961): seeded ones on P2."""
    rng = random.Random(10)
    block = int(bits_of("P2").block()[:20], 16)
    for length in range(3, 17):
        for start in range(80 - length + 1):
            inside = rng.getrandbits(length - 2) << 1
            assert residue(f"{block ^ (1 | inside | 1 << length - 1) << start:020X}")


def test_frames_come_back_on_a_large_sample():
    """Over 2**62 frames are possible: 3,000 are drawn with a seed, all fields and trailers among them."""
    rng = random.Random(11)
    for _ in range(3000):
        bits = TagBits(
            rng.randint(1, 999),
            rng.randint(0, 2**38 - 1),
            rng.random() < 0.5,
            rng.randint(0, 7),
            rng.randint(0, 31),
            rng.randint(0, 63),
            rng.random() < 0.5,
        )
        trailer = rng.getrandbits(24) if bits.more else 0
        whole = bits.frame(trailer)
        assert re.fullmatch("[0-9A-F]{32}", whole)
        assert read_frame(whole) == (bits, trailer)
        assert residue(bits.block(trailer)) == 0
        assert from_frame(frame(bits.digits)) == bits.digits


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "PIT42"),
        (P2[:-1], "PIT42"),
        (P2 + "0", "PIT42"),
        (P2[:-1] + "G", "PIT42"),
        ("٣" * 32, "PIT42"),
        ("0" * 32, "PIT43"),
        ("F" * 32, "PIT43"),
        (P2[:10] + ("1" if P2[10] != "1" else "2") + P2[11:], "PIT12"),
    ],
)
def test_what_is_no_frame_is_refused_in_a_sentence(text, code):
    with pytest.raises(TagRefused) as refused:
        from_frame(text)
    assert refused.value.code in (code, "PIT43")
    assert str(refused.value).endswith(".")


def test_a_frame_with_a_wrong_checksum_says_read_again():
    wrong = TagBits.of("999000000001337").frame()
    at = 11 + 64 + 8 + 3  # a bit of the checksum, past the control bits of the number
    with pytest.raises(TagRefused, match="Checksum does not match; read again") as refused:
        from_frame(f"{int(wrong, 16) ^ 1 << 127 - at:032X}")
    assert refused.value.code == "PIT12"


def test_a_frame_may_be_typed_with_spaces():
    assert from_frame(f" {P2[:8]} {P2[8:16].lower()}\n{P2[16:]} ") == "999000000001337"


def test_a_frame_whose_country_cannot_be_printed():
    with pytest.raises(TagRefused, match="would be 1023"):
        from_frame(TagBits(1023, 1).frame())


@pytest.mark.parametrize("convert", [crc, frame, to_dot_hex])
@pytest.mark.parametrize(
    "digits",
    [
        "",
        "98511300739920",
        "9851130073992021",
        "985 113007399202",
        "98511300739920A",
        "٣" * 15,
        "989737733408912",
    ],
)
def test_only_fifteen_possible_digits_are_converted(convert, digits):
    with pytest.raises(TagRefused, match=r"15 digits|Only digits|may not exceed"):
        convert(digits)


@pytest.mark.parametrize("convert", [crc, frame, to_dot_hex, from_frame, from_dot_hex])
@pytest.mark.parametrize("thing", [None, 985113007399202, b"985"])
def test_what_is_not_text_is_not_converted(convert, thing):
    with pytest.raises(ValueError, match=r"not text|not the dotted form"):
        convert(thing)


@pytest.mark.parametrize(
    "wrong",
    [
        {"country": 1024},
        {"country": -1},
        {"national_id": 2**38},
        {"retagging": 8},
        {"user_field": 32},
        {"reserved": 64},
        {"country": True},
        {"national_id": 1.0},
    ],
)
def test_fields_that_do_not_fit_are_refused(wrong):
    with pytest.raises(ValueError, match="does not fit; it runs from 0 to"):
        TagBits(**{"country": 840, "national_id": 1, **wrong})


@pytest.mark.parametrize("trailer", [-1, 1 << 24, True, 1.0])
def test_a_trailer_that_does_not_fit_is_refused(trailer):
    with pytest.raises(ValueError, match=r"trailer: .* does not fit"):
        TagBits(840, 1).frame(trailer)
