"""The ultimate load follows the chosen laws of bars and fabric; the closed form stays beside it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import Parabola
from results.domain.mechanics.loading import Options
from results.domain.mechanics.member import Member
from results.domain.mechanics.moment_curvature import ultimate_point
from results.domain.prediction.build import build
from results.domain.prediction.calculators import calculate_beam, calculate_flexure
from results.domain.prediction.flexure import flexure_of
from results.domain.prediction.predict import predict
from results.domain.prediction.strength import BAR_MODE, CLOSED_FORM, FIBRES
from tests.results.test_predictions_mechanics import (
    LOADING,
    STRENGTHEN,
    inputs,
    member,
    steps,
)

TWO_LINES = {"fabric_uncracked_mpa": 600_000.0, "fabric_transition_strain": 4e-4}


def _moment(outcome, name):
    return outcome[name]["value"]


@settings(max_examples=25, deadline=None)
@given(
    strength=st.floats(20.0, 50.0),
    plies=st.integers(0, 4),
    fy=st.floats(350.0, 550.0),
    factor=st.sampled_from([1.0, 0.85]),
)
def test_where_the_closed_form_holds_the_fibres_give_the_same(strength, plies, fy, factor):
    bars = [{"count": 3, "diameter_mm": 12, "depth_mm": 260, "yield_mpa": fy}]
    made = member(plies, concrete={"strength_mpa": strength}, bars=bars)
    answer = calculate_flexure({"member": made, "options": {"fabric_factor": factor}})
    assert answer["strength_by"] == CLOSED_FORM
    assert _moment(answer, "nominal_moment") == _moment(answer, "closed_form_moment")
    assert _moment(answer, "fibre_moment") == pytest.approx(
        _moment(answer, "closed_form_moment"), rel=3e-4
    )


def test_two_line_fabric_moves_the_ultimate_load():
    straight = predict(inputs(STRENGTHEN)).outcome
    bent = predict(inputs(STRENGTHEN, **TWO_LINES)).outcome
    assert straight["strength_by"] == CLOSED_FORM
    assert bent["strength_by"] == FIBRES
    # The first line lies above the other: (E1 − Ef) εt on 20 mm² at 300 mm, about a short arm.
    extra = (600_000.0 - 128_000.0) * 4e-4 * 20.0 * (300.0 - 16.0) / 1e6
    gained = _moment(bent, "ultimate_moment") - _moment(straight, "ultimate_moment")
    assert gained == pytest.approx(extra, rel=0.05)
    assert _moment(bent, "closed_form_moment") == _moment(straight, "closed_form_moment")
    assert bent["ultimate_load"]["value"] > straight["ultimate_load"]["value"]


def test_the_curve_ends_at_the_ultimate_load():
    found = predict(inputs(STRENGTHEN, **TWO_LINES))
    assert found.curve["y"][-1] == pytest.approx(found.outcome["ultimate_load"]["value"], rel=1e-6)


def test_hardening_bars_carry_more_and_the_gain_is_against_a_twin_that_hardens_too():
    plain = predict(inputs(STRENGTHEN)).outcome
    found = predict(inputs(STRENGTHEN, bar_hardening_mpa=2000.0)).outcome
    assert found["strength_by"] == FIBRES
    assert _moment(found, "ultimate_moment") > _moment(plain, "ultimate_moment")
    assert found["control_load"]["value"] > plain["control_load"]["value"]


def test_the_stored_moment_is_that_of_the_fibre_model():
    made = Member.from_dict(member(2, fabric={**member(2)["fabric"], "uncracked_mpa": 600_000.0,
                                              "transition_strain": 4e-4}))  # fmt: skip
    built = build(made, Options())
    law = Parabola(30.0, 4700.0 * math.sqrt(30.0), 0.003)
    own = ultimate_point(FibreModel(built.section, law)).moment_nmm
    assert flexure_of(built).nominal_nmm == own


def test_a_bar_that_breaks_first_is_named():
    bars = [{"count": 3, "diameter_mm": 12, "depth_mm": 260, "yield_mpa": 420,
             "hardening_mpa": 500.0, "rupture_strain": 0.008}]  # fmt: skip
    answer = calculate_flexure({"member": member(2, bars=bars)})
    assert answer["mode"] == BAR_MODE
    assert answer["strength_by"] == FIBRES


def test_the_sheet_names_the_way_and_keeps_the_other_beside_it():
    fabric = {**member(2)["fabric"], "uncracked_mpa": 600_000.0, "transition_strain": 4e-4}
    answer = calculate_flexure({"member": member(2, fabric=fabric)})
    parts = {step["part"] for step in answer["steps"]}
    assert "strengthened section in closed form, for comparison" in parts
    assert "strengthened section by fibre integration" in parts
    last = steps(answer)
    assert last["Mn"] == _moment(answer, "nominal_moment")
    assert last["ΔM"] == pytest.approx(
        _moment(answer, "fibre_moment") / _moment(answer, "closed_form_moment") - 1.0
    )


def test_the_spread_is_about_the_load_that_is_predicted():
    answer = predict(inputs(STRENGTHEN, **TWO_LINES)).outcome
    spread = answer["spread"]
    assert spread["lower_load"]["value"] < answer["ultimate_load"]["value"]
    assert spread["upper_load"]["value"] > answer["ultimate_load"]["value"]
    assert "scaled to the fibre integration" in spread["basis"]


def test_a_beam_calculated_says_how():
    answer = calculate_beam({"member": member(2), "loading": LOADING})
    assert answer["strength_by"] == CLOSED_FORM
