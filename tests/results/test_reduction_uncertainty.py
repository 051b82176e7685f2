"""Uncertainty of metrics: closed forms for scale errors, scatter against repeated records."""

from __future__ import annotations

import math

import numpy as np
import pytest

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction.break_test import reduce_break
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.instruments import SCATTER, Instrument, judge
from results.domain.reduction.outcome import Floats, Found, Outcome
from results.domain.reduction.uncertainty import (
    Input,
    combine,
    from_certificate,
    propagate_drawn,
    rectangular,
)
from tests.results.cyclic_signals import fatigue_record

LOAD = Instrument("load cell", scale_u=0.005, scale_dof=20.0)
DEFLECTION = Instrument("transducer", scale_u=0.002)


def _cyclic(load: Floats, deflection: Floats) -> Outcome:
    return reduce_cyclic(
        load_kn=load, deflection_mm=deflection, settings=CyclicSettings(noise_band=2.0)
    )


def _break(load: Floats, deflection: Floats) -> Outcome:
    return reduce_break(load_kn=load, deflection_mm=deflection, already_cracked=False)


def test_scale_errors_follow_the_units_of_a_metric() -> None:
    """Closed form: u²/v² = (p·0.005)² + (q·0.002)² for kN^p mm^q; ratios have none."""
    record = fatigue_record(cycles=12)
    judged = judge(
        _cyclic,
        load_kn=record.load,
        deflection_mm=record.deflection,
        load=LOAD,
        deflection=DEFLECTION,
        seed=1,
        draws=20,
    )
    powers = {"kN": (1, 0), "mm": (0, 1), "kN/mm": (1, -1), "kN·mm": (1, 1), "1": (0, 0)}
    seen = set()
    for found in judged.outcome.metrics:
        p, q = powers[found.unit]
        expected = abs(found.value) * math.hypot(p * 0.005, q * 0.002)
        assert found.u == pytest.approx(expected, rel=1e-3, abs=1e-9), found.name
        seen.add(found.unit)
    assert seen == set(powers)


def test_scatter_is_that_of_repeated_records() -> None:
    """The standard deviation over independent records with the same noise."""

    def record(seed: int) -> tuple[Floats, Floats]:
        made = fatigue_record(cycles=10, noise_kn=0.2, noise_mm=0.02, seed=seed)
        return made.load, made.deflection

    load, deflection = record(0)
    judged = judge(
        _cyclic,
        load_kn=load,
        deflection_mm=deflection,
        load=Instrument("load cell"),
        deflection=Instrument("transducer"),
        seed=2,
        draws=60,
    )
    repeated = [
        _cyclic(*record(seed)).get("secant_stiffness", at=10).value for seed in range(1, 121)
    ]
    found = judged.outcome.get("secant_stiffness", at=10)
    assert found.u == pytest.approx(float(np.std(repeated, ddof=1)), rel=0.35)
    budget = judged.budgets["secant_stiffness", "load-extremes", 10]
    assert [row.source for row in budget.rows] == [SCATTER]


def test_every_number_of_a_break_test_has_a_budget_that_adds_up() -> None:
    deflection = np.concatenate([np.zeros(200), np.linspace(0.0, 40.0, 3_000)])
    load = np.interp(deflection, [0, 1, 6, 10, 25, 35, 40], [0, 15, 60, 66, 72, 60, 50])
    rng = np.random.default_rng(3)
    judged = judge(
        _break,
        load_kn=load + rng.normal(0.0, 0.05, len(load)),
        deflection_mm=deflection,
        load=Instrument("load cell", scale_u=0.005, zero_u=0.05, resolution=0.01),
        deflection=Instrument("transducer", scale_u=0.002, resolution=0.001),
        seed=4,
        draws=25,
    )
    for found in judged.outcome.metrics:
        budget = judged.budgets[found.name, found.method, found.at]
        assert found.u == budget.u
        if budget.method == "first order":
            assert found.u == pytest.approx(math.hypot(*(r.contribution for r in budget.rows)))
    peak = judged.outcome.get("peak_load")
    assert peak.u == pytest.approx(0.36, rel=0.1)  # 0.5 % of 72 kN; the zero is taken at rest
    assert judged.outcome.settings["uncertainty_seed"] == 4


def test_a_metric_that_bends_goes_by_monte_carlo() -> None:
    """A square about zero has no slope there; its spread is √2·u² (closed form)."""

    def square(load: Floats, deflection: Floats) -> Outcome:
        return Outcome(metrics=(Found("square", float(load.mean()) ** 2, "1"),))

    judged = judge(
        square,
        load_kn=np.zeros(100),
        deflection_mm=np.zeros(100),
        load=Instrument("load cell", zero_u=0.5),
        deflection=Instrument("transducer"),
        seed=5,
        draws=4_000,
    )
    budget = judged.budgets["square", None, None]
    assert budget.method == "Monte Carlo"
    assert budget.u == pytest.approx(math.sqrt(2.0) * 0.25, rel=0.1)


def test_a_metric_that_comes_and_goes_has_no_uncertainty_and_is_named() -> None:
    def fickle(load: Floats, deflection: Floats) -> Outcome:
        found = (Found("sometimes", 1.0, "1"),) if float(load[0]) <= 0.0 else ()
        return Outcome(metrics=found)

    judged = judge(
        fickle,
        load_kn=np.zeros(100),
        deflection_mm=np.zeros(100),
        load=Instrument("load cell", zero_u=0.1),
        deflection=Instrument("transducer"),
        seed=6,
        draws=20,
    )
    assert judged.outcome.get("sometimes").u is None
    assert judged.outcome.codes() == ("uncertainty.not-found",)
    assert "sometimes" in judged.outcome.warnings[0].message


def test_refuses_what_cannot_be_an_uncertainty() -> None:
    with pytest.raises(RangeError, match="u of force"):
        Input("force", 1.0, -0.1)
    with pytest.raises(RangeError, match="half_width"):
        rectangular(-1.0)
    with pytest.raises(RangeError, match="coverage_factor"):
        from_certificate(0.5, 0.0)
    with pytest.raises(RangeError, match="scale_u of cell"):
        Instrument("cell", scale_u=-0.1)
    with pytest.raises(RangeError, match="draws"):
        propagate_drawn(lambda a: a, [Input("a", 0.0, 1.0)], seed=1, draws=5)
    inputs = [Input("a", 0.0, 1.0), Input("b", 0.0, 1.0)]
    with pytest.raises(ShapeError, match=r"1 sensitivities.*2 inputs"):
        combine(0.0, inputs, [1.0])
    with pytest.raises(ShapeError, match="inputs are a, b"):
        combine(0.0, inputs, [1.0, 1.0], {("a", "c"): 0.5})
    with pytest.raises(RangeError, match="correlation of a with b"):
        combine(0.0, inputs, [1.0, 1.0], {("a", "b"): 1.5})
    with pytest.raises(ShapeError, match="same source"):
        combine(0.0, [inputs[0], inputs[0]], [1.0, 1.0])
    assert from_certificate(0.5, 2.0) == 0.25
