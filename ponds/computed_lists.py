"""A list page whose rows are computed, not queried: the same look, search, filters and export as `ListPage`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse

from ponds.lists import ListPage


class RowFilterForm(Form):
    """The filters of a computed list: say the fields, and which rows they let through."""

    def admits(self, row: Any) -> bool:
        """Say whether a row is shown; `cleaned_data` holds what was chosen."""
        raise NotImplementedError


@dataclass(frozen=True)
class RowFilter:
    """What a template expects of a filter."""

    form: RowFilterForm

    @property
    def is_bound(self) -> bool:
        return self.form.is_bound


class ComputedListPage(ListPage):
    """A list page of plain values: say `filter_form_class`, `get_rows()` and `words_of(row)` for the search.

    A filter that cannot be read shows every row, and says so.
    """

    filter_form_class: type[RowFilterForm]

    def get_rows(self) -> list[Any]:
        """Return every row, in the order they are shown in where nothing is sorted."""
        raise NotImplementedError

    def words_of(self, row: Any) -> str:
        """Return what the search looks into."""
        raise NotImplementedError

    def get_filter_form(self, rows: list[Any]) -> RowFilterForm:
        """Return the bound form; choices that depend on the rows are set here."""
        return self.filter_form_class(self.request.GET)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        rows = self.get_rows()
        form = self.get_filter_form(rows)
        if form.is_valid():
            rows = [row for row in rows if form.admits(row)]
        for word in self.search_text.casefold().split():
            rows = [row for row in rows if word in self.words_of(row).casefold()]
        self.object_list = rows
        return self.render_to_response(self.get_context_data(filter=RowFilter(form), object_list=rows))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        context["search_label"] = self.search_label
        return context
