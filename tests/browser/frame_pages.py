"""Pages that only the browser tests of the frame serve: a long form with rows, a list, a figure."""

import datetime as dt

import django_tables2 as tables
from django import forms
from django.http import HttpResponse
from django.template import engines
from django.urls import path

from config.urls import urlpatterns as site
from ponds.lists import DayColumn, NumberColumn, PlainTable
from stock.charts import Series, line_chart

HEAD = """{% extends "base.html" %}{% load django_tables2 %}{% block title %}Frame{% endblock %}
{% block question %}Does it hold?{% endblock %}"""
FORM = """{% block body_class %}bank{% endblock %}{% block content %}
<form method="post" novalidate>{% csrf_token %}{% include "includes/problems.html" %}
{% include "includes/fields.html" %}{{ formset }}
<div class="buttons bank-bar"><button class="button" name="done" value="yes">Book it</button></div></form>
{% endblock %}"""
LIST = """{% block content %}{% include "includes/filters.html" %}{% render_table table %}
{% include "includes/figure.html" with chart=chart %}{% endblock %}"""

sent: list[dict] = []


class HaulForm(forms.Form):
    heads = forms.IntegerField(label="Females", widget=forms.TextInput(attrs={"inputmode": "numeric"}))
    caught = forms.ChoiceField(widget=forms.RadioSelect, choices=[("S", "Seine"), ("T", "Traps")])
    paper = forms.FileField(required=False)
    note = forms.CharField(widget=forms.Textarea, required=False)
    drained = forms.BooleanField(required=False, label="Drained to the bottom")


class RowForm(forms.Form):
    heads = forms.IntegerField(widget=forms.TextInput(attrs={"inputmode": "numeric"}))
    reason = forms.ChoiceField(choices=[("M", "moved"), ("S", "sold")])


Rows = forms.formset_factory(RowForm, extra=1, max_num=3)


class PondTable(PlainTable):
    caption = "Ponds"
    row_header = "code"
    code = tables.Column(verbose_name="Pond", linkify=lambda record: f"/ponds/{record['code']}/")
    females = NumberColumn()
    counted = DayColumn()
    note = tables.Column(orderable=False)


def shown(request, body, context):
    return HttpResponse(engines["django"].from_string(HEAD + body).render(context, request))


def form_page(request):
    if request.method == "POST":
        sent.append(request.POST.dict())
    form, rows = HaulForm(request.POST or None), Rows(request.POST or None)
    return shown(request, FORM, {"form": form, "formset": rows})


def list_page(request):
    note = "Seined after the storm; the fence on the north side was down for two days"
    rows = [
        {"code": f"P{n}", "females": n * 1234, "counted": dt.date(2026, 3, n + 1), "note": note}
        for n in range(5)
    ]
    chart = line_chart("Book", ("Jan", "Feb"), [Series("Females", (1, 2))], unit="heads")
    table = PondTable(rows)
    table.can_export = True
    context = {"table": table, "chart": chart, "search_label": "Search ponds"}
    return shown(request, LIST, context)


urlpatterns = [path("frame/form/", form_page), path("frame/list/", list_page), *site]
