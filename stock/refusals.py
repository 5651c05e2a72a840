"""What is refused, the ledger's one class a refusal; each text is a sentence for the person who typed. Pure."""

from __future__ import annotations

from ponds.refusals import Refused


class LedgerRefusal(Refused):
    """A posting that was refused whole.

    `line` is the 0-based line it is about, `field` the field, and `place` the pond or outside place, if any.
    """

    def __init__(self, sentence: str, *, line: int | None = None, field: str = "", place: str = "") -> None:
        super().__init__(sentence, field=field)
        self.line = line
        self.place = place
        # Which of a batch of drafts was refused, counted from 0.
        self.draft = 0


class SeveralRefused(LedgerRefusal):
    """More than one move of a batch breaks a rule: `refusals` has them all, each with its `draft`."""

    def __init__(self, refusals: list[LedgerRefusal]) -> None:
        super().__init__(" ".join(refusal.sentence for refusal in refusals[:5]))
        self.refusals = refusals
        self.draft = refusals[0].draft


class BadHeads(LedgerRefusal):
    """A number of heads that is not a whole number from 1 to the most one line may hold."""


class SamePlace(LedgerRefusal):
    """A line whose source and target are the same cell."""


class BadLine(LedgerRefusal):
    """A line that joins places or classes that cannot be joined."""


class UnknownPlace(LedgerRefusal):
    """A pond or outside place that is not in the register."""


class UnknownKind(LedgerRefusal):
    """A kind that is not in the register."""


class KindNotAllowed(LedgerRefusal):
    """A kind that may not be put into that pond."""


class KeptApart(LedgerRefusal):
    """A kind that is not kept together with one that stands in that pond."""


class PondNotOpen(LedgerRefusal):
    """An office move into or out of a pond in quarantine, or into one that rests or is retired."""


class AlreadyOpened(LedgerRefusal):
    """A pond and kind whose opening stands already."""


class DayInFuture(LedgerRefusal):
    """A day after the farm's today."""


class BeforePondOpened(LedgerRefusal):
    """A day before the pond was opened, or after it was retired."""


class NotEnoughHeads(LedgerRefusal):
    """The book does not hold what an office move asks for, on that day or a later one."""


class WhichTurtles(LedgerRefusal):
    """Fewer unmarked heads stand there than the move takes: it must name the marked turtles that go."""


class TurtleElsewhere(LedgerRefusal):
    """A marked turtle is not where the move or the reversal needs it."""


class ScansMisplaced(LedgerRefusal):
    """A scan says that its turtle went where no line of the log goes."""


class UnknownTurtle(LedgerRefusal):
    """A mark that is not in the register."""


class CodeTaken(LedgerRefusal):
    """A notch code or tag that another turtle has, or had: codes are never used again."""


class SchemeNotConfirmed(LedgerRefusal):
    """A notch scheme that nobody has held against the printed figure yet."""


class BatchMissing(LedgerRefusal):
    """Heads that come from outside need a batch, or name one that does not exist."""


class KeyReused(LedgerRefusal):
    """The key of an earlier posting with other content."""


class AlreadyReversed(LedgerRefusal):
    """A move that has been reversed, or corrected, before."""


class CannotReverse(LedgerRefusal):
    """A reversal is never reversed, and a count's reset is mended by another count."""


class UnknownMove(LedgerRefusal):
    """No move has that key."""


class NoteTooLong(LedgerRefusal):
    """A note beyond its limit."""


class NothingToPost(LedgerRefusal):
    """A move without lines, haul or marks."""


class CannotClose(LedgerRefusal):
    """A month that cannot be closed now."""


class CannotCount(LedgerRefusal):
    """A head count that cannot be accepted or taken back as asked."""


class CannotReset(LedgerRefusal):
    """A count that may not reset the book."""
