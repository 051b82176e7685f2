"""Rows of delimited text and of workbooks."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from labmatrix.kernel.errors import ShapeError, TooLarge, UserError
from labmatrix.matrix.domain.matrix_file import read_document
from labmatrix.matrix.domain.sheet import FILE_MAX_BYTES, read_sheet
from tests.matrix.files import HEADER, ROWS, csv_file, xlsx_file


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_reads_what_workbooks_save_as_text(delimiter, encoding):
    sheet = read_sheet("m.csv", csv_file(delimiter=delimiter, encoding=encoding))
    assert sheet.header.cells == HEADER
    assert [row.cells for row in sheet.rows] == [tuple(row) for row in ROWS]


def test_a_workbook_says_the_same_as_the_text():
    text, book = read_sheet("m.csv", csv_file()), read_sheet("m.xlsx", xlsx_file())
    assert book.header == text.header
    trimmed = [tuple("|".join(row.cells).rstrip("|").split("|")) for row in text.rows]
    assert [row.cells for row in book.rows] == trimmed
    assert [row.number for row in book.rows] == [row.number for row in text.rows] == [2, 3, 4, 5]


def test_rows_keep_their_numbers_across_empty_lines_and_quoted_line_ends():
    content = b'\n\nplies,note\n\n0,"one\ntwo"\n\n1,x\n'
    sheet = read_sheet("m.csv", content)
    assert sheet.header.number == 3
    assert [(row.number, row.cells[0]) for row in sheet.rows] == [(5, "0"), (8, "1")]


def test_a_workbook_is_known_by_its_first_bytes():
    assert read_sheet("m.csv", xlsx_file()).header.cells == HEADER


def _book(*cells: object) -> bytes:
    book = Workbook()
    book.active.append(["plies", "note"])
    book.active.append(list(cells))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_a_formula_without_a_saved_value_is_not_taken_as_empty():
    (row,) = read_sheet("m.xlsx", _book("=1+1", "x")).rows
    assert row.cells[0] == "#FORMULA"


@pytest.mark.parametrize(("value", "text"), [(2.0, "2"), (0.1 + 0.2, "0.3"), (True, "yes")])
def test_cells_of_a_workbook_become_plain_texts(value, text):
    (row,) = read_sheet("m.xlsx", _book(value)).rows
    assert row.cells == (text,)


@pytest.mark.parametrize(
    ("filename", "content", "code"),
    [
        ("m.pdf", b"%PDF", "matrix.file-kind"),
        ("m", b"plies\n1\n", "matrix.file-kind"),
        ("m.csv", b"", "matrix.file-empty"),
        ("m.csv", b"\n , \n", "matrix.file-empty"),
        ("m.csv", b'plies,note\n1,"open\n', "matrix.file-unreadable"),
        ("m.csv", b"\xff\xfea", "matrix.file-unreadable"),
        ("m.csv", b"\x81\x8d", "matrix.file-unreadable"),
        ("m.csv", b"a\n" * 6000, "matrix.file-unreadable"),
        ("m.csv", b"," * 100, "matrix.file-unreadable"),
        ("m.xlsx", b"no workbook", "matrix.file-unreadable"),
        ("m.xlsx", b"PK\x03\x04 cut", "matrix.file-unreadable"),
        ("m.json", b"{", "matrix.file-unreadable"),
        ("m.json", b"\xff", "matrix.file-unreadable"),
        ("m.json", b'{"cells": NaN}', "matrix.file-unreadable"),
        ("m.json", b"[" * 100_000, "matrix.file-unreadable"),
        ("m.json", b"[]", "matrix.json-shape"),
        ("m.json", b'{"rows": []}', "matrix.json-shape"),
        ("m.json", b'{"factors": [{"name": "a", "kind": "other"}]}', "matrix.json-shape"),
    ],
)
def test_refuses_a_file_that_is_no_matrix(filename, content, code):
    with pytest.raises(ShapeError) as refused:
        read_document(filename, content)
    assert refused.value.code == code


def _zip(name: str, content: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(name, content)
    return stream.getvalue()


def test_refuses_a_zip_that_is_no_workbook():
    with pytest.raises(ShapeError):
        read_sheet("m.xlsx", _zip("readme.txt", b"hello"))


def test_refuses_a_workbook_that_unpacks_to_too_much():
    with pytest.raises(TooLarge):
        read_sheet("m.xlsx", _zip("xl/workbook.xml", b" " * (101 * 1024 * 1024)))


@pytest.mark.parametrize("filename", ["m.csv", "m.json"])
def test_refuses_a_file_that_is_too_large(filename):
    with pytest.raises(TooLarge):
        read_document(filename, b" " * (FILE_MAX_BYTES + 1))


WORKBOOK = xlsx_file()


def refusal(filename: str, content: bytes) -> str:
    """The sentence with which a file is refused; one of our own where it is read."""
    try:
        read_document(filename, content)
    except UserError as error:
        return error.message
    return "It was read."


@settings(deadline=None)
@given(st.sampled_from(["m.csv", "m.xlsx", "m.json", "m.tsv"]), st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_with_a_sentence(filename, content):
    assert refusal(filename, content).endswith(".")


@settings(deadline=None)
@given(st.data())
def test_a_damaged_workbook_is_read_or_refused_with_a_sentence(data):
    content = bytearray(WORKBOOK)
    for _ in range(data.draw(st.integers(1, 8))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    assert refusal("m.xlsx", bytes(content)).endswith(".")


@settings(deadline=None)
@given(st.data())
def test_a_workbook_with_odd_parts_is_read_or_refused_with_a_sentence(data):
    with zipfile.ZipFile(io.BytesIO(WORKBOOK)) as packed:
        parts = {name: bytearray(packed.read(name)) for name in packed.namelist()}
    odd = parts[data.draw(st.sampled_from(sorted(parts)))]
    for _ in range(data.draw(st.integers(1, 6))):
        start = data.draw(st.integers(0, len(odd) - 1))
        end = data.draw(st.integers(start, min(start + 30, len(odd))))
        odd[start:end] = data.draw(st.sampled_from([b"", b"0", b"x", b"<a/>", b'"', b"-1"]))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        for name, part in parts.items():
            packed.writestr(name, bytes(part))
    assert refusal("m.xlsx", stream.getvalue()).endswith(".")
