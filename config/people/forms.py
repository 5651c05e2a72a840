"""Forms about people; every refusal says what to type instead."""

from __future__ import annotations

import re

from django import forms
from django.contrib.auth import authenticate, password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from config.models import OneTimePassword

ROLE_CHOICES = [
    ("owner", "Owner: decides, closes months, keeps people and settings"),
    ("hand", "Hand: logs what the seine brought"),
    ("reader", "Reader: looks and takes extracts, changes nothing"),
]
NAME = re.compile(r"[\w.@+-]+\Z")
NOT_IN_A_NAME = re.compile(r"[^\w.@+-]+")
LONGEST_NAME = 60


class SignInForm(AuthenticationForm):
    """Name and password. One answer for a wrong password, an unknown name and a disabled account."""

    error_messages = {
        "invalid_login": "This name and this password do not belong together. "
        "Capital and small letters count in both.",
        "inactive": "This name and this password do not belong together. "
        "Capital and small letters count in both.",
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].error_messages["required"] = "Type your name, as the owner gave it to you."
        self.fields["password"].error_messages["required"] = "Type your password."

    def clean_username(self) -> str:
        name = self.cleaned_data["username"]
        # Django leaves this to the database, where SQLite takes any length and PostgreSQL fails.
        if len(name) > LONGEST_NAME:
            raise ValidationError(f"A name has at most {LONGEST_NAME} letters; this one has {len(name)}.")
        return name

    def confirm_login_allowed(self, user: User) -> None:
        super().confirm_login_allowed(user)
        one_time = OneTimePassword.objects.filter(user=user).first()
        if one_time is not None and one_time.has_expired:
            raise ValidationError(
                "This one-time password was not used in time and opens nothing any more. "
                "Ask an owner for another one.",
                code="expired",
            )


class PersonForm(forms.Form):
    """A new person."""

    name = forms.CharField(
        max_length=LONGEST_NAME,
        help_text="Letters, digits and . @ + - _ without spaces. It stands beside every move they log.",
        error_messages={
            "required": "Type the name this person will sign in with.",
            "max_length": "A name has at most %(limit_value)d letters; this one has %(show_value)d.",
        },
    )
    role = forms.ChoiceField(
        choices=ROLE_CHOICES,
        initial="hand",
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose what this person may do.",
            "invalid_choice": "%(value)s is not a role. Choose owner, hand or reader.",
        },
    )

    def clean_name(self) -> str:
        name = User.normalize_username(self.cleaned_data["name"])
        if not NAME.match(name):
            raise ValidationError(
                f"“{name}” cannot be a name: use letters, digits and . @ + - _ without spaces, "
                f"such as {NOT_IN_A_NAME.sub('.', name).strip('.') or 'ana.ruiz'}."
            )
        # Few people, and SQLite folds the case of ASCII letters only, so the comparison is made here.
        taken = next(
            (
                other
                for other in User.objects.values_list("username", flat=True)
                if other.casefold() == name.casefold()
            ),
            None,
        )
        if taken is not None:
            raise ValidationError(
                f"There is already a person called {taken}, perhaps disabled. Names are never used twice: "
                "choose another, or open that account again."
            )
        return name


class RoleForm(forms.Form):
    """Another role for a person."""

    role = PersonForm.base_fields["role"]


class OwnPasswordForm(forms.Form):
    """A person's own new password, with the present one."""

    present = forms.CharField(
        label="Present password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "Type the password you signed in with."},
    )
    chosen = forms.CharField(
        label="New password",
        strip=False,
        max_length=200,
        help_text="At least 10 letters or signs; four ordinary words are easy to keep and hard to guess.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        error_messages={"required": "Type the new password."},
    )
    again = forms.CharField(
        label="New password again",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        error_messages={"required": "Type the new password a second time."},
    )

    def __init__(self, *args, request, **kwargs):
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_present(self) -> str:
        # Through `authenticate`, so that guessing here is held just as at the door.
        present = self.cleaned_data["present"]
        user = authenticate(self.request, username=self.request.user.get_username(), password=present)
        if user is None or user.pk != self.request.user.pk:
            raise ValidationError("This is not your present password. Capital and small letters count.")
        return present

    def clean(self) -> None:
        chosen, again = self.cleaned_data.get("chosen"), self.cleaned_data.get("again")
        if not chosen:
            return
        if chosen == self.cleaned_data.get("present"):
            self.add_error("chosen", "This is your present password. Choose another one.")
        elif again and chosen != again:
            self.add_error("again", "The two new passwords differ. Type the same one twice.")
        else:
            try:
                password_validation.validate_password(chosen, self.request.user)
            except ValidationError as refused:
                self.add_error("chosen", refused)
