"""Kinds of broken files: named faults, each alone at each of several places, and pairs of them."""

from __future__ import annotations

import gzip
import io
import itertools
import zipfile
from collections.abc import Callable, Iterator

Lines = list[bytes]
Fault = Callable[[Lines, int], Lines]
HEAD = [b"time;load;deflection", b"s;kN;mm"]
ROWS = 60


def sound() -> Lines:
    """The lines of a file without a fault."""
    return HEAD + [b"%.2f;%.3f;%.4f" % (k / 10, 1.1 * k, 0.31 * k) for k in range(ROWS)]


def _cell(junk: bytes) -> Fault:
    def put(lines: Lines, row: int) -> Lines:
        cells = lines[row].split(b";")
        cells[-1] = junk
        return [*lines[:row], b";".join(cells), *lines[row + 1 :]]

    return put


def _line(junk: bytes) -> Fault:
    return lambda lines, row: [*lines[:row], junk, *lines[row:]]


def _column(junk: bytes) -> Fault:
    def put(lines: Lines, row: int) -> Lines:
        return [
            line if at < row else line.rpartition(b";")[0] + b";" + junk
            for at, line in enumerate(lines)
        ]

    return put


def _marks(old: bytes, new: bytes) -> Fault:
    return lambda lines, row: [
        line.replace(old, new) if at >= row else line for at, line in enumerate(lines)
    ]


CELLS = {
    "over range": b"OVER", "empty": b"", "nan": b"NaN", "infinite": b"inf", "nul": b"\x00",
    "too large": b"1e999", "dashes": b"---", "open quote": b'"12', "formula": b"=A1+1",
    "micro in cp1252": b"\xb5", "minus sign": "−5".encode(), "decimal comma": b"1,5",
    "two points": b"1.5.5", "clock": b"12:99:00", "no such day": b"31.02.2026",
    "control Z": b"\x1a", "instrument overflow": b"9.91E37", "underscore": b"1_0",
    "hexadecimal": b"0x1F", "word": b"crack", "true": b"TRUE", "tab": b"\t",
    "division by zero": b"#DIV/0!", "indefinite": b"-1.#IND", "arabic digit": "٣".encode(),
    "unit in cell": b"12 kN", "replacement": "\ufffd".encode(), "very long": b"9" * 4000,
    "byte order mark": b"\xef\xbb\xbf1", "thousands": b"1'000.5",
}  # fmt: skip
LINES = {
    "blank": b"", "only marks": b";;", "header again": HEAD[0],
    "header in another order": b"load;time;deflection",
    "units again": HEAD[1], "end of test": b"end of test", "rule": b"-----",
    "comment": b"# paused", "one number": b"12", "too many cells": b"1;2;3;4;5;6",
    "half quoted": b'"1;2;3', "markup": b"<html>", "binary": bytes(range(1, 32)),
    "two rows in one": b"1;2;31;2;3", "error of the logger": b"Error 0x80004005: buffer overrun",
}  # fmt: skip
MARKS = {
    "comma between columns": (b";", b","), "tab between columns": (b";", b"\t"),
    "bar between columns": (b";", b"|"), "blanks between columns": (b";", b" "),
    "nothing between columns": (b";", b""), "decimal comma": (b".", b","),
    "decimal apostrophe": (b".", b"'"), "no decimal mark": (b".", b""),
    "two marks between columns": (b";", b";;"), "colon between columns": (b";", b":"),
}  # fmt: skip
PLACES = {"head": 0, "units": 1, "first row": 2, "middle": 31, "last row": ROWS + 1}
NAMED: dict[str, Fault] = {
    **{f"cell {name}": _cell(junk) for name, junk in CELLS.items()},
    **{f"line {name}": _line(junk) for name, junk in LINES.items()},
    **{f"column {name}": _column(CELLS[name]) for name in ("over range", "empty", "nan", "word")},
    **{f"marks {name}": _marks(*pair) for name, pair in MARKS.items()},
}


def line_kinds() -> Iterator[tuple[str, bytes]]:
    """Each named fault at each place where it can stand."""
    for (name, fault), (place, row) in itertools.product(NAMED.items(), PLACES.items()):
        yield f"{name}, {place}", b"\n".join(fault(sound(), row)) + b"\n"


def _zipped(name: str) -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        archive.writestr(name, "x")
    return sink.getvalue()


def whole_kinds() -> Iterator[tuple[str, bytes]]:
    """Faults of the file as a whole: cut, doubled, of another kind, in another encoding."""
    text = b"\n".join(sound()) + b"\n"
    yield from {
        "empty": b"", "blank": b"  \n\n \n", "only zeros": bytes(500), "only the head": HEAD[0],
        "head and units": b"\n".join(HEAD), "one row": b"\n".join(sound()[:3]),
        "no head": b"\n".join(sound()[2:]), "one column": b"load\n" + b"1.0\n2.0\n3.0\n" * 9,
        "one line": text.replace(b"\n", b""), "old Mac lines": text.replace(b"\n", b"\r"),
        "twice": text * 2, "zeros behind": text + bytes(4096), "zeros before": bytes(64) + text,
        "a PNG": b"\x89PNG\r\n\x1a\n" + bytes(99), "a PDF": b"%PDF-1.7\n" + text,
        "a web page": b"<!doctype html><html><body>502 Bad Gateway</body></html>",
        "XML": b'<?xml version="1.0"?><data><row/></data>', "JSON": b'{"load": [1, 2, 3]}',
        "gzip": gzip.compress(text), "a workbook": _zipped("xl/workbook.xml"),
        "a ZIP": _zipped("data.csv"), "an old workbook": b"\xd0\xcf\x11\xe0" + bytes(600),
        "a program": b"\x7fELF" + bytes(300), "Parquet cut": b"PAR1" + bytes(40),
        "Parquet of words": b"PAR1" + text + b"PAR1", "UTF-32": text.decode().encode("utf-32"),
        "EBCDIC": text.decode().encode("cp037"), "UTF-16 cut": text.decode().encode("utf-16")[:-1],
        "UTF-16 turned": text.decode().encode("utf-16-le")[1:],
        "same names": text.replace(b"deflection", b"load", 1),
        "no names": text.replace(HEAD[0], b";;", 1), "other names": text.replace(b"load", b"P", 1),
        "endless line": b"1;2;3;" * 400_000,
    }.items()  # fmt: skip
    for length in (1, 7, 21, 29, 40, 55, len(text) - 4):
        yield f"cut at {length}", text[:length]


def kinds() -> dict[str, bytes]:
    """Every kind by its name; no two are the same bytes."""
    found = dict((*line_kinds(), *whole_kinds()))
    distinct = {data: name for name, data in reversed(found.items())}
    return {name: data for data, name in distinct.items() if data != b"\n".join(sound()) + b"\n"}
