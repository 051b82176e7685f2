"""Files as loggers write them, for the tests of the reading room. Invented numbers."""

from __future__ import annotations

import io

from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.evidence.reading.table import RawTable

QUAYSIDE = """\
Quayside Structures Laboratory; invented
Rig;2
Time;Load;Deflection
s;kN;mm
0,0;0,02;0,000
0,1;1,50;0,125
0,2;3,00;-0,250
"""


def stream(text: str | bytes, encoding: str = "utf-8") -> io.BytesIO:
    """A file of this text."""
    return io.BytesIO(text if isinstance(text, bytes) else text.encode(encoding))


def read(text: str | bytes, encoding: str = "utf-8") -> RawTable:
    """The table of a file of this text."""
    return read_delimited(stream(text, encoding))


def codes(table: RawTable) -> set[str]:
    """Codes of a table's warnings, without their common first part."""
    return {warning.code.removeprefix("record.") for warning in table.warnings}


def lines_of(table: RawTable, code: str) -> tuple[int, ...]:
    """The lines that the one warning of this code names."""
    (warning,) = [w for w in table.warnings if w.code == f"record.{code}"]
    return warning.lines
