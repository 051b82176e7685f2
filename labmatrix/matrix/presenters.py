"""Rows as the API shows them."""

from __future__ import annotations

from typing import Any

from labmatrix.kernel.units import quantity
from labmatrix.matrix.domain.controls import remarks
from labmatrix.matrix.domain.design import FactorPlan, MatrixState
from labmatrix.matrix.models import Cell, Factor, Level
from labmatrix.matrix.selectors.cell import cell_entries
from labmatrix.matrix.selectors.programme import ProgrammeSeen
from labmatrix.matrix.selectors.series import SeriesSeen
from labmatrix.web.domain.roles import Action, Role, allowed


def programme_row(seen: ProgrammeSeen) -> dict[str, Any]:
    """A programme as lists show it."""
    programme = seen.programme
    return {
        "code": programme.code,
        "title": programme.title,
        "sponsor_question": programme.sponsor_question,
        "starts_on": programme.starts_on,
        "ends_on": programme.ends_on,
        "is_invented": programme.is_invented,
        "role": str(seen.role),
        "series_count": seen.series_count,
        "cell_count": seen.cell_count,
        "planned": seen.planned,
    }


def series_row(seen: SeriesSeen) -> dict[str, Any]:
    """A series as lists show it."""
    series = seen.series
    return {
        "code": series.code,
        "programme": series.programme.code,
        "title": series.title,
        "specimen_type": series.specimen_type,
        "code_template": series.code_template,
        "cell_count": seen.cell_count,
        "planned": seen.planned,
    }


def factor_shape(factor: FactorPlan) -> dict[str, Any]:
    """A factor with its levels."""
    return {
        "name": factor.name,
        "kind": str(factor.kind),
        "unit": factor.unit,
        "part": str(factor.part),
        "open": factor.is_open,
        "control": factor.control.value if factor.control else None,
        "levels": [
            {"value": lv.value, "number": lv.number, "code": lv.code, "label": lv.label}
            for lv in factor.levels
        ],
    }


def series_detail(seen: SeriesSeen, state: MatrixState, role: Role | None) -> dict[str, Any]:
    """A series with all but its cells; remarks are for those who work in the programme."""
    said = remarks(state) if allowed(role, Action.SEE_WORK) else ()
    return series_row(seen) | {
        "route": seen.series.route,
        "member": seen.series.member,
        "responses": seen.series.responses,
        "factors": [factor_shape(factor) for factor in state.factors],
        "forbidden": [{"levels": dict(r.levels), "why": r.why} for r in state.forbidden],
        "remarks": [{"cell": r.cell, "kind": r.kind, "words": r.words} for r in said],
    }


def cell_row(cell: Cell, role: Role | None) -> dict[str, Any]:
    """A cell as lists show it; its note is for those who work in the programme."""
    return {
        "code": cell.code,
        "series": cell.series.code,
        "programme": cell.series.programme.code,
        "levels": {e.factor.name: _level(e.factor, e.level) for e in cell_entries(cell)},
        "replicates": cell.replicates,
        "gain_control": cell.gain_control.code if cell.gain_control else None,
        "conditioning_control": (
            cell.conditioning_control.code if cell.conditioning_control else None
        ),
        "note": cell.note if allowed(role, Action.SEE_WORK) else "",
    }


def _level(factor: Factor, level: Level) -> str | dict[str, Any]:
    return level.value if level.number is None else quantity(level.number, factor.unit or "1")
