"""What of a curve is drawn when one looks closer."""

from __future__ import annotations

import json
import time
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from labmatrix.evidence.services.blob import blob_storage
from results.domain.curve import Window, view_of
from results.models import Reduction
from results.services import curve as service
from results.services.curve import curve_between
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import Scene, curve_csv

RAMP = np.arange(11, dtype=np.float64)
OPEN = Window()


def test_every_row_in_the_window_is_drawn_and_one_more_on_either_side() -> None:
    view = view_of(RAMP, RAMP, Window(x_from=3.5, x_to=6.5))
    assert view.rows.tolist() == [3, 4, 5, 6, 7]
    assert (view.passes, view.rows_in_view) == (1, 5)


def test_a_line_that_crosses_the_window_between_two_rows_is_not_lost() -> None:
    view = view_of(RAMP, RAMP, Window(x_from=3.2, x_to=3.4, y_from=3.2, y_to=3.4))
    assert view.rows.tolist() == [3, 4]


def test_a_curve_that_comes_back_is_two_passes_with_a_gap_between() -> None:
    x = np.concatenate([RAMP, RAMP[::-1]])
    view = view_of(x, x, Window(x_to=2.0))
    assert view.rows.tolist() == [0, 1, 2, 3, 18, 19, 20, 21]
    assert (view.passes, view.starts.tolist()) == (2, [4])


def test_nothing_in_the_window_is_nothing_drawn() -> None:
    assert view_of(RAMP, RAMP, Window(x_from=20.0)).rows.size == 0
    assert view_of(np.array([np.nan]), np.array([1.0]), OPEN).rows.size == 0


def test_loops_without_end_are_drawn_by_whole_passes_evenly_chosen() -> None:
    turns = 2.0 * np.pi * np.arange(200_001) / 20
    view = view_of(np.cos(turns), np.sin(turns), Window(x_from=0.5))
    assert view.passes == 10_001  # the first and the last are halves
    assert view.passes_drawn == 100
    assert view.rows.size <= 2000
    firsts = np.split(view.rows, view.starts)
    assert firsts[0][0] == 0
    assert firsts[-1][-1] == 200_000
    assert all(np.all(np.diff(part) == 1) for part in firsts)


def test_an_open_window_over_a_long_curve_keeps_its_extremes() -> None:
    y = np.sin(np.arange(100_000) / 777.0)
    y[54_321] = 9.0
    view = view_of(np.arange(100_000.0), y, OPEN, at_most=500)
    assert view.rows.size <= 600
    assert 54_321 in view.rows
    assert (view.passes, view.rows_in_view) == (1, 100_000)


@given(
    arrays(np.float64, st.integers(0, 60), elements=st.floats(-5, 5)),
    st.floats(-4, 4),
    st.floats(0, 4),
)
def test_all_rows_inside_are_among_those_drawn(y, low, width) -> None:
    x = np.arange(y.size, dtype=np.float64)
    view = view_of(x, y, Window(y_from=low, y_to=low + width))
    inside = set(np.flatnonzero((y >= low) & (y <= low + width)).tolist())
    # A single row has no line to draw.
    assert inside <= set(view.rows.tolist()) or y.size == 1
    assert np.all(np.diff(view.rows) > 0)
    assert len(np.split(view.rows, view.starts)) == max(view.passes, 1)


CURVE = [(0, 0), (1, 15), (6, 60), (10, 66), (25, 72), (35, 60), (40, 50)]


@pytest.fixture
def reduction(cast: Scene) -> Reduction:
    csv = curve_csv([(float(x), float(y)) for x, y in CURVE])
    return Reduction.objects.get(record=cast.record(cast.specimen("P0-LAB").code, csv))


def test_the_curve_between_two_rows_comes_from_the_raw_bytes(reduction: Reduction) -> None:
    found = curve_between(reduction=reduction, from_row=20, to_row=22, window=OPEN)
    # The file's rows 20 to 22: 1 + k·5/20 mm, 15 + k·45/20 kN.
    assert found["lines"]["raw"] == {
        "x": [1.0, 1.25, 1.5],
        "y": [15.0, 17.25, 19.5],
        "rows": [20, 21, 22],
    }
    assert (found["of_rows"], found["key"]) == (121, reduction.key)
    assert found["words"] == "Every row in view is drawn: 3."
    assert found["lines"]["reduced"]["rows"] == [20, 21, 22]


def test_a_view_beyond_the_record_says_that_nothing_is_there(reduction: Reduction) -> None:
    found = curve_between(reduction=reduction, from_row=900, to_row=950, window=OPEN)
    assert found["lines"]["raw"]["x"] == []
    assert found["words"] == "No row of the record lies here."


def test_a_record_of_usual_length_is_read_once(reduction: Reduction, monkeypatch) -> None:
    service._read_and_kept.cache_clear()
    curve_between(reduction=reduction, window=OPEN)
    monkeypatch.setattr(type(blob_storage()), "open", lambda *a, **k: pytest.fail("read again"))
    assert curve_between(reduction=reduction, window=Window(x_to=1.0))["rows_in_view"] == 22


def test_a_long_record_is_read_again_and_gaps_stand_as_none(cast: Scene, monkeypatch) -> None:
    monkeypatch.setattr(service, "_KEPT_ROWS_MAX", 10)
    signal = fatigue_record(cycles=20)
    rows = [f"{d:.9g},{p:.9g}" for d, p in zip(signal.deflection, signal.load, strict=True)]
    content = "\n".join(["deflection,load", "mm,kN", *rows]).encode()
    record = cast.record(cast.specimen("P0-LAB").code, content, test="cyclic", name="c.csv")
    kept = service._read_and_kept.cache_info()
    found: dict[str, Any] = curve_between(
        reduction=Reduction.objects.get(record=record), window=Window(y_from=39.9)
    )
    assert service._read_and_kept.cache_info() == kept
    raw = found["lines"]["raw"]
    assert raw["y"].count(None) == raw["x"].count(None) == raw["rows"].count(None) == 19
    assert "reduced" not in found["lines"]
    json.dumps(found, allow_nan=False)


def test_two_million_rows_are_looked_at_in_a_blink() -> None:
    turns = np.arange(2_000_000) / 50.0
    x, y = np.cos(turns), np.sin(turns)
    began = time.perf_counter()
    view_of(x, y, Window(x_from=0.9, y_from=0.0))
    assert time.perf_counter() - began < 2.0
