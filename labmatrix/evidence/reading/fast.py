"""The fast path: a block of clean lines at once. Gives up on a block that is not clean.

First as numbers directly; then, where signs, thousands marks or words for missing values occur,
as text with the same grammar as the exact path. Both give what the exact path would give.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading.cells import OVER_RANGE_FROM, is_missing, is_over_range
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER, TIME
from labmatrix.evidence.reading.layout import Layout, Piece
from labmatrix.evidence.reading.time_cells import seconds_of_arrow

_Note = tuple[str, NDArray[np.int64], str]


def read_fast(data: bytes, first_line: int, layout: Layout, findings: Findings) -> Piece | None:
    """The rows of a block, or None when its lines must be looked at one by one.

    Args:
        data: lines in UTF-8, each ended by a line feed.
        first_line: number of the first line.
        layout: what each column holds.
        findings: takes note of missing values; untouched where None is given.
    """
    lines = first_line + np.arange(data.count(b"\n"), dtype=np.int64)
    notes: list[_Note] = []
    piece = None
    if layout.dialect.thousands is None:
        piece = _assembled(_parsed(data, layout, numeric=True), layout, lines, notes)
    if piece is None:
        notes = []
        piece = _assembled(_parsed(data, layout, numeric=False), layout, lines, notes)
    if piece is not None:
        for code, where, name in notes:
            findings.add(code, where, name)
    return piece


def _parsed(data: bytes, layout: Layout, *, numeric: bool) -> Any:
    """An Arrow table of the block, or None when a line has another number of cells."""
    import pyarrow as pa
    from pyarrow import csv

    dialect = layout.dialect
    names = [str(index) for index in range(len(dialect.columns))]
    types = {
        name: pa.float64() if numeric and kind == NUMBER else pa.string()
        for name, kind in zip(names, layout.kinds, strict=False)
    }
    types |= {name: pa.string() for name in names[len(layout.kinds) :]}
    try:
        return csv.read_csv(
            io.BytesIO(data),
            read_options=csv.ReadOptions(column_names=names),
            parse_options=csv.ParseOptions(delimiter=dialect.delimiter),
            convert_options=csv.ConvertOptions(
                column_types=types,
                null_values=[""],
                strings_can_be_null=False,
                decimal_point=dialect.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None


def _assembled(
    table: Any, layout: Layout, lines: NDArray[np.int64], notes: list[_Note]
) -> Piece | None:
    import pyarrow.compute as pc

    if table is None or table.num_rows != len(lines) or not _rest_is_empty(table, layout):
        return None
    values: list[NDArray[np.float64]] = []
    days: dict[int, NDArray[np.int64]] = {}
    for index, kind in enumerate(layout.kinds):
        column = table.column(index).combine_chunks()
        name = layout.dialect.columns[index].name
        numbers: NDArray[np.float64] | None
        if kind == TIME:
            timed = seconds_of_arrow(pc.utf8_trim_whitespace(column), layout.time_forms[index])
            if timed is None:
                return None
            days[index], numbers = timed
        elif kind == NUMBER:
            numbers = _numbers(column, name, layout, lines, notes)
        else:
            numbers = np.full(len(lines), np.nan)
        if numbers is None:
            return None
        values.append(numbers)
    if _holds_text_lines(values, layout):
        return None
    return Piece(values, days, lines)


def _rest_is_empty(table: Any, layout: Layout) -> bool:
    import pyarrow.compute as pc

    extra = range(len(layout.kinds), table.num_columns)
    return all(
        pc.all(pc.equal(pc.utf8_trim_whitespace(table.column(i)), "")).as_py() for i in extra
    )


def _holds_text_lines(values: list[NDArray[np.float64]], layout: Layout) -> bool:
    """Rows without any number may be text in the column of text; the exact path tells."""
    if all(kind in (NUMBER, TIME) for kind in layout.kinds):
        return False
    return bool(np.all([np.isnan(column) for column in values], axis=0).any())


def _numbers(
    column: Any, name: str, layout: Layout, lines: NDArray[np.int64], notes: list[_Note]
) -> NDArray[np.float64] | None:
    import pyarrow as pa

    over = np.zeros(len(lines), dtype=np.bool_)
    if pa.types.is_floating(column.type):
        numbers = np.array(column.to_numpy(zero_copy_only=False), dtype=np.float64)
        if int(np.isnan(numbers).sum()) != column.null_count or np.isinf(numbers).any():
            return None
    else:
        found = _numbers_of_text(column, layout)
        if found is None:
            return None
        numbers, over = found
    missing = np.isnan(numbers) & ~over
    over |= np.abs(numbers) >= OVER_RANGE_FROM
    for code, where in ((f.MISSING, missing), (f.OVER_RANGE, over)):
        if where.any():
            notes.append((code, lines[where], name))
    numbers[over] = np.nan
    numbers += 0.0  # negative zero is zero, as in the exact path
    return numbers


def _trimmed(column: Any) -> Any:
    import pyarrow.compute as pc

    return pc.replace_substring(pc.utf8_trim_whitespace(column), pattern="−", replacement="-")


def _numbers_of_text(
    column: Any, layout: Layout
) -> tuple[NDArray[np.float64], NDArray[np.bool_]] | None:
    """Numbers, and where a word says over range; None where any other text stands."""
    import pyarrow as pa
    import pyarrow.compute as pc

    form = layout.dialect.form
    text = plain = _trimmed(column)
    fits = pc.match_substring_regex(text, pattern=form.pattern)
    if form.thousands is not None:
        plain = pc.replace_substring(plain, pattern=form.thousands, replacement="")
    plain = pc.replace_substring(plain, pattern=form.decimal, replacement=".")
    cast = pc.cast(pc.if_else(fits, plain, None), pa.float64())
    numbers = np.array(cast.to_numpy(zero_copy_only=False), dtype=np.float64)
    over = np.zeros(len(numbers), dtype=np.bool_)
    words = text.filter(pc.invert(fits)).dictionary_encode()
    places = np.flatnonzero(~fits.to_numpy(zero_copy_only=False))
    codes = words.indices.to_numpy(zero_copy_only=False)
    for code, word in enumerate(words.dictionary.to_pylist()):
        if is_missing(word):
            continue
        if not is_over_range(word):
            return None
        over[places[codes == code]] = True
    return numbers, over
