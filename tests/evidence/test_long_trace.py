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
    monkeypatch.setattr(long_trace, "_coarse_offsets", lambda *args: pytest.fail("not needed"))
    reference = kept("rig", 0, 10_000, 50, 0.0)
    strain = kept("strain", -100, 10_100, 50, 37.0, seed=2)
    found = long_offset(reference, strain, search_s=(30.0, 40.0))
    assert found.offset_s == pytest.approx(37.0, abs=0.002)


# Three spells of one kind of cycling between rests: what tells them apart is their length alone.
SPELLS = ((30.0, 15_530.0), (15_590.0, 29_090.0), (29_131.0, 50_131.0))


def spells(time: Array) -> Array:
    load = np.full(len(time), 8.0)
    for start, stop in SPELLS:
        on = (time >= start) & (time < stop)
        load[on] = 24.0 - 16.0 * np.cos(2 * np.pi * 2.0 * (time[on] - start))
    return load


def laid_down(name: str, start: float, stop: float, hertz: float, clock: float) -> KeptLoad:
    time = np.arange(start, stop, 1.0 / hertz)
    keeper = LoadKeeper(name)
    keeper.feed(time - clock, spells(time) + np.random.default_rng(7).normal(0, 0.03, len(time)))
    return keeper.kept()


REFUSALS = ("join.repeats", "join.not-convincing", "join.one-moment")


def laid_or_refused(
    part: KeptLoad, through: KeptLoad, search_s: tuple[float, float] | None
) -> tuple[float, str]:
    """The offset and no code, or NaN and the code of the refusal."""
    try:
        return long_offset(part, through, search_s=search_s).offset_s, ""
    except ShapeError as error:
        return float("nan"), error.code


@pytest.mark.parametrize(
    ("rig", "logger", "search_s"),
    [(100, 100, None), (200, 20, None), (50, 20, (-60_000.0, 1_000.0))],
)
def test_a_spell_is_laid_on_itself_or_on_none(
    rig: float, logger: float, search_s: tuple[float, float] | None
):
    through = laid_down("logger", 0.0, 50_200.0, logger, 0.0)
    for start, stop in SPELLS:
        spell = laid_down("rig", start - 5.0, stop + 5.0, rig, start - 5.0)
        offset, refused = laid_or_refused(spell, through, search_s)
        assert (refused in REFUSALS) != (offset == pytest.approx(5.0 - start, abs=0.05))


def test_finds_each_spell_where_the_rests_are_longer_than_a_window():
    through = laid_down("logger", 0.0, 50_200.0, 100.0, 12.0)
    for start, stop in SPELLS:
        spell = laid_down("rig", start - 5.0, stop + 5.0, 100.0, start - 5.0)
        found = long_offset(spell, through)
        assert found.offset_s == pytest.approx(12.0 - (start - 5.0), abs=0.01)
        assert found.overlap_s > 0.5 * (stop - start)
