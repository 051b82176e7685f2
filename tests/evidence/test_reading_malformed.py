"""Files gone wrong in hundreds of ways: each is a table with warnings or a refusal in a sentence.

No other exception leaves the reading room, and no line disappears without being counted.
"""

from __future__ import annotations

import io
import random
from collections.abc import Callable

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.evidence.reading.dialect import sniff
from labmatrix.evidence.reading.table import RawTable
from labmatrix.kernel.errors import ShapeError

Lines = list[bytes]
Fault = Callable[[Lines, random.Random], Lines]
LEFT_OUT = ("row-length", "text-line", "blank-line", "header-repeated", "cut-last-line")
JUNK = [b"OVER", b"", b"crack", b"NaN", b"\x00", b"\xff\xfe", b"1e999", b"--", b'"', b'""', b"=A1"]
JUNK += ["µ".encode("cp1252"), "−5".encode(), b"1,5", b"1.5.5", b"12:99:00", b"31.02.2026", b"\x1a"]
JUNK += [b"9.91E37", b"1_0", b"0x1F", b"TRUE", b"\t", b" ", b"#DIV/0!", b"-1.#IND", "٣".encode()]
WHOLE_LINES = [
    b"",
    b";;;",
    b"Load;Defl;Time",
    b"Time;Load;Defl",
    b"s;kN;mm",
    b"end of test",
    b"\x00",
]
WHOLE_LINES += [b"-----", b"# paused", b"12", b"1;2;3;4;5;6", b'"1;2;3', b"<html>", b"\xef\xbb\xbf"]


def _cell(lines: Lines, chance: random.Random) -> Lines:
    row = chance.randrange(len(lines))
    cells = lines[row].split(b";")
    cells[chance.randrange(len(cells))] = chance.choice(JUNK)
    return [*lines[:row], b";".join(cells), *lines[row + 1 :]]


def _column(lines: Lines, chance: random.Random) -> Lines:
    column, junk, start = chance.randrange(3), chance.choice(JUNK), chance.randrange(len(lines))
    result = []
    for row, line in enumerate(lines):
        cells = line.split(b";")
        if row >= start and column < len(cells):
            cells[column] = junk
        result.append(b";".join(cells))
    return result


def _line(lines: Lines, chance: random.Random) -> Lines:
    row = chance.randrange(len(lines) + 1)
    return [*lines[:row], chance.choice(WHOLE_LINES), *lines[row:]]


def _drop_cell(lines: Lines, chance: random.Random) -> Lines:
    row = chance.randrange(len(lines))
    return [*lines[:row], lines[row].rpartition(b";")[0], *lines[row + 1 :]]


def _shuffle(lines: Lines, chance: random.Random) -> Lines:
    return chance.sample(lines, len(lines))


def _repeat(lines: Lines, chance: random.Random) -> Lines:
    return lines + lines[: chance.randrange(len(lines) + 1)]


def _without_head(lines: Lines, chance: random.Random) -> Lines:
    return lines[chance.randrange(1, 4) :]


def _delimiter(lines: Lines, chance: random.Random) -> Lines:
    new, start = chance.choice([b",", b"\t", b"|", b" ", b":", b""]), chance.randrange(len(lines))
    return [line.replace(b";", new) if row >= start else line for row, line in enumerate(lines)]


def _decimal(lines: Lines, chance: random.Random) -> Lines:
    new, start = chance.choice([b",", b"'", b" ", b""]), chance.randrange(len(lines))
    return [line.replace(b".", new) if row >= start else line for row, line in enumerate(lines)]


def _clock(lines: Lines, chance: random.Random) -> Lines:
    form = chance.choice([b"23:59:%02d;", b"2026-02-%02d;", b"%02d/03/2026;", b"%d. March;"])
    return [form % (row % 60) + line for row, line in enumerate(lines)]


FAULTS: list[Fault] = [_cell, _column, _line, _drop_cell, _shuffle, _repeat, _without_head]
FAULTS += [_delimiter, _decimal, _clock]
RECODINGS = ["utf-8", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp037", "utf-7"]


@st.composite
def broken_files(draw: st.DrawFn) -> bytes:
    chance = random.Random(draw(st.integers(0, 2**32)))
    count = draw(st.integers(0, 40))
    lines = [b"Time;Load;Defl", b"s;kN;mm"]
    lines += [b"%.1f;%.2f;%.3f" % (i / 10, i * 1.25, -i / 8) for i in range(1, count + 1)]
    for fault in draw(st.lists(st.sampled_from(FAULTS), min_size=1, max_size=4)):
        lines = fault(lines, chance) or [b""]
    data = draw(st.sampled_from([b"\n", b"\r\n", b"\r", b"\n\r", b""])).join(lines)
    data += draw(st.sampled_from([b"", b"\n", b"\r", b"\x1a", b"\n\n\n", b"\x00" * 9]))
    recoding = draw(st.sampled_from(RECODINGS))
    if recoding != "utf-8":
        data = data.decode("latin-1").encode(recoding, errors="ignore")
    if draw(st.booleans()):
        start, stop = sorted(chance.randrange(len(data) + 1) for _ in range(2))
        data = draw(st.sampled_from([data[start:], data[:stop], data[:start] + data[stop:]]))
    return data


def table_or_sentence(data: bytes) -> RawTable | None:
    """The table, or None after a refusal in a sentence; anything else fails the test."""
    refusal = None
    try:
        return read_delimited(io.BytesIO(data))
    except ShapeError as error:
        refusal = error
    assert refusal.code.startswith("record.")
    assert refusal.message[0].isupper() or not refusal.message[0].isalpha()
    assert refusal.message.endswith(".")
    return None


@given(broken_files())
@settings(max_examples=400, deadline=None)
def test_broken_files_are_read_with_warnings_or_refused(data: bytes) -> None:
    table = table_or_sentence(data)
    if table is None:
        return
    for column in table.columns:
        assert table.values[column.name].shape == (table.row_count,)
        assert not np.isinf(table.values[column.name]).any()
    for warning in table.warnings:
        assert warning.message.endswith(".")
        assert len(warning.lines) <= warning.count or warning.count == 0
    assert (np.diff(table.lines) > 0).all()


@given(broken_files())
@settings(max_examples=300, deadline=None)
def test_every_line_below_the_header_is_a_row_or_counted(data: bytes) -> None:
    table = table_or_sentence(data)
    if table is None:
        return
    dialect = sniff(io.BytesIO(data))
    text = data.decode(dialect.encoding, errors="replace")
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.removesuffix("\n").split("\n")[dialect.first_data_line - 1 :]
    counted = {w.code.removeprefix("record."): w.count for w in table.warnings}
    assert table.row_count + sum(counted.get(code, 0) for code in LEFT_OUT) == len(lines)


@given(broken_files())
@settings(max_examples=200, deadline=None)
def test_every_missing_number_of_a_kept_row_is_said(data: bytes) -> None:
    table = table_or_sentence(data)
    if table is None:
        return
    said = " ".join(warning.message for warning in table.warnings)
    for column in table.columns:
        if np.isnan(table.values[column.name]).any():
            assert repr(column.name.strip()) in said


@given(st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_a_table_or_a_sentence(data: bytes) -> None:
    table_or_sentence(data)


@given(st.text(alphabet="0123456789.,;:\t|-+eE\"' \n\rabNOVER/\u00a0µ", max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_text_of_a_loggers_alphabet_is_a_table_or_a_sentence(text: str) -> None:
    table_or_sentence(text.encode())
