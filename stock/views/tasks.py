"""Tasks: what was decided and is to be done at a pond."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.roles import for_owner, role_of
from stock import task_book
from stock.forms.fields import farm_choices
from stock.forms.tasks import DropForm, TaskForm
from stock.models import Task
from stock.tables.tasks import TaskFilter, TaskTable
from stock.tasks import OPEN, task_sentence, with_progress
from stock.watch_page import WatchLine
from stock.watch_stops import AFTER, IN_SPITE, stops_at

SEE_OTHER = 303
JOIN = "; "


class TaskList(ListPage):
    """What is to be done at the ponds: the open tasks unless another state is asked for."""

    model = Task
    table_class = TaskTable
    filterset_class = TaskFilter
    template_name = "stock/task_list.html"
    search_fields = ("why", "pond__code", "kind__common_name", "by_name")
    search_label = "Search why, pond, kind or person"
    export_name = "tasks"

    def get_queryset(self):
        tasks = with_progress(super().get_queryset()).select_related("pond", "kind")
        return tasks.order_by("dropped_at", "decided_on", "pk")

    def get_filterset_kwargs(self, filterset_class):
        asked = self.request.GET.copy()
        asked.setdefault("state", OPEN)
        return {**super().get_filterset_kwargs(filterset_class), "data": asked}

    def get_table_kwargs(self):
        return {"role": role_of(self.request.user)}


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def task_add(request: HttpRequest) -> HttpResponse:
    """Make a decision a task; other pages fill the form in by the address or by posting its fields."""
    choices = farm_choices()
    if request.method != "POST":
        asked = {name: request.GET[name] for name in TaskForm.base_fields if name in request.GET}
        stops = _stops(asked.get("verb", ""), asked.get("pond", ""))
        return _show_form(
            request, TaskForm(initial=asked, choices=choices, adds=_added(stops, asked.get("why", ""))), stops
        )
    stops = _stops(request.POST.get("verb", ""), request.POST.get("pond", ""))
    # The words added have their room before anything is typed in it.
    form = TaskForm(request.POST, choices=choices, adds=_added(stops, request.POST.get("why", "")))
    if form.is_valid():
        typed = form.cleaned_data
        pond = choices.pond(typed["pond"])
        assert pond is not None  # noqa: S101 (offered by the form)
        why = typed["why"]
        if stops and request.POST.get(IN_SPITE) != "yes":
            form.add_error(
                None,
                f"The watch asks to stop all moves of pond {pond.code}. Say below that it is for later, or go back.",
            )
            return _show_form(request, form, stops)
        if _added(stops, why):
            why = f"{why.rstrip('. ')}{JOIN if why else ''}{AFTER}."
        try:
            task = task_book.make(
                pond=pond,
                verb=typed["verb"],
                kind=choices.kind(typed["kind"]),
                of_class=typed["of_class"],
                heads=typed["heads"],
                why=why,
                due_on=typed["due_on"],
                review_month=_review_month(request),
                by=request.user,
                today=the_farm().today(),
            )
        except task_book.TaskRefused as refusal:
            form.add_error(refusal.field or None, refusal.sentence)
        else:
            messages.success(
                request,
                f"{task_sentence(task)}, pond {pond.code}: a task now. The move that does it ticks it.",
            )
            return HttpResponseRedirect(_next_page(request), status=SEE_OTHER)
    return _show_form(request, form, stops)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def task_drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask why a task is dropped, and drop it."""
    task = get_object_or_404(Task.objects.select_related("pond", "kind"), pk=pk)
    form = DropForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            task_book.drop(task, why=form.cleaned_data["why"], by=request.user)
        except task_book.TaskRefused as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, f"Dropped: {task_sentence(task)}, pond {task.pond.code}.")
            return HttpResponseRedirect(reverse("stock:task-list"), status=SEE_OTHER)
    context = {"form": form, "task": task, "sentence": task_sentence(task)}
    return render(request, "stock/task_drop.html", context)


def _stops(verb: str, code: str) -> list[WatchLine]:
    """Return the signals that ask to stop the moves a task would lead to; a count moves nothing."""
    return stops_at({code}, the_farm().today()) if code and verb != Task.Verb.RECOUNT else []


def _added(stops: Sequence[WatchLine], why: str) -> str:
    """Return the words that a task's reason gets where the watch asks to stop moves, unless it says so already."""
    return f"{JOIN}{AFTER}." if stops and AFTER not in why else ""


def _show_form(request: HttpRequest, form: TaskForm, stops: Sequence[WatchLine] = ()) -> HttpResponse:
    month = _review_month(request)
    context = {
        "form": form,
        "next": _next_page(request),
        "review": f"{month:%Y-%m}" if month else "",
        "watch_stops": stops,
        "in_spite": IN_SPITE,
        "is_in_spite": request.POST.get(IN_SPITE) == "yes",
        "after": AFTER,
    }
    return render(request, "stock/task_add.html", context)


def _review_month(request: HttpRequest) -> dt.date | None:
    """Return the month in whose review the task is decided; None for one decided elsewhere."""
    asked = request.POST.get("review") or request.GET.get("review") or ""
    try:
        return dt.date.fromisoformat(f"{asked}-01") if len(asked) == len("2026-10") else None
    except ValueError:
        return None


def _next_page(request: HttpRequest) -> str:
    """Return the page of this site that was asked to come back to, else the list of tasks."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    is_ours = url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()})
    return asked if is_ours else reverse("stock:task-list")
