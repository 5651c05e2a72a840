"""Next free code, half-read rims, and which kinds may be notched."""

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
    SchemeFull,
    candidates,
    capacity,
    check_rim,
    decode,
    distance,
    letter_scheme,
    mask_of,
    misreads,
    near_codes,
    next_free,
    normalize,
    not_there,
    rim_of,
)


def by_hand(scheme, used, *, notches, min_distance, unusable=()):
    """Return every code that is free, by comparing each code with each: the definition, slowly."""
    places = [place for place in ordered(scheme) if place not in unusable]
    marks = [set(decode(scheme, code)) for code in used]
    for chosen in itertools.combinations(places, notches):
        if all(len(mark ^ set(chosen)) >= min_distance for mark in marks):
            yield set(chosen)


def ordered(scheme):
    return [row.position for row in scheme.rows if row.usable]


# Worked by hand along the alphabet A B C H I J K L M N O P Q V W X.
@pytest.mark.parametrize(
    ("used", "asked", "free"),
    [
        (["ABC", "ABH"], {"min_distance": 2}, "ABI"),
        (["ABC"], {"min_distance": 4}, "AHI"),
        (["ABC", "AHI"], {"min_distance": 4}, "AJK"),
        (["ABC"], {"min_distance": 2, "unusable": ["B"]}, "ACH"),
        (["ABC"], {"min_distance": 2, "unusable": ["R2"]}, "ACH"),
        (["ABC", "AHI", "AJK"], {"min_distance": 4, "unusable": ["L"]}, "AMN"),
        ([], {}, "ABC"),
        ([], {"notches": 1, "min_distance": 1}, "A"),
        (["ABC"], {"fixed": ["X"]}, "ABX"),
        # VWX is the mirror image of ABC; ABC becomes ABH only across the bridge, HIJ becomes HIK.
        (["VWX"], {"keep_mirrors_apart": True}, "ABH"),
        (["ABI"], {"keep_neighbors_apart": True}, "ABC"),
        (["ABC", "ABI"], {"keep_neighbors_apart": True}, "ABK"),
    ],
)
def test_next_free_letter_code(used, asked, free):
    assert next_free(LETTER_SCHEME, used, **asked) == free


def greedy(scheme, notches, min_distance):
    codes = []
    while True:
        try:
            codes.append(next_free(scheme, codes, notches=notches, min_distance=min_distance))
        except SchemeFull as full:
            return codes, str(full)


@pytest.mark.parametrize(
    ("scheme", "notches", "min_distance", "codes", "first", "last"),
    [
        # Sizes of the greedy (lexicographic) constant-weight codes of length 16 and 14, found by comparing all pairs.
        (LETTER_SCHEME, 3, 4, 35, "ABC AHI AJK ALM ANO APQ", "KMV KNQ KOP"),
        (LETTER_SCHEME, 4, 4, 140, "ABCH", "QVWX"),
        (LETTER_SCHEME, 4, 6, 15, "", ""),
        (LETTER_SCHEME, 2, 4, 8, "", ""),
        (LETTER_SCHEME_11, 3, 4, 28, "", "KQV"),
    ],
)
def test_codes_given_out_until_the_scheme_is_full(scheme, notches, min_distance, codes, first, last):
    given, full = greedy(scheme, notches, min_distance)
    assert len(given) == codes
    assert given[: len(first.split())] == first.split()
    assert given[len(given) - len(last.split()) :] == last.split()
    assert all(distance(one, other) >= min_distance for one, other in itertools.combinations(given, 2))
    assert next(by_hand(scheme, given, notches=notches, min_distance=min_distance), None) is None
    assert full.startswith(
        f"No code of {notches} notches is left that differs in at least {min_distance} scutes"
    )
    assert "codes are never used again" in full


def test_a_full_scheme_says_what_would_free_more_and_how_many():
    given, full = greedy(LETTER_SCHEME, 3, 4)
    more = sum(1 for _ in by_hand(LETTER_SCHEME, given, notches=5, min_distance=4))
    nearer = sum(1 for _ in by_hand(LETTER_SCHEME, given, notches=3, min_distance=2))
    assert next(by_hand(LETTER_SCHEME, given, notches=4, min_distance=4), None) is None
    assert nearer == 560 - 35
    assert f"5 notches on each new animal ({more:,} codes left)".replace(",", "\u202f") in full
    assert f"a smaller distance of 2 ({nearer} codes left)" in full
    assert next_free(LETTER_SCHEME, given, notches=3, min_distance=2)
    assert next_free(LETTER_SCHEME, given, notches=5, min_distance=4)


def test_an_animal_with_few_whole_scutes_is_told_apart_from_a_full_scheme():
    bad = [place for place in ordered(LETTER_SCHEME) if place not in ("R1", "R2", "R3")]
    assert next_free(LETTER_SCHEME, ["HIJ"], unusable=bad) == "ABC"
    with pytest.raises(SchemeFull, match=r"an animal whose .* can be notched \(559 codes left\)"):
        next_free(LETTER_SCHEME, ["ABC"], unusable=bad)
    with pytest.raises(SchemeFull, match="There is no code of 4 notches here: 3 scutes may be notched"):
        next_free(LETTER_SCHEME, [], notches=4, unusable=bad)
    with pytest.raises(SchemeFull, match="another scheme, or a tag"):
        next_free(LETTER_SCHEME, ["ABCHIJKLMNOPQVWX"], notches=16, min_distance=1)
    with pytest.raises(SchemeFull, match="0 scutes may be notched"):
        next_free(LETTER_SCHEME, [], unusable=ordered(LETTER_SCHEME))


def test_mirrors_and_neighbors_kept_apart_can_be_given_up():
    # All but ACQ are issued, its mirror image HVX among them.
    used = [code for code in Issued.from_masks(LETTER_SCHEME, all_masks(3)).codes() if code != "ACQ"]
    assert next_free(LETTER_SCHEME, used, min_distance=1) == "ACQ"
    for asked in ({"keep_mirrors_apart": True}, {"keep_neighbors_apart": True}):
        with pytest.raises(SchemeFull, match=r"not asking that mirror images .* \(1 code left\)"):
            next_free(LETTER_SCHEME, used, min_distance=1, **asked)


def all_masks(notches):
    return [sum(1 << bit for bit in chosen) for chosen in itertools.combinations(LETTER_SCHEME.bits, notches)]


def test_a_code_never_comes_back():
    """Every code of three notches, given out one by one at distance 1: 560 different ones, then none."""
    given, _ = greedy(LETTER_SCHEME, 3, 1)
    assert len(given) == len(set(given)) == 560 == capacity(LETTER_SCHEME, notches=3)
    assert given == sorted(given)


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_next_free_against_comparing_all_pairs(scheme):
    rng = random.Random(3)
    for _ in range(12):
        notches, min_distance = rng.randint(2, 3), rng.randint(1, 5)
        unusable = rng.sample(ordered(scheme), rng.randint(0, 3))
        if scheme.style in ("additive", "site"):
            unusable = []
        used = drawn(scheme, rng, rng.randint(0, 12))
        free = [
            mark
            for mark in by_hand(scheme, used, notches=notches, min_distance=min_distance, unusable=unusable)
            if is_code(scheme, mark)
        ]
        if scheme.style == "additive":
            free.sort(key=lambda mark: sum(scheme.value_at[bit] for bit in bits_of(mark)))
        asked = {"notches": notches, "min_distance": min_distance, "unusable": unusable}
        if free:
            assert set(decode(scheme, next_free(scheme, used, **asked))) == free[0], (used, asked)
        else:
            with pytest.raises(SchemeFull):
                next_free(scheme, used, **asked)


def bits_of(mark):
    mask = mask_of(mark)
    return [bit for bit in range(32) if mask >> bit & 1]


def is_code(scheme, mark):
    """Say whether places are a code: a left notch and one to three right ones, or the digits a sum stands for."""
    if scheme.style == "site":
        left = sum(place[0] == "L" for place in mark)
        return left == 1 and 1 <= len(mark) - left <= 3
    if scheme.style == "additive":
        values = [str(scheme.value_at[bit]) for bit in bits_of(mark)]
        tens = [[int(value[0]) for value in values if len(value) == size] for size in range(1, 5)]
        return all(len(digits) <= 2 and sum(digits) <= 9 for digits in tens)
    return True


def drawn(scheme, rng, count):
    codes = []
    while len(codes) < count:
        mark = set(rng.sample(ordered(scheme), rng.randint(2, 5)))
        if is_code(scheme, mark):
            codes += Issued.from_masks(scheme, [mask_of(mark)]).codes()
    return codes


def test_codes_on_scutes_now_closed_still_count():
    # D is on the bridge; ABD was cut elsewhere. It differs from ABC in two scutes, from ACH in four.
    assert next_free(LETTER_SCHEME, ["ABD"], min_distance=2) == "ABC"
    assert next_free(LETTER_SCHEME, ["ABD"], min_distance=3) == "ACH"
    # A used code with three notches on scutes this animal lacks is three away from the start.
    assert next_free(LETTER_SCHEME, ["VWX"], min_distance=6, unusable="VWX") == "ABC"
    assert next_free(LETTER_SCHEME, ["ABCVWX"], min_distance=4, unusable="VWX") == "ABH"


def test_marks_without_a_code_in_the_scheme_are_found_and_shown_by_their_places():
    # A bridge scute has a letter, but no number in the relabelled scheme and no value in the additive one.
    foreign = [["R5", "L10"], ["R1", "R2"]]
    assert candidates(LETTER_SCHEME, foreign, ["L10"], ["R5"]) == ("EO",)
    assert candidates(RELABELLED_SCHEME, foreign, ["L10"], ["R5"]) == ("R5 L10",)
    assert candidates(ADDITIVE_SCHEME, foreign, ["L10"], ["R5"]) == ("R5 L10",)
    assert near_codes(ADDITIVE_SCHEME, foreign, ["L10"])[0].code == "R5 L10"


def test_codes_may_be_given_as_text_as_places_or_gathered():
    marks = [("R1", "R2", "R3"), ("R8", "R1", "R2")]
    for used in (
        marks,
        ["ABC", "ABH"],
        ["cba", "HBA"],
        Issued.of(LETTER_SCHEME, marks),
        (mark for mark in marks),
    ):
        assert next_free(LETTER_SCHEME, used) == "ABI"
    masks = [mask_of(mark) for mark in marks]
    gathered = Issued.from_masks(LETTER_SCHEME, [*masks, masks[0]])
    assert gathered.codes() == ("ABC", "ABH")
    assert len(gathered) == 2
    assert next_free(LETTER_SCHEME, gathered) == "ABI"


def test_two_clerks_are_told_the_same_code_in_any_order_of_the_codes_used():
    used = ["ABC", "AHI", "BKO", "JNW"]
    told = {next_free(LETTER_SCHEME, order, min_distance=4) for order in itertools.permutations(used)}
    assert len(told) == 1


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"notches": 0}, "notches: 0 cannot be used"),
        ({"notches": 2.5}, "notches: 2.5 cannot be used"),
        ({"notches": True}, "notches: True cannot be used"),
        ({"min_distance": 0}, "min_distance: 0 cannot be used"),
        ({"min_distance": 31}, "no two marks differ in 31 scutes"),
        ({"unusable": ["Z"]}, "not a place on the rim"),
        ({"unusable": ["A"], "fixed": ["A"]}, "is to be notched and cannot be"),
    ],
)
def test_what_cannot_be_asked_of_the_next_code(asked, says):
    with pytest.raises(ValueError, match=says):
        next_free(LETTER_SCHEME, [], **asked)


@pytest.mark.parametrize("used", [["ABY"], [""], ["-"], [()], [None], "ABC", [("R1", "R99")], [7]])
def test_a_used_code_that_cannot_be_read_is_not_passed_over(used):
    with pytest.raises((ValueError, TypeError)):
        next_free(LETTER_SCHEME, used)


def test_codes_of_another_scheme_are_refused():
    with pytest.raises(ValueError, match="belong to Letters round the rim, not to Numbers left-right"):
        next_free(LEFT_RIGHT_SCHEME, Issued.of(LETTER_SCHEME, ["ABC"]))
    with pytest.raises(ValueError, match="A stored mask is not a set of places"):
        Issued.from_masks(LETTER_SCHEME, [0])
    with pytest.raises(ValueError, match="A stored mask is not a set of places"):
        Issued.from_masks(LETTER_SCHEME, [1 << 15])


def test_a_site_gets_its_own_codes():
    # Site 3 is left marginal 3; first individual marks of two right notches: 1,2 then 1,3.
    assert next_free(SITE_SCHEME, [], fixed=["L3"]) == "3-1,2"
    assert next_free(SITE_SCHEME, ["3-1,2"], fixed=["L3"]) == "3-1,3"


def test_additive_numbers_are_given_out_from_the_lowest():
    # Of three notches the lowest are 13 = 10+1+2 and 15 = 10+1+4 (11 and 12 take two); 13 and 23 differ in two.
    assert next_free(ADDITIVE_SCHEME, []) == "13"
    assert next_free(ADDITIVE_SCHEME, ["13"]) == "15"
    assert next_free(ADDITIVE_SCHEME, ["1"], notches=1, min_distance=1) == "2"


def test_a_scheme_of_the_whole_rim():
    whole = letter_scheme("whole", closed=())
    assert capacity(whole) == 2**24 - 1
    assert next_free(whole, ["ABC"], min_distance=4) == "ADE"


REGISTER = "ABC ABH AHI BKO BKN BJO HKO JNW KO BK".split()  # noqa: SIM905


def test_half_read_rim():
    # Clear notches on B and K, a faint one on O: by hand, BK and BKO hold both and nothing else.
    assert candidates(LETTER_SCHEME, REGISTER, {"B", "K"}, {"O"}) == ("BK", "BKO")
    assert candidates(LETTER_SCHEME, REGISTER, ["R2", "R11"], ["L10"]) == ("BK", "BKO")
    assert candidates(LETTER_SCHEME, REGISTER, "BK", "O") == ("BK", "BKO")
    assert candidates(LETTER_SCHEME, REGISTER, "BK") == ("BK",)
    assert candidates(LETTER_SCHEME, REGISTER, "BQ", "K") == ()
    assert candidates(LETTER_SCHEME, [], "BK", "O") == ()
    assert candidates(LETTER_SCHEME, REGISTER, [], []) == ()
    everything = candidates(LETTER_SCHEME, REGISTER, [], ordered(LETTER_SCHEME))
    assert sorted(everything) == sorted(REGISTER)
    assert [len(code) for code in everything] == sorted(len(code) for code in REGISTER)


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_half_read_rims_against_a_plain_scan(scheme):
    rng = random.Random(9)
    register = list(dict.fromkeys(drawn(scheme, rng, 300)))
    marks = {code: set(decode(scheme, code)) for code in register}
    gathered = Issued.of(scheme, register)
    for _ in range(60):
        mark = list(marks[rng.choice(register)])
        rng.shuffle(mark)
        clear, doubtful = set(mark[1:]), {mark[0], *rng.sample(ordered(scheme), rng.randint(0, 6))}
        expected = {code for code, places in marks.items() if clear <= places <= clear | doubtful}
        found = candidates(scheme, gathered, clear, doubtful)
        assert set(found) == expected
        assert len(found) == len(expected) > 0
        used = [len(marks[code] - clear) for code in found]
        assert used == sorted(used)
        off = {code: len((places ^ clear) - (doubtful - clear)) for code, places in marks.items()}
        near = near_codes(scheme, gathered, clear, doubtful)
        assert {one.code: one.scutes_off for one in near} == {c: n for c, n in off.items() if 1 <= n <= 2}
        assert [one.scutes_off for one in near] == sorted(one.scutes_off for one in near)


def test_possible_misreadings_when_nothing_fits():
    # BJO read where BKO stands: one lost and one added notch, two scutes off.
    assert candidates(LETTER_SCHEME, ["BKO"], "BJO") == ()
    (near,) = near_codes(LETTER_SCHEME, ["BKO", "HIX"], "BJO")
    assert (near.code, near.scutes_off) == ("BKO", 2)
    with pytest.raises(ValueError, match="give 1 or more"):
        near_codes(LETTER_SCHEME, ["BKO"], "BJO", within=0)


def test_a_set_at_distance_four_holds_none_of_its_codes_misread():
    given, _ = greedy(LETTER_SCHEME, 3, 4)
    assert not set(given) & {read_as for code in given for read_as in misreads(LETTER_SCHEME, code)}


def test_a_place_that_is_none_is_refused_in_a_search():
    for wrong in (["Z"], ["R0"], [""], [None]):
        with pytest.raises(ValueError, match=r"place on the rim|nuchal"):
            candidates(LETTER_SCHEME, REGISTER, wrong, [])
    with pytest.raises(ValueError, match="place on the rim"):
        candidates(LEFT_RIGHT_SCHEME, ["1-2"], ["1"], [])


@pytest.mark.parametrize(
    ("kind", "marginals"),
    [
        # Pairs of marginals by the keys of Turtles of the World (Linnaeus Naturalis) and field protocols.
        ("Trachemys scripta elegans", 12),
        ("Pseudemys concinna", 12),
        ("Chelydra serpentina", 12),
        ("Macrochelys temminckii", 12),
        ("Sternotherus odoratus", 11),
        ("kinosternon subrubrum", 11),
        ("Apalone spinifera", 0),
    ],
)
def test_rims_by_genus(kind, marginals):
    assert rim_of(kind).marginals == marginals


@pytest.mark.parametrize(
    "kind", ["Apalone spinifera", "Apalone mutica", "Trionyx muticus", "Pelodiscus sinensis"]
)
def test_softshells_are_refused(kind):
    with pytest.raises(ValueError, match="is a softshell: its rim is skin without scutes and takes no notch"):
        check_rim(LETTER_SCHEME, kind)


def test_musk_and_mud_turtles_have_no_twelfth_marginal():
    for kind in ("Sternotherus carinatus", "Kinosternon subrubrum"):
        with pytest.raises(ValueError, match=f"12 is not there in {kind}, which has 11 marginals a side"):
            check_rim(LETTER_SCHEME, kind, ["R12"])
        assert any("use the scheme made for them" in note for note in check_rim(LETTER_SCHEME, kind, ["R11"]))
        assert not any("use the scheme" in note for note in check_rim(LETTER_SCHEME_11, kind, ["R11"]))
        assert set(not_there(LETTER_SCHEME, kind)) == {"R12", "L12"}
        assert not_there(LETTER_SCHEME_11, kind) == ()
    assert not_there(LETTER_SCHEME, "Trachemys scripta") == ()


def test_what_to_heed_before_notching():
    assert check_rim(LETTER_SCHEME, "Trachemys scripta", ["R2", "L10"], left=12, right=12) == ()
    with pytest.raises(ValueError, match="Left marginal 5 lies on the bridge"):
        check_rim(LETTER_SCHEME, "Trachemys scripta", ["L5"])
    (note,) = check_rim(LETTER_SCHEME, "Trachemys scripta", left=13)
    assert "The left side has 13 marginals instead of 12: photograph it and count from the front" in note
    assert "toothed" in check_rim(LETTER_SCHEME, "Graptemys ouachitensis")[0]
    assert "supramarginals" in check_rim(LETTER_SCHEME, "Macrochelys temminckii")[1]
    assert "count its marginals first" in check_rim(LETTER_SCHEME, "Testudo graeca")[0]
    assert "count its marginals first" in check_rim(LETTER_SCHEME, "")[0]
    for count in (0, -1, 2.5, True, 99):
        with pytest.raises(ValueError, match="is no count of right marginals"):
            check_rim(LETTER_SCHEME, "Trachemys scripta", right=count)


def test_left_right_codes_of_a_large_register_are_read_as_one_by_one():
    rng = random.Random(4)
    register = drawn(RELABELLED_SCHEME, rng, 200)
    spelled = [code.replace("-", " - ") if rng.random() < 0.3 else code for code in register]
    gathered = Issued.of(RELABELLED_SCHEME, spelled)
    assert list(gathered.codes()) == list(
        dict.fromkeys(normalize(RELABELLED_SCHEME, code) for code in spelled)
    )
    for wrong in ("1-X", "12-1", "1,1-2"):
        with pytest.raises(ValueError, match=wrong):
            Issued.of(RELABELLED_SCHEME, [*register, wrong])
