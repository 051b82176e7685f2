"""Everything that a release freezes, as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from labmatrix import __version__
from labmatrix.kernel.errors import RuleBroken
from labmatrix.matrix.models import Series
from results.domain.moved_numbers import whose
from results.figures import Overlay, load_deflection_overlay, stiffness_overlay
from results.selectors.comparison import Comparison, comparison_get
from results.selectors.comparison_json import comparison_as_dict
from results.selectors.failure_mode import failure_mode_list
from results.selectors.retention import retention_list
from results.selectors.retention_json import modes_as_list, retention_as_dict

NOTHING = (
    "No specimen of {series} has a value of {metric} yet, so there is nothing to release of it."
)
LOAD_CAPTION = "Load over mid-span deflection, {whose}; controls dashed in ink."
STIFFNESS_CAPTION = (
    "Secant stiffness as a share of the first cycle measured of each specimen, {whose}; "
    "controls dashed in ink."
)


@dataclass(frozen=True)
class MetricAsked:
    """One number to be released: its name, how it was found, at which load cycle."""

    metric: str
    method: str = ""
    at: int | None = None


def snapshot_get(
    *, series: Series, metrics: Sequence[MetricAsked], control: str, include: str, imported: str
) -> dict[str, Any]:
    """Comparison, retention, failure modes and figures of a series as they stand.

    Args:
        series: with its programme.
        metrics: at least one.
        control, include, imported: as for the comparison.

    Raises:
        ShapeError: an unknown choice.
        RuleBroken: ``release.nothing`` for a metric without a value.
    """
    tables = [
        comparison_get(
            series=series, metric=asked.metric, method=asked.method, at=asked.at,
            control=control, include=include, imported=imported,
        )
        for asked in metrics
    ]  # fmt: skip
    for table in tables:
        if not any(row.group.n for row in table.rows):
            words = NOTHING.format(series=series.code, metric=table.metric.replace("_", " "))
            raise RuleBroken("release.nothing", words, metric=table.metric)
    kept = set(tables[0].kept)
    return {
        "series": series.code,
        "series_title": series.title,
        "programme": series.programme.code,
        "is_invented": series.programme.is_invented,
        "what": {
            "metrics": [asdict(asked) for asked in metrics],
            "control": control,
            "include": include,
            "imported": imported,
        },
        "results": [_result(table) for table in tables],
        "failure_modes": modes_as_list(failure_mode_list(series, kept)),
        "figures": figure_list(series, kept),
        "software": __version__,
    }


def _result(table: Comparison) -> dict[str, Any]:
    retention = retention_as_dict(table, retention_list(table), ())
    del retention["failure_modes"]
    return {"comparison": comparison_as_dict(table), "retention": retention}


def figure_list(series: Series, kept: set[str]) -> dict[str, dict[str, Any]]:
    """The figures of a series that have a curve, by name: caption, n, cells, payload, table.

    Args:
        series: the series.
        kept: codes of the specimens drawn.
    """
    drawn = {
        "load-deflection": (load_deflection_overlay(series, kept), LOAD_CAPTION),
        "stiffness": (stiffness_overlay(series, kept), STIFFNESS_CAPTION),
    }
    return {name: _figure(*figure) for name, figure in drawn.items() if figure[0].n}


def _figure(overlay: Overlay, caption: str) -> dict[str, Any]:
    return {
        "caption": caption.format(whose=whose(overlay.n, overlay.cells)),
        "n": overlay.n,
        "cells": overlay.cells,
        "payload": overlay.payload,
        "table": overlay.table,
    }
