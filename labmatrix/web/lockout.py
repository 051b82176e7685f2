"""What someone sees after too many wrong passwords."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from labmatrix.kernel.errors import RuleBroken
from labmatrix.web.errors import error_page


def locked_out(
    request: HttpRequest, response: object = None, credentials: dict[str, Any] | None = None
) -> HttpResponse:
    """The sentence, without saying whether the name exists."""
    return error_page(
        request,
        RuleBroken(
            "access.locked",
            "Too many wrong passwords for this name from this place; wait 15 minutes.",
        ),
    )
