"""The dialect of a file is found by evidence, and refused where the evidence allows two."""

from __future__ import annotations

import io
import itertools
import json

import pytest

from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.dialect import Dialect, sniff
from labmatrix.kernel.errors import ShapeError
from tests.evidence.reading_samples import QUAYSIDE, stream

ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


def refused(text: str | bytes) -> ShapeError:
    with pytest.raises(ShapeError) as caught:
        sniff(stream(text))
    return caught.value


def test_finds_preamble_names_units_and_decimal_comma() -> None:
    dialect = sniff(stream(QUAYSIDE))
    assert dialect == Dialect(
        encoding="utf-8",
        delimiter=";",
        decimal=",",
        thousands=None,
        header_line_count=4,
        columns=(Column("Time", "s"), Column("Load", "kN"), Column("Deflection", "mm")),
        units_line=4,
        first_data_line=5,
        names_line=3,
    )


def test_leaves_a_stream_where_it_was() -> None:
    source = stream(QUAYSIDE)
    sniff(source)
    assert source.tell() == 0


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r", "\r\r\n"])
def test_reads_every_encoding_and_line_end(encoding: str, line_end: str) -> None:
    text = "Zeit [s];Dehnung [µm/m];Kraft °\n0,5;1,5;2\n0,6;2,5;3\n".replace("\n", line_end)
    dialect = sniff(stream(text, encoding))
    assert dialect.encoding == ("utf-16" if encoding == "utf-16" else encoding)
    assert dialect.columns == (
        Column("Zeit [s]", "s"),
        Column("Dehnung [µm/m]", "µm/m"),
        Column("Kraft °", None),
    )


@pytest.mark.parametrize(
    ("delimiter", "decimal"), [p for p in itertools.product(";\t|,", ".,") if p != (",", ",")]
)
def test_tells_delimiter_and_decimal_mark_apart(delimiter: str, decimal: str) -> None:
    rows = [["t", "P", "w"], ["0.1", "12.5", "-3"], ["0.2", "13.25", "-4"]]
    text = "\n".join(delimiter.join(row) for row in rows).replace(".", decimal)
    dialect = sniff(stream(text))
    assert (dialect.delimiter, dialect.decimal) == (delimiter, decimal)


@pytest.mark.parametrize(
    ("cell", "decimal", "thousands"),
    [
        ("1.234,5", ",", "."),
        ("1,234.5", ".", ","),
        ("1 234,5", ",", " "),
        ("1\u00a0234.5", ".", "\u00a0"),
        ("1\u202f234,5", ",", "\u202f"),
        ("1'234.5", ".", "'"),
        ("1.234.567,5", ",", "."),
    ],
)
def test_finds_thousands_marks(cell: str, decimal: str, thousands: str) -> None:
    dialect = sniff(stream(f"a;b\n{cell};{cell}\n7;{cell}\n"))
    assert (dialect.decimal, dialect.thousands) == (decimal, thousands)


@pytest.mark.parametrize("proof", ["0,512", "12,5", "1234,567", "0,5", "-0,001"])
def test_one_cell_can_prove_the_decimal_comma(proof: str) -> None:
    dialect = sniff(stream(f"a\tb\n1,234\t2,345\n{proof}\t3,456\n"))
    assert (dialect.decimal, dialect.thousands) == (",", None)


def test_refuses_a_comma_that_may_be_thousands_or_decimals() -> None:
    error = refused("a\tb\n1,234\t2,345\n999\t12\n")
    assert error.code == "record.decimal-ambiguous"
    assert "'1,234'" in error.message


def test_semicolons_say_that_the_comma_is_the_decimal_mark() -> None:
    dialect = sniff(stream("a;b\n1,234;2,345\n"))
    assert (dialect.decimal, dialect.decided_by_delimiter) == (",", "1,234")


@pytest.mark.parametrize(
    "text",
    ["1,5\n2,6\n", "Load, kN\n1,5\n2,6\n", "Load,Deflection\n1,5,2,6\n1,7,2,8\n", "0,5,1,25\n"],
)
def test_refuses_a_comma_that_may_be_delimiter_or_decimal_mark(text: str) -> None:
    assert refused(text).code == "record.comma-ambiguous"


@pytest.mark.parametrize(
    "text",
    ["a,b\n1,5\n2,6\n", "1,-5\n2,6\n", "1.0,5\n2,6\n", "1, 5\n2, 6\n".replace(" ", " +")],
)
def test_proof_lets_a_comma_be_the_delimiter(text: str) -> None:
    assert sniff(stream(text)).delimiter == ","


def test_a_person_may_state_what_the_file_leaves_open() -> None:
    source = stream("a\tb\n1,234\t2,345\n")
    assert sniff(source, {"decimal": ","}).decimal == ","
    assert sniff(source, {"decimal": ".", "thousands": ","}).thousands == ","
    with pytest.raises(ShapeError, match="colour"):
        sniff(source, {"colour": "red"})
    with pytest.raises(ShapeError, match="decimal"):
        sniff(source, {"decimal": "x"})


def test_refuses_two_ways_to_write_numbers() -> None:
    error = refused("a;b\n" + "1.5;2,5\n" * 30)
    assert error.code == "record.decimal-mixed"


def test_finds_names_above_two_further_header_lines() -> None:
    text = '"Station","QSL"\n"TS","Load","Defl"\n"s","kN","mm"\n"","Avg","Avg"\n0.5,1.5,2\n'
    dialect = sniff(stream(text))
    assert [column.name for column in dialect.columns] == ["TS", "Load", "Defl"]
    assert [column.unit for column in dialect.columns] == ["s", "kN", "mm"]


def test_takes_the_names_row_behind_a_comment_sign() -> None:
    dialect = sniff(stream("# Load;Defl\n1;2\n"))
    assert [column.name for column in dialect.columns] == ["Load", "Defl"]


def test_keeps_a_name_as_written() -> None:
    assert sniff(stream("Load ;Displacment\n1;2\n")).columns[0].name == "Load "


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Load [kN]", "kN"),
        ("Load (kN) ", "kN"),
        ("Load / kN", "kN"),
        ("Kraft in kN", "kN"),
        ("load_kN", "kN"),
        ("eps_µm/m", "µm/m"),
        ("Feuchte in % RH", "% RH"),
        ("T_C", None),
        ("SG_1", None),
        ("Load (north)", None),
        ("built in 2024", None),
        ("kN", None),
    ],
)
def test_finds_a_unit_at_the_end_of_a_name(name: str, unit: str | None) -> None:
    dialect = sniff(stream(f"{name};x y\n1;2\n"))
    assert dialect.columns[0] == Column(name, unit)


def test_short_names_are_not_taken_for_units() -> None:
    dialect = sniff(stream("F;d\n1;2\n"))
    assert dialect.columns == (Column("F"), Column("d"))


def test_calls_unnamed_columns_by_their_order() -> None:
    dialect = sniff(stream("1.5;2\n2.5;3\n"))
    assert dialect.columns == (Column("column 1"), Column("column 2"))
    assert (dialect.header_line_count, dialect.names_line) == (0, None)


def test_numbers_in_the_preamble_do_not_begin_the_table() -> None:
    dialect = sniff(stream("50;2024\n\nLoad;Defl\n1;2\n3;4\n5;6\n"))
    assert (dialect.names_line, dialect.first_data_line) == (3, 4)


def test_refuses_names_that_do_not_fit_the_rows() -> None:
    error = refused("a;b\n1;2;3\n4;5;6\n")
    assert (error.code, error.facts["names"], error.facts["cells"]) == (
        "record.header-length",
        2,
        3,
    )


def test_refuses_a_name_used_twice() -> None:
    error = refused("Time;Load;Load \n1;2;3\n")
    assert error.code == "record.duplicate-names"
    assert "'Load'" in error.message


def test_goes_through_json_and_back() -> None:
    dialect = sniff(stream(QUAYSIDE))
    assert Dialect.from_dict(json.loads(json.dumps(dialect.as_dict()))) == dialect


@pytest.mark.parametrize(
    "change",
    [
        {"delimiter": "x"},
        {"encoding": "latin-9"},
        {"columns": []},
        {"first_data_line": 0},
        {"x": 1},
    ],
)
def test_refuses_a_saved_dialect_that_makes_no_sense(change: dict[str, object]) -> None:
    with pytest.raises(ShapeError) as caught:
        Dialect.from_dict(sniff(stream(QUAYSIDE)).as_dict() | change)
    assert caught.value.code == "record.dialect-malformed"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b" \r\n\t\n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "foreign-kind"),
        (b"\xff\xd8\xff\xe0JFIF", "foreign-kind"),
        (b"%PDF-1.7\n1 0 obj", "foreign-kind"),
        (b"PK\x03\x04\x14\x00[Content_Types].xml xl/workbook.xml", "foreign-kind"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "foreign-kind"),
        (b"PAR1\x15\x04", "foreign-kind"),
        (b"<!DOCTYPE html><html><body>404</body></html>", "foreign-kind"),
        (b"<?xml version='1.0'?><table/>", "foreign-kind"),
        (b'{"load": [1, 2, 3]}', "foreign-kind"),
        (bytes(range(1, 32)) * 40, "foreign-kind"),
        (b"a;b\n1;2\n" + b"\x00" * 512, "nul-bytes"),
        (b"\x00" * 100, "nul-bytes"),
        (b"Dear colleague,\nthe beam broke.\n", "no-numeric-rows"),
        (b"Load\n1.5\n2.5\n", "single-column"),
        (b"a;b\nx;y\nz;w\n", "no-numeric-rows"),
        (b"a;b\xb5\x81\n1;2\n", "encoding"),
        (b"1" * 300_000, "line-too-long"),
    ],
)
def test_refuses_what_is_no_table_of_numbers(data: bytes, code: str) -> None:
    with pytest.raises(ShapeError) as caught:
        sniff(io.BytesIO(data))
    assert caught.value.code == f"record.{code}"
    assert caught.value.message.endswith(".")
