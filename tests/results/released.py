"""Releases of a series by its lead."""

from __future__ import annotations

from typing import Any

from results.models import Release
from results.selectors.snapshot import MetricAsked
from results.services.release import release_make
from tests.results.scene import NOW, Scene

SCOPE = "Valid for beams of series QS in four-point bending, exposed to wet–dry salt."


def released(cast: Scene, **more: Any) -> Release:
    """A release by the lead."""
    given: dict[str, Any] = {
        "actor": cast.lead,
        "series": cast.series,
        "scope": SCOPE,
        "why": "first half of the programme",
        "metrics": [MetricAsked("peak_load")],
        "now": NOW,
    }
    return release_make(**{**given, **more})
