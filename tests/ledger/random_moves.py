"""A seeded stream of things to ask of the ledger: likely ones, unlikely ones, and ones it must refuse.

Looks at the model only to know what there is to reverse, to replay, or to ask too much of.
"""

import datetime as dt
import uuid
from collections import Counter
from dataclasses import replace

from tests.ledger.model import CLASSES, Ask, AskedLine, after

FIRST, TODAY = dt.date(2026, 3, 1), dt.date(2026, 6, 15)
LATE = dt.date(2026, 5, 10)
PONDS = {
    "A": (FIRST, {"slider", "cooter"}),
    "B": (FIRST, {"slider", "cooter"}),
    "C": (FIRST, {"slider", "snapper"}),
    "D": (LATE, {"slider"}),
    "E": (FIRST, {"slider"}),
}
QUARANTINED = {"E"}
KINDS = {"slider", "cooter", "snapper"}
APART = {"slider": {"snapper"}, "snapper": {"slider"}}
SOURCES = ("BOUGHT", "RAISED", "WILD", "OPENING")
GONE = ("SOLD", "DIED", "CULLED", "ESCAPED")
CODES = tuple(f"T{number}" for number in range(8))


class Stream:
    """What one sequence asks, one after the other; `model` is the state so far."""

    def __init__(self, rng, model):
        self.rng, self.model = rng, model
        self.done = []  # what was posted under a key: (what, arguments), to be asked again

    def opening(self):
        """Yield what fills the ponds first: one batch a pond."""
        for pond, (opened, kinds) in PONDS.items():
            if self.rng.random() < 0.8:
                kind = "snapper" if pond == "C" and self.rng.random() < 0.6 else min(kinds - {"snapper"})
                yield "post", (self.arrival(pond=pond, kind=kind, day=opened, source="OPENING"),)

    def next(self):
        """Return (what, arguments) of one more thing to ask."""
        choices = {
            self.move: 22, self.office: 16, self.arrive: 8, self.sex: 8, self.mark: 9, self.wrong: 27,
            self.again: 4, self.clash: 4, self.take_back: 9, self.mend: 8, self.accept: 5, self.shut: 5,
            self.sheet: 3, self.too_few_unmarked: 6, self.turtle_of_elsewhere: 3, self.take_back_twice: 5,
            self.see: 10, self.lose: 4,
        }  # fmt: skip
        chosen = self.rng.choices(list(choices), list(choices.values()))[0]
        return chosen() or self.move()

    # Parts

    def key(self):
        return uuid.UUID(int=self.rng.getrandbits(128))

    def day(self, earliest=FIRST):
        """Return a day, most likely a late one."""
        span = (TODAY - earliest).days
        return earliest + dt.timedelta(days=max(self.rng.randint(0, span), self.rng.randint(0, span)))

    def heads(self, most=8):
        return self.rng.randint(1, most)

    def batch(self, source):
        known = [code for code, of in self.model.batches.items() if of == source]
        if known and self.rng.random() < 0.6:
            return self.rng.choice(known), ()
        code = f"{source[0]}{len(self.model.batches)}{self.rng.randint(0, 9)}"
        if self.model.batches.get(code, source) != source:
            code += source
        return code, ((code, source),)

    def arrival(self, *, pond=None, kind=None, day=None, source=None, made_as=None):
        pond = pond or self.rng.choice("ABCD")
        kind = kind or self.rng.choice(sorted(PONDS[pond][1]))
        source = source or self.rng.choice(SOURCES)
        code, new = self.batch(source)
        classes = self.rng.sample(CLASSES, self.rng.randint(1, 3))
        lines = tuple(
            AskedLine(kind, of_class, source, pond, self.heads(14), batch=code) for of_class in classes
        )
        marks = tuple(
            (mark, kind, classes[0], pond)
            for mark in self.rng.sample(CODES, self.rng.choice((0, 0, 1, 2)))
            if self.model.turtles.get(mark) is None
        )
        made_as = made_as or ("OPENING" if source == "OPENING" else self.rng.choice(("BANK", "OFFICE")))
        day = day or self.day(PONDS[pond][0])
        return Ask(self.key(), day, made_as, lines, pond, marks=marks, new_batches=new)

    def lines_out(self, pond, number):
        for _ in range(number):
            kind, of_class = self.rng.choice(sorted(PONDS[pond][1])), self.rng.choice(CLASSES)
            others = [code for code, (_, kinds) in PONDS.items() if code != pond and kind in kinds]
            target = self.rng.choice([*others, *others, *GONE])
            yield AskedLine(
                kind, of_class, pond, target, self.heads(), turtles=self.named(pond, kind, of_class)
            )

    def named(self, pond, kind, of_class):
        standing = [
            code for code, turtle in self.model.turtles.items() if turtle.at == (pond, kind, of_class)
        ]
        others = [code for code, turtle in self.model.turtles.items() if turtle.kind == kind]
        if standing and self.rng.random() < 0.3:
            return (self.rng.choice(standing),)
        return (self.rng.choice(others),) if others and self.rng.random() < 0.08 else ()

    def outgoing(self, made_as):
        pond = self.rng.choice("AABBCD")
        lines = tuple(self.lines_out(pond, self.rng.randint(1, 3)))
        opened = max(
            PONDS[place][0] for line in lines for place in (line.source, line.target) if place in PONDS
        )
        return Ask(self.key(), self.day(opened), made_as, lines, pond)

    # What is likely

    def move(self):
        ask = self.outgoing("BANK")
        if self.rng.random() < 0.5:
            gone = {}
            for line in ask.lines:
                of = (line.kind, line.of_class)
                gone[of] = gone.get(of, 0) + line.heads
            if self.rng.random() < 0.4:
                gone.setdefault((ask.lines[0].kind, self.rng.choice(CLASSES)), 0)
            caught = tuple((of, heads + self.rng.choice((0, 0, 3, 9))) for of, heads in gone.items())
            lines = ask.lines if self.rng.random() < 0.8 else ()
            ask = replace(ask, caught=caught, lines=lines)
        return "post", (ask,)

    def office(self):
        return "post", (self.outgoing("OFFICE"),)

    def arrive(self):
        return "post", (self.arrival(),)

    def sex(self):
        pond = self.rng.choice("ABCD")
        kind = self.rng.choice(sorted(PONDS[pond][1]))
        was = self.rng.choice(("UNSEXED", "UNSEXED", "JUVENILE"))
        lines = tuple(
            AskedLine(kind, was, pond, pond, self.heads(5), to_class=to_class)
            for to_class in self.rng.sample(("FEMALE", "MALE"), self.rng.randint(1, 2))
        )
        made_as = self.rng.choice(("BANK", "OFFICE"))
        return "post", (Ask(self.key(), self.day(PONDS[pond][0]), made_as, lines, pond),)

    def mark(self):
        pond = self.rng.choice("ABCD")
        kind = self.rng.choice(sorted(PONDS[pond][1]))
        marks = tuple(
            (code, kind, self.rng.choice(CLASSES[:2]), pond)
            for code in self.rng.sample(CODES, self.rng.randint(1, 3))
            if self.model.turtles.get(code) is None or self.model.turtles[code].kind == kind
        )
        if marks:
            return "post", (Ask(self.key(), self.day(PONDS[pond][0]), "BANK", marks=marks, pond=pond),)
        return None

    def see(self):
        """Scan marked turtles at a pond, some put back and some moved, with a haul or without."""
        pond = self.rng.choice("ABCD")
        kind = self.rng.choice(sorted(PONDS[pond][1]))
        known = sorted(code for code, turtle in self.model.turtles.items() if turtle.kind == kind)
        if not known:
            return None
        chosen = self.rng.sample(known, min(len(known), self.rng.randint(1, 3)))
        seen = tuple((code, kind, self.rng.choice(CLASSES[:2])) for code in chosen)
        if self.rng.random() < 0.06:
            seen = (*seen, self.rng.choice(((seen[0]), ("NOBODY", kind, "MALE"))))
        of = Counter((kind, of_class) for _, kind, of_class in seen)
        more = self.rng.choice((0, 0, 2, -1 if self.rng.random() < 0.1 else 1))
        caught = tuple((one, max(0, heads + more)) for one, heads in of.items())
        lines = ()
        if self.rng.random() < 0.3 and more >= 0:
            code, _, of_class = seen[0]
            others = [other for other, (_, kinds) in PONDS.items() if kind in kinds and other != pond]
            target = self.rng.choice([*others, "DIED"])
            lines = (AskedLine(kind, of_class, pond, target, 1, turtles=(code,)),)
        opened = max(PONDS[place][0] for place in (pond, *(line.target for line in lines)) if place in PONDS)
        caught = caught if self.rng.random() < 0.7 else ()
        return "post", (Ask(self.key(), self.day(opened), "BANK", lines, pond, caught, seen=seen),)

    def lose(self):
        """Say of a marked turtle that it lost all its marks."""
        known = sorted(self.model.turtles)
        code = self.rng.choice(known) if known and self.rng.random() < 0.9 else "NOBODY"
        return "post", (Ask(self.key(), self.day(), "BANK", lost=(code,)),)

    def sheet(self):
        asks = [self.rng.choice((self.arrival, lambda: self.outgoing("BANK")))() for _ in range(3)]
        asks.append(self.outgoing("OFFICE"))
        if self.rng.random() < 0.3:
            asks.append(asks[0])
        # Two drafts may not name one new batch with two sources; each of these made its own.
        codes = [code for ask in asks[:4] for code, _ in ask.new_batches]
        return ("sheet", (asks,)) if len(codes) == len(set(codes)) else None

    # Keys, reversals, corrections, counts, closes

    def again(self):
        return self.rng.choice(self.done) if self.done else None

    def clash(self):
        posted = [arguments[0] for what, arguments in self.done if what == "post"]
        if not posted:
            return None
        ask = self.rng.choice(posted)
        return "post", (replace(ask, note=ask.note + "!"),)

    def take_back(self):
        keys = [key for key, move in self.model.moves.items() if move.reverses is None]
        return ("reverse", (self.rng.choice(keys), self.key(), "")) if keys else None

    def take_back_twice(self):
        keys = [
            key
            for key, move in self.model.moves.items()
            if move.is_reversed or move.reverses or move.is_count
        ]
        if not keys:
            return None
        if self.rng.random() < 0.3:
            return "correct", (self.rng.choice(keys), self.outgoing("BANK"))
        return "reverse", (self.rng.choice(keys), self.key(), "again")

    def mend(self):
        posted = [arguments[0] for what, arguments in self.done if what == "post" and arguments[0].lines]
        if not posted:
            return None
        ask = self.rng.choice(posted)
        changed = replace(ask.lines[0], heads=max(1, ask.lines[0].heads + self.rng.randint(-3, 4)))
        caught = tuple((of, heads + 4) for of, heads in ask.caught)
        earliest = max(
            PONDS[place][0] for line in ask.lines for place in (line.source, line.target) if place in PONDS
        )
        day = ask.day if self.rng.random() < 0.6 else self.day(earliest)
        marks = () if self.rng.random() < 0.3 else ask.marks
        mended = replace(
            ask, key=self.key(), day=day, lines=(changed, *ask.lines[1:]), caught=caught, marks=marks
        )
        return "correct", (ask.key, mended)

    def accept(self):
        pond = self.rng.choice("ABCD")
        kind = self.rng.choice(sorted(PONDS[pond][1]))
        classes = self.rng.sample(CLASSES, self.rng.randint(1, 3))
        counted = tuple((of_class, self.rng.randint(0, 20)) for of_class in classes)
        resets, reason = self.rng.choice(((True, "drained in the drought"), (True, ""), (False, "")))
        return "count", (self.key(), pond, kind, self.day(PONDS[pond][0]), counted, resets, reason)

    def shut(self):
        last = self.model.last_closed
        right = FIRST if last is None else after(last)
        return "close", (self.rng.choice((right, right, FIRST, TODAY.replace(day=1))),)

    # What must be refused

    def too_few_unmarked(self):
        """Ask the office to move one head more than are unmarked, without naming a turtle."""
        cells = sorted({turtle.at for turtle in self.model.turtles.values() if turtle.at} - {None})
        cells = [cell for cell in cells if cell[0] in PONDS and self.model.held(cell, TODAY)]
        if not cells:
            return None
        cell = self.rng.choice(cells)
        unmarked = self.model.held(cell, TODAY) - self.model.marked_at(cell, TODAY)
        line = AskedLine(cell[1], cell[2], cell[0], "SOLD", unmarked + 1)
        return "post", (Ask(self.key(), TODAY, "OFFICE", (line,), cell[0]),)

    def turtle_of_elsewhere(self):
        """Ask the office to move a turtle out of a pond where it is not."""
        away = [
            code for code, turtle in self.model.turtles.items() if turtle.at is None or turtle.at[0] != "B"
        ]
        away = [code for code in away if self.model.turtles[code].kind == "slider"]
        if not away:
            return None
        line = AskedLine("slider", "FEMALE", "B", "SOLD", 2, turtles=(self.rng.choice(away),))
        return "post", (Ask(self.key(), TODAY, "OFFICE", (line,), "B"),)

    def wrong(self):
        """Return a move with one thing wrong with it."""
        line = AskedLine("slider", "FEMALE", "A", "SOLD", self.heads())
        ask = Ask(self.key(), self.day(), self.rng.choice(("BANK", "OFFICE")), (line,), "A")
        bought = replace(line, source="BOUGHT", target="A", batch="B-new")
        known = sorted(self.model.batches)
        wrongs = [
            lambda: replace(ask, lines=(replace(line, heads=self.rng.choice((0, -3, 100_001, "many", 2.5))),)),
            lambda: replace(ask, lines=(replace(line, heads=5),), caught=((("slider", "FEMALE"), 4),)),
            lambda: replace(ask, day=TODAY + dt.timedelta(days=self.rng.randint(1, 400))),
            lambda: replace(ask, day=FIRST - dt.timedelta(days=self.rng.randint(1, 400))),
            lambda: replace(ask, lines=(replace(line, target="D"),), day=LATE - dt.timedelta(days=1)),
            lambda: replace(ask, lines=(replace(line, kind="cooter", target="C"),)),
            lambda: replace(ask, lines=(replace(line, kind="snapper", target="B"),)),
            lambda: replace(ask, lines=(replace(line, target="A"),)),
            lambda: replace(ask, lines=(replace(bought, batch=""),)),
            lambda: replace(ask, lines=(replace(bought, batch="nowhere"),)),
            lambda: replace(ask, lines=(bought,), new_batches=(("B-new", "WILD"),)),
            lambda: replace(ask, lines=(replace(line, target=self.rng.choice(("ZZ", "LOST"))),)),
            lambda: replace(ask, lines=(replace(line, source="Q"),)),
            lambda: replace(ask, lines=(replace(line, kind="dragon"),)),
            lambda: replace(ask, note="x" * self.rng.choice((2001, 5_000_000))),
            lambda: replace(ask, lines=()),
            lambda: replace(ask, note="x" * 2001, pond="A"),
            lambda: replace(ask, lines=(replace(line, kind="Slider"),)),
            lambda: replace(ask, lines=(replace(line, heads=1, turtles=("NOBODY",)),)),
            lambda: replace(ask, lines=(replace(line, source="SOLD", target="A"),)),
            lambda: replace(ask, lines=(replace(line, target="WILD"),)),
            lambda: replace(ask, lines=(replace(line, target="A", to_class="UNSEXED"),)),
            lambda: replace(ask, made_as="OFFICE", lines=(replace(line, heads=90_000),)),
            lambda: replace(
                ask,
                made_as="OFFICE",
                lines=(replace(line, kind="snapper", target="C", source="RAISED", batch="S"),),
                new_batches=() if "S" in known else (("S", "RAISED"),),
            ),
            lambda: replace(ask, made_as="OFFICE", lines=(replace(line, target="C"),)),
        ]  # fmt: skip
        return "post", (self.rng.choice(wrongs)(),)
