"""Kinds: the list, one kind with its figures, and the form that changes one."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from ponds.farm import the_farm
from ponds.filters import KindFilter
from ponds.kind_forms import KindForm, kind_initial
from ponds.kinds import write_kind
from ponds.kinds_shipped import load_shipped_kinds
from ponds.lists import ListPage
from ponds.models import Kind, KindFigure
from ponds.roles import for_owner
from ponds.tables import KindTable
from ponds.views.answers import put_beside, see_other, show_form


class KindList(ListPage):
    """Every kind of the farm."""

    model = Kind
    table_class = KindTable
    filterset_class = KindFilter
    template_name = "ponds/kind_list.html"
    search_fields = ("name_key", "common_name", "scientific_name", "code", "listing")
    search_label = "Search names"
    export_name = "kinds"

    def get_queryset(self) -> QuerySet:
        return super().get_queryset().prefetch_related("figures").order_by("name_key")


@require_safe
def kind_detail(request: HttpRequest, code: str) -> HttpResponse:
    """Show one kind: each figure low, expected, high, and where it comes from."""
    kind = get_object_or_404(Kind.objects.prefetch_related("figures", "not_with"), code=code)
    order = {name: place for place, name in enumerate(KindFigure.Name.values)}
    context = {
        "kind": kind,
        "farm": the_farm(),
        "figures": sorted(kind.figures.all(), key=lambda figure: order[figure.name]),
        "apart": sorted(kind.not_with.all(), key=lambda other: other.name_key),
    }
    return render(request, "ponds/kind_detail.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def kind_new(request: HttpRequest) -> HttpResponse:
    """Add a kind, starting from another one's figures where `?like=` names it."""
    form = KindForm(request.POST or None, initial=_figures_like(request.GET.get("like", "")))
    if request.method == "POST" and form.is_valid() and _is_written(form):
        messages.success(request, f"{form.cleaned_data['common_name']} is added.")
        return see_other("ponds:kind-detail", form.cleaned_data["code"])
    context = {"form": form, "likes": Kind.objects.order_by("name_key")}
    return show_form(request, "ponds/kind_form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def kind_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a kind and its figures."""
    kind = get_object_or_404(Kind.objects.prefetch_related("figures", "not_with"), code=code)
    form = KindForm(request.POST or None, kind=kind, initial=kind_initial(kind))
    if request.method == "POST" and form.is_valid() and _is_written(form):
        messages.success(request, f"{form.cleaned_data['common_name']} is changed.")
        return see_other("ponds:kind-detail", kind.code)
    return show_form(request, "ponds/kind_form.html", {"form": form, "kind": kind})


@require_POST
@for_owner
def kinds_add_shipped(request: HttpRequest) -> HttpResponse:
    """Add the kinds that come with the program and are not here yet."""
    shipped = load_shipped_kinds()
    kept = f" {shipped.kept} were here already and stay as they are." if shipped.kept else ""
    messages.success(request, f"{shipped.added} kinds added.{kept}")
    return see_other("ponds:kind-list")


def _is_written(form: KindForm) -> bool:
    try:
        write_kind(form.draft())
    except ValidationError as refused:
        put_beside(form, refused)
        return False
    return True


def _figures_like(code: str) -> dict:
    """Return the figures of another kind as a start, their sources saying that they are carried over."""
    like = Kind.objects.prefetch_related("figures", "not_with").filter(code=code).first()
    if like is None:
        return {}
    initial = kind_initial(like)
    for name in ("common_name", "scientific_name", "listing", "listing_source", "note"):
        del initial[name]
    for name in KindFigure.Name.values:
        if f"{name}_source" in initial:
            initial[f"{name}_source"] = f"{like.common_name}'s, carried over: assumption"
    return initial
