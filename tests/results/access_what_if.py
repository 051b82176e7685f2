"""Who gets what of questions on assumed errors: status by role; paths hold ``{what_if}``."""

from __future__ import annotations

from tests.specimens.access_table import Access

_WORK = (200, 200, 200, 404, 404)
# The stranger leads another programme and asks about that one; the sponsor sees no work.
_STAFF = (200, 200, 200, 404, 200)
_ASKERS = (200, 200, 404, 404, 200)
_ONE, _A = "/what-if/{what_if}", "/api/what-if/{what_if}"
ASKED = {
    "errors": [{"sensor": "LC-3", "factor": 1.02}],
    "since": "2026-03-01",
    "why": "the cell was dropped",
}
FORM = {
    "of": "sensor:LC-3",
    "percent": "2",
    "since": "2026-03-01",
    "why": "the cell was dropped",
}

ACCESS: tuple[Access, ...] = (
    Access("GET", "/what-if/", (*_STAFF, 302)),
    Access("GET", "/what-if/new/", (*_ASKERS, 302)),
    Access("POST", "/what-if/new/", (302, 302, 404, 404, 302, 302), FORM, True),
    Access("GET", f"{_ONE}/", (*_WORK, 302)),
    Access("GET", f"{_ONE}/progress/", (*_WORK, 302)),
    Access("GET", f"{_ONE}/table.csv", (*_WORK, 302)),
    Access("GET", f"{_ONE}/table.xlsx", (*_WORK, 302)),
    Access("GET", "/api/what-if/", (*_STAFF, 401)),
    Access("POST", "/api/what-if/", (202, 202, 404, 404, 202, 401), ASKED),
    Access("GET", f"{_A}/", (*_WORK, 401)),
    Access("GET", f"{_A}/numbers/", (*_WORK, 401)),
)
