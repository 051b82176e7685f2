"""What figures show, as data for the notebook's drawing script; no colours here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.matrix.models import Series
from results.domain.comparison.degradation import Degraded, degradation
from results.models import Reduction
from results.selectors.comparison import stiffness_points
from specimens.models import Specimen

Payload = dict[str, Any]
_OVERLAY_POINTS = 600


def _axis(title: str) -> dict[str, Any]:
    return {"title": {"text": title}}


def _thinned(curve: Mapping[str, Any], at_most: int) -> tuple[list[float], list[float]]:
    """Every k-th kept point, and always those of the largest load and deflection."""
    x, y = curve["x"], curve["y"]
    step = max(1, len(x) // at_most)
    keep = set(range(0, len(x), step)) | {len(x) - 1}
    keep |= {y.index(max(y)), x.index(max(x)), y.index(min(y)), x.index(min(x))}
    rows = sorted(keep)
    return [x[i] for i in rows], [y[i] for i in rows]


def marked_curve(reduction: Reduction, chosen: Mapping[str, Any] | None = None) -> Payload:
    """The measured curve of one record with the points that made its numbers.

    Args:
        reduction: whose curve and marks.
        chosen: the point of one metric, drawn over the others.
    """
    curve = reduction.curve
    reduced = curve.get("reduced")
    raw = {"role": "raw"} if reduced else {"level": 0}
    traces: list[dict[str, Any]] = [
        {"x": curve["x"], "y": curve["y"], "name": "as measured", "meta": raw}
    ]
    if reduced:
        name = "after zero, seating and settlement"
        traces.append({**reduced, "name": name, "meta": {"level": 0}})
    marks = [m for m in reduction.marks if m and (chosen is None or m != dict(chosen))]
    if marks:
        traces.append(_marks(marks, "found points"))
    if chosen:
        traces.append(_marks([chosen], "this number"))
    kind = "load-deflection" if curve["y_title"].startswith("load") else ""
    layout = {"xaxis": _axis(_title(curve["x_title"])), "yaxis": _axis(_title(curve["y_title"]))}
    return {"data": traces, "layout": layout, "kind": kind}


def _title(text: str) -> str:
    return (text[:1].upper() + text[1:]).replace("[", "(").replace("]", ")")


def _marks(points: Sequence[Mapping[str, Any]], name: str) -> dict[str, Any]:
    return {
        "x": [p["deflection_mm"] for p in points],
        "y": [p["load_kn"] for p in points],
        "text": [p["label"] for p in points],
        "name": name,
        "meta": {"role": "mark"},
    }


def marks_table(reduction: Reduction) -> dict[str, Any]:
    """The found points as a table: the figure's alternative in words."""
    return {
        "caption": "Points found on the curve.",
        "columns": [
            {"label": "Point", "kind": "text"},
            {"label": "Row of the record", "digits": 12},
            {"label": "Deflection", "unit": "mm", "digits": 6},
            {"label": "Load", "unit": "kN", "digits": 6},
        ],
        "rows": [
            [m["label"], m["index"], m["deflection_mm"], m["load_kn"]] for m in reduction.marks if m
        ],
    }


def _look_of(specimen: Specimen, controls: set[int], levels: Mapping[int, int]) -> dict[str, Any]:
    if specimen.cell_id in controls:
        return {"control": True}
    return {"level": levels[specimen.cell_id] % 7}


def _specimens(series: Series) -> list[Specimen]:
    found = Specimen.objects.filter(cell__series=series).select_related("cell", "state")
    return list(found.order_by("cell_id", "number"))


def _looks(series: Series, specimens: Sequence[Specimen]) -> dict[str, dict[str, Any]]:
    controls = set(
        series.cells.filter(gain_control__isnull=False).values_list("gain_control_id", flat=True)
    )
    strengthened = sorted({s.cell_id for s in specimens if s.cell_id not in controls})
    levels = {cell_id: place for place, cell_id in enumerate(strengthened)}
    return {s.code: _look_of(s, controls, levels) for s in specimens}


def load_deflection_overlay(series: Series, codes: set[str] | None = None) -> tuple[Payload, Any]:
    """Load over deflection of every broken specimen of a series, and its table.

    Args:
        series: the series.
        codes: only these specimens; None for all.
    """
    specimens = [s for s in _specimens(series) if codes is None or s.code in codes]
    looks = _looks(series, specimens)
    by_subject = {s.subject_id: s for s in specimens}
    reductions = (
        Reduction.objects.filter(
            record__subject_id__in=list(by_subject), is_current=True, name="break"
        )
        .select_related("record")
        .order_by("record__subject__code")
    )
    traces, rows = [], []
    for reduction in reductions:
        specimen = by_subject[reduction.record.subject_id]
        x, y = _thinned(reduction.curve.get("reduced") or reduction.curve, _OVERLAY_POINTS)
        name = f"{specimen.code}"
        traces.append({"x": x, "y": y, "name": name, "meta": looks[specimen.code]})
        peak = max(range(len(y)), key=y.__getitem__)
        rows.append([specimen.code, specimen.cell.code, y[peak], x[peak], specimen.state.end])
    layout = {"xaxis": _axis("Deflection (mm)"), "yaxis": _axis("Load (kN)")}
    table = {
        "caption": "Largest load of each curve, as measured.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Largest load", "unit": "kN"},
            {"label": "Deflection there", "unit": "mm"},
            {"label": "End", "kind": "text"},
        ],
        "rows": rows,
    }
    return {"data": traces, "layout": layout, "kind": "load-deflection"}, table


def stiffness_overlay(series: Series, codes: set[str] | None = None) -> tuple[Payload, Any]:
    """Secant stiffness as a share of its reference over load cycles, and its table."""
    specimens = [s for s in _specimens(series) if codes is None or s.code in codes]
    looks = _looks(series, specimens)
    points = stiffness_points({s.subject_id: s.code for s in specimens})
    traces, rows = [], []
    for specimen in specimens:
        found = degradation(points.get(specimen.code, []))
        if not found:
            continue
        traces.append(
            {
                "x": [d.cycle for d in found],
                "y": [round(d.ratio, 6) for d in found],
                "name": specimen.code,
                "mode": "lines+markers",
                "meta": looks[specimen.code],
            }
        )
        rows += [_degraded_row(specimen, d) for d in found]
    layout = {"xaxis": _axis("Load cycles"), "yaxis": _axis("Stiffness ratio (1)")}
    table = {
        "caption": "Secant stiffness by load cycle; the ratio is to the first cycle measured.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "Load cycle", "digits": 12},
            {"label": "Secant stiffness", "unit": "kN/mm"},
            {"label": "Ratio", "unit": "1"},
            {"label": "Reference cycle", "digits": 12},
        ],
        "rows": rows,
    }
    return {"data": traces, "layout": layout, "kind": "cycles"}, table


def _degraded_row(specimen: Specimen, degraded: Degraded) -> list[Any]:
    return [
        specimen.code,
        degraded.cycle,
        degraded.stiffness_kn_mm,
        degraded.ratio,
        degraded.reference_cycle,
    ]
