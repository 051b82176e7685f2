"""The compiled path reads what the careful one reads: numbers to the last bit, lines, warnings."""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from labmatrix.evidence.reading import blocks, delimited
from labmatrix.evidence.reading.ahead import worked_ahead
from labmatrix.evidence.reading.compiled import parse_block
from labmatrix.evidence.reading.delimited import DelimitedReading
from labmatrix.evidence.reading.layout import Piece, joined
from labmatrix.kernel.compiled import COMPILE_FROM
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.steps import steps_kernel, steps_within

PLAIN = st.one_of(
    st.floats(-1e6, 1e6).map(lambda x: f"{x:.4f}"),
    st.floats(-1e3, 1e3).map(lambda x: f"{x:.2f}"),
    st.floats(-1e9, 1e9).map(lambda x: f"{x:.9f}"),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.integers(-(10**18), 10**18).map(str),
    st.sampled_from(["0", "-0", "-0.000", "5.", ".5", "-.25", "+1", "1234567", "12345678", "7e3"]),
    st.sampled_from(["9007199254740993", "0.30000000000000004", "1e23", "1E-320", "1e400"]),
)
WORDS = st.sampled_from(["", " ", "NaN", "OVER", "pause", '"1"', "1 2", "--1", "1.2.3", "−3", "ä"])
ROWS = st.lists(
    st.one_of(
        st.tuples(PLAIN, PLAIN, PLAIN),
        st.tuples(PLAIN, PLAIN, PLAIN),
        st.tuples(PLAIN, WORDS, PLAIN),
        st.tuples(PLAIN, PLAIN),
        st.tuples(PLAIN, PLAIN, PLAIN, PLAIN),
        st.just(()),
        st.just(("a", "b", "c")),
    ),
    min_size=4,
    max_size=40,
)


@contextmanager
def paths(*, compiled: bool) -> Iterator[pytest.MonkeyPatch]:
    """Every block through the compiled path where it can, or none but the careful one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(delimited, "COMPILE_BYTES", 0)
        patch.setattr(blocks, "COMPILE_BYTES", 0)
        if not compiled:
            patch.setattr(delimited, "takes", lambda layout: False)
            patch.setattr(delimited, "read_fast", lambda *given: None)
        yield patch


def read(data: bytes, size: int, *, compiled: bool) -> tuple[Piece | None, set[object]]:
    """The rows and what was said of them; none where the file was refused."""
    with paths(compiled=compiled):
        try:
            reading = DelimitedReading(io.BytesIO(data), block_bytes=size)
            piece = joined(list(reading.pieces()))
        except ShapeError as error:
            return None, {(error.code, str(error))}
    return piece, set(reading.findings.warnings())


def text_of(rows: list[tuple[str, ...]], decimal: str) -> bytes:
    clean = [("0.5", "1.25", "2.5")] * 4
    lines = [";".join(row).replace(".", decimal) for row in [*clean, *rows]]
    return ("a;b;c\n" + "\n".join(lines) + "\n").encode()


@given(ROWS, st.sampled_from(".,"), st.integers(30, 400))
@settings(max_examples=250, deadline=None)
@example([("1.5", "OVER", "2.5")] * 4, ".", 30)
@example([("1.5", "1.5", "2.5"), ("1.5", "1.5"), ()] * 4, ",", 36)
def test_any_rows_in_blocks_of_any_size(
    rows: list[tuple[str, ...]], decimal: str, size: int
) -> None:
    data = text_of(rows, decimal)
    careful, said = read(data, size, compiled=False)
    quick, also_said = read(data, size, compiled=True)
    assert also_said == said
    if quick is None or careful is None:
        return
    assert quick.lines.tolist() == careful.lines.tolist()
    for one, other_values in zip(quick.values, careful.values, strict=True):
        np.testing.assert_array_equal(one, other_values)
        assert np.signbit(one).tolist() == np.signbit(other_values).tolist() or np.isnan(one).any()


@given(st.lists(st.tuples(PLAIN, PLAIN), min_size=1, max_size=60), st.sampled_from(".,"))
@settings(max_examples=150, deadline=None)
def test_every_number_is_correctly_rounded(rows: list[tuple[str, str]], decimal: str) -> None:
    assume(not any("400" in cell for row in rows for cell in row))
    lines = [";".join(row).replace(".", decimal) for row in rows]
    head = f"a;b\n0{decimal}5;1{decimal}5\n1{decimal}5;2{decimal}25\n".encode()
    layout = DelimitedReading(io.BytesIO(head)).layout
    parsed = parse_block(("\n".join(lines) + "\n").encode(), layout, len(rows))
    expected = np.array([[float(cell) for cell in row] for row in rows]) + 0.0
    if np.abs(expected).max() >= 9.9e37:
        assert parsed is None
        return
    assert parsed is not None
    assert parsed.table.T.tobytes() == expected.tobytes()
    assert parsed.empty.tolist() == [0, 0]


def test_a_word_late_in_a_file_costs_its_block_alone() -> None:
    rows = [f"{k / 7:.4f};{k / 3:.5f};{-k / 9:.2f}" for k in range(3000)]
    rows[2000] = "1.0;OVER;2.0"
    data = ("a;b;c\n" + "\n".join(rows) + "\n").encode()
    missed = []
    with paths(compiled=True) as patch:
        plain = delimited.read_fast
        patch.setattr(
            delimited, "read_fast", lambda *given: missed.append(given[1]) or plain(*given)
        )
        reading = DelimitedReading(io.BytesIO(data), block_bytes=4096)
        piece = joined(list(reading.pieces()))
    assert len(missed) == 1
    assert len(piece.lines) == 3000
    (warning,) = reading.findings.warnings()
    assert (warning.code, warning.lines) == ("record.over-range", (2002,))


def test_what_comes_before_a_refusal_is_given_first() -> None:
    rows = [f"{k / 7:.4f};{k / 3:.5f}" for k in range(30_000)]
    rows[25_000] = "1.0;\x002.0"
    data = ("a;b\n" + "\n".join(rows) + "\n").encode()
    with paths(compiled=True):
        pieces = DelimitedReading(io.BytesIO(data), block_bytes=1 << 15).pieces()
        given = sum(len(next(pieces).lines) for _ in range(8))
        with pytest.raises(ShapeError) as refused:
            deque(pieces, maxlen=0)
    assert refused.value.code == "record.nul-bytes"
    assert 10_000 < given <= 25_000


@given(st.binary(max_size=5000), st.integers(0, 300), st.sampled_from([b"\n", b"\r", b"\0", b"\t"]))
@settings(max_examples=100, deadline=None)
def test_line_feeds_are_counted_and_other_line_ends_seen(
    noise: bytes, repeats: int, often: bytes
) -> None:
    data = noise + (b"1.5;2.5" + often) * repeats
    with paths(compiled=True):
        feeds, suspect = blocks._looked(data)
    assert feeds == data.count(b"\n") == blocks.line_count(data)
    assert suspect or not (b"\r" in data or b"\0" in data)


@given(st.lists(st.sampled_from([0.0, 1.0, 2.5, -1.0, np.nan, np.inf, -np.inf, 1e308, -1e308])))
@settings(max_examples=100, deadline=None)
def test_steps_are_judged_alike_short_and_long(numbers: list[float]) -> None:
    values = np.array(numbers)
    bounds = ((0.0, np.inf), (5e-324, 2.0), (-2.0, 2.0))
    for least, greatest in bounds:
        with np.errstate(all="ignore"):
            steps = np.diff(values, prepend=0.5)
        expected = bool(
            np.isfinite(values).all()
            and np.isfinite(steps).all()
            and ((steps >= least) & (steps <= greatest)).all()
        )
        assert steps_within(values, 0.5, least, greatest) == expected
        filler = np.full(COMPILE_FROM, values[-1] if len(values) else 0.5)
        long = np.concatenate([values, filler])
        bridged = expected and least <= 0.0
        assert steps_within(long, 0.5, least, greatest) == (bridged if len(long) else expected)
    assert steps_kernel(np.array([1.0, np.nan, 2.0]), 0.0, -9.0, 9.0) == 2


def test_worked_ahead_gives_items_and_errors_in_order() -> None:
    assert list(worked_ahead(iter(range(40)), lambda k: k * k)) == [(k, k * k) for k in range(40)]
    assert list(worked_ahead(iter([]), str)) == []

    def third_fails() -> Iterator[int]:
        yield from (1, 2)
        raise LookupError("third")

    items = worked_ahead(third_fails(), str)
    assert [next(items), next(items)] == [(1, "1"), (2, "2")]
    with pytest.raises(LookupError, match="third"):
        next(items)
    quotients = worked_ahead(iter([2, 1, 0, 5]), lambda k: 2 // k)
    assert [next(quotients), next(quotients)] == [(2, 1), (1, 2)]
    with pytest.raises(ZeroDivisionError):
        next(quotients)
