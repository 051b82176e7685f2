"""Curves of a series laid over each other, as data for the drawing script; no colours here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.matrix.models import Series
from results.domain.comparison.degradation import Degraded, degradation
from results.marked_curve import Payload, axis
from results.models import Reduction
from results.selectors.samples import stiffness_points
from specimens.models import Specimen

_OVERLAY_POINTS = 600


@dataclass(frozen=True)
class Overlay:
    """A figure of several specimens.

    Attributes:
        payload: what is drawn; one legend entry for each cell.
        table: the same in numbers.
        n: how many specimens are drawn.
        cells: how many cells they belong to.
    """

    payload: Payload
    table: dict[str, Any]
    n: int
    cells: int


def _thinned(curve: Mapping[str, Any], at_most: int) -> tuple[list[float], list[float]]:
    """Every k-th kept point, and always those of the largest load and deflection."""
    x, y = curve["x"], curve["y"]
    step = max(1, len(x) // at_most)
    keep = set(range(0, len(x), step)) | {len(x) - 1}
    keep |= {y.index(max(y)), x.index(max(x)), y.index(min(y)), x.index(min(x))}
    rows = sorted(keep)
    return [x[i] for i in rows], [y[i] for i in rows]


def _look_of(cell_id: int, controls: Sequence[int], levels: Mapping[int, int]) -> dict[str, Any]:
    if cell_id in controls:
        return {"control": controls.index(cell_id) + 1}
    return {"level": levels[cell_id] % 7}


def _specimens(series: Series) -> list[Specimen]:
    found = (
        Specimen.objects.filter(cell__series=series)
        .select_related("cell", "state")
        .defer("route", "member", "measured", "state__folded")
    )
    return list(found.order_by("cell_id", "number"))


def _looks(series: Series, specimens: Sequence[Specimen]) -> dict[str, dict[str, Any]]:
    controls = list(
        series.cells.filter(gain_control__isnull=False)
        .order_by("gain_control_id")
        .values_list("gain_control_id", flat=True)
        .distinct()
    )
    strengthened = sorted({s.cell_id for s in specimens if s.cell_id not in controls})
    levels = {cell_id: place for place, cell_id in enumerate(strengthened)}
    return {s.code: _look_of(s.cell_id, controls, levels) for s in specimens}


def _trace(specimen: Specimen, look: Mapping[str, Any], **points: Any) -> dict[str, Any]:
    """One specimen's line; the legend has one entry for each cell."""
    cell = specimen.cell.code
    return {
        **points,
        "name": cell,
        "legendgroup": cell,
        "text": specimen.code,
        "hovertemplate": "%{text}<br>%{x:.4~g}, %{y:.4~g}<extra></extra>",
        "meta": {**look, "specimen": specimen.code},
    }


def _overlay(
    traces: Sequence[dict[str, Any]],
    codes: set[str] | None,
    titles: tuple[str, str],
    kind: str,
    table: dict[str, Any],
) -> Overlay:
    """The chosen traces on axes that hold all of them, so that every choice has the same limits."""
    x, y = ([v for t in traces for v in t[name]] for name in ("x", "y"))
    is_load = kind == "load-deflection"
    # The axis of load cycles is linear or logarithmic by choice, and finds its own range.
    layout = {
        "xaxis": axis(titles[0], x if is_load else (), zero=True),
        "yaxis": axis(titles[1], y, zero=is_load),
    }
    drawn = [t for t in traces if codes is None or t["meta"]["specimen"] in codes]
    named: set[str] = set()
    for trace in drawn:
        trace["showlegend"] = trace["name"] not in named
        named.add(trace["name"])
    payload = {"data": drawn, "layout": layout, "kind": kind}
    table["rows"] = [r for r in table["rows"] if codes is None or r[0] in codes]
    return Overlay(payload, table, len({t["meta"]["specimen"] for t in drawn}), len(named))


def load_deflection_overlay(series: Series, codes: set[str] | None = None) -> Overlay:
    """Load over deflection of every broken specimen of a series.

    Args:
        series: the series.
        codes: only these specimens; None for all. The axes hold all in either case.
    """
    specimens = _specimens(series)
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
        traces.append(_trace(specimen, looks[specimen.code], x=x, y=y))
        peak = max(range(len(y)), key=y.__getitem__)
        rows.append([specimen.code, specimen.cell.code, y[peak], x[peak], specimen.state.end])
    table = {
        "caption": "Largest load of each curve.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Largest load", "unit": "kN"},
            {"label": "Deflection there", "unit": "mm"},
            {"label": "End", "kind": "text"},
        ],
        "rows": rows,
    }
    return _overlay(traces, codes, ("Deflection (mm)", "Load (kN)"), "load-deflection", table)


def stiffness_overlay(series: Series, codes: set[str] | None = None) -> Overlay:
    """Secant stiffness as a share of its reference over load cycles.

    Args:
        series: the series.
        codes: only these specimens; None for all. The axis of the ratio holds all in either case.
    """
    specimens = _specimens(series)
    looks = _looks(series, specimens)
    points = stiffness_points({s.subject_id: s.code for s in specimens})
    traces: list[dict[str, Any]] = []
    rows: list[list[Any]] = []
    for specimen in specimens:
        found = degradation(points.get(specimen.code, []))
        if not found:
            continue
        x, y = [d.cycle for d in found], [round(d.ratio, 6) for d in found]
        traces.append(_trace(specimen, looks[specimen.code], x=x, y=y, mode="lines+markers"))
        rows += [_degraded_row(specimen, d) for d in found]
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
    return _overlay(traces, codes, ("Load cycles", "Stiffness ratio (1)"), "cycles", table)


def _degraded_row(specimen: Specimen, degraded: Degraded) -> list[Any]:
    return [
        specimen.code,
        degraded.cycle,
        degraded.stiffness_kn_mm,
        degraded.ratio,
        degraded.reference_cycle,
    ]
