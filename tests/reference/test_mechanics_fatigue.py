"""Bar fatigue thresholds and life, machine time: values from outside."""

from __future__ import annotations

import pytest

from results.domain.mechanics.bar_fatigue import ThresholdEdition, bar_life, threshold_mpa
from results.domain.mechanics.machine import Actuator, machine_hours


@pytest.mark.parametrize(
    ("edition", "least", "known"),
    [
        # AASHTO LRFD 26 − 22 fmin/fy ksi (recalled, not re-read; the arithmetic is exact).
        ("aashto-2014", 49.86, 161.26),
        ("aashto-2014", 47.42, 162.14),
        # 24 − 0.33 fmin (published in NCHRP Report 679): 165.474 − 0.33 · 49.86.
        ("aashto-2007", 49.86, 149.02),
        # ACI 215R: 23.4 − 0.33 fmin but at least 20 ksi = 137.895 MPa (recalled, not re-read).
        ("aci215r", 49.86, 144.88),
        ("aci215r", 150.0, 137.895),
    ],
)
def test_thresholds(edition: ThresholdEdition, least: float, known: float) -> None:
    found = threshold_mpa(edition, least_mpa=least, yield_mpa=420.0)
    assert found == pytest.approx(known, abs=6e-3)


def test_two_unit_mistakes_would_be_seen() -> None:
    # 22·fmin/fy left in ksi gives 176.65; 0.33·fmin taken as ksi gives 52.03.
    right = threshold_mpa("aashto-2014", least_mpa=49.86, yield_mpa=420.0)
    assert abs(right - (26.0 * 6.894757 - 22.0 * 49.86 / 420.0)) > 10.0
    older = threshold_mpa("aashto-2007", least_mpa=49.86, yield_mpa=420.0)
    assert abs(older - (24.0 * 6.894757 - 0.33 * 6.894757 * 49.86)) > 90.0


def test_bar_life_lines() -> None:
    # log N = 6.969 − 0.0383 fr: 36 ksi → 5.5902 → 389 200 (NCHRP Report 164, recalled).
    mean = bar_life(36.0 * 6.894757293)
    assert mean.median == pytest.approx(10**5.5902, rel=1e-6)
    assert mean.median / mean.low == pytest.approx(10 ** (1.644854 * 0.20), rel=1e-6)
    # EN 1992-1-1, Table 6.3N (recalled): the 5 % life is 1e6 at 162.5 MPa.
    assert bar_life(162.5, "en1992").low == pytest.approx(1e6)
    assert bar_life(325.0, "en1992").low == pytest.approx(1e6 / 32.0)
    assert bar_life(81.25, "en1992").low == pytest.approx(1e6 * 2.0**9)


def test_machine_time() -> None:
    # 2e6 cycles at 5 Hz: 111.1111 h machine-on time (exact).
    assert machine_hours(2e6, 5.0) == pytest.approx(111.1111, abs=5e-5)


def test_actuator_speed() -> None:
    # Exact: 38 L/min through 12 000 mm² is 52.78 mm/s; a sine of 5 Hz may swing 3.360 mm.
    actuator = Actuator(250_000.0, 250.0, flow_l_per_min=38.0, piston_mm2=12_000.0)
    assert actuator.largest_range_mm(5.0) == pytest.approx(52.7778 / (3.14159265 * 5.0), rel=1e-5)
    # Halving the frequency doubles the stroke on a curve of constant speed.
    curve = Actuator(250_000.0, 250.0, performance=((1.0, 16.0), (8.0, 2.0)))
    assert curve.largest_range_mm(2.0) == pytest.approx(8.0)
    assert curve.largest_range_mm(0.1) == pytest.approx(16.0)
