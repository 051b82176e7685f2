"""Whatever is written in any dialect is read back exactly, by whichever path."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from labmatrix.evidence.reading.compiled import read_compiled
from labmatrix.evidence.reading.delimited import DelimitedReading, read_delimited
from labmatrix.evidence.reading.dialect import sniff
from labmatrix.evidence.reading.exact import read_exactly
from labmatrix.evidence.reading.fast import read_fast
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.layout import layout_of
from labmatrix.kernel.errors import ShapeError

NAMES = ["Time", "Load ", "Deflection mid", "SG1", "Weg links", "T_air", "Größe", "Slip"]
UNITS = ["s", "kN", "mm", "µm/m", "mm", "°C", "mm", "mm"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
AMBIGUOUS = {"record.comma-ambiguous", "record.decimal-ambiguous"}
# Numbers as loggers print them: fixed decimals, whole numbers, exponents, all digits of a float.
NUMBERS = st.one_of(
    st.floats(-1e6, 1e6).map(lambda x: f"{x:.3f}"),
    st.floats(-1e3, 1e3).map(lambda x: f"{x:.1f}"),
    st.integers(-99999, 99999).map(str),
    st.floats(-1e9, 1e9).map(lambda x: f"{x:.6E}"),
    st.floats(-1e30, 1e30, allow_subnormal=False).map(repr),
    st.floats(0, 1e3).map(lambda x: f"+{x:.2f}"),
)


@dataclass(frozen=True)
class Written:
    """A table and the bytes of one way to write it."""

    data: bytes
    cells: list[list[str]]
    names: list[str]
    units: list[str] | None
    delimiter: str
    decimal: str
    encoding: str


@st.composite
def files(draw: st.DrawFn) -> Written:
    width = draw(st.integers(2, len(NAMES)))
    cells = draw(st.lists(st.lists(NUMBERS, min_size=width, max_size=width), min_size=1))
    delimiter = draw(st.sampled_from(";\t|,"))
    decimal = draw(st.sampled_from(".,"))
    units = draw(st.sampled_from(["row", "brackets", "none"]))
    quoted = draw(st.booleans()) or delimiter == decimal
    encoding = draw(st.sampled_from(ENCODINGS))
    line_end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    names = NAMES[:width]
    if units == "brackets":
        names = [f"{name} [{unit}]" for name, unit in zip(names, UNITS, strict=False)]
    preamble = draw(st.sampled_from([[], ["Quayside, invented", ""], ["Operator", "Rig 2", ""]]))
    rows = [[cell.replace(".", decimal) for cell in row] for row in cells]
    if quoted:
        rows = [[f'"{cell}"' for cell in row] for row in rows]
    head = [names] + ([UNITS[:width]] if units == "row" else [])
    lines = preamble + [delimiter.join(row) for row in head + rows]
    text = line_end.join(lines) + draw(st.sampled_from([line_end, line_end, ""]))
    return Written(
        text.encode(encoding),
        cells,
        names,
        None if units == "none" else UNITS[:width],
        delimiter,
        decimal,
        encoding,
    )


@given(files())
@settings(max_examples=150, deadline=None)
def test_any_table_in_any_dialect_is_read_back_exactly(written: Written) -> None:
    try:
        table = read_delimited(io.BytesIO(written.data))
    except ShapeError as error:
        assume(error.code not in AMBIGUOUS)
        raise
    assert [column.name for column in table.columns] == written.names
    if written.units is not None:
        assert [column.unit for column in table.columns] == written.units
    expected = np.array([[float(cell) for cell in row] for row in written.cells])
    kept = [i for i in range(len(expected)) if i < table.row_count]
    # Without a line end at the end of the file the last line may count as cut, and is then said.
    if table.row_count < len(expected):
        assert table.row_count == len(expected) - 1
        assert "record.cut-last-line" in {warning.code for warning in table.warnings}
    got = np.column_stack([table.values[name] for name in written.names])
    np.testing.assert_array_equal(got, expected[kept])


@given(files())
@settings(max_examples=40, deadline=None)
def test_the_dialect_survives_json_and_reads_the_same(written: Written) -> None:
    try:
        dialect = sniff(io.BytesIO(written.data))
    except ShapeError as error:
        assume(error.code not in AMBIGUOUS)
        raise
    again = type(dialect).from_dict(dialect.as_dict())
    one = read_delimited(io.BytesIO(written.data))
    other = read_delimited(io.BytesIO(written.data), again)
    for name in one.values:
        np.testing.assert_array_equal(one.values[name], other.values[name])


CELLS = st.one_of(
    NUMBERS,
    st.sampled_from(["", "NaN", "nan", "OVER", "-OVL", "----", "#N/A", "inf", "9.9E37", "1e400"]),
    st.sampled_from([" 1.5", "2.5 ", "−3.5", ".5", "5.", "007", "1e5", "-0.0", "1E-320"]),
)
DIRT = st.sampled_from(["pause", "1_000", "0x10", "1.2.3", "--1", "1,5", "²", "1 2", "nan5", "٣"])


@given(
    st.lists(st.tuples(CELLS, CELLS, st.one_of(CELLS, CELLS, CELLS, DIRT)), min_size=1),
    st.sampled_from([".", ","]),
    st.sampled_from([None, "'"]),
    st.booleans(),
)
@settings(max_examples=200, deadline=None)
def test_the_fast_path_gives_what_the_exact_path_gives(
    rows: list[tuple[str, str, str]], decimal: str, thousands: str | None, with_clock: bool
) -> None:
    lines = []
    for index, row in enumerate([("1.5", "2.5", "0.25"), *rows]):
        clock = [f"23:59:{index % 60:02d}.5"] if with_clock else []
        lines.append(";".join(clock + [cell.replace(".", decimal) for cell in row]))
    if thousands:
        lines = [line.replace("007", "1'007") for line in lines]
    names = (["Clock"] if with_clock else []) + ["a", "b", "c"]
    head = ";".join(names)
    dialect = sniff(io.BytesIO(f"{head}\n{lines[0]}\n{lines[0]}\n".encode()))
    dialect = type(dialect).from_dict(dialect.as_dict() | {"thousands": thousands})
    layout = layout_of(dialect, [(n, line) for n, line in enumerate([head, lines[0]], start=1)])
    data = ("\n".join(lines) + "\n").encode()
    fast_notes, exact_notes = Findings(), Findings()
    fast = read_fast(data, 2, layout, fast_notes)
    exact = read_exactly(data, 2, layout, exact_notes)
    if fast is None:
        assert fast_notes.warnings() == ()
        return
    np.testing.assert_array_equal(fast.lines, exact.lines)
    for one, other in zip(fast.values, exact.values, strict=True):
        np.testing.assert_array_equal(one, other)
        assert not np.signbit(one[one == 0]).any()
    assert set(fast_notes.warnings()) == set(exact_notes.warnings())


@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=30))
@settings(max_examples=50, deadline=None)
def test_clean_numbers_take_the_fast_path(rows: list[tuple[str, str]]) -> None:
    data = ("a;b\n0.5;1.5\n" + "".join(f"{a};{b}\n" for a, b in rows)).encode()
    reading = DelimitedReading(io.BytesIO(data))
    body = data.split(b"\n", 1)[1]
    assert read_fast(body, 2, reading.layout, Findings()) is not None


@given(files(), st.integers(3, 200))
@settings(max_examples=60, deadline=None)
def test_block_borders_change_nothing(written: Written, size: int) -> None:
    try:
        whole = read_delimited(io.BytesIO(written.data))
    except ShapeError:
        assume(False)
    reading = DelimitedReading(io.BytesIO(written.data), block_bytes=size)
    table = reading.table(list(reading.pieces()))
    np.testing.assert_array_equal(whole.lines, table.lines)
    for name in whole.values:
        np.testing.assert_array_equal(whole.values[name], table.values[name])


PLAIN = st.one_of(
    NUMBERS,
    st.sampled_from(["", "-0.0", ".5", "5.", " 7 ", "1e22", "1e-22", "9007199254740991", "+.25"]),
    st.sampled_from(["9007199254740993", "0.1234567890123456789", "1e23", "1E-320", "9.91E37"]),
    st.sampled_from(["NaN", "OVER", "1 2", "-", "+", ".", "1e", "1.2.3", '"1"', "0x1", "1,5"]),
)


@given(st.lists(st.tuples(PLAIN, NUMBERS), min_size=1, max_size=40), st.sampled_from(".,"))
@settings(max_examples=300, deadline=None)
def test_the_compiled_path_gives_what_the_exact_path_gives(
    rows: list[tuple[str, str]], decimal: str
) -> None:
    lines = [";".join(cell.replace(".", decimal) for cell in row) for row in rows]
    dialect = sniff(io.BytesIO(b"a;b\n0.5;1.5\n".replace(b".", decimal.encode())))
    layout = layout_of(dialect, [(2, f"0{decimal}5;1{decimal}5")])
    data = ("\n".join(lines) + "\n").encode()
    notes, exact_notes = Findings(), Findings()
    compiled = read_compiled(data, 2, layout, notes)
    exact = read_exactly(data, 2, layout, exact_notes)
    if compiled is None:
        assert notes.warnings() == ()
        return
    np.testing.assert_array_equal(compiled.lines, exact.lines)
    for one, other in zip(compiled.values, exact.values, strict=True):
        assert one.tobytes() == other.tobytes() or np.isnan(one).any()
        np.testing.assert_array_equal(one, other)
    assert set(notes.warnings()) == set(exact_notes.warnings())


@given(st.lists(st.floats(-1e6, 1e6).map(lambda x: f"{x:.4f}"), min_size=1, max_size=60))
@settings(max_examples=50, deadline=None)
def test_fixed_decimals_take_the_compiled_path(cells: list[str]) -> None:
    dialect = sniff(io.BytesIO(b"a;b\n0.5;1.5\n"))
    layout = layout_of(dialect, [(2, "0.5;1.5")])
    data = "".join(f"{cell};{cell}\n" for cell in cells).encode()
    piece = read_compiled(data, 2, layout, Findings())
    assert piece is not None
    assert piece.values[1].tolist() == [float(cell) + 0.0 for cell in cells]
