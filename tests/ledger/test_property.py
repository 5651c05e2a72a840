"""A thousand random sequences, asked of the ledger and of a plain model: same answers, same books, same refusals."""

import calendar
import datetime as dt
import random
from collections import Counter, defaultdict

import pytest
from django.db import transaction
from django.db.models import Sum

from ponds.models import Kind, Pond, PondState
from stock import ledger, mixes
from stock.book import balances
from stock.check import differences
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line, MarkDraft, Seen
from stock.models import Cell, Entry, MonthEnd, Move, Turtle
from stock.refusals import LedgerRefusal
from tests.ledger.model import Model, Refused, is_pond
from tests.ledger.random_moves import APART, FIRST, KINDS, PONDS, QUARANTINED, TODAY, Stream

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

PARTS, SEQUENCES = 4, 250
SEEN_AT_LEAST = 25  # of each refusal in each part: a hundred in all
REFUSALS = {
    "NotEnoughHeads", "KeyReused", "AlreadyReversed", "CannotReverse", "DayInFuture", "BeforePondOpened",
    "KindNotAllowed", "SamePlace", "BadHeads", "BatchMissing", "WhichTurtles", "TurtleElsewhere", "CannotClose",
    "CannotReset", "UnknownPlace", "UnknownKind", "NoteTooLong", "NothingToPost", "KeptApart", "UnknownTurtle",
    "BadLine", "AlreadyOpened", "PondNotOpen",
}  # fmt: skip
FIELDS = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}


@pytest.fixture
def farm(make_person):
    kinds = {code: Kind.objects.create(code=code, common_name=code.title()) for code in KINDS}
    kinds["slider"].not_with.add(kinds["snapper"])
    for code, (opened, allowed) in PONDS.items():
        pond = Pond.objects.create(code=code, opened_on=opened)
        pond.kinds_allowed.set(kinds[one] for one in allowed)
        if code in QUARANTINED:
            PondState.objects.create(pond=pond, from_on=opened, state="QUARANTINE")
    return make_person("owner", "wren")


class Register:
    """The ledger under test, asked in the model's terms."""

    def __init__(self, person):
        self.person, self.ids = person, {}

    def post(self, ask):
        return self._posted(ask.key, ledger.record(as_draft(ask), by=self.person, today=TODAY))

    def reverse(self, key, new_key, note):
        move = Move.objects.get(pk=self.ids[key])
        return self._posted(
            new_key, ledger.reverse(move, key=new_key, by=self.person, today=TODAY, note=note)
        )

    def correct(self, key, ask):
        move = Move.objects.get(pk=self.ids[key])
        receipt = ledger.correct(move, as_draft(ask), by=self.person, today=TODAY)
        reversal = Move.objects.get(reverses=move)
        self.ids["reversal of", ask.key] = reversal.pk
        return self._posted(ask.key, receipt)

    def count(self, key, pond, kind, day, counted, resets, reason):
        draft = CountDraft(pond, kind, day, "SEINED", **{FIELDS[name]: heads for name, heads in counted})
        count = ledger.accept_count(
            draft, key=key, by=self.person, today=TODAY, resets_book=resets, reason=reason
        )
        if count.move_id:
            self.ids[key] = count.move_id

    def close(self, month):
        ledger.close_month(month, by=self.person, today=TODAY)

    def sheet(self, asks):
        receipts = ledger.record_all([as_draft(ask) for ask in asks], by=self.person, today=TODAY)
        return [self._posted(ask.key, receipt) for ask, receipt in zip(asks, receipts, strict=True)]

    def _posted(self, key, receipt):
        self.ids[key] = receipt.move_id
        return [((one.pond, one.kind.lower(), one.of_class), one.heads) for one in receipt.beyond_book]


def as_draft(ask):
    return Draft(
        key=ask.key,
        happened_on=ask.day,
        made_as=ask.made_as,
        pond=ask.pond,
        note=ask.note,
        lines=tuple(
            Line(
                line.kind,
                line.of_class,
                line.source,
                line.target,
                line.heads,
                to_class=line.to_class,
                batch=line.batch,
                turtles=line.turtles,
            )
            for line in ask.lines
        ),
        haul=HaulDraft("SEINE", tuple(CatchLine(*of, heads) for of, heads in ask.caught))
        if ask.caught
        else None,
        batches=tuple(BatchDraft(code, source, ask.day) for code, source in ask.new_batches),
        marks=tuple(MarkDraft(*mark) for mark in ask.marks),
        seen=tuple(Seen(*one) for one in ask.seen),
        lost_marks=ask.lost,
    )


def ask_model(model, what, arguments):
    """Return what the model answers: the name of its refusal, or what it found beyond the book."""
    if what == "sheet":
        # Sorted by day; of one day, what only comes in goes first.
        def takes_out(ask):
            return not ask.lines or any(is_pond((line.source,)) for line in ask.lines)

        moves = {}
        in_order = sorted(arguments[0], key=lambda one: (one.day, takes_out(one)))
        model.check_openings(in_order)
        for ask in in_order:
            moves[ask.key] = model.post(ask)
        return [moves[ask.key].beyond for ask in arguments[0]]
    if what == "count":
        *plain, resets, reason = arguments
        return model.count(*plain, resets=resets, reason=reason)
    posted = getattr(model, what)(*arguments)
    return posted.beyond if posted is not None else None


def run(seed, register, seen):
    rng = random.Random(seed)
    model = Model(today=TODAY, ponds=PONDS, kinds=KINDS, apart=APART, quarantined=QUARANTINED)
    stream = Stream(rng, model)
    asked = list(stream.opening())
    for step in range(rng.randint(15, 30)):
        what, arguments = asked[step] if step < len(asked) else stream.next()
        trial = model.copy()
        try:
            expected = ask_model(trial, what, arguments)
        except Refused as refusal:
            expected = str(refusal)
        else:
            model = stream.model = trial
            if what != "close":
                stream.done.append((what, arguments))
        try:
            answer = getattr(register, what)(*arguments)
        except LedgerRefusal as refusal:
            answer = type(refusal).__name__
            seen[answer] += 1
        assert answer == expected, f"sequence {seed}, step {step}: {what} {arguments}"
        if rng.random() < 0.02:
            mixes.roll(TODAY)
    return model, rng


def compare(model, rng, seed):
    names = {
        pk: (pond or outside, kind, of_class)
        for pk, pond, outside, kind, of_class in Cell.objects.values_list(
            "pk", "pond__code", "outside", "kind__code", "of_class"
        )
    }
    for day in (
        TODAY,
        FIRST,
        model.booked_on(FIRST),
        *(FIRST + dt.timedelta(rng.randrange(107)) for _ in "abc"),
    ):
        booked = {names[balance.cell_id]: balance.heads for balance in balances(day) if balance.heads}
        said = {cell: held for cell in list(model.heads) if is_pond(cell) and (held := model.held(cell, day))}
        assert booked == said, f"sequence {seed}, {day}"
    total = Counter()
    for side, sign in (("source", -1), ("target", 1)):
        for pk, heads in Entry.objects.values_list(side).annotate(heads=Sum("heads")):
            total[names[pk]] += sign * heads
    held = {cell: model.held(cell, TODAY) for cell in list(model.heads)}
    assert +total == +Counter(held)
    assert -total == -Counter(held)
    assert sum(total.values()) == 0
    compare_month_ends(model, names, seed)
    standing = Turtle.objects.values_list("code", "cell", "last_seen_on", "first_marked_on")
    assert {code: (names.get(pk), seen, first) for code, pk, seen, first in standing} == {
        code: (turtle.at, turtle.seen, turtle.first) for code, turtle in model.turtles.items()
    }, f"sequence {seed}"


def compare_month_ends(model, names, seed):
    stored = {
        (names[row.cell_id], row.month): (row.heads, row.lowest, row.marked, row.lowest_unmarked)
        for row in MonthEnd.objects.all()
    }
    due = defaultdict(set)
    for changes in (model.heads, model.marked):
        for cell, days in changes.items():
            for day in days:
                due[cell].add(day.replace(day=1))
    assert set(stored) == {(cell, month) for cell, months in due.items() for month in months}
    for (cell, month), figures in stored.items():
        last = month.replace(day=calendar.monthrange(month.year, month.month)[1])
        days = [month + dt.timedelta(days=number) for number in range(-1, last.day)]
        heads = [model.held(cell, day) for day in days]
        unmarked = [model.held(cell, day) - model.marked_at(cell, day) for day in days]
        said = (heads[-1], min(heads), model.marked_at(cell, last), min(unmarked))
        assert figures == said, f"sequence {seed}: {cell} {month}"
        if is_pond(cell):
            assert min(heads) >= 0
            assert min(unmarked) >= 0


@pytest.mark.parametrize("part", range(PARTS))
def test_the_ledger_answers_a_thousand_sequences_as_the_model_does(part, farm, capsys):
    seen = Counter()
    for seed in range(part * SEQUENCES, (part + 1) * SEQUENCES):
        with transaction.atomic():
            model, rng = run(seed, Register(farm), seen)
            compare(model, rng, seed)
            if seed % 10 == 0:
                mixes.roll(TODAY)
                assert differences() == [], f"sequence {seed}"
            transaction.set_rollback(True)
    with capsys.disabled():
        table = ", ".join(f"{name} {seen[name]}" for name in sorted(seen))
        print(f"\nrefusals in part {part}: {table}")  # noqa: T201
    assert set(seen) == REFUSALS
    assert min(seen.values()) >= SEEN_AT_LEAST, seen
