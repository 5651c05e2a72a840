"""What is typed on the Turtles page and its own pages: a rim half read, a new turtle, a scheme confirmed."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from stock import turtle_asked
from stock.drafts import PutOn, SexDraft
from stock.forms.asked import Asked, AskOnce
from stock.forms.fields import CLASS_CHOICES, FarmChoices, KeyField, LineField, OneOfField, new_key
from stock.forms.turtle_marks import FORMS, MarkForm
from stock.marks.notch import LETTER_SCHEME, SCHEMES
from stock.marks.sexes import METHODS
from stock.models import Turtle
from stock.turtle_search import typed_scutes

# In which field each form of mark is typed.
TYPED_IN = {"NOTCH": "code", "TAG": "number", "OTHER": "text"}
SEX_OF_CLASS = {"FEMALE": "FEMALE", "MALE": "MALE"}


class HalfReadForm(forms.Form):
    """A rim of which some notches are clear and some are in doubt."""

    rim = forms.ChoiceField(
        label="Scheme", required=False, choices=[(key, one.title) for key, one in SCHEMES.items()]
    )
    clear = LineField(
        label="Notches that are clear", most=60, help_text="Letters or positions: B K, or R2 R11."
    )
    faint = LineField(label="Scutes in doubt", most=60, help_text="Faint, broken or missing: O, or L10.")

    @property
    def scheme(self):
        return SCHEMES.get(self.cleaned_data.get("rim") or "", LETTER_SCHEME)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name in ("clear", "faint"):
            try:
                cleaned[f"{name}_scutes"] = typed_scutes(cleaned.get(name) or "", self.scheme)
            except ValueError as error:
                self.add_error(name, str(error))
        return cleaned


class NewTurtleForm(AskOnce, MarkForm):
    """A head that stands in a pond already, and the marks put on it: each one that is typed is written."""

    pond = OneOfField(noun="pond", label="Pond", blank="Choose…")
    kind = OneOfField(noun="kind", label="Kind", blank="Choose…")
    of_class = OneOfField(noun="class", label="Class", blank="Choose…")
    # Nothing is chosen beforehand: how it was told is a fact about this animal.
    method = OneOfField(noun="method", label="How its sex was told", blank="not said", required=False)
    batch = LineField(label="Batch it came with, if known", most=24)

    field_order = ("key", "pond", "kind", "of_class", "method", "day", "form")

    def __init__(self, *args: Any, choices: FarmChoices, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {})
        kwargs["initial"] = {"key": new_key(), "day": today, **kwargs["initial"]}
        super().__init__(*args, **kwargs)
        self.choices = choices
        self.fields["day"].label = "Put on"
        self.fields["pond"].offer(choices.pond_choices)
        self.fields["kind"].offer(choices.kind_choices)
        self.fields["of_class"].offer(CLASS_CHOICES)
        self.fields["method"].offer(list(METHODS.items()))
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        """Read every mark that is typed, whatever "What it is" stands on; ask about what the register knows."""
        cleaned = forms.Form.clean(self) or {}
        chosen = cleaned.get("form") or ""
        filled = [form for form, name in TYPED_IN.items() if cleaned.get(name)]
        if chosen and not filled:
            filled = [chosen if chosen in TYPED_IN else "OTHER"]
        read = []
        for form in filled:
            if form == "OTHER":
                # Paint or another mark: as chosen; beside a code or a tag it is another one.
                was, site = chosen, cleaned.get("site")
                more = {"form": was if was in ("PAINT", "OTHER") else "OTHER"}
                more["site"] = "" if "TAG" in filled else site
                read.append(self._other({**cleaned, **more}))
            else:
                read.append({"NOTCH": self._notch, "TAG": self._tag}[form](cleaned))
        cleaned["all_put_on"] = tuple(one for one in read if one is not None)
        if not self.errors:
            kind = self.choices.kind(cleaned["kind"])
            mistaken: list[Asked] = []
            if kind is not None:
                freed = [
                    turtle_asked.by_mistake(one, kind, key=cleaned["key"]) for one in cleaned["all_put_on"]
                ]
                cleaned["all_put_on"] = tuple(put_on for put_on, _ in freed)
                mistaken = [one for _, questions in freed for one in questions]
            where = {"pond": cleaned["pond"], "day": cleaned["day"], "key": cleaned["key"]}
            self.ask_once(
                [
                    *mistaken,
                    *turtle_asked.same_words(cleaned["all_put_on"], kind=cleaned["kind"], **where),
                    *turtle_asked.not_in_book(
                        kind=cleaned["kind"],
                        kind_name=kind.common_name if kind else cleaned["kind"],
                        of_class=cleaned["of_class"],
                        **where,
                    ),
                ]
            )
        return cleaned

    @property
    def beside(self) -> dict[str, str]:
        """Beside which field a refusal of a mark stands; of several it stands above, with its code in its words."""
        filled = [name for name in TYPED_IN.values() if (self.data.get(name) or "").strip()]
        return {"mark": filled[0] if len(filled) == 1 else ""}

    @property
    def sex(self) -> SexDraft | None:
        """The sex that follows from the class; None for unsexed heads and juveniles."""
        sex = SEX_OF_CLASS.get(self.cleaned_data["of_class"])
        return SexDraft(sex, self.cleaned_data.get("method") or "NOT_KNOWN") if sex else None

    @property
    def put_on(self) -> tuple[PutOn, ...]:
        return tuple(self.cleaned_data.get("all_put_on", ()))


class AddMarkForm(AskOnce, MarkForm):
    """One more mark of a turtle of the register; a second standing code of the same form is asked about."""

    def __init__(self, *args: Any, turtle: Turtle, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.turtle = turtle
        self.fields["day"].label = "Put on"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        chosen = cleaned.get("form") or ""
        mine = TYPED_IN.get(chosen, "text")
        for form, name in TYPED_IN.items():
            if chosen and name != mine and cleaned.get(name):
                self.add_error(
                    name,
                    f"This is filled in too, and “What it is” stands on {dict(FORMS)[chosen]}: here one mark is "
                    f"written at a time. Choose {dict(FORMS)[form]} there, or clear this field and write it next.",
                )
        put_on = cleaned.get("put_on")
        if not self.errors and put_on is not None:
            cell = self.turtle.cell
            put_on, asked = turtle_asked.by_mistake(put_on, self.turtle.kind, key=cleaned["key"])
            cleaned["put_on"] = put_on
            asked += turtle_asked.second_code(self.turtle, put_on, key=cleaned["key"])
            asked += turtle_asked.same_words(
                [put_on],
                kind=self.turtle.kind.code,
                pond=cell.pond.code if cell and cell.pond else "",
                day=cleaned["day"],
                key=cleaned["key"],
                but=self.turtle,
            )
            self.ask_once(asked)
        return cleaned


class ConfirmSchemeForm(forms.Form):
    """A scheme held against its printed figure."""

    key = KeyField()
    against = LineField(
        label="The printed figure it was held against: author, year, page", most=200, required=True
    )
    is_same = forms.BooleanField(
        label="Every scute in the drawing carries the same letter or number as in the figure",
        error_messages={
            "required": "Tick this once you have compared every scute; else do not use the scheme."
        },
    )
