"""Published histories and closed forms for turning points, counting and loops."""

from __future__ import annotations

import math

import numpy as np
import pytest

from results.domain.reduction.counting import level_crossings, machine_hours, rainflow
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.turning import turning_points


def test_rainflow_of_the_published_history() -> None:
    """ASTM E1049-85, example of rainflow counting."""
    counted = rainflow([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    assert counted.by_range() == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}


def test_level_crossings_of_the_published_history() -> None:
    """ASTM E1049-85, example of level-crossing counting."""
    history = [-0.8, 1.3, 0.7, 3.4, 0.7, 2.5, -1.4, -0.5, -2.3, -2.2, -2.6, -2.4]
    history += [-3.3, 1.5, 0.6, 3.4, -0.5]
    assert level_crossings(history, range(-3, 4)) == {
        -3.0: 1,
        -2.0: 1,
        -1.0: 2,
        0.0: 2,
        1.0: 5,
        2.0: 3,
        3.0: 2,
    }


@pytest.mark.parametrize(
    ("band", "values"),
    [(0.0, [0.0, 1.0, 0.95, 2.0, -1.0, 3.0]), (0.2, [0.0, 2.0, -1.0, 3.0])],
)
def test_turning_points_of_a_small_history(band: float, values: list[float]) -> None:
    """By hand: plateaus merge, a move within the band is noise."""
    found = turning_points([0, 1, 1, 0.95, 2, -1, -1, 3], band)
    assert found.value.tolist() == values


def test_machine_time_of_two_million_cycles_at_five_hertz() -> None:
    assert machine_hours(2_000_000, 5.0) == pytest.approx(111.1111, abs=5e-5)


def _ellipse(samples: int) -> tuple[np.ndarray, np.ndarray]:
    theta = np.linspace(-0.5 * np.pi, 5.5 * np.pi, 3 * samples + 1)
    return 10.0 * np.sin(theta), 2.0 * np.sin(theta - 0.1)


def test_energy_and_damping_of_an_ellipse() -> None:
    """Closed form: area π·F0·x0·sin φ; equivalent damping sin φ / 2."""
    load, deflection = _ellipse(4_000)
    table = reduce_cyclic(load_kn=load, deflection_mm=deflection).table
    assert table is not None
    energy = table["loop_energy_kn_mm"]
    assert len(energy) == 3
    assert energy == pytest.approx(6.272719, rel=1e-6)
    stored = 0.5 * 10.0 * 2.0
    assert energy / (4.0 * math.pi * stored) == pytest.approx(0.0499167, abs=1e-7)


def test_stiffness_at_load_extremes_and_at_deflection_extremes_are_two_things() -> None:
    """Closed form: F0/(x0·cos φ) at the load extremes, F0/x0 from both ranges."""
    load, deflection = _ellipse(4_000)
    found = {}
    for stiffness in ("load-extremes", "deflection-extremes", "regression"):
        settings = CyclicSettings(stiffness=stiffness)
        outcome = reduce_cyclic(load_kn=load, deflection_mm=deflection, settings=settings)
        found[stiffness] = outcome.get("secant_stiffness", at=3)
    assert found["load-extremes"].value == pytest.approx(5.0 / math.cos(0.1), rel=1e-6)
    assert found["load-extremes"].value == pytest.approx(5.0251, abs=5e-5)
    assert found["deflection-extremes"].value == pytest.approx(5.0, rel=1e-6)
    assert found["regression"].value == pytest.approx(5.0 * math.cos(0.1), rel=1e-3)
    assert {f.method for f in found.values()} == set(found)


def test_secant_stiffness_and_ratios_at_named_cycles() -> None:
    """Exact by construction: load 8 to 40 kN with stated deflections at both, block by block."""
    blocks = {
        1: (1.20, 6.20, 6.40000, 1.0),
        1_000: (1.80, 7.00, 6.15385, 0.96154),
        100_000: (2.20, 7.70, 5.81818, 0.90909),
        2_000_000: (2.60, 8.60, 5.33333, 0.83333),
    }
    for number, (low, high, stiffness, ratio) in blocks.items():
        settings = CyclicSettings(reference="stiffness", reference_stiffness_kn_mm=6.4)
        outcome = reduce_cyclic(
            load_kn=np.interp(np.arange(201), [0, 100, 200], [8.0, 40.0, 8.0]),
            deflection_mm=np.interp(np.arange(201), [0, 100, 200], [low, high, low]),
            cycle_offset=number - 1,
            settings=settings,
        )
        assert outcome.get("secant_stiffness", at=number).value == pytest.approx(
            stiffness, abs=5e-6
        )
        assert outcome.get("stiffness_ratio", at=number).value == pytest.approx(ratio, abs=5e-6)
        assert outcome.get("stiffness_loss", at=number).value == pytest.approx(1 - ratio, abs=5e-6)
        assert outcome.get("residual_deflection", at=number).value == pytest.approx(low)
        assert outcome.get("cycle_peak_load", at=number).value == pytest.approx(40.0)
        assert outcome.get("cycle_valley_load", at=number).value == pytest.approx(8.0)
