"""Load cycles on clean, dirty and interrupted records with known answers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.outcome import Outcome
from results.domain.reduction.settling import settles_at
from tests.results.cyclic_signals import Record, fatigue_record


def _reduced(record: Record, cycle_offset: int = 0, **chosen: Any) -> Outcome:
    return reduce_cyclic(
        load_kn=record.load,
        deflection_mm=record.deflection,
        time_s=record.time,
        cycle_offset=cycle_offset,
        settings=CyclicSettings.from_dict(chosen),
    )


def _column(outcome: Outcome, name: str) -> np.ndarray:
    assert outcome.table is not None
    return np.asarray(outcome.table[name])


# -- known stiffness, phase and loss ------------------------------------------------------------


@pytest.mark.parametrize("samples", [10, 20, 50, 200])
def test_recovers_stiffness_and_loss_without_noise(samples: int) -> None:
    record = fatigue_record(cycles=1_000, samples=samples, phase=0.0)
    outcome = _reduced(record)
    assert len(_column(outcome, "cycle")) == 1_000
    stiffness = _column(outcome, "stiffness_load_extremes_kn_mm")
    assert stiffness == pytest.approx(record.stiffness, rel=4e-4)
    loss = outcome.get("stiffness_loss", at=1_000).value
    assert loss == pytest.approx(0.25, abs=5e-4)


def test_recovers_stiffness_phase_and_loss_under_noise_and_drift() -> None:
    record = fatigue_record(
        cycles=2_000, phase=0.05, noise_kn=0.1, noise_mm=0.01, drift_mm=1.5, start=0.4, stop=0.3
    )
    outcome = _reduced(record)
    assert len(_column(outcome, "cycle")) == 1_999
    # Closed form at the load extremes: k / cos(phase).
    expected = record.stiffness[1:] / np.cos(0.05)
    ratio = _column(outcome, "stiffness_load_extremes_kn_mm") / expected
    assert ratio.mean() == pytest.approx(1.0, abs=3e-4)
    assert ratio.std() < 3e-3
    energy = np.pi * 16.0 * (16.0 / record.stiffness[1:]) * np.sin(0.05)
    # A falling stiffness and a drift open the loop a little.
    assert _column(outcome, "loop_energy_kn_mm") == pytest.approx(energy, rel=0.08)
    assert _column(outcome, "loop_energy_kn_mm").mean() == pytest.approx(energy.mean(), rel=0.01)
    # A line through all cycles: the loss within a thousandth of itself.
    number, by_cycle = (_column(outcome, n) for n in ("cycle", "stiffness_regression_kn_mm"))
    slope, start = np.polyfit(number + 0.75, by_cycle, 1)
    assert -slope * 2_000 / start == pytest.approx(0.25, rel=1e-3)
    by_line = _reduced(record, stiffness="regression", reference="first-ten")
    assert by_line.get("stiffness_loss", at=1_999).value == pytest.approx(0.25, abs=1.5e-3)


def test_residual_deflection_and_its_drift() -> None:
    record = fatigue_record(cycles=100, loss=0.0, phase=0.0, drift_mm=2.0)
    outcome = _reduced(record)
    first, last = (outcome.get("residual_deflection", at=n).value for n in (1, 100))
    assert first == pytest.approx(8.0 / 6.4, abs=1e-3)
    assert last - first == pytest.approx(2.0 * 99 / 100, abs=1e-3)
    assert outcome.get("residual_drift", at=100).value == pytest.approx(last - first)


@pytest.mark.parametrize("samples", [10, 20, 50])
def test_the_local_fit_makes_up_for_few_samples(samples: int) -> None:
    """The sampled peak falls short by up to 1 − cos(π/n); the fit does not."""
    record = fatigue_record(cycles=300, samples=samples * 3 + 1, loss=0.0, phase=0.0)
    few = Record(record.load[::3], record.deflection[::3], record.time[::3], record.stiffness)
    worst = 16.0 * (1.0 - np.cos(np.pi / samples))
    sampled = _column(_reduced(few, extremes="sampled"), "peak_load_kn")[5:-5]
    fitted = _column(_reduced(few), "peak_load_kn")[5:-5]
    assert 40.0 - sampled.min() == pytest.approx(worst, rel=0.15)
    assert np.abs(40.0 - fitted).max() < 0.1 * worst


def test_pointed_extremes_are_not_cut_off() -> None:
    corners = np.tile([8.0, 40.0], 20)
    load = np.interp(np.arange(39 * 100 + 1) / 100.0, np.arange(40), corners)
    rng = np.random.default_rng(3)
    outcome = reduce_cyclic(load_kn=load + rng.normal(0, 0.02, len(load)), deflection_mm=load / 6.4)
    assert _column(outcome, "peak_load_kn") == pytest.approx(40.0, abs=0.12)


# -- where cycles begin and end -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "stop", "complete"),
    [
        (0.0, 0.0, 6),  # valley to valley
        (0.5, 0.0, 5),  # begins at a peak
        (0.25, 0.0, 5),  # begins on the way up
        (0.75, 0.0, 5),  # begins on the way down
        (0.0, 0.25, 6),
        (0.0, 0.5, 6),  # ends at a peak
        (0.0, 0.75, 6),
        (0.5, 0.5, 5),
        (0.03, 0.0, 6),  # a start this near to the valley is one
        (0.0, 0.97, 7),  # an end this near to the valley is one
    ],
)
def test_partial_cycles_at_both_ends(start: float, stop: float, complete: int) -> None:
    record = fatigue_record(cycles=6, start=start, stop=stop, noise_kn=0.02, loss=0.0)
    outcome = _reduced(record)
    assert _column(outcome, "cycle").tolist() == list(range(1, complete + 1))
    assert ("cyclic.partial-start" in outcome.codes()) == (start > 0.03)
    ends = outcome.codes().count("cyclic.partial-end")
    assert ends == (0.0 < stop < 0.97)


def test_a_ramp_from_zero_is_not_a_cycle() -> None:
    record = fatigue_record(cycles=4, loss=0.0)
    ramp = np.linspace(0.0, 8.0, 300, endpoint=False)
    load = np.concatenate([ramp, record.load])
    deflection = np.concatenate([ramp / 6.4, record.deflection])
    outcome = reduce_cyclic(load_kn=load, deflection_mm=deflection)
    assert _column(outcome, "cycle").tolist() == [1, 2, 3]
    assert _column(outcome, "valley_load_kn") == pytest.approx(8.0, abs=0.01)


def test_sample_indexes_point_into_the_record_as_read() -> None:
    record = fatigue_record(cycles=5, samples=100, loss=0.0)
    load, deflection = record.load.copy(), record.deflection.copy()
    load[[3, 160, 161]] = np.nan
    outcome = reduce_cyclic(load_kn=load, deflection_mm=deflection, time_s=record.time)
    assert _column(outcome, "valley_index").tolist() == [0, 100, 200, 300, 400]
    assert _column(outcome, "peak_index").tolist() == [50, 150, 250, 350, 450]
    assert _column(outcome, "next_valley_index").tolist() == [100, 200, 300, 400, 500]
    assert "cyclic.samples-left-out" in outcome.codes()
    assert _column(outcome, "whole").all()
    peak = outcome.get("cycle_peak_load", at=5).point
    assert peak is not None
    assert peak.index == 450


def test_offset_numbers_the_cycles_of_a_block() -> None:
    record = fatigue_record(cycles=10, loss=0.0)
    outcome = _reduced(record, cycle_offset=99_995, noise_band=1.0)
    assert _column(outcome, "cycle").tolist() == list(range(99_996, 100_006))
    assert {f.at for f in outcome.metrics} == {99_996, 100_000, 100_005}
    assert not outcome.has("stiffness_ratio")
    assert "cyclic.no-reference" in outcome.codes()


def test_reversed_growing_amplitude_without_time() -> None:
    turns = np.arange(0, 8 * 400 + 1) / 400.0
    amplitude = 5.0 + 5.0 * np.floor(turns)
    load = amplitude * np.sin(2 * np.pi * turns)
    outcome = reduce_cyclic(load_kn=load, deflection_mm=load / 10.0)
    assert len(_column(outcome, "cycle")) == 7
    assert _column(outcome, "valley_load_kn") == pytest.approx(-amplitude[200::400][:7], rel=1e-3)
    assert np.isnan(_column(outcome, "frequency_hz")).all()
    assert not outcome.has("frequency")
    assert "cyclic.no-time" in outcome.codes()


# -- dirt ---------------------------------------------------------------------------------------


@given(
    seed=st.integers(0, 10_000),
    channel=st.sampled_from(["load", "deflection"]),
    length=st.integers(1, 20),
    word=st.sampled_from([0.0, -99.0, 120.0, np.nan]),
)
@settings(max_examples=80, deadline=None)
def test_a_drop_out_costs_no_cycle_and_spoils_no_other(
    seed: int, channel: str, length: int, word: float
) -> None:
    rng = np.random.default_rng(seed)
    record = fatigue_record(cycles=40, loss=0.0, noise_kn=0.1, noise_mm=0.01, seed=seed)
    clean = _reduced(record)
    at = int(rng.integers(500, 7_000))
    getattr(record, channel)[at : at + length] = word
    outcome = _reduced(record)
    assert _column(outcome, "cycle").tolist() == list(range(1, 41))
    whole = _column(outcome, "whole")
    assert np.count_nonzero(~whole) <= 2
    for name in ("stiffness_regression_kn_mm", "peak_load_kn", "loop_energy_kn_mm"):
        found, expected = _column(outcome, name)[whole], _column(clean, name)[whole]
        assert found == pytest.approx(expected, rel=0.03)


def test_a_loss_of_load_that_stays_is_kept() -> None:
    record = fatigue_record(cycles=20, loss=0.0)
    at = 2_050
    record.load[at:] = np.where(np.arange(len(record.load) - at) < 60, 2.0, 0.4 * record.load[at:])
    outcome = _reduced(record)
    assert "cyclic.dropouts" not in outcome.codes()
    assert _column(outcome, "valley_load_kn").min() < 4.0


def test_a_short_gap_is_bridged_and_its_cycle_gives_no_metric() -> None:
    record = fatigue_record(cycles=12, loss=0.0)
    keep = np.ones(len(record.load), dtype=bool)
    keep[9 * 200 + 60 : 9 * 200 + 100] = False  # a fifth of cycle 10
    outcome = reduce_cyclic(
        load_kn=record.load[keep], deflection_mm=record.deflection[keep], time_s=record.time[keep]
    )
    assert _column(outcome, "cycle").tolist() == list(range(1, 13))
    assert np.flatnonzero(~_column(outcome, "whole")).tolist() == [9]
    assert {"cyclic.gaps", "cyclic.checkpoint-not-whole"} <= set(outcome.codes())
    assert {f.at for f in outcome.metrics} == {1, 12}


def test_a_long_gap_ends_the_stretch() -> None:
    record = fatigue_record(cycles=12, loss=0.0)
    keep = np.ones(len(record.load), dtype=bool)
    keep[5 * 200 + 60 : 7 * 200 + 100] = False
    outcome = reduce_cyclic(
        load_kn=record.load[keep], deflection_mm=record.deflection[keep], time_s=record.time[keep]
    )
    # Five before the gap; after it counting starts at the valley of the ninth.
    assert len(_column(outcome, "cycle")) == 5 + 4
    assert {"cyclic.gaps", "cyclic.partial-start", "cyclic.partial-end"} <= set(outcome.codes())


def test_a_change_of_sampling_rate_is_not_a_row_of_gaps() -> None:
    fast, slow = fatigue_record(cycles=5, samples=400), fatigue_record(cycles=20, samples=40)
    outcome = reduce_cyclic(
        load_kn=np.concatenate([fast.load[:-1], slow.load]),
        deflection_mm=np.concatenate([fast.deflection[:-1], slow.deflection]),
        time_s=np.concatenate([fast.time[:-1], fast.time[-1] + slow.time]),
    )
    assert len(_column(outcome, "cycle")) == 25
    assert outcome.settings["count_gaps"] <= 1


def test_time_that_runs_backward_is_said_and_cuts_the_record() -> None:
    record = fatigue_record(cycles=8, loss=0.0)
    record.time[900:] -= 1.0
    outcome = _reduced(record)
    assert "cyclic.time-backward" in outcome.codes()
    assert len(_column(outcome, "cycle")) == 7
    assert (_column(outcome, "frequency_hz") > 0.0).all()


@pytest.mark.parametrize("level", [0.0, 8.0])
def test_a_record_without_cycles_says_so(level: float) -> None:
    still = np.full(500, level) + np.random.default_rng(1).normal(0.0, 0.05, 500)
    outcome = reduce_cyclic(load_kn=still, deflection_mm=still, time_s=np.arange(500) / 100.0)
    assert outcome.metrics == ()
    assert "cyclic.no-cycle" in outcome.codes()
    assert reduce_cyclic(load_kn=[], deflection_mm=[]).metrics == ()


# -- static and dynamic, references, targets ----------------------------------------------------


def _with_static_cycle() -> Record:
    dynamic = fatigue_record(cycles=9, loss=0.0, hertz=4.0)
    static = fatigue_record(cycles=1, loss=0.0, stiffness=6.0, hertz=0.02)
    parts = (dynamic, static, dynamic)
    time, shift = [], 0.0
    for part in parts:
        time.append(part.time[:-1] + shift)
        shift += part.time[-1]
    return Record(
        np.concatenate([p.load[:-1] for p in parts] + [dynamic.load[-1:]]),
        np.concatenate([p.deflection[:-1] for p in parts] + [dynamic.deflection[-1:]]),
        np.concatenate([*time, [shift]]),
        dynamic.stiffness,
    )


def test_static_and_dynamic_stiffness_are_never_mixed() -> None:
    record = _with_static_cycle()
    dynamic = _reduced(record, gap_intervals=None)
    assert dynamic.settings["speed"] == "dynamic"
    assert np.flatnonzero(_column(dynamic, "static")).tolist() == [9]
    assert {f.at for f in dynamic.metrics if f.name == "secant_stiffness"} == {1, 19}
    assert {"cyclic.checkpoint-other-speed", "cyclic.other-speed"} <= set(dynamic.codes())
    static = _reduced(record, speed="static", gap_intervals=None)
    found = static.get("secant_stiffness", at=10)
    assert found.value == pytest.approx(6.0, rel=1e-3)
    assert found.method == "static, load-extremes"
    assert {f.at for f in static.metrics if f.name == "secant_stiffness"} == {10}


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        ({}, "cycle 1"),
        ({"reference": "first-ten"}, "cycles 1 to 10"),
        ({"reference": "cycle", "reference_cycle": 37}, "cycle 37"),
    ],
)
def test_the_reference_is_what_was_asked_for(chosen: dict[str, Any], words: str) -> None:
    record = fatigue_record(cycles=200, phase=0.0)
    outcome = _reduced(record, **chosen)
    assert outcome.settings["reference_words"] == words
    numbers = [int(part) for part in words.split() if part.isdigit()]
    reference = record.stiffness[numbers[0] - 1 : numbers[-1]].mean()
    expected = record.stiffness[99] / reference
    assert outcome.get("stiffness_ratio", at=100).value == pytest.approx(expected, rel=3e-4)


def test_ratios_are_left_out_where_the_reference_is_not_in_the_record() -> None:
    record = fatigue_record(cycles=5)
    for chosen in ({"reference": "first-ten"}, {"reference": "cycle", "reference_cycle": 77}):
        outcome = _reduced(record, **chosen)
        assert not outcome.has("stiffness_ratio")
        assert "cyclic.no-reference" in outcome.codes()


def test_load_error_against_the_target() -> None:
    record = fatigue_record(cycles=10, loss=0.0)
    outcome = _reduced(record, target_maximum_kn=42.0, target_minimum_kn=8.0)
    assert outcome.get("load_error", method="maximum", at=10).value == pytest.approx(
        -2 / 42, rel=0.01
    )
    assert outcome.get("load_error", method="minimum", at=10).value == pytest.approx(0.0, abs=1e-3)
    assert outcome.codes().count("cyclic.load-off-target") == 2
    assert "cyclic.load-off-target" not in _reduced(record, target_maximum_kn=40.5).codes()


def test_no_verdict_on_the_load_below_twenty_samples() -> None:
    few = fatigue_record(cycles=10, samples=19, loss=0.0)
    outcome = _reduced(few, target_maximum_kn=60.0)
    assert not outcome.has("load_error")
    assert "cyclic.no-load-verdict" in outcome.codes()
    assert "cyclic.load-off-target" not in outcome.codes()
    enough = fatigue_record(cycles=10, samples=20, loss=0.0)
    assert _reduced(enough, target_maximum_kn=60.0).has("load_error")


def test_checkpoints_by_default() -> None:
    chosen = CyclicSettings()
    asked = [1, 2, 10, 100, 1_000, 10_000, 100_000, 200_000, 250_000, 500_000, 2_000_000]
    assert [n for n in asked if chosen.is_checkpoint(n)] == [
        n for n in asked if n not in (2, 200_000)
    ]


def test_frequency() -> None:
    outcome = _reduced(fatigue_record(cycles=20, hertz=5.0))
    assert outcome.get("frequency", at=10).value == pytest.approx(5.0)


# -- settling -----------------------------------------------------------------------------------


def test_settles_where_the_loss_per_decade_stays_small() -> None:
    numbers = [1, 10, 100, 1_000, 10_000, 100_000]
    ratios = [1.00, 0.95, 0.90, 0.895, 0.890, 0.885]
    found = settles_at(numbers, ratios, loss_per_decade=0.01, span_decades=0.3)
    assert found == (100, None)
    falling = settles_at(
        numbers, [1.0, 0.97, 0.94, 0.91, 0.88, 0.85], loss_per_decade=0.01, span_decades=0.3
    )
    assert falling == (100_000, "lower")
    assert settles_at([1, 10], [1.0, 0.9], loss_per_decade=0.01, span_decades=0.3) is None
    with pytest.raises(ShapeError, match="one ratio"):
        settles_at([1, 10], [1.0], loss_per_decade=0.01, span_decades=0.3)


# -- settings -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"nois_band": 1}, "'nois_band'.*does not know.*noise_band"),
        ({"noise_band": -1}, "noise_band.*-1"),
        ({"speed": "quick"}, "speed.*'quick'.*static"),
        ({"reference": "cycle"}, "reference_cycle has to be given"),
        ({"reference": "stiffness"}, "reference_stiffness_kn_mm has to be given"),
        ({"checkpoints": [0, 5]}, "checkpoints are numbers"),
        ({"target_minimum_kn": 9, "target_maximum_kn": 8}, "target_minimum_kn has to lie below"),
    ],
)
def test_refuses_settings_in_a_sentence(given: dict[str, object], said: str) -> None:
    with pytest.raises(ShapeError, match=said):
        CyclicSettings.from_dict(given)


def test_every_setting_has_a_default_a_unit_and_a_rule() -> None:
    described = {words.name: words for words in CyclicSettings.describe()}
    assert set(described) == set(CyclicSettings.model_fields)
    assert all(words.unit and words.rule.endswith(".") for words in described.values())
    assert described["speed"].choices == ("static", "dynamic")
    assert described["static_below_hz"].unit == "Hz"
    assert CyclicSettings.from_dict(None) == CyclicSettings()


def test_settings_as_resolved_are_ready_for_storage() -> None:
    outcome = _reduced(fatigue_record(cycles=12, noise_kn=0.1), speed=None)
    assert outcome.settings["noise_band"] == pytest.approx(1.2, rel=0.15)
    assert outcome.settings["speed"] == "dynamic"
    assert canonical_json(outcome.settings)
    again = CyclicSettings.from_dict(
        {k: v for k, v in outcome.settings.items() if k in CyclicSettings.model_fields}
    )
    assert again.noise_band == outcome.settings["noise_band"]
