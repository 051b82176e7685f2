"""Break tests: noise, preload, seating, loops, settlement, aborted tests, gauges."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction import break_curve
from results.domain.reduction.break_test import BreakSettings, reduce_break
from results.domain.reduction.compiled import compiled
from results.domain.reduction.outcome import Outcome

Floats = npt.NDArray[np.float64]

DEFLECTION_MM = np.array([0.0, 1.0, 6.0, 10.0, 25.0, 35.0, 40.0])
LOAD_KN = np.array([0.0, 15.0, 60.0, 66.0, 72.0, 60.0, 50.0])
# Worked out by hand on the clean curve: metric, method, value, tolerance under noise.
EXPECTED = [
    ("peak_load", None, 72.0, 0.006),
    ("peak_deflection", None, 25.0, 0.02),
    ("ultimate_deflection", "drop to 0.8", 36.2, 0.006),
    ("first_crack_load", None, 15.0, 0.04),
    ("first_crack_deflection", None, 1.0, 0.05),
    ("initial_stiffness", None, 15.0, 0.02),
    ("cracked_stiffness", None, 9.0, 0.005),
    ("yield_deflection", "secant75", 7.1111, 0.01),
    ("yield_load", "equal-energy", 66.492, 0.005),
    ("yield_deflection", "equal-energy", 5.8488, 0.01),
    ("ductility_deflection", "secant75", 5.0906, 0.01),
    ("ductility_deflection", "equal-energy", 6.1893, 0.015),
    ("energy_to_peak", None, 1482.0, 0.02),
    ("energy_to_ultimate", None, 2212.56, 0.006),
    ("ductility_energy", "at peak", 3.5017, 0.02),
]


def _curve(deflection: Floats) -> Floats:
    load: Floats = np.interp(deflection, DEFLECTION_MM, LOAD_KN)
    return load


def _reduced(
    load: npt.ArrayLike, deflection: npt.ArrayLike, *, cracked: bool = False, **chosen: object
) -> Outcome:
    return reduce_break(
        load_kn=load,
        deflection_mm=deflection,
        settings=BreakSettings.from_dict(chosen),
        already_cracked=cracked,
    )


def _noisy(values: Floats, sigma: float, seed: int) -> Floats:
    return values + np.random.default_rng(seed).normal(0.0, sigma, len(values))


def _ramp(end: float = 40.0, samples: int = 12_000) -> Floats:
    return np.linspace(0.0, end, samples)


def _assert_expected(outcome: Outcome) -> None:
    for name, method, value, tolerance in EXPECTED:
        found = outcome.get(name, method=method)
        assert found.value == pytest.approx(value, rel=tolerance), name
        assert found.bound is None, name


# -- preparation --------------------------------------------------------------------------------


@given(seed=st.integers(0, 500), offset=st.floats(-1.0, 1.0), rest=st.integers(80, 600))
@settings(max_examples=25, deadline=None)
def test_recovers_the_curve_under_noise_and_a_zero_offset(
    seed: int, offset: float, rest: int
) -> None:
    deflection = np.concatenate([np.zeros(rest), _ramp()])
    load = _noisy(_curve(deflection) + offset, 0.06, seed)
    outcome = _reduced(load, _noisy(deflection - 1.3, 0.006, seed + 1))
    _assert_expected(outcome)
    assert outcome.settings["zero_load_kn"] == pytest.approx(offset, abs=0.25)
    assert outcome.settings["zero_deflection_mm"] == pytest.approx(-1.3, abs=0.025)


def test_a_preload_is_kept_and_said() -> None:
    deflection = _ramp(39.0) + 1.0
    load = _noisy(_curve(deflection), 0.05, 1)
    outcome = _reduced(load, deflection)
    assert "break.preload" in outcome.codes()
    assert outcome.settings["preload_kn"] == pytest.approx(15.0, abs=0.1)
    assert outcome.get("peak_load").value == pytest.approx(72.0, abs=0.3)
    assert outcome.get("peak_deflection").value == pytest.approx(24.0, abs=0.5)


def test_as_recorded_leaves_the_zero_alone() -> None:
    deflection = _ramp()
    outcome = _reduced(_curve(deflection) + 0.5, deflection + 0.2, zero="as-recorded")
    assert outcome.get("peak_load").value == pytest.approx(72.5, abs=0.01)
    assert outcome.get("peak_deflection").value == pytest.approx(25.2, abs=0.01)


def test_the_mean_settlement_of_both_supports_is_subtracted() -> None:
    deflection = _ramp()
    load = _curve(deflection)
    left, right = 0.010 * load, 0.006 * load
    outcome = reduce_break(
        load_kn=load,
        deflection_mm=deflection + 0.5 * (left + right),
        settlement_mm=[left, right],
        already_cracked=False,
    )
    _assert_expected(outcome)
    assert outcome.settings["settlement_channels"] == 2


def test_soft_seating_is_taken_out() -> None:
    """A toe of 0.3 mm that stiffens until the member is seated at 2 kN."""
    deflection = _ramp(40.3)
    toe = 2.0 * (deflection / 0.4333) ** 3
    load = np.where(deflection < 0.4333, toe, _curve(deflection - 0.3))
    outcome = _reduced(_noisy(load, 0.03, 4), deflection)
    assert "break.seating" in outcome.codes()
    assert outcome.settings["toe_mm"] == pytest.approx(0.3, abs=0.02)
    assert outcome.get("peak_deflection").value == pytest.approx(25.0, abs=0.5)
    assert outcome.get("initial_stiffness").value == pytest.approx(15.0, rel=0.03)
    kept = _reduced(_noisy(load, 0.03, 4), deflection, seating="none")
    assert kept.get("ultimate_deflection").value == pytest.approx(36.5, abs=0.1)


def test_a_seated_member_is_left_alone() -> None:
    outcome = _reduced(_noisy(_curve(_ramp()), 0.05, 2), _ramp())
    assert outcome.settings["toe_mm"] == 0.0
    assert "break.seating" not in outcome.codes()


def _with_loops() -> tuple[Floats, Floats]:
    """Two preload loops, and one from 51 kN down to 11 kN with friction."""
    parts: list[tuple[Floats, Floats]] = []

    def along(start: float, stop: float, samples: int) -> None:
        x = np.linspace(start, stop, samples)
        parts.append((x, _curve(x)))

    along(0.0, 0.5, 300)
    for _ in range(2):
        x = np.linspace(0.5, 0.05, 200)
        y = 7.5 - (0.5 - x) * 15.5
        parts += [(x, y), (x[::-1], y[::-1])]
    along(0.5, 5.0, 2_000)
    x = np.linspace(5.0, 1.8, 700)
    y = float(_curve(np.array([5.0]))[0]) - (5.0 - x) * 12.5
    parts += [(x, y), (x[::-1], y[::-1] - np.sin(np.linspace(0.0, np.pi, 700)))]
    along(5.0, 40.0, 9_000)
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def test_unloading_and_reloading_loops_stay_out_of_the_envelope() -> None:
    deflection, load = _with_loops()
    outcome = _reduced(_noisy(load, 0.06, 5), _noisy(deflection, 0.006, 6))
    _assert_expected(outcome)
    assert outcome.settings["unloadings"] == 1
    assert "break.unloadings" in outcome.codes()


def test_single_spikes_and_missing_samples_are_left_out() -> None:
    deflection = _ramp()
    load = _noisy(_curve(deflection), 0.06, 7)
    load[[500, 4_000, 9_000]] += [25.0, -30.0, 40.0]
    load[[20, 21, 6_000]] = np.nan
    outcome = _reduced(load, deflection)
    _assert_expected(outcome)
    assert {"break.spikes-left-out", "break.samples-left-out"} <= set(outcome.codes())


# -- how a test ends ----------------------------------------------------------------------------


def test_a_test_stopped_before_the_drop_gives_lower_bounds() -> None:
    deflection = _ramp(33.0)
    outcome = _reduced(_noisy(_curve(deflection), 0.05, 8), deflection)
    assert outcome.get("peak_load").bound is None
    for name in ("ultimate_deflection", "ductility_deflection", "energy_to_ultimate"):
        assert outcome.get(name).bound == "lower"
    assert outcome.get("ultimate_deflection").value == pytest.approx(33.0)
    assert "break.ultimate-not-reached" in outcome.codes()


def test_a_test_stopped_before_the_peak_and_unloaded() -> None:
    loading, unloading = _ramp(20.0, 6_000), np.linspace(20.0, 13.0, 500)
    load = np.concatenate([_curve(loading), 70.0 - (20.0 - unloading) * 10.0])
    outcome = _reduced(_noisy(load, 0.05, 9), np.concatenate([loading, unloading]))
    assert outcome.get("peak_load").bound == "lower"
    assert outcome.get("peak_load").value == pytest.approx(70.0, abs=0.3)
    assert outcome.get("ultimate_deflection").value == pytest.approx(20.0, abs=0.1)
    assert outcome.get("yield_deflection", method="secant75").bound == "lower"
    assert not outcome.has("ductility_deflection")
    assert {"break.stopped-before-peak", "break.ultimate-not-reached"} <= set(outcome.codes())


def test_a_brittle_loss_of_load_is_no_unloading() -> None:
    """At 25 mm the load falls to 42 kN while the member springs back by 0.2 mm only."""
    parts = (_ramp(25.0, 6_000), np.linspace(25.0, 24.8, 30), np.linspace(24.8, 34.0, 2_000))
    load = np.concatenate([_curve(parts[0]), np.linspace(72.0, 42.0, 30), np.full(2_000, 42.0)])
    outcome = _reduced(_noisy(load, 0.05, 10), np.concatenate(parts))
    assert outcome.get("ultimate_deflection").value == pytest.approx(25.0, abs=0.05)
    assert outcome.get("ultimate_deflection").bound is None
    assert outcome.get("energy_to_end").value == pytest.approx(1482.0 + 9.0 * 42.0, rel=0.01)


def test_a_linear_member_has_no_first_crack_and_no_ductility() -> None:
    deflection = _ramp(8.0, 3_000)
    outcome = _reduced(_noisy(9.0 * deflection, 0.05, 11), deflection)
    assert not outcome.has("first_crack_load")
    assert not outcome.has("initial_stiffness")
    assert outcome.get("cracked_stiffness").value == pytest.approx(9.0, rel=0.002)
    assert {"break.no-first-crack", "break.stopped-before-peak"} <= set(outcome.codes())


def test_a_member_already_cracked_has_no_first_crack() -> None:
    deflection = _ramp()
    load = np.interp(deflection, [0.0, 6.0, 10.0, 25.0, 40.0], [0.0, 54.0, 60.0, 66.0, 40.0])
    outcome = _reduced(_noisy(load, 0.05, 12), deflection, cracked=True)
    assert not outcome.has("first_crack_load")
    assert not outcome.has("initial_stiffness")
    assert outcome.get("cracked_stiffness").value == pytest.approx(9.0, rel=0.005)
    elastic = 66.0**2 / 2.0 / 9.0
    total = 0.5 * 6 * 54 + 4 * 57 + 15 * 63
    expected = 0.5 * (total / elastic + 1.0)
    assert outcome.get("ductility_energy").value == pytest.approx(expected, rel=0.02)
    assert "break.already-cracked" in outcome.codes()
    assert outcome.settings["already_cracked"] is True


# -- channels carried along ---------------------------------------------------------------------


def test_yield_by_gauge_and_channels_carried_along() -> None:
    deflection = _ramp(samples=4_001)
    strain = np.interp(deflection, [0.0, 6.0, 40.0], [0.0, 0.0021, 0.02])
    outcome = reduce_break(
        load_kn=_curve(deflection),
        deflection_mm=deflection,
        settings=BreakSettings(bar_yield_strain=0.0021),
        already_cracked=False,
        bar_strain=strain,
        carried={"crack-width": 0.01 * deflection},
        self_weight_kn=3.5,
        spreader_kn=1.2,
    )
    assert outcome.get("yield_deflection", method="gauge").value == pytest.approx(6.0)
    found = outcome.get("yield_load", method="gauge")
    assert found.value == pytest.approx(60.0)
    assert found.point is not None
    assert found.point.index == 600
    assert outcome.get("ductility_deflection", method="gauge").value == pytest.approx(36.2 / 6.0)
    assert outcome.table is not None
    assert outcome.table["crack-width"] == pytest.approx(0.01 * outcome.table["deflection_mm"])
    # Loads stay those of the actuator; what it does not show is kept apart.
    assert outcome.get("peak_load").value == pytest.approx(72.0)
    assert (outcome.settings["self_weight_kn"], outcome.settings["spreader_kn"]) == (3.5, 1.2)


def test_channels_carried_along_are_told_at_the_points_found() -> None:
    deflection = _ramp(samples=4_001)
    width = np.where(deflection < 30.0, 0.01 * deflection, np.nan)
    outcome = reduce_break(
        load_kn=_curve(deflection),
        deflection_mm=deflection,
        already_cracked=False,
        carried={"crack-width mid-span": width, "strain bar": 1e-4 * deflection},
    )
    (told,) = outcome.summaries
    assert [column.get("unit") for column in told["columns"]] == [None, "mm", "mm/mm"]
    rows = {row[0]: row[1:] for row in told["rows"]}
    assert rows["peak"] == pytest.approx([0.25, 25e-4])
    assert rows["first crack"] == pytest.approx([0.01, 1e-4])
    assert rows["ultimate"][0] is None
    assert canonical_json(told)
    assert _reduced(_curve(deflection), deflection).summaries == ()


@pytest.mark.parametrize(("share", "expected"), [(0.80, 36.2), (0.85, 34.0), (0.90, 31.0)])
def test_ultimate_at_each_share_of_the_peak_by_hand(share: float, expected: float) -> None:
    """From (25, 72) over (35, 60) to (40, 50): 57.6, 61.2 and 64.8 kN."""
    outcome = _reduced(LOAD_KN, DEFLECTION_MM, ultimate_share=share)
    found = outcome.get("ultimate_deflection")
    assert found.value == pytest.approx(expected, rel=1e-9)
    assert found.method == f"drop to {share:g}"
    assert found.bound is None


def test_a_gauge_that_dies_before_yield_says_so() -> None:
    deflection = _ramp(samples=4_001)
    strain = np.where(deflection < 4.0, 0.0021 * deflection / 6.0, np.nan)
    outcome = reduce_break(
        load_kn=_curve(deflection),
        deflection_mm=deflection,
        settings=BreakSettings(bar_yield_strain=0.0021),
        already_cracked=False,
        bar_strain=strain,
    )
    assert "break.gauge-no-yield" in outcome.codes()
    with pytest.raises(KeyError, match="yield_load"):
        outcome.get("yield_load", method="gauge")


def test_marks_point_at_samples_of_the_record_as_read() -> None:
    deflection = np.concatenate([np.zeros(100), _ramp(samples=4_001)])
    outcome = _reduced(_curve(deflection), deflection)
    peak = next(mark for mark in outcome.marks if mark.label == "peak")
    assert peak.index == 2_600
    assert (peak.deflection_mm, peak.load_kn) == (25.0, 72.0)
    assert {mark.label for mark in outcome.marks} == {
        "peak",
        "ultimate",
        "first crack",
        "yield, secant75",
        "yield, equal-energy",
    }


# -- properties and refusals --------------------------------------------------------------------


@given(load=st.floats(0.2, 5.0), deflection=st.floats(0.2, 5.0))
@settings(max_examples=30, deadline=None)
def test_metrics_scale_with_their_units(load: float, deflection: float) -> None:
    one = _reduced(LOAD_KN, DEFLECTION_MM)
    other = _reduced(load * LOAD_KN, deflection * DEFLECTION_MM)
    powers = {
        "kN": load,
        "mm": deflection,
        "kN/mm": load / deflection,
        "kN·mm": load * deflection,
        "1": 1.0,
    }
    assert [(m.name, m.method) for m in one.metrics] == [(m.name, m.method) for m in other.metrics]
    for a, b in zip(one.metrics, other.metrics, strict=True):
        assert b.value == pytest.approx(a.value * powers[a.unit], rel=1e-6), a.name


@given(st.integers(0, 400))
@settings(max_examples=30, deadline=None)
def test_compiled_and_plain_envelopes_agree(seed: int) -> None:
    rng = np.random.default_rng(seed)
    load, deflection = rng.normal(size=200).cumsum(), rng.normal(0.1, 1.0, 200).cumsum()
    answers = []
    for loop in (break_curve.envelope_kernel, compiled(break_curve.envelope_kernel)):
        keep, flat = np.zeros(200, np.int64), np.zeros(200)
        answers.append(
            (loop(load, deflection, 2.0, 0.3, 1.5, keep, flat), keep.tolist(), flat.tolist())
        )
    assert answers[0] == answers[1]
    kept = answers[0][0]
    assert (np.diff(answers[0][2][:kept]) >= 0.0).all()


def test_settings_as_resolved_are_ready_for_storage() -> None:
    assert canonical_json(_reduced(LOAD_KN, DEFLECTION_MM).settings)
    described = {words.name for words in BreakSettings.describe()}
    assert described == set(BreakSettings.model_fields)


@pytest.mark.parametrize(
    ("load", "deflection", "code"),
    [
        (-LOAD_KN, DEFLECTION_MM, "break.load-sign"),
        (LOAD_KN, -DEFLECTION_MM, "break.deflection-sign"),
        (LOAD_KN[:5], DEFLECTION_MM, "reduction.channel-lengths"),
        (LOAD_KN * np.nan, DEFLECTION_MM, "break.record-short"),
        ([], [], "break.record-short"),
    ],
)
def test_refuses_records_in_a_sentence(load: Floats, deflection: Floats, code: str) -> None:
    with pytest.raises(ShapeError) as refused:
        _reduced(load, deflection)
    assert refused.value.code == code
    assert refused.value.message.endswith(".")


def test_refuses_unknown_settings_and_negative_weights() -> None:
    with pytest.raises(ShapeError, match="does not know; known are"):
        BreakSettings.from_dict({"ultimate": 0.8})
    with pytest.raises(ShapeError, match=r"ultimate_share.*1\.2"):
        BreakSettings.from_dict({"ultimate_share": 1.2})
    with pytest.raises(ShapeError, match="seating_low_share has to lie below"):
        BreakSettings.from_dict({"seating_low_share": 0.3, "seating_high_share": 0.2})
    with pytest.raises(RangeError, match="spreader_kn"):
        reduce_break(
            load_kn=LOAD_KN, deflection_mm=DEFLECTION_MM, already_cracked=False, spreader_kn=-1.0
        )


def test_time_that_runs_backward_is_said() -> None:
    outcome = reduce_break(
        load_kn=LOAD_KN,
        deflection_mm=DEFLECTION_MM,
        time_s=[0.0, 1.0, 2.0, 1.5, 3.0, 4.0, 5.0],
        already_cracked=False,
    )
    assert outcome.codes() == ("break.time-backward",)
