"""Write what a plan adds to a series: factors, levels, forbidden combinations, cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from labmatrix.evidence.services.ledger import plan_change_append
from labmatrix.matrix.domain.design import (
    CellPlan,
    FactorPlan,
    ForbiddenPlan,
    LevelPlan,
    MatrixState,
    combination_key,
)
from labmatrix.matrix.domain.document_json import state_as_json
from labmatrix.matrix.models import Cell, CellLevel, Factor, ForbiddenCombination, Level, Series
from labmatrix.matrix.services.series import series_subject
from labmatrix.web.models import Person

# The rows of levels by factor name and value.
Levels = Mapping[tuple[str, str], Level]


def matrix_extend(
    *,
    actor: Person,
    series: Series,
    before: MatrixState,
    after: MatrixState,
    why: str,
    now: datetime,
    source: Mapping[str, Any] | None = None,
) -> None:
    """Write additions and one ledger entry; only inside ``ledger_transaction``.

    Args:
        actor: who asked; permission was decided by the caller.
        series: whose matrix grows.
        before: what is planned, as read in this transaction.
        after: the same and more; what is there is never changed here.
        why: the reason in the ledger.
        now: the time of the entry.
        source: the file behind it, if one is.
    """
    if before == after:
        return
    added = _additions(before, after)
    _write_factors(series, added.factors)
    levels = {(lv.factor.name, lv.value): lv for lv in _levels(series)}
    for rule in added.forbidden:
        _write_forbidden(series, rule, levels)
    _write_cells(series, added.cells, after, levels)
    body = state_as_json(replace(after, forbidden=added.forbidden, cells=added.cells))
    body["factors"] = [f for f in body["factors"] if f["name"] in {x.name for x in added.factors}]
    plan_change_append(
        actor=str(actor.id),
        subject=series_subject(series),
        before=None,
        after={"added": body} | ({"source": dict(source)} if source else {}),
        why=why,
        now=now,
    )


def _additions(before: MatrixState, after: MatrixState) -> MatrixState:
    """What is in after alone: factors that are new or have grown, rules, cells."""
    return MatrixState(
        factors=tuple(f for f in after.factors if f not in before.factors),
        forbidden=tuple(r for r in after.forbidden if r not in before.forbidden),
        cells=tuple(c for c in after.cells if c.code not in before.by_code),
    )


def _levels(series: Series) -> list[Level]:
    return list(Level.objects.filter(factor__series=series).select_related("factor"))


def _write_factors(series: Series, factors: Sequence[FactorPlan]) -> None:
    have = {factor.name: factor for factor in Factor.objects.filter(series=series)}
    for plan in factors:
        factor = have.get(plan.name)
        if factor is None:
            factor = Factor.objects.create(
                series=series,
                name=plan.name,
                kind=str(plan.kind),
                unit=plan.unit,
                part=str(plan.part),
                is_open=plan.is_open,
                position=Factor.objects.filter(series=series).count(),
            )
        _write_levels(factor, plan.levels)


def _write_levels(factor: Factor, levels: Sequence[LevelPlan]) -> None:
    """Add new levels; positions follow the plan, in which a new number may stand between two."""
    have = {level.value: level for level in Level.objects.filter(factor=factor)}
    moved: list[Level] = []
    for position, plan in enumerate(levels):
        level = have.get(plan.value)
        if level is None:
            Level.objects.create(
                factor=factor,
                value=plan.value,
                number=plan.number,
                code=plan.code,
                label=plan.label,
                is_control=plan.is_control,
                position=position,
            )
        elif level.position != position:
            level.position = position
            moved.append(level)
    Level.objects.bulk_update(moved, ["position"])


def _write_forbidden(series: Series, rule: ForbiddenPlan, levels: Levels) -> None:
    row = ForbiddenCombination.objects.create(
        series=series, combination=combination_key(rule.levels), why=rule.why
    )
    row.levels.set(levels[name, value] for name, value in rule.levels.items())


def _write_cells(
    series: Series, cells: Sequence[CellPlan], state: MatrixState, levels: Levels
) -> None:
    for plan in cells:
        Cell.objects.create(
            series=series,
            code=plan.code,
            replicates=plan.replicates,
            combination=combination_key(state.named(plan.levels)),
            note=plan.note,
        )
    rows = {cell.code: cell for cell in Cell.objects.filter(series=series)}
    CellLevel.objects.bulk_create(
        CellLevel(
            cell=rows[plan.code],
            factor=levels[name, value].factor,
            level=levels[name, value],
        )
        for plan in cells
        for name, value in state.named(plan.levels).items()
    )
    named = [plan for plan in cells if plan.gain_control or plan.conditioning_control]
    for plan in named:
        cell = rows[plan.code]
        cell.gain_control = rows[plan.gain_control] if plan.gain_control else None
        cell.conditioning_control = (
            rows[plan.conditioning_control] if plan.conditioning_control else None
        )
    Cell.objects.bulk_update(
        [rows[plan.code] for plan in named], ["gain_control", "conditioning_control"]
    )
