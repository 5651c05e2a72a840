"""The heads of a pond that its band is held to, as advice and the ratio shown must agree."""

from __future__ import annotations

from stock.pond_kind import PondKind


def heads_held(facts: PondKind) -> tuple[float, float]:
    """
    Return the females and males that advice holds to the band.

    The standing's own figures where there is one, as the ratio on every page is made of them: of whole heads it would
    be another, and a pond could be called short at a ratio within its band. Less than half a head is none; strays are
    whole, to be taken out to the last.
    """
    if facts.standing is None or not facts.is_allowed:
        return facts.females_now, facts.males_now
    females, males = (heads if round(heads) else 0.0 for heads in facts.means_now)
    return females, males
