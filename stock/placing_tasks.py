"""What is said of where the new females stand now, what is decided already, and why a task is made."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from stock.models import PlacingTask, Task
from stock.placing_answer import Advice, PondAdvice
from stock.pond_kind import PondKind
from stock.tasks import open_tasks
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import ratio as ratio_words

LONGEST_WHY = 300


@dataclass(frozen=True)
class Source:
    """
    Where the new females stand before they are placed.

    Parameters
    ----------
    code : str
        The pond; "" where they are not on the farm yet.
    females, unsexed : int
        Of the kind, by the book.
    promised : int
        Females of the kind that open tasks of saved placings still take from there.
    in_quarantine : bool
    released_on : date or None
        The day its quarantine is due to end.
    sentences : tuple of str
        What to know before they are moved.
    """

    code: str = ""
    females: int = 0
    unsexed: int = 0
    promised: int = 0
    in_quarantine: bool = False
    released_on: dt.date | None = None
    sentences: tuple[str, ...] = ()

    @property
    def released_words(self) -> str:
        """The day of release, as in "on 25 Dec 2026"."""
        if self.released_on is None:
            return "at its end, which has no day yet"
        return f"on {day_words(self.released_on)}"

    def not_yet(self, heads: int) -> str:
        """Say why so many cannot be placed from here now, and what to do; "" where they can."""
        if not self.code:
            return ""
        said = []
        if self.in_quarantine:
            said.append(
                f"Pond {self.code} is in quarantine. Nothing leaves it until it is released, {self.released_words}. "
                "Save the plan now, and make its tasks once the pond is released."
            )
        free = max(0, self.females - self.promised)
        if heads > free:
            taken = f", and {self.promised} of them are decided for other ponds" if self.promised else ""
            sex = f" {self.unsexed} stand there unsexed: sex them first." if self.unsexed else ""
            said.append(
                f"{heads} females cannot be taken from pond {self.code}: by the book {self.females} of the kind stand "
                f"there{taken}.{sex or ' Ask for fewer, or log what was found.'}"
            )
        return " ".join(said)


def source_of(
    code: str, heads: int, kind: PondKind, facts: Sequence[PondKind], *, promised: int = 0
) -> Source:
    """Return what is known of the pond the new females stand in; `kind` is any row of their kind."""
    there = [one for one in facts if one.pond_code == code]
    if not there:
        return Source()
    mine = next((one for one in there if one.kind_id == kind.kind_id), None)
    use = there[0].use
    females, unsexed = (mine.heads.females, mine.heads.unsexed) if mine else (0, 0)
    said = []
    if use.in_quarantine:
        ends = f"on {day_words(use.ends_on)}" if use.ends_on else "at its end, which has no day yet"
        said.append(
            f"Pond {code} is in quarantine. Nothing leaves it until it is released, {ends}: this is the plan for then, "
            "by the book of today."
        )
    if unsexed:
        said.append(
            f"{unsexed} of this kind stand there unsexed. Only what is sexed female can be placed: sex them first, "
            "then ask again with the number found."
        )
    if heads > females:
        said.append(
            f"By the book {females} females of this kind stand in pond {code}, fewer than the {heads} asked about."
        )
    if promised:
        said.append(f"{promised} females there are decided for other ponds already (open tasks).")
    return Source(code, females, unsexed, promised, use.in_quarantine, use.ends_on, tuple(said))


@dataclass(frozen=True)
class Waiting:
    """
    Heads of one kind in one pond that may be females to place, and cannot be placed yet.

    ``females`` are those in quarantine (0 elsewhere), ``unsexed`` those nobody has sexed; ``ends_on`` and ``is_over``
    are of the quarantine.
    """

    pond: str
    kind_code: str
    kind_name: str
    females: int
    unsexed: int
    in_quarantine: bool
    ends_on: dt.date | None
    is_over: bool

    @property
    def to_do(self) -> str:
        """Say what has to be done before they can be placed."""
        steps = []
        if self.unsexed:
            steps.append(f"sex the {self.unsexed} unsexed")
        if self.in_quarantine and self.ends_on is None:
            steps.append("give the quarantine a day to end")
        if self.in_quarantine:
            steps.append(
                "release the pond" if self.is_over else "release the pond when the quarantine is over"
            )
        words = ", then ".join(steps)
        return f"{words[:1].upper()}{words[1:]}."


def waiting(facts: Iterable[PondKind], today: dt.date) -> list[Waiting]:
    """Return what may be females to place and cannot be yet: all in quarantine, and the unsexed of every pond."""
    return [
        Waiting(
            one.pond_code,
            one.kind_code,
            one.kind_name,
            one.heads.females if one.use.in_quarantine else 0,
            one.heads.unsexed,
            one.use.in_quarantine,
            one.use.ends_on if one.use.in_quarantine else None,
            one.use.in_quarantine and one.use.ends_on is not None and one.use.ends_on <= today,
        )
        for one in facts
        if one.heads.unsexed or (one.use.in_quarantine and one.heads.females)
    ]


def decided_for(kind: str, *, but_not: Collection[int] = ()) -> dict[str, int]:
    """
    Return pond's code -> females of a kind (its code) that open tasks still add there: one query.

    Tasks with an id in `but_not` are left out.
    """
    found: dict[str, int] = {}
    for task in open_tasks():
        if task.id in but_not:
            continue
        if (task.verb, task.kind, task.of_class) == (Task.Verb.ADD, kind, "FEMALE") and task.heads_left:
            found[task.pond] = found.get(task.pond, 0) + task.heads_left
    return found


def leaving_from(kind: str) -> dict[str, int]:
    """Return pond's code -> males of a kind (its code) that open tasks still take out there: one query."""
    found: dict[str, int] = {}
    for task in open_tasks():
        if (task.verb, task.kind, task.of_class) == (Task.Verb.TAKE_OUT, kind, "MALE") and task.heads_left:
            found[task.pond] = found.get(task.pond, 0) + task.heads_left
    return found


def promised_from(source: str, kind: str, *, but_not: Collection[int] = ()) -> int:
    """Return females of a kind that open tasks of saved placings still take from a pond; 0 for no pond."""
    if not source:
        return 0
    of_placings = set(
        PlacingTask.objects.filter(
            stop__placing__source__code=source, stop__placing__kind__code=kind
        ).values_list("task_id", flat=True)
    )
    if not of_placings:
        return 0
    return sum(
        task.heads_left or 0 for task in open_tasks() if task.id in of_placings and task.id not in but_not
    )


def why_of(advice: Advice, pond: PondAdvice, heads: int) -> str:
    """Return the reason a task carries: short, with its numbers."""
    males = pond.facts.males_now
    seasons = advice.question.seasons
    adds = sum(pond.gains[:heads])
    by_hand = "" if heads == pond.given else f" Changed by hand from {pond.given}."
    ratio = (
        f"by {pond.facts.whose} {ratio_words(pond.facts.ratio_with(pond.decided))}"
        f"{' once earlier tasks are done' if pond.decided else ''} becomes "
        f"{ratio_words(pond.facts.ratio_with(pond.decided + heads))}; "
        if males
        else ""
    )
    return (
        f"New females, {advice.question.heads} in all{_from(advice)}: {ratio}about {adds:.0f} hatched eggs more over "
        f"{seasons} season{'s' if seasons > 1 else ''}.{by_hand}"
    )[:LONGEST_WHY]


def _from(advice: Advice) -> str:
    return f", from pond {advice.question.source}" if advice.question.source else ""
