"""How far a series is against its plan, in counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from django.db.models import Count, Q

from labmatrix.matrix.models import Cell, CellLevel, Series
from specimens.models import Specimen

_COUNTS = ("planned", "made", "in_progress", "ended")


def progress_list(series: Sequence[Series]) -> list[dict[str, Any]]:
    """Counts of planned, made, in progress and ended by series and by cell; three queries.

    Args:
        series: with their programmes.
    """
    ids = [one.pk for one in series]
    counts = {
        row["cell_id"]: row
        for row in Specimen.objects.filter(cell__series__in=ids)
        .order_by()
        .values("cell_id")
        .annotate(
            made=Count("id", filter=~Q(state__stage="planned")),
            ended=Count("id", filter=~Q(state__stage="planned") & ~Q(state__end="")),
        )
    }
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    for row in (
        CellLevel.objects.filter(cell__series__in=ids)
        .select_related("factor", "level")
        .order_by("factor__position", "id")
    ):
        levels[row.cell_id][row.factor.name] = row.level.shown
    cells: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for cell in Cell.objects.filter(series__in=ids).order_by("id"):
        found = counts.get(cell.pk, {"made": 0, "ended": 0})
        cells[cell.series_id].append(
            {
                "cell": cell.code,
                "levels": levels[cell.pk],
                "planned": cell.replicates,
                "made": found["made"],
                "in_progress": found["made"] - found["ended"],
                "ended": found["ended"],
            }
        )
    return [_progress(one, cells[one.pk]) for one in series]


def _progress(series: Series, cells: Sequence[dict[str, Any]]) -> dict[str, Any]:
    decision = series.programme.ends_on
    return {
        "series": series.code,
        "title": series.title,
        "programme": series.programme.code,
        "decision_on": decision.isoformat() if decision else None,
        **{name: sum(cell[name] for cell in cells) for name in _COUNTS},
        "cells": list(cells),
    }
