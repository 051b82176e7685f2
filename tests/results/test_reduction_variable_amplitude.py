"""Variable-amplitude histories counted as records."""

from __future__ import annotations

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.variable_amplitude import CountingSettings, reduce_counting

HISTORY = [-2.0, 1.0, -3.0, np.nan, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]


def test_counts_the_published_history_around_a_missing_sample() -> None:
    """ASTM E1049-85, example history: ranges 3, 4, 6, 8 and 9, four cycles in all."""
    outcome = reduce_counting(load_kn=HISTORY, settings=CountingSettings(band_kn=0.0))
    assert outcome.get("counted_cycles").value == 4.0
    assert outcome.get("largest_range").value == 9.0
    table = outcome.table
    assert table is not None
    widest = int(np.argmax(table["range_kn"]))
    assert (table["first_index"][widest], table["last_index"][widest]) == (4, 7)
    assert "counting.samples-left-out" in outcome.codes()


def test_says_the_residue_rule_and_what_half_cycles_carry() -> None:
    outcome = reduce_counting(load_kn=HISTORY, settings=CountingSettings(band_kn=0.0, exponent=3))
    halves = 0.5 * (27 + 64 + 216 + 729) + 512.0
    found = outcome.get("half_cycle_share")
    assert found.value == pytest.approx(halves / (halves + 64.0))
    assert found.method == "m = 3"
    assert "one half" in outcome.warnings[0].message
    assert "counting.half-cycles" in outcome.codes()
    many = reduce_counting(load_kn=[0.0, 20.0, *[5.0, 15.0] * 500, 0.0])
    assert many.get("half_cycle_share").value == pytest.approx(20**5 / (20**5 + 500 * 10**5))
    assert "counting.half-cycles" not in many.codes()


def test_damage_only_by_a_stated_line() -> None:
    load = np.array([0.0, 10.0] * 100 + [0.0])
    assert not reduce_counting(load_kn=load).has("damage")
    settings = CountingSettings.from_dict(
        {
            "exponent": 3,
            "line_range_kn": 20.0,
            "line_cycles": 1e6,
            "line_source": "stated in the test",
        }
    )
    found = reduce_counting(load_kn=load, settings=settings).get("damage")
    assert found.value == pytest.approx(100 * 0.5**3 / 1e6)
    assert found.method == "m = 3, stated in the test"
    with pytest.raises(ShapeError, match="all three or none"):
        CountingSettings.from_dict({"line_range_kn": 20.0})


def test_refuses_a_table_of_samples() -> None:
    with pytest.raises(ShapeError, match="one row"):
        reduce_counting(load_kn=np.zeros((3, 2)))
    empty = reduce_counting(load_kn=[])
    assert empty.get("counted_cycles").value == 0.0
    assert not empty.has("largest_range")
