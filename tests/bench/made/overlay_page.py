"""The figure of an overlay as its page holds it, from curves instead of a database."""

from __future__ import annotations

import os
import tempfile
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import numpy.typing as npt

_HOME = tempfile.TemporaryDirectory(prefix="strongfloor-bench-")
os.environ["STRONGFLOOR_HOME"] = _HOME.name
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")

import django  # noqa: E402

django.setup()

from labmatrix.web.domain.unit_systems import SI  # noqa: E402
from labmatrix.web.figure_units import payload_shown  # noqa: E402
from labmatrix.web.templatetags.notebook import page_json  # noqa: E402
from results.domain.overlay import points_each, thinned  # noqa: E402
from results.marked_curve import axis  # noqa: E402
from results.selectors.overlay import Looks  # noqa: E402
from specimens.models import Specimen  # noqa: E402

Curve = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]


def page_payload(curves: list[Curve]) -> str:
    """The figure as the page of an overlay holds it, its looks, axes and script tag included."""
    codes = [f"Q01-P2-SALT-S40-C-{n:03}" for n in range(len(curves))]
    looks = Looks({c: {"level": n % 7} for n, c in enumerate(codes)}, {c: c[4:16] for c in codes})
    at_most = points_each(len(curves))
    traces: list[dict[str, Any]] = []
    for code, (x, y) in zip(codes, curves, strict=True):
        kept_x, kept_y = thinned(cast(Any, x), cast(Any, y), at_most=at_most)
        specimen = cast(Specimen, SimpleNamespace(code=code))
        traces.append(looks.trace(specimen, x=kept_x, y=kept_y))
    every_x, every_y = ([v for t in traces for v in t[name]] for name in ("x", "y"))
    layout = {
        "xaxis": axis("Deflection (mm)", every_x, zero=True),
        "yaxis": axis("Load (kN)", every_y, zero=True),
    }
    payload = {"data": traces, "layout": layout, "kind": "load-deflection"}
    return str(page_json(payload_shown(payload, SI), "figure-1-data"))
