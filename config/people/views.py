"""Sign-in and sign-out, the people of the farm, and one's own password."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.middleware import MUST_CHOOSE
from config.models import OneTimePassword
from config.people import accounts
from config.people.forms import OwnPasswordForm, PersonForm, RoleForm, SignInForm
from ponds.roles import SignedRequest, for_everyone, for_owner, role_of

SEE_OTHER = 303


class SignIn(LoginView):
    """Ask who is there. Who has a one-time password is sent to choose one of their own first."""

    template_name = "sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        answer = super().form_valid(form)
        if OneTimePassword.objects.filter(user=form.get_user()).exists():
            self.request.session[MUST_CHOOSE] = True
        answer.status_code = SEE_OTHER
        return answer


@require_safe
@for_owner
def people_list(request: HttpRequest) -> HttpResponse:
    """Show everybody who has, or had, an account."""
    people = (
        User.objects.select_related("one_time_password")
        .prefetch_related("groups")
        .order_by("-is_active", "username", "pk")
    )
    rows = [
        {
            "person": person,
            "role": ", ".join(group.name for group in person.groups.all()) or "none",
            "one_time": getattr(person, "one_time_password", None),
        }
        for person in people
    ]
    return render(request, "people/people_list.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
@never_cache
def person_add(request: HttpRequest) -> HttpResponse:
    """Add a person and show their one-time password, once."""
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        person, password = accounts.add_person(name=form.cleaned_data["name"], role=form.cleaned_data["role"])
        return _show_once(request, person, password)
    return render(request, "people/person_add.html", {"form": form})


@require_safe
@for_owner
def person_detail(request: HttpRequest, name: str) -> HttpResponse:
    """Show one person and what an owner may change of them."""
    person = get_object_or_404(User, username=name)
    return _show_person(request, person, RoleForm(initial={"role": role_of(person)}))


@require_POST
@for_owner
def person_role(request: HttpRequest, name: str) -> HttpResponse:
    """Give a person another role."""
    person = get_object_or_404(User, username=name)
    form = RoleForm(request.POST)
    if not form.is_valid():
        return _show_person(request, person, form)
    try:
        accounts.change_role(person, form.cleaned_data["role"])
    except accounts.PeopleRefusal as refusal:
        form.add_error("role", str(refusal))
        return _show_person(request, person, form)
    messages.success(request, f"{person.get_username()} is now {form.cleaned_data['role']}.")
    return _to_person(person)


@require_POST
@for_owner
def person_disable(request: HttpRequest, name: str) -> HttpResponse:
    """Close an account."""
    person = get_object_or_404(User, username=name)
    try:
        accounts.disable(person)
    except accounts.PeopleRefusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(
            request, f"{person.get_username()} can no longer sign in. What they logged stays as it is."
        )
    return _to_person(person)


@require_POST
@for_owner
@never_cache
def person_enable(request: HttpRequest, name: str) -> HttpResponse:
    """Open a closed account again."""
    person = get_object_or_404(User, username=name)
    return _show_once(request, person, accounts.enable(person))


@require_POST
@for_owner
@never_cache
def person_reset(request: HttpRequest, name: str) -> HttpResponse:
    """Replace a forgotten password by a one-time password."""
    person = get_object_or_404(User, username=name, is_active=True)
    return _show_once(request, person, accounts.reset_password(person))


@require_http_methods(["GET", "HEAD", "POST"])
@for_everyone
@never_cache
def me(request: SignedRequest) -> HttpResponse:
    """Let a person choose their own password; their other sessions end."""
    form = OwnPasswordForm(request.POST or None, request=request)
    must_choose = bool(request.session.get(MUST_CHOOSE))
    if request.method == "POST" and form.is_valid():
        accounts.choose_password(request.user, form.cleaned_data["chosen"])
        update_session_auth_hash(request, request.user)
        request.session.pop(MUST_CHOOSE, None)
        messages.success(
            request, "Your new password holds. Wherever else you were signed in, you no longer are."
        )
        return redirect_after(reverse("me"))
    return render(request, "people/me.html", {"form": form, "must_choose": must_choose})


def redirect_after(address: str) -> HttpResponseRedirect:
    """Send the browser on by GET (303)."""
    answer = redirect(address)
    answer.status_code = SEE_OTHER
    return answer


def _to_person(person: User) -> HttpResponseRedirect:
    return redirect_after(reverse("person-detail", args=[person.get_username()]))


def _show_person(request: HttpRequest, person: User, form: RoleForm) -> HttpResponse:
    return render(
        request,
        "people/person_detail.html",
        {
            "person": person,
            "person_role": role_of(User.objects.get(pk=person.pk)) or "none",
            "one_time": OneTimePassword.objects.filter(user=person).first(),
            "form": form,
        },
    )


def _show_once(request: HttpRequest, person: User, password: str) -> HttpResponse:
    # Shown in the answer to the post itself: a page to come back to would have to keep the password somewhere.
    return render(
        request,
        "people/person_password.html",
        {"person": person, "password": password, "hours": accounts.ONE_TIME_HOURS},
    )
