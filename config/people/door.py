"""How the door holds back who guesses: by name at an address (settings), and by the address alone (here)."""

from __future__ import annotations

import datetime as dt

from axes.handlers.database import AxesDatabaseHandler
from axes.models import AccessFailureLog
from django.http import HttpRequest
from django.utils import timezone

MOST_WRONG = 30
WITHIN = dt.timedelta(minutes=15)
HOLD = dt.timedelta(minutes=5)


class AddressHandler(AxesDatabaseHandler):
    """Hold an address for 5 minutes after 30 wrong tries in 15 minutes, whatever names were tried.

    Tries during the hold are not counted, so it ends by itself.
    """

    def is_locked(self, request: HttpRequest, credentials: dict | None = None) -> bool:
        return super().is_locked(request, credentials) or address_is_held(request.axes_ip_address)  # type: ignore[attr-defined]


def address_is_held(address: str | None) -> bool:
    """Return whether so many wrong tries came from an address that it has to wait."""
    now = timezone.now()
    tries = AccessFailureLog.objects.filter(ip_address=address)
    latest = tries.filter(attempt_time__gt=now - HOLD).order_by("-attempt_time").first()
    if latest is None:
        return False
    since = latest.attempt_time - WITHIN
    return tries.filter(attempt_time__gt=since).count() >= MOST_WRONG
