"""How forms are drawn: our templates for a form, a field and a formset, everywhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.forms import BaseForm, BaseFormSet, BoundField
from django.forms.renderers import TemplatesSetting


class PlainFormRenderer(TemplatesSetting):
    """Draw every form, field and formset with the templates in `includes/`."""

    form_template_name = "includes/form.html"
    formset_template_name = "includes/rows.html"
    field_template_name = "includes/field.html"


@dataclass(frozen=True)
class Problem:
    """One thing to mend: the id of the control it is about ("" for the whole form) and the sentence."""

    anchor: str
    sentence: str


def first_control(field: BoundField) -> str:
    """Return the id of the control a person types into first, or "" where the field draws none with an id."""
    if field.is_hidden or not field.auto_id:
        return ""
    label_id = field.id_for_label
    return label_id or f"{field.auto_id}_0"


def problems(form: BaseForm | None = None, formset: BaseFormSet | None = None) -> list[Problem]:
    """List what is wrong with a form, a formset or both, in the order of the page."""
    found = list(_form_problems(form, "")) if form is not None else []
    if formset is not None and formset.is_bound:
        found += [Problem("", str(sentence)) for sentence in formset.non_form_errors()]
        for row, one in enumerate(formset.forms, start=1):
            found += _form_problems(one, f"Row {row}: ")
    return found


def _form_problems(form: BaseForm, before: str) -> Iterator[Problem]:
    for sentence in form.non_field_errors():
        yield Problem("", f"{before}{sentence}")
    for field in form:
        for sentence in field.errors:
            colon = "" if str(field.label).endswith(("?", ":")) else ":"
            yield Problem(first_control(field), f"{before}{field.label}{colon} {sentence}")
