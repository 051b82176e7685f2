"""From which network address a request comes."""

from __future__ import annotations

import ipaddress

from django.conf import settings
from django.http import HttpRequest


def request_place(request: HttpRequest) -> str:
    """The address of who asks.

    ``X-Forwarded-For`` counts only when the connection itself comes from a proxy named in
    ``STRONGFLOOR_TRUSTED_PROXIES``; then it is the last address in it that is no such proxy,
    because what stands before was written by whoever asked.
    """
    peer = str(request.META.get("REMOTE_ADDR", "") or "127.0.0.1")
    if not _is_trusted(peer):
        return peer
    told = str(request.META.get("HTTP_X_FORWARDED_FOR", ""))
    hops = [hop.strip() for hop in told.split(",")]
    for hop in reversed([hop for hop in hops if hop]):
        if not _is_address(hop):
            return peer
        if not _is_trusted(hop):
            return hop
    return peer


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _is_trusted(address: str) -> bool:
    try:
        asked = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(asked in network for network in settings.TRUSTED_PROXIES)
