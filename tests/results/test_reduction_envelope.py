"""Envelopes of reversed cyclic tests."""

from __future__ import annotations

import numpy as np
import pytest

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.cycle_envelope import EnvelopeSettings, reduce_envelope

AMPLITUDES = (1.0, 6.0, 10.0, 25.0, 35.0, 40.0)


def _reversed(trailing: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Straight strokes to growing amplitudes on a known curve, then smaller ones below it."""
    corners, loads = [0.0], [0.0]
    for amplitude, load in zip(AMPLITUDES, (15.0, 60.0, 66.0, 72.0, 60.0, 50.0), strict=True):
        corners += [amplitude, -amplitude] + [0.75 * amplitude, -0.75 * amplitude] * trailing
        loads += [load, -load] + [0.7 * load, -0.7 * load] * trailing
    corners.append(0.0)
    loads.append(0.0)
    along = np.linspace(0.0, len(corners) - 1, 200 * (len(corners) - 1) + 1)
    places = np.arange(len(corners))
    return np.interp(along, places, loads), np.interp(along, places, corners)


def test_both_sides_of_a_known_curve() -> None:
    """The numbers of the curve, by hand, with equal-energy yield to a drop of 20 %."""
    load, deflection = _reversed()
    outcome = reduce_envelope(load_kn=load, deflection_mm=deflection)
    for side in ("positive", "negative"):
        assert outcome.get("envelope_peak_load", method=side).value == pytest.approx(72.0)
        assert outcome.get("envelope_peak_deflection", method=side).value == pytest.approx(25.0)
        ultimate = outcome.get("envelope_ultimate_deflection", method=side)
        assert ultimate.value == pytest.approx(36.2)
        assert ultimate.bound is None
        assert outcome.get("envelope_yield_load", method=side).value == pytest.approx(
            66.492, abs=1e-3
        )
        assert outcome.get("envelope_ductility", method=side).value == pytest.approx(
            6.1893, abs=1e-4
        )
    assert outcome.table is not None
    positive = outcome.table["side"] == 1
    assert outcome.table["deflection_mm"][positive] == pytest.approx([0.0, *AMPLITUDES])
    assert outcome.table["deflection_mm"][~positive] == pytest.approx(
        [0.0, *(-a for a in AMPLITUDES)]
    )
    assert outcome.table["load_kn"][positive] == pytest.approx([0, 15, 60, 66, 72, 60, 50])
    index = outcome.table["index"][positive][1:]
    assert load[index] == pytest.approx(outcome.table["load_kn"][positive][1:])
    assert canonical_json(outcome.settings)


def test_trailing_cycles_do_not_change_the_envelope() -> None:
    outcomes = [
        reduce_envelope(load_kn=load, deflection_mm=deflection)
        for load, deflection in (_reversed(0), _reversed(3))
    ]
    assert [f.value for f in outcomes[0].metrics] == pytest.approx(
        [f.value for f in outcomes[1].metrics]
    )


def test_an_envelope_that_does_not_fall_gives_a_lower_bound() -> None:
    load, deflection = _reversed()
    before = int(np.argmax(deflection > 30.0))
    outcome = reduce_envelope(load_kn=load[:before], deflection_mm=deflection[:before])
    assert outcome.get("envelope_ultimate_deflection", method="negative").bound == "lower"
    assert outcome.get("envelope_ductility", method="negative").bound == "lower"


def test_a_record_to_one_side_says_so() -> None:
    deflection = np.abs(_reversed()[1])
    outcome = reduce_envelope(load_kn=deflection, deflection_mm=deflection)
    assert outcome.codes() == ("envelope.no-side",)
    assert {f.method for f in outcome.metrics} == {"positive"}
    assert reduce_envelope(load_kn=[], deflection_mm=[]).metrics == ()


def test_refuses_settings_out_of_range() -> None:
    with pytest.raises(ShapeError, match="ultimate_share"):
        EnvelopeSettings.from_dict({"ultimate_share": 0.1})
