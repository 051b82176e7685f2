"""What the header and the rows of a table mean."""

from __future__ import annotations

from collections.abc import Sequence

from labmatrix.evidence.reading.column import bare_name, known_unit, unit_in_name
from labmatrix.matrix.domain.document import (
    CODE,
    NOTE,
    PLAIN_COLUMNS,
    REPLICATES,
    FactorColumn,
    LevelText,
    MatrixDocument,
    RawRow,
    RowProblem,
)
from labmatrix.matrix.domain.level_text import folded
from labmatrix.matrix.domain.sheet import Sheet

_SPELLINGS = {
    "n": REPLICATES,
    "replicate": REPLICATES,
    "cell": CODE,
    "cell code": CODE,
    "notes": NOTE,
}


def column_meaning(heading: str) -> str | None:
    """Which of the plain columns a heading names; None for a factor."""
    name = folded(heading.replace("_", " ").replace("-", " "))
    name = _SPELLINGS.get(name, name)
    return name if name in PLAIN_COLUMNS else None


def document_of_sheet(sheet: Sheet) -> MatrixDocument:
    """What a table says: factor columns, and the plain ones in any order and case."""
    problems: list[RowProblem] = []
    meanings: list[str | FactorColumn | None] = []
    seen: set[str] = set()
    for heading in sheet.header.cells:
        meaning = column_meaning(heading) or _factor_column(heading)
        name = folded(meaning.name if isinstance(meaning, FactorColumn) else meaning or "")
        if name in seen and name:
            problems.append(
                RowProblem(
                    sheet.header.number,
                    heading,
                    "matrix.column-twice",
                    f"The column {heading!r} is there twice; each column is allowed once.",
                )
            )
        seen.add(name)
        meanings.append(meaning)
    rows = tuple(
        _raw_row(row.number, row.cells, sheet.header.cells, meanings, problems)
        for row in sheet.rows
    )
    return MatrixDocument(
        columns=tuple(m for m in meanings if isinstance(m, FactorColumn)),
        rows=rows,
        header_row=sheet.header.number,
        problems=tuple(problems),
    )


def _factor_column(heading: str) -> FactorColumn | None:
    name = bare_name(heading)
    unit = unit_in_name(heading) or ""
    return FactorColumn(name, known_unit(unit) or unit) if name else None


def _raw_row(
    number: int,
    cells: Sequence[str],
    headings: Sequence[str],
    meanings: Sequence[str | FactorColumn | None],
    problems: list[RowProblem],
) -> RawRow:
    levels: dict[str, LevelText] = {}
    plain: dict[str, str] = {}
    for position, text in enumerate(cells):
        meaning = meanings[position] if position < len(meanings) else None
        if isinstance(meaning, FactorColumn):
            levels[folded(meaning.name)] = LevelText(text, meaning.unit)
        elif meaning is not None:
            plain[meaning] = text
        elif text:
            problems.append(
                RowProblem(
                    number,
                    "",
                    "matrix.column-unnamed",
                    f"Column {position + 1} holds {text!r} and has no heading; the header names "
                    f"{len([h for h in headings if h])} columns.",
                )
            )
    return RawRow(number, levels, plain)
