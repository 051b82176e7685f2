"""The measured curve of one record with the points that made its numbers, as data to draw."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from labmatrix.evidence.models import Record
from results.models import Metric, Reduction
from results.presenters import cycle_address

Payload = dict[str, Any]
# More names than these would cover the curve; the table below the figure has them all.
_NAMES_SHOWN = 8
_MARGIN = 0.04
# Names of points nearer than these shares of the drawing would lie on each other.
_WIDE, _HIGH = 0.15, 0.05
# A longer name than this, in letters, does not fit beside its point on a telephone.
_NAME_LENGTH = 38


def axis(title: str, values: Iterable[float | None] = (), *, zero: bool = False) -> dict[str, Any]:
    """An axis with its title; with values also the range that holds them.

    Args:
        title: quantity and unit.
        values: everything that is drawn; None for a gap.
        zero: begin at zero where nothing lies clearly below it.
    """
    known = [value for value in values if value is not None]
    found: dict[str, Any] = {"title": {"text": title}}
    if not known:
        return found
    low, high = min(known), max(known)
    span = (high - low) or abs(high) or 1.0
    start = low - _MARGIN * span
    if zero and low > -_MARGIN * span / 2:
        start = 0.0
    return found | {"range": [start, high + _MARGIN * span]}


def marked_curve(reduction: Reduction, chosen: Mapping[str, Any] | None = None) -> Payload:
    """The curve of a reduction; looking closer fetches every row in view.

    Args:
        reduction: whose curve and marks.
        chosen: the point of one metric, drawn alone and named "this number".
    """
    lines = _lines(reduction)
    marks = [chosen] if chosen else [m for m in reduction.marks if m]
    name = "this number" if chosen else "found points"
    traces = [*lines, *([_marks(marks, name)] if marks else [])]
    return _payload(reduction, traces, {"url": _address(reduction)})


def _lines(reduction: Reduction) -> list[dict[str, Any]]:
    curve, reduced = reduction.curve, reduction.curve.get("reduced")
    look = {"role": "raw"} if reduced else {"level": 0}
    raw = {
        "x": curve["x"],
        "y": curve["y"],
        "name": "as measured",
        "meta": {**look, "line": "raw"},
    }
    if not reduced:
        is_thinned = len(curve["x"]) < curve["of_rows"]
        drawn = raw | {"line": {"width": 1}} if is_thinned else raw
        return [drawn, *_envelopes(curve)]
    is_envelope = reduction.name == "envelope"
    name = "envelope of each side" if is_envelope else "after zero, seating and settlement"
    return [raw, {**reduced, "name": name, "meta": {"level": 0, "line": "reduced"}}]


def _envelopes(curve: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Both envelopes of a reversed test with their curves of equal energy; none elsewhere."""
    traces: list[dict[str, Any]] = []
    for level, (side, drawn) in enumerate(curve.get("envelope", {}).items(), 1):
        name = f"envelope, {side} side"
        line = {"x": drawn["x"], "y": drawn["y"], "name": name, "meta": {"level": level}}
        traces.append(line | {"mode": "lines+markers"})
        if ideal := drawn.get("idealised"):
            words = f"equal energy, {side} side"
            traces.append({**ideal, "name": words, "meta": {"role": "prediction"}})
    return traces


def _payload(
    reduction: Reduction, traces: list[dict[str, Any]], finer: Mapping[str, Any]
) -> Payload:
    curve = reduction.curve
    is_load = curve["y_title"].startswith("load")
    x = [value for trace in traces for value in trace["x"]]
    y = [value for trace in traces for value in trace["y"]]
    layout = {
        "xaxis": axis(_title(curve["x_title"]), x, zero=is_load),
        "yaxis": axis(_title(curve["y_title"]), y, zero=is_load),
    }
    kind = "load-deflection" if is_load else ""
    return {"data": traces, "layout": layout, "kind": kind, "finer": dict(finer)}


def _address(reduction: Reduction, **rows: int) -> str:
    path = reverse("api:record-curve", args=[reduction.record_id])
    return f"{path}?{urlencode({'key': reduction.key, **rows})}"


def _title(text: str) -> str:
    return (text[:1].upper() + text[1:]).replace("[", "(").replace("]", ")")


def _marks(points: Sequence[Mapping[str, Any]], name: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "x": [p["deflection_mm"] for p in points],
        "y": [p["load_kn"] for p in points],
        "text": [p["label"] for p in points],
        "name": name,
        "meta": {"role": "mark"},
    }
    if len(points) > _NAMES_SHOWN:
        return found | {"mode": "markers"}
    names = {"text": names_joined(points), "hovertext": found["text"]}
    return found | names | {"textposition": _name_places(points)}


def names_joined(points: Sequence[Mapping[str, Any]]) -> list[str]:
    """A name for each point; of points so near that their names would lie on each other, the one
    farthest right names all, from the left.

    Args:
        points: {"deflection_mm", "load_kn", "label"} each.
    """
    x, y = ([float(p[name]) for p in points] for name in ("deflection_mm", "load_kn"))
    width, height = _WIDE * (max(x) - min(0.0, *x)), _HIGH * (max(y) - min(0.0, *y))

    def is_near(k: int, j: int) -> bool:
        return abs(x[k] - x[j]) < width and abs(y[k] - y[j]) < height

    groups: list[list[int]] = []
    for k in sorted(range(len(points)), key=lambda k: x[k]):
        near = [group for group in groups if any(is_near(k, j) for j in group)]
        groups = [group for group in groups if group not in near]
        groups.append(sorted([*(j for group in near for j in group), k], key=lambda j: x[j]))
    names = [""] * len(points)
    for group in groups:
        names[group[-1]] = _name_of([points[j]["label"] for j in group])
    return names


def _name_of(labels: Sequence[str]) -> str:
    """One name for all: ``yield: gauge, secant75``; where it is too long, that of the last."""
    split = [label.split(" ") for label in labels]
    shared = list(
        itertools.takewhile(lambda words: len(set(words)) == 1, zip(*split, strict=False))
    )
    tails = [" ".join(words[len(shared) :]) for words in split]
    if len(labels) == 1:
        return labels[0]
    head = " ".join(words[0] for words in shared).rstrip(",")
    name = f"{head}: {', '.join(tails)}" if head and all(tails) else "; ".join(labels)
    return name if len(name) <= _NAME_LENGTH else f"{labels[-1]} and {len(labels) - 1} more"


def _name_places(points: Sequence[Mapping[str, Any]]) -> list[str]:
    """Where each name stands: off the rising and the falling branch, and off the next name."""
    x = [p["deflection_mm"] for p in points]
    peak = max(range(len(points)), key=lambda k: points[k]["load_kn"])
    near = 0.3 * (max(x) - min(x))
    places = ["bottom right" if x[k] < x[peak] else "bottom left" for k in range(len(points))]
    rising = sorted((k for k in range(len(points)) if x[k] < x[peak]), key=lambda k: x[k])
    for k, following in itertools.pairwise(rising):
        if x[following] - x[k] < near and places[k] == "bottom right" and x[k] > near / 2:
            places[k] = "top left"
    places[peak] = "top left" if x[peak] == max(x) else "top center"
    return places


def cycle_curve(metric: Metric) -> Payload | None:
    """The load cycle of a metric alone, every row of it; None where the metric has none.

    The rows are those from before the valley of the cycle to after its end, as far as its valley
    and peak tell.
    """
    reduction = metric.reduction
    ends = [m for m in reduction.marks if m and m["label"].endswith(f" of cycle {metric.at}")]
    if metric.at is None or len(ends) < 2:
        return None
    first, half = min(m["index"] for m in ends), abs(ends[0]["index"] - ends[1]["index"])
    rows = (max(0, first - half // 2), first + 2 * half + half // 2)
    return _cycle(reduction, metric.at, ends, rows)


def table_cycle_curve(reduction: Reduction, row: Mapping[str, Any]) -> Payload:
    """A load cycle of the table of all cycles alone, from its valley to the next, every row."""
    ends = [
        {
            "deflection_mm": row[f"{end}_deflection_mm"],
            "load_kn": row[f"{end}_load_kn"],
            "label": end,
        }
        for end in ("valley", "peak")
    ]
    return _cycle(reduction, row["cycle"], ends, (row["valley_index"], row["next_valley_index"]))


def _cycle(
    reduction: Reduction, number: int, ends: Sequence[Mapping[str, Any]], rows: tuple[int, int]
) -> Payload:
    curve, (first, last) = reduction.curve, rows
    inside = [k for k, row in enumerate(curve["rows"]) if first <= row <= last]
    line = {name: [curve[name][k] for k in inside] for name in ("x", "y")}
    name = f"load cycle {number}, as measured"
    traces = [
        {**line, "name": name, "meta": {"level": 0, "line": "raw"}},
        _marks(ends, "valley and peak"),
    ]
    address = _address(reduction, from_row=first, to_row=last)
    return _payload(reduction, traces, {"url": address, "at_once": True})


def stiffness_curve(metrics: Iterable[Metric], record: Record | None = None) -> Payload | None:
    """Secant stiffness of one record by load cycle; None where it has none.

    Args:
        metrics: of one reduction.
        record: whose points lead to the page of their load cycle; None where they lead nowhere.
    """
    points = [m for m in metrics if m.name == "secant_stiffness" and m.at is not None]
    if not points:
        return None
    trace: dict[str, Any] = {
        "x": [m.at for m in points],
        "y": [m.value for m in points],
        "name": points[0].method,
        "mode": "lines+markers",
        "meta": {"level": 0},
    }
    if record is not None:
        trace["customdata"] = [cycle_address(record, m.at or 0) for m in points]
    if all(m.u for m in points):
        trace["error_y"] = {"type": "data", "array": [m.u for m in points]}
    layout = {"xaxis": axis("Load cycle"), "yaxis": axis("Secant stiffness (kN/mm)", trace["y"])}
    return {"data": [trace], "layout": layout, "kind": "cycles"}


def curve_caption(reduction: Reduction, chosen: str = "") -> str:
    """What the figure shows, in a sentence or two.

    Args:
        reduction: with its record and subject.
        chosen: the name of the one number that is marked; empty where all points are.
    """
    curve = reduction.curve
    y, x = (curve[f"{name}_title"].partition(" [")[0] for name in ("y", "x"))
    subject = reduction.record.subject.code
    found = f"the point of {chosen}" if chosen else "the points found"
    marked = f", with {found}" if any(reduction.marks) else ""
    drawn, rows = len(curve["rows"]), curve["of_rows"]
    how = f"all {rows} rows" if drawn == rows else f"{drawn} of {rows} rows, every extreme kept"
    closer = "" if drawn == rows else "; looking closer fetches every row"
    words = f"{y} over {x} of {subject}{marked}. One specimen, {how}{closer}."
    return words[:1].upper() + words[1:]


def marks_table(reduction: Reduction, ending: str = "") -> dict[str, Any]:
    """The found points as a table: the figure's alternative in words.

    Args:
        reduction: whose points.
        ending: only those whose label ends so.
    """
    marks = [m for m in reduction.marks if m and m["label"].endswith(ending)]
    name, _, unit = str(reduction.curve.get("x_title") or "deflection [mm]").partition(" [")
    return {
        "caption": "Points found on the curve.",
        "columns": [
            {"label": "Point", "kind": "text"},
            {"label": "Row of the record", "digits": 12},
            {"label": name.capitalize(), "unit": unit.rstrip("]") or "1", "digits": 6},
            {"label": "Load", "unit": "kN", "digits": 6},
        ],
        "rows": [[m["label"], m["index"], m["deflection_mm"], m["load_kn"]] for m in marks],
    }
