"""Who gets what of this room: method, path, and the status for each role."""

from __future__ import annotations

from tests.results import (
    access_history,
    access_materials,
    access_predictions,
    access_release,
    access_what_if,
    access_work,
)
from tests.specimens.access_table import Access

_ANYONE = (200, 200, 200, 200, 200)
_WORK = (200, 200, 200, 404, 404)
_STAFF = (200, 200, 200, 404, 200)  # of the laboratory: the stranger leads another programme
_CELL = "/series/{series}/plate/cells/P2-LAB"
_R, _A = "/records/{record}", "/api/records/{record}"

OWN: tuple[Access, ...] = (
    Access("GET", "/", (*_ANYONE, 302)),
    Access("GET", "/records/", (*_ANYONE, 302)),
    Access("GET", "/records/new/", (*_STAFF, 302)),
    Access("GET", f"{_R}/", (*_WORK, 302)),
    # Whoever leads or manages anything may have reduced again what is theirs, and sees that alone.
    Access("GET", "/records/stale/", (200, 200, 404, 404, 200, 302)),
    Access("GET", "/records/stale/state/", (200, 200, 404, 404, 200, 302)),
    Access("POST", "/records/stale/", (302, 302, 404, 404, 302, 302), is_form=True),
    Access("GET", "/api/reductions/stale/", (200, 200, 404, 404, 200, 401)),
    Access("POST", "/api/reductions/stale/", (202, 202, 404, 404, 202, 401)),
    Access("GET", f"{_R}/map/", (200, 200, 404, 404, 404, 302)),
    # A break record has no load cycles; whoever may see it is told so.
    Access("GET", f"{_R}/cycle/", (404, 404, 404, 404, 404, 302)),
    Access("GET", f"{_R}/table/", (*_WORK, 302)),
    Access("GET", f"{_R}/files/0/", (*_WORK, 302)),
    Access("GET", "/metrics/{metric}/", (*_WORK, 302)),
    Access("GET", "/metrics/{metric}/inputs.json", (*_WORK, 302)),
    Access("GET", "/series/{series}/plate/", (*_WORK, 302)),
    Access("GET", "/series/{series}/plate/table.csv", (*_WORK, 302)),
    Access("GET", f"{_CELL}/", (*_WORK, 302)),
    Access("POST", f"{_CELL}/", (400, 404, 404, 404, 404, 302), {}, is_form=True),
    Access("POST", f"{_CELL}/withdraw/", (409, 404, 404, 404, 404, 302), {}, is_form=True),
    Access("GET", "/series/{series}/plate/new/", (200, 404, 404, 404, 404, 302)),
    Access("POST", "/series/{series}/plate/new/", (400, 404, 404, 404, 404, 302), {}, is_form=True),
    Access("GET", "/series/{series}/comparison/", (*_WORK, 302)),
    Access("GET", "/overlay/", (*_ANYONE, 302)),
    Access("GET", "/overlay/?specimen={specimen}", (*_WORK, 302)),
    Access("GET", "/overlay/?record={record}", (*_WORK, 302)),
    Access("GET", "/overlay/?cell={series}/P2-LAB", (*_WORK, 302)),
    Access("GET", "/overlay/load-deflection.csv?specimen={specimen}", (*_WORK, 302)),
    Access("GET", "/api/overlay/?specimen={specimen}", (*_WORK, 401)),
    Access("GET", "/specimens/{specimen}/life/", (*_WORK, 302)),
    Access("GET", "/api/records/", (*_ANYONE, 401)),
    Access("GET", f"{_A}/", (*_WORK, 401)),
    Access("GET", f"{_A}/curve/", (*_WORK, 401)),
    # A break record has no load cycles; whoever may see it is told so.
    Access("GET", f"{_A}/cycles/", (404, 404, 404, 404, 404, 401)),
    Access("POST", f"{_A}/reduce/", (202, 202, 404, 404, 404, 401), {"why": "again"}),
    Access("GET", "/api/jobs/", (*_STAFF, 401)),
    Access("GET", "/api/metrics/{metric}/", (*_WORK, 401)),
    Access("GET", "/api/channel-maps/", (*_STAFF, 401)),
    Access("GET", "/api/series/{series}/comparison/", (*_WORK, 401)),
    Access("GET", "/api/series/{series}/comparison/deviations/", (*_WORK, 401)),
    Access("GET", "/api/series/{series}/comparison.csv", (*_WORK, 401)),
    *access_history.ACCESS,
    *access_work.ACCESS,
)
ACCESS = (
    *OWN,
    *access_predictions.ACCESS,
    *access_release.ACCESS,
    *access_what_if.ACCESS,
    *access_materials.ACCESS,
)
