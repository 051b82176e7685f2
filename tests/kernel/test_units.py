"""Units: exact factors, round trips, and mistakes that must not pass."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import DIMENSIONS, convert, dimension_of, to_base, unit_spelled

# NIST SP 811 (2008), Appendix B, recalled, not re-read; the inch and the pound are exact.
FACTORS = [
    ("in", "mm", 25.4),
    ("ft", "mm", 304.8),
    ("lbf", "N", 4.4482216152605),
    ("kip", "kN", 4.4482216152605),
    ("psi", "MPa", 0.006894757293168361),
    ("ksi", "MPa", 6.894757293168361),
    ("kip·ft", "kN·m", 1.3558179483314004),
    ("kip/in", "kN/mm", 4.4482216152605 / 25.4),
    ("tf", "kN", 9.80665),
    ("µm/m", "mm/mm", 1e-6),
    ("J", "kN·mm", 1.0),
    ("min", "s", 60.0),
    ("wk", "d", 7.0),
    ("Δ°F", "Δ°C", 5 / 9),
]


@pytest.mark.parametrize(("source", "target", "factor"), FACTORS)
def test_published_factors(source, target, factor):
    assert convert(1.0, source, target) == pytest.approx(factor, rel=1e-12)


def test_200_psi_in_megapascal():
    assert convert(200, "psi", "MPa") == pytest.approx(1.378951, abs=5e-7)


def test_temperatures_have_an_offset_and_differences_have_none():
    assert convert(212.0, "°F", "°C") == pytest.approx(100.0)
    assert convert(32.0, "°F", "°C") == pytest.approx(0.0, abs=1e-9)
    assert convert(9.0, "Δ°F", "Δ°C") == pytest.approx(5.0)


ALL_UNITS = [(d.base, unit) for d in DIMENSIONS.values() for unit in d.allowed]


@given(st.sampled_from(ALL_UNITS), st.floats(-1e6, 1e6))
def test_there_and_back_gives_the_same_value(pair, value):
    base, unit = pair
    back = convert(convert(value, unit, base), base, unit)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("unit", [u for pair in ALL_UNITS for u in pair])
def test_every_unit_is_found_in_its_own_dimension(unit):
    assert to_base(1.0, unit) == convert(1.0, unit, dimension_of(unit).base)


@pytest.mark.parametrize(
    ("written", "spelled"),
    [("kn", "kN"), ("[mm]", "mm"), ("µε", "µm/m"), ("kNm", "kN·m"), ("°C", "°C")],
)
def test_loggers_spellings_are_known(written, spelled):
    assert unit_spelled(written) == spelled


@pytest.mark.parametrize(
    ("source", "target", "code"),
    [
        ("kN", "mm", "unit.mismatch"),
        ("furlong", "mm", "unit.unknown"),
        ("°C", "Δ°C", "unit.mismatch"),
    ],
)
def test_mistakes_are_refused_with_a_sentence(source, target, code):
    with pytest.raises(ShapeError) as refused:
        convert(1.0, source, target)
    assert refused.value.code == code
    assert refused.value.message.endswith(".")
