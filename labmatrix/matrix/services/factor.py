"""Add factors and levels; say what a factor changes and which of its levels means none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.design import FactorKind, FactorPart, FactorPlan
from labmatrix.matrix.domain.document import DeclaredLevel
from labmatrix.matrix.domain.factor_plan import add_level, make_factor, with_control
from labmatrix.matrix.domain.level_text import folded, number_text
from labmatrix.matrix.models import Factor, Level, Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get_state
from labmatrix.matrix.services.matrix_extend import matrix_extend
from labmatrix.matrix.services.series import check_why, series_subject
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

CELLS_EXIST = (
    "The series {series} has cells already, which would have no level of {name}; a new factor "
    "needs a new series."
)


def factor_add(
    *,
    actor: Person,
    series: Series,
    name: str,
    kind: FactorKind,
    unit: str = "",
    part: FactorPart = FactorPart.OTHER,
    levels: Sequence[str | float | DeclaredLevel] = (),
    control: str | float | None = None,
    is_open: bool = False,
    now: datetime,
) -> Factor:
    """Add a factor with its levels to a series that has no cells yet.

    Args:
        actor: a lead of the programme.
        series: the series.
        name: as columns of a matrix file are headed.
        kind: numeric or named.
        unit: of the numbers.
        part: what the factor changes.
        levels: texts, numbers in the factor's unit, or levels with code, label and unit.
        control: the level that means none, if one does.
        is_open: whether a matrix file may bring further levels.
        now: the time of the ledger's entry.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: a name, unit or level that cannot be.
        RuleBroken: ``factor.name-taken`` or ``factor.cells-exist``.
    """
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        factor = make_factor(
            name=name,
            kind=kind,
            unit=unit,
            part=part,
            is_open=is_open,
            levels=[_declared(level) for level in levels],
            control=None if control is None else _declared(control).value,
        )
        before = series_get_state(series)
        if folded(factor.name) in {folded(f.name) for f in before.factors}:
            raise RuleBroken(
                "factor.name-taken", f"The series has the factor {factor.name} already."
            )
        if before.cells:
            raise RuleBroken(
                "factor.cells-exist", CELLS_EXIST.format(series=series.code, name=factor.name)
            )
        after = replace(before, factors=(*before.factors, factor))
        matrix_extend(
            actor=actor, series=series, before=before, after=after, why="factor added", now=now
        )
    return Factor.objects.get(series=series, name=factor.name)


def level_add(
    *,
    actor: Person,
    factor: Factor,
    value: str | float,
    unit: str = "",
    code: str = "",
    label: str = "",
    now: datetime,
) -> Level:
    """Add a level to a factor, open or not: here a lead says so by hand.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: ``matrix.level-twice`` or a text, code or unit that cannot be.
    """
    series = factor.series
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        before = series_get_state(series)
        old = next(f for f in before.factors if f.name == factor.name)
        asked = replace(_declared(value), unit=unit, code=code, label=label)
        grown = add_level(old, asked)
        factors = tuple(grown if f is old else f for f in before.factors)
        after = replace(before, factors=factors)
        matrix_extend(
            actor=actor, series=series, before=before, after=after, why="level added", now=now
        )
    added = next(level for level in grown.levels if level not in old.levels)
    return Level.objects.get(factor=factor, value=added.value)


def factor_change(
    *,
    actor: Person,
    factor: Factor,
    part: FactorPart,
    control: str | float | None,
    is_open: bool,
    why: str,
    now: datetime,
) -> Factor:
    """Change what a factor is for: its part, its level that means none, whether it is open.

    Controls that cells name already stay as they are.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: ``matrix.level-unknown``, or a reason that cannot be.
    """
    series = factor.series
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        reason = check_why(why)
        old = next(f for f in series_get_state(series).factors if f.name == factor.name)
        text = None if control is None else _declared(control).value
        new = with_control(replace(old, part=part, is_open=is_open), text)
        if new == old:
            return factor
        Level.objects.filter(factor=factor, is_control=True).update(is_control=False)
        if new.control:
            Level.objects.filter(factor=factor, value=new.control.value).update(is_control=True)
        factor.part, factor.is_open = str(part), is_open
        factor.save(update_fields=["part", "is_open"])
        plan_change_append(
            actor=str(actor.id),
            subject=series_subject(series),
            before=_purpose(old),
            after=_purpose(new),
            why=reason,
            now=now,
        )
    return factor


def _purpose(factor: FactorPlan) -> dict[str, Any]:
    return {
        "factor": factor.name,
        "part": str(factor.part),
        "control": factor.control.value if factor.control else None,
        "open": factor.is_open,
    }


def _declared(level: str | float | DeclaredLevel) -> DeclaredLevel:
    if isinstance(level, DeclaredLevel):
        return level
    if isinstance(level, bool) or not isinstance(level, str | int | float):
        raise ShapeError(
            "matrix.level",
            f"A level is {level!r}; allowed is a text or a number.",
            value=str(level),
        )
    return DeclaredLevel(level if isinstance(level, str) else number_text(level))
