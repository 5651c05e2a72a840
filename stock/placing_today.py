"""What the register says today of a question about new females, or of a placing saved earlier."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from ponds.models import Kind
from stock.models import PlacingTask, SavedPlacing
from stock.placing_advice import advise
from stock.placing_answer import Advice, CannotAdvise, Curves, Question
from stock.placing_grounds import Grounds, read_grounds
from stock.placing_hand import HandPlacing, judge
from stock.placing_tasks import Source, decided_for, promised_from, source_of
from stock.placing_yields import yields_of
from stock.pond_kind import PondKind
from stock.saved_placings import Stop, changes_since, stops_of


def answer_today(
    question: Question,
    kind: Kind,
    facts: Sequence[PondKind],
    *,
    but_not: Collection[int] = (),
) -> tuple[Advice, Source]:
    """
    Answer a question by the book of now, and say where the females stand.

    Parameters
    ----------
    question : Question
    kind : Kind
    facts : sequence of PondKind
        As `pond_facts.pond_kinds` gives them.
    but_not : collection of int
        Tasks that are not counted as decided: those of a placing that is looked at again.

    Raises
    ------
    CannotAdvise
        As `advise`.
    """
    apart = dict(Kind.objects.filter(not_with=kind).values_list("pk", "common_name"))
    decided = decided_for(kind.code, but_not=but_not)
    yields = yields_of(kind.pk, facts[0].day) if facts else None
    advice = advise(question, facts, kept_apart=apart, decided=decided, yields=yields)
    promised = promised_from(question.source, kind.code, but_not=but_not)
    return advice, source_of(question.source, question.heads, advice.kind, facts, promised=promised)


def own_tasks(placing: SavedPlacing) -> set[int]:
    """Return the ids of the tasks made for a placing."""
    return set(PlacingTask.objects.filter(stop__placing=placing).values_list("task_id", flat=True))


@dataclass(frozen=True)
class Looked:
    """
    A saved placing as it is looked at again.

    Parameters
    ----------
    grounds : Grounds
    stops : tuple of Stop
    changes : tuple of str
        What changed in the ponds since; () as well where it is over.
    advice : Advice or None
        The best of today for the heads left; None where none is left, or it cannot be answered.
    left_by_hand : HandPlacing or None
        The heads left as planned, set beside that best.
    source : Source
    cannot : str
        Why it cannot be answered, or why its tasks cannot be made now.
    """

    grounds: Grounds
    stops: tuple[Stop, ...]
    changes: tuple[str, ...] = ()
    advice: Advice | None = None
    left_by_hand: HandPlacing | None = None
    source: Source = field(default_factory=Source)
    cannot: str = ""

    @property
    def left(self) -> int:
        return sum(stop.left for stop in self.stops)

    @property
    def done(self) -> int:
        return sum(stop.done for stop in self.stops)

    @property
    def heads(self) -> int:
        return sum(stop.heads for stop in self.stops)

    @property
    def over(self) -> int:
        return sum(stop.over for stop in self.stops)

    @property
    def without_task(self) -> list[Stop]:
        """Stops that still have heads to get and no open task."""
        return [stop for stop in self.stops if stop.left and stop.task_id is None]


def question_of(placing: SavedPlacing, grounds: Grounds, heads: int) -> Question:
    """Return the question a placing answered, asked again for so many heads."""
    return Question(
        kind_id=placing.kind_id,
        heads=heads,
        seasons=grounds.seasons,
        source=placing.source.code if placing.source else "",
        curves=Curves(grounds.full_to, grounds.exponent, grounds.within, in_doubt=grounds.in_doubt),
    )


def look_again(placing: SavedPlacing, facts: Sequence[PondKind], *, is_over: bool) -> Looked:
    """
    Open a saved placing again: how far it is, what changed since, and what the heads left would give today.

    Parameters
    ----------
    placing : SavedPlacing
    facts : sequence of PondKind
        Of today; not read where it is over.
    is_over : bool
        Done, cancelled or replaced: then nothing is asked anew.
    """
    grounds, stops = read_grounds(placing.grounds), tuple(stops_of(placing))
    if is_over:
        return Looked(grounds, stops)
    mine = [one for one in facts if one.kind_id == placing.kind_id]
    done = {stop.pond: stop.done for stop in stops}
    planned = [stop.pond for stop in stops]

    def changes(advice: Advice | None = None) -> tuple[str, ...]:
        can_take = {pond.code: pond.cap for pond in advice.ponds if pond.is_open} if advice else {}
        return tuple(changes_since(grounds, done, mine, planned=planned, can_take=can_take))

    left = {stop.pond: stop.left for stop in stops if stop.left}
    if not left:
        return Looked(grounds, stops, changes())
    question = question_of(placing, grounds, sum(left.values()))
    try:
        advice, source = answer_today(question, placing.kind, facts, but_not=own_tasks(placing))
    except CannotAdvise as refused:
        return Looked(grounds, stops, changes(), cannot=refused.sentence)
    hand = judge(advice, left)
    cannot = " ".join(part for part in (*hand.problems.values(), source.not_yet(sum(left.values()))) if part)
    return Looked(grounds, stops, changes(advice), advice, hand, source, cannot)
