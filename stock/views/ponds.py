"""Ponds: Today, and every pond at a glance, worst first."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_http_methods

from ponds.computed_lists import ComputedListPage
from ponds.farm import the_farm
from ponds.models import Kind
from ponds.roles import SignedRequest, for_hand, role_of
from stock.forms.ponds import PondFilterForm
from stock.links import first_link, link
from stock.models import LastLook
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.tables.ponds import PondKindTable, PondRow
from stock.tasks import open_tasks
from stock.today import today_for
from stock.watched_ponds import watched_on


class PondList(ComputedListPage):
    """The front page: what waits, then every pond and kind."""

    table_class = PondKindTable
    filter_form_class = PondFilterForm
    template_name = "stock/pond_list.html"
    export_name = "ponds"
    search_label = "Pond or kind"

    def get_rows(self) -> list[PondRow]:
        self.farm = the_farm()
        self.today = self.farm.today()
        self.tasks = open_tasks()
        self.watched = watched_on(self.today)
        self.facts = self.watched.of(pond_kinds(self.today))
        of_pond = defaultdict(list)
        for task in self.tasks:
            of_pond[task.pond].append(task)
        return [
            PondRow(
                one,
                tuple(task for task in of_pond[one.pond_code] if task.kind in ("", one.kind_code)),
                place,
            )
            for place, one in enumerate(self.facts)
        ]

    def words_of(self, row: PondRow) -> str:
        # The kind's words are split from the code, so that "a" finds pond A as "pond a" does.
        return f"pond {row.pond} {row.facts.pond_name} {row.kind} {row.verdict} {row.facts.how_it_stands} {row.state}"

    def get_filter_form(self, rows: list[PondRow]) -> PondFilterForm:
        return PondFilterForm(self.request.GET, rows=rows)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        user = cast(User, self.request.user)
        return super().get_context_data(
            farm=self.farm,
            printed_on=self.today,
            today=self.today,
            todo=today_for(
                user,
                farm=self.farm,
                today=self.today,
                facts=self.facts,
                tasks=self.tasks,
                watched=self.watched,
                role=role_of(user),
            ),
            # What is shown is what is ticked off: a move logged while the page was read is not.
            looked_at=timezone.now().isoformat(),
            first_steps=_first_steps(self.facts),
            counts=_counts(self.facts),
            **kwargs,
        )


def _first_steps(facts: list[PondKind]) -> list[tuple[str, str, str]]:
    """Return what to do first on a farm without stock: sentence, address, words of the link."""
    if any(one.heads.total for one in facts):
        return []
    has_kinds = bool(facts) or Kind.objects.exists()
    sheets = first_link("ponds:sheets", "ponds:settings")
    steps = []
    if not has_kinds:
        steps.append(
            (
                "Say which kinds you keep; the handbook's figures can be taken over.",
                link("ponds:kind-list"),
                "Kinds",
            )
        )
    if not facts:
        steps.append(
            ("Lay out your ponds, by hand or all from one sheet.", link("ponds:pond-settings"), "Ponds")
        )
    steps.append(("Open the stock of every pond from one sheet.", sheets, "Sheets"))
    return steps


def _counts(facts: list[PondKind]) -> dict[str, int]:
    standing = [one for one in facts if one.heads.total]
    return {
        "ponds": len({one.pond_id for one in facts}),
        "females": sum(one.heads.females for one in standing),
        "males": sum(one.heads.males for one in standing),
        "to_look_at": len({one.pond_id for one in facts if one.all_concerns}),
    }


@require_http_methods(["POST"])
@for_hand
def looked(request: SignedRequest) -> HttpResponse:
    """Note that a person has seen what the bank logged, up to when the page was made."""
    now = timezone.now()
    try:
        seen = parse_datetime(request.POST.get("at", "")) or now
    except ValueError:
        seen = now
    seen = now if timezone.is_naive(seen) else min(seen, now)
    look, is_new = LastLook.objects.get_or_create(user=request.user, defaults={"looked_at": seen})
    if not is_new and look.looked_at < seen:
        look.looked_at = seen
        look.save(update_fields=["looked_at"])
    messages.success(request, "Noted: what the bank logs from now on is new to you.")
    return HttpResponseRedirect(reverse("stock:pond-list"), status=303)
