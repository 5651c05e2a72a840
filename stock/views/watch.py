"""The watch: where more die, or more are missing, than is normal there. Reads; one note is written."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.roles import OWNER, SignedRequest, for_owner, role_of
from stock.advisor.farm_watch_all import ALARMS
from stock.forms.watch import WatchNoteForm
from stock.models import WatchNote
from stock.season_now import season_now
from stock.watch_book import NotNoted, acknowledge
from stock.watch_facts import farm_watch
from stock.watch_page import WatchLine, recount_url, watch_lines

NOTES_SHOWN = 20


@require_http_methods(["GET"])
def watch(request: SignedRequest) -> HttpResponse:
    """Show every signal of today, those noted already at the end."""
    return _show(request)


@require_http_methods(["POST"])
@for_owner
def watch_note(request: SignedRequest) -> HttpResponse:
    """Note what was found of a signal, so that it is quiet until it grows."""
    form = WatchNoteForm(request.POST)
    today = the_farm().today()
    if not form.is_valid():
        return _show(request, refused=form, status=422)
    asked = form.cleaned_data
    line = next(
        (
            line
            for line in watch_lines(farm_watch(today), with_charts=False)
            if (line.pond_code, line.kind_code, line.subject)
            == (asked["pond"], asked["kind"], asked["subject"])
        ),
        None,
    )
    if line is None:
        if WatchNote.objects.filter(key=asked["key"]).exists():
            return HttpResponseRedirect(reverse("stock:watch"), status=303)
        form.add_error(
            None, "The watch no longer points to this: nothing was noted. What it points to now is below."
        )
        return _show(request, refused=form, status=409)
    try:
        acknowledge(line, note=asked["note"], key=asked["key"], by=request.user, today=today)
    except NotNoted as refused:
        form.add_error("note", refused.sentence)
        return _show(request, refused=form, status=422)
    messages.success(request, f"Noted for pond {line.pond_code}. The signal is quiet until it grows.")
    return HttpResponseRedirect(reverse("stock:watch"), status=303)


def _show(request: SignedRequest, *, refused: WatchNoteForm | None = None, status: int = 200) -> HttpResponse:
    farm = the_farm()
    today = farm.today()
    found = farm_watch(today)
    is_owner = role_of(request.user) == OWNER
    lines = watch_lines(found)
    months = found.read.months
    context = {
        "farm": farm,
        "printed_on": today,
        "today": today,
        "rows": [_row(line, refused, is_owner) for line in lines if not line.is_quiet],
        "quiet": [line for line in lines if line.is_quiet],
        "ponds": len({pond for pond, _ in found.read.places}),
        "months": len(months),
        "behind": season_now(today).named if found.read.places else (),
        "season": _season(found.normal.season) if found.normal is not None else "",
        "rate": 100 * found.normal.rate if found.normal is not None else None,
        "series": len(ALARMS),
        "notes": WatchNote.objects.select_related("pond", "kind").order_by("-noted_on", "-pk")[:NOTES_SHOWN],
        "form": refused,
    }
    return render(request, "stock/watch.html", context, status=status)


def _row(line: WatchLine, refused: WatchNoteForm | None, is_owner: bool) -> dict[str, object]:
    form = None
    if is_owner:
        signal = {"pond": line.pond_code, "kind": line.kind_code, "subject": line.subject}
        is_it = refused is not None and all(refused.data.get(name) == word for name, word in signal.items())
        form = (
            refused
            if is_it
            else WatchNoteForm(initial={**signal, "key": uuid.uuid4()}, auto_id=f"{line.anchor}-%s")
        )
    return {"line": line, "form": form, "recount_url": recount_url(line) if is_owner else ""}


MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip


def _season(season) -> str:
    """Say which months are the worst and the best by the farm's own deaths, or ""."""
    if season.max() - season.min() < 0.1:
        return ""
    worst, best = int(season.argmax()), int(season.argmin())
    return (
        f"Most die in {MONTHS[worst]} ({season[worst]:.1f} times the year's mean), fewest in {MONTHS[best]} "
        f"({season[best]:.1f} times)."
    )
