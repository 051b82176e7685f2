"""A piecewise straight load–deflection curve whose numbers can be worked out by hand."""

from __future__ import annotations

import pytest

from results.domain.reduction.break_test import BreakSettings, reduce_break
from results.domain.reduction.outcome import Outcome

DEFLECTION_MM = (0.0, 1.0, 6.0, 10.0, 25.0, 35.0, 40.0)
LOAD_KN = (0.0, 15.0, 60.0, 66.0, 72.0, 60.0, 50.0)


def _reduced(**settings: object) -> Outcome:
    return reduce_break(
        load_kn=LOAD_KN,
        deflection_mm=DEFLECTION_MM,
        settings=BreakSettings.from_dict(settings),
        already_cracked=False,
    )


def test_peak_and_energies() -> None:
    """Trapezoids by hand."""
    outcome = _reduced()
    assert outcome.get("peak_load").value == 72.0
    assert outcome.get("peak_deflection").value == 25.0
    assert outcome.get("peak_load").bound is None
    assert outcome.get("energy_to_peak").value == pytest.approx(1482.0)
    assert outcome.get("energy_to_end").value == pytest.approx(2417.0)
    assert outcome.get("energy_to_ultimate").value == pytest.approx(2212.56)
    assert outcome.warnings == ()


@pytest.mark.parametrize(
    ("share", "ultimate", "ductility"), [(0.80, 36.2, 5.0906), (0.85, 34.0, 4.7812)]
)
def test_ultimate_and_ductility_by_the_secant(
    share: float, ultimate: float, ductility: float
) -> None:
    """Park (1989): reduced-stiffness equivalent elasto-plastic yield; drop after the peak."""
    outcome = _reduced(ultimate_share=share)
    assert outcome.get("yield_deflection", method="secant75").value == pytest.approx(
        7.1111, abs=5e-5
    )
    assert outcome.get("ultimate_deflection").value == pytest.approx(ultimate)
    found = outcome.get("ductility_deflection", method="secant75")
    assert found.value == pytest.approx(ductility, abs=1e-4)
    assert found.bound is None


def test_yield_by_equal_energy() -> None:
    """Elastic–perfectly plastic curve of equal energy, form of ASTM E2126 (recalled)."""
    outcome = _reduced()
    load = outcome.get("yield_load", method="equal-energy").value
    deflection = outcome.get("yield_deflection", method="equal-energy").value
    assert load == pytest.approx(66.492, abs=5e-4)
    assert deflection == pytest.approx(5.8488, abs=5e-5)
    assert load / deflection == pytest.approx(11.3684, abs=5e-5)
    ductility = outcome.get("ductility_deflection", method="equal-energy").value
    assert ductility == pytest.approx(6.1893, abs=5e-5)


def test_energy_ductility() -> None:
    """Naaman and Jeong (1995), ½(Etot/Eel + 1), with the two slopes 15 and 9 kN/mm."""
    outcome = _reduced()
    assert outcome.get("initial_stiffness").value == pytest.approx(15.0)
    assert outcome.get("cracked_stiffness").value == pytest.approx(9.0)
    assert outcome.settings["cracked_line_end_kn"] == pytest.approx(60.0)
    found = outcome.get("ductility_energy")
    assert found.value == pytest.approx(3.5017, abs=5e-5)
    assert found.method == "at peak"


def test_first_crack_is_where_the_slope_changes() -> None:
    outcome = _reduced()
    crack = outcome.get("first_crack_load")
    assert crack.value == pytest.approx(15.0)
    assert outcome.get("first_crack_deflection").value == pytest.approx(1.0)
    assert crack.point is not None
    assert crack.point.index == 1
