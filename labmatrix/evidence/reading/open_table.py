"""The one door for a record's file: Parquet or delimited text, told apart by its first bytes."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from typing import Any, BinaryIO

from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.evidence.reading.dialect import Dialect
from labmatrix.evidence.reading.file_kind import is_parquet
from labmatrix.evidence.reading.parquet import read_parquet
from labmatrix.evidence.reading.table import RawTable


def read_table(
    stream: BinaryIO,
    dialect: Dialect | None = None,
    *,
    progress: Callable[[float], None] | None = None,
    overrides: Mapping[str, Any] | None = None,
) -> RawTable:
    """A record's file as a table, whichever of the two forms it has.

    Args:
        stream: the file's bytes; one that cannot seek is read into memory.
        dialect: a saved dialect for delimited text.
        progress: told the share read so far, 0 to 1.
        overrides: as in ``read_delimited``.

    Raises:
        ShapeError: ``record.…``.
        TooLarge: a Parquet file that unfolds beyond memory.
    """
    if not stream.seekable():
        stream = io.BytesIO(stream.read())
    start = stream.tell()
    head = stream.read(4)
    stream.seek(start)
    if not is_parquet(head):
        return read_delimited(stream, dialect, progress=progress, overrides=overrides)
    table = read_parquet(stream)
    if progress is not None:
        progress(1.0)
    return table
