"""An uncertainty budget as data to be stored and given away, and back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from results.domain.reduction.uncertainty import Budget, BudgetRow

LEVEL = 0.95


def _finite(dof: float) -> float | None:
    return None if math.isinf(dof) else dof


def budget_as_dict(budget: Budget) -> dict[str, Any]:
    """A budget JSON-ready; degrees of freedom are None where they are infinite."""
    return {
        "u": budget.u,
        "dof": _finite(budget.dof),
        "method": budget.method,
        "rows": [
            {
                "source": row.source,
                "value": row.value,
                "u": row.u,
                "unit": row.unit,
                "sensitivity": row.sensitivity,
                "contribution": row.contribution,
                "dof": _finite(row.dof),
            }
            for row in budget.rows
        ],
    }


def _dof(told: float | None) -> float:
    return math.inf if told is None else told


def budget_from_dict(value: float, told: Mapping[str, Any]) -> Budget:
    """A budget from ``budget_as_dict`` and the result that it belongs to."""
    return Budget(
        value=value,
        u=told["u"],
        dof=_dof(told["dof"]),
        method=told["method"],
        rows=tuple(BudgetRow(**{**row, "dof": _dof(row["dof"])}) for row in told["rows"]),
    )


@lru_cache(maxsize=1024)
def _factor(whole_dof: float, level: float) -> float:
    return Budget(0.0, 0.0, whole_dof, ()).coverage_factor(level)


def coverage_of(budget: Budget, level: float = LEVEL) -> dict[str, Any]:
    """Expanded uncertainty of a budget, JSON-ready.

    Args:
        budget: of a number.
        level: two-sided.

    Returns:
        {"level", "k", "U", "dof", "method"}: k is Student's t at the effective degrees of freedom
        cut to a whole number (JCGM 100, G.4), U = k·u in the unit of the number, dof None where
        they are infinite.
    """
    whole = budget.dof if math.isinf(budget.dof) else max(1.0, math.floor(budget.dof))
    k = _factor(whole, level)
    return {
        "level": level,
        "k": k,
        "U": k * budget.u,
        "dof": _finite(budget.dof),
        "method": budget.method,
    }


def shares_of(budget: Budget) -> list[float]:
    """Share of each row in the sum of the squared contributions, 0 to 1; zeros for no doubt."""
    total = math.fsum(row.contribution**2 for row in budget.rows)
    return [row.contribution**2 / total if total > 0.0 else 0.0 for row in budget.rows]
