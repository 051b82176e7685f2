"""Figures in the units of the person: one door, there and back, and what must not change."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.units import conversion
from labmatrix.web.domain.unit_systems import SI, US_CUSTOMARY, unit_shown
from labmatrix.web.figure_units import payload_shown

# Base units that both systems name differently, as they stand in axis titles.
SHOWN_OTHERWISE = ["kN", "mm", "MPa", "kN·m", "kN/mm", "kN·mm", "1/mm", "°C", "Δ°C", "mm²"]
ALIKE = ["1", "Hz", "% RH", "d", "µm/m", "mm/mm"]


def payload(unit: str, values: list[float | None]) -> dict[str, Any]:
    """A curve of one quantity over load cycles."""
    return {
        "data": [{"x": [float(k) for k in range(len(values))], "y": values, "meta": {"level": 0}}],
        "layout": {
            "xaxis": {"title": {"text": "Load cycles"}, "range": [0.0, 5.0]},
            "yaxis": {"title": {"text": f"Quantity ({unit})"}, "range": [0.0, 10.0]},
        },
        "kind": "cycles",
    }


@settings(deadline=None)  # the first conversion loads the library of units
@given(
    st.sampled_from(SHOWN_OTHERWISE),
    st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), min_size=1, max_size=8),
)
def test_a_figure_comes_back_from_the_persons_units(unit, values):
    there = payload_shown(payload(unit, values), US_CUSTOMARY)
    target = unit_shown(unit, US_CUSTOMARY)
    assert there["layout"]["yaxis"]["title"]["text"] == f"Quantity ({target})"
    factor, offset = conversion(target, unit)
    for given_value, shown in zip(values, there["data"][0]["y"], strict=True):
        if given_value is None:
            assert shown is None
        else:
            assert shown * factor + offset == pytest.approx(given_value, rel=1e-7, abs=1e-6)
    low, high = (end * factor + offset for end in there["layout"]["yaxis"]["range"])
    assert (low, high) == pytest.approx((0.0, 10.0), abs=1e-6)


@pytest.mark.parametrize("unit", ALIKE)
def test_what_both_systems_share_stays(unit):
    asked = payload(unit, [1.0, None, 3.0])
    assert payload_shown(asked, US_CUSTOMARY) == asked


def test_si_changes_nothing_and_nobodys_payload_is_written_over():
    asked = payload("kN", [1.0, 2.0])
    before = copy.deepcopy(asked)
    assert payload_shown(asked, SI) == before
    payload_shown(asked, US_CUSTOMARY)
    assert asked == before


def test_a_length_is_never_shifted_and_a_place_is():
    asked = payload("°C", [0.0, 100.0])
    asked["data"][0]["error_y"] = {"type": "data", "array": [5.0, 10.0]}
    shown = payload_shown(asked, US_CUSTOMARY)["data"][0]
    assert shown["y"] == pytest.approx([32.0, 212.0])
    assert shown["error_y"]["array"] == pytest.approx([9.0, 18.0])


def test_second_axes_marks_and_notes_follow_their_own_axis():
    asked = payload("kN", [1.0])
    asked["layout"]["yaxis2"] = {"title": "Energy (kN·mm)", "tickvals": [0, 113.0]}
    asked["layout"]["shapes"] = [{"x0": 0, "x1": 1, "y0": 4.4482216152605, "y1": 0, "yref": "y"}]
    asked["layout"]["annotations"] = [{"y": 0.5, "yref": "paper", "text": "above"}]
    asked["data"].append({"x": [1], "y": [112.98482902761671], "yaxis": "y2"})
    shown = payload_shown(asked, US_CUSTOMARY)
    assert shown["layout"]["yaxis2"]["title"] == "Energy (kip·in)"
    assert shown["data"][1]["y"] == pytest.approx([1.0])
    assert shown["layout"]["shapes"][0]["y0"] == pytest.approx(1.0)
    assert shown["layout"]["annotations"][0]["y"] == 0.5


def test_a_logarithmic_range_is_in_powers_of_ten():
    asked = payload("mm", [25.4])
    asked["layout"]["yaxis"] |= {"type": "log", "range": [math.log10(25.4), math.log10(254.0)]}
    shown = payload_shown(asked, US_CUSTOMARY)["layout"]["yaxis"]
    assert shown["range"] == pytest.approx([0.0, 1.0])


def test_finer_rows_are_told_how_to_follow():
    asked = payload("kN", [1.0]) | {"finer": {"url": "/api/records/x/curve/"}}
    units = payload_shown(asked, US_CUSTOMARY)["finer"]["units"]
    assert units == {"y": [pytest.approx(1 / 4.4482216152605), 0.0]}
    assert "units" not in payload_shown(asked, SI)["finer"]


def test_words_in_brackets_are_no_unit():
    asked = payload("all of them", [1.0])
    assert payload_shown(asked, US_CUSTOMARY) == asked
