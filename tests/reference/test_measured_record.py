"""A measured record: reversed cycles of growing amplitude to failure, no time column.

Drexler, Dires and Tannert, "Internal perforated-steel-plate connections for CLT shear walls",
World Conference on Timber Engineering, Santiago de Chile 2021; published with the examples of the
Apache-2.0 licensed library Hysteresis. The file is not part of this repository: these tests run
where it is present.
"""

from __future__ import annotations

import numpy as np
import pytest

from results.domain.reduction.cycle_envelope import reduce_envelope
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.turning import turning_points
from tests.measured_record import measured_path


@pytest.fixture(scope="module")
def record() -> tuple[np.ndarray, np.ndarray]:
    load, deflection = np.loadtxt(measured_path(), delimiter=",", skiprows=2, unpack=True)
    return load, deflection


def test_reversals_of_the_displacement(record: tuple[np.ndarray, np.ndarray]) -> None:
    reversals = turning_points(record[1], 1.0).value[1:-1]
    assert len(reversals) == 56
    assert reversals[:3] == pytest.approx([3.3, -3.3, 2.4], abs=0.05)
    assert reversals[-2:] == pytest.approx([84.5, -84.6], abs=0.05)


@pytest.mark.parametrize("cycles_by", ["load", "deflection"])
def test_cycles_of_a_reversed_growing_record(
    record: tuple[np.ndarray, np.ndarray], cycles_by: str
) -> None:
    settings = CyclicSettings.from_dict({"cycles_by": cycles_by})
    outcome = reduce_cyclic(load_kn=record[0], deflection_mm=record[1], settings=settings)
    assert outcome.table is not None
    assert len(outcome.table["cycle"]) in (27, 28)
    assert not outcome.has("frequency")
    assert "cyclic.no-time" in outcome.codes()
    assert outcome.table["peak_load_kn"].max() == pytest.approx(51.41, rel=0.01)
    assert outcome.table["valley_load_kn"].min() == pytest.approx(-52.46, rel=0.01)
    assert (outcome.table["loop_energy_kn_mm"][:27] > 0.0).all()
    assert outcome.get("stiffness_ratio", at=1).value == 1.0


def test_envelope_of_the_measured_record(record: tuple[np.ndarray, np.ndarray]) -> None:
    """Peaks read off the file; equal-energy yield against an integration written out here."""
    outcome = reduce_envelope(load_kn=record[0], deflection_mm=record[1])
    assert outcome.get("envelope_peak_load", method="positive").value == 51.41
    assert outcome.get("envelope_peak_load", method="negative").value == 52.46
    assert outcome.table is not None
    for side, sign in (("positive", 1), ("negative", -1)):
        of_side = outcome.table["side"] == sign
        x = np.abs(outcome.table["deflection_mm"][of_side])
        y = np.abs(outcome.table["load_kn"][of_side])
        assert len(x) == 9
        ultimate = outcome.get("envelope_ultimate_deflection", method=side).value
        assert np.interp(ultimate, x, y) == pytest.approx(0.8 * y.max())
        load = outcome.get("envelope_yield_load", method=side).value
        deflection = outcome.get("envelope_yield_deflection", method=side).value
        fine = np.linspace(0.0, ultimate, 20_001)
        measured = np.trapezoid(np.interp(fine, x, y), fine)
        idealised = np.trapezoid(np.minimum(load, load / deflection * fine), fine)
        assert idealised == pytest.approx(measured, rel=1e-4)


def test_stiffness_falls_and_energy_grows_with_amplitude(
    record: tuple[np.ndarray, np.ndarray],
) -> None:
    settings = CyclicSettings(cycles_by="deflection")
    table = reduce_cyclic(load_kn=record[0], deflection_mm=record[1], settings=settings).table
    assert table is not None
    low, high = table["valley_deflection_mm"], table["peak_deflection_mm"]
    stiffness = table["stiffness_deflection_extremes_kn_mm"]
    # The last full cycle of each row of equal amplitudes.
    even = np.flatnonzero(np.abs(high + low) < 0.02 * high)
    last = [k for k, after in zip(even, [*even[1:], -1], strict=True) if after != k + 1]
    assert high[last] == pytest.approx([2.44, 4.88, 9.76, 14.65, 19.5, 34.15, 48.8], rel=0.01)
    assert (np.diff(stiffness[last]) < 0.0).all()
    assert (np.diff(table["loop_energy_kn_mm"][last]) > 0.0).all()
    # The loops hold the work done: their sum against the integral of load over deflection.
    start, end = int(table["valley_index"][0]), int(table["next_valley_index"][-1])
    work = np.trapezoid(record[0][start : end + 1], record[1][start : end + 1])
    assert table["loop_energy_kn_mm"].sum() == pytest.approx(work, rel=0.15)
