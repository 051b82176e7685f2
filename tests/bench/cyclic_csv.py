"""A long cyclic CSV to its table of load cycles, beside the time of merely parsing the file."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from labmatrix.evidence.reading.streamed import open_stream
from tests.bench.harness import Bench, Goal, interleaved, scaled
from tests.bench.made.long_record import LOSS, LongRecord, write_record
from tests.bench.made.product import Table, reduced, stored

ROWS = 10_000_000
LOSS_WITHIN = 0.001  # of the loss itself
PROFILE = """Where the time goes (10 M rows, processor seconds, busy machine, polars 1.5): parsing
0.6, taking lines from the file 0.35, reducing and all else 0.6, of which the sample loops 0.25, the
table of cycles as Parquet 0.1 (alone, nothing beside it), the head of the file 0.02. Tried: eight
bytes at once instead of one (parse 70 to 50 ns a row); two cursors in one thread (no gain: the loop
is bound by instructions, not by waiting); whole blocks on two threads instead of halves; one look
at line ends and NUL bytes instead of three; steps judged at a glance; no conversion of channels
that are only read at valley and peak. Together 2.9 to 1.6. Not tried: blocks of lines without the
copy that joins them, places of delimiters found ahead, a quicker encoding of the table (its bytes
and therefore stored hashes would change)."""


def parsed_by_polars(path: Path, *, comma: bool) -> Any:
    """Every cell parsed, streaming, and summed so that none is left out."""
    marks: dict[str, Any] = {"separator": ";", "decimal_comma": True} if comma else {}
    lazy = pl.scan_csv(path, infer_schema_length=1000, **marks)
    return lazy.select(pl.all().sum()).collect(engine="streaming")


def same_values(path: Path, *, comma: bool) -> bool:
    """Whether the product reads the very same float64 from every cell as polars does."""
    marks: dict[str, Any] = {"separator": ";", "decimal_comma": True} if comma else {}
    frame = pl.read_csv(path, infer_schema_length=1000, **marks)
    columns = [frame[name].to_numpy() for name in frame.columns]
    first = 0
    with path.open("rb") as file:
        for piece in open_stream(file).pieces():
            rows = slice(first, first + len(piece.lines))
            first = rows.stop
            for ours, theirs in zip(piece.values, columns, strict=True):
                if not np.array_equal(ours, theirs[rows]):
                    return False
    return first == len(frame)


def loss_found(table: Table, cycles: int) -> float:
    """The loss of stiffness from first to last cycle, by a straight line through all cycles."""
    middle = (table["cycle"] - 0.75) / cycles
    slope, start = np.polyfit(middle, table["stiffness_load_extremes_kn_mm"], 1)
    return float(-slope / start)


def measured(bench: Bench, record: LongRecord, *, comma: bool) -> Table:
    """States the row of one file; its table of cycles."""
    name = stored(record.path)

    def ours() -> None:
        with reduced(name):
            pass

    runs = interleaved(
        {"ours": ours, "polars": lambda: parsed_by_polars(record.path, comma=comma)},
        repeats=bench.repeats,
        warm=True,
    )
    with reduced(name) as read:
        table = read()
    words = "with decimal commas" if comma else "clean"
    bench.ratio(
        f"cyclic-csv-{'comma' if comma else 'clean'}",
        f"CSV of {record.rows:,} rows, {words}, to the table of its cycles, against polars "
        "streaming that merely parses it",
        runs,
        of="ours",
        to="polars",
        goal=Goal("A1", 0.6),
        remark=PROFILE,
        facts={
            "file": f"{record.megabytes:.0f} MB, six columns",
            "ours reads and reduces": f"{record.megabytes / runs.best('ours'):.0f} MB/s",
        },
        claims={
            f"every cycle found ({words})": np.array_equal(
                table["cycle"], np.arange(1, record.cycles + 1)
            ),
            f"every value bit-identical to polars' ({words})": same_values(
                record.path, comma=comma
            ),
        },
    )
    return table


def main() -> None:
    """Rows for speed with dots and commas, and for the known loss."""
    bench = Bench("cyclic_csv", versions=("polars", "numba", "pyarrow"))
    rows = scaled(ROWS, 60_000)
    with tempfile.TemporaryDirectory(prefix="strongfloor-bench-") as folder:
        for comma in (False, True):
            path = Path(folder) / f"long-{comma}.csv"
            record = write_record(path, rows, comma=comma)
            table = measured(bench, record, comma=comma)
            path.unlink()
    found = loss_found(table, record.cycles)
    bench.row(
        "stiffness-loss",
        f"Known loss of stiffness of {LOSS:.0%} over {record.cycles:,} cycles, found",
        figure=100.0 * abs(found / LOSS - 1.0),
        unit="% off",
        goal=Goal("A5", 100.0 * LOSS_WITHIN),
        facts={"loss found": f"{found:.5f} of the first stiffness"},
        claims={"within 0.1 % of the loss": abs(found / LOSS - 1.0) <= LOSS_WITHIN},
    )
    bench.end()


if __name__ == "__main__":
    main()
