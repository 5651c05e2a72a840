"""Sex as an opinion with a method and a size."""

import pytest

from stock.marks.sexes import (
    CERTAINTIES,
    METHODS,
    PROOFS,
    SEXES,
    check_certainty,
    cue_of,
    sexing_questions,
)

SLIDER, SNAPPER = "Trachemys scripta elegans", "Chelydra serpentina"


@pytest.mark.parametrize("method", METHODS)
def test_only_a_proof_is_certain(method):
    sex = "MALE" if method == "EVERSION" else "FEMALE"
    check_certainty(sex, method, "PROBABLE")
    if method in PROOFS:
        check_certainty(sex, method, "CERTAIN")
    else:
        with pytest.raises(ValueError, match=r"is an opinion: choose probable or doubtful"):
            check_certainty(sex, method, "CERTAIN")


@pytest.mark.parametrize(
    ("sex", "method", "certainty", "says"),
    [
        ("MALE", "EGGS", "CERTAIN", "Eggs were laid"),
        ("FEMALE", "EVERSION", "PROBABLE", "says nothing of a female"),
        ("INDETERMINATE", "ENDOSCOPY", "CERTAIN", "is not certain"),
        ("BOTH", "SIZE", "DOUBTFUL", "is no sex here"),
        ("MALE", "GUESS", "DOUBTFUL", "is no method here"),
        ("MALE", "SIZE", "QUITE", "is no certainty here"),
    ],
)
def test_what_contradicts_itself_is_refused(sex, method, certainty, says):
    with pytest.raises(ValueError, match=says):
        check_certainty(sex, method, certainty)


@pytest.mark.parametrize(
    ("kind", "sex", "method", "length", "codes"),
    [
        # Sliders under about 100 mm cannot be sexed by looks.
        (SLIDER, "MALE", "CLAWS", 95, ["small"]),
        (SLIDER, "MALE", "CLAWS", 120, []),
        (SLIDER, "FEMALE", "SIZE", 140, ["small"]),
        (SLIDER, "FEMALE", "TAIL_VENT", 140, []),
        (SLIDER, "FEMALE", "ENDOSCOPY", 60, []),
        (SLIDER, "INDETERMINATE", "CLAWS", 60, []),
        (SLIDER, "MALE", "CLAWS", None, []),
        (SNAPPER, "MALE", "CLAWS", 300, ["claws"]),
        ("Testudo graeca", "MALE", "CLAWS", 30, []),
    ],
)
def test_young_animals_and_kinds_without_the_cue_are_pointed_out(kind, sex, method, length, codes):
    asked = sexing_questions(kind, sex, method, length)
    assert [one.code for one in asked] == codes
    assert all(one.is_note for one in asked)


def test_every_word_has_one_code_and_every_listed_kind_its_cue():
    for words in (SEXES, METHODS, CERTAINTIES):
        assert len(set(words.values())) == len(words)
    assert "long foreclaws" in cue_of(SLIDER)
    assert "never lift by the tail" in cue_of(SNAPPER)
    assert cue_of("") == ""
