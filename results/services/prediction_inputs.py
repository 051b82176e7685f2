"""Everything that goes into a prediction, gathered once and hashed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from conditioning.models import Machine
from labmatrix.matrix.domain.route import Route, StageKind
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import cell_get_levels, cell_get_route
from results.domain.materials.resolve import Material
from results.domain.planned_member import Known
from results.domain.prediction.predict import MECHANICS, VERSION
from results.selectors.prediction_rules import rules_of_series
from specimens.models import Specimen

_LOADING_STAGES = frozenset(
    {StageKind.PRE_CRACK, StageKind.STRENGTHEN, StageKind.SUSTAIN, StageKind.CYCLE}
)
# Stored with every prediction; what is not named here follows the mechanics' own defaults.
OPTIONS: Mapping[str, Any] = {"block": "parabolic"}
# Draws of the Monte Carlo run, and their seed.
SAMPLES, SEED = 10_000, 20_260_101
Rigs = list[dict[str, Any]]
Rules = Mapping[str, Any]


def rigs_known() -> Rigs:
    """The laboratory's rigs whose dynamic performance was measured, by code."""
    rigs = Machine.objects.filter(kind=Machine.Kind.RIG).order_by("code")
    told = rigs.values_list("code", "dynamic_performance")
    return [{"code": code, "performance": points} for code, points in told if points]


def _stages(route: Route) -> list[dict[str, Any]]:
    return [s.as_dict() for s in route.stages() if s.kind in _LOADING_STAGES]


def cell_inputs(cell: Cell, rigs: Rigs, rules: Rules | None = None) -> dict[str, Any]:
    """What the key of a cell's prediction covers, as JSON-ready data: all as specified.

    Args:
        cell: with its series.
        rigs: as ``rigs_known`` gives them.
        rules: of the series, where they were read at once.

    Raises:
        ShapeError: the series' route cannot be followed with the cell's levels.
    """
    subject = f"{cell.series.code}/{cell.code}"
    known = Known(cell.series.member, {})
    return _inputs(subject, cell, cell_get_route(cell), known, rigs, rules=rules)


def specimen_inputs(
    specimen: Specimen,
    cell: Cell,
    rigs: Rigs,
    materials: Sequence[Material],
    rules: Rules | None = None,
) -> dict[str, Any]:
    """What the key of a specimen's prediction covers: measured values in their place.

    Args:
        specimen: its route and member are those that were frozen when it was created.
        cell: of the specimen, with its series.
        rigs: as ``rigs_known`` gives them.
        rules: of the series, where they were read at once.
        materials: what the lots in it give, as ``materials_of_specimens`` finds them.
    """
    known = Known(specimen.member, specimen.measured)
    found = _inputs(specimen.code, cell, specimen.planned_route, known, rigs, rules=rules)
    return found | {"materials": [material.as_input() for material in materials]}


def _inputs(
    subject: str, cell: Cell, route: Route, known: Known, rigs: Rigs, *, rules: Rules | None
) -> dict[str, Any]:
    stages = _stages(route)
    return {
        "subject": subject,
        "member": {"specified": dict(known.specified), "measured": dict(known.measured)},
        "levels": cell_get_levels(cell),
        "stages": stages,
        # A rig matters only where load cycles are planned: buying one leaves other keys alone.
        "rigs": rigs if any(s["stage"] == StageKind.CYCLE for s in stages) else [],
        "options": {**OPTIONS, **(rules_of_series(cell.series) if rules is None else rules)},
        "spread": {"samples": SAMPLES, "seed": SEED},
        "mechanics": {"name": MECHANICS, "version": VERSION},
    }
