"""Where a request came from, for holding back guesses at passwords."""

from __future__ import annotations

import ipaddress

from django.conf import settings
from django.http import HttpRequest


def address_of(request: HttpRequest) -> str | None:
    """Return the client's address; a forwarded one only on the word of a trusted proxy.

    A proxy adds the address it saw at the end of X-Forwarded-For; whatever stands before that was sent by the
    client, who can write there what they like. Without this every phone behind the farm's proxy would share one
    address, and six wrong tries by anybody would hold a name everywhere.
    """
    direct = _address(request.META.get("REMOTE_ADDR", ""))
    if not settings.BEHIND_HTTPS or (direct is not None and direct not in settings.TRUSTED_PROXIES):
        return direct
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    for hop in reversed(forwarded):
        address = _address(hop)
        if address is None:
            break
        if address not in settings.TRUSTED_PROXIES:
            return address
    return direct


def _address(text: str) -> str | None:
    try:
        return str(ipaddress.ip_address(text.strip()))
    except ValueError:
        return None
