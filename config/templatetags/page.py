"""Tags of the page frame: what is wrong with a form, a fresh key, minutes of a wait."""

from __future__ import annotations

import datetime as dt
import math
import uuid

from django import template
from django.forms import BaseForm, BaseFormSet

from config.forms import Problem
from config.forms import problems as list_problems

register = template.Library()


@register.simple_tag
def problems(form: BaseForm | str | None = None, formset: BaseFormSet | str | None = None) -> list[Problem]:
    """List what is wrong; a name that the page does not have counts as nothing wrong."""
    return list_problems(
        form if isinstance(form, BaseForm) else None, formset if isinstance(formset, BaseFormSet) else None
    )


@register.simple_tag
def new_key() -> str:
    """Return a fresh key for a form that writes, so that sending it twice posts once."""
    return str(uuid.uuid4())


@register.filter
def minutes(wait: dt.timedelta | None) -> str:
    """Write a wait in whole minutes, rounded up.

    >>> minutes(dt.timedelta(minutes=5)), minutes(dt.timedelta(seconds=40)), minutes(None)
    ('5 minutes', '1 minute', 'a few minutes')
    """
    if not isinstance(wait, dt.timedelta):
        return "a few minutes"
    whole = max(1, math.ceil(wait.total_seconds() / 60))
    return "1 minute" if whole == 1 else f"{whole} minutes"
