"""Published and closed-form uncertainty budgets."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from results.domain.reduction.uncertainty import (
    Input,
    combine,
    effective_dof,
    from_resolution,
    propagate,
    propagate_drawn,
    rectangular,
)

# JCGM 100:2008, example H.1: calibration of an end gauge of nominal length 50 mm (nm and °C).
END_GAUGE = (
    Input("length of the standard", 50_000_623.0, 25.0, 18.0),
    Input("measured difference", 215.0, 9.7, 25.6),
    Input("difference of expansion", 0.0, 0.58e-6, 50.0),
    Input("deviation of temperature", -0.1, 0.41),
    Input("expansion of the standard", 11.5e-6, 1.2e-6),
    Input("difference of temperature", 0.0, 0.029, 2.0),
)


def _length(*values: Any) -> Any:
    standard, difference, d_alpha, theta, alpha, d_theta = values
    return standard + difference - standard * (d_alpha * theta + alpha * d_theta)


def test_end_gauge_by_first_order() -> None:
    """JCGM 100:2008, H.1: 50 000 838 nm, 32 nm, 16 degrees of freedom, U99 93 nm."""
    budget = propagate(_length, END_GAUGE)
    assert budget.value == pytest.approx(50_000_838.0)
    assert budget.u == pytest.approx(32.0, abs=0.5)
    assert math.floor(budget.dof) == 16
    assert budget.coverage_factor(0.99) == pytest.approx(2.92, abs=0.005)
    assert budget.expanded(0.99) == pytest.approx(93.0, abs=1.0)
    contributions = {row.source: row.contribution for row in budget.rows}
    assert contributions["length of the standard"] == pytest.approx(25.0, abs=0.05)
    assert contributions["measured difference"] == pytest.approx(9.7, abs=0.05)
    assert contributions["difference of expansion"] == pytest.approx(2.9, abs=0.05)
    assert contributions["difference of temperature"] == pytest.approx(16.6, abs=0.15)
    assert contributions["deviation of temperature"] == pytest.approx(0.0, abs=1e-6)
    assert contributions["expansion of the standard"] == pytest.approx(0.0, abs=1e-6)


def test_end_gauge_by_monte_carlo_shows_the_second_order() -> None:
    """JCGM 100:2008, H.1.7: second-order terms of 11.7 and 1.7 nm raise 32 to 34 nm."""
    drawn = propagate_drawn(_length, END_GAUGE, seed=7, draws=200_000)
    assert drawn.u == pytest.approx(34.0, abs=0.5)
    assert drawn.value == pytest.approx(50_000_838.0, abs=1.0)


def test_strength_of_a_cylinder() -> None:
    """Closed form: √(0.5² + (2·0.1)²) % = 0.538516 %."""
    force, diameter = 250_000.0, 101.6
    budget = propagate(
        lambda f, d: 4.0 * f / (math.pi * d * d),
        [Input("force", force, 0.005 * force), Input("diameter", diameter, 0.001 * diameter)],
    )
    assert 100.0 * budget.u / budget.value == pytest.approx(0.538516, abs=2e-5)
    assert math.isinf(budget.dof)
    assert budget.coverage_factor(0.95) == pytest.approx(1.959964, abs=1e-6)


def test_rectangular_limits() -> None:
    """GUM 4.3.7: a/√3."""
    assert rectangular(1.0) == pytest.approx(0.57735, abs=5e-6)
    assert from_resolution(0.01) == pytest.approx(0.01 / math.sqrt(12.0))


def test_welch_satterthwaite_of_equal_parts() -> None:
    """Closed form: n equal contributions of ν degrees of freedom each give n·ν."""
    assert effective_dof(2.0, [1.0] * 4, [5.0] * 4) == pytest.approx(20.0)


def test_correlated_inputs() -> None:
    """GUM 5.2: fully correlated terms add, opposite ones cancel."""
    inputs = [Input("a", 1.0, 3.0), Input("b", 1.0, 4.0)]
    assert combine(0.0, inputs, [1.0, 1.0]).u == pytest.approx(5.0)
    assert combine(0.0, inputs, [1.0, 1.0], {("a", "b"): 1.0}).u == pytest.approx(7.0)
    assert combine(0.0, inputs, [1.0, 1.0], {("a", "b"): -1.0}).u == pytest.approx(1.0)


def test_monte_carlo_of_a_linear_function_agrees_with_first_order() -> None:
    inputs = [Input("a", 2.0, 0.3), Input("b", 5.0, 0.4, shape="rectangular")]
    drawn = propagate_drawn(lambda a, b: a + b, inputs, seed=1, draws=100_000)
    assert drawn.u == pytest.approx(propagate(lambda a, b: a + b, inputs).u, rel=0.01)
    sample = inputs[1].draw(np.random.default_rng(1), 10_000)
    assert np.abs(sample - 5.0).max() <= 0.4 * math.sqrt(3.0)
