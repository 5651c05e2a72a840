"""Who may use which address: one row for each named URL. An address without a row fails the suite.

How to add one (one line, in the order of the site map):

    Row("stock:move-reverse", {"key": move_key}, get=HANDS, post=HANDS),

* the URL's name, with its namespace;
* what its path needs: plain values, or functions below that make the row in the database and return the value;
* `get` and `post`: who may. `OWNERS`, `HANDS` (owner and hand), `ROLES` (owner, hand, reader), `EVERYONE` (also
  nobody signed in), or `NO_ONE` (the default: the view takes no such request).

What is tested of each row, for owner, hand, reader and nobody: who may, gets an answer (200, or a redirect; for a
POST without any fields also 400, 409 or 422); who may not, gets 403 or 405, and nobody is sent to sign in; a GET
writes nothing; a POST without the form's token is refused; every answer carries the content security policy and
nothing inline.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

NO_ONE: frozenset[str] = frozenset()
OWNERS = frozenset({"owner"})
HANDS = frozenset({"owner", "hand"})
ROLES = frozenset({"owner", "hand", "reader"})
EVERYONE = ROLES | {"nobody"}


@dataclass(frozen=True)
class Row:
    name: str
    path: Mapping[str, Any | Callable[[], Any]] = field(default_factory=dict)
    get: frozenset[str] = NO_ONE
    post: frozenset[str] = NO_ONE


def person_name() -> str:
    """Make a hand called Wren, beside whoever is signed in."""
    from django.contrib.auth.models import User

    from ponds.roles import give_role

    person, _ = User.objects.get_or_create(username="wren")
    give_role(person, "hand")
    return person.get_username()


def kind_code() -> str:
    from tests.factories import KindFactory

    return KindFactory(code="address-kind").code


def made_name() -> str:
    """Make a file that was made for taking along."""
    from stock.made_files import new_file

    path = new_file("year-to-2024-05-31.pdf")
    path.write_bytes(b"%PDF-1.4")
    return path.name


def nest_key() -> Any:
    """Record nests in a pond of their own. The hand signs them, if there is one."""
    import datetime as dt
    import uuid

    from django.contrib.auth.models import User

    from ponds.nest_book import record
    from tests.factories import PondFactory

    day = dt.date(2024, 5, 1)
    return record(
        key=uuid.uuid4(), pond=PondFactory(code="QN"), kind=None, dug_on=day, nests=3, today=day,
        by=User.objects.filter(username="hand").first(),
    ).key  # fmt: skip


def refused_pk() -> int:
    """Keep a post that was refused."""
    import uuid

    from stock.models import RefusedPost

    return RefusedPost.objects.create(
        key=uuid.uuid4(), sentence="Pond A holds 6.", typed={"pond": ["A"]}, by_name="wren"
    ).pk


def lot_code() -> str:
    """Set an egg lot of one basket, with one candling. The hand signs it, if there is one."""
    import datetime as dt

    from django.contrib.auth.models import User

    from ponds.lot_drafts import CandlingDraft
    from ponds.models import EggLot
    from tests.ponds.lots import a_lot

    if not EggLot.objects.filter(code="ADDRESS-1").exists():
        candling = CandlingDraft(dt.date(2023, 5, 16), 2, 1, 1)
        a_lot("ADDRESS-1", ponds="Q", by=User.objects.filter(username="hand").first(), candlings=(candling,))
    return "ADDRESS-1"


def candling_key() -> Any:
    from ponds.models import Candling

    return Candling.objects.get(lot__code=lot_code()).key


def pond_code() -> str:
    """Make pond A with a kind it may hold, where there is none yet."""
    from ponds.models import Pond
    from tests.factories import KindFactory, PondFactory

    pond = Pond.objects.filter(code="A").first() or PondFactory(code="A", kinds=[KindFactory()])
    return pond.code


def move_key() -> Any:
    """Log a haul in a pond of its own: bought heads, of which all went back. The hand signs it, if there is one."""
    import datetime as dt
    import uuid

    from django.contrib.auth.models import User

    from stock import ledger
    from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line
    from tests.factories import KindFactory, PondFactory

    day = dt.date(2024, 5, 1)
    kind = KindFactory()
    pond = PondFactory(kinds=[kind])
    draft = Draft(
        key=uuid.uuid4(),
        happened_on=day,
        pond=pond.code,
        lines=(Line(kind.code, "FEMALE", "BOUGHT", pond.code, 5, batch="address-batch"),),
        batches=(BatchDraft("address-batch", "BOUGHT", day),),
        haul=HaulDraft("SEINE", (CatchLine(kind.code, "FEMALE", 5),)),
    )
    ledger.record(draft, by=User.objects.filter(username="hand").first(), today=day)
    return draft.key


def haul_id() -> int:
    from stock.models import Haul

    return Haul.objects.get(move__key=move_key()).pk


def survey_id() -> int:
    """Drain a pond of its own to the last head, and read that haul as a survey."""
    from stock.models import Haul, Survey

    known = Survey.objects.first()
    return known.pk if known else _drained(Haul).pk


def survey_kind() -> str:
    from stock.models import Survey

    survey_id()
    return Survey.objects.get().members.get().haul.lines.get().kind.code


def count_id() -> int:
    """Accept the count of that drain-down, which is none of an opening."""
    import datetime as dt
    import uuid

    from stock import ledger
    from stock.drafts import CountDraft
    from stock.models import Count, Survey

    if known := Count.objects.exclude(survey=None).first():
        return known.pk
    code, day = survey_kind(), dt.date(2024, 5, 2)
    survey = Survey.objects.get()
    draft = CountDraft(survey.pond.code, code, day, "DRAINED", females=4, females_se=0, males=0, males_se=0)
    hauls = [row.haul for row in survey.members.all()]
    count = ledger.accept_count(
        draft, key=uuid.uuid4(), by=None, today=day, hauls=hauls, survey=survey, method="drain-down"
    )
    return count.pk


def _drained(haul_model) -> Any:
    import datetime as dt
    import uuid

    from stock import ledger, survey_book
    from stock.drafts import CatchLine, Draft, HaulDraft
    from tests.factories import KindFactory, PondFactory

    day = dt.date(2024, 5, 2)
    kind = KindFactory()
    pond = PondFactory(kinds=[kind])
    catch = HaulDraft("DRAIN_DOWN", (CatchLine(kind.code, "FEMALE", 4),), is_complete=True)
    receipt = ledger.record(
        Draft(key=uuid.uuid4(), happened_on=day, pond=pond.code, haul=catch), by=None, today=day
    )
    haul = haul_model.objects.get(move_id=receipt.move_id)
    return survey_book.begin(pond, survey_book.SurveyDraft((haul.pk,)), key=uuid.uuid4(), by=None)


def turtle_number() -> int:
    """Mark a turtle in a pond of its own."""
    from tests.turtles.one_turtle import marked_turtle

    return marked_turtle().pk


def measured_turtle() -> int:
    """Measure a marked turtle; the hand signs it, if there is one."""
    import uuid

    from django.contrib.auth.models import User

    from stock.marks.measures import read_measure
    from stock.turtle_records import record_measures
    from tests.turtles.one_turtle import MAY, TODAY, marked_turtle

    turtle = marked_turtle()
    by = User.objects.filter(username="hand").first()
    typed = [read_measure("SCL_MAX", "203")]
    record_measures(turtle, typed, measured_on=MAY, key=uuid.uuid4(), by=by, today=TODAY)
    return turtle.pk


def notched_turtle() -> int:
    """Put a notch code on a turtle."""
    from tests.turtles.one_turtle import marked_turtle, put_mark

    return put_mark(marked_turtle()).turtle_id


def mark_id() -> int:
    """Return the mark put on last."""
    from stock.models import Mark

    return Mark.objects.latest("pk").pk


def measure_key() -> Any:
    """Return the key of the measure written last."""
    from stock.models import Measure

    return Measure.objects.latest("pk").key


def photo_key() -> Any:
    """Keep a picture of a marked turtle."""
    import uuid

    from stock.photos import read_photo
    from stock.turtle_records import record_photograph
    from tests.turtles.one_turtle import MAY, TODAY, marked_turtle, picture

    photo = read_photo(picture())
    key = uuid.uuid4()
    record_photograph(marked_turtle(), photo, taken_on=MAY, key=key, by=None, today=TODAY)
    return key


def batch_code() -> str:
    move_key()
    return "address-batch"


def placing_key() -> Any:
    """Save a plan of 5 females to pond A, by nobody's hand."""
    import datetime as dt
    import uuid

    from ponds.models import Kind, Pond
    from stock.models import PlacingStop, SavedPlacing

    known = SavedPlacing.objects.first()
    if known is not None:
        return known.key
    pond = Pond.objects.get(code=pond_code())
    grounds = {
        "seasons": 5, "full_to": 5.0, "exponent": 1.0, "within": 0.01, "in_doubt": True, "seed": 1,
        "draws": 1000, "draws_kept": 200, "draws_compared": 200, "total": 0.0,
        "best_total": 0.0, "low": 0.0, "high": 0.0, "holds": 1.0,
        "method": "greedy", "ponds": [], "rivals": [], "figures": [], "assumptions": [],
    }  # fmt: skip
    placing = SavedPlacing.objects.create(
        key=uuid.uuid4(), kind=pond.kinds_allowed.first() or Kind.objects.get(), heads=5, is_by_hand=False,
        grounds=grounds, saved_on=dt.date(2024, 5, 1), by_name="nobody",
    )  # fmt: skip
    PlacingStop.objects.create(placing=placing, pond=pond, heads=5, best=5)
    return placing.key


def task_id() -> int:
    import datetime as dt

    from stock import task_book
    from tests.factories import PondFactory

    day = dt.date(2024, 5, 1)
    return task_book.make(pond=PondFactory(), verb="RECOUNT", by=None, today=day).pk


ROWS = [
    Row("up", get=EVERYONE),
    Row("sign-in", get=EVERYONE, post=EVERYONE),
    Row("sign-out", post=ROLES),
    Row("health", get=OWNERS),
    Row("me", get=ROLES, post=ROLES),
    Row("people-list", get=OWNERS),
    Row("person-add", get=OWNERS, post=OWNERS),
    Row("person-detail", {"name": person_name}, get=OWNERS),
    Row("person-role", {"name": person_name}, post=OWNERS),
    Row("person-disable", {"name": person_name}, post=OWNERS),
    Row("person-enable", {"name": person_name}, post=OWNERS),
    Row("person-reset", {"name": person_name}, post=OWNERS),
    Row("ponds:settings", get=ROLES),
    Row("ponds:farm-edit", get=OWNERS, post=OWNERS),
    Row("ponds:kind-list", get=ROLES),
    Row("ponds:kind-new", get=OWNERS, post=OWNERS),
    Row("ponds:kinds-add-shipped", post=OWNERS),
    Row("ponds:kind-detail", {"code": kind_code}, get=ROLES),
    Row("ponds:kind-edit", {"code": kind_code}, get=OWNERS, post=OWNERS),
    Row("ponds:pond-settings", get=ROLES),
    Row("ponds:pond-new", get=OWNERS, post=OWNERS),
    Row("ponds:pond-edit", {"code": pond_code}, get=OWNERS, post=OWNERS),
    Row("ponds:pond-state", {"code": pond_code}, get=ROLES, post=OWNERS),
    Row("ponds:pond-retire", {"code": pond_code}, get=OWNERS, post=OWNERS),
    Row("ponds:sheets", get=OWNERS, post=OWNERS),
    Row("ponds:sheet-write", post=OWNERS),
    Row("ponds:sheet-template", {"what": "ponds", "form": "csv"}, get=OWNERS),
    Row("ponds:nest-list", get=ROLES),
    Row("ponds:nest-new", get=HANDS, post=HANDS),
    Row("ponds:nest-season", get=ROLES),
    Row("ponds:nest-totals", get=ROLES),
    Row("ponds:hatch-list", get=ROLES),
    Row("ponds:lot-list", get=ROLES),
    Row("ponds:lot-sheet", {"form": "csv"}, get=ROLES),
    Row("ponds:lot-new", get=HANDS, post=HANDS),
    Row("ponds:lot-detail", {"code": lot_code}, get=ROLES),
    Row("ponds:lot-baskets", {"code": lot_code}, get=HANDS, post=HANDS),
    Row("ponds:lot-candle", {"code": lot_code}, get=HANDS, post=HANDS),
    Row("ponds:lot-hatch", {"code": lot_code}, get=HANDS, post=HANDS),
    Row("ponds:lot-temperature", {"code": lot_code}, get=HANDS, post=HANDS),
    Row(
        "ponds:lot-row-correct",
        {"code": lot_code, "what": "candling", "key": candling_key},
        get=HANDS,
        post=HANDS,
    ),
    Row(
        "ponds:lot-row-take-back",
        {"code": lot_code, "what": "candling", "key": candling_key},
        get=HANDS,
        post=HANDS,
    ),
    Row("ponds:nest-correct", {"key": nest_key}, get=HANDS, post=HANDS),
    Row("ponds:nest-take-back", {"key": nest_key}, get=HANDS, post=HANDS),
    Row("stock:new-females", get=ROLES),
    Row("stock:new-females-tasks", post=OWNERS),
    Row("stock:new-females-save", post=OWNERS),
    Row("stock:placing-list", get=ROLES),
    Row("stock:placing-detail", {"key": placing_key}, get=ROLES),
    Row("stock:placing-sheet", {"key": placing_key}, get=ROLES),
    Row("stock:placing-tasks", {"key": placing_key}, post=OWNERS),
    Row("stock:placing-cancel", {"key": placing_key}, get=OWNERS, post=OWNERS),
    Row("stock:farm-plan", get=ROLES),
    Row("stock:farm-plan-tasks", post=OWNERS),
    Row("stock:replacements", get=ROLES),
    Row("stock:season", get=ROLES),
    Row("stock:season-shelf", get=ROLES),
    Row("stock:season-weight", get=OWNERS, post=OWNERS),
    Row("stock:season-pond", {"code": pond_code, "kind": kind_code}, get=ROLES),
    Row("stock:pond-list", get=ROLES),
    Row("stock:pond-index", get=ROLES),
    Row("stock:pond-detail", {"code": pond_code}, get=ROLES),
    Row("stock:pond-sheet", {"code": pond_code}, get=ROLES),
    Row("stock:what-if", {"code": pond_code}, get=ROLES),
    Row("stock:what-if-tasks", {"code": pond_code}, post=OWNERS),
    Row("stock:farm-year", get=ROLES),
    Row("stock:season-record", get=ROLES),
    Row("stock:season-record-lots", get=ROLES),
    Row("stock:season-record-batches", get=ROLES),
    Row("stock:make-file", post=ROLES),
    Row("stock:made", {"name": made_name}, get=ROLES),
    Row("stock:farm-picture", get=ROLES),
    Row("stock:looked", post=HANDS),
    Row("stock:watch", get=ROLES),
    Row("stock:watch-note", post=OWNERS),
    Row("stock:log", get=HANDS, post=HANDS),
    Row("stock:log-sheet", get=HANDS),
    Row("stock:refused-list", get=HANDS),
    Row("stock:refused-copy", post=HANDS),
    Row("stock:refused-aside", {"pk": refused_pk}, post=OWNERS),
    Row("stock:log-send", get=HANDS, post=HANDS),
    Row("stock:log-worker", get=EVERYONE),
    Row("stock:log-no-signal", get=HANDS),
    Row("stock:move-list", get=ROLES),
    Row("stock:move-new", get=OWNERS, post=OWNERS),
    Row("stock:move-detail", {"key": move_key}, get=ROLES),
    Row("stock:move-reverse", {"key": move_key}, get=HANDS, post=HANDS),
    Row("stock:move-correct", {"key": move_key}, get=HANDS, post=HANDS),
    Row("stock:extract", get=ROLES),
    Row("stock:extract-pond", {"code": pond_code}, get=ROLES),
    Row("stock:review-latest", get=ROLES),
    Row("stock:review", {"month": "2024-05"}, get=ROLES),
    Row("stock:review-pond", {"month": "2026-05", "code": pond_code}, get=ROLES),
    Row("stock:review-sign", {"month": "2026-05", "code": pond_code}, post=OWNERS),
    Row("stock:month-list", get=ROLES),
    Row("stock:month-close", get=OWNERS, post=OWNERS),
    Row("stock:task-list", get=ROLES),
    Row("stock:task-add", get=OWNERS, post=OWNERS),
    Row("stock:task-drop", {"pk": task_id}, get=OWNERS, post=OWNERS),
    Row("stock:count-list", get=ROLES),
    Row("stock:count-detail", {"pk": count_id}, get=ROLES),
    Row("stock:count-take-back", {"pk": count_id}, post=OWNERS),
    Row("stock:haul-list", get=ROLES),
    Row("stock:haul-detail", {"pk": haul_id}, get=ROLES),
    Row("stock:survey-list", get=ROLES),
    Row("stock:survey-new", get=HANDS, post=HANDS),
    Row("stock:survey-detail", {"pk": survey_id}, get=ROLES),
    Row("stock:survey-change", {"pk": survey_id}, get=HANDS, post=HANDS),
    Row("stock:survey-drop", {"pk": survey_id}, post=HANDS),
    Row("stock:survey-accept", {"pk": survey_id, "kind": survey_kind}, get=OWNERS, post=OWNERS),
    Row("stock:count-plan", get=ROLES),
    Row("stock:batch-list", get=ROLES),
    Row("stock:batch-detail", {"code": batch_code}, get=ROLES),
    Row("stock:paper-add", get=HANDS, post=HANDS),
    Row("stock:turtle-list", get=ROLES),
    Row("stock:turtle-new", get=HANDS, post=HANDS),
    Row("stock:turtle-survival", get=ROLES),
    Row("stock:scheme-list", get=ROLES),
    Row("stock:scheme-confirm", {"scheme": "NA16"}, get=OWNERS, post=OWNERS),
    Row("stock:turtle", {"number": turtle_number}, get=ROLES),
    Row("stock:turtle-card", {"number": turtle_number}, get=ROLES),
    Row("stock:turtle-measure", {"number": turtle_number}, get=HANDS, post=HANDS),
    Row("stock:measure-correct", {"number": measured_turtle, "key": measure_key}, get=HANDS, post=HANDS),
    Row("stock:turtle-mark", {"number": turtle_number}, get=HANDS, post=HANDS),
    Row("stock:turtle-mark-event", {"number": notched_turtle, "pk": mark_id}, get=HANDS, post=HANDS),
    Row("stock:turtle-sex", {"number": turtle_number}, get=HANDS, post=HANDS),
    Row("stock:turtle-nest", {"number": turtle_number}, get=HANDS, post=HANDS),
    Row("stock:turtle-photo", {"number": turtle_number}, get=HANDS, post=HANDS),
    Row(
        "stock:turtle-take-back",
        {"number": measured_turtle, "what": "measure", "key": measure_key},
        get=HANDS,
        post=HANDS,
    ),
    Row("stock:turtle-export", {"form": "turtles.csv"}, get=ROLES),
    Row("stock:turtle-sizes", get=ROLES),
    Row("stock:turtle-photo-file", {"key": photo_key, "size": "small"}, get=ROLES),
]
