"""Who and what may pass at all: people with a role and a password of their own, and addresses that are text."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.core.exceptions import BadRequest, PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils.text import slugify

from ponds.page_tables import FORMATS, as_csv, as_workbook, tables_of
from ponds.roles import READER, refusal, role_of

SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
# In the session of somebody who signed in with a one-time password and has not chosen another yet.
MUST_CHOOSE = "must_choose_password"
OPEN_WHILE_CHOOSING = ("me", "sign-out")


class RoleMiddleware(LoginRequiredMiddleware):
    """Refuse by default: no page without sign-in and role, no writing by a reader but where a view says so.

    Views say who may use them with the marks of `ponds.roles`; this is the fence for a view that says nothing.
    """

    def process_view(
        self, request: HttpRequest, view_func: Callable, view_args: tuple, view_kwargs: dict
    ) -> HttpResponseBase | None:
        to_sign_in = super().process_view(request, view_func, view_args, view_kwargs)
        if to_sign_in is not None or not getattr(view_func, "login_required", True):
            return to_sign_in
        where = request.resolver_match.view_name if request.resolver_match else ""
        if where == "sign-out":
            return None
        role = role_of(request.user)
        if not role:
            raise PermissionDenied(
                f"{request.user.get_username()} has no role in this book yet. Ask an owner to give you one."
            )
        if request.session.get(MUST_CHOOSE) and where not in OPEN_WHILE_CHOOSING:
            return redirect("me")
        if role == READER and request.method not in SAFE_METHODS and not hasattr(view_func, "roles"):
            raise refusal(request.user, ("owner", "hand"))
        return None


class TextOnlyMiddleware:
    """Refuse an address with a NUL in it, a character that no text holds and PostgreSQL takes in none.

    Fields of forms refuse it themselves, with a sentence beside the field.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view_func: Callable, view_args: tuple, view_kwargs: dict
    ) -> None:
        if "\0" in request.path_info:
            raise Http404("Nothing stands at an address with a character of code 0 in it.")
        if any("\0" in text for name, values in request.GET.lists() for text in (name, *values)):
            raise BadRequest("The address asks with a character of code 0, which is no text.")


class PageTablesMiddleware:
    """Answer `?_tables=csv` or `xlsx` at any page with the tables that the page shows."""

    ASKED = "_tables"
    TYPES = {
        "csv": "text/csv; charset=utf-8",
        "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    }

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        wanted = request.GET.get(self.ASKED, "")
        if request.method not in ("GET", "HEAD") or wanted not in FORMATS:
            return self.get_response(request)
        # The page is asked for as if nothing else were wanted: its forms and filters know no such word.
        asked = request.GET.copy()
        del asked[self.ASKED]
        request.GET = asked  # type: ignore[assignment]
        request.META["QUERY_STRING"] = asked.urlencode()
        response = self.get_response(request)
        is_page = response.headers.get("Content-Type", "").startswith("text/html")
        if response.status_code != 200 or not is_page or not isinstance(response, HttpResponse):
            return response
        tables = tables_of(response.content.decode())
        if not tables:
            return response
        content = as_csv(tables) if wanted == "csv" else as_workbook(tables)
        answer = HttpResponse(content, content_type=self.TYPES[wanted])
        name = slugify(request.path.strip("/").replace("/", "-")) or "ponds"
        answer["Content-Disposition"] = f'attachment; filename="{name}.{wanted}"'
        answer["Cache-Control"] = response.headers.get("Cache-Control", "private")
        return answer
