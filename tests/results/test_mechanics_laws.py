"""Stress–strain laws: known values, tangents, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.laws import (
    BarSteel,
    FabricLaw,
    LinearConcrete,
    Parabola,
    ParabolaRectangle,
    StressLaw,
    WithTension,
    stress,
)

MODULUS = 25_742.96
LAWS: list[StressLaw] = [
    ParabolaRectangle(30.0),
    Parabola(30.0, MODULUS),
    LinearConcrete(MODULUS),
    WithTension(Parabola(30.0, MODULUS), 3.4, MODULUS, 0.001),
    BarSteel(420.0),
    BarSteel(420.0, hardening_mpa=2000.0),
    FabricLaw(128_000.0),
    FabricLaw(120_000.0, 1_500_000.0, 0.0002),
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
@given(strain=st.floats(-0.004, 0.012))
def test_tangent_is_the_slope_of_the_stress(law: StressLaw, strain: float) -> None:
    step = 1e-9
    around = stress(law, np.array([strain - step, strain, strain + step]))
    left, right = (around[1] - around[0]) / step, (around[2] - around[1]) / step
    tangent = float(law.stress_and_tangent(np.array([strain]))[1][0])
    low, high = min(left, right), max(left, right)
    assert low - 0.01 * abs(low) - 5.0 <= tangent <= high + 0.01 * abs(high) + 5.0


def test_parabola_rectangle_values() -> None:
    law = ParabolaRectangle(30.0)
    found = stress(law, np.array([0.001, 0.0, -0.001, -0.002, -0.0035]))
    assert found == pytest.approx([0.0, 0.0, -22.5, -30.0, -30.0])


def test_parabola_falls_beyond_its_peak_and_never_turns_to_tension() -> None:
    law = Parabola(10.0, 4700 * math.sqrt(10.0))
    peak = law.peak_strain
    found = stress(law, np.array([-peak, -1.5 * peak, -2.0 * peak, -2.6 * peak]))
    assert found == pytest.approx([-10.0, -7.5, 0.0, 0.0])


def test_tension_softens_to_nothing() -> None:
    law = WithTension(LinearConcrete(20_000.0), 2.0, 20_000.0, 0.0011)
    found = stress(law, np.array([-1e-4, 5e-5, 1e-4, 6e-4, 0.0011, 0.002]))
    assert found == pytest.approx([-2.0, 1.0, 2.0, 1.0, 0.0, 0.0])
    brittle = WithTension(LinearConcrete(20_000.0), 2.0, 20_000.0, 1e-4)
    assert stress(brittle, np.array([1e-4, 1.01e-4])) == pytest.approx([2.0, 0.0])


def test_steel_hardens_alike_both_ways() -> None:
    law = BarSteel(400.0, 200_000.0, 2000.0)
    found = stress(law, np.array([-0.012, -0.002, 0.001, 0.012]))
    assert found == pytest.approx([-420.0, -400.0, 200.0, 420.0])


def test_fabric_of_two_lines_is_slack_in_compression() -> None:
    law = FabricLaw(120_000.0, 1_500_000.0, 0.0002)
    assert stress(law, np.array([-0.001, 0.0002, 0.0102])) == pytest.approx([0.0, 300.0, 1500.0])


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (
            lambda: ParabolaRectangle(4000.0),
            "strength_mpa is 4000.0; allowed is above 0 to 200 MPa",
        ),
        (lambda: ParabolaRectangle(-30.0), "strength_mpa is -30.0"),
        (lambda: BarSteel(60.0), "yield_mpa is 60.0; allowed is from 100 to 1500 MPa"),
        (lambda: BarSteel(420.0, rupture_strain=0.001), "rupture_strain is 0.001"),
        (lambda: FabricLaw(128.0), "modulus_mpa is 128.0; allowed is from 1000 to 800000 MPa"),
        (lambda: FabricLaw(120_000.0, 100_000.0), "uncracked_mpa is 100000.0"),
        (lambda: WithTension(LinearConcrete(2e4), 3.0, 2e4, 1e-5), "end_strain is 1e-05"),
        (lambda: Parabola(30.0, 25.7), "modulus_mpa is 25.7"),
        (lambda: LinearConcrete(math.nan), "modulus_mpa is nan"),
    ],
)
def test_refuses_what_no_material_has(build: object, sentence: str) -> None:
    assert callable(build)
    with pytest.raises(RangeError) as caught:
        build()
    assert sentence in caught.value.message
