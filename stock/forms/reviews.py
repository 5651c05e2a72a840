"""The form that signs a pond's month."""

from __future__ import annotations

from django import forms

from stock.forms.fields import new_key


class SignForm(forms.Form):
    """What was decided, and why; may be left empty where nothing was."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=new_key)
    words = forms.CharField(
        label="What is decided here, and why",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Heads to add or take out become tasks above; write here what is left as it is, and why.",
    )
