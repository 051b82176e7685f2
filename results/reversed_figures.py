"""Figures and words of a reversed cyclic test of growing amplitude, for the record's page."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from typing import Any

from results.marked_curve import axis
from results.models import Metric, Reduction

FOUND = (
    "Seen are {reversals} reversals of the deflection and two envelopes. A reversal is where the "
    "deflection turns and then moves away by more than the band of {band:.3g} mm; the ends of the "
    "record do not count.",
    "An envelope runs from the origin through the largest load of the first cycle at each new "
    "amplitude, one for each side. Ultimate is where it has fallen to {share:.0f} % of its peak; "
    "where it has not, its last point is a lower bound. The yield is that of the elastic–perfectly "
    "plastic curve that encloses the same area up to the ultimate, its stiffness that of the "
    "secant at {elastic:.0f} % of the peak (form of ASTM E2126).",
    "Stiffness and energy below are of cycles from valley to valley of the deflection, because a "
    "specimen that softens sheds load between them. The amplitude is half the range of deflection, "
    "the stiffness the range of load over that of deflection, the energy the area of the loop; the "
    "sum over the cycles is what the specimen took up.",
)
_SIDE_ROWS = (
    ("peak_load", "Peak load", "kN"),
    ("peak_deflection", "Deflection at the peak", "mm"),
    ("ultimate_deflection", "Ultimate deflection", "mm"),
    ("stiffness", "Elastic stiffness", "kN/mm"),
    ("yield_load", "Equal-energy yield load", "kN"),
    ("yield_deflection", "Equal-energy yield deflection", "mm"),
    ("ductility", "Ductility", "1"),
)


def reversed_test(reduction: Reduction, metrics: Iterable[Metric]) -> dict[str, Any] | None:
    """Words, the table of both sides and the figures; None of a record that has no envelope.

    Args:
        reduction: with its curve.
        metrics: of the reduction.
    """
    curve = reduction.curve
    if "envelope" not in curve:
        return None
    found = {(m.name, m.method): m for m in metrics if m.at is None}
    used = reduction.settings["envelope"]
    words = [
        text.format(
            reversals=len(curve["reversals"]["rows"]),
            band=used["band_mm"],
            share=100.0 * used["ultimate_share"],
            elastic=100.0 * used["elastic_share"],
        )
        for text in FOUND
    ]
    figures = [_reversals(curve["reversals"])]
    if curve["by_cycle"]:
        figures += [_stiffness(curve["by_cycle"]), _energy(curve["by_cycle"])]
    numbered = [drawn | {"number": number} for number, drawn in enumerate(figures, 3)]
    return {"words": words, "sides": _sides(found), "figures": numbered}


def _sides(found: Mapping[tuple[str, str], Metric]) -> dict[str, Any]:
    def cell(name: str, side: str) -> dict[str, Any] | None:
        metric = found.get((f"envelope_{name}", side))
        if metric is None:
            return None
        return {"value": metric.value, "bound": metric.bound, "url": f"/metrics/{metric.pk}/"}

    return {
        "caption": "Both envelopes, each turned positive. One specimen.",
        "columns": [
            {"label": "Number", "kind": "text"},
            {"label": "Unit", "kind": "text"},
            {"label": "Positive side", "digits": 4},
            {"label": "Negative side", "digits": 4},
        ],
        "rows": [
            [words, "–" if unit == "1" else unit, cell(name, "positive"), cell(name, "negative")]
            for name, words, unit in _SIDE_ROWS
        ],
    }


def _drawn(
    caption: str, x: tuple[str, str, list[Any]], lines: Mapping[str, list[Any]], y: tuple[str, str]
) -> dict[str, Any]:
    """A figure with its table: ``x`` and ``y`` are heading, unit and, of x, the values."""
    x_name, x_unit, x_values = x
    y_name, y_unit = y
    traces = [
        {"x": x_values, "y": values, "name": name, "mode": "markers", "meta": {"level": level}}
        for level, (name, values) in enumerate(lines.items())
    ]
    every = [value for values in lines.values() for value in values]
    across = axis(f"{x_name} ({x_unit})" if x_unit else x_name, x_values)
    layout = {
        "xaxis": across | {"exponentformat": "none"},
        "yaxis": axis(f"{y_name} ({y_unit})", every),
    }
    head: dict[str, Any] = {"label": x_name, "digits": 6}
    columns = [head | ({"unit": x_unit} if x_unit else {})]
    columns += [{"label": name, "unit": y_unit, "digits": 5} for name in lines]
    rows = [list(row) for row in zip(x_values, *lines.values(), strict=True)]
    return {
        "caption": caption,
        "payload": {"data": traces, "layout": layout, "kind": ""},
        "table": {"caption": caption, "columns": columns, "rows": rows},
    }


def _reversals(found: Mapping[str, list[Any]]) -> dict[str, Any]:
    return _drawn(
        "Every reversal of the deflection over the rows of the record. One specimen.",
        ("Row of the record", "", found["rows"]),
        {"Deflection": found["deflection_mm"]},
        ("Deflection", "mm"),
    )


def _stiffness(by_cycle: Mapping[str, list[Any]]) -> dict[str, Any]:
    return _drawn(
        "Stiffness from end to end of every load cycle by its amplitude. One specimen.",
        ("Amplitude", "mm", by_cycle["amplitude_mm"]),
        {"Stiffness from end to end": by_cycle["stiffness_kn_mm"]},
        ("Stiffness", "kN/mm"),
    )


def _energy(by_cycle: Mapping[str, list[Any]]) -> dict[str, Any]:
    energy = by_cycle["energy_kn_mm"]
    summed = list(itertools.accumulate(value or 0.0 for value in energy))
    return _drawn(
        "Energy of every load cycle, and their sum up to it. One specimen.",
        ("Load cycle", "", by_cycle["cycle"]),
        {"Energy of the cycle": energy, "Sum": [round(value, 6) for value in summed]},
        ("Energy", "kN·mm"),
    )
