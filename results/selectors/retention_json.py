"""Retentions and failure modes in the words of the API."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from results.domain.comparison.retained import GroupOf
from results.domain.inference.ratio import Interval
from results.selectors.comparison import INCLUDES, Comparison
from results.selectors.failure_mode import ModeCount
from results.selectors.imported import IMPORTED_CHOICES
from results.selectors.retention import Retained, RetentionRow


def retention_as_dict(
    comparison: Comparison, rows: Sequence[RetentionRow], modes: Sequence[ModeCount]
) -> dict[str, Any]:
    """The API's answer."""
    return {
        "series": comparison.series.code,
        "metric": comparison.metric,
        "method": comparison.method,
        "at": comparison.at,
        "unit": comparison.unit,
        "include": INCLUDES[comparison.include],
        "left_out": list(comparison.left_out),
        "imported": IMPORTED_CHOICES[comparison.imported],
        "reductions": list(comparison.reductions),
        "software": comparison.software,
        "cells": [_row_as_dict(row, comparison.unit) for row in rows],
        "failure_modes": modes_as_list(modes),
    }


def modes_as_list(modes: Sequence[ModeCount]) -> list[dict[str, Any]]:
    """Failure modes by cell."""
    return [
        {
            "cell": mode.cell,
            "scheme": mode.scheme,
            "letter": mode.letter,
            "words": mode.words,
            "end": mode.end,
            "tests": mode.count,
            "specimens": mode.specimens,
        }
        for mode in modes
    ]


def _row_as_dict(row: RetentionRow, unit: str) -> dict[str, Any]:
    return {
        "cell": row.cell.code,
        "levels": dict(row.levels),
        "groups": {role: _group_as_dict(group, unit) for role, group in row.groups.items()},
        "member_retention": _retained_as_dict(row.member),
        "contribution_retention": _retained_as_dict(row.contribution),
    }


def _group_as_dict(group: GroupOf | None, unit: str) -> dict[str, Any] | None:
    if group is None:
        return None
    n = len(group.values)
    mean = None
    if n and group.bound != "mixed":
        mean = {"value": math.fsum(group.values) / n, "unit": unit}
    age = None if group.age_d is None else {"value": group.age_d, "unit": "d"}
    return {
        "cell": group.cell,
        "n": n,
        "imported": group.imported,
        "mean": mean,
        "bound": group.bound or None,
        "age_of_concrete": age,
    }


def _retained_as_dict(retained: Retained) -> dict[str, Any]:
    return {
        "value": retained.retention.value,
        "bound": retained.bound or None,
        "standard_error": None if retained.bound else retained.retention.standard_error,
        "interval": _interval_as_dict(retained.interval),
        "notes": list(retained.notes),
    }


def _interval_as_dict(interval: Interval | None) -> dict[str, Any] | None:
    """Ends are null where the interval is unbounded."""
    if interval is None:
        return None
    bounded = math.isfinite(interval.low) and math.isfinite(interval.high)
    return {
        "low": interval.low if bounded else None,
        "high": interval.high if bounded else None,
        "is_unbounded": not bounded,
        "confidence": interval.confidence,
        "method": interval.method,
    }
