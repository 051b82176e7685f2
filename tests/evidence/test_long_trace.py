"""Files of any length are laid on each other where the cycling starts, stops and changes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from labmatrix.evidence.domain import long_trace
from labmatrix.evidence.domain.long_trace import KeptLoad, LoadKeeper, long_offset
from labmatrix.kernel.errors import ShapeError

Array = NDArray[np.float64]
STOPS = ((0.0, 40.0), (2400.0, 2460.0), (6100.0, 6155.0), (9900.0, 1e9))


def cycling(time: Array, stops: tuple[tuple[float, float], ...] = STOPS) -> Array:
    """Cycles of 2 Hz from 8 to 40 kN with stops at 8 kN; invented."""
    load = 24.0 - 16.0 * np.cos(2 * np.pi * 2.0 * time)
    for start, stop in stops:
        load[(time >= start) & (time < stop)] = 8.0
    return load


def kept(name: str, start: float, stop: float, hertz: float, clock: float, *, seed: int = 1,
         stops: tuple[tuple[float, float], ...] = STOPS, cuts: int = 7) -> KeptLoad:  # fmt: skip
    rng = np.random.default_rng(seed)
    time = np.arange(start, stop, 1.0 / hertz)
    load = cycling(time, stops) + rng.normal(0, 0.05, len(time))
    load[rng.integers(0, len(load), 20)] = np.nan
    keeper = LoadKeeper(name)
    for part in np.array_split(np.arange(len(time)), cuts):
        keeper.feed(time[part] - clock, load[part])
    return keeper.kept()


def test_a_long_file_is_kept_light_and_a_short_one_whole():
    long, short = kept("rig", 0, 10_000, 50, 0.0), kept("rig", 0, 1000, 50, 0.0)
    assert (long.whole, short.whole) == (False, True)
    assert long.samples > 499_000
    assert len(long.trace.time) < 100_000
    assert len(short.trace.time) == short.samples
    assert (np.diff(long.trace.time) > 0).all()


def test_what_is_kept_does_not_depend_on_the_pieces():
    one, other = (kept("rig", 0, 10_000, 50, 0.0, cuts=cuts) for cuts in (1, 93))
    np.testing.assert_array_equal(one.trace.time, other.trace.time)
    np.testing.assert_array_equal(one.activity.load, other.activity.load)


@pytest.mark.parametrize("clock", [37.123, -4012.5])
def test_finds_the_offset_of_two_long_files_within_a_fraction_of_a_sample(clock: float):
    reference = kept("rig", 0, 10_000, 50, 0.0)
    strain = kept("strain", -100, 10_100, 45, clock, seed=2)
    found = long_offset(reference, strain)
    assert found.offset_s == pytest.approx(clock, abs=0.002)
    assert found.correlation > 0.999


def test_finds_a_part_of_a_run_in_a_long_file():
    part = kept("rig", 2450, 6120, 50, 2450.0)
    strain = kept("strain", -100, 10_100, 50, 12.0, seed=2)
    found = long_offset(part, strain)
    assert found.offset_s == pytest.approx(12.0 - 2450.0, abs=0.002)


def test_refuses_a_load_that_only_repeats_itself():
    endless: tuple[tuple[float, float], ...] = ()
    reference = kept("rig", 0, 10_000, 50, 0.0, stops=endless)
    strain = kept("strain", 100, 10_100, 50, 3.0, seed=2, stops=endless)
    with pytest.raises(ShapeError) as refused:
        long_offset(reference, strain)
    assert refused.value.code in ("join.repeats", "join.not-convincing")


def test_refuses_another_test():
    other = ((0.0, 10.0), (700.0, 1100.0), (3000.0, 3900.0), (8000.0, 1e9))
    reference = kept("rig", 0, 10_000, 50, 0.0)
    with pytest.raises(ShapeError) as refused:
        long_offset(reference, kept("strain", 0, 10_000, 50, 3.0, seed=2, stops=other))
    assert refused.value.code in ("join.repeats", "join.not-convincing")


def test_a_search_narrows_what_is_tried(monkeypatch):
    monkeypatch.setattr(long_trace, "_coarse_offsets", lambda a, b: pytest.fail("not needed"))
    reference = kept("rig", 0, 10_000, 50, 0.0)
    strain = kept("strain", -100, 10_100, 50, 37.0, seed=2)
    found = long_offset(reference, strain, search_s=(30.0, 40.0))
    assert found.offset_s == pytest.approx(37.0, abs=0.002)
