"""Tags of the page frame: what is wrong with a form, a fresh key, minutes of a wait."""

from __future__ import annotations

import datetime as dt
import math
import uuid

from django import template
from django.forms import BaseForm, BaseFormSet
from django.template.base import NodeList, Parser, Token
from django.utils.html import format_html

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


TABLES_ASKED = "_tables"


class TablesOfPage(template.Node):
    """A page's content, and under it where its tables can be had; a list brings its own export along."""

    def __init__(self, nodelist: NodeList) -> None:
        self.nodelist = nodelist

    def render(self, context: template.Context) -> str:
        content = self.nodelist.render(context)
        request = context.get("request")
        if request is None or request.method != "GET" or not context.get("role"):
            return content
        if "<table" not in content or 'class="export ' in content:
            return content
        asked = request.GET.copy()
        links = []
        for wanted in ("csv", "xlsx"):
            asked[TABLES_ASKED] = wanted
            links.append(format_html('<a href="?{}">{}</a>', asked.urlencode(), wanted.upper()))
        return content + format_html(
            '<p class="page-tables no-print">The tables of this page: {}, {}</p>', *links
        )


@register.tag
def tables_of_page(parser: Parser, token: Token) -> TablesOfPage:
    nodelist = parser.parse(("end_tables_of_page",))
    parser.delete_first_token()
    return TablesOfPage(nodelist)
