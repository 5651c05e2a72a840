"""The Log: what a haul brought, or what was found or carried, typed on one page and posted as one move."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.roles import for_hand
from stock import ledger
from stock.drafts import Draft, PaperDraft
from stock.forms.fields import cut, farm_choices, new_key
from stock.forms.log import LogEntry, digest
from stock.forms.log_draft import LineOrigin, build, place_refusal
from stock.forms.log_unusual import unusual
from stock.log_page import book_of, cautions_of, log_entry, posted_under, source_of_task, untouched
from stock.models import Move, RefusedPost, Task
from stock.refusals import KeyReused, LedgerRefusal
from stock.refused import as_sent, keep_refused
from stock.tasks import open_tasks
from stock.watch_stops import stops_of

SEE_OTHER = 303


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def log(request: HttpRequest) -> HttpResponse:
    """Ask for the pond, then for what became of the heads; post all of it as one move."""
    if request.method == "POST":
        return _post(request)
    if request.GET.get("refused", "").isdecimal():
        refused = get_object_or_404(RefusedPost, pk=int(request.GET["refused"][:18]))
        sent = as_sent(refused, new_key() if posted_under(str(refused.key)) else refused.key)
        entry = log_entry(pond_code=sent.get("pond", ""), sent=sent)
        asked = unusual(entry) if entry.is_valid() else []
        if not asked and not entry.faults():
            # The ledger refused it: what it said then stands here at once, not after another try.
            entry.say("", f"Not booked when it was sent: {refused.sentence}")
        return show_entry(request, entry, asked)
    choices = farm_choices()
    task = _task_asked(request)
    code = request.GET.get("pond", "").strip().upper() or (task.pond.code if task else "")
    if choices.pond(code) is None:
        return _choose_pond(request, code)
    entry = log_entry(pond_code=code, ticked=str(task.pk) if task else "", choices=choices)
    return show_entry(request, entry)


@require_safe
@for_hand
def log_sheet(request: HttpRequest) -> HttpResponse:
    """Show the sheet for the clipboard, its fields in the order of the Log page."""
    choices = farm_choices()
    pond = choices.pond(request.GET.get("pond", "").strip().upper())
    if pond is None:
        return redirect("stock:log")
    today = the_farm().today()
    book = book_of(pond, choices, today)
    rows = [(choices.kind(kind), of_class, heads) for (kind, of_class), heads in book.items()]
    context = {"pond": pond, "rows": rows, "blank": range(max(2, 8 - len(rows)))}
    context["tasks"] = open_tasks([pond.pk])
    context |= {"watch_stops": stops_of([pond], today), "watch_day": today}
    context["listed"] = [
        kind for kind in choices.kinds if kind.listing and any(kind == row[0] for row in rows)
    ]
    return render(request, "stock/log_sheet.html", context)


def show_entry(
    request: HttpRequest, entry: LogEntry, asked: list[str] | None = None, original: Move | None = None
) -> HttpResponse:
    """Show the Log page, with what is unusual to be counted again if that is asked."""
    pond = entry.pond
    code = pond.code if pond else ""
    ticked = [str(task) for task in entry.head["tasks"].value() or []]
    # What a task adds stands first, filled from it, unless the page was sent already.
    coming = next(
        (
            task
            for task in entry.tasks
            if task.verb == "ADD" and task.pond == code and str(task.id) in ticked and not entry.head.is_bound
        ),
        None,
    )
    came_first = coming is not None and original is None
    context = {
        "entry": entry,
        "form": entry,
        "pond": pond,
        "original": original,
        "asked": asked or [],
        "asked_name": digest(asked) if asked else "",
        "own_tasks": [task for task in entry.tasks if task.pond == code or str(task.id) in ticked],
        "other_tasks": [
            task
            for task in entry.tasks
            if task.verb == "ADD" and task.pond != code and str(task.id) not in ticked
        ],
        "ticked": ticked,
        "came_first": came_first,
        "came_source": source_of_task(coming) if coming and came_first else "",
        "short_fields": [] if original or came_first else entry.short_fields,
        "short_open": entry.head.is_bound,
        "watch_stops": stops_of([pond] if pond else [], entry.today),
        "watch_day": entry.today,
        "listed": [
            kind
            for kind in entry.choices.kinds
            if kind.listing and any(kind.code == cell[0] for cell in entry.book)
        ],
    }
    return render(request, "stock/log.html", context)


def post_entry(
    request: HttpRequest,
    entry: LogEntry,
    write: Callable[[Draft], ledger.Receipt],
    *,
    original: Move | None = None,
    more_papers: tuple[PaperDraft, ...] = (),
) -> HttpResponse:
    """Check a sent Log page, ask once more for what is unusual, and write it by one call of the ledger."""
    if entry.is_valid():
        is_posted = posted_under(str(entry.head.cleaned_data["key"])) is not None
        asked = [] if is_posted else unusual(entry)
        if asked and request.POST.get("confirmed") != digest(asked):
            return show_entry(request, entry, asked, original)
        # Asked before it is booked: the move itself would have the watch reckoned anew.
        cautions = cautions_of(entry)
        receipt = write_entry(entry, write, more_papers=more_papers)
        if receipt is not None:
            return say_receipt(request, receipt, entry, cautions)
    elif "key" in entry.head.errors:
        entry.renew_key()
    keep_refused(
        key=uuid.UUID(entry.head.data["key"]),
        pond=entry.pond,
        sentence=" ".join(fault.sentence for fault in entry.faults()),
        sent=request.POST,
        by=request.user,
    )
    return show_entry(request, entry, original=original)


def write_entry(
    entry: LogEntry,
    write: Callable[[Draft], ledger.Receipt],
    *,
    more_papers: tuple[PaperDraft, ...] = (),
) -> ledger.Receipt | None:
    """Write a valid Log page by one call of the ledger; where it refuses, the page holds the sentences."""
    origins: list[LineOrigin] = []
    try:
        draft, origins = build(entry, more_papers=more_papers)
        return write(draft)
    except KeyReused:
        entry.say(
            "",
            "This page was posted before, with other figures: see Moves. If this is another log, press the "
            "button again; if it is the same, correct that move instead.",
        )
        entry.renew_key()
    except LedgerRefusal as refusal:
        place_refusal(entry, refusal, origins)
    return None


def say_receipt(
    request: HttpRequest, receipt: ledger.Receipt, entry: LogEntry, cautions: Sequence[str] = ()
) -> HttpResponse:
    """Say what the ledger said, and lead to the move's page, where it can be undone."""
    if receipt.is_replay:
        messages.info(request, "This was posted already, once: here it is.")
    else:
        messages.success(request, "Booked. If something is wrong, undo it or correct it here at once.")
        for sentence in (
            *cautions,
            *untouched(entry, receipt.key),
            *entry.scans.notes,
            *receipt.warnings,
            *entry.sentences_missing_papers(),
        ):
            messages.warning(request, sentence)
    return HttpResponseRedirect(reverse("stock:move-detail", args=[receipt.key]), status=SEE_OTHER)


def _post(request: HttpRequest) -> HttpResponse:
    entry = log_entry(pond_code=request.POST.get("pond", ""), sent=request.POST)
    return post_entry(request, entry, lambda draft: ledger.record(draft, by=request.user, today=entry.today))


def _task_asked(request: HttpRequest) -> Task | None:
    asked = request.GET.get("task", "")
    if not asked.isdecimal() or len(asked) > 18:
        return None
    return Task.objects.select_related("pond").filter(pk=int(asked)).first()


def _choose_pond(request: HttpRequest, code: str) -> HttpResponse:
    choices = farm_choices()
    waiting: dict[str, int] = {}
    for task in open_tasks():
        waiting[task.pond] = waiting.get(task.pond, 0) + 1
    ponds = [(pond, waiting.get(pond.code, 0)) for pond in choices.ponds]
    return render(
        request,
        "stock/log_pond.html",
        {"ponds": ponds, "unknown": cut(code), "task": request.GET.get("task", "")},
    )
