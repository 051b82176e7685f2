"""A series with broken specimens in every cell."""

from __future__ import annotations

from tests.results.scene import Scene, curve_csv

PEAKS = {
    "P0-LAB": (60.0, 62.0, 64.0),
    "P0-WDS": (55.0, 56.0, 57.0),
    "P2-LAB": (90.0, 92.0, 94.0),
    "P2-WDS": (74.0, 77.0, 80.0),
}


def broken(cast: Scene, cell: str, *peaks: float, day: float = 120.0) -> None:
    """Specimens of a cell, each broken at one of the loads, kN; more than planned are planned."""
    for peak in peaks:
        planned = cast.cells[cell]
        if planned.specimens.count() >= planned.replicates:
            planned.replicates += 1
            planned.save()
        specimen = cast.specimen(cell)
        cast.broke(specimen, day)
        cast.record(specimen.code, curve_csv([(0.0, 0.0), (10.0, peak), (20.0, 0.4 * peak)]))


def whole(cast: Scene, **instead: tuple[float, ...]) -> None:
    """Every cell broken; ``P2_WDS=(…)`` in the place of what is usual."""
    for cell, peaks in PEAKS.items():
        broken(cast, cell, *instead.get(cell.replace("-", "_"), peaks))
