"""Sheets: templates to fill, a file checked first, then written, all rows or none."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from ponds.forms import SheetForm
from ponds.kept_sheets import keep, take
from ponds.roles import for_owner
from ponds.sheet_files import MOST_BYTES
from ponds.sheets import (
    MORE_TO_CHECK,
    Outcome,
    Sheet,
    load,
    registered_sheets,
    template_csv,
    template_xlsx,
    told_once,
)
from ponds.views.answers import UNPROCESSABLE, see_other

CHECKED = "checked_sheet"
MOST_SHOWN = 200
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def sheet_page(request: HttpRequest) -> HttpResponse:
    """Offer the templates; check a file and say what it would do."""
    form = SheetForm(request.POST or None, request.FILES or None)
    outcome = None
    if request.method == "POST" and form.is_valid():
        outcome = _check(request, form)
    return _show(request, form, outcome)


@require_POST
@for_owner
def sheet_write(request: HttpRequest) -> HttpResponse:
    """Write the file that was checked last."""
    checked = request.session.pop(CHECKED, None)
    content = take(checked["token"]) if checked else None
    sheet = registered_sheets().get(checked["what"]) if checked else None
    if content is None or sheet is None:
        messages.error(request, "No checked sheet is waiting. Choose the file again and check it.")
        return see_other("ponds:sheets")
    days = checked.get("days", "")
    asked = checked.get("asked", "")
    outcome = load(sheet, checked["name"], content, by=request.user, days=days, confirmed=asked)
    if outcome.is_asking and outcome.written:
        # The book has changed since the check, and something is asked that was not asked then.
        _keep_checked(request, sheet, checked["name"], days, content, outcome)
        return _show(request, SheetForm(initial={"what": sheet.what}), outcome, name=checked["name"])
    if outcome.bad_rows:
        # The book has changed since the check; say so with the rows.
        return _show(request, SheetForm(initial={"what": sheet.what}), outcome, name=checked["name"])
    messages.success(
        request, f"{sheet.title}: {f'{outcome.made}, ' if outcome.made else ''}{outcome.written}."
    )
    return see_other("ponds:sheets")


@require_safe
@for_owner
def sheet_template(request: HttpRequest, what: str, form: str) -> HttpResponse:
    """Send an empty sheet that names its columns, which are needed, their types, and an example."""
    sheet = registered_sheets().get(what)
    if sheet is None or form not in ("csv", "xlsx"):
        raise Http404("There is no such template.")
    if form == "csv":
        # The mark at the start tells spreadsheet programs that the letters are UTF-8.
        response = HttpResponse("\ufeff" + template_csv(sheet), content_type="text/csv; charset=utf-8")
    else:
        response = HttpResponse(template_xlsx(sheet), content_type=XLSX_TYPE)
    response["Content-Disposition"] = f'attachment; filename="{sheet.what}.{form}"'
    return response


def _check(request: HttpRequest, form: SheetForm) -> Outcome | None:
    sheet = registered_sheets()[form.cleaned_data["what"]]
    upload = form.cleaned_data["file"]
    if upload.size > MOST_BYTES:
        form.add_error(
            "file", f"{upload.name} is {upload.size / 1024 / 1024:.1f} MB; 5 MB is the most. Split it."
        )
        return None
    content = upload.read()
    days = form.cleaned_data["days"]
    outcome = load(sheet, upload.name, content, by=request.user, dry_run=True, days=days)
    if not outcome.bad_rows:
        _keep_checked(request, sheet, upload.name, days, content, outcome)
    return outcome


def _keep_checked(
    request: HttpRequest, sheet: Sheet, name: str, days: str, content: bytes, outcome: Outcome
) -> None:
    """Keep the file until it is written, with a mark of each question that the page asks."""
    waiting = request.session.pop(CHECKED, None)
    if waiting:
        take(waiting["token"])
    asked = outcome.written.question_mark if outcome.written else ""
    request.session[CHECKED] = {
        "what": sheet.what, "name": name, "days": days, "asked": asked, "token": keep(content),
    }  # fmt: skip


def _show(request: HttpRequest, form: SheetForm, outcome: Outcome | None, *, name: str = "") -> HttpResponse:
    upload = request.FILES.get("file")
    bad_rows = told_once(outcome.bad_rows) if outcome else []
    context = {
        "form": form,
        "sheets": list(registered_sheets().values()),
        "outcome": outcome,
        "file_name": name or (upload.name if upload else ""),
        "bad_rows": bad_rows[:MOST_SHOWN],
        "more_to_check": MORE_TO_CHECK if outcome and outcome.is_more_to_check else "",
        "asked": outcome.written.warnings[:MOST_SHOWN] if outcome and outcome.written else (),
        "more_asked": max(0, len(outcome.written.warnings) - MOST_SHOWN)
        if outcome and outcome.written
        else 0,
        "more_bad_rows": max(0, len(bad_rows) - MOST_SHOWN),
    }
    status = UNPROCESSABLE if bad_rows or (form.is_bound and form.errors) else 200
    return render(request, "ponds/sheets.html", context, status=status)
