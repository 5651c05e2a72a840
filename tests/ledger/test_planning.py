"""Planning alone, without a database: what fills a gap, what is refused, and in which words."""

import datetime as dt
import uuid
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.drafts import CatchLine, Draft, HaulDraft, Line, MarkDraft
from stock.planning import Books, MarkedHead, Ref, plan_draft, refs_of_draft
from stock.refusals import BadLine, NotEnoughHeads, TurtleElsewhere, WhichTurtles
from stock.timeline import CellDays

# A machine busy with other tests must not fail one of these.
unhurried = settings(deadline=None)
DAY = dt.date(2026, 5, 10)
LATER = dt.date(2026, 5, 20)
LONG_AGO = dt.date(2026, 1, 1)
FEMALE, MALE, UNSEXED = (Ref("A", "slider", of_class) for of_class in ("FEMALE", "MALE", "UNSEXED"))
UNSEEN = Ref("UNSEEN", "slider", "FEMALE")


def draft(*lines, made_as="BANK", **more):
    return Draft(uuid.UUID(int=1), DAY, lines=lines, made_as=made_as, pond="A", **more)


def line(heads, source="A", target="SOLD", of_class="FEMALE", **more):
    return Line("slider", of_class, source, target, heads, **more)


def haul(**caught):
    return HaulDraft(
        "SEINE", tuple(CatchLine("slider", name.upper(), heads) for name, heads in caught.items())
    )


def books_of(asked, held, later=None, turtles=()):
    """Return the books with `held` standing in May, `later` booked on the 20th, and marked turtles."""
    cells = {}
    for ref in refs_of_draft(asked) | set(held) | {turtle.at for turtle in turtles if turtle.at}:
        cells[ref] = CellDays.from_stored((held.get(ref, 0), 0), [], {DAY.replace(day=1): {}})
        if later and ref in later:
            cells[ref].add(LATER, later[ref])
    for turtle in turtles:
        if turtle.at:
            cells[turtle.at].opening_marked += 1
    return Books(cells, {turtle.code: turtle for turtle in turtles}, {"slider": "Slider"})


def marked(code, at=FEMALE, since=LONG_AGO, seen=LONG_AGO):
    return MarkedHead(code, "slider", at, since, seen)


def entries(plan):
    return [
        (entry.source.place, entry.target.place, entry.target.of_class, entry.heads, entry.reason)
        for entry in plan.entries
    ]


def test_what_the_cell_holds_needs_no_filling():
    asked = draft(line(10))
    assert entries(plan_draft(asked, books_of(asked, {FEMALE: 10}), DAY)) == [
        ("A", "SOLD", "FEMALE", 10, "SOLD")
    ]


def test_a_gap_is_filled_from_the_unsexed_and_the_rest_from_unseen():
    asked = draft(line(10))
    plan = plan_draft(asked, books_of(asked, {FEMALE: 4, UNSEXED: 5}), DAY)
    assert entries(plan)[1:] == [
        ("A", "A", "FEMALE", 5, "SEXED"),
        ("UNSEEN", "A", "FEMALE", 1, "BEYOND_BOOK"),
    ]


def test_unsexed_heads_needed_later_are_not_taken_for_the_gap():
    asked = draft(line(10))
    plan = plan_draft(asked, books_of(asked, {FEMALE: 4, UNSEXED: 5}, later={UNSEXED: -3}), DAY)
    assert entries(plan)[1:] == [
        ("A", "A", "FEMALE", 2, "SEXED"),
        ("UNSEEN", "A", "FEMALE", 4, "BEYOND_BOOK"),
    ]


def test_unsexed_heads_in_hand_as_unsexed_are_not_taken_for_the_gap():
    asked = draft(line(10), haul=haul(female=10, unsexed=4))
    plan = plan_draft(asked, books_of(asked, {FEMALE: 4, UNSEXED: 5}), DAY)
    assert entries(plan)[1:] == [
        ("A", "A", "FEMALE", 1, "SEXED"),
        ("UNSEEN", "A", "FEMALE", 5, "BEYOND_BOOK"),
    ]


def test_a_marked_unsexed_head_is_not_taken_for_the_gap():
    asked = draft(line(3))
    plan = plan_draft(asked, books_of(asked, {UNSEXED: 2}, turtles=[marked("T1", UNSEXED)]), DAY)
    assert entries(plan)[1:] == [
        ("A", "A", "FEMALE", 1, "SEXED"),
        ("UNSEEN", "A", "FEMALE", 2, "BEYOND_BOOK"),
    ]


def test_heads_caught_and_put_back_prove_that_they_were_there():
    asked = draft(haul=haul(female=7))
    assert entries(plan_draft(asked, books_of(asked, {FEMALE: 5}), DAY)) == [
        ("UNSEEN", "A", "FEMALE", 2, "BEYOND_BOOK")
    ]


@pytest.mark.parametrize(
    ("later", "sentence"),
    [
        (None, "holds 4 Slider females by the book on 10 May 2026; 10 were asked for. Ask for 4 or fewer"),
        ({FEMALE: -3}, "holds 4 Slider females .* asked for. Ask for 1 or fewer"),
    ],
)
def test_the_office_is_told_what_the_book_holds_and_what_may_be_asked(later, sentence):
    asked = draft(line(10), made_as="OFFICE")
    with pytest.raises(NotEnoughHeads, match=sentence) as refused:
        plan_draft(asked, books_of(asked, {FEMALE: 4}, later), DAY)
    assert (refused.value.line, refused.value.field) == (0, "heads")


def test_the_office_is_told_of_a_later_day_that_would_fall_short():
    asked = draft(line(3), made_as="OFFICE")
    with pytest.raises(NotEnoughHeads, match=r"leave only 1 of them free \(2 too few by 20 May 2026\)"):
        plan_draft(asked, books_of(asked, {FEMALE: 4}, {FEMALE: -3}), DAY)


def test_a_pond_left_short_by_a_correction_is_said_without_heads_nobody_asked_for():
    asked = draft(line(1, source="BOUGHT", target="B", batch="B1"), made_as="OFFICE")
    books = books_of(asked, {FEMALE: 4}, {FEMALE: -9})
    with pytest.raises(NotEnoughHeads, match="would hold 5 Slider females fewer than none by 20 May 2026"):
        plan_draft(asked, books, DAY, also_touched={FEMALE})


def test_the_longest_unseen_turtle_goes_out_of_sight_at_the_bank():
    turtles = [marked("T1", seen=LONG_AGO), marked("T2", seen=LONG_AGO - dt.timedelta(days=9)), marked("T3")]
    asked = draft(line(2))
    plan = plan_draft(asked, books_of(asked, {FEMALE: 4}, turtles=turtles), DAY)
    assert [(step.turtle, step.how) for step in plan.steps] == [("T2", "NOT_KNOWN")]


def test_the_office_must_name_the_turtles_that_go():
    asked = draft(line(2), made_as="OFFICE")
    with pytest.raises(WhichTurtles, match=r"1 too few.*T1, T2"):
        plan_draft(asked, books_of(asked, {FEMALE: 3}, turtles=[marked("T1"), marked("T2")]), DAY)


def test_a_named_turtle_goes_with_its_line():
    asked = draft(line(2, target="B", turtles=("T1",)), made_as="OFFICE")
    plan = plan_draft(asked, books_of(asked, {FEMALE: 3}, turtles=[marked("T1"), marked("T2")]), DAY)
    assert [(step.turtle, step.target.place, step.entry) for step in plan.steps] == [("T1", "B", 0)]


def test_a_turtle_seen_elsewhere_since_keeps_its_later_whereabouts():
    asked = draft(line(2, turtles=("T1",)))
    books = books_of(asked, {FEMALE: 3}, turtles=[marked("T1", Ref("B", "slider", "FEMALE"), since=LATER)])
    assert plan_draft(asked, books, DAY).steps == []
    with pytest.raises(TurtleElsewhere, match="T1 stands in pond B"):
        plan_draft(draft(line(1, turtles=("T1",)), made_as="OFFICE"), books, DAY)


def test_a_turtle_left_by_the_reversal_is_not_asked_for_again():
    asked = draft(line(1, turtles=("T1",)), made_as="OFFICE")
    books = books_of(asked, {FEMALE: 3}, turtles=[marked("T1", Ref("B", "slider", "FEMALE"), since=LATER)])
    assert plan_draft(asked, books, DAY, moved_on={"T1"}).steps == []


def test_a_line_names_no_more_turtles_than_heads():
    asked = draft(line(1, turtles=("T1", "T2")))
    with pytest.raises(BadLine, match="names 2 marked turtles but moves 1"):
        plan_draft(asked, books_of(asked, {FEMALE: 3}, turtles=[marked("T1"), marked("T2")]), DAY)


def test_a_mark_in_an_empty_cell_proves_a_head_there():
    asked = draft(marks=(MarkDraft("T1", "slider", "FEMALE", "A"),))
    books = books_of(asked, {}, turtles=[marked("T1", None)])
    assert entries(plan_draft(asked, books, DAY)) == [("UNSEEN", "A", "FEMALE", 1, "BEYOND_BOOK")]


heads = st.integers(0, 12)


@unhurried
@given(
    held=st.tuples(heads, heads, heads),
    later=st.tuples(st.integers(0, 6), st.integers(0, 6), st.integers(0, 6)),
    sold=st.lists(st.tuples(st.sampled_from(["FEMALE", "MALE", "UNSEXED"]), st.integers(1, 9)), max_size=4),
    put_back=st.dictionaries(st.sampled_from(["female", "male", "unsexed"]), st.integers(0, 9)),
)
def test_at_the_bank_no_day_ends_below_zero_and_no_more_is_filled_than_is_missing(
    held, later, sold, put_back
):
    cells = (FEMALE, MALE, UNSEXED)
    # What leaves later was there: a book never holds less.
    standing = {ref: max(now, then) for ref, now, then in zip(cells, held, later, strict=True)}
    goes_later = {ref: -then for ref, then in zip(cells, later, strict=True)}
    gone = Counter()
    for of_class, number in sold:
        gone[of_class] += number
    caught = {name: number + gone[name.upper()] for name, number in put_back.items()}
    asked = draft(*(line(number, of_class=of_class) for of_class, number in sold), haul=haul(**caught))
    books = books_of(asked, standing, goes_later)
    plan = plan_draft(asked, books, DAY)
    moved = Counter()
    for entry in plan.entries:
        moved[entry.source] -= entry.heads
        moved[entry.target] += entry.heads
        assert entry.reason in ("SOLD", "SEXED", "BEYOND_BOOK")
    assert sum(moved.values()) == 0
    for ref in cells:
        after = standing[ref] + moved[ref]
        assert books.cells[ref].balance(DAY) == after
        assert after >= 0
        assert after + goes_later[ref] >= 0
        in_hand_and_back = caught.get(ref.of_class.lower(), 0) - gone[ref.of_class]
        assert after >= in_hand_and_back
        if moved[Ref("UNSEEN", "slider", ref.of_class)] < 0:
            assert after == max(-goes_later[ref], in_hand_and_back)


@unhurried
@given(held=heads, later=heads, asked_for=st.integers(1, 20))
def test_the_office_is_refused_exactly_when_a_day_would_end_below_zero(held, later, asked_for):
    standing = max(held, later)
    asked = draft(line(asked_for), made_as="OFFICE")
    books = books_of(asked, {FEMALE: standing}, {FEMALE: -later})
    if asked_for > standing - later:
        with pytest.raises(NotEnoughHeads):
            plan_draft(asked, books, DAY)
    else:
        assert entries(plan_draft(asked, books, DAY)) == [("A", "SOLD", "FEMALE", asked_for, "SOLD")]
