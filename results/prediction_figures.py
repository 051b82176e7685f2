"""Predicted curves and ratios as data for the drawing script; no colours here."""

from __future__ import annotations

from typing import Any

from results.marked_curve import Payload, axis
from results.models import Prediction, Reduction
from results.selectors.model_error import Ratios

_ROOM = 1.15
_NAMES = (
    ("cracking_load", "cracking_deflection", "cracks"),
    ("yield_load", "yield_deflection", "bars yield"),
    ("ultimate_load", "ultimate_deflection", "ultimate"),
)


def _points(prediction: Prediction) -> list[tuple[float, float, str]]:
    """Deflection in mm, load in kN and name of the points that the prediction names."""
    outcome = prediction.outcome
    return [
        (outcome[at]["value"], outcome[load]["value"], name)
        for load, at, name in _NAMES
        if outcome.get(load) and outcome.get(at)
    ]


def _band(prediction: Prediction) -> dict[str, Any] | None:
    """The curve with its loads scaled to the 5 and 95 % fractiles of the strength."""
    spread = prediction.outcome.get("spread")
    if not spread:
        return None
    ultimate = prediction.outcome["ultimate_load"]["value"]
    low, high = (spread[name]["value"] / ultimate for name in ("lower_load", "upper_load"))
    x, y = prediction.curve["x"], prediction.curve["y"]
    return {
        "x": [*x, *reversed(x)],
        "y": [*(v * high for v in y), *(v * low for v in reversed(y))],
        "name": "5 to 95 % of such members",
        "meta": {"role": "interval"},
    }


def predicted_payload(prediction: Prediction, measured: Reduction | None = None) -> Payload:
    """Load over deflection as predicted, its band, and the measured curve over it.

    Args:
        prediction: one without an error.
        measured: the reduction of the break test, None before.
    """
    points = _points(prediction)
    band = _band(prediction)
    traces: list[dict[str, Any]] = [band] if band else []
    traces.append({**_line(prediction), "name": "predicted", "meta": {"role": "prediction"}})
    if measured is not None:
        curve = measured.curve.get("reduced") or measured.curve
        traces.append({"x": curve["x"], "y": curve["y"], "name": "measured", "meta": {"level": 0}})
    traces.append(
        {
            "x": [x for x, _, _ in points],
            "y": [y for _, y, _ in points],
            "text": [name for _, _, name in points],
            "name": "predicted points",
            "meta": {"role": "mark"},
        }
    )
    # Room at the right for the name of the last point.
    x = [value for trace in traces for value in trace["x"]]
    x.append(_ROOM * max(prediction.curve["x"]))
    y = [value for trace in traces for value in trace["y"]]
    layout = {
        "xaxis": axis("Deflection (mm)", x, zero=True),
        "yaxis": axis("Load (kN)", y, zero=True),
    }
    return {"data": traces, "layout": layout, "kind": "load-deflection"}


def _line(prediction: Prediction) -> dict[str, Any]:
    return {"x": prediction.curve["x"], "y": prediction.curve["y"]}


def predicted_table(prediction: Prediction) -> dict[str, Any]:
    """The named points of a prediction: the figure's alternative in words."""
    return {
        "caption": "Points of the predicted curve.",
        "columns": [
            {"label": "Point", "kind": "text"},
            {"label": "Deflection", "unit": "mm"},
            {"label": "Load", "unit": "kN"},
        ],
        "rows": [[name, x, y] for x, y, name in _points(prediction)],
    }


def ratio_payload(found: Ratios) -> Payload:
    """Measured over predicted moment of each specimen, with the 1:1 line."""
    ratios = [row.ratio for row in found.rows]
    largest = max((max(r.measured_knm, r.predicted_knm) for r in ratios), default=1.0)
    least = min((min(r.measured_knm, r.predicted_knm) for r in ratios), default=0.0)
    ends = [max(0.0, 0.9 * least), 1.05 * largest]
    traces: list[dict[str, Any]] = [
        {"x": ends, "y": ends, "name": "1:1", "mode": "lines", "meta": {"control": True}}
    ]
    for place, mode in enumerate(sorted({r.mode for r in ratios})):
        own = [r for r in ratios if r.mode == mode]
        traces.append(
            {
                "x": [r.predicted_knm for r in own],
                "y": [r.measured_knm for r in own],
                "text": [r.specimen for r in own],
                "mode": "markers",
                "name": mode,
                "hovertemplate": "%{text}<br>%{x:.4~g}, %{y:.4~g}<extra></extra>",
                "meta": {"level": place},
            }
        )
    layout = {
        "xaxis": axis("Predicted moment (kN·m)", ends),
        "yaxis": axis("Measured moment with dead load (kN·m)", ends),
    }
    return {"data": traces, "layout": layout, "kind": ""}
