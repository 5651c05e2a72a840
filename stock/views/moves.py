"""Moves: the list with its export, one move, taking it back, correcting it, and moves decided in the office."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.roles import HAND, for_hand, for_owner, role_of
from ponds.svg_marks import figure_text
from stock import ledger
from stock.entry_export import export_entries
from stock.forms.fields import new_key
from stock.forms.log_start import fits_log, is_marking, start_of
from stock.forms.log_typed import move_papers, typed_entries
from stock.forms.moves import OfficeMove, build_office, start_of_lines
from stock.forms.moves import place_refusal as place_line_refusal
from stock.log_page import free_batch_code, log_entry
from stock.models import MarkStep, Move
from stock.move_words import class_words, part_sentence, place_words
from stock.moves_read import (
    move_sentence,
    part_of,
    state_of,
    why_not_taken_back,
    with_entries,
)
from stock.refusals import KeyReused, LedgerRefusal
from stock.surveys import survey_of
from stock.tables.moves import MoveFilter, MoveTable, UncountedPaginator
from stock.tasks import task_sentence
from stock.turtle_notices import step_says
from stock.views.log import SEE_OTHER, post_entry, show_entry

NOT_TYPED_HERE = (Move.MadeAs.COUNT, Move.MadeAs.REVERSAL)


class MoveList(ListPage):
    """What moved: filtered by entries, newest first, exported as one row an entry."""

    model = Move
    table_class = MoveTable
    filterset_class = MoveFilter
    template_name = "stock/move_list.html"
    paginator_class = UncountedPaginator
    search_fields = ()
    search_label = "Search notes and batches"
    export_name = "moves"

    def get_queryset(self):
        return with_entries(Move.objects.all()).order_by("-happened_on", "-id")

    def get_filterset_kwargs(self, filterset_class):
        return {**super().get_filterset_kwargs(filterset_class), "words": self.search_text.split()}

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "search_label": self.search_label}

    def create_export(self, export_format):
        moves = self.filterset.qs.order_by()
        return export_entries(
            moves, self.filterset.entry_conditions(), export_format, self.get_export_filename(export_format)
        )


@require_safe
def move_detail(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Show everything of one move; right after posting it is the receipt."""
    move = get_object_or_404(with_entries(Move.objects.all()).select_related("by"), key=key)
    entries = list(move.entries.all())
    beyond = [
        part_of(entry) for entry in entries if entry.reason == "BEYOND_BOOK" and entry.target.pond is not None
    ]
    haul = getattr(move, "haul", None)
    marks = MarkStep.objects.filter(move=move).select_related("turtle", "target__pond").order_by("pk")
    context = {
        "move": move,
        "sentence": move_sentence(move),
        "state": state_of(move),
        "rows": [(entry, part_sentence(part_of(entry))) for entry in entries],
        "beyond": beyond,
        "is_late": move.booked_on != move.happened_on,
        "haul": haul,
        "in_survey": survey_of(haul) if haul else None,
        "catch": haul.lines.select_related("kind").order_by("kind__common_name", "of_class") if haul else [],
        "batches": list({entry.batch_id: entry.batch for entry in entries if entry.batch}.values()),
        "papers": move.papers.order_by("pk"),
        "marks": [(step, step_says(step)) for step in marks],
        "tasks": [
            (tick, task_sentence(tick.task))
            for tick in move.tasks_done.select_related("task__pond", "task__kind").order_by("pk")
        ],
        "why_not": why_not_taken_back(move, request.user),
    }
    return render(request, "stock/move_detail.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def move_reverse(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Show what taking a move back will do, and do it."""
    move = _own_move(request, key)
    sentence = "" if request.method == "POST" else why_not_taken_back(move, request.user)
    asked_key, note = new_key(), request.POST.get("note", "").replace("\r\n", "\n")
    if request.method == "POST":
        try:
            asked_key = uuid.UUID(request.POST.get("key", ""))
        except ValueError:
            sentence = "This page had lost its key. It has a new one now: press the button again."
        if len(note) > 300:
            sentence = (
                f"The note has {figure_text(len(note))} characters; at most 300 fit. Shorten it, and "
                "press again."
            )
        if not sentence:
            try:
                receipt = ledger.reverse(
                    move, key=asked_key, by=request.user, today=the_farm().today(), note=note
                )
            except LedgerRefusal as refusal:
                sentence = refusal.sentence
                move = _own_move(request, key)
            else:
                messages.success(request, "Taken back. The move and its reversal both stay in the book.")
                address = reverse("stock:move-detail", args=[receipt.key])
                return HttpResponseRedirect(address, status=SEE_OTHER)
    context = {
        "move": move,
        "said": move_sentence(move),
        "rows": [
            (part, class_words(part.to_class, part.heads), place_words(part.source), place_words(part.target))
            for part in map(part_of, move.entries.all())
        ],
        "refusal": sentence,
        "key": asked_key,
        "note": note,
        "can": not why_not_taken_back(move, request.user),
    }
    return render(request, "stock/move_reverse.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def move_correct(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Show the move as it was typed, to be changed; post its reversal and replacement as one."""
    move = _own_move(request, key)
    if request.method != "POST" and (why_not := why_not_taken_back(move, request.user)):
        messages.error(request, why_not)
        return HttpResponseRedirect(reverse("stock:move-detail", args=[key]), status=SEE_OTHER)
    if move.made_as in NOT_TYPED_HERE:
        messages.error(request, why_not_taken_back(move, request.user))
        return HttpResponseRedirect(reverse("stock:move-detail", args=[key]), status=SEE_OTHER)

    def write(draft):
        return ledger.correct(move, draft, by=request.user, today=the_farm().today())

    if is_marking(move):
        messages.error(
            request, "A marking is not corrected: take it back here, or mend the mark on the turtle's page."
        )
        return HttpResponseRedirect(reverse("stock:move-detail", args=[key]), status=SEE_OTHER)
    if not fits_log(move):
        return _correct_lines(request, move, write)
    if request.method == "POST":
        entry = log_entry(pond_code=request.POST.get("pond", ""), sent=request.POST, original=move)
        return post_entry(request, entry, write, original=move, more_papers=tuple(move_papers(move)[1:]))
    pond_code = move.pond.code if move.pond else ""
    start = start_of(move)
    start["batch"].setdefault("code", free_batch_code(the_farm().today(), pond_code))
    entry = log_entry(pond_code=pond_code, start=start, original=move)
    return show_entry(request, entry, original=move)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def move_new(request: HttpRequest) -> HttpResponse:
    """Take a move decided in the office; it is refused where the book does not hold it."""
    today = the_farm().today()
    office = OfficeMove(today=today, sent=request.POST if request.method == "POST" else None)

    def write(draft):
        return ledger.record(draft, by=request.user, today=today)

    if request.method == "POST" and (answer := _take_lines(request, office, write)):
        return answer
    return render(
        request, "stock/move_lines.html", {"office": office, "form": office.head, "formset": office.lines}
    )


def _own_move(request: HttpRequest, key: uuid.UUID) -> Move:
    """Return the move if this person may ever take it back: an owner any, a hand their own."""
    move = get_object_or_404(with_entries(Move.objects.all()), key=key)
    if role_of(request.user) == HAND and move.by_id != request.user.pk:
        raise PermissionDenied(
            f"This move was logged by {move.by_name}. A hand takes back their own moves; ask an owner for this one."
        )
    if role_of(request.user) == HAND and move.booked_on < ledger.first_open_booking_day():
        raise PermissionDenied(f"{move.booked_on:%B %Y} is closed. Ask an owner to take this move back.")
    return move


def _correct_lines(request: HttpRequest, move: Move, write) -> HttpResponse:
    today = the_farm().today()
    if request.method == "POST":
        office = OfficeMove(today=today, sent=request.POST, original=move)
        if answer := _take_lines(request, office, write):
            return answer
    else:
        office = OfficeMove(today=today, start=start_of_lines(move, typed_entries(move)), original=move)
    context = {"office": office, "form": office.head, "formset": office.lines, "original": move}
    return render(request, "stock/move_lines.html", context)


def _take_lines(request: HttpRequest, office: OfficeMove, write) -> HttpResponse | None:
    """Check the lines and write them; None where the page is to be shown again with what is wrong."""
    if not office.is_valid():
        return None
    draft, origins = build_office(office)
    try:
        receipt = write(draft)
    except KeyReused:
        office.renew_key()
        office.head.add_error(
            None,
            "This page was posted before, with other figures: see Moves. Press again to post this as another.",
        )
        return None
    except LedgerRefusal as refusal:
        place_line_refusal(office, refusal, origins)
        return None
    for sentence in receipt.warnings:
        messages.warning(request, sentence)
    messages.success(request, "Posted already, once." if receipt.is_replay else "Booked.")
    return HttpResponseRedirect(reverse("stock:move-detail", args=[receipt.key]), status=SEE_OTHER)
