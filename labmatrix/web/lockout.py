"""What someone sees after too many wrong passwords."""

from __future__ import annotations

from typing import Any

from axes.helpers import get_cool_off
from django.http import HttpRequest, HttpResponse

from labmatrix.kernel.errors import TooOften
from labmatrix.web.errors import error_page

LOCKED = (
    "Too many wrong passwords for this name from this place; wait {minutes} minutes, or ask for a "
    "new password by letter, which lifts the lock."
)


def locked_out(
    request: HttpRequest, response: object = None, credentials: dict[str, Any] | None = None
) -> HttpResponse:
    """The sentence, without saying whether the name exists; 429, as page and as JSON."""
    wait = get_cool_off()
    seconds = int(wait.total_seconds()) if wait else 0
    answer = error_page(
        request, TooOften("access.locked", LOCKED.format(minutes=-(-seconds // 60)))
    )
    answer["Retry-After"] = str(seconds)
    return answer
