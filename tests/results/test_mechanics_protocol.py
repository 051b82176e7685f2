"""Protocols: levels and whose ultimate, stresses, life of bars, flags in sentences."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.bar_fatigue import bar_life
from results.domain.mechanics.beam_setup import four_point
from results.domain.mechanics.cycle_levels import LoadLevel, ReferenceLoad
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.machine import Actuator, calendar_days, machine_hours
from results.domain.mechanics.protocol import ProtocolCheck, about, check_protocol
from tests.reference.mechanics_members import MODULUS, bm1

SETUP = four_point(2400.0, 900.0)
CONTROL = 35.163e6 * 2.0 / 900.0


def _check(plies: int, level: LoadLevel, **options: Any) -> ProtocolCheck:
    return check_protocol(
        section=bm1(plies),
        setup=SETUP,
        level=level,
        strength_mpa=30.0,
        modulus_mpa=MODULUS,
        limits=DEFAULT_LIMITS,
        fibre="pbo",
        **options,
    )


def _level(kind: str, load_n: float, largest: float, least: float) -> LoadLevel:
    return LoadLevel(ReferenceLoad(kind, load_n), largest, least)  # type: ignore[arg-type]


def test_control_at_65_percent_of_its_own_breaks_its_bars() -> None:
    # 284 MPa or 0.68 fy (exact for the rules), a range far above any threshold.
    found = _check(0, _level("own", CONTROL, 0.65, 0.05), cycles=2e6)
    assert found.high.steel_mpa == pytest.approx(284.9, abs=1.0)
    assert found.high.steel_mpa / 420.0 == pytest.approx(0.68, abs=0.005)
    assert all(found.bar_range_mpa > 1.5 * threshold for threshold in found.thresholds.values())
    assert found.bars_fail_first
    sentence = next(flag for flag in found.flags if "fail first" in flag)
    assert sentence.startswith("The bars will fail first, at about 300\u202f000 cycles")
    assert "before the planned 2 million" in sentence


def test_same_loads_are_kinder_to_a_strengthened_member() -> None:
    level = _level("control", CONTROL, 0.45, 0.1)
    bare, strengthened = _check(0, level, cycles=2e6), _check(2, level, cycles=2e6)
    assert strengthened.bar_range_mpa < bare.bar_range_mpa
    assert strengthened.high.fabric_mpa > 0.0 == bare.high.fabric_mpa
    assert {v.key for v in strengthened.verdicts} == {"steel", "concrete", "fabric", "bar-range"}
    assert {v.key for v in bare.verdicts} == {"steel", "concrete", "bar-range"}


def test_whose_ultimate_decides_the_load() -> None:
    own = _level("own", 43.466e6 / 450.0, 0.65, 0.1)
    control = _level("control", CONTROL, 0.65, 0.1)
    assert own.largest_n > control.largest_n
    assert "of the predicted ultimate load of this cell" in own.sentence
    assert "of the unstrengthened control" in control.sentence
    assert "50.79 kN" in control.sentence


def test_below_the_threshold_no_life_is_given() -> None:
    found = _check(2, _level("control", CONTROL, 0.30, 0.1), cycles=2e6)
    assert found.life is None
    assert not found.bars_fail_first
    assert next(v for v in found.verdicts if v.key == "bar-range").within


def test_above_the_threshold_but_beyond_the_plan_the_share_is_said() -> None:
    found = _check(0, _level("control", CONTROL, 0.45, 0.05), cycles=1e5)
    assert found.life is not None
    assert not found.bars_fail_first
    assert any(
        "% of such bars break before the planned 100\u202f000" in flag for flag in found.flags
    )


def test_sustained_level_uses_the_same_stresses_without_life() -> None:
    level = _level("own", 43.466e6 / 450.0, 0.6, 0.6)
    found = _check(2, level, cycles=2e6)
    assert level.sustained
    assert "sustained" in level.sentence
    assert found.life is None
    assert found.cycles == 0.0
    assert found.bar_range_mpa == 0.0
    assert {v.key for v in found.verdicts} == {"steel", "concrete", "fabric"}


def test_yielding_bars_void_the_elastic_stresses() -> None:
    found = _check(0, _level("own", CONTROL, 0.99, 0.05), cycles=1e4)
    assert any("the bars yield" in flag for flag in found.flags)


def test_least_load_too_small_is_flagged() -> None:
    found = _check(0, _level("own", CONTROL, 0.4, 0.01), cycles=1e4)
    assert any("nothing lifts off" in flag for flag in found.flags)


def test_fabric_over_its_limit_is_flagged_with_edition() -> None:
    strict = DEFAULT_LIMITS.edited("fabric-pbo", 0.01, edition="Quayside rule")
    found = check_protocol(
        section=bm1(2), setup=SETUP, level=_level("control", CONTROL, 0.4, 0.1), strength_mpa=30.0,
        modulus_mpa=MODULUS, limits=strict, fibre="pbo", cycles=1e4,
    )  # fmt: skip
    flag = next(flag for flag in found.flags if "fabric" in flag)
    assert "above the limit of 0.01 (Quayside rule (set by the laboratory))" in flag


@given(range_mpa=st.floats(25.0, 600.0))
def test_life_band_is_ordered_and_survival_is_a_half_at_the_median(range_mpa: float) -> None:
    for line in ("helgason-hanson", "en1992"):
        life = bar_life(range_mpa, line)
        assert life.low < life.median < life.high
        assert life.surviving(life.median) == pytest.approx(0.5)
        assert life.surviving(life.low) == pytest.approx(0.95, abs=1e-6)
        assert bar_life(range_mpa + 10.0, line).median < life.median
    assert bar_life(range_mpa, scatter=0.1).low > bar_life(range_mpa).low


def test_words_for_a_life() -> None:
    assert [about(value) for value in (3.2e5, 2e6, 9.6e4, 4e3, 2.4e9)] == [
        "300\u202f000",
        "2 million",
        "100\u202f000",
        "4000",
        "2000 million",
    ]


def test_calendar_days() -> None:
    hours = machine_hours(2e6, 5.0)
    days = calendar_days(hours, hours_per_day=8.0, checkpoints=8, hours_each=1.0)
    assert days == pytest.approx((111.1111 + 8.0) / 8.0, abs=1e-4)


def test_actuator_of_unknown_speed_says_so() -> None:
    assert Actuator(1e5, 150.0).largest_range_mm(5.0) is None


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: _level("own", CONTROL, 0.65, 0.0), "least_share is 0.0; allowed is above 0"),
        (lambda: _level("own", CONTROL, 0.65, 0.7), "least_share is 0.7"),
        (lambda: _level("theirs", CONTROL, 0.65, 0.1), "reference is 'theirs'"),
        (lambda: bar_life(5.0), "range_mpa is 5.0; allowed is from 20 to 800 MPa"),
        (lambda: machine_hours(2e6, 0.0), "frequency_hz is 0.0"),
        (lambda: Actuator(1e5, 150.0, performance=((5.0, 2.0), (1.0, 9.0))), "rising frequency"),
        (lambda: Actuator(1e5, 150.0, flow_l_per_min=38.0), "piston_mm2 is None"),
        (lambda: _check(0, _level("own", CONTROL, 0.5, 0.1), edition="x", cycles=1.0), "edition"),
    ],
)
def test_refuses_protocols_that_cannot_be(build: object, sentence: str) -> None:
    assert callable(build)
    with pytest.raises((RangeError, ShapeError)) as caught:
        build()
    assert sentence in caught.value.message
