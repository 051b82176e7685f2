"""A measured record: reversed cycles of growing amplitude to failure, no time column.

Drexler, Dires and Tannert, "Internal perforated-steel-plate connections for CLT shear walls",
World Conference on Timber Engineering, Santiago de Chile 2021; published with the examples of the
Apache-2.0 licensed library Hysteresis. The file is not part of this repository: these tests run
where it is present.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.turning import turning_points

_BESIDE = Path(__file__).parents[3] / "shared" / "real" / "actuator-cyclic-to-failure.csv"
RECORD = Path(os.environ.get("STRONGFLOOR_MEASURED_RECORD", str(_BESIDE)))

pytestmark = pytest.mark.skipif(
    not RECORD.is_file(),
    reason=f"the measured record is not present at {RECORD}; set STRONGFLOOR_MEASURED_RECORD",
)


@pytest.fixture(scope="module")
def record() -> tuple[np.ndarray, np.ndarray]:
    load, deflection = np.loadtxt(RECORD, delimiter=",", skiprows=2, unpack=True)
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
