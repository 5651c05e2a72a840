"""Forms of tasks: a decision made, a decision dropped; and of a paper that came later."""

from __future__ import annotations

from typing import Any

from django import forms

from stock.forms.fields import CLASS_CHOICES, DayField, FarmChoices, HeadsField, LineField, OneOfField
from stock.models import Task


class TaskForm(forms.Form):
    """What is to be done at a pond."""

    verb = OneOfField(noun="task", label="What is to be done?")
    pond = OneOfField(noun="pond", label="Pond", blank="Choose…")
    heads = HeadsField(label="How many heads", least=1, help_text="Leave empty for a recount.")
    kind = OneOfField(noun="kind", label="Kind", blank="Choose…", required=False)
    of_class = OneOfField(noun="class", label="Class", blank="Choose…", required=False)
    due_on = DayField(label="Due on", required=False)
    why = LineField(most=300, label="Why")

    def __init__(self, *args: Any, choices: FarmChoices, adds: str = "", **kwargs: Any) -> None:
        """Offer the farm's ponds and kinds; `adds` are words that the task gets beside those typed."""
        super().__init__(*args, **kwargs)
        why = self.fields["why"]
        if adds and isinstance(why, LineField):
            why.most -= len(adds)
            why.help_text = (
                f"At most {why.most} characters: “{adds.strip('; .')}” comes after them if it is for later."
            )
        self.fields["verb"].offer(
            [("ADD", "add heads"), ("TAKE_OUT", "take heads out"), ("RECOUNT", "count again")]
        )
        self.fields["pond"].offer(choices.pond_choices)
        self.fields["kind"].offer(choices.kind_choices)
        self.fields["of_class"].offer(CLASS_CHOICES)

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if typed.get("verb") in (Task.Verb.ADD, Task.Verb.TAKE_OUT):
            for name, sentence in (
                ("heads", "Say how many heads."),
                ("kind", "Choose the kind."),
                ("of_class", "Choose females, males, unsexed or juveniles."),
            ):
                if not typed.get(name) and name not in self.errors:
                    self.add_error(name, sentence)
        return typed


class DropForm(forms.Form):
    """Why a task is dropped."""

    why = LineField(most=250, label="Why is it dropped?", required=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["why"].error_messages["required"] = "Say in a few words why it is dropped."


class CancelPlanForm(forms.Form):
    """Why a plan of new females is cancelled."""

    why = LineField(most=250, label="Why is the plan cancelled?", required=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["why"].error_messages["required"] = "Say in a few words why the plan is cancelled."


class PaperForm(forms.Form):
    """A document of a batch or of a move."""

    party = LineField(most=120, label="Seller or buyer")
    licence = LineField(most=60, label="Their licence number")
    document = LineField(most=120, label="Document and number")
    purpose = LineField(most=120, label="Purpose")
    disposal = LineField(most=120, label="Means of disposal")
    expires_on = DayField(label="Runs out on", required=False)
    note = LineField(most=300, label="Note")

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if not self.errors and not any(value for name, value in typed.items() if name != "expires_on"):
            raise forms.ValidationError("A paper needs at least a party, a licence, a document or a note.")
        return typed
