"""Who gets what of this room: method, path, and the status for each role.

Machines belong to the laboratory, so the role in the laboratory counts; the stranger of the
standing cast is a technician there and leads another programme.
"""

from __future__ import annotations

from tests.specimens.access_table import Access

_SEE = (200, 200, 200, 404, 200)
_RUN = (200, 200, 404, 404, 404)
_ADD = (201, 201, 404, 404, 404)
_WRITE = (302, 302, 404, 404, 404)
_API, _PAGE = 401, 302
_CALIBRATION = {"calibrated_at": "2026-03-01T08:00:00Z", "factor": 1.002}

ACCESS: tuple[Access, ...] = (
    Access("GET", "/api/machines/", (*_SEE, _API)),
    Access("GET", "/api/machines/{machine}/", (*_SEE, _API)),
    Access(
        "POST",
        "/api/machines/",
        (*_ADD, _API),
        {"code": "FROST-9", "name": "Frost chamber", "kind": "chamber"},
    ),
    Access(
        "POST", "/api/machines/{machine}/change/", (*_RUN, _API), {"note": "moved", "why": "room"}
    ),
    Access("GET", "/api/sensors/", (*_SEE, _API)),
    Access(
        "POST",
        "/api/sensors/",
        (*_ADD, _API),
        {"serial": "LC-9", "quantity": "load", "unit": "kN"},
    ),
    Access("GET", "/api/sensors/{sensor}/calibrations/", (*_SEE, _API)),
    Access("POST", "/api/sensors/{sensor}/calibrations/", (*_ADD, _API), _CALIBRATION),
    Access("GET", "/api/regimes/", (*_SEE, _API)),
    Access("GET", "/api/regimes/{regime}/", (*_SEE, _API)),
    Access(
        "POST", "/api/regimes/", (*_ADD, _API), {"code": "FT", "title": "Frost", "kind": "other"}
    ),
    Access(
        "POST", "/api/regimes/{regime}/change/", (*_RUN, _API), {"text": "anew", "why": "clearer"}
    ),
    Access("GET", "/machines/", (*_SEE, _PAGE)),
    Access("GET", "/machines/{machine}/", (*_SEE, _PAGE)),
    Access("GET", "/machines/new/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/machines/new/",
        (*_WRITE, _PAGE),
        {"code": "FROST-9", "name": "Frost chamber", "kind": "chamber", "positions": "4"},
        True,
    ),
    Access("GET", "/machines/{machine}/change/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/machines/{machine}/change/",
        (*_WRITE, _PAGE),
        {"name": "Rig", "kind": "rig", "positions": "2", "why": "second place"},
        True,
    ),
    # Events of a machine are logged on the specimens room's pages.
    Access("GET", "/specimens/{machine}/log/", (*_SEE, _PAGE)),
    Access("GET", "/specimens/{machine}/log/incident/", (*_SEE, _PAGE)),
    Access("GET", "/specimens/{machine}/log/cast/", (404, 404, 404, 404, 404, _PAGE)),
    Access("GET", "/sensors/", (*_SEE, _PAGE)),
    Access("GET", "/sensors/of/{sensor}/", (*_SEE, _PAGE)),
    Access("GET", "/sensors/new/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/sensors/new/",
        (*_WRITE, _PAGE),
        {"serial": "LC-9", "quantity": "load", "unit": "kN"},
        True,
    ),
    Access("GET", "/sensors/of/{sensor}/calibrate/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/sensors/of/{sensor}/calibrate/",
        (*_WRITE, _PAGE),
        {
            "calibrated_at": "2026-03-01T08:00",
            "factor": "1.002",
            "zero": "0",
            "u_relative": "0.002",
            "u_absolute": "0",
        },
        True,
    ),
    Access("GET", "/regimes/", (*_SEE, _PAGE)),
    Access("GET", "/regimes/{regime}/", (*_SEE, _PAGE)),
    Access("GET", "/regimes/new/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/regimes/new/",
        (*_WRITE, _PAGE),
        {"code": "FT", "title": "Frost", "kind": "freeze-thaw", "settings": '{"low_degc": -18}'},
        True,
    ),
    Access("GET", "/regimes/{regime}/change/", (*_RUN, _PAGE)),
    Access(
        "POST",
        "/regimes/{regime}/change/",
        (*_WRITE, _PAGE),
        {"title": "Wet–dry", "kind": "wet-dry", "text": "anew", "why": "clearer"},
        True,
    ),
)
