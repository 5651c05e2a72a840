"""What every writing page of a turtle does with its form: write once, say so, or put what is wrong beside the field."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from ponds.roles import SignedRequest
from stock.models import Turtle
from stock.refusals import LedgerRefusal
from stock.turtle_page import find_turtle
from stock.turtle_records import TurtleRowRefused

SEE_OTHER, UNPROCESSABLE = 303, 422
# What the doors call a field, where a form has another name for it.
FIELDS = {"nest_day": "nest", "happened_on": "day", "mark": "code"}


@dataclass(frozen=True)
class Done:
    """What is said once a form is written, and the address that is shown then."""

    says: str
    to: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Page:
    """The template of a form, and what it shows beside the form; worked out only where it is shown."""

    template: str
    beside: Callable[[], Mapping[str, Any]] = field(default=dict)
    fields: Mapping[str, str] = field(default_factory=dict)


def answer(
    request: SignedRequest, form: Any, write: Callable[[dict[str, Any]], Done], page: Page
) -> HttpResponse:
    """
    Write what a valid form holds and go on; else show the form again.

    Parameters
    ----------
    write : callable
        Gets the form's clean values, writes, and returns what to say; may raise what the doors refuse with.
    page : Page
        `fields` maps a door's name of a field to the form's, before `FIELDS` does.
    """
    if request.method == "POST" and form.is_valid():
        try:
            done = write(form.cleaned_data)
        except (LedgerRefusal, TurtleRowRefused) as refused:
            name = {**FIELDS, **page.fields}.get(refused.field or "", refused.field)
            form.add_error(name if name in form.fields else None, refused.sentence)
        else:
            messages.success(request, done.says)
            for sentence in done.notes:
                messages.warning(request, sentence)
            return HttpResponseRedirect(done.to, status=SEE_OTHER)
    status = UNPROCESSABLE if form.is_bound and form.errors else 200
    return render(request, page.template, {"form": form, **page.beside()}, status=status)


def turtle_or_404(number: int) -> Turtle:
    """Return a turtle with what its page names, or answer that there is none."""
    found = find_turtle(number)
    if found is None:
        raise Http404(f"There is no turtle {number}.")
    return found


def page_of(turtle: Turtle, place: str = "") -> str:
    """Return the address of a turtle's page, at a place on it."""
    return reverse("stock:turtle", args=[turtle.pk]) + place
