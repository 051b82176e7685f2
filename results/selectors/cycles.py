"""Read the load cycles of a record, a bounded page at a time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from labmatrix.evidence.models import Blob, Record
from labmatrix.evidence.services.blob import blob_open
from labmatrix.kernel.errors import NotFound, RangeError
from results.models import Reduction
from results.selectors.record import reduction_get

PAGE_MAX = 1000
_LAST = 10**15
_UNITS = {
    "valley_load_kn": "kN",
    "peak_load_kn": "kN",
    "valley_deflection_mm": "mm",
    "peak_deflection_mm": "mm",
    "stiffness_load_extremes_kn_mm": "kN/mm",
    "stiffness_deflection_extremes_kn_mm": "kN/mm",
    "stiffness_regression_kn_mm": "kN/mm",
    "loop_energy_kn_mm": "kN·mm",
    "residual_deflection_mm": "mm",
    "frequency_hz": "Hz",
}


@dataclass(frozen=True)
class CyclePage:
    """Some load cycles of a record.

    Attributes:
        reduction: that measured them.
        first, last: numbers that were asked for, both included.
        count: how many cycles lie between them.
        columns: {name, unit} of each column.
        rows: the first of them, in the order of their numbers; None where a number is missing.
    """

    reduction: Reduction
    first: int
    last: int
    count: int
    columns: list[dict[str, str]]
    rows: list[dict[str, Any]]

    @property
    def next_from(self) -> int | None:
        """The number from which the next page begins, None where this one is the last."""
        return self.rows[-1]["cycle"] + 1 if len(self.rows) < self.count else None


def cycle_page(
    *, record: Record, first: int = 1, last: int | None = None, key: str = "", at_most: int = 100
) -> CyclePage:
    """Load cycles of a record by their numbers.

    Args:
        record: one that the person may see.
        first, last: numbers of load cycles, both included; None for the last of the record.
        key: of an earlier reduction; empty for the current one.
        at_most: rows of the page, up to ``PAGE_MAX``.

    Raises:
        NotFound: ``record.no-reduction`` or ``record.no-cycles``.
        RangeError: a page of another size, or ``last`` before ``first``.
    """
    if not 1 <= at_most <= PAGE_MAX:
        raise RangeError("page_size", at_most, f"1 to {PAGE_MAX}")
    end = _LAST if last is None else last
    if end < first:
        raise RangeError("to", end, f"{first} or more, the number asked for as from")
    reduction = reduction_get(record=record, key=key)
    if reduction.table is None or reduction.name != "cyclic":
        raise NotFound(
            "record.no-cycles",
            "Load cycles were asked for; a record reduced as cyclic has them, and this "
            f"{record.test} record is reduced as {reduction.name}.",
            test=record.test,
        )
    names, rows, count = _page_of(reduction.table, first=first, last=end, at_most=at_most)
    carried = {
        f"{side}_{entry['name']}": entry["unit"]
        for entry in reduction.settings.get("carried", ())
        for side in ("valley", "peak")
    }
    units = _UNITS | carried
    return CyclePage(
        reduction=reduction,
        first=first,
        last=end,
        count=count,
        columns=[{"name": name, "unit": units.get(name, "1")} for name in names],
        rows=[dict(zip(names, row, strict=True)) for row in rows],
    )


def cycle_last(reduction: Reduction) -> int | None:
    """Number of the last load cycle of a cyclic reduction; None where it has none."""
    from pyarrow import parquet

    if reduction.table is None:
        return None
    with blob_open(reduction.table) as stream:
        metadata = parquet.ParquetFile(stream).metadata
    groups = [metadata.row_group(k) for k in range(metadata.num_row_groups)]
    if not groups:
        return None
    names = [groups[0].column(k).path_in_schema for k in range(metadata.num_columns)]
    place = names.index("cycle")
    return max((int(group.column(place).statistics.max) for group in groups if group.num_rows),
               default=None)  # fmt: skip


def _page_of(
    blob: Blob, *, first: int, last: int, at_most: int
) -> tuple[list[str], list[list[Any]], int]:
    """Cycles of a stored table by their numbers.

    Only the row groups that hold them are read.

    Args:
        blob: a table of cycles.
        first, last: numbers of load cycles, both included.
        at_most: rows that are given.

    Returns:
        Names of the columns, rows (None where a number is missing), and how many cycles of the
        table lie between ``first`` and ``last``.
    """
    from pyarrow import parquet

    rows: list[list[Any]] = []
    found = 0
    with blob_open(blob) as stream:
        file = parquet.ParquetFile(stream)
        names = list(file.schema_arrow.names)
        for group in _groups_between(file.metadata, names.index("cycle"), first, last):
            cycle = file.read_row_group(group, columns=["cycle"]).column(0).to_numpy()
            places = np.flatnonzero((cycle >= first) & (cycle <= last))
            found += len(places)
            wanted = places[: at_most - len(rows)]
            if len(wanted):
                taken = file.read_row_group(group).take(wanted)
                rows += [
                    [_plain(value) for value in row]
                    for row in zip(*(taken.column(k).to_pylist() for k in range(len(names))),
                                   strict=True)
                ]  # fmt: skip
    return names, rows, found


def _groups_between(metadata: Any, column: int, first: int, last: int) -> Iterator[int]:
    for group in range(metadata.num_row_groups):
        told = metadata.row_group(group).column(column).statistics
        if told is None or not told.has_min_max or (told.min <= last and told.max >= first):
            yield group


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
