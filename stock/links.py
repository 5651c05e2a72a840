"""Links between the register's places, with what the next page is to fill in beforehand."""

from __future__ import annotations

from urllib.parse import urlencode

from django.urls import NoReverseMatch, reverse


def link(name: str, /, *path: object, **query: object) -> str:
    """Return the address of a named page with its query, or "" where the site has no such page.

    Query values that are None or empty are left out.
    """
    try:
        address = reverse(name, args=path)
    except NoReverseMatch:
        return ""
    asked = {key: value for key, value in query.items() if value not in (None, "")}
    return f"{address}?{urlencode(asked)}" if asked else address


def first_link(*names: str) -> str:
    """Return the address of the first of these pages that the site has, or ""."""
    return next((address for name in names if (address := link(name))), "")


def task_link(
    pond: str, verb: str, *, kind: str = "", of_class: str = "", heads: int | None = None, why: str = ""
) -> str:
    """Return the address that opens a new task with these entries filled in."""
    return link("stock:task-add", pond=pond, verb=verb, kind=kind, of_class=of_class, heads=heads, why=why)
