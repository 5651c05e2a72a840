"""A pond's page: what stands in it today or on any day, what it should give, and what would mend it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.models import Pond
from ponds.roles import OWNER, READER, for_everyone, role_of
from stock import pond_page
from stock.advice import (
    SETTLING_WORDS,
    Aim,
    Decided,
    SeasonForecast,
    aims_of,
    males_first,
    missing_figures,
    season_forecast,
)
from stock.aim_links import AimLinks, with_links
from stock.charts import Chart
from stock.forms.ponds import DayForm
from stock.links import link, task_link
from stock.models import Task
from stock.pond_facts import one_pond, year_before
from stock.pond_kind import PondKind
from stock.pond_page import DeathTable, HaulRow, NestsSoFar, Origin
from stock.pond_print import SheetRows, nests_of, sheet_of, year_flows
from stock.season_now import PondSeason
from stock.season_of_pond import learnt_seasons
from stock.standing_page import HowKnown, how_known
from stock.strips import limit_bar
from stock.tasks import (
    DONE,
    DROPPED,
    OPEN,
    STATE_WORDS,
    decided_heads,
    open_task,
    task_sentence,
    with_progress,
)
from stock.templatetags.stock_format import day as day_words
from stock.templatetags.stock_format import number
from stock.templatetags.stock_format import ratio as ratio_words
from stock.watched_ponds import watched_on

MONTHS_BACK = 35
TASKS_SHOWN = 20


@dataclass(frozen=True)
class KindPart:
    """Everything the page says of one kind."""

    facts: PondKind
    aims: tuple[AimLinks, ...]
    males_first: str
    known: HowKnown | None
    recount_url: str
    forecast: SeasonForecast | None
    season: PondSeason | None
    missing: tuple[str, ...]
    nests: NestsSoFar | None
    hauls: tuple[HaulRow, ...]
    strip: Chart | None
    deaths: DeathTable
    origins: tuple[Origin, ...]
    history: Chart | None


@dataclass(frozen=True)
class TaskRow:
    task: Task
    sentence: str
    state: str
    progress: str
    is_open: bool
    is_overdue: bool
    log_url: str

    @property
    def printed(self) -> tuple[str, str, str, str]:
        """The task as the printed sheet has it."""
        due = day_words(self.task.due_on) if self.task.due_on else ""
        return self.sentence, self.progress, day_words(self.task.decided_on), due


@dataclass(frozen=True)
class Use:
    """The pond's head limit in words and as a bar."""

    words: str
    bar: str
    is_over: bool = False


@require_http_methods(["GET", "HEAD"])
@for_everyone
def pond_detail(request: HttpRequest, code: str) -> HttpResponse:
    """Show one pond; `?on=` is the day it is looked at."""
    farm = the_farm()
    today = farm.today()
    found = pond_page.pond_and_neighbors(code)
    if found is None:
        return _missing(request, code)
    pond = found.pond
    form = DayForm(request.GET, today=today, opened_on=pond.opened_on)
    day = (form.is_valid() and form.cleaned_data["on"]) or today
    role = role_of(request.user)
    is_today = day == today
    facts, states = one_pond(pond, day, months_back=MONTHS_BACK)
    watched = watched_on(day)
    facts = watched.of(facts)
    hauls = pond_page.last_hauls(pond, day)
    origins = pond_page.origins_of(facts)
    nests = pond_page.nests_so_far(pond, facts[0].season, day) if facts else {}
    first = year_before(day)
    may_decide = role == OWNER and is_today and pond.retired_on is None
    seasons = learnt_seasons(day)
    signals = [line for line in watched.signals if pond.pk in {where[0] for where in line.ponds}]
    stops = [line for line in signals if line.asks_to_stop]
    tasks = _tasks(pond, today, role)
    opened = [open_task(row.task) for row in tasks if row.is_open and is_today]
    parts = [
        _part(
            one,
            hauls,
            origins,
            nests,
            seasons,
            first,
            decided_heads(opened, pond.code, one.kind_code),
            may_decide=may_decide,
            may_move=not stops,
        )
        for one in facts
    ]
    printed = SheetRows(
        year_flows([pond.pk], day),
        nests_of([pond.pk], facts[0].season, day) if facts else {},
        {(pond.pk, kind_id): rows for kind_id, rows in origins.items()},
        {pond.pk: [row.printed for row in tasks if row.is_open]},
        seasons,
    )
    context = {
        "farm": farm,
        "printed_on": today,
        "pond": pond,
        "before": found.before,
        "after": found.after,
        "day": day,
        "today": today,
        "is_today": is_today,
        "form": form,
        "parts": parts,
        "answer": _answer(facts),
        "use": _use(facts, pond),
        "quarantine": facts[0].use if facts and facts[0].use.in_quarantine else None,
        "states": states,
        "state": next((state for state in states if state.from_on <= day), None),
        "moves": pond_page.last_moves(pond, day),
        "tasks": tasks[:TASKS_SHOWN],
        "more_tasks": sum(row.is_open for row in tasks[TASKS_SHOWN:]),
        "signals": signals,
        "stops": stops,
        "open_tasks": [row for row in tasks if row.is_open],
        "nests_of_none": nests.get(None),
        "settling": SETTLING_WORDS,
        "log_url": link("stock:log", pond=pond.code) if role != READER and pond.retired_on is None else "",
        "edit_url": link("ponds:pond-edit", pond.code) if role == OWNER else "",
        "state_url": link("ponds:pond-state", pond.code) if role == OWNER else "",
        "task_url": task_link(pond.code, "") if may_decide else "",
        "caution_kind": next(
            (part.facts.kind_id for part in parts if any(row.ways for row in part.aims)), None
        ),
        "sheet": sheet_of(pond, farm, day, facts, printed),
        "listed_kinds": {one.kind_id for one in facts if one.listing},
    }
    return render(request, "stock/pond_detail.html", context)


def _missing(request: HttpRequest, code: str) -> HttpResponse:
    """Say that there is no such pond, and which one may be meant."""
    meant = Pond.objects.filter(code=code.strip().upper()).first()
    return render(request, "stock/pond_missing.html", {"code": code[:20], "meant": meant}, status=404)


def _part(
    one: PondKind,
    hauls: dict[int, list[HaulRow]],
    origins: dict[int, list[Origin]],
    nests: dict[int | None, NestsSoFar],
    seasons: Mapping[tuple[int, int], PondSeason],
    first: dt.date,
    decided: Decided,
    *,
    may_decide: bool,
    may_move: bool,
) -> KindPart:
    may_mend = may_decide and may_move
    of_kind = hauls.get(one.kind_id, [])
    return KindPart(
        facts=one,
        aims=tuple(
            with_links(aim, one, why=_why(aim, one), may_decide=may_mend) for aim in aims_of(one, decided)
        ),
        males_first=males_first(one, decided),
        known=how_known(one),
        recount_url=task_link(one.pond_code, "RECOUNT", kind=one.kind_code) if may_decide else "",
        forecast=season_forecast(one),
        season=seasons.get((one.pond_id, one.kind_id)),
        missing=tuple(missing_figures(one)),
        nests=nests.get(one.kind_id),
        hauls=tuple(of_kind),
        strip=pond_page.hauls_strip(one, of_kind),
        deaths=pond_page.death_table(one, first),
        origins=tuple(origins.get(one.kind_id, ())),
        history=pond_page.history_chart(one),
    )


def _why(aim: Aim, one: PondKind) -> str:
    return f"{one.females_now} females to {one.males_now} males by {one.whose}; {aim.words[0].lower()}{aim.words[1:]}."


def _answer(facts: list[PondKind]) -> str:
    """Answer the page's question in a sentence for each kind that stands there."""
    said = []
    for one in facts:
        heads = one.heads
        if one.is_empty:
            continue
        counted = [
            f"{number(count)} {noun if count != 1 else noun.removesuffix('s')}"
            for count, noun in ((one.females_now, "females"), (one.males_now, "males"))
            if count or one.adults
        ]
        # A standing holds the unsexed shared out already.
        counted += [f"{number(heads.unsexed)} unsexed"] if heads.unsexed and one.standing is None else []
        counted += (
            [f"{number(heads.juveniles)} juvenile{'s' if heads.juveniles != 1 else ''}"]
            if heads.juveniles
            else []
        )
        ratio = f", {ratio_words(one.verdict.ratio)}" if one.females_now and one.males_now else ""
        probably = "probably " if one.standing is not None else ""
        said.append(
            f"{one.kind_name}: {probably}{', '.join(counted)}{ratio}; {one.how_it_stands} by {one.whose}."
        )
    return " ".join(said) or "Nothing, by the book."


def _use(facts: list[PondKind], pond: Pond) -> Use:
    """Say how far the pond's head limit is used; kinds weigh by their space."""
    heads = sum(one.heads.total for one in facts)
    use = facts[0].head_use if facts else 0.0
    weighed = "" if use == heads else f", {number(use)} weighed by space"
    if not pond.head_limit:
        return Use(f"{number(heads)} heads{weighed}; no head limit is set.", "")
    room = pond.head_limit - use
    left = f"{number(room)} still fit" if room >= 0 else f"{number(-room)} too many"
    words = f"{number(heads)} heads{weighed}, of a limit of {number(pond.head_limit)}: {left}."
    return Use(words, limit_bar("Head limit", words, use, pond.head_limit), is_over=room < 0)


def _tasks(pond: Pond, today: dt.date, role: str) -> list[TaskRow]:
    """Return all open tasks of the pond, then its newest others, up to `TASKS_SHOWN`: one query."""
    rank = {OPEN: 0, DONE: 1, DROPPED: 2}
    of_pond = Task.objects.filter(pond=pond)
    newest = of_pond.order_by("-decided_on", "-pk").values("pk")[:TASKS_SHOWN]
    tasks = (
        with_progress(of_pond)
        .filter(Q(state=OPEN) | Q(pk__in=newest))
        .select_related("pond", "kind")
        .order_by("-decided_on", "-pk")
    )
    rows = []
    for task in tasks:
        done, state = task.heads_done, task.state  # type: ignore[attr-defined]
        is_open = state == OPEN
        rows.append(
            TaskRow(
                task=task,
                sentence=task_sentence(task),
                state=STATE_WORDS[state],
                progress=f"{done} of {task.heads} done" if is_open and task.heads and done else "",
                is_open=is_open,
                is_overdue=is_open and task.due_on is not None and task.due_on < today,
                log_url=link("stock:log", pond=pond.code, task=task.pk) if is_open and role != READER else "",
            )
        )
    return sorted(rows, key=lambda row: rank[row.task.state])  # type: ignore[attr-defined]
