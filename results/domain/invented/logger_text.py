"""How three invented loggers write a table: marks, line ends, encodings, words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
MARK = "INVENTED DATA — Quayside Structures Laboratory demo"


@dataclass(frozen=True)
class LoggerStyle:
    """The habits of one logger.

    Attributes:
        delimiter: between two cells.
        decimal: decimal mark.
        line_end: between two lines.
        encoding: of the text.
        over_range: what stands for a value beyond the range.
    """

    delimiter: str
    decimal: str
    line_end: str
    encoding: str
    over_range: str


SEMICOLONS = LoggerStyle(";", ",", "\r\n", "cp1252", "OVER")
TABS = LoggerStyle("\t", ".", "\n", "utf-8-sig", "+9.90000E+37")
COMMAS = LoggerStyle(",", ".", "\n", "utf-8", "OVL")


@dataclass(frozen=True)
class LoggerColumn:
    """One column as it is written.

    Attributes:
        name: in the names row.
        unit: in the units row.
        decimals: written behind the decimal mark.
        values: in that unit, shape (n,), NaN where the channel is over range.
    """

    name: str
    unit: str
    decimals: int
    values: Floats


def table_bytes(
    style: LoggerStyle, preamble: Sequence[tuple[str, str]], columns: Sequence[LoggerColumn]
) -> bytes:
    """A whole file: the mark, header lines, names, units, rows.

    Args:
        style: how the logger writes.
        preamble: (word, value) of each header line.
        columns: of equal length.
    """
    lines = [MARK, *(f"{word}{style.delimiter}{value}" for word, value in preamble), ""]
    lines.append(style.delimiter.join(column.name for column in columns))
    lines.append(style.delimiter.join(column.unit for column in columns))
    written = (_cells(style, column) for column in columns)
    lines += [style.delimiter.join(row) for row in zip(*written, strict=True)]
    return (style.line_end.join(lines) + style.line_end).encode(style.encoding)


def _cells(style: LoggerStyle, column: LoggerColumn) -> list[str]:
    form = f"%.{column.decimals}f"
    # A rounded minus nothing is written as nothing.
    rounded = np.round(column.values, column.decimals) + 0.0
    cells = ["" if math.isnan(value) else form % value for value in rounded.tolist()]
    if style.decimal != ".":
        cells = [cell.replace(".", style.decimal) for cell in cells]
    return [cell or style.over_range for cell in cells]
