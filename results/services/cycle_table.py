"""The table of all load cycles of a record: gathered in parts, kept as Parquet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

Columns = Mapping[str, npt.NDArray[Any]]
# Rows of a row group; also how many cycles wait in memory before they go to a part of their own.
GROUP_ROWS = 1 << 16


class CycleParts:
    """Finished cycles on their way to the table; what waits in memory stays bounded.

    A record without a cycle gives one empty table, so that its columns are known.

    A part is a file named by the first of its cycles and their number, and follows from the record
    alone, so that whoever writes a part again writes the same.

    Args:
        folder: where parts are kept.
        written: names of parts that are there already.
    """

    def __init__(self, folder: Path, written: Sequence[str] = ()) -> None:
        self._folder = folder
        self._written = list(written)
        self._waiting: list[Columns] = []
        self._empty: Columns | None = None
        self._begun = _begun(written)

    def add(self, table: Columns) -> None:
        """Takes finished cycles, none in an empty table."""
        if not self._length(table):
            self._empty = table
            return
        if self._waiting and list(self._waiting[0]) != list(table):
            self.flush()
        self._waiting.append(table)
        if sum(map(self._length, self._waiting)) >= GROUP_ROWS:
            self.flush()

    def flush(self) -> None:
        """Writes what waits as a part."""
        if not self._waiting:
            return
        part = _joined(self._waiting)
        count = self._length(part)
        name = f"part-{self._begun:012d}-{count}.parquet"
        beside = self._folder / f"{name}.new"
        table_write(beside, [part])
        beside.replace(self._folder / name)
        self._written.append(name)
        self._waiting, self._begun = [], self._begun + count

    def rollback(self, written: Sequence[str]) -> None:
        """Forgets all cycles but those of some earlier parts."""
        self._written, self._waiting = list(written), []
        self._begun = _begun(written)

    @property
    def written(self) -> list[str]:
        """Names of the parts; all cycles are in them after ``flush``."""
        return list(self._written)

    def __iter__(self) -> Iterator[Columns]:
        for name in self._written:
            yield table_read(self._folder / name)
        yield from self._waiting
        if not self._written and not self._waiting and self._empty is not None:
            yield self._empty

    @staticmethod
    def _length(table: Columns) -> int:
        return len(table["cycle"])


def _begun(written: Sequence[str]) -> int:
    return sum(int(name.removesuffix(".parquet").split("-")[2]) for name in written)


def _joined(tables: Sequence[Columns]) -> dict[str, npt.NDArray[Any]]:
    return {name: np.concatenate([table[name] for table in tables]) for name in tables[0]}


def table_write(path: Path, tables: Iterable[Columns]) -> None:
    """Write a table as Parquet, in row groups of ``GROUP_ROWS`` rows.

    Args:
        path: of the file to be written.
        tables: its rows, in any number of pieces with the same columns.
    """
    import pyarrow as pa
    from pyarrow import parquet

    writer: Any = None
    for group in _groups(tables):
        arrow = pa.table({name: pa.array(values) for name, values in group.items()})
        if writer is None:
            writer = parquet.ParquetWriter(path, arrow.schema, compression="zstd")
        writer.write_table(arrow, row_group_size=GROUP_ROWS)
    if writer is not None:
        writer.close()


def table_read(path: Path) -> dict[str, npt.NDArray[Any]]:
    """A whole table as ``table_write`` wrote it."""
    from pyarrow import parquet

    arrow = parquet.read_table(path)
    return {name: arrow.column(name).to_numpy() for name in arrow.column_names}


def _groups(tables: Iterable[Columns]) -> Iterator[Columns]:
    """The same rows in pieces of ``GROUP_ROWS``, the last one shorter; at least one piece."""
    waiting: list[Columns] = []
    length, given = 0, False
    for table in tables:
        waiting.append(table)
        length += _rows(table)
        while length >= GROUP_ROWS:
            whole = _joined(waiting)
            yield {name: values[:GROUP_ROWS] for name, values in whole.items()}
            given = True
            waiting = [{name: values[GROUP_ROWS:] for name, values in whole.items()}]
            length -= GROUP_ROWS
    if waiting and (length or not given):
        yield _joined(waiting)


def _rows(table: Columns) -> int:
    return len(next(iter(table.values()), ()))
