"""The quickest path: a large block of plain numbers, parsed by compiled code on two threads.

Exact by construction: digits are gathered as a whole number below 2^53 and divided or multiplied
once by a power of ten up to 10^22, both exact in float64, so that the one rounding is the correct
one (Clinger, "How to read floating point numbers accurately", PLDI 1990; recalled, not re-read).
Whatever is not of that kind (words, quotes, more digits) is left to the next path.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER
from labmatrix.evidence.reading.layout import Layout, Piece

# Below this size the start of the compiler would cost more than it saves.
LEAST_BYTES = 1 << 21
_POWERS = 10.0 ** np.arange(23)

_DIGIT_0, _DIGIT_9, _BLANK, _TAB, _FEED = 48, 57, 32, 9, 10
_PLUS, _MINUS, _UPPER_E, _LOWER_E = 43, 45, 69, 101
_MOST_WHOLE, _MOST_POWER = 9_007_199_254_740_991, 22


def read_compiled(data: bytes, first_line: int, layout: Layout, findings: Findings) -> Piece | None:
    """The rows of a block of plain numbers and empty cells, or None for any other block.

    Args:
        data: lines in UTF-8, each ended by a line feed.
        first_line: number of the first line.
        layout: what each column holds.
        findings: takes note of missing values; untouched where None is given.
    """
    dialect = layout.dialect
    plain = all(kind == NUMBER for kind in layout.kinds) and not dialect.ends_with_delimiter
    if not plain or dialect.thousands is not None or dialect.decimal == dialect.delimiter:
        return None
    raw = np.frombuffer(data, dtype=np.uint8)
    middle = data.find(b"\n", len(data) // 2) + 1
    before, rows = _line_count(raw[:middle]), _line_count(raw)
    table = np.empty((len(layout.kinds), rows))
    marks = ord(dialect.delimiter), ord(dialect.decimal)

    def parsed(part: tuple[int, int, int, int]) -> bool:
        start, stop, first, last = part
        found: int = _kernel()(raw[start:stop], *marks, _POWERS, table[:, first:last])
        return found == last - first

    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="parse") as beside:
        other = beside.submit(parsed, (middle, len(raw), before, rows))
        whole = parsed((0, middle, 0, before)) and other.result()
    if not whole:
        return None
    lines = first_line + np.arange(rows, dtype=np.int64)
    for column, values in zip(dialect.columns, table, strict=True):
        missing = np.isnan(values)
        if missing.any():
            findings.add(f.MISSING, lines[missing], column.name)
    return Piece(list(table), {}, lines)


def _line_count(raw: NDArray[np.uint8]) -> int:
    return int(np.count_nonzero(raw == _FEED))


@lru_cache(maxsize=1)
def _kernel() -> Callable[..., int]:
    import numba

    compiled: Callable[..., int] = numba.njit(nogil=True, cache=True)(parse_lines)
    return compiled


def parse_lines(  # noqa: C901, PLR0912 - one loop over bytes, compiled as a whole
    raw: NDArray[np.uint8],
    delimiter: int,
    decimal: int,
    powers: NDArray[np.float64],
    table: NDArray[Any],
) -> int:
    """Parse lines of numbers into ``table``; the grammar of ``cells`` for plain numbers.

    Args:
        raw: whole lines, each ended by a line feed.
        delimiter, decimal: their byte values.
        powers: 10^0 … 10^22.
        table: takes the numbers, shape (columns, rows), NaN for an empty cell.

    Returns:
        Number of rows parsed: all of them, or fewer where a cell or row is of another kind.
    """
    columns, rows = table.shape
    at, size = 0, len(raw)
    for row in range(rows):
        for column in range(columns):
            end = delimiter if column < columns - 1 else _FEED
            while at < size and (raw[at] == _BLANK or (raw[at] == _TAB and delimiter != _TAB)):
                at += 1
            negative = at < size and raw[at] == _MINUS
            signed = negative or (at < size and raw[at] == _PLUS)
            if signed:
                at += 1
            whole, digits, power = 0, 0, 0
            while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9 and whole < _MOST_WHOLE // 10:
                whole = 10 * whole + (raw[at] - _DIGIT_0)
                digits += 1
                at += 1
            if at < size and raw[at] == decimal:
                at += 1
                while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9 and whole < _MOST_WHOLE // 10:
                    whole = 10 * whole + (raw[at] - _DIGIT_0)
                    digits += 1
                    power -= 1
                    at += 1
                if digits == 0:
                    return row
            if digits and at < size and (raw[at] == _UPPER_E or raw[at] == _LOWER_E):
                at += 1
                down = at < size and raw[at] == _MINUS
                if at < size and (raw[at] == _MINUS or raw[at] == _PLUS):
                    at += 1
                exponent, places = 0, 0
                while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9 and places < 4:
                    exponent = 10 * exponent + (raw[at] - _DIGIT_0)
                    places += 1
                    at += 1
                if places == 0:
                    return row
                power += -exponent if down else exponent
            while at < size and (raw[at] == _BLANK or (raw[at] == _TAB and delimiter != _TAB)):
                at += 1
            if at >= size or raw[at] != end or power > _MOST_POWER or power < -_MOST_POWER:
                return row
            at += 1
            if digits == 0:
                if signed:
                    return row
                table[column, row] = np.nan
            elif power < 0:
                table[column, row] = whole / powers[-power]
            else:
                table[column, row] = whole * powers[power]
            if negative and whole:
                table[column, row] = -table[column, row]
    return rows if at == size else 0
