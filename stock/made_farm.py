"""An invented farm of any size, drawn by chance from a seed: what `make_farm` posts. Touches no database.

The heads are followed while they are drawn, so that every move obeys the ledger without asking it.
"""

from __future__ import annotations

import datetime as dt
import random
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field

from ponds.names import next_pond_code
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line, PaperDraft
from stock.ledger import opening_draft

SLIDER, COOTER, MAP, SNAPPER = "red-eared-slider", "river-cooter", "mississippi-map", "common-snapper"
# How ponds are kept, in the order they are dealt out: mostly sliders, some other kinds, one in ten mixed.
KEPT = ((SLIDER,),) * 6 + ((COOTER,), (MAP,), (SNAPPER,), (SLIDER, COOTER, MAP))
HEAD_LIMIT = 4000
FEMALES_AT_FIRST = (300, 1200)
NEST_WEEKS = range(16, 29)
# Ponds lie in blocks, and heads are moved within one; else every pond would hold some of every batch.
BLOCK = 4
CAUSES = ("NOT_KNOWN", "NOT_KNOWN", "NOT_KNOWN", "PREDATOR", "WEATHER", "INJURY", "BITES", "DISEASE")
# What a day at the bank brings, and how often.
EVENTS = {"deaths": 55, "haul": 13, "between": 10, "sale": 14, "sexed": 8}


@dataclass(frozen=True)
class MadePond:
    """One pond of the made farm."""

    code: str
    kinds: tuple[str, ...]
    opened_on: dt.date


@dataclass
class MadeFarm:
    """
    A farm drawn from a seed.

    Parameters
    ----------
    ponds : int
        Ponds, 1 or more.
    moves : int
        Moves, openings among them; at least one a pond and kind is posted.
    years : int
        Years that they are spread over.
    last : date
        The last day of them.
    seed : int
        The same seed gives the same farm.
    """

    ponds: int
    moves: int
    years: int
    last: dt.date
    seed: int
    rng: random.Random = field(init=False)
    heads: dict[tuple[str, str, str], int] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)  # noqa: S311  (an invented farm, no secret)
        self.first = self.last - dt.timedelta(days=round(365.25 * self.years))
        codes: list[str] = []
        for _ in range(self.ponds):
            codes.append(next_pond_code(codes[-1:]))
        self.pond_list = [
            MadePond(code, KEPT[place % len(KEPT)], self.first) for place, code in enumerate(codes)
        ]
        self.of_kind: dict[str, list[MadePond]] = {}
        for pond in self.pond_list:
            for kind in pond.kinds:
                self.of_kind.setdefault(kind, []).append(pond)
        self.started: dict[tuple[str, str], int] = {}

    def drafts(self) -> Iterator[Draft]:
        """Yield every move, oldest day first."""
        made = 0
        for pond in self.pond_list:
            for kind in pond.kinds:
                yield self._opening(pond, kind)
                made += 1
        days = (self.last - self.first).days
        left = max(0, self.moves - made)
        # Sorted days without holding more than their numbers.
        for day in sorted(self.rng.randint(1, max(1, days)) for _ in range(left)):
            yield self._move(self.first + dt.timedelta(days=day))

    def nests(self) -> Iterator[tuple[str, str, dt.date, int, int]]:
        """Yield (pond, kind, day, nests, eggs), one row a week of each spring, by the females at the opening."""
        for year in range(self.first.year, self.last.year + 1):
            for week in NEST_WEEKS:
                day = dt.date.fromisocalendar(year, week, 1)
                if not self.first <= day <= self.last:
                    continue
                for pond in self.pond_list:
                    for kind in pond.kinds:
                        females = self.started[pond.code, kind]
                        dug = round(females * 1.4 / len(NEST_WEEKS) * self.rng.uniform(0.6, 1.4))
                        yield pond.code, kind, day, dug, round(dug * self.rng.uniform(8, 10))

    def _opening(self, pond: MadePond, kind: str) -> Draft:
        females = self.rng.randint(*FEMALES_AT_FIRST) // len(pond.kinds)
        heads = {
            "FEMALE": females,
            "MALE": round(females / self.rng.uniform(1.2, 4.8)),
            "UNSEXED": self.rng.randint(0, 40),
        }
        self.started[pond.code, kind] = females
        for of_class, number in heads.items():
            self.heads[pond.code, kind, of_class] = number
        code = f"OPEN-{pond.code}-{kind[:8]}"
        return opening_draft(
            pond=pond.code,
            kind=kind,
            day=self.first,
            heads=heads,
            how_known="NOTEBOOK",
            plus_or_minus={of_class: round(number / 10) for of_class, number in heads.items()},
            batch=BatchDraft(code, "OPENING", self.first, party="invented"),
            key=self._key(),
        )

    def _move(self, day: dt.date) -> Draft:
        pond = self.rng.choice(self.pond_list)
        kind = self.rng.choice(pond.kinds)
        left = self._held(pond, kind, "FEMALE") / max(1, self.started[pond.code, kind])
        if left < 0.6 or (left < 1 and self.rng.random() < 0.02):
            return self._bought(pond, kind, day)
        event = self.rng.choices(list(EVENTS), list(EVENTS.values()))[0]
        lines = getattr(self, f"_{event}")(pond, kind)
        if not lines and event != "haul":
            event, lines = "haul", []
        haul = self._catch(pond, kind) if event == "haul" else None
        papers = (PaperDraft(party="an invented buyer", document="bill of sale"),) if event == "sale" else ()
        return Draft(
            key=self._key(), happened_on=day, pond=pond.code, lines=tuple(lines), haul=haul, papers=papers
        )

    def _bought(self, pond: MadePond, kind: str, day: dt.date) -> Draft:
        females = round(self.started[pond.code, kind] * 0.5) + 1
        males = max(0, females // 3)
        key = self._key()
        batch = BatchDraft(
            f"B-{key.hex[:16]}", "BOUGHT", day, party="an invented seller", generation="SECOND"
        )
        lines = tuple(
            self._line(kind, of_class, "BOUGHT", pond.code, number, batch=batch.code)
            for of_class, number in (("FEMALE", females), ("MALE", males))
            if number
        )
        return Draft(key=key, happened_on=day, pond=pond.code, lines=lines, batches=(batch,))

    def _deaths(self, pond: MadePond, kind: str) -> list[Line]:
        of_class = self.rng.choice(("FEMALE", "FEMALE", "MALE"))
        number = min(self.rng.randint(1, 3), self._spare(pond, kind, of_class))
        cause = self.rng.choice(CAUSES)
        return [self._line(kind, of_class, pond.code, "DIED", number, cause=cause)] if number else []

    def _haul(self, pond: MadePond, kind: str) -> list[Line]:
        return []

    def _between(self, pond: MadePond, kind: str) -> list[Line]:
        neighbors = self.of_kind[kind]
        first = neighbors.index(pond) // BLOCK * BLOCK
        target = self.rng.choice(neighbors[first : first + BLOCK])
        of_class = self.rng.choice(("FEMALE", "MALE"))
        number = min(self.rng.randint(1, 12), self._spare(pond, kind, of_class))
        if not number or target == pond:
            return []
        return [self._line(kind, of_class, pond.code, target.code, number)]

    def _sale(self, pond: MadePond, kind: str) -> list[Line]:
        of_class = self.rng.choice(("FEMALE", "MALE"))
        number = min(self.rng.randint(1, 6), self._spare(pond, kind, of_class))
        return [self._line(kind, of_class, pond.code, "SOLD", number)] if number else []

    def _sexed(self, pond: MadePond, kind: str) -> list[Line]:
        number = min(self.rng.randint(1, 4), self._held(pond, kind, "UNSEXED"))
        if not number:
            return []
        became = self.rng.choice(("FEMALE", "FEMALE", "FEMALE", "MALE"))
        return [self._line(kind, "UNSEXED", pond.code, pond.code, number, to_class=became)]

    def _catch(self, pond: MadePond, kind: str) -> HaulDraft:
        share = self.rng.uniform(0.05, 0.3)
        lines = tuple(
            CatchLine(kind, of_class, int(self._held(pond, kind, of_class) * share))
            for of_class in ("FEMALE", "MALE", "UNSEXED")
        )
        drags = self.rng.randint(1, 6)
        return HaulDraft("SEINE", lines, effort=float(drags), effort_typed=str(drags))

    def _line(
        self,
        kind: str,
        of_class: str,
        source: str,
        target: str,
        number: int,
        *,
        to_class: str = "",
        cause: str = "",
        batch: str = "",
    ) -> Line:
        for place, sign, held in ((source, -1, of_class), (target, 1, to_class or of_class)):
            where = (place, kind, held)
            if where in self.heads:
                self.heads[where] += sign * number
        return Line(kind, of_class, source, target, number, to_class=to_class, cause=cause, batch=batch)

    def _held(self, pond: MadePond, kind: str, of_class: str) -> int:
        return self.heads[pond.code, kind, of_class]

    def _spare(self, pond: MadePond, kind: str, of_class: str) -> int:
        # A handful stays, so that no pond is ever emptied by chance.
        return max(0, self._held(pond, kind, of_class) - 5)

    def _key(self) -> uuid.UUID:
        return uuid.UUID(int=self.rng.getrandbits(128), version=4)
