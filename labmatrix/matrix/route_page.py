"""The route of a cell as pages show it."""

from __future__ import annotations

from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.route import Parallel, Route, Stage
from labmatrix.matrix.domain.wording import named_value_in_words
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import cell_get_route


def route_or_problem(cell: Cell) -> tuple[Route, str]:
    """The route of a cell's specimens, or the sentence that says why there is none."""
    try:
        return cell_get_route(cell), ""
    except ShapeError as error:
        return Route(()), error.message


def route_steps(route: Route) -> list[list[list[dict[str, Any]]]]:
    """The route as a page shows it: steps, in each the branches, in each the stages."""
    return [
        [[_stage(stage) for stage in branch] for branch in step.branches]
        if isinstance(step, Parallel)
        else [[_stage(step)]]
        for step in route.steps
    ]


def _stage(stage: Stage) -> dict[str, Any]:
    said = stage.as_dict()
    settings = {name: value for name, value in said.items() if name not in ("stage", "optional")}
    return {
        "kind": str(stage.kind),
        "is_optional": stage.is_optional,
        "settings": [named_value_in_words(name, value) for name, value in sorted(settings.items())],
    }
