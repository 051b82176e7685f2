"""Matrix files to test with."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook

HEADER = ("plies", "exposure", "replicates", "code", "gain control", "conditioning control", "note")
ROWS = (
    ("0", "laboratory", "3", "U-LAB", "", "", "reference"),
    ("0", "wet–dry salt", "2", "", "", "U-LAB", ""),
    ("2", "laboratory", "3", "", "U-LAB", "", ""),
    ("2", "wet–dry salt", "3", "", "", "", ""),
)


def csv_file(
    rows: Sequence[Sequence[Any]] = ROWS,
    header: Sequence[str] = HEADER,
    *,
    delimiter: str = ",",
    encoding: str = "utf-8",
) -> bytes:
    """Rows as delimited text."""
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter)
    writer.writerow(header)
    writer.writerows(rows)
    return stream.getvalue().encode(encoding)


def xlsx_file(rows: Sequence[Sequence[Any]] = ROWS, header: Sequence[str] = HEADER) -> bytes:
    """Rows as a workbook, numbers as numbers."""
    book = Workbook()
    sheet = book.active
    sheet.append(list(header))
    for row in rows:
        sheet.append([float(c) if str(c).replace(".", "", 1).isdigit() else c for c in row])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def json_file(data: Any) -> bytes:
    """Any data as JSON."""
    return json.dumps(data).encode()
