"""Who gets what at the doors of the house; these are open to nobody too."""

from __future__ import annotations

from tests.specimens.access_table import Access

_SAME = (200, 200, 200, 200, 200)

ACCESS: tuple[Access, ...] = (
    Access("GET", "/health/", (*_SAME, 200)),
    Access("GET", "/ready/", (*_SAME, 200)),
    Access("GET", "/sign-in/", (302, 302, 302, 302, 302, 200)),
    Access("POST", "/sign-out/", (302, 302, 302, 302, 302, 302), is_form=True),
    Access("GET", "/sign-out/", (405, 405, 405, 405, 405, 302)),
    Access("GET", "/me/", (*_SAME, 302)),
    Access("POST", "/me/", (302, 302, 302, 302, 302, 302), {"unit_system": "SI"}, is_form=True),
    Access("GET", "/me/password/", (*_SAME, 302)),
    Access(
        "POST", "/me/password/", (400, 400, 400, 400, 400, 302), {"present": "wrong"}, is_form=True
    ),
    Access("GET", "/password/", (*_SAME, 200)),
    Access("POST", "/password/", (*_SAME, 200), {"address": "a@floor.example"}, is_form=True),
    Access("GET", "/password/019b0000-0000-7000-8000-000000000000/x/", (404,) * 6),
    Access("GET", "/api/schema/", (*_SAME, 200)),
    Access(
        "POST", "/api/token/", (401, 401, 401, 401, 401, 401), {"username": "x", "password": "y"}
    ),
    Access("POST", "/api/token/", (400, 400, 400, 400, 400, 400), {"username": "x"}),
)
