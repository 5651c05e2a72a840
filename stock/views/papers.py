"""Batches and papers: where heads came from, the documents of it, and where they stand now."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import Count, IntegerField, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.models import Kind, Pond
from ponds.roles import for_hand
from stock.forms.tasks import PaperForm
from stock.mixes import mixes_on
from stock.models import Batch, Entry, Move, Paper
from stock.move_words import part_sentence
from stock.moves_read import entries_in_order, move_sentence, part_of, with_entries
from stock.tables.hauls import BatchFilter, BatchTable, origin_words

SEE_OTHER = 303


class BatchList(ListPage):
    """Where the farm's heads came from."""

    model = Batch
    table_class = BatchTable
    filterset_class = BatchFilter
    template_name = "stock/batch_list.html"
    search_fields = ("code", "party", "note")
    search_label = "Search code, seller or note"
    export_name = "batches"

    def get_queryset(self):
        return with_arrivals(super().get_queryset()).order_by("-arrived_on", "-pk")


def with_arrivals(batches):
    """Annotate `heads_in` (arrived less taken back) and `papers_count`."""
    return batches.annotate(
        heads_in=_heads(source__pond__isnull=True) - _heads(target__pond__isnull=True),
        papers_count=Count("papers"),
    )


def _heads(**which: bool) -> Coalesce:
    rows = Entry.objects.filter(Q(**which), batch=OuterRef("pk")).order_by().values("batch")
    return Coalesce(
        Subquery(rows.annotate(total=Sum("heads")).values("total"), output_field=IntegerField()), 0
    )


@require_safe
def batch_detail(request: HttpRequest, code: str) -> HttpResponse:
    """Show a batch: where from, its papers, and where its heads stand today as shares."""
    batch = get_object_or_404(with_arrivals(Batch.objects.all()), code=code)
    today = the_farm().today()
    ponds, kinds = Pond.objects.in_bulk(), Kind.objects.in_bulk()
    standing = []
    for (pond_id, kind_id, of_class), mix in mixes_on(today).items():
        share = mix.batches.get(str(batch.pk))
        if share is not None and (share.at_most > 0):
            standing.append((ponds[pond_id], kinds[kind_id], of_class, share, mix.heads))
    standing.sort(key=lambda row: (len(row[0].code), row[0].code, row[1].common_name, row[2]))
    context = {
        "batch": batch,
        "origin": origin_words(batch),
        "papers": batch.papers.order_by("pk"),
        "arrivals": [
            (entry, part_sentence(part_of(entry)))
            for entry in entries_in_order()
            .filter(batch=batch)
            .select_related("move")
            .order_by("happened_on", "pk")[:200]
        ],
        "standing": standing,
        "expected": sum(row[3].expected for row in standing),
        "today": today,
    }
    return render(request, "stock/batch_detail.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def paper_add(request: HttpRequest) -> HttpResponse:
    """Add a paper to a batch or to a move; papers are added, never changed."""
    batch, move = _whose(request)
    form = PaperForm(request.POST if request.method == "POST" else None)
    address = (
        reverse("stock:batch-detail", args=[batch.code])
        if batch
        else reverse("stock:move-detail", args=[move.key])
        if move
        else ""
    )
    if request.method == "POST" and not address:
        form.add_error(None, "Say of which batch or move the paper is: open it from the page of one of them.")
    elif request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        # Sent twice it is one paper: the same words for the same batch or move say nothing new.
        Paper.objects.filter(batch=batch, move=move, **typed).exists() or Paper.objects.create(
            batch=batch, move=move, by_id=request.user.pk, **typed
        )
        messages.success(request, "The paper is added.")
        return HttpResponseRedirect(address, status=SEE_OTHER)
    context = {"form": form, "batch": batch, "move": move, "back": address}
    context["said"] = move_sentence(move) if move else ""
    return render(request, "stock/paper_add.html", context)


def _whose(request: HttpRequest) -> tuple[Batch | None, Move | None]:
    """Return the batch or the move that the address (or the sent form) names."""
    code = request.POST.get("batch") or request.GET.get("batch", "")
    key = request.POST.get("move") or request.GET.get("move", "")
    if "\0" in code:
        raise Http404("No batch has a code with that character.")
    if code:
        return get_object_or_404(Batch, code=code), None
    if key:
        try:
            return None, get_object_or_404(with_entries(Move.objects.all()), key=uuid.UUID(key))
        except ValueError:
            raise Http404("No move has that key.") from None
    return None, None
