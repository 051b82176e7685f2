"""Who gets what of this room: method, path, and the status for each role."""

from __future__ import annotations

from tests.specimens.access_table import Access

_ANYONE = (200, 200, 200, 200, 200)
_MEMBERS = (200, 200, 200, 200, 404)
_LEAD = (200, 404, 404, 404, 404)
# The stranger of the cast leads the laboratory's other programme.
_LAB_LEAD = (200, 404, 404, 404, 200)
_P, _S = "/programmes/{programme}", "/series/{series}"
_CELL = f"{_S}/cells/{{cell}}"
# Plans are posted empty or wrong on purpose: whoever may plan gets the reason, the others a 404.
_REFUSED = (400, 404, 404, 404, 404)

ACCESS: tuple[Access, ...] = (
    Access("GET", "/programmes/", (*_ANYONE, 302)),
    Access("GET", "/people/", (*_LAB_LEAD, 302)),
    Access("GET", "/people/invite/", (*_LAB_LEAD, 302)),
    Access(
        "POST",
        "/people/invite/",
        (*_LAB_LEAD, 302),
        {"email": "new@floor.example", "role": "technician"},
        is_form=True,
    ),
    Access(
        "POST",
        "/people/invitations/{invitation}/withdraw/",
        (302, 404, 404, 404, 302, 302),
        is_form=True,
    ),
    Access("GET", "/people/{person}/", (*_LAB_LEAD, 302)),
    Access("GET", "/people/{person}/leave/", (*_LAB_LEAD, 302)),
    Access("POST", "/people/{person}/leave/", (302, 404, 404, 404, 302, 302), is_form=True),
    Access("GET", "/people/{person}/erase/", (*_LAB_LEAD, 302)),
    Access("POST", "/people/{person}/erase/", (409, 404, 404, 404, 409, 302), is_form=True),
    Access("GET", "/people/{person}/return/", (*_LAB_LEAD, 302)),
    Access("GET", "/people/019b0000-0000-7000-8000-000000000000/", (404,) * 5 + (302,)),
    Access("GET", "/join/{link}/", (200,) * 6),
    Access("GET", "/join/not-a-link/", (404,) * 6),
    Access("GET", "/programmes/new/", (200, 404, 404, 404, 200, 302)),
    Access("GET", f"{_P}/", (*_MEMBERS, 302)),
    Access("GET", f"{_P}/people/", (*_LEAD, 302)),
    Access("GET", f"{_P}/series/new/", (*_LEAD, 302)),
    Access("GET", f"{_S}/", (*_MEMBERS, 302)),
    Access("GET", f"{_S}/change/", (*_LEAD, 302)),
    Access("GET", f"{_S}/member/", (*_LEAD, 302)),
    Access("GET", f"{_S}/route/", (*_LEAD, 302)),
    Access("POST", f"{_S}/member/", (*_REFUSED, 302), is_form=True),
    Access("POST", f"{_S}/route/", (*_REFUSED, 302), is_form=True),
    Access("GET", f"{_S}/matrix/", (*_LEAD, 302)),
    Access("GET", f"{_S}/matrix.json", (200, 200, 200, 404, 404, 302)),
    Access("GET", f"{_S}/factors/new/", (*_LEAD, 302)),
    Access("GET", f"{_S}/factors/0/", (*_LEAD, 302)),
    Access("GET", f"{_S}/factors/0/new/", (*_LEAD, 302)),
    Access("GET", f"{_S}/forbidden/new/", (*_LEAD, 302)),
    Access("GET", f"{_S}/cells/all/", (*_LEAD, 302)),
    Access("GET", f"{_S}/cells/new/", (*_LEAD, 302)),
    Access("POST", f"{_S}/controls/", (302, 404, 404, 404, 404, 302), is_form=True),
    Access("GET", f"{_CELL}/", (*_MEMBERS, 302)),
    Access("GET", f"{_CELL}/change/", (*_LEAD, 302)),
    Access("GET", "/api/programmes/", (*_ANYONE, 401)),
    Access("GET", "/api/programmes/{programme}/", (*_MEMBERS, 401)),
    Access(
        "POST",
        "/api/programmes/",
        (201, 404, 404, 404, 201, 401),
        {"code": "NEW", "title": "Another question"},
    ),
    Access("GET", "/api/series/", (*_ANYONE, 401)),
    Access("GET", "/api/series/{series}/", (*_MEMBERS, 401)),
    Access(
        "POST",
        "/api/series/",
        (201, 404, 404, 404, 404, 401),
        {"programme": "{programme}", "code": "NEW", "title": "More", "specimen_type": "beam"},
    ),
    Access("GET", "/api/cells/?series={series}", (*_MEMBERS, 401)),
    Access("GET", "/api/cells/", (*_ANYONE, 401)),
    Access("GET", "/api/series/{series}/cells/{cell}/", (200, 200, 200, 404, 404, 401)),
    Access("POST", "/api/series/{series}/cells/", (*_REFUSED, 401), {"levels": {}}),
    Access("POST", "/api/series/{series}/cells/{cell}/", (*_LEAD, 401), {"replicates": 4}),
    Access("POST", "/api/series/{series}/cells/{cell}/withdraw/", (*_LEAD, 401), {}),
    Access("POST", "/api/series/{series}/matrix/", (*_REFUSED, 401), {"cells": "none"}),
)
