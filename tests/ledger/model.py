"""What the ledger should do, said a second time in the plainest way: counters by cell and day, every sum done anew.

Shares no code with the ledger. A cell is (place, kind, class); what is asked is an `Ask` of plain values.
"""

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace

POND_LETTERS = 3
CLASSES = ("FEMALE", "MALE", "UNSEXED", "JUVENILE")
COMES_FROM = {"OPENING", "BOUGHT", "RAISED", "WILD"}
GOES_TO = {"DIED", "SOLD", "CULLED", "ESCAPED"}
MOST = 100_000


class Refused(Exception):
    """The model refuses; the text is the name of the refusal."""


@dataclass(frozen=True)
class AskedLine:
    kind: str
    of_class: str
    source: str
    target: str
    heads: int
    to_class: str = ""
    batch: str = ""
    turtles: tuple = ()

    @property
    def cells(self):
        return (self.source, self.kind, self.of_class), (
            self.target,
            self.kind,
            self.to_class or self.of_class,
        )


@dataclass(frozen=True)
class Ask:
    key: object
    day: dt.date
    made_as: str = "BANK"
    lines: tuple = ()
    pond: str = ""
    caught: tuple = ()  # ((kind, class), heads)
    marks: tuple = ()  # (code, kind, class, pond)
    seen: tuple = ()  # (code, kind, class), in hand at `pond`
    lost: tuple = ()  # codes of turtles that carry no mark any more
    new_batches: tuple = ()  # (code, source)
    note: str = ""


@dataclass
class Turtle:
    kind: str
    at: tuple | None
    made_on: dt.date
    marked: tuple = ()  # (move's key, day, whether it holds) of each time it was marked
    sightings: tuple = ()  # (move's key, day) of each time in hand that was not taken back
    trail: tuple = ()  # (move's key, day) of each step that was not taken back

    @property
    def first(self):
        holds = [day for _, day, does_hold in self.marked if does_hold]
        return min(holds or [day for _, day, _ in self.marked], default=self.made_on)

    @property
    def seen(self):
        return max([self.first, *(day for _, day in self.sightings)])

    @property
    def since(self):
        return self.trail[-1][1] if self.trail else dt.date(1900, 1, 1)


@dataclass
class Posted:
    key: object
    ask: object
    day: dt.date
    booked: dt.date
    entries: list = field(default_factory=list)  # (source, target, heads)
    steps: list = field(default_factory=list)  # (turtle, source, target, day, is_lost)
    beyond: list = field(default_factory=list)  # (cell, heads)
    is_count: bool = False
    reverses: object = None
    is_reversed: bool = False
    stays: set = field(default_factory=set)  # marked turtles that a reversal leaves where they are


class Model:
    def __init__(self, *, today, ponds, kinds, apart, quarantined):
        self.today, self.ponds, self.kinds, self.apart = today, ponds, kinds, apart
        self.quarantined = quarantined
        self.heads = defaultdict(Counter)  # cell -> day -> change
        self.by_animal = defaultdict(
            Counter
        )  # the same, by the day it happened instead of the day it is booked
        self.marked = defaultdict(Counter)
        self.turtles, self.batches, self.moves, self.counts = {}, {}, {}, {}
        self.last_closed = None

    def copy(self):
        """Return a model that can be tried without this one knowing."""
        other = Model(
            today=self.today,
            ponds=self.ponds,
            kinds=self.kinds,
            apart=self.apart,
            quarantined=self.quarantined,
        )
        other.heads.update({cell: days.copy() for cell, days in self.heads.items()})
        other.by_animal.update({cell: days.copy() for cell, days in self.by_animal.items()})
        other.marked.update({cell: days.copy() for cell, days in self.marked.items()})
        other.turtles = {code: replace(turtle) for code, turtle in self.turtles.items()}
        other.moves = {key: replace(move) for key, move in self.moves.items()}
        other.batches, other.counts = dict(self.batches), dict(self.counts)
        other.last_closed = self.last_closed
        return other

    # What stands

    def held(self, cell, day):
        return sum(change for on, change in self.heads[cell].items() if on <= day)

    def stood(self, cell, day):
        """Heads there on a day by the animals' days, whenever they were booked."""
        return sum(change for on, change in self.by_animal[cell].items() if on <= day)

    def marked_at(self, cell, day):
        return sum(change for on, change in self.marked[cell].items() if on <= day)

    def _days_from(self, cell, day):
        return {day} | {on for on in (*self.heads[cell], *self.marked[cell]) if on > day}

    def lowest(self, cell, day):
        return min(self.held(cell, on) for on in self._days_from(cell, day))

    def lowest_unmarked(self, cell, day):
        return min(self.held(cell, on) - self.marked_at(cell, on) for on in self._days_from(cell, day))

    def booked_on(self, day):
        if self.last_closed is None:
            return day
        return max(day, after(self.last_closed))

    # What changes

    def _enter(self, move, source, target, heads, day):
        self.heads[source][day] -= heads
        self.heads[target][day] += heads
        self.by_animal[source][move.day] -= heads
        self.by_animal[target][move.day] += heads
        move.entries.append((source, target, heads))

    def _step(self, move, code, target, day, *, seen=None, is_lost=False):
        turtle = self.turtles[code]
        if turtle.at:
            self.marked[turtle.at][day] -= 1
        if target:
            self.marked[target][day] += 1
        move.steps.append((code, turtle.at, target, day, is_lost))
        turtle.at, turtle.trail = target, (*turtle.trail, (move.key, day))
        if seen:
            turtle.sightings = (*turtle.sightings, (move.key, seen))

    def post(self, ask):
        if ask.key in self.moves:
            return self._again(ask.key, ask)
        self.check(ask)
        self.check_openings([ask])
        move = Posted(ask.key, ask, ask.day, self.booked_on(ask.day))
        self._plan(ask, move, stays=set(), also=set())
        self._keep(ask, move)
        return move

    def reverse(self, key, new_key, note=""):
        if new_key in self.moves:
            return self._again(new_key, ("reverse", key, note))
        move = self._take_back(key, new_key, ("reverse", key, note))
        if move.stays:
            raise Refused("TurtleElsewhere")
        for cell in sorted(touched_by(move)):
            if is_pond(cell) and self.lowest(cell, move.booked) < 0:
                raise Refused("NotEnoughHeads")
            if is_pond(cell) and self.lowest_unmarked(cell, move.booked) < 0:
                raise Refused("TurtleElsewhere")
        self.moves[new_key] = move
        self.moves[key].is_reversed = True
        return move

    def correct(self, key, ask):
        asked = ("correct", key, ask)
        if ask.key in self.moves:
            return self._again(ask.key, asked)
        self.check(ask)
        reversal = self._take_back(key, ("reversal of", ask.key), asked)
        original = touched_by(self.moves[key])
        move = Posted(ask.key, asked, ask.day, self.booked_on(ask.day))
        self._plan(ask, move, stays=reversal.stays, also=original)
        for cell in sorted(original):
            if is_pond(cell) and self.lowest(cell, reversal.booked) < 0:
                raise Refused("NotEnoughHeads")
            if is_pond(cell) and self.lowest_unmarked(cell, reversal.booked) < 0:
                raise Refused("WhichTurtles")
        self.moves[reversal.key] = reversal
        self.moves[key].is_reversed = True
        self._keep(ask, move)
        return move

    def count(self, key, pond, kind, day, counted, *, resets, reason):
        asked = (pond, kind, day, counted, resets, reason)
        if key in self.counts:
            if self.counts[key] != asked:
                raise Refused("KeyReused")
            return
        if resets and not reason:
            raise Refused("CannotReset")
        self.check(Ask(key, day, "COUNT", pond=pond, marks=(("count", kind, "FEMALE", pond),)))
        if resets:
            move = Posted(key, asked, day, self.booked_on(day), is_count=True)
            classes = [of_class for of_class, _ in counted]
            not_sexed = [sex for sex in ("FEMALE", "MALE") if sex not in classes]
            # Adults nobody sexed may be those the book holds by sex: they would stand there twice.
            if "UNSEXED" in classes and any(self.stood((pond, kind, sex), day) for sex in not_sexed):
                raise Refused("CannotReset")
            for of_class, heads in counted:
                cell, unseen = (pond, kind, of_class), ("UNSEEN", kind, of_class)
                gap = heads - self.stood(cell, day)
                if gap:
                    self._enter(move, *((unseen, cell) if gap > 0 else (cell, unseen)), abs(gap), move.booked)
                if min(self.lowest(cell, move.booked), self.lowest_unmarked(cell, move.booked)) < 0:
                    raise Refused("CannotReset")
            self.moves[key] = move
        self.counts[key] = asked

    def close(self, month):
        is_next = self.last_closed is None or month == after(self.last_closed)
        if month >= self.today.replace(day=1) or not is_next:
            raise Refused("CannotClose")
        self.last_closed = month

    # How

    def _again(self, key, asked):
        if self.moves[key].ask != asked:
            raise Refused("KeyReused")
        return self.moves[key]

    def _keep(self, ask, move):
        self.moves[ask.key] = move
        self.batches.update({code: source for code, source in ask.new_batches if code not in self.batches})

    def _take_back(self, key, new_key, asked):
        move = self.moves[key]
        if move.reverses is not None or move.is_count:
            raise Refused("CannotReverse")
        if move.is_reversed:
            raise Refused("AlreadyReversed")
        back = Posted(new_key, asked, move.day, self.booked_on(move.day), reverses=key)
        for source, target, heads in move.entries:
            self._enter(back, target, source, heads, back.booked)
        for code, source, target, day, is_lost in reversed(move.steps):
            turtle, on = self.turtles[code], max(back.booked, day)
            if code in back.stays or turtle.at != target or turtle.since > on:
                back.stays |= set() if is_lost else {code}
                continue
            self._step(back, code, source, on)
        for turtle in self.turtles.values():
            turtle.sightings = tuple(one for one in turtle.sightings if one[0] != key)
            turtle.marked = tuple((by, day, holds and by != key) for by, day, holds in turtle.marked)
        # What was taken back tells nothing of where a turtle was.
        for code in {code for code, *_ in back.steps}:
            turtle = self.turtles[code]
            turtle.trail = tuple(step for step in turtle.trail if step[0] not in (key, new_key))
        return back

    def _plan(self, ask, move, *, stays, also):
        """Post the lines and steps, fill what the bank proves, refuse what the office cannot have."""
        day, at_bank = move.booked, ask.made_as == "BANK"
        self._check_company_and_turtles(ask, day)
        in_hand = Counter({(ask.pond, *of): heads for of, heads in ask.caught})
        leaving = Counter()
        for line in ask.lines:
            leaving[line.cells[0]] += line.heads
        # A late fact is held against its own day alone, so what left then counts as in hand then.
        proved = in_hand if ask.day == day else in_hand | leaving
        before = {cell: self.stood(cell, ask.day) for cell in proved}
        for line in ask.lines:
            source, target = line.cells
            self._enter(move, source, target, line.heads, day)
            if len(line.turtles) > line.heads:
                raise Refused("BadLine")
            for code in line.turtles:
                turtle = self.turtles[code]
                if code in stays:
                    continue
                if not at_bank and (turtle.at != source or turtle.since > day):
                    raise Refused("TurtleElsewhere")
                if turtle.since <= day:
                    self._step(move, code, target, day, seen=ask.day)
        taken = {code for line in ask.lines for code in line.turtles}
        for code, kind, of_class, pond in ask.marks:
            turtle = self.turtles[code]
            if code not in stays and turtle.since <= day:
                met = turtle.at if code in taken else (pond, kind, of_class)
                self._step(move, code, met, day, seen=ask.day)
                turtle.marked = (*turtle.marked, (move.key, ask.day, True))
        placed = {code for line in ask.lines for code in line.turtles} | {code for code, *_ in ask.marks}
        for code, kind, of_class in ask.seen:
            turtle, met = self.turtles[code], (ask.pond, kind, of_class)
            if ask.caught:
                turtle.sightings = (*turtle.sightings, (move.key, ask.day))
            if code not in placed | stays and turtle.since <= day and (turtle.at != met or not ask.caught):
                self._step(move, code, met, day, seen=ask.day)
        for code in ask.lost:
            if not is_pond(self.turtles[code].at) or self.turtles[code].since > day:
                raise Refused("TurtleElsewhere")
            self._step(move, code, None, day)
        cells = touched_by(move) | set(in_hand) | also
        cells |= {(pond, kind, of_class) for _, kind, of_class, pond in ask.marks}
        for cell in sorted(filter(is_pond, cells), key=lambda one: (*one[:2], CLASSES.index(one[2]))):
            if at_bank:
                self._fill(cell, ask, move, in_hand, proved, before)
            elif self.lowest(cell, day) < 0:
                raise Refused("NotEnoughHeads")
        named = placed | {code for code, *_ in ask.seen} | set(ask.lost)
        for cell in sorted(filter(is_pond, cells | touched_by(move))):
            self._keep_marks(cell, move, named, at_bank)
        if not (move.entries or move.steps or ask.caught):
            raise Refused("NothingToPost")

    def _fill(self, cell, ask, move, in_hand, proved, before):
        day = move.booked
        sexed_into = sum(line.heads for line in ask.lines if line.to_class and line.cells[1] == cell)
        missing = proved[cell] - before[cell] - sexed_into if proved[cell] else 0
        short = max(0, -self.lowest(cell, day), missing)
        unsexed = (*cell[:2], "UNSEXED")
        if short and cell[2] in ("FEMALE", "MALE"):
            left = sum(line.heads for line in ask.lines if line.cells[0] == unsexed)
            put_back = max(0, in_hand[unsexed] - left)
            spare = min(
                self.lowest(unsexed, day),
                self.lowest_unmarked(unsexed, day),
                self.stood(unsexed, ask.day) - put_back,
            )
            if (taken := min(short, spare)) > 0:
                self._enter(move, unsexed, cell, taken, day)
                short -= taken
        self._enter_unseen(cell, move, short)

    def _enter_unseen(self, cell, move, heads):
        if heads:
            self._enter(move, ("UNSEEN", *cell[1:]), cell, heads, move.booked)
            move.beyond.append((cell, heads))

    def _keep_marks(self, cell, move, named, at_bank):
        day = move.booked
        if self.lowest_unmarked(cell, day) >= 0:
            return
        if not at_bank:
            raise Refused("WhichTurtles")
        there = [code for code, turtle in self.turtles.items() if turtle.at == cell and code not in named]
        for code in sorted(there, key=lambda one: (self.turtles[one].seen, one)):
            if self.lowest_unmarked(cell, day) < 0 and self.turtles[code].since <= day:
                self._step(move, code, None, day, is_lost=True)
        self._enter_unseen(cell, move, max(0, -self.lowest_unmarked(cell, day)))

    # What is not taken

    def check(self, ask):
        """Refuse by the rules. What is asked breaks one rule at most."""
        if not (ask.lines or ask.caught or ask.marks or ask.seen or ask.lost):
            raise Refused("NothingToPost")
        if len(ask.note) > 2000:
            raise Refused("NoteTooLong")
        if ask.day > self.today:
            raise Refused("DayInFuture")
        batches = {**dict(ask.new_batches), **self.batches}
        for line in ask.lines:
            if not isinstance(line.heads, int) or not 1 <= line.heads <= MOST:
                raise Refused("BadHeads")
            if line.kind not in self.kinds:
                raise Refused("UnknownKind")
            for place in (line.source, line.target):
                if place not in COMES_FROM | GOES_TO:
                    self._check_pond(place, ask.day)
            if line.to_class:
                if line.of_class != "JUVENILE" and line.to_class not in ("FEMALE", "MALE"):
                    raise Refused("BadLine")
                continue
            if line.source == line.target:
                raise Refused("SamePlace")
            if line.source in GOES_TO or line.target in COMES_FROM:
                raise Refused("BadLine")
            if line.target in self.ponds and line.kind not in self.ponds[line.target][1]:
                raise Refused("KindNotAllowed")
            if line.source in COMES_FROM and batches.get(line.batch) != line.source:
                raise Refused("BatchMissing")
        for _, kind, _, pond in ask.marks:
            if kind not in self.kinds:
                raise Refused("UnknownKind")
            self._check_pond(pond, ask.day)
        if len({code for code, *_ in ask.seen}) < len(ask.seen):
            raise Refused("BadLine")
        scanned = Counter((kind, of_class) for _, kind, of_class in ask.seen)
        if ask.caught and any(heads > dict(ask.caught).get(of, 0) for of, heads in scanned.items()):
            raise Refused("BadHeads")
        for (kind, of_class), caught in ask.caught:
            gone = sum(
                line.heads
                for line in ask.lines
                if line.cells[0] == (ask.pond, kind, of_class) and not line.to_class
            )
            if gone > caught:
                raise Refused("BadHeads")

    def check_openings(self, asks):
        """Refuse to open a pond and kind twice, unless the first opening was taken back."""
        opened = {
            target[:2]
            for move in self.moves.values()
            if move.reverses is None and not move.is_reversed
            for source, target, _ in move.entries
            if source[0] == "OPENING"
        }
        keys = set(self.moves)
        for ask in asks:
            if ask.key not in keys and ask.made_as == "OPENING":
                cells = {line.cells[1][:2] for line in ask.lines}
                if cells & opened:
                    raise Refused("AlreadyOpened")
                opened |= cells
            keys.add(ask.key)

    def _check_pond(self, place, day):
        if place not in self.ponds:
            raise Refused("UnknownPlace")
        if day < self.ponds[place][0]:
            raise Refused("BeforePondOpened")

    def _check_company_and_turtles(self, ask, day):
        for line in ask.lines:
            others = self.apart.get(line.kind, ()) if line.source != line.target else ()
            together = any(
                self.held((line.target, other, of_class), on) > 0
                for other in others
                for of_class in CLASSES
                for on in (day, dt.date.max)
            )
            together |= any(
                other.kind in others and other.target == line.target and other.source != other.target
                for other in ask.lines
            )
            if together and line.target in self.ponds and ask.made_as != "BANK":
                raise Refused("KeptApart")
        for line in ask.lines:
            if ask.made_as != "OFFICE" or line.source == line.target:
                continue
            goes = line.source in self.quarantined and line.target not in {"DIED", "CULLED", "ESCAPED"}
            comes = line.target in self.quarantined and line.source in self.ponds
            if goes or comes:
                raise Refused("PondNotOpen")
        marked_now = {code for code, *_ in ask.marks}
        for line in ask.lines:
            for code in line.turtles:
                known = self.turtles.get(code)
                if (known is None and code not in marked_now) or (known and known.kind != line.kind):
                    raise Refused("UnknownTurtle")
        for code, kind, _ in ask.seen:
            known = self.turtles.get(code)
            if (known is None and code not in marked_now) or (known and known.kind != kind):
                raise Refused("UnknownTurtle")
        if any(code not in self.turtles for code in ask.lost):
            raise Refused("UnknownTurtle")
        for code, kind, _, _ in ask.marks:
            known = self.turtles.setdefault(code, Turtle(kind, None, ask.day))
            if known.kind != kind:
                raise Refused("UnknownTurtle")


def is_pond(cell):
    return cell is not None and len(cell[0]) <= POND_LETTERS


def touched_by(move):
    ends = {cell for source, target, _ in move.entries for cell in (source, target)}
    return ends | {cell for _, source, target, *_ in move.steps for cell in (source, target) if cell}


def after(month):
    return (month.replace(day=1) + dt.timedelta(days=31)).replace(day=1)
