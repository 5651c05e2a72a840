"""Short ways to write down the hauls of a survey."""

from stock.estimators.survey import FEMALE, MALE, HaulCatch

FIRST_DAY = 739_000


def haul(females=0, males=0, *, seen=(0, 0), marked=None, day=0, held_out=False, **more):
    """Return a haul; ``marked`` is all not carrying a mark unless said otherwise."""
    caught = {FEMALE: females, MALE: males, **more.pop("caught", {})}
    if marked is None:
        marked = (0, 0)
    elif marked == "all":
        marked = (females - seen[0], males - seen[1])
    return HaulCatch(
        FIRST_DAY + day,
        more.pop("method", "SEINE"),
        caught=caught,
        carrying={FEMALE: seen[0], MALE: seen[1], **more.pop("carrying", {})},
        newly_marked={FEMALE: marked[0], MALE: marked[1], **more.pop("newly_marked", {})},
        is_held_out=held_out,
        **more,
    )


def passes(*catches, efforts=None):
    """Return passes held out, each (females, males)."""
    efforts = efforts or [None] * len(catches)
    return [
        haul(*catch, day=place, held_out=True, effort=effort)
        for place, (catch, effort) in enumerate(zip(catches, efforts, strict=True))
    ]


def held(reading, code):
    """Return the assumption of that code."""
    (found,) = [assumption for assumption in reading.assumptions if assumption.code == code]
    return found
