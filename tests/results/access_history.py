"""Who takes in finished specimens, and who sees imported numbers and puts them right."""

from __future__ import annotations

from tests.specimens.access_table import Access

_LEAD = (200, 404, 404, 404, 404)
_WORK = (200, 200, 200, 404, 404)
_N = "/specimens/{specimen}/imported/{imported}/"
_P = "/programmes/{programme}/history/"

ACCESS: tuple[Access, ...] = (
    Access("GET", _P, (*_LEAD, 302)),
    Access("POST", _P, (400, 404, 404, 404, 404, 302), is_form=True),
    Access("GET", f"{_P}template.xlsx", (*_LEAD, 302)),
    Access("GET", "/imports/{import}/", (*_LEAD, 302)),
    Access("POST", "/imports/{import}/", (302, 404, 404, 404, 404, 302), is_form=True),
    Access("GET", "/imports/{import}/state/", (*_LEAD, 302)),
    Access("GET", "/specimens/{specimen}/imported/", (*_WORK, 302)),
    Access("GET", f"{_N}correct/", (*_LEAD, 302)),
    Access("POST", f"{_N}correct/", (400, 404, 404, 404, 404, 302), is_form=True),
    Access("POST", f"/api{_P}", (400, 404, 404, 404, 404, 401), is_form=True),
    Access("GET", "/api/imports/{import}/", (*_LEAD, 401)),
    Access("POST", "/api/imports/{import}/take/", (202, 404, 404, 404, 404, 401), {}),
    Access("GET", "/api/specimens/{specimen}/imported/", (*_WORK, 401)),
    Access("POST", f"/api{_N}corrections/", (400, 404, 404, 404, 404, 401), {}),
)
