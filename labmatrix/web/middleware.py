"""Errors as pages; instants in the person's zone, else the laboratory's."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from labmatrix.kernel.errors import SignInNeeded, UserError
from labmatrix.web.errors import error_page
from labmatrix.web.models import Person
from labmatrix.web.selectors.laboratory import laboratory_get

Next = Callable[[HttpRequest], HttpResponse]


class UserErrorMiddleware:
    """Turns a UserError out of a page's view into its page."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass on; errors arrive in ``process_exception``."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """The page for a UserError; anything else is a fault and goes on."""
        if isinstance(error, SignInNeeded) and not request.path.startswith("/api/"):
            query = urlencode({"next": request.get_full_path()})
            return redirect(f"{reverse('web:person-sign-in')}?{query}")
        return error_page(request, error) if isinstance(error, UserError) else None


class ZoneMiddleware:
    """Shows instants in the person's zone, or without one in the laboratory's."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Activate the zone for pages; the API speaks UTC."""
        if request.path.startswith(("/api/", "/static/", "/health/", "/ready/")):
            return self.get_response(request)
        own = request.user.time_zone if isinstance(request.user, Person) else ""
        with timezone.override(ZoneInfo(own or laboratory_get().time_zone)):
            return self.get_response(request)
