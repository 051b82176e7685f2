"""Make cells and forbidden combinations from what a person wrote."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.code import CELL_CODE_MAX, cell_code, check_code
from labmatrix.matrix.domain.design import (
    CellPlan,
    Combination,
    FactorPlan,
    ForbiddenPlan,
    MatrixState,
    check_replicates,
    combination_in_words,
    forbidden_by,
)
from labmatrix.matrix.domain.document import CODE, NOTE, REPLICATES, LevelText
from labmatrix.matrix.domain.level_text import find_level, folded, parse_number
from labmatrix.matrix.domain.wording import as_sentence, check_text

NOTE_MAX = 2000
WHY_MAX = 240
NO_CONTROL = frozenset({"none", "-", "–", "—"})


def read_replicates(text: str) -> int:
    """The planned number of specimens that a text says.

    Raises:
        ShapeError: ``matrix.replicates``, or ``input.out-of-range``.
    """
    number = parse_number(text) if text else None
    if number is None or not number.is_integer():
        raise ShapeError(
            "matrix.replicates",
            f"replicates is {text!r}; allowed is a whole number of specimens, also 0."
            if text
            else "The planned number of replicates is missing; 0 is allowed.",
        )
    return check_replicates(int(number))


def read_code(text: str) -> str:
    """The code of a cell that a text says, small letters raised.

    Raises:
        ShapeError: ``code.shape``.
    """
    return check_code(text.upper(), argument="The code", at_most=CELL_CODE_MAX)


def read_note(text: str) -> str:
    """A note, tidied.

    Raises:
        ShapeError: as ``check_text``.
    """
    return check_text(text, argument="The note", at_most=NOTE_MAX, may_be_empty=True, lines=True)


def read_control(text: str, column: str, own: str, codes: Collection[str]) -> str | None:
    """The code of the control that a text names; None for none.

    Args:
        text: what is written; empty, "none" or a dash is none.
        column: gain control or conditioning control.
        own: the code of the cell whose control it is.
        codes: of all cells.

    Raises:
        ShapeError: ``matrix.control-unknown`` or ``matrix.control-itself``.
    """
    if not text or text.lower() in NO_CONTROL:
        return None
    code = text.upper()
    if code == own:
        raise ShapeError(
            "matrix.control-itself",
            f"{own} is named as its own {column}; allowed is another cell, or none.",
        )
    if code not in codes:
        raise ShapeError(
            "matrix.control-unknown",
            f"The {column} is {text!r}; neither the file nor the series has a cell of that code.",
        )
    return code


def says_the_same(column: str, text: str, cell: CellPlan, control: str | None) -> bool:
    """Whether a text of a plain column says what a planned cell has.

    Args:
        column: the column's meaning.
        text: what is written there.
        cell: as it is planned.
        control: the cell's control that the column is about, if it is about one.

    Raises:
        ShapeError: the text cannot be read.
    """
    if column == REPLICATES:
        return read_replicates(text) == cell.replicates
    if column == CODE:
        return read_code(text) == cell.code
    if column == NOTE:
        return read_note(text) == cell.note
    wanted = None if text.lower() in NO_CONTROL else text.upper()
    return wanted == control


def make_cell(state: MatrixState, levels: Combination, plain: Mapping[str, str]) -> CellPlan:
    """A new cell, its controls still open.

    Args:
        state: gives factors and forbidden combinations.
        levels: in the factors' order.
        plain: texts of replicates, code and note, by column.

    Raises:
        UserError: ``matrix.forbidden``, ``code.shape``, ``matrix.replicates``,
            ``input.out-of-range`` or a note that cannot be.
    """
    rule = forbidden_by(state.named(levels), state.forbidden)
    if rule is not None:
        raise ShapeError(
            "matrix.forbidden",
            f"{combination_in_words(state.factors, levels)} is forbidden: {as_sentence(rule.why)}",
            why=rule.why,
        )
    codes = (f.level(v).code for f, v in zip(state.factors, levels, strict=True))
    return CellPlan(
        code=read_code(plain[CODE]) if plain.get(CODE) else cell_code(codes),
        levels=levels,
        replicates=read_replicates(plain.get(REPLICATES, "")),
        note=read_note(plain.get(NOTE, "")),
    )


def make_forbidden(
    factors: Sequence[FactorPlan], levels: Mapping[str, LevelText], why: str
) -> ForbiddenPlan:
    """A rule in the names and values that the factors have.

    Args:
        factors: of the series.
        levels: what never goes together, by the factor's name as written.
        why: the reason, for the person who meets the rule.

    Raises:
        ShapeError: ``matrix.forbidden-small`` for fewer than two factors,
            ``matrix.factor-unknown``, ``matrix.level-unknown``, or a reason that cannot be.
    """
    by_name = {folded(factor.name): factor for factor in factors}
    found: dict[str, str] = {}
    for name, text in levels.items():
        factor = by_name.get(folded(name))
        if factor is None:
            raise ShapeError(
                "matrix.factor-unknown",
                f"{name!r} is no factor of the series; it has "
                f"{', '.join(f.name for f in factors)}.",
            )
        level = find_level(factor, text.text, written_in=text.unit)
        found[factor.name] = level.value if level else factor.level(text.text).value
    if len(found) < 2:
        raise ShapeError(
            "matrix.forbidden-small",
            "A forbidden combination names the levels of two or more factors; a single level is "
            "left out of the factor instead.",
        )
    ordered = {factor.name: found[factor.name] for factor in factors if factor.name in found}
    return ForbiddenPlan(ordered, check_text(why, argument="The reason", at_most=WHY_MAX))
