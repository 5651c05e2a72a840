"""The column that says in words how a pond stands, the same in every table."""

from __future__ import annotations

import django_tables2 as tables
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from stock.of_pond_kind import OfPondKind


class HowItStandsColumn(tables.Column):
    """The worst as a tag, all else beside it, the ratio's verdict last; exported as one line of words."""

    def __init__(self, **parts) -> None:
        super().__init__(verbose_name="How it stands", attrs={"td": {"class": "wide stands"}}, **parts)

    def render(self, record: OfPondKind) -> SafeString:
        worst, *others = record.facts.tags
        css = f"tag tag-{worst.tone}" if worst.tone else "tag"
        more = format_html_join("", ' <span class="note also">{}</span>', ((tag.words,) for tag in others))
        return format_html('<span><span class="{}">{}</span>{}</span>', css, worst.words, more)

    def value(self, record: OfPondKind) -> str:
        return record.facts.how_it_stands
