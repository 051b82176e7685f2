"""The JSON form of a matrix, read and written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.design import FactorKind, FactorPart, MatrixState
from labmatrix.matrix.domain.document import (
    PLAIN_COLUMNS,
    WHOLE_FILE,
    DeclaredFactor,
    DeclaredForbidden,
    DeclaredLevel,
    FactorColumn,
    LevelText,
    MatrixDocument,
    RawRow,
    RowProblem,
)
from labmatrix.matrix.domain.level_text import folded, number_text

NUMBER_MAX = 1e15


def state_as_json(state: MatrixState) -> dict[str, Any]:
    """A series' matrix in the JSON form that can be read back: {factors, forbidden, cells}."""
    return {
        "factors": [
            {
                "name": f.name,
                "kind": str(f.kind),
                "unit": f.unit,
                "part": str(f.part),
                "open": f.is_open,
                "control": f.control.value if f.control else None,
                "levels": [
                    {"value": lv.setting, "code": lv.code, "label": lv.label} for lv in f.levels
                ],
            }
            for f in state.factors
        ],
        "forbidden": [{"levels": dict(r.levels), "why": r.why} for r in state.forbidden],
        "cells": [
            {
                "levels": {
                    f.name: f.level(v).setting
                    for f, v in zip(state.factors, cell.levels, strict=True)
                },
                "code": cell.code,
                "replicates": cell.replicates,
                "gain_control": cell.gain_control or "none",
                "conditioning_control": cell.conditioning_control or "none",
                "note": cell.note,
            }
            for cell in state.cells
        ],
    }


def document_of_json(data: Any) -> MatrixDocument:
    """What the JSON form says: {"factors": […], "forbidden": […], "cells": […]}.

    A level is a text, a number or a quantity {"value": …, "unit": …}. Rows are counted from 1 in
    each list.

    Raises:
        ShapeError: ``matrix.json-shape`` when a part is not of the kind that it should be.
    """
    whole = _mapping(data, "The file", {"factors", "forbidden", "cells"})
    declared = tuple(
        _declared(n, item) for n, item in enumerate(_list(whole.get("factors"), "factors"), 1)
    )
    problems: list[RowProblem] = []
    rows: list[RawRow] = []
    names = {folded(factor.name): factor.name for factor in declared}
    for number, item in enumerate(_list(whole.get("cells"), "cells"), start=1):
        try:
            row, written = _json_row(number, item)
        except ShapeError as error:
            problems.append(RowProblem.of(number, "cells", error))
            continue
        rows.append(row)
        if not declared:
            names.update({folded(name): name for name in written if folded(name) not in names})
    return MatrixDocument(
        columns=tuple(FactorColumn(name) for name in names.values()),
        rows=tuple(rows),
        declared=declared,
        forbidden=tuple(
            _forbidden(n, item)
            for n, item in enumerate(_list(whole.get("forbidden"), "forbidden"), 1)
        ),
        header_row=WHOLE_FILE,
        problems=tuple(problems),
    )


def _refused(where: str, words: str) -> ShapeError:
    return ShapeError("matrix.json-shape", f"{where} {words}", place=where)


def _mapping(value: Any, where: str, allowed: set[str]) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise _refused(where, f"is {value!r}; allowed is an object.")
    extra = sorted(set(map(str, value)) - allowed)
    if extra:
        raise _refused(where, f"has {', '.join(extra)}; allowed are {', '.join(sorted(allowed))}.")
    return value


def _list(value: Any, where: str) -> Sequence[Any]:
    if value is None:
        return ()
    if not isinstance(value, list | tuple):
        raise _refused(where, f"is {value!r}; allowed is a list.")
    return value


def _text(value: Any, where: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _refused(where, f"is {value!r}; allowed is a text or a number.")
    if isinstance(value, str):
        return value.strip()
    if not abs(value) < NUMBER_MAX:
        raise _refused(where, "is a number beyond 1e15; allowed are smaller ones.")
    return number_text(value)


def _level(value: Any, where: str) -> LevelText:
    if isinstance(value, Mapping):
        said = _mapping(value, where, {"value", "unit"})
        return LevelText(_text(said.get("value"), where), _text(said.get("unit"), where))
    return LevelText(_text(value, where))


def _json_row(number: int, item: Any) -> tuple[RawRow, list[str]]:
    where = f"cells, row {number},"
    allowed = {"levels", *(name.replace(" ", "_") for name in PLAIN_COLUMNS)}
    said = _mapping(item, where, allowed)
    levels = said.get("levels")
    if not isinstance(levels, Mapping):
        raise _refused(where, f"has levels as {levels!r}; allowed is an object by factor name.")
    plain = {
        name: _text(said.get(name.replace(" ", "_")), where)
        for name in PLAIN_COLUMNS
        if name.replace(" ", "_") in said
    }
    names = [str(name) for name in levels]
    texts = {folded(str(name)): _level(v, f"{where} {name}") for name, v in levels.items()}
    return RawRow(number, texts, plain), names


def _declared(number: int, item: Any) -> DeclaredFactor:
    where = f"factors, row {number},"
    said = _mapping(item, where, {"name", "kind", "unit", "part", "open", "control", "levels"})
    try:
        kind = FactorKind(said.get("kind", FactorKind.NAMED))
        part = FactorPart(said.get("part", FactorPart.OTHER))
    except ValueError as error:
        raise _refused(
            where,
            f"has {error}; allowed kinds are {', '.join(FactorKind)}, allowed parts "
            f"{', '.join(FactorPart)}.",
        ) from error
    is_open = said.get("open", False)
    if not isinstance(is_open, bool):
        raise _refused(where, f"has open as {is_open!r}; allowed is true or false.")
    control = said.get("control")
    return DeclaredFactor(
        row=number,
        name=_text(said.get("name"), where),
        kind=kind,
        unit=_text(said.get("unit"), where),
        part=part,
        is_open=is_open,
        control=None if control is None else _text(control, where),
        levels=tuple(_declared_level(lv, where) for lv in _list(said.get("levels"), where)),
    )


def _declared_level(item: Any, where: str) -> DeclaredLevel:
    if isinstance(item, Mapping):
        said = _mapping(item, where, {"value", "unit", "code", "label"})
        return DeclaredLevel(
            *(_text(said.get(name), where) for name in ("value", "unit", "code", "label"))
        )
    return DeclaredLevel(_text(item, where))


def _forbidden(number: int, item: Any) -> DeclaredForbidden:
    where = f"forbidden, row {number},"
    said = _mapping(item, where, {"levels", "why"})
    levels = said.get("levels")
    if not isinstance(levels, Mapping):
        raise _refused(where, f"has levels as {levels!r}; allowed is an object by factor name.")
    return DeclaredForbidden(
        number,
        {str(name): _level(v, f"{where} {name}") for name, v in levels.items()},
        _text(said.get("why"), where),
    )
