"""The one way to make a list page: a captioned table, search, filters, page size, and a guarded export."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.core.paginator import EmptyPage, Paginator
from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django.utils.text import slugify
from django_filters.views import FilterView
from django_tables2.config import RequestConfig
from django_tables2.export.export import TableExport
from django_tables2.export.views import ExportMixin
from django_tables2.views import SingleTableMixin

PAGE_SIZES = (25, 50, 100)
EXPORT_FORMATS = ("csv", "xlsx")
LONGEST_SEARCH = 100
# A spreadsheet program reads a text cell that begins with one of these as a formula (OWASP, CSV injection).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
# Control characters that XML 1.0 cannot hold, so a workbook cannot either.
NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")


def guard_cell(value: Any) -> Any:
    """Make a cell safe to open in a spreadsheet: text that looks like a formula gets a leading quote.

    Numbers and days stay what they are. `unguard_text` takes the quote off again.

    >>> guard_cell("=1+1"), guard_cell(-3), guard_cell("-3"), guard_cell("Pond A")
    ("'=1+1", -3, "'-3", 'Pond A')
    """
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, int | float | Decimal | dt.date):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) or _is_guarded(text) else text


def unguard_text(text: str) -> str:
    """Take off exactly the quote that `guard_cell` put on, so that export and import return the same text.

    >>> unguard_text("'=1+1"), unguard_text("'tis high water"), unguard_text(guard_cell("'=x"))
    ('=1+1', "'tis high water", "'=x")
    """
    return text[1:] if _is_guarded(text) else text


def _is_guarded(text: str) -> bool:
    return text.startswith("'") and text.lstrip("'").startswith(FORMULA_STARTS)


class PlainTable(tables.Table):
    """The base of every table: say its `caption`, and its `row_header` (the column that names the row)."""

    caption = ""
    row_header = ""
    can_export = False
    page_sizes = PAGE_SIZES

    class Meta:
        template_name = "django_tables2/plain.html"
        attrs = {"class": "table cards"}
        empty_text = "Nothing to show."


class NumberColumn(tables.Column):
    """A right-aligned figure; exported as the number that it is.

    Parameters
    ----------
    decimals
        How many decimals the page shows. The export keeps all of them.
    """

    def __init__(self, *args: Any, decimals: int = 0, **kwargs: Any) -> None:
        attrs = {"th": {"class": "num"}, "td": {"class": "num"}, "tf": {"class": "num"}}
        super().__init__(*args, attrs={**attrs, **kwargs.pop("attrs", {})}, **kwargs)
        self.decimals = decimals

    def render(self, value: Any) -> str:
        written = f"{value:,.{self.decimals}f}".replace(",", "\u202f")
        return written.replace("-", "−")

    def value(self, value: Any) -> Any:
        return value


class DayColumn(tables.Column):
    """A day, written so that day and month cannot be swapped; exported as a date."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        attrs = {"td": {"class": "day"}}
        super().__init__(*args, attrs={**attrs, **kwargs.pop("attrs", {})}, **kwargs)

    def render(self, value: dt.date) -> str:
        return f"{value.day} {value:%b %Y}"

    def value(self, value: dt.date) -> dt.date:
        return value


class GuardedExport(TableExport):
    """An export whose text cells cannot turn into formulas."""

    def table_to_dataset(self, table: Any, exclude_columns: Any, dataset_kwargs: Any = None) -> Any:
        return super().table_to_dataset(_GuardedRows(table, self.format), exclude_columns, dataset_kwargs)

    @classmethod
    def is_valid_format(cls, export_format: str | None) -> bool:
        return export_format in EXPORT_FORMATS


class _GuardedRows:
    """A table seen through `guard_cell`."""

    def __init__(self, table: PlainTable, export_format: str) -> None:
        self.table = table
        self.export_format = export_format
        self.Meta = table.Meta

    def as_values(self, exclude_columns: Any = None) -> Iterator[list[Any]]:
        for row in self.table.as_values(exclude_columns=exclude_columns):
            cells = [guard_cell(cell) for cell in row]
            if self.export_format == "xlsx":
                cells = [NOT_IN_XML.sub("", cell) if isinstance(cell, str) else cell for cell in cells]
            yield cells


class ListPage(ExportMixin, SingleTableMixin, FilterView):
    """A list page: say model, table_class, filterset_class, template_name, search_fields and export_name.

    `?q=` searches `search_fields`: each word must stand in one of them. `?per_page=` takes 25, 50 or 100 and
    falls back to the nearest. `?_export=csv` and `xlsx` send all pages of what the filters show.
    """

    export_class = GuardedExport
    export_formats = EXPORT_FORMATS
    search_fields: tuple[str, ...] = ()
    search_label = "Search"

    @property
    def search_text(self) -> str:
        return self.request.GET.get("q", "").replace("\0", "").strip()[:LONGEST_SEARCH]

    def get_queryset(self) -> QuerySet:
        rows = super().get_queryset()
        for word in self.search_text.split() if self.search_fields else ():
            anywhere = Q()
            for field in self.search_fields:
                anywhere |= Q(**{f"{field}__icontains": word})
            rows = rows.filter(anywhere)
        return rows

    def get_table(self, **kwargs: Any) -> PlainTable:
        # RequestConfig would take any page size from the address, so it only sorts here.
        table = self.get_table_class()(data=self.get_table_data(), **kwargs)
        RequestConfig(self.request, paginate=False).configure(table)
        table.can_export = True
        if self.export_class.is_valid_format(self.request.GET.get(self.export_trigger_param)):
            # An export takes all rows: no page is read first, so that its first bytes go out at once.
            return table
        per_page = nearest_page_size(self.request.GET.get(table.prefixed_per_page_field))
        page = self.request.GET.get(table.prefixed_page_field, "1")
        paginator_class = getattr(self, "paginator_class", None) or Paginator
        try:
            wanted = int(page) if page.isdecimal() and len(page) < 10 else 1
            table.paginate(page=max(1, wanted), per_page=per_page, paginator_class=paginator_class)
        except EmptyPage:
            table.page = table.paginator.page(table.paginator.num_pages)
        return table

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = self.request.GET
        return super().get_context_data(
            search_text=self.search_text,
            search_label=self.search_label if self.search_fields else "",
            kept_parameters=[(name, asked[name]) for name in ("sort", "per_page") if name in asked],
            is_filtered=any(
                value for name, value in asked.items() if name not in ("sort", "per_page", "page")
            ),
            **kwargs,
        )

    def get_export_filename(self, export_format: str) -> str:
        named = [self.export_name]
        for name, value in self.request.GET.items():
            if value and name not in ("_export", "sort", "page", "per_page"):
                named.append(slugify(f"{name} {value}"))
        return f"{'_'.join(named)[:120]}.{export_format}"

    def get_dataset_kwargs(self) -> dict[str, str]:
        return {"title": self.export_name[:31]}

    def render_to_response(self, context: dict[str, Any], **kwargs: Any) -> HttpResponse:
        filters = context.get("filter")
        if filters is not None and filters.is_bound and not filters.form.is_valid():
            # A filter that cannot be read exports nothing; the page says why instead.
            return FilterView.render_to_response(self, context, **kwargs)
        return super().render_to_response(context, **kwargs)


def nearest_page_size(asked: str | None) -> int:
    """Return the offered page size nearest to what was asked, the smallest where that is not a number.

    >>> [nearest_page_size(asked) for asked in ("50", "100000", "x", None, "1")]
    [50, 100, 25, 25, 25]
    """
    if not asked or not asked.isdecimal() or len(asked) > 9:
        return PAGE_SIZES[0] if not asked or not asked.isdecimal() else PAGE_SIZES[-1]
    return min(PAGE_SIZES, key=lambda size: abs(size - int(asked)))
