"""Curves and trends of any selection as figures: payload, table, caption; no colours here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from labmatrix.matrix.models import Cell
from results.domain.comparison.degradation import degradation
from results.domain.moved_numbers import whose
from results.domain.overlay import Band, band_of, points_each, thinned
from results.marked_curve import Payload, axis
from results.models import Metric, Reduction
from results.selectors.overlay_choice import Selection
from results.selectors.samples import stiffness_points
from specimens.models import Specimen

LOAD = (
    "Load over deflection, {whose}; controls dashed in ink. Each curve by "
    "at most {points} of its points, every extreme kept."
)
STIFFNESS = (
    "Secant stiffness as a share of the first load cycle measured, {whose}; "
    "controls dashed in ink.{band}"
)
ENERGY = "Energy of a load cycle's loop, {whose}; controls dashed in ink.{band}"
BAND = " The band is the 95 % interval of the mean where {n} specimens share a load cycle."
_TEXT = {"kind": "text"}


@dataclass(frozen=True)
class Figure:
    """What a page draws and a file holds."""

    name: str
    caption: str
    payload: Payload
    table: dict[str, Any]
    n: int


@dataclass(frozen=True)
class Looks:
    """How each specimen is named and drawn: by cell, or by itself where one cell is looked at."""

    looks: Mapping[str, Mapping[str, Any]]
    names: Mapping[str, str]

    def trace(self, specimen: Specimen, **points: Any) -> dict[str, Any]:
        """One specimen's line; the legend has one entry for each name."""
        name = self.names[specimen.code]
        return {
            **points,
            "name": name,
            "legendgroup": name,
            "text": specimen.code,
            "hovertemplate": "%{text}<br>%{x:.4~g}, %{y:.4~g}<extra></extra>",
            "meta": {**self.looks[specimen.code], "specimen": specimen.code},
        }


def looks_of(specimens: Sequence[Specimen]) -> Looks:
    """Gain controls in ink, dashed; other cells by level; a lone cell's specimens each its own."""
    cells = list(dict.fromkeys(s.cell_id for s in specimens))
    serving = set(
        Cell.objects.filter(gain_control__in=cells).values_list("gain_control_id", flat=True)
    )
    controls = [c for c in cells if c in serving]
    others = [c for c in cells if c not in serving]
    by_cell: dict[int, dict[str, Any]] = {c: {"control": k + 1} for k, c in enumerate(controls)}
    by_cell |= {c: {"level": k % 7} for k, c in enumerate(others)}
    is_alone = len(cells) == 1
    several = len({s.cell.series_id for s in specimens}) > 1
    looks, names = {}, {}
    for place, s in enumerate(specimens):
        alone = {"control": place + 1} if controls else {"level": place % 7}
        looks[s.code] = alone if is_alone else by_cell[s.cell_id]
        cell = f"{s.cell.series.code} {s.cell.code}" if several else s.cell.code
        names[s.code] = s.code if is_alone else cell
    return Looks(looks, names)


@dataclass
class _Drawing:
    """Traces and rows of one figure while it is put together."""

    titles: tuple[str, str]
    columns: list[dict[str, Any]]
    table_caption: str
    kind: str
    traces: list[dict[str, Any]] = field(default_factory=list)
    rows: list[list[Any]] = field(default_factory=list)

    def figure(self, name: str, caption: str, *, logarithmic: bool = False) -> Figure:
        """The figure; its axes hold every curve."""
        x, y = ([v for t in self.traces for v in t[k]] for k in ("x", "y"))
        is_load = self.kind == "load-deflection"
        layout = {
            "xaxis": axis(self.titles[0], x if is_load else (), zero=True),
            "yaxis": axis(self.titles[1], y, zero=is_load),
        }
        if logarithmic and self.kind == "cycles":
            layout["xaxis"] = {**layout["xaxis"], "type": "log"}
        named: set[str] = set()
        for trace in self.traces:
            if trace["meta"].get("role") != "interval":
                trace["showlegend"] = trace["name"] not in named
                named.add(trace["name"])
        drawn = {t["meta"]["specimen"] for t in self.traces if "specimen" in t["meta"]}
        payload = {"data": self.traces, "layout": layout, "kind": self.kind}
        table = {"caption": self.table_caption, "columns": self.columns, "rows": self.rows}
        return Figure(name, caption, payload, table, len(drawn))


def _cells_of(specimens: Sequence[Specimen], codes: set[str]) -> int:
    return len({s.cell_id for s in specimens if s.code in codes})


def _curve(reduction: Reduction) -> tuple[list[float], list[float]] | None:
    """Deflection in mm and load in kN; None for a record of something else."""
    curve = reduction.curve
    if not (
        str(curve.get("y_title", "")).startswith("load")
        and str(curve.get("x_title", "")).startswith("deflection")
    ):
        return None
    shown = curve.get("reduced") or curve
    return shown["x"], shown["y"]


def load_figure(selection: Selection, looks: Looks) -> Figure:
    """Load over deflection of each break test, and of each cyclic record that was chosen itself."""
    wanted = selection.of_reduction()
    kinds = ("break", "cyclic") if selection.records else ("break",)
    rows = Reduction.objects.filter(wanted, name__in=kinds).select_related("record__subject")
    found = [(r, xy) for r in rows.order_by("record__subject__code", "pk") if (xy := _curve(r))]
    points = points_each(len(found))
    drawing = _Drawing(
        ("Deflection (mm)", "Load (kN)"),
        [
            {"label": "Specimen", **_TEXT},
            {"label": "Cell", **_TEXT},
            {"label": "Largest load", "unit": "kN"},
            {"label": "Deflection there", "unit": "mm"},
            {"label": "Largest deflection", "unit": "mm"},
            {"label": "End", **_TEXT},
        ],
        "Largest load and deflection of each curve.",
        "load-deflection",
    )
    for reduction, (x, y) in found:
        specimen = selection.owners[reduction.record.subject_id]
        kept_x, kept_y = thinned(x, y, at_most=points)
        drawing.traces.append(looks.trace(specimen, x=kept_x, y=kept_y))
        peak = max(range(len(y)), key=y.__getitem__)
        drawing.rows.append(
            [
                reduction.record.subject.code,
                specimen.cell.code,
                y[peak],
                x[peak],
                max(x),
                specimen.state.end,
            ]
        )
    codes = {t["meta"]["specimen"] for t in drawing.traces}
    caption = LOAD.format(
        whose=whose(len(codes), _cells_of(selection.specimens, codes)), points=points
    )
    return drawing.figure("load-deflection", caption)


def _banded(
    drawing: _Drawing,
    selection: Selection,
    looks: Looks,
    curves: Mapping[str, Mapping[float, float]],
) -> str:
    """Put the interval of each cell below its curves; the sentence that says so."""
    by_name: dict[str, list[Specimen]] = {}
    for specimen in selection.specimens:
        if specimen.code in curves:
            by_name.setdefault(specimen.cell.code, []).append(specimen)
    bands: list[Band] = []
    for name, own in by_name.items():
        band = band_of([curves[s.code] for s in own])
        if band is None:
            continue
        bands.append(band)
        look = looks.looks[own[0].code]
        drawing.traces.insert(
            0,
            {
                "x": [*band.at, *reversed(band.at)],
                "y": [*band.high, *reversed(band.low)],
                "name": f"{name}, 95 % interval of the mean",
                "meta": {**look, "role": "interval"},
            },
        )
    if not bands:
        return ""
    low, high = min(b.n[0] for b in bands), max(b.n[1] for b in bands)
    return BAND.format(n=low if low == high else f"{low} to {high}")


def stiffness_figure(selection: Selection, looks: Looks, *, logarithmic: bool) -> Figure:
    """Stiffness ratio over load cycles of the whole life of each specimen, with intervals."""
    points = stiffness_points({k: s.code for k, s in selection.owners.items()})
    drawing = _Drawing(
        ("Load cycles", "Stiffness ratio (1)"),
        [
            {"label": "Specimen", **_TEXT},
            {"label": "Load cycle", "digits": 12},
            {"label": "Secant stiffness", "unit": "kN/mm"},
            {"label": "Ratio", "unit": "1"},
            {"label": "Reference cycle", "digits": 12},
        ],
        "Secant stiffness by load cycle; the ratio is to the first cycle measured.",
        "cycles",
    )
    curves: dict[str, dict[float, float]] = {}
    for specimen in selection.specimens:
        found = degradation(points.get(specimen.code, []))
        if not found:
            continue
        curves[specimen.code] = {float(d.cycle): d.ratio for d in found}
        x, y = [d.cycle for d in found], [round(d.ratio, 6) for d in found]
        drawing.traces.append(looks.trace(specimen, x=x, y=y, mode="lines+markers"))
        drawing.rows += [
            [specimen.code, d.cycle, d.stiffness_kn_mm, d.ratio, d.reference_cycle] for d in found
        ]
    band = _banded(drawing, selection, looks, curves)
    cells = _cells_of(selection.specimens, set(curves))
    caption = STIFFNESS.format(whose=whose(len(curves), cells), band=band)
    return drawing.figure("stiffness", caption, logarithmic=logarithmic)


def energy_figure(selection: Selection, looks: Looks, *, logarithmic: bool) -> Figure:
    """Energy of the loop over load cycles of each specimen, with intervals."""
    rows = (
        Metric.objects.filter(
            selection.of_reduction("reduction__"), name="loop_energy", at__isnull=False
        )
        .order_by("at", "reduction__record__received_at")
        .values_list("at", "value", "reduction__record__subject_id")
    )
    curves: dict[str, dict[float, float]] = {}
    for at, value, subject in rows:
        if at is not None:
            curves.setdefault(selection.owners[subject].code, {})[float(at)] = value
    drawing = _Drawing(
        ("Load cycles", "Energy of the loop (kN·mm)"),
        [
            {"label": "Specimen", **_TEXT},
            {"label": "Load cycle", "digits": 12},
            {"label": "Energy of the loop", "unit": "kN·mm"},
        ],
        "Energy of the loop by load cycle.",
        "cycles",
    )
    for specimen in selection.specimens:
        curve = curves.get(specimen.code)
        if not curve:
            continue
        x, y = [int(at) for at in curve], list(curve.values())
        drawing.traces.append(looks.trace(specimen, x=x, y=y, mode="lines+markers"))
        drawing.rows += [[specimen.code, at, value] for at, value in zip(x, y, strict=True)]
    band = _banded(drawing, selection, looks, curves)
    cells = _cells_of(selection.specimens, set(curves))
    caption = ENERGY.format(whose=whose(len(curves), cells), band=band)
    return drawing.figure("energy", caption, logarithmic=logarithmic)
