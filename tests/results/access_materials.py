"""Who gets what of materials: status by role. The stranger leads another programme."""

from __future__ import annotations

from tests.specimens.access_table import Access

_ANYONE = (200, 200, 200, 200, 200)
_WORK = (200, 200, 200, 404, 404)
_KEEPERS = (200, 200, 404, 404, 404)
_L, _T = "/materials/{lot}", "/materials/{lot}/tests/{typed}/strike/"
_NEW = "/materials/new/?programme=QUAYSIDE&kind=concrete"
_CYLINDER = {
    "mark": "C2",
    "tested_on": "2026-02-02",
    "p-diameter_mm": "150",
    "p-length_mm": "300",
    "p-load_kn": "540",
}

ACCESS: tuple[Access, ...] = (
    Access("GET", "/materials/", (*_ANYONE, 302)),
    Access("GET", "/materials/new/", (200, 200, 404, 404, 200, 302)),
    Access("GET", _NEW, (*_KEEPERS, 302)),
    Access(
        "POST", _NEW, (302, 302, 404, 404, 404, 302), {"code": "C-9", "title": "C30"}, is_form=True
    ),
    Access("GET", f"{_L}/", (*_WORK, 302)),
    Access("GET", f"{_L}/change/", (*_KEEPERS, 302)),
    Access(
        "POST",
        f"{_L}/change/",
        (302, 302, 404, 404, 404, 302),
        {"title": "C35", "why": "sheet"},
        is_form=True,
    ),
    Access("GET", f"{_L}/type/cylinder/", (*_WORK, 302)),
    Access("GET", f"{_L}/type/bar/", (404, 404, 404, 404, 404, 302)),
    Access("POST", f"{_L}/type/cylinder/", (302, 302, 302, 404, 404, 302), _CYLINDER, is_form=True),
    Access("GET", _T, (*_WORK, 302)),
    Access("POST", _T, (302, 302, 302, 404, 404, 302), {"why": "misread"}, is_form=True),
    Access("GET", "/series/QS/materials/", (*_WORK, 302)),
    Access("GET", "/series/QS/materials/table.csv", (*_WORK, 302)),
    Access("GET", "/series/QS/materials/table.xlsx", (*_WORK, 302)),
    Access("GET", "/series/QS/materials/table.tex", (*_WORK, 302)),
    Access("GET", "/series/QS/materials/table.docx", (400, 400, 400, 404, 404, 302)),
    Access("GET", "/api/lots/{lot}/properties/", (*_WORK, 401)),
    Access("GET", "/api/series/QS/materials/", (*_WORK, 401)),
)
