"""Files of one test are joined on their load: the offset is recovered, or the join is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import Channels, apply_map
from labmatrix.evidence.domain.join import Joined, join_files, spread_equal_stamps
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.table import RawTable
from labmatrix.kernel.errors import ShapeError

Array = NDArray[np.float64]
ENTRIES: list[dict[str, Any]] = [
    {"column": "t", "quantity": "time", "unit": "s", "file": "frame"},
    {"column": "P", "quantity": "load", "unit": "kN", "file": "frame"},
    {"column": "w", "quantity": "deflection", "unit": "mm", "file": "frame"},
    {"column": "t", "quantity": "time", "unit": "s", "file": "strain"},
    {"column": "P", "quantity": "load", "unit": "kN", "file": "strain"},
    {"column": "e", "quantity": "strain", "unit": "mm/mm", "file": "strain"},
]


def break_load(time: Array) -> Array:
    """A break test: seating, two unloadings, rise, drop (invented)."""
    return np.interp(
        time,
        [-1e4, 0, 20, 30, 45, 60, 110, 130, 190, 200, 230, 1e4],
        [0, 0, 10, 10, 2, 2, 40, 18, 72, 55, 40, 40],
    )


def cyclic_load(time: Array) -> Array:
    """Constant cycles behind a slow start (invented)."""
    swing = np.clip((time - 20) / 30, 0, 1)
    return 24 * np.clip(time / 20, 0, 1) + 16 * swing * np.sin(2 * np.pi * 0.5 * (time - 20))


def table(**columns: Array) -> RawTable:
    rows = len(next(iter(columns.values())))
    names = tuple(Column(name) for name in columns)
    return RawTable(names, columns, np.arange(1, rows + 1, dtype=np.int64))


def two_files(
    offset: float,
    *,
    load: Any = break_load,
    steps: tuple[float, float] = (0.1, 0.02),
    noise: float = 0.02,
    spans: tuple[float, float, float, float] = (0, 240, -30, 260),
    gain: float = 1.0,
    drift: float = 0.0,
    seed: int = 11,
) -> Channels:
    """Frame and strain logger; the strain logger's clock shows ``offset`` less."""
    rng = np.random.default_rng(seed)
    frame = np.arange(spans[0], spans[1], steps[0])
    strain = np.arange(spans[2], spans[3], steps[1])
    frame_load, strain_load = load(frame), gain * load(strain * (1 + drift))
    tables = {
        "frame": table(t=frame, P=frame_load + rng.normal(0, noise, len(frame)), w=frame_load / 4),
        "strain": table(
            t=strain - offset,
            P=strain_load + rng.normal(0, noise, len(strain)),
            e=load(strain) * 1e-5,
        ),
    }
    return apply_map(tables, ChannelMap.from_data(ENTRIES))


def refusal(channels: Channels, **more: Any) -> ShapeError:
    with pytest.raises(ShapeError) as caught:
        join_files(channels, **more)
    return caught.value


def codes(joined: Joined) -> set[str]:
    return {remark.code for remark in joined.remarks}


@given(st.floats(-500, 500), st.sampled_from([(0.1, 0.02), (0.02, 0.1), (0.1, 0.1), (0.05, 0.13)]))
@settings(max_examples=12, deadline=None)
def test_recovers_any_offset_between_samples(offset: float, steps: tuple[float, float]) -> None:
    joined = join_files(two_files(offset, steps=steps))
    (found,) = joined.offsets
    assert abs(found.offset_s - offset) < 0.05 * max(steps)
    assert found.correlation > 0.9999
    assert found.gain == pytest.approx(1.0, abs=1e-3)


def test_the_stated_uncertainty_covers_the_error() -> None:
    errors, stated = [], []
    for seed in range(40):
        (found,) = join_files(two_files(3.0, noise=0.5, seed=seed)).offsets
        errors.append(found.offset_s - 3.0)
        stated.append(found.uncertainty_s)
    rms = float(np.sqrt(np.mean(np.square(errors))))
    assert 0.4 * np.mean(stated) < rms < 1.3 * np.mean(stated)


def test_channels_stand_on_the_rows_of_the_reference() -> None:
    joined = join_files(two_files(12.34))
    load, strain = joined.channels.one("load"), joined.channels.one("strain")
    assert load.file == strain.file == "frame"
    assert strain.joined_from == "strain"
    np.testing.assert_allclose(strain.values, break_load(np.arange(0, 240, 0.1)) * 1e-5, atol=2e-7)
    assert joined.channels.time_of(strain) is joined.channels.time_of(load)


def test_strain_is_missing_where_its_logger_did_not_run() -> None:
    joined = join_files(two_files(5.0, spans=(0, 240, 40, 200)))
    strain = joined.channels.one("strain").values
    time = np.arange(0, 240, 0.1)
    assert np.isnan(strain[time < 39.9]).all()
    assert np.isnan(strain[time > 200.1]).all()
    assert np.isfinite(strain[(time > 40.1) & (time < 199.9)]).all()


def test_nothing_is_interpolated_across_a_gap() -> None:
    channels = two_files(5.0)
    time = channels.all("time")[1].values
    gap = (time > 95.0) & (time < 105.0)
    for channel in channels.channels:
        if channel.file == "strain" and channel.quantity != "time":
            channel.values[gap] = np.nan
    strain = join_files(channels).channels.one("strain").values
    frame = np.arange(0, 240, 0.1)
    assert np.isnan(strain[(frame > 100.1) & (frame < 109.9)]).all()
    assert np.isfinite(strain[(frame < 99.9) | (frame > 110.1)]).all()


def test_a_slow_start_tells_one_cycle_from_the_next() -> None:
    (found,) = join_files(two_files(-7.03, load=cyclic_load, spans=(0, 150, -5, 160))).offsets
    assert found.offset_s == pytest.approx(-7.03, abs=0.005)
    assert found.margin is not None
    assert found.margin > 2
    assert found.next_offset_s == pytest.approx(-7.03 + 2, abs=0.1) or found.next_offset_s == (
        pytest.approx(-7.03 - 2, abs=0.1)
    )


def test_refuses_cycles_that_repeat_themselves() -> None:
    def endless(time: Array) -> Array:
        return 24 + 16 * np.sin(2 * np.pi * 0.5 * time)

    channels = two_files(3.0, load=endless)
    error = refusal(channels)
    assert error.code == "join.repeats"
    first, second = error.facts["offsets_s"]
    assert abs(first - second) % 2.0 == pytest.approx(0.0, abs=0.1) or abs(
        first - second
    ) % 2.0 == pytest.approx(2.0, abs=0.1)
    (found,) = join_files(channels, search_s=(2.5, 3.5)).offsets
    assert found.offset_s == pytest.approx(3.0, abs=0.005)


def test_a_stated_offset_is_confirmed_by_the_load() -> None:
    (found,) = join_files(two_files(3.0), stated_offset_s={"strain": 3.05}).offsets
    assert found.offset_s == pytest.approx(3.0, abs=0.03)
    error = refusal(two_files(3.0), stated_offset_s={"strain": 60.0})
    assert error.code == "join.not-convincing"


def test_refuses_loads_that_do_not_agree() -> None:
    channels = two_files(3.0)
    rng = np.random.default_rng(3)
    other = next(c for c in channels.all("load") if c.file == "strain")
    other.values[:] = np.cumsum(rng.normal(size=len(other.values)))
    error = refusal(channels)
    assert error.code in ("join.not-convincing", "join.opposite")
    assert error.facts["correlation"] < 0.95


def test_says_that_a_load_is_turned() -> None:
    error = refusal(two_files(3.0, gain=-1.0))
    assert error.code == "join.opposite"
    assert "sign" in error.message


def test_says_loads_that_are_not_calibrated_alike() -> None:
    joined = join_files(two_files(3.0, gain=1.05))
    assert codes(joined) == {"join.offset", "join.gain"}
    assert joined.offsets[0].gain == pytest.approx(1.05, abs=1e-3)


def test_says_clocks_that_drift_apart() -> None:
    joined = join_files(two_files(3.0, drift=1e-3))
    assert "join.drift" in codes(joined)
    assert "join.drift" not in codes(join_files(two_files(3.0)))


def test_refuses_a_load_that_never_changes() -> None:
    error = refusal(two_files(3.0, load=np.ones_like, noise=0.0))
    assert error.code == "join.constant-load"


def test_refuses_a_file_without_load_or_time() -> None:
    channels = two_files(3.0)
    no_load = Channels(tuple(c for c in channels.channels if c.column != "P" or c.file == "frame"))
    assert refusal(no_load).code == "join.load-missing"
    no_time = Channels(tuple(c for c in channels.channels if c.column != "t" or c.file == "strain"))
    assert refusal(no_time).code == "join.time-missing"
    joined = join_files(no_time, seconds_per_row={"frame": 0.1})
    assert joined.offsets[0].offset_s == pytest.approx(3.0, abs=0.005)


def test_refuses_two_files_without_common_time() -> None:
    error = refusal(two_files(3.0), search_s=(1000.0, 1001.0))
    assert error.code == "join.no-overlap"


def test_one_file_stays_as_it_is() -> None:
    channels = two_files(3.0)
    frame = Channels(tuple(c for c in channels.channels if c.file == "frame"))
    joined = join_files(frame)
    assert (joined.channels, joined.offsets, joined.remarks) == (frame, (), ())


def test_rows_that_share_a_stamp_are_spread_over_it() -> None:
    true = np.arange(0.7, 20, 0.1)
    np.testing.assert_allclose(spread_equal_stamps(np.floor(true + 1e-9)), true, atol=1e-6)
    fine = np.arange(0, 5, 0.1)
    assert spread_equal_stamps(fine) is fine


def test_joins_a_logger_whose_clock_shows_whole_seconds() -> None:
    channels = two_files(4.0, steps=(0.05, 0.1))
    for channel in channels.all("time"):
        if channel.file == "strain":
            channel.values[:] = np.floor(channel.values + 1e-9)
    (found,) = join_files(channels).offsets
    assert found.offset_s == pytest.approx(4.0, abs=0.02)
