"""An assumed error of a sensor, without a database: what a reduction takes in, what moves."""

from __future__ import annotations

import copy
import io
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import Channels, apply_map
from labmatrix.evidence.reading.open_table import read_table
from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.assumed_error import (
    NO_ERROR,
    AssumedError,
    assumed_inputs,
    check_error,
    check_measures,
    error_said,
    offset_drops_out,
)
from results.domain.moved_numbers import (
    Pair,
    largest_change,
    percent_said,
    spread_of,
    spreads,
    summary_said,
)
from results.domain.what_if_question import (
    Question,
    check_question,
    period_said,
    question_said,
)
from results.services.calibrated import calibrated, factors_of

FACTORS = st.floats(0.5, 2.0)
OFFSETS = st.floats(-50.0, 50.0)
READINGS = st.lists(st.floats(-200.0, 200.0), min_size=2, max_size=20)


def inputs(factor: float | None = 1.002, **entry: Any) -> dict[str, Any]:
    """Inputs with one load channel of LC-3 and one deflection of another sensor."""
    entries = [
        {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3", **entry},
        {"column": "defl", "quantity": "deflection", "unit": "mm", "sensor": "D-1"},
    ]
    known = {"known": False} if factor is None else {"factor": factor, "u_relative": 0.002}
    return {
        "files": [],
        "channel_map": ChannelMap.from_data(entries).canonical(),
        "calibrations": [{"sensor": "D-1", "known": False}, {"sensor": "LC-3", **known}],
        "settings": {},
    }


def channels(told: dict[str, Any], readings: list[float]) -> Channels:
    """What the inputs make of readings of the load cell."""
    text = "load,defl\n" + "".join(f"{r!r},1.5\n" for r in readings)
    tables = {"a.csv": read_table(io.BytesIO(text.encode()))}
    found = apply_map(tables, ChannelMap.from_data(told["channel_map"]))
    return calibrated(found, factors_of(told["calibrations"]))


def loads(told: dict[str, Any], readings: list[float]) -> list[float]:
    """The load that the inputs give of readings, kN."""
    return [float(v) for v in channels(told, readings).one("load").values]


@settings(deadline=None, max_examples=40)
@given(readings=READINGS, calibration=st.floats(0.9, 1.1))
def test_no_error_changes_nothing_to_the_last_bit(readings, calibration):
    plain = inputs(calibration)
    same = assumed_inputs(plain, [AssumedError("LC-3")])
    assert canonical_json(same) == canonical_json(plain)
    assert loads(same, readings) == loads(plain, readings)


@settings(deadline=None, max_examples=40)
@given(readings=READINGS, factor=FACTORS, offset=OFFSETS)
def test_an_error_and_its_inverse_give_back_what_was(readings, factor, offset):
    error = AssumedError("LC-3", factor, offset, "kN")
    plain = inputs()
    there = assumed_inputs(plain, [error])
    back = assumed_inputs(there, [error.taken_back()])
    assert loads(back, readings) == pytest.approx(loads(plain, readings), rel=1e-12, abs=1e-9)


@settings(deadline=None, max_examples=40)
@given(readings=READINGS, factor=FACTORS, offset=OFFSETS, calibration=st.floats(0.9, 1.1))
def test_what_the_sensor_showed_is_turned_into_what_was_true(readings, factor, offset, calibration):
    """showed = factor · true + offset, before the calibration's own factor."""
    error = AssumedError("LC-3", factor, offset, "kN")
    showed = [factor * true + offset for true in readings]
    corrected = loads(assumed_inputs(inputs(calibration), [error]), showed)
    assert corrected == pytest.approx([calibration * t for t in readings], rel=1e-9, abs=1e-9)


def test_a_factor_of_1_01_divides_by_1_01_and_leaves_other_sensors_alone():
    told = assumed_inputs(inputs(1.0), [AssumedError("LC-3", 1.01)])
    assert loads(told, [101.0]) == pytest.approx([100.0], rel=1e-15)
    assert channels(told, [101.0]).one("deflection").values.tolist() == [1.5]


def test_the_factor_counts_where_no_calibration_is_known():
    told = assumed_inputs(inputs(None), [AssumedError("LC-3", 1.25)])
    assert loads(told, [100.0]) == [80.0]
    assert {c["sensor"]: c["known"] for c in told["calibrations"]} == {"D-1": False, "LC-3": False}


def test_an_offset_is_converted_into_the_unit_of_the_column():
    told = assumed_inputs(inputs(1.0, unit="N"), [AssumedError("LC-3", 1.0, 0.2, "kN")])
    assert loads(told, [1200.0]) == pytest.approx([1.0])


def test_an_offset_follows_sign_and_scale_of_the_channel():
    told = assumed_inputs(inputs(1.0, sign=-1, scale=2.0), [AssumedError("LC-3", 1.0, -0.5, "kN")])
    assert loads(told, [-10.5]) == [20.0]


def test_an_offset_drops_out_of_a_channel_zeroed_on_its_own_record():
    plain = inputs(1.0, zero={"first": 1})
    told = assumed_inputs(plain, [AssumedError("LC-3", 1.0, 0.5, "kN")])
    assert loads(told, [3.5, 13.5]) == loads(plain, [3.5, 13.5]) == [0.0, 10.0]
    assert [offset_drops_out(e) for e in told["channel_map"]["entries"]] == [False, True]


def test_the_inputs_that_are_stored_are_left_alone():
    plain = inputs()
    before = copy.deepcopy(plain)
    assumed_inputs(plain, [AssumedError("LC-3", 1.01, 0.2, "kN")])
    assert plain == before


def test_a_sensor_that_the_record_does_not_name_changes_nothing():
    plain = inputs()
    told = assumed_inputs(plain, [AssumedError("LC-9", 1.01, 0.2, "kN")])
    assert canonical_json(told) == canonical_json(plain)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (AssumedError("LC-3"), "what-if.no-error"),
        (AssumedError("LC-3", 1.0, 0.2), "what-if.unit"),
        (AssumedError("LC-3", 1.0, 0.2, "furlong"), "unit.unknown"),
        (AssumedError("LC-3", 0.0), "input.out-of-range"),
        (AssumedError("LC-3", float("nan")), "input.out-of-range"),
        (AssumedError("LC-3", 1.0, float("inf"), "kN"), "input.out-of-range"),
    ],
)
def test_refuses_what_is_no_error(error, code):
    with pytest.raises(ShapeError) as refused:
        check_error(error)
    assert refused.value.code == code
    assert code != "what-if.no-error" or refused.value.message == NO_ERROR


def test_refuses_an_offset_of_another_kind_and_quantities_without_numbers():
    with pytest.raises(ShapeError, match="cannot become mm"):
        check_measures(AssumedError("D-1", 1.0, 0.2, "kN"), "deflection", "mm")
    with pytest.raises(ShapeError, match="enters no number"):
        check_measures(AssumedError("T-1", 1.01), "temperature", "°C")


def test_the_words_of_an_error():
    assert error_said(AssumedError("LC-3", 1.01)) == "LC-3 showed 1 % too much"
    assert error_said(AssumedError("LC-3", 0.985, -0.2, "kN")) == (
        "LC-3 showed 1.5 % too little and −0.2 kN with nothing on it"
    )


def test_a_question_is_the_same_whatever_the_order_of_its_sensors():
    a, b = AssumedError("A", 1.01), AssumedError("B", 1.01)
    since, until = date(2026, 3, 1), date(2026, 4, 30)
    one, other = (check_question(e, since, until, "UTC") for e in ((a, b), (b, a)))
    assert one == other == Question.from_dict(one.as_dict())
    assert question_said(one) == (
        "What if A, B showed 1 % too much each from 2026-03-01 to 2026-04-30?"
    )
    assert period_said(check_question([a], since, None, "UTC")) == "from 2026-03-01 on"


def test_refuses_a_period_turned_round_a_sensor_twice_and_none_or_too_many():
    error = AssumedError("A", 1.01)
    day = date(2026, 3, 1)
    for errors, until, code in (
        ([error], date(2026, 2, 1), "what-if.period"),
        ([error, error], None, "what-if.twice"),
        ([], None, "what-if.no-sensor"),
    ):
        with pytest.raises(ShapeError) as refused:
            check_question(errors, day, until, "UTC")
        assert refused.value.code == code
    with pytest.raises(RangeError):
        check_question([AssumedError(f"S{k}", 1.01) for k in range(51)], day, None, "UTC")


def pair(specimen: str, cell: str, old: float | None, new: float | None, **more: Any) -> Pair:
    """A pair of peak loads."""
    return Pair(specimen, cell, "QS", "peak_load", "", None, "kN", old, new, **more)


def test_the_summary_counts_numbers_specimens_and_cells():
    pairs = [
        pair("A-1", "A", 101.0, 100.0),
        pair("A-2", "A", 50.0, 50.0),
        pair("B-1", "B", 10.0, 10.02),
        pair("B-1", "B", 0.0, 0.1),
    ]
    assert summary_said(pairs) == (
        "3 numbers of 2 specimens in 2 cells move; the largest by −0.99 %."
    )
    assert largest_change(pairs) == pairs[0]
    assert summary_said(pairs[1:2]) == "Of 1 number of 1 specimen none moves."
    assert summary_said(pairs[:1]) == "1 number of 1 specimen in 1 cell moves by −0.99 %."


def test_rounding_is_no_move_and_a_number_that_comes_or_goes_is():
    assert not pair("A", "A", 1.0, 1.0 + 1e-12).moves
    assert pair("A", "A", None, 1.0).moves
    assert pair("A", "A", 1.0, None).moves
    assert pair("A", "A", 1.0, 1.0, new_bound="lower").moves
    assert pair("A", "A", 0.0, 1.0).relative is None


def test_a_number_about_zero_has_no_change_in_per_cent():
    error = Pair("A", "A", "QS", "load_error", "", 1, "1", 0.0005, -0.0099)
    assert error.moves
    assert error.relative is None
    assert summary_said([error]) == (
        "1 number of 1 specimen in 1 cell moves; none of them has a change in per cent."
    )
    assert summary_said([error, pair("A", "A", 101.0, 100.0)]).endswith("the largest by −0.99 %.")


def test_the_change_of_a_negative_number_has_the_sign_of_its_move():
    assert pair("A", "A", -10.0, -9.0).relative == pytest.approx(0.1)


def test_groups_have_their_smallest_and_largest_change():
    pairs = [pair("A-1", "A", 100.0, 99.0), pair("A-2", "A", 100.0, 102.0)]
    (group,) = spreads(pairs, lambda p: (p.cell,))
    assert group == spread_of(("A",), pairs)
    assert (group.numbers, group.moved, group.specimens) == (2, 2, 2)
    assert (group.least, group.most) == pytest.approx((-0.01, 0.02))


def test_per_cent_in_words():
    said = [percent_said(v) for v in (-0.0099009901, 0.5, 1.5, -0.00012)]
    assert said == ["−0.99 %", "+50.00 %", "+150 %", "−0.012 %"]
