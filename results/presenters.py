"""Numbers, settings and maps as the pages of this room put them into words and rows."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.urls import reverse

from labmatrix.evidence.models import Record
from labmatrix.evidence.reading.preview import ColumnLook
from labmatrix.kernel.clock import parse_instant
from results.domain.small_curve import Frame, path_of
from results.models import Metric, Reduction
from results.services.inputs import inputs_apart
from results.services.methods import method_named
from specimens.domain.member_words import member_said
from specimens.domain.wording import Said, payload_said

_PLOT_WIDTH, _PLOT_HEIGHT = 260.0, 64.0


_ORDER = (
    "first_crack_load", "first_crack_deflection", "yield_load", "yield_deflection", "peak_load",
    "peak_deflection", "ultimate_deflection", "initial_stiffness", "cracked_stiffness",
    "post_yield_stiffness", "ductility_deflection", "energy_to_yield", "energy_to_peak",
    "energy_to_ultimate", "energy_to_end", "ductility_energy", "cycle_peak_load",
    "cycle_valley_load", "secant_stiffness", "stiffness_ratio", "stiffness_loss", "loop_energy",
    "residual_deflection", "residual_drift", "frequency", "load_error", "settles_at",
    "counted_cycles", "largest_range", "half_cycle_share", "damage", "envelope_peak_load",
    "envelope_peak_deflection", "envelope_yield_load", "envelope_yield_deflection",
    "envelope_ultimate_deflection", "envelope_stiffness", "envelope_ductility",
)  # fmt: skip
_PLACES = {name: place for place, name in enumerate(_ORDER)}


def place_of(name: str) -> tuple[int, str]:
    """Where a kind of number stands as a test goes on; by this numbers are sorted."""
    return _PLACES.get(name, len(_ORDER)), name


def in_order(metrics: Iterable[Metric]) -> list[Metric]:
    """Numbers as a test goes on: first crack, yield, peak, ultimate, stiffness, energy."""
    return sorted(metrics, key=lambda m: (place_of(m.name), m.method, m.at or 0))


def words_of(name: str) -> str:
    """``peak_load`` as a person says it."""
    return name.replace("_", " ")


def metric_words(metric: Metric) -> str:
    """A number's name with its method and load cycle."""
    method = f" ({metric.method})" if metric.method else ""
    at = f" at load cycle {metric.at}" if metric.at is not None else ""
    return f"{words_of(metric.name)}{method}{at}"


def metric_cell(metric: Metric) -> dict[str, Any]:
    """A number as a cell of a data table that leads to its page."""
    return {
        "value": metric.value,
        "u": metric.u,
        "bound": metric.bound,
        "url": reverse("results:metric", args=[metric.pk]),
    }


def cycle_address(record: Record, number: int) -> str:
    """The page of one load cycle."""
    return f"{reverse('results:record-cycle', args=[record.pk])}?number={number}"


def _cycle_cell(at: int, record: Record | None) -> Any:
    return at if record is None else {"value": at, "url": cycle_address(record, at)}


def cycles_table(metrics: Iterable[Metric], record: Record | None = None) -> dict[str, Any] | None:
    """Numbers by load cycle: a row for each cycle, a column for each name and method.

    Args:
        metrics: of one reduction.
        record: whose cycles have pages to lead to; None where they have none.
    """
    by_cycle: dict[int, dict[tuple[str, str], Metric]] = {}
    columns: dict[tuple[str, str], str] = {}
    for metric in metrics:
        if metric.at is None:
            continue
        key = (metric.name, metric.method)
        columns.setdefault(key, metric.unit)
        by_cycle.setdefault(metric.at, {})[key] = metric
    if not by_cycle:
        return None
    return {
        "caption": "Numbers by load cycle; each leads to where it comes from.",
        "columns": [
            {"label": "Load cycle", "digits": 15},
            *(
                {"label": f"{words_of(name)}{f', {method}' if method else ''}", "unit": unit}
                for (name, method), unit in columns.items()
            ),
        ],
        "rows": [
            [
                _cycle_cell(at, record),
                *(metric_cell(found[key]) if key in found else None for key in columns),
            ]
            for at, found in sorted(by_cycle.items())
        ],
    }


_PLACES_IN_RECORD = ("valley_index", "peak_index", "next_valley_index")


def cycle_facts(
    columns: Sequence[Mapping[str, str]], row: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """What was measured of one load cycle: name, value and unit; the rows of the record last."""
    facts = []
    for column in columns:
        name, value = column["name"], row[column["name"]]
        if name in ("cycle", "file", "part"):
            continue
        words = name_and_unit(name)[0].replace("index", "at row")
        if isinstance(value, bool):
            value = "yes" if value else "no"
        facts.append({"name": words, "value": value, "unit": column["unit"], "key": name})
    return sorted(facts, key=lambda fact: fact["key"] in _PLACES_IN_RECORD)


def cycle_table(row: Mapping[str, Any]) -> dict[str, Any]:
    """Valley and peak of one load cycle, in numbers."""
    return {
        "columns": [
            {"label": "Point", "kind": "text"},
            {"label": "Row of the record", "digits": 15},
            {"label": "Deflection", "unit": "mm", "digits": 6},
            {"label": "Load", "unit": "kN", "digits": 6},
        ],
        "rows": [
            [end, row[f"{end}_index"], row[f"{end}_deflection_mm"], row[f"{end}_load_kn"]]
            for end in ("valley", "peak")
        ],
    }


def setting_text(value: Any) -> str:
    """A setting's value as it may be typed into the form, without JSON's marks where it can."""
    if isinstance(value, str):
        return value
    if isinstance(value, list | tuple):
        return ", ".join(setting_text(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "not given" if value is None else json.dumps(value, ensure_ascii=False)


_UNITS_IN_NAMES = (
    ("_kn_mm", "kN/mm"), ("_kn", "kN"), ("_mm", "mm"), ("_s", "s"), ("_hz", "Hz"), ("_mpa", "MPa"),
)  # fmt: skip


def name_and_unit(name: str) -> tuple[str, str]:
    """``noise_load_kn`` as "noise load" and "kN"; no unit where the name has none."""
    for ending, unit in _UNITS_IN_NAMES:
        if name.endswith(ending):
            return words_of(name.removesuffix(ending)), unit
    return words_of(name), ""


def settings_rows(reduction: Reduction) -> list[dict[str, Any]]:
    """Each setting with the value used, its unit and its rule; what the record gave comes last."""
    words = {w.name: w for w in method_named(reduction.name).settings.describe()}
    rows = []
    for name, value in reduction.settings.items():
        if name in _NOT_SETTINGS:
            continue
        known = words.get(name)
        said, unit = name_and_unit(name)
        if known and known.unit != "1":
            unit = known.unit
        rows.append(
            {
                "name": said,
                "value": _setting_said(value),
                "unit": "" if value in _NOT_GIVEN else unit,
                "rule": known.rule if known else "Found in the record.",
                "is_default": known is not None and _same(known.default, value),
                "is_found": known is None,
            }
        )
    return sorted(rows, key=lambda row: bool(row["is_found"]))


# Kept beside the settings for other pages: what is known of the sensors, and the files by place.
_NOT_SETTINGS = frozenset({"instruments", "file_names"})
_NOT_GIVEN: tuple[Any, ...] = (None, "", (), [])


def _setting_said(value: Any) -> str:
    if value in _NOT_GIVEN:
        return "not given"
    return f"{value:.6g}" if isinstance(value, float) else setting_text(value)


def _same(default: Any, value: Any) -> bool:
    return list(default) == list(value) if isinstance(default, list | tuple) else default == value


def zero_text(zero: Any) -> str:
    """The zero of a channel in words."""
    if isinstance(zero, Mapping):
        first = zero["first"]
        return "first reading" if first == 1 else f"mean of the first {first} readings"
    return f"{zero:.12g}"


def channel_rows(entries: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """A channel map's entries with sign, scale and zero in words."""
    return [
        {
            **entry,
            "sign": "as it counts" if entry["sign"] == 1 else "turned round",
            "scale": f"{entry['scale']:.12g}",
            "zero": zero_text(entry["zero"]),
        }
        for entry in entries
    ]


def sensor_rows(inputs: Mapping[str, Any], listed: Sequence[str]) -> list[dict[str, Any]]:
    """Each sensor that a reduction named, with its calibration and what it measured.

    Args:
        inputs: of the reduction.
        listed: serials that the laboratory has a page for.
    """
    entries = inputs["channel_map"]["entries"]
    return [
        {
            **row,
            "calibrated_at": _instant(row.get("calibrated_at")),
            "columns": [e["column"] for e in entries if e.get("sensor") == row["sensor"]],
            "is_listed": row["sensor"] in listed,
        }
        for row in inputs["calibrations"]
    ]


def _instant(text: str | None) -> datetime | None:
    """Inputs are kept as JSON, in which an instant is text."""
    return None if text is None else parse_instant(text, argument="calibrated_at")


def history_rows(reductions: Iterable[Reduction]) -> list[dict[str, Any]]:
    """Reductions of one record with the settings that were asked for, in words."""
    return [
        {"reduction": row, "asked": payload_said(json.loads(row.inputs)["settings"])}
        for row in reductions
    ]


def others_rows(
    metric: Metric, others: Iterable[Metric], inputs: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """The same number by other reductions, beside this one: how far apart, and by what inputs.

    Args:
        metric: the number.
        others: numbers of the same name, method and cycle of the same record.
        inputs: of the number's own reduction.
    """
    return [
        {
            "metric": other,
            "difference": other.value - metric.value,
            "percent": 100.0 * (other.value / metric.value - 1.0) if metric.value else None,
            "apart": inputs_apart(json.loads(other.reduction.inputs), inputs),
        }
        for other in others
    ]


def member_of_inputs(inputs: Mapping[str, Any]) -> tuple[Said, ...]:
    """The specimen as measured, as it stood among the inputs."""
    return tuple(member_said(inputs["specimen"].get("member", {})).values())


def column_drawing(column: ColumnLook) -> dict[str, Any]:
    """One column over its rows, as the path of a small drawing with its limits."""
    low, high = column.minimum, column.maximum
    found: dict[str, Any] = {"width": _PLOT_WIDTH, "height": _PLOT_HEIGHT, "path": ""}
    if low is None or high is None or len(column.plot_rows) == 0:
        return found
    first, last = int(column.plot_rows[0]), int(column.plot_rows[-1])
    frame = Frame(float(max(last - first, 1)), (high - low) or 1.0, _PLOT_WIDTH, _PLOT_HEIGHT)
    rows = [float(row - first) for row in column.plot_rows]
    values = [float(value - low) for value in column.plot_values]
    return found | {"path": path_of(rows, values, frame, at_most=400)}
