"""How far a series is against its plan, in counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from django.db.models import Count, Q

from labmatrix.matrix.models import Cell, CellLevel, Level, Series
from specimens.models import Specimen

_COUNTS = ("planned", "made", "in_progress", "ended")


def progress_list(series: Sequence[Series]) -> list[dict[str, Any]]:
    """Counts of planned, made, in progress and ended by series and by cell; four queries.

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
    shown = _levels_shown(ids)
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    entries = CellLevel.objects.filter(cell__series__in=ids).order_by("factor__position", "id")
    for cell, factor, level in entries.values_list("cell_id", "factor__name", "level_id"):
        levels[cell][factor] = shown[level]
    cells: dict[int, list[dict[str, Any]]] = defaultdict(list)
    planned = Cell.objects.filter(series__in=ids).order_by("id")
    for key, owner, code, replicates in planned.values_list("id", "series", "code", "replicates"):
        found = counts.get(key, {"made": 0, "ended": 0})
        cells[owner].append(
            {
                "cell": code,
                "levels": levels[key],
                "planned": replicates,
                "made": found["made"],
                "in_progress": found["made"] - found["ended"],
                "ended": found["ended"],
            }
        )
    return [_progress(one, cells[one.pk]) for one in series]


def _levels_shown(series: Sequence[int]) -> dict[int, str]:
    """How each level of some series is shown; one query."""
    return {level.pk: level.shown for level in Level.objects.filter(factor__series__in=series)}


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
