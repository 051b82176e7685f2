"""The comparison in the words of the API."""

from __future__ import annotations

from typing import Any

from results.domain.comparison.groups import IMPORTED
from results.selectors.comparison import CONTROLS, INCLUDES, Comparison, Row
from results.selectors.imported import IMPORTED_CHOICES


def comparison_as_dict(comparison: Comparison) -> dict[str, Any]:
    """The API's answer."""
    return {
        "series": comparison.series.code,
        "metric": comparison.metric,
        "method": comparison.method,
        "at": comparison.at,
        "unit": comparison.unit,
        "control": CONTROLS[comparison.control],
        "include": INCLUDES[comparison.include],
        "left_out": list(comparison.left_out),
        "imported": IMPORTED_CHOICES[comparison.imported],
        "imported_specimens": list(comparison.imported_codes),
        "reductions": list(comparison.reductions),
        "software": comparison.software,
        "factors": list(comparison.factors),
        "groups": [_row_as_dict(row, comparison.unit) for row in comparison.rows],
    }


def _quantity(value: float | None, unit: str) -> dict[str, Any] | None:
    return None if value is None else {"value": value, "unit": unit}


def _row_as_dict(row: Row, unit: str) -> dict[str, Any]:
    group, compared = row.group, row.against
    return {
        "cell": group.cell,
        "levels": dict(row.levels),
        "n": group.n,
        "imported": group.imported,
        "sub_samples": group.sub_samples,
        "mean": _quantity(group.mean, unit),
        "s": _quantity(group.s, unit),
        "bound": group.bound or None,
        "age_of_concrete": _quantity(group.age_d, "d"),
        "ends": dict(group.ends),
        "gain": compared.gain,
        "gain_bound": compared.bound or None,
        "control": {
            "kind": compared.kind,
            "cell": compared.control or None,
            "n": compared.control_n,
            "imported": compared.control_imported,
            "mean": _quantity(compared.control_mean, unit),
            "age_of_concrete": _quantity(compared.control_age_d, "d"),
        },
        "notes": [*group.notes, *compared.notes],
        "values": [
            {
                "specimen": sample.specimen,
                "value": sample.value,
                "u": sample.u,
                "bound": sample.bound or None,
                "metric": sample.metric_id or None,
                "origin": IMPORTED if sample.imported else "reduced",
            }
            for sample in row.samples
        ],
    }
