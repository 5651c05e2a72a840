"""The note of an owner who looked into a signal."""

from __future__ import annotations

from django import forms


class WatchNoteForm(forms.Form):
    """Which signal, and what was found."""

    key = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={"invalid": "The page was changed on its way: open the watch again."},
    )
    pond = forms.CharField(widget=forms.HiddenInput, max_length=20)
    kind = forms.CharField(widget=forms.HiddenInput, max_length=60)
    subject = forms.CharField(widget=forms.HiddenInput, max_length=60)
    note = forms.CharField(
        label="What did you find or do?",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2, "maxlength": 500}),
        help_text="It is kept with your name. The signal is then quiet for a year, unless it grows.",
    )
