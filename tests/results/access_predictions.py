"""Who gets what of predictions and calculators: status by role.

Paths hold ``{specimen}`` and ``{prediction}``; pages answer nobody with a redirect to the sign-in
page. Calculators keep nothing and are for everyone who is signed in.
"""

from __future__ import annotations

from tests.specimens.access_table import Access

_ANYONE = (200, 200, 200, 200, 200)
_WORK = (200, 200, 200, 404, 404)
_SECTION = {
    "shape": {"width_mm": 200, "height_mm": 300},
    "concrete": {"strength_mpa": 30},
    "bars": [{"count": 3, "diameter_mm": 12, "depth_mm": 260, "yield_mpa": 420}],
}
_BEAM = {
    "member": _SECTION,
    "loading": {"kind": "four-point", "span_mm": 2400, "shear_span_mm": 900},
}
_LEVEL = {
    **_BEAM,
    "protocol": {"reference": "own", "largest_share": 0.5, "least_share": 0.1, "cycles": 2e6},
}
FORM = {
    "member-shape-kind": "rectangle",
    "member-shape-width_mm": "200",
    "member-shape-height_mm": "300",
    "member-concrete-strength_mpa": "30",
    "member-bars-0-count": "3",
    "member-bars-0-diameter_mm": "12",
    "member-bars-0-depth_mm": "260",
    "member-bars-0-yield_mpa": "420",
    "member-fabric-fibre": "pbo",
    "options-block": "parabolic",
    "options-phi_edition": "aci440-2r",
}
_S, _A = "/series/QS", "/api/series/QS"

ACCESS: tuple[Access, ...] = (
    Access("POST", "/api/calculators/flexure/", (*_ANYONE, 401), {"member": _SECTION}),
    Access("POST", "/api/calculators/beam/", (*_ANYONE, 401), _BEAM),
    Access("POST", "/api/calculators/protocol/", (*_ANYONE, 401), _LEVEL),
    Access("GET", "/calculators/", (*_ANYONE, 302)),
    Access("GET", "/calculators/protocol/", (*_ANYONE, 302)),
    Access("POST", "/calculators/flexure/", (*_ANYONE, 302), FORM, True),
    Access("GET", "/calculators/oracle/", (404, 404, 404, 404, 404, 302)),
    Access("GET", "/api/predictions/", (*_ANYONE, 401)),
    Access("GET", "/api/predictions/?series=QS", (*_WORK, 401)),
    Access("GET", "/api/predictions/{prediction}/", (*_WORK, 401)),
    Access("POST", f"{_A}/predictions/", (202, 202, 404, 404, 404, 401), {"why": "plan"}),
    Access("GET", f"{_A}/test-to-prediction/", (*_WORK, 401)),
    Access("GET", "/predictions/{prediction}/", (*_WORK, 302)),
    Access("GET", f"{_S}/predictions/", (*_WORK, 302)),
    Access("GET", f"{_S}/predictions/progress/", (*_WORK, 302)),
    Access("GET", f"{_S}/predictions/rules/", (*_WORK, 302)),
    Access("POST", f"{_S}/predictions/rules/", (400, 404, 404, 404, 404, 302), {"why": ""}, True),
    Access("GET", f"{_A}/prediction-rules/", (*_WORK, 401)),
    Access(
        "POST",
        f"{_A}/prediction-rules/",
        (201, 404, 404, 404, 404, 401),
        {"options": {"block": "rectangular"}, "why": "the block of ACI 318"},
    ),
    Access("POST", f"{_S}/predictions/", (302, 302, 404, 404, 404, 302), {"why": "plan"}, True),
    Access("GET", f"{_S}/test-to-prediction/", (*_WORK, 302)),
    Access("GET", "/specimens/{specimen}/pre-test/", (*_WORK, 302)),
)
