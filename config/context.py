"""What every page knows: the farm, the reader's role, the places of the site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from ponds.models import Farm
from ponds.roles import role_of

# Words of the menu and the pages they lead to; a page that is not there yet is left out.
PLACES = (
    ("Ponds", "stock:pond-list"),
    ("Log", "stock:log"),
    ("Tasks", "stock:task-list"),
    ("Moves", "stock:move-list"),
    ("Turtles", "stock:turtle-list"),
    ("Counts", "stock:count-list"),
    ("Nests", "ponds:nest-list"),
    ("Review", "stock:review-latest"),
    ("Watch", "stock:watch"),
    ("New females", "stock:new-females"),
    ("Season", "stock:season"),
    ("Replacements", "stock:replacements"),
    ("Settings", "ponds:settings"),
)
PLACES_THAT_WRITE = {"stock:log"}


@dataclass(frozen=True)
class Place:
    """One entry of the menu; `here` where the page shown is that place or lies under it."""

    word: str
    url: str
    here: bool


def farm_and_role(request: HttpRequest) -> dict[str, Any]:
    """Return `role`, `nav`, `farm` and `printed_on`: nothing is asked of the database for a visitor.

    The role costs one query a request, shared with the views' own checks; the farm one more, and only on a
    page that shows it.
    """
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {"role": "", "nav": [], "farm": None, "printed_on": None}
    role = role_of(user)
    farm = SimpleLazyObject(lambda: Farm.objects.first() or Farm())
    return {"role": role, "nav": places(request.path, role), "farm": farm, "printed_on": lambda: farm.today()}


def places(path: str, role: str) -> list[Place]:
    """Return the menu for a role, marking the deepest place that the path lies under."""
    reached = []
    for word, name in PLACES:
        if name in PLACES_THAT_WRITE and role == "reader":
            continue
        try:
            reached.append((word, reverse(name)))
        except NoReverseMatch:
            continue
    under = [url for _, url in reached if path == url or (url != "/" and path.startswith(url))]
    # A pond's own page has its address under /ponds/, the list of ponds is the front page.
    here = max(under, key=len, default="/" if path.startswith("/ponds/") or path == "/" else "")
    return [Place(word, url, url == here) for word, url in reached]
