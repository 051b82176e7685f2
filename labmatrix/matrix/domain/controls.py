"""Which cell is whose control, and which twin is missing.

The *gain control* of a strengthened cell is the unstrengthened twin with the same exposure,
cycling and age; the *conditioning control* of a conditioned cell is the same strengthening, not
conditioned. Both follow from the part that each factor plays and from its level that means none.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from labmatrix.matrix.domain.design import (
    CellPlan,
    Combination,
    FactorPart,
    FactorPlan,
    MatrixState,
    combination_in_words,
    forbidden_by,
)
from labmatrix.matrix.domain.wording import as_sentence

MISSING_GAIN = (
    "{cell} has no unstrengthened twin with the same conditioning: {wanted} is not in the "
    "matrix. Without it the gain under these conditions and the retention of the fabric's "
    "contribution cannot be given."
)
MISSING_CONDITIONING = (
    "{cell} has no unconditioned twin with the same strengthening: {wanted} is not in the "
    "matrix. Without it no retention can be given."
)
FORBIDDEN = " That combination is forbidden: {why}"
NONE_PLANNED = "{cell} names {control} as {kind}, for which no specimens are planned."
DIFFERENT = "{cell} names {control} as {kind}, which differs from it also in {factors}."
NOT_NAMED = "{cell} names no {kind}, though {control} would be one."


@dataclass(frozen=True)
class Kind:
    """One of the two kinds of control."""

    name: str
    part: FactorPart
    missing: str


GAIN = Kind("gain control", FactorPart.STRENGTHENING, MISSING_GAIN)
CONDITIONING = Kind("conditioning control", FactorPart.CONDITIONING, MISSING_CONDITIONING)


@dataclass(frozen=True)
class Remark:
    """Something about a cell's controls that a lead should know, in words.

    Attributes:
        twin: the combination to plan that would put it right; None where none would.
    """

    cell: str
    kind: str
    words: str
    twin: Combination | None = None


def is_subject(kind: Kind, combination: Combination, factors: Sequence[FactorPlan]) -> bool:
    """Whether a cell needs this kind of control: some factor of that part is not at none."""
    return any(
        factor.part is kind.part and factor.control is not None and factor.control.value != value
        for factor, value in zip(factors, combination, strict=True)
    )


def twin_of(kind: Kind, combination: Combination, factors: Sequence[FactorPlan]) -> Combination:
    """The same levels with every factor of that part at its level that means none."""
    return tuple(
        factor.control.value if factor.part is kind.part and factor.control else value
        for factor, value in zip(factors, combination, strict=True)
    )


def _is_free(kind: Kind, factor: FactorPlan) -> bool:
    """Whether a strengthening factor without a none says nothing about no strengthening.

    The kind of mortar, say: the unstrengthened member has no mortar, whichever a file had to
    write.
    """
    return kind is GAIN and factor.part is FactorPart.STRENGTHENING and factor.control is None


def _has_free_factor(kind: Kind, factors: Sequence[FactorPlan]) -> bool:
    return any(_is_free(kind, factor) for factor in factors)


def _is_twin(
    kind: Kind, wanted: Combination, other: Combination, factors: Sequence[FactorPlan]
) -> bool:
    """Whether other will do for the twin that is wanted."""
    return all(
        have == want or _is_free(kind, factor)
        for factor, want, have in zip(factors, wanted, other, strict=True)
    )


def find_control(kind: Kind, combination: Combination, state: MatrixState) -> CellPlan | None:
    """The cell that is the control of this combination; None where it needs or has none."""
    if not is_subject(kind, combination, state.factors):
        return None
    wanted = twin_of(kind, combination, state.factors)
    exact = state.by_levels.get(wanted)
    if exact is not None or not _has_free_factor(kind, state.factors):
        return exact
    return next((c for c in state.cells if _is_twin(kind, wanted, c.levels, state.factors)), None)


def with_controls(
    state: MatrixState, *, gain: Collection[str], conditioning: Collection[str]
) -> MatrixState:
    """The state with empty controls filled from the cells that the matrix holds.

    Args:
        state: all that is planned.
        gain: codes of the cells whose gain control may be filled.
        conditioning: codes of the cells whose conditioning control may be filled.
    """
    found: dict[tuple[str, Combination], str | None] = {}

    def control(kind: Kind, cell: CellPlan) -> str | None:
        key = (kind.name, twin_of(kind, cell.levels, state.factors))
        if not is_subject(kind, cell.levels, state.factors):
            return None
        if key not in found:
            other = find_control(kind, cell.levels, state)
            found[key] = other.code if other else None
        return found[key]

    def filled(cell: CellPlan) -> CellPlan:
        if cell.gain_control is None and cell.code in gain:
            cell = replace(cell, gain_control=control(GAIN, cell))
        if cell.conditioning_control is None and cell.code in conditioning:
            cell = replace(cell, conditioning_control=control(CONDITIONING, cell))
        return cell

    return replace(state, cells=tuple(filled(cell) for cell in state.cells))


def remarks(state: MatrixState) -> tuple[Remark, ...]:
    """What to know about the controls of every cell for which specimens are planned."""
    found: list[Remark] = []
    for cell in state.cells:
        if cell.replicates == 0:
            continue
        for kind, named in ((GAIN, cell.gain_control), (CONDITIONING, cell.conditioning_control)):
            words = (
                _of_named(kind, cell, state.by_code[named], state)
                if named is not None
                else _of_unnamed(kind, cell, state)
            )
            if words:
                found.append(Remark(cell.code, kind.name, words, _to_plan(kind, cell, state)))
    return tuple(found)


def _of_unnamed(kind: Kind, cell: CellPlan, state: MatrixState) -> str:
    if not is_subject(kind, cell.levels, state.factors):
        return ""
    control = find_control(kind, cell.levels, state)
    if control is not None:
        return NOT_NAMED.format(cell=cell.code, kind=kind.name, control=control.code)
    wanted = twin_of(kind, cell.levels, state.factors)
    words = kind.missing.format(cell=cell.code, wanted=combination_in_words(state.factors, wanted))
    rule = forbidden_by(state.named(wanted), state.forbidden)
    return words + (FORBIDDEN.format(why=as_sentence(rule.why)) if rule else "")


def _to_plan(kind: Kind, cell: CellPlan, state: MatrixState) -> Combination | None:
    """The missing twin, if it may be planned."""
    if not is_subject(kind, cell.levels, state.factors):
        return None
    wanted = twin_of(kind, cell.levels, state.factors)
    is_there = find_control(kind, cell.levels, state) is not None
    rule = forbidden_by(state.named(wanted), state.forbidden)
    return None if is_there or rule is not None else wanted


def _of_named(kind: Kind, cell: CellPlan, control: CellPlan, state: MatrixState) -> str:
    said = {"cell": cell.code, "control": control.code, "kind": kind.name}
    if control.replicates == 0:
        return NONE_PLANNED.format(**said)
    different = [
        factor.name
        for factor, mine, other in zip(state.factors, cell.levels, control.levels, strict=True)
        if mine != other and factor.part in _SHARED[kind.name]
    ]
    return DIFFERENT.format(**said, factors=" and ".join(different)) if different else ""


_SHARED = {
    GAIN.name: frozenset({FactorPart.CONDITIONING, FactorPart.MEMBER}),
    CONDITIONING.name: frozenset({FactorPart.STRENGTHENING, FactorPart.MEMBER}),
}
