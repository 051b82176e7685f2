"""Make factors, and give them levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from labmatrix.evidence.reading.column import known_unit
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import dimension_of
from labmatrix.matrix.domain.design import FactorKind, FactorPart, FactorPlan
from labmatrix.matrix.domain.document import (
    PLAIN_COLUMNS,
    DeclaredFactor,
    DeclaredLevel,
    FactorColumn,
)
from labmatrix.matrix.domain.document_sheet import column_meaning
from labmatrix.matrix.domain.level_text import (
    find_level,
    is_numeric,
    new_level,
    with_level,
)
from labmatrix.matrix.domain.wording import check_text

NAME_MAX = 40
LABEL_MAX = 80


def check_factor_name(name: str) -> str:
    """The name itself, tidied.

    Raises:
        ShapeError: ``matrix.factor-name``, or as ``check_text``.
    """
    tidy = check_text(name, argument="The name of a factor", at_most=NAME_MAX)
    if column_meaning(tidy) is not None or any(mark in tidy for mark in "[]{}<>|"):
        raise ShapeError(
            "matrix.factor-name",
            f"A factor is named {tidy!r}; allowed is a name without brackets or bars that is none "
            f"of {', '.join(PLAIN_COLUMNS)}.",
            name=tidy,
        )
    return tidy


def check_unit(kind: FactorKind, unit: str, *, name: str) -> str:
    """Our spelling of a numeric factor's unit; empty for a bare number.

    Raises:
        ShapeError: ``unit.unknown``, or ``unit.mismatch`` for a unit on names.
    """
    spelled = (known_unit(unit) or unit) if unit else "1"
    dimension_of(spelled)
    if spelled == "1":
        return ""
    if kind is FactorKind.NAMED:
        raise ShapeError(
            "unit.mismatch",
            f"{name} has names for levels and takes no unit; asked was {spelled}.",
            factor=name,
        )
    return spelled


def make_factor(
    *,
    name: str,
    kind: FactorKind,
    unit: str = "",
    part: FactorPart = FactorPart.OTHER,
    is_open: bool = False,
    levels: Sequence[DeclaredLevel] = (),
    control: str | None = None,
) -> FactorPlan:
    """A factor with its levels.

    Args:
        name: as columns are headed.
        kind: whether levels are numbers or names.
        unit: of the numbers.
        part: what it changes.
        is_open: whether a matrix file may bring further levels.
        levels: in order; numbers may be in another unit of the same dimension.
        control: the level that means none, if one does.

    Raises:
        ShapeError: a name, unit or level that cannot be; ``matrix.level-unknown`` for a control
            that is not among the levels.
    """
    tidy = check_factor_name(name)
    factor = FactorPlan(
        tidy, kind, (), unit=check_unit(kind, unit, name=tidy), part=part, is_open=is_open
    )
    for asked in levels:
        factor = add_level(factor, asked)
    return with_control(factor, control)


def factor_of_declared(declared: DeclaredFactor) -> FactorPlan:
    """The factor that a JSON file declares.

    Raises:
        ShapeError: as ``make_factor``.
    """
    return make_factor(
        name=declared.name,
        kind=declared.kind,
        unit=declared.unit,
        part=declared.part,
        is_open=declared.is_open,
        levels=declared.levels,
        control=declared.control,
    )


def factor_of_column(column: FactorColumn, texts: Sequence[str]) -> FactorPlan:
    """The factor, still without levels, that a heading and the texts below it describe.

    Numeric if the heading has a unit or every text is a number; its part is not known.

    Raises:
        ShapeError: a name or unit that cannot be.
    """
    written = [text for text in texts if text]
    numeric = bool(column.unit) or (bool(written) and all(is_numeric(text) for text in written))
    kind = FactorKind.NUMERIC if numeric else FactorKind.NAMED
    return make_factor(name=column.name, kind=kind, unit=column.unit)


def add_level(factor: FactorPlan, asked: DeclaredLevel) -> FactorPlan:
    """The factor with one more level.

    Raises:
        ShapeError: as ``new_level``, and as ``check_text`` for its texts.
    """
    label = check_text(
        asked.label, argument=f"A label of {factor.name}", at_most=LABEL_MAX, may_be_empty=True
    )
    level = new_level(factor, asked.value, written_in=asked.unit, code=asked.code, label=label)
    return with_level(factor, level)


def with_control(factor: FactorPlan, control: str | None) -> FactorPlan:
    """The factor with this level, and no other, meaning none.

    Raises:
        ShapeError: ``matrix.level-unknown``.
    """
    chosen = None
    if control is not None:
        found = find_level(factor, control)
        chosen = found.value if found else factor.level(control).value
    levels = tuple(replace(lv, is_control=lv.value == chosen) for lv in factor.levels)
    return replace(factor, levels=levels)
