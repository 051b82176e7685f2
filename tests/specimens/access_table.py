"""Who gets what of this room: method, path, and the status for each role.

Paths hold names of ``access_names``; pages answer nobody with a redirect to the sign-in page.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

WHO = ("lead", "manager", "technician", "sponsor", "stranger", "nobody")


@dataclass(frozen=True)
class Access:
    """One request and its status for lead, manager, technician, sponsor, stranger, nobody."""

    method: str
    path: str
    statuses: tuple[int, int, int, int, int, int]
    body: Any = None
    is_form: bool = False

    def status_for(self, who: str) -> int:
        """The status that a person gets."""
        return self.statuses[WHO.index(who)]


_WORK = (200, 200, 200, 404, 404)
_ANYONE = (200, 200, 200, 200, 200)
_CREATORS = (200, 200, 404, 404, 404)
_LEAD = (200, 404, 404, 404, 404)
_S, _E, _D = "/specimens/{specimen}", "{event}", "{deviation}"
_NOTE = {
    "id": "{fresh}",
    "subject": "{specimen}",
    "kind": "note",
    "occurred_at": "2026-03-01T08:00:00Z",
    "payload": {"text": "seen"},
}
_NEW_LOT = {"code": "C-99", "programme": "{programme}", "kind": "concrete", "title": "C25/30"}
_CYLINDER = {
    "test": "cylinder",
    "mark": "C2",
    "tested_on": "2026-02-02",
    "values": {"diameter_mm": 150, "length_mm": 300, "load_kn": 540},
}
_FORM = {"event_id": "{fresh}", "occurred_at": "2026-03-01T08:00:00"}

ACCESS: tuple[Access, ...] = (
    Access("GET", "/api/specimens/", (*_ANYONE, 401)),
    Access("GET", "/api/specimens/?series={series}", (*_WORK, 401)),
    Access("GET", "/api/specimens/?programme={programme}", (*_WORK, 401)),
    Access("GET", "/api/specimens/{specimen}/", (*_WORK, 401)),
    Access(
        "POST",
        "/api/specimens/",
        (201, 201, 404, 404, 404, 401),
        {"series": "{series}", "cell": "{cell}"},
    ),
    Access(
        "POST",
        "/api/specimens/{specimen}/measured/",
        (*_CREATORS, 401),
        {"measured": {"fc_mpa": 30}, "why": "cylinders"},
    ),
    Access("GET", "/api/lots/", (*_ANYONE, 401)),
    Access("POST", "/api/lots/", (201, 201, 404, 404, 404, 401), _NEW_LOT),
    Access("GET", "/api/lots/{lot}/", (*_WORK, 401)),
    Access("POST", "/api/lots/{lot}/", (*_CREATORS, 401), {"title": "C30/37", "why": "sheet"}),
    Access("GET", "/api/lots/{lot}/tests/", (*_WORK, 401)),
    Access("POST", "/api/lots/{lot}/tests/", (201, 201, 201, 404, 404, 401), _CYLINDER),
    Access("POST", "/api/lots/{lot}/tests/{typed}/strike/", (*_WORK, 401), {"why": "misread"}),
    Access("GET", "/api/events/", (*_ANYONE, 401)),
    Access("GET", "/api/events/?subject={specimen}", (*_WORK, 401)),
    Access("GET", "/api/events/schema/", (*_ANYONE, 401)),
    # A batch is answered event by event; the tests beside this table look into the answers.
    Access("POST", "/api/events/", (*_ANYONE, 401), [_NOTE]),
    Access("GET", "/specimens/", (*_ANYONE, 302)),
    Access("GET", "/specimens/?series={series}", (*_WORK, 302)),
    Access("GET", "/specimens/create/", (*_ANYONE, 302)),
    Access("GET", "/specimens/create/?series={series}", (*_CREATORS, 302)),
    Access("POST", "/specimens/create/?series={series}", (302, 302, 404, 404, 404, 302), {}, True),
    Access("GET", "/specimens/labels/?series={series}", (*_WORK, 302)),
    Access("GET", f"{_S}/", (*_WORK, 302)),
    Access("GET", f"{_S}/measured/", (*_CREATORS, 302)),
    Access(
        "POST",
        f"{_S}/measured/",
        (302, 302, 404, 404, 404, 302),
        {"m-fc_mpa": "30", "why": "cylinders"},
        True,
    ),
    Access("GET", f"{_S}/log/", (*_WORK, 302)),
    Access("GET", f"{_S}/log/layer/", (*_WORK, 302)),
    Access("GET", f"{_S}/log/judged/", (404, 404, 404, 404, 404, 302)),
    Access("GET", f"{_S}/log/melted/", (404, 404, 404, 404, 404, 302)),
    Access(
        "POST",
        f"{_S}/log/note/",
        (302, 302, 302, 404, 404, 302),
        {**_FORM, "text": "seen"},
        True,
    ),
    Access("GET", f"{_S}/events/{_E}/correct/", (*_WORK, 302)),
    Access(
        "POST",
        f"{_S}/events/{_E}/correct/",
        (302, 302, 302, 404, 404, 302),
        {**_FORM, "batch": "C-02", "why": "misread"},
        True,
    ),
    Access("GET", f"{_S}/events/{_E}/strike/", (*_WORK, 302)),
    Access(
        "POST",
        f"{_S}/events/{_E}/strike/",
        (302, 302, 302, 404, 404, 302),
        {"event_id": "{fresh}", "why": "misread"},
        True,
    ),
    Access("GET", f"{_S}/deviations/{_D}/judge/", (*_LEAD, 302)),
    Access(
        "POST",
        f"{_S}/deviations/{_D}/judge/",
        (302, 404, 404, 404, 404, 302),
        {"event_id": "{fresh}", "decision": "accept", "why": "within the scatter"},
        True,
    ),
    Access("GET", f"{_S}/photos/{{photo}}/", (*_WORK, 302)),
)
