"""What the views of this app share: the way back after a write, refusals put beside their fields."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render, resolve_url

SEE_OTHER = 303
UNPROCESSABLE = 422


def see_other(to: str, *args: str) -> HttpResponse:
    """Send the browser to a page after a write, by GET."""
    return HttpResponseRedirect(resolve_url(to, *args), status=SEE_OTHER)


def show_form(request: HttpRequest, template: str, context: dict) -> HttpResponse:
    """Show a form; one with errors is answered as not processable, with all that was typed."""
    form = context["form"]
    status = UNPROCESSABLE if form.is_bound and form.errors else 200
    return render(request, template, context, status=status)


def put_beside(form: forms.BaseForm, refused: ValidationError, names: dict[str, str] | None = None) -> None:
    """Put the sentences of a refusal beside the fields they are about, the rest on top of the form."""
    if not hasattr(refused, "error_dict"):
        for sentence in refused.messages:
            form.add_error(None, sentence)
        return
    for name, sentences in refused.message_dict.items():
        field = (names or {}).get(name, name)
        for sentence in sentences:
            form.add_error(field if field in form.fields else None, sentence)
