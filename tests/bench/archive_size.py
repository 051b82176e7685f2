"""A record as its archive keeps it, against Parquet as it is written by default; and back."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import polars as pl

from labmatrix.evidence.reading.open_table import read_table
from labmatrix.evidence.reading.parquet import read_parquet, write_parquet
from labmatrix.evidence.reading.table import RawTable
from tests.bench.harness import Bench, Goal, interleaved, scaled
from tests.bench.made.long_record import write_record

ROWS = 10_000_000


def by_default(table: RawTable, path: Path) -> int:
    """The same columns as polars writes them by default (zstd), bytes."""
    pl.DataFrame({name: table.values[name] for name in table.values}).write_parquet(path)
    return path.stat().st_size


def is_same(one: RawTable, other: RawTable) -> bool:
    """Whether two tables are the same to the last bit, with lines and warnings."""
    return (
        one.columns == other.columns
        and one.warnings == other.warnings
        and one.lines.tobytes() == other.lines.tobytes()
        and all(one.values[n].tobytes() == other.values[n].tobytes() for n in one.values)
    )


def main() -> None:
    """One row for the size; its times are facts."""
    bench = Bench("archive_size", versions=("polars", "pyarrow"), repeats=1)
    with tempfile.TemporaryDirectory(prefix="strongfloor-bench-") as folder:
        record = write_record(Path(folder) / "long.csv", scaled(ROWS, 60_000))
        with record.path.open("rb") as file:
            table = read_table(file)
        runs = interleaved(
            {
                "archive": lambda: write_parquet(table),
                "polars": lambda: by_default(table, Path(folder) / "default.parquet"),
            },
            repeats=bench.repeats,
        )
        archive, default = runs.values["archive"], runs.values["polars"]
        share = len(archive) / (1e6 * record.megabytes)
    bench.row(
        "archive-size",
        f"Archive of a record of {record.rows:,} rows, against Parquet (zstd) as polars writes it",
        figure=len(archive) / default,
        goal=Goal("A3", 0.5),
        runs=runs,
        facts={
            "archive": f"{len(archive) / 1e6:.1f} MB, {share:.0%} of the CSV",
            "default Parquet": f"{default / 1e6:.1f} MB",
        },
        claims={
            "read back bit for bit": is_same(table, read_parquet(io.BytesIO(archive))),
        },
    )
    bench.end()


if __name__ == "__main__":
    main()
