"""Five hundred planned cells predicted by the product's own job, on an installation of its own."""

from __future__ import annotations

import os
import tempfile

from tests.bench.harness import Bench, Goal, child, scaled


def main() -> None:
    """One row."""
    bench = Bench("mechanics_cells", repeats=3)
    cells = scaled(500, 12)
    told = []
    for _ in range(bench.repeats):
        with tempfile.TemporaryDirectory() as home:
            os.environ["DJANGO_SETTINGS_MODULE"] = "labmatrix.settings"
            os.environ["STRONGFLOOR_HOME"] = home
            os.environ.pop("STRONGFLOOR_DATABASE_URL", None)
            told.append(child("tests.bench.made.predicted_cells", str(cells)).said)
    best = min(told, key=lambda one: one["seconds"])
    bench.row(
        "predict-cells",
        f"{cells} planned cells predicted and kept, by the job with its progress (SQLite)",
        figure=best["seconds"],
        unit="s",
        goal=Goal("10 s", 10.0),
        facts={
            "each run": ", ".join(f"{one['seconds']:.2f} s" for one in told),
            "progress told": f"{best['reports']} times",
            "draws for each cell": f"{best['samples']:,}",
        },
        claims={
            "every cell has its prediction": all(one["predicted"] == cells for one in told),
            "none was refused": all(one["refused"] == 0 for one in told),
            "progress was told for every cell": all(one["reports"] >= cells for one in told),
        },
    )
    bench.end()


if __name__ == "__main__":
    main()
