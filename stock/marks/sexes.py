"""How the sex of a turtle was told, how sure that is, and what to look at by kind.

Sex from outside looks is an opinion with a method and a size, not a fact: it is kept with both and may be revised.
"""

from __future__ import annotations

from stock.marks.bodies import FEMALE, MALE, body_of
from stock.marks.plausible import Question

INDETERMINATE = "INDETERMINATE"
SEXES = {FEMALE: "female", MALE: "male", INDETERMINATE: "not to be told"}
METHODS = {
    "CLAWS": "foreclaws",
    "TAIL_VENT": "tail and vent",
    "SIZE": "size",
    "EGGS": "eggs laid or felt",
    "ULTRASOUND": "ultrasound",
    "ENDOSCOPY": "endoscopy",
    "EVERSION": "eversion seen",
    "DISSECTION": "dissection",
    "NOT_KNOWN": "method not known",
}
CERTAINTIES = {"CERTAIN": "certain", "PROBABLE": "probable", "DOUBTFUL": "doubtful"}
PROOFS = ("EGGS", "ULTRASOUND", "ENDOSCOPY", "EVERSION", "DISSECTION")
OUTSIDE_LOOKS = ("CLAWS", "TAIL_VENT", "SIZE")
# Claws are told apart in these; in snappers, softshells, musk and mud turtles and terrapins they are alike.
_LONG_CLAWS = ("Trachemys", "Pseudemys", "Chrysemys", "Graptemys")
# Grown males evert of themselves or do not: not seeing it says nothing (McKnight et al. 2017: 56 % to 100 % by kind).
CUES = (
    (
        ("Trachemys", "Pseudemys", "Chrysemys", "Graptemys"),
        "Male: long foreclaws, long thick tail, vent beyond the rear rim. Female: short claws, vent at or inside the "
        "rim, larger.",
        "Canadian Field-Naturalist 96, after Cagle 1954, Gibbons 1968 and Moll 1973",
    ),
    (
        ("Malaclemys",),
        "Female far larger; male's vent beyond the rim. Size alone misjudges young females.",
        "Harden et al. 2021, Journal of Herpetology 55(4)",
    ),
    (
        ("Chelydra", "Macrochelys", "Macroclemys"),
        "Male: vent beyond the rear rim of the carapace, by more than 120 % of the rear lobe of the plastron. Keep "
        "clear of the jaws; never lift by the tail.",
        "Common practice, no source",
    ),
    (
        ("Apalone", "Trionyx"),
        "Male: thick tail with the vent near its tip, small; female larger, blotched.",
        "Common practice, no source",
    ),
    (
        ("Sternotherus", "Kinosternon"),
        "Male: long thick tail with a blunt nail, rough patches on thigh and leg. Female: very short tail.",
        "Common practice, no source",
    ),
)


def cue_of(scientific_name: str) -> str:
    """Return what to look at to tell the sexes of a kind; "" where the genus is not listed."""
    genus = scientific_name.strip().partition(" ")[0].capitalize()
    return next((words for genera, words, _ in CUES if genus in genera), "")


def check_certainty(sex: str, method: str, certainty: str) -> None:
    """
    Refuse what contradicts itself.

    Raises
    ------
    ValueError
        If certain without a proof, a male by eggs, or a code that is not known.
    """
    for code, known, what in (
        (sex, SEXES, "sex"),
        (method, METHODS, "method"),
        (certainty, CERTAINTIES, "certainty"),
    ):
        if code not in known:
            raise ValueError(f"{code!r} is no {what} here; choose one of {', '.join(known)}.")
    if certainty == "CERTAIN" and sex != INDETERMINATE and method not in PROOFS:
        proofs = ", ".join(METHODS[one] for one in PROOFS[:-1])
        raise ValueError(
            f"By {METHODS[method]} sex is an opinion: choose probable or doubtful. "
            f"Certain is kept for {proofs} and {METHODS[PROOFS[-1]]}."
        )
    if sex == MALE and method == "EGGS":
        raise ValueError("Eggs were laid or felt, and the sex is male: choose female, or another method.")
    if sex == FEMALE and method == "EVERSION":
        raise ValueError(
            "Eversion shows a male; that none was seen says nothing of a female. Choose male, or another method."
        )
    if sex == INDETERMINATE and certainty == "CERTAIN":
        raise ValueError("A sex that cannot be told is not certain: choose probable or doubtful.")


def sexing_questions(
    scientific_name: str, sex: str, method: str, length_mm: float | None = None
) -> tuple[Question, ...]:
    """
    Ask about a sex that was told from outside before it can be.

    Parameters
    ----------
    scientific_name : str
        The kind, genus first.
    sex, method : str
        Codes of `SEXES` and `METHODS`.
    length_mm : float, optional
        Straight carapace length at the time.

    Returns
    -------
    tuple of Question
        Notes: they never hold anything up.
    """
    body = body_of(scientific_name)
    if method not in OUTSIDE_LOOKS or sex == INDETERMINATE or body is None:
        return ()
    asked = []
    if method == "CLAWS" and not set(body.genera) & set(_LONG_CLAWS):
        asked.append(
            Question(
                "claws",
                "CLAW",
                "The claws of this kind are alike in both sexes; look at tail and vent.",
                is_note=True,
            )
        )
    smallest = min(body.grown.values())
    if length_mm is not None and length_mm < smallest:
        asked.append(
            Question(
                "small",
                "SCL_MAX",
                f"At {length_mm:.0f} mm this kind can hardly be told by looks; males show from about {smallest} mm. "
                "Look again when it has grown.",
                is_note=True,
            )
        )
    elif length_mm is not None and sex == FEMALE and length_mm < body.grown[FEMALE] and method != "TAIL_VENT":
        asked.append(
            Question(
                "small",
                "SCL_MAX",
                f"Below about {body.grown[FEMALE]} mm a young male may look like a female.",
                is_note=True,
            )
        )
    return tuple(asked)
