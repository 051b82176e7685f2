"""From the text of a level to its value: numbers in the factor's unit, names as they are."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

from labmatrix.evidence.reading.cells import NumberForm
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import convert
from labmatrix.matrix.domain.code import (
    check_level_code,
    distinct_code,
    named_level_code,
    numeric_level_code,
)
from labmatrix.matrix.domain.design import FactorKind, FactorPlan, LevelPlan
from labmatrix.matrix.domain.wording import check_text

VALUE_MAX = 60
LEVELS_MAX = 100
_DOT, _COMMA = NumberForm("."), NumberForm(",")
_THOUSANDS = re.compile(r"^[+-−]?[1-9][0-9]{0,2}(,[0-9]{3})+\Z")
_DASHES = re.compile(r"[\u2010-\u2015\u2212]")


def folded(text: str) -> str:
    """A name as it is compared: case, kinds of dash and runs of blanks make no difference."""
    plain = _DASHES.sub("-", unicodedata.normalize("NFKC", text))
    return " ".join(plain.split()).casefold()


def number_text(number: float) -> str:
    """The text of a level's number: twelve significant digits at most, no trailing zeros."""
    return f"{number + 0.0:.12g}"


def parse_number(text: str) -> float | None:
    """The number that a text is, with a decimal dot or comma; None where it is none.

    Raises:
        ShapeError: ``matrix.number-ambiguous`` for a text such as 1,000.
    """
    stripped = text.strip()
    if _THOUSANDS.match(stripped):
        raise ShapeError(
            "matrix.number-ambiguous",
            f"{stripped!r} may be a thousand or a decimal; write 1000, 1.0 or 1,0 so that it can "
            "mean one thing only.",
            value=stripped,
        )
    number = _DOT.number(stripped)
    return _COMMA.number(stripped) if number is None else number


def is_numeric(text: str) -> bool:
    """Whether a text can be read as a number, ambiguous ones included."""
    try:
        return parse_number(text) is not None
    except ShapeError:
        return True


def read_number(factor: str, text: str, *, unit: str, written_in: str = "") -> float:
    """A level's number in the factor's unit.

    Args:
        factor: its name, for the sentence of a refusal.
        text: what is written.
        unit: of the factor; empty for a bare number.
        written_in: the unit of the text; empty for the factor's own.

    Raises:
        ShapeError: ``matrix.number``, ``matrix.number-ambiguous``, ``unit.unknown`` or
            ``unit.mismatch``.
    """
    number = parse_number(text)
    if number is None or abs(number) > 1e12:
        where = f" in {written_in or unit}" if written_in or unit else ""
        raise ShapeError(
            "matrix.number",
            f"{factor} is {text!r}; allowed is a number{where}.",
            factor=factor,
            value=text,
        )
    if written_in:
        number = convert(number, written_in, unit or "1")
    return float(number_text(number))


def read_name(factor: str, text: str) -> str:
    """A level's name, blanks tidied.

    Raises:
        ShapeError: ``matrix.level-missing``, or as ``check_text``.
    """
    name = " ".join(text.split())
    if not name:
        raise ShapeError("matrix.level-missing", f"{factor} has no level here.", factor=factor)
    return check_text(name, argument=f"A level of {factor}", at_most=VALUE_MAX)


def find_level(factor: FactorPlan, text: str, *, written_in: str = "") -> LevelPlan | None:
    """The level that a text means, or None where the factor has none like it.

    Raises:
        ShapeError: as ``read_number`` and ``read_name``; ``unit.mismatch`` for a unit on names.
    """
    if factor.kind is FactorKind.NAMED:
        if written_in:
            raise ShapeError(
                "unit.mismatch",
                f"{factor.name} has names for levels and takes no unit; the heading says "
                f"{written_in}.",
                factor=factor.name,
            )
        wanted = folded(read_name(factor.name, text))
        return next((lv for lv in factor.levels if folded(lv.value) == wanted), None)
    if not text.strip():
        raise ShapeError(
            "matrix.level-missing", f"{factor.name} has no level here.", factor=factor.name
        )
    value = number_text(read_number(factor.name, text, unit=factor.unit, written_in=written_in))
    return next((lv for lv in factor.levels if lv.value == value), None)


def new_level(
    factor: FactorPlan,
    text: str,
    *,
    written_in: str = "",
    code: str = "",
    label: str = "",
    is_control: bool = False,
) -> LevelPlan:
    """A level that a factor does not have yet, with a code of its own.

    Raises:
        ShapeError: as ``find_level``; ``matrix.level-twice``, ``matrix.level-code-twice`` or
            ``matrix.too-many-levels``.
    """
    if find_level(factor, text, written_in=written_in) is not None:
        raise ShapeError(
            "matrix.level-twice", f"{factor.name} has the level {text!r} already.", value=text
        )
    if len(factor.levels) >= LEVELS_MAX:
        raise ShapeError(
            "matrix.too-many-levels",
            f"{factor.name} has {LEVELS_MAX} levels already, which is as many as a factor can "
            "have; a column with more is rarely one.",
            factor=factor.name,
        )
    taken = {level.code for level in factor.levels}
    if code and check_level_code(code) in taken:
        raise ShapeError(
            "matrix.level-code-twice",
            f"The code {code} belongs to another level of {factor.name} already.",
            value=code,
        )
    if factor.kind is FactorKind.NAMED:
        name = read_name(factor.name, text)
        return LevelPlan(
            value=name,
            code=code or distinct_code(named_level_code(name), taken),
            label=label,
            is_control=is_control,
        )
    number = read_number(factor.name, text, unit=factor.unit, written_in=written_in)
    value = number_text(number)
    return LevelPlan(
        value=value,
        code=code or distinct_code(numeric_level_code(factor.name, value), taken),
        number=number,
        label=label,
        is_control=is_control,
    )


def with_level(factor: FactorPlan, level: LevelPlan) -> FactorPlan:
    """The factor with one more level: numbers ascend, names keep the order of their arrival."""
    levels = (*factor.levels, level)
    if factor.kind is FactorKind.NUMERIC:
        levels = tuple(sorted(levels, key=lambda lv: lv.number or 0.0))
    return replace(factor, levels=levels)
