"""Shares of whole things, such as nests of which nobody knows the kind, that never shrink as more are shared out."""

from collections.abc import Mapping
from fractions import Fraction


def share_whole(things: int, sizes: Mapping[int, float]) -> dict[int, int]:
    """
    Share whole things in proportion, each next one to whoever has the fewest for its size.

    By the method of Webster and Sainte-Laguë (Balinski & Young 2001, Fair Representation, 2nd edition): nobody ever
    gives one back as more are shared, and neither the large nor the small are favoured.

    Parameters
    ----------
    things : int
        How many, 0 or more.
    sizes : mapping of int to float
        Sizes above 0 by id; ties go to the lowest id.

    Returns
    -------
    dict of int to int
        They sum to `things`; {} for nobody.
    """
    # Whole millionths, so that ties fall alike whatever the number of things.
    weights = {who: max(1, round(size * 1_000_000)) for who, size in sizes.items()}
    total = sum(weights.values())
    parts = {who: (2 * things * weight + total) // (2 * total) for who, weight in weights.items()}
    while (over := sum(parts.values()) - things) != 0 and parts:
        if over < 0:
            next_in = max(weights, key=lambda who: (Fraction(weights[who], 2 * parts[who] + 1), -who))
            parts[next_in] += 1
        else:
            last_in = min(
                (who for who in parts if parts[who]),
                key=lambda who: (Fraction(weights[who], 2 * parts[who] - 1), -who),
            )
            parts[last_in] -= 1
    return parts
