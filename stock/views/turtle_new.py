"""A head marked in a pond: it becomes a turtle of the register."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.roles import SignedRequest, for_hand
from stock import turtle_book
from stock.forms.fields import farm_choices
from stock.forms.turtle_list import NewTurtleForm
from stock.ledger import schemes_in_use
from stock.marks.notch import LETTER_SCHEME
from stock.models import Cell
from stock.turtle_asked import beyond_words
from stock.turtle_search import free_code
from stock.views.rim_tapped import tapped_rim
from stock.views.turtle_forms import Done, Page, answer, page_of

KEPT = ("pond", "kind", "of_class", "number")


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_new(request: SignedRequest) -> HttpResponse:
    """Mark a head that stands in a pond already; scutes are tapped on the drawing, or the code is typed."""
    today = the_farm().today()
    choices = farm_choices()
    asked = {name: request.GET[name][:40] for name in KEPT if request.GET.get(name)}
    rim = tapped_rim(request.GET.dict(), reverse("stock:turtle-new"), "the turtle", asked)
    start = {
        "form": "NOTCH" if "at" in request.GET else "TAG",
        "scheme": rim.scheme.key,
        "code": rim.code,
        **asked,
    }
    form = NewTurtleForm(request.POST or None, choices=choices, today=today, initial=start)

    def write(given: dict[str, Any]) -> Done:
        turtle, receipt = turtle_book.register(
            **{name: given[name] for name in ("key", "kind", "of_class", "pond", "day", "batch", "note")},
            put_on=form.put_on,
            sex=form.sex,
            by=request.user,
            today=today,
        )
        says = f"Turtle {turtle.pk} is in the register. Its number stays its own for ever."
        notes = (*form.notes, *beyond_words(receipt.beyond_book), *receipt.warnings)
        return Done(says, page_of(turtle), notes)

    def beside() -> dict[str, Any]:
        return {"free": _free_codes(choices, request.GET.get("kind", "")), "rim": rim}

    return answer(request, form, write, Page("stock/turtle_new.html", beside, form.beside))


def _free_codes(choices, asked: str) -> list[tuple[str, str]]:
    """Return the next free three-notch code of each kind that ponds ever held and whose rim can be notched."""
    if LETTER_SCHEME.key not in schemes_in_use():
        return []
    found = []
    kept = set(Cell.objects.filter(pond__isnull=False).values_list("kind", flat=True))
    for kind in choices.kinds:
        if kind.pk not in kept or (asked and kind.code != asked):
            continue
        try:
            found.append((kind.common_name, free_code(LETTER_SCHEME, kind)))
        except ValueError:
            continue  # a softshell, or the scheme is full
    return found
