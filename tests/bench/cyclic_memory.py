"""The largest memory of a process that reduces a long cyclic CSV, at two lengths."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.bench.harness import SCALE, Bench, Child, Goal, child, say, scaled
from tests.bench.made.long_record import LongRecord, write_record
from tests.bench.made.product import reduced, stored

ROWS = (10_000_000, 40_000_000)
MOST_MIB, MOST_GROWTH = 512.0, 1.25


def one_reduction(path: Path) -> None:
    """What the child does: nothing but one reduction."""
    with reduced(stored(path)) as table:
        numbers = table()["cycle"]
        say({"cycles": len(numbers), "in_order": bool(np.all(np.diff(numbers) == 1))})


def measured(record: LongRecord) -> tuple[Child, bool]:
    """A child's run over a record, and whether it found what is there."""
    one = child("tests.bench.cyclic_memory", str(record.path))
    return one, one.said == {"cycles": record.cycles, "in_order": True}


def main() -> None:
    """Rows for each length and for the growth between them."""
    bench = Bench("cyclic_memory", versions=("numba", "pyarrow"))
    peaks = []
    for rows in ROWS:
        with tempfile.TemporaryDirectory(prefix="strongfloor-bench-") as folder:
            record = write_record(Path(folder) / "long.csv", scaled(rows, 60_000))
            one, found = measured(record)
            megabytes = record.megabytes
        peaks.append(one.peak_mib)
        bench.row(
            f"cyclic-memory-{rows // 1_000_000}m",
            f"Largest memory of a process that reduces {record.rows:,} rows",
            figure=one.peak_mib,
            unit="MiB",
            goal=Goal("A2", MOST_MIB),
            facts={
                "file": f"{megabytes:.0f} MB",
                "whole process, start and imports in it": f"{one.seconds:.2f} s",
            },
            claims={f"every cycle found of {record.rows:,} rows": found},
        )
    bench.row(
        "cyclic-memory-growth",
        f"Growth of that memory from {ROWS[0] * SCALE:,.0f} to {ROWS[1] * SCALE:,.0f} rows",
        figure=peaks[1] / peaks[0],
        goal=Goal("A2", MOST_GROWTH),
        claims={"memory is bounded": peaks[1] / peaks[0] <= MOST_GROWTH},
    )
    bench.end()


if __name__ == "__main__":
    if sys.argv[1:]:
        one_reduction(Path(sys.argv[1]))
    else:
        main()
