"""Who gets what of retention, releases, progress and files: status by role.

Paths hold ``{release}``; pages answer nobody with a redirect to the sign-in page.
"""

from __future__ import annotations

from tests.specimens.access_table import Access

_WORK = (200, 200, 200, 404, 404)
_PART = (200, 200, 200, 200, 404)
_LEAD_FORM = {
    "metrics": ["peak_load|"],
    "control": "conditioning",
    "include": "judged",
    "imported": "with",
    "scope": "Valid for beams of series QS.",
    "why": "review",
}
_LEAD_BODY = {**_LEAD_FORM, "metrics": ["peak_load"]}
_S, _R = "/series/QS", "/releases/{release}"

ACCESS: tuple[Access, ...] = (
    Access("GET", "/api/series/QS/retention/", (*_WORK, 401)),
    Access("GET", "/api/releases/", (200, 200, 200, 200, 200, 401)),
    Access("GET", "/api/releases/?series=QS", (*_PART, 401)),
    Access("GET", "/api/releases/{release}/", (*_PART, 401)),
    Access("POST", "/api/series/QS/releases/", (201, 404, 404, 404, 404, 401), _LEAD_BODY),
    Access("GET", f"{_S}/releases/", (*_PART, 302)),
    Access("POST", f"{_S}/releases/", (302, 404, 404, 404, 404, 302), _LEAD_FORM, True),
    Access("GET", f"{_S}/progress/", (*_PART, 302)),
    Access("GET", "/programmes/QUAYSIDE/progress/", (*_PART, 302)),
    Access("GET", f"{_R}/", (*_PART, 302)),
    Access("GET", f"{_R}/table.xlsx", (*_PART, 302)),
    Access("GET", f"{_R}/load-deflection.svg", (*_PART, 302)),
    # No member of this series was cycled, so nobody gets its figure.
    Access("GET", f"{_R}/stiffness.svg", (404, 404, 404, 404, 404, 302)),
    Access("GET", f"{_S}/cells/P2-LAB/table.xlsx", (*_WORK, 302)),
    Access("GET", f"{_S}/comparison/table.csv", (*_WORK, 302)),
    Access("GET", f"{_S}/comparison/load-deflection.csv", (*_WORK, 302)),
    Access("GET", f"{_S}/comparison/stiffness.csv", (404, 404, 404, 404, 404, 302)),
)
