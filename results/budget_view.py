"""An uncertainty budget as a page and the API tell it, in a person's units."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from labmatrix.web.domain.unit_systems import spread_shown, unit_shown
from results.domain.reduction.budget_data import budget_from_dict, coverage_of, shares_of
from results.domain.reduction.cyclic_uncertainty import stiffness_budget
from results.domain.reduction.uncertainty import Budget
from results.models import Metric, Reduction

MONTE_CARLO = "Monte Carlo"
_CANCELS: Mapping[str, str] = {
    "stiffness_ratio": "Scale and zero of a sensor are the same in both cycles and cancel in the "
    "ratio; so they are not in the table, unless the reference is a stiffness from elsewhere.",
    "stiffness_loss": "Scale and zero of a sensor are the same in both cycles and cancel in the "
    "ratio; so they are not in the table, unless the reference is a stiffness from elsewhere.",
    "residual_drift": "The zero of the sensor is the same in both cycles and cancels.",
    "secant_stiffness": "The zeros of the sensors cancel in the ranges of load and deflection.",
    "loop_energy": "The zeros of the sensors cancel around a closed loop.",
}
TAKEN = (
    "Inputs are taken as independent; a certificate that states no degrees of freedom counts as "
    "exact in its own uncertainty. Drift since the calibration, temperature and the choice of a "
    "rule (see settings) are not in it."
)


def budget_said(metric: Metric, system: str) -> dict[str, Any] | None:
    """The budget of a number for its page; None where the number has none.

    Args:
        metric: with its reduction.
        system: the person's unit system; sensitivities are given in its units.
    """
    if metric.budget is None:
        return None
    return budget_rows(budget_from_dict(metric.value, metric.budget), metric.unit, system) | {
        "how": how_said(metric.budget["method"], metric.reduction),
        "left_out": list(left_out(metric.name, metric.reduction)),
    }


def cycle_stiffness_said(
    reduction: Reduction, row: dict[str, Any], system: str
) -> dict[str, Any] | None:
    """The stiffness of any load cycle with its budget; None for a cycle without one.

    Args:
        reduction: cyclic.
        row: the cycle, of the table of all cycles.
        system: the person's unit system.
    """
    if "instruments" not in reduction.settings:
        return None  # reduced before the sensors were kept with the settings
    budget = stiffness_budget(reduction.settings, row)
    if budget is None:
        return None
    return budget_rows(budget, "kN/mm", system) | {
        "value": budget.value,
        "rule": reduction.settings["stiffness"],
        "how": how_said(budget.method, reduction),
        "left_out": list(left_out("secant_stiffness", reduction)),
    }


def budget_rows(budget: Budget, unit: str, system: str) -> dict[str, Any]:
    """Combined and expanded uncertainty, and a row for each source.

    Args:
        budget: of a number.
        unit: of the number, a base unit.
        system: the person's unit system; sensitivities are given in its units.
    """
    rows = [
        {
            "source": row.source,
            "value": row.value,
            "u": row.u,
            "unit": row.unit,
            "sensitivity": sensitivity_shown(row.sensitivity, unit, row.unit, system),
            "sensitivity_unit": _per(unit, row.unit, system),
            "contribution": row.contribution,
            "dof": None if math.isinf(row.dof) else row.dof,
            "percent": 100.0 * share,
        }
        for row, share in zip(budget.rows, shares_of(budget), strict=True)
    ]
    return {
        "rows": rows,
        "u": budget.u,
        "relative_percent": 100.0 * budget.u / abs(budget.value) if budget.value else None,
        "coverage": coverage_of(budget),
        "unit": unit,
    }


def sensitivity_shown(sensitivity: float, result: str, source: str, system: str) -> float:
    """A sensitivity, result unit for each source unit, in the units of a person."""
    return sensitivity * spread_shown(1.0, result, system) / spread_shown(1.0, source, system)


def _per(result: str, source: str, system: str) -> str:
    above, below = unit_shown(result, system), unit_shown(source, system)
    words = "" if above == "1" else above
    return words if below == "1" else f"{words} per {below}".strip()


def how_said(method: str, reduction: Reduction) -> str:
    """By which method a budget was combined, with draws and seed where it was drawn."""
    draws, seed = (reduction.settings.get(f"uncertainty_{name}") for name in ("draws", "seed"))
    drawn = f"{draws} draws, seed {seed}" if draws else ""
    if method == MONTE_CARLO:
        return (
            f"Monte Carlo ({drawn}): the number bends within the uncertainty of its inputs, so all "
            "of them were drawn together. The rows, each by itself and to first order, need not "
            "add up to u."
        )
    words = "First order: u is the root of the sum of the squared contributions"
    if drawn:
        return f"{words}; scatter from {drawn}, sensitivities by moving each input by ± its u."
    return f"{words}; sensitivities in closed form."


def left_out(name: str, reduction: Reduction) -> Iterator[str]:
    """What the uncertainty of a number of this name does not hold, in sentences."""
    for warning in reduction.warnings:
        if str(warning["code"]).startswith("uncertainty.no-"):
            yield str(warning["message"])
    if name in _CANCELS:
        yield _CANCELS[name]
    yield TAKEN


def no_budget_said(metric: Metric) -> str:
    """Why a number has no uncertainty, in a sentence."""
    for warning in metric.reduction.warnings:
        if warning["code"] == "uncertainty.not-found" and metric.name in warning["message"]:
            return str(warning["message"])
    return (
        f"No uncertainty is worked out for {metric.name.replace('_', ' ')} by "
        f"{metric.reduction.name} {metric.reduction.version}."
    )


def budget_as_answer(metric: Metric) -> dict[str, Any] | None:
    """Every row of a number's budget in base units for the API; None where it has none."""
    if metric.budget is None:
        return None
    shares = shares_of(budget_from_dict(metric.value, metric.budget))
    rows = metric.budget["rows"]
    return {
        "rows": [{**row, "share": share} for row, share in zip(rows, shares, strict=True)],
        "how": how_said(metric.budget["method"], metric.reduction),
        "left_out": list(left_out(metric.name, metric.reduction)),
    }
