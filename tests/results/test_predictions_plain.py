"""What a series says of its members, its routes and its ratios, before any database."""

from __future__ import annotations

import pytest

from labmatrix.kernel.errors import ShapeError
from results.calculation_sheet import steps_by_part
from results.domain.comparison.model_error import PUBLISHED, Ratio, ratio_group, ratio_groups
from results.domain.invented.programme import member_json
from results.domain.mechanics.loading import Loading
from results.domain.mechanics.member import Member
from results.domain.planned_member import Known, loading_payload, member_payload
from results.domain.planned_protocol import protocol_of
from results.domain.pre_test import Expected, holds_proposed, trips_proposed

MEMBER = {
    "b_mm": 200.0, "h_mm": 300.0, "d_mm": 260.0, "span_mm": 2400.0, "shear_span_mm": 900.0,
    "bar_count": 3, "bar_diameter_mm": 12.0, "fc_mpa": 30.0, "fy_mpa": 420.0,
    "fibre": "pbo", "fabric_area_mm2_per_ply": 10.0, "ef_mpa": 128_000.0,
    "fabric_design_strain": 0.012, "fabric_depth_mm": 300.0,
    "self_weight_kn": 3.456, "spreader_kn": 0.35,
}  # fmt: skip


def _without(*names):
    return {name: value for name, value in MEMBER.items() if name not in names}


def test_the_demos_member_is_one_that_mechanics_takes():
    known = Known(member_json(), {})
    member = Member.from_dict(member_payload(known, name="P2", plies=2))
    loading = Loading.from_dict(loading_payload(known))
    assert (member.shape.top_width_mm, member.shape.height_mm) == (200.0, 300.0)
    assert member.fabric is not None
    assert member.fabric.plies * member.fabric.ply_thickness_mm * 200.0 == pytest.approx(20.0)
    assert member.concrete.unit_weight_kn_per_m3 == pytest.approx(24.0)
    assert (loading.kind, loading.spreader_kn) == ("four-point", 0.35)
    assert member.stirrups is not None


def test_no_plies_is_no_fabric():
    assert "fabric" not in member_payload(Known(MEMBER, {}), name="P0", plies=0)


def test_measured_values_take_the_place_of_specified_ones():
    known = Known(MEMBER, {"fc_mpa": 33.0, "h_mm": 302.0})
    payload = member_payload(known, name="B1", plies=1)
    assert payload["concrete"]["strength_mpa"] == 33.0
    assert payload["concrete"]["origin"] == "measured"
    assert payload["bars"][0]["origin"] == "specified"
    # Fabric specified at the soffit is at the soffit of the beam that was made.
    assert "depth_mm" not in payload["fabric"]
    assert known.used()["fc_mpa"] == {"value": 33.0, "origin": "measured"}
    assert known.used()["fy_mpa"] == {"value": 420.0, "origin": "specified"}


def test_fabric_away_from_the_soffit_stays_where_it_is():
    known = Known({**MEMBER, "fabric_depth_mm": 308.0}, {"h_mm": 302.0})
    assert member_payload(known, name="B1", plies=1)["fabric"]["depth_mm"] == 308.0


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        ("b_mm", "b_mm (width)"),
        ("fc_mpa", "fc_mpa (concrete strength)"),
        ("bar_count", "bar_count (number of bars)"),
        ("ef_mpa", "ef_mpa (modulus of the fabric)"),
        ("fabric_area_mm2_per_ply", "fabric_area_mm2_per_ply (area of one ply)"),
        ("span_mm", "span_mm (span)"),
    ],
)
def test_what_is_missing_is_named(gone, words):
    with pytest.raises(ShapeError, match="does not say") as caught:
        member_payload(Known(_without(gone), {}), name="P2", plies=2)
    assert words in caught.value.message
    assert caught.value.facts["missing"] == [gone]


def test_a_text_for_a_number_is_refused():
    with pytest.raises(ShapeError) as caught:
        member_payload(Known({**MEMBER, "b_mm": "wide"}, {}), name="P2", plies=2)
    assert caught.value.code == "prediction.number"


def test_top_bars_and_a_tee_are_passed_on():
    known = Known(
        {**MEMBER, "flange_width_mm": 500.0, "flange_thickness_mm": 60.0, "top_d_mm": 40.0,
         "top_bar_count": 2, "top_bar_diameter_mm": 10.0}, {}
    )  # fmt: skip
    member = Member.from_dict(member_payload(known, name="T", plies=0))
    assert member.shape.kind == "tee"
    assert member.shape.web_width_mm == 200.0
    assert [(bar.name, bar.depth_mm) for bar in member.bars] == [
        ("tension bars", 260.0),
        ("top bars", 40.0),
    ]


def test_without_a_shear_span_the_load_is_at_mid_span():
    assert loading_payload(Known(_without("shear_span_mm"), {}))["kind"] == "three-point"


def test_a_route_is_read_for_what_loads_the_member():
    protocol = protocol_of(
        [
            {"stage": "pre-crack", "load_kn": 20.0},
            {"stage": "strengthen", "plies": 2, "moment_knm": 5.0},
            {"stage": "sustain", "share_of_control_ultimate": 0.4},
            {"stage": "cycle", "cycles": 2e6, "minimum_kn": 8.0, "maximum_kn": 40.0,
             "frequency_hz": 4.0},
        ]
    )  # fmt: skip
    assert (protocol.plies, protocol.pre_crack_kn, protocol.installed_knm) == (2, 20.0, 5.0)
    assert protocol.sustained is not None
    assert protocol.cycling is not None
    assert protocol.sustained.kn({"control": 75.0, "own": 90.0}) == pytest.approx(30.0)
    assert protocol.cycling.largest.kn({"control": 75.0, "own": 90.0}) == 40.0


def test_shares_of_the_own_ultimate_are_of_the_own_ultimate():
    stage = {"stage": "cycle", "cycles": 1e6, "minimum_share_of_own_ultimate": 0.1,
             "maximum_share_of_own_ultimate": 0.5}  # fmt: skip
    cycling = protocol_of([stage]).cycling
    assert cycling is not None
    assert cycling.largest.kn({"control": 75.0, "own": 90.0}) == 45.0


def test_a_stage_without_loads_has_no_part():
    assert protocol_of([{"stage": "cycle", "cycles": 2e6}]).cycling is None


@pytest.mark.parametrize(
    ("stage", "code"),
    [
        ({"stage": "strengthen"}, "prediction.plies"),
        ({"stage": "strengthen", "plies": 1.5}, "prediction.plies"),
        ({"stage": "cycle", "cycles": 2e6, "maximum_kn": 40.0}, "prediction.route"),
        ({"stage": "sustain", "load_kn": "heavy"}, "prediction.route"),
    ],
)
def test_a_route_that_cannot_be_read_says_why(stage, code):
    with pytest.raises(ShapeError) as caught:
        protocol_of([stage])
    assert caught.value.code == code


def _ratios(values, **more):
    return [Ratio(f"B{i}", "C", "m", 10 * v, 10.0, **more) for i, v in enumerate(values)]


def test_mean_and_scatter_of_eight_ratios():
    # Worked by hand: sum 8.40, squared deviations 0.0700.
    group = ratio_group("all", _ratios([1.10, 0.95, 1.20, 1.05, 0.90, 1.15, 1.00, 1.05]))
    assert group.n == 8
    assert group.mean == pytest.approx(1.05)
    assert group.s == pytest.approx(0.1)
    assert group.cov == pytest.approx(0.0952381, abs=1e-7)


def test_lower_bounds_do_not_count_and_are_counted():
    group = ratio_group("all", [*_ratios([1.0, 1.1]), *_ratios([0.2], is_bound=True)])
    assert (group.n, group.left_out) == (2, 1)
    assert group.mean == pytest.approx(1.05)


def test_one_ratio_has_no_scatter_and_none_has_no_mean():
    assert ratio_group("one", _ratios([1.1])).s is None
    assert ratio_group("none", []).mean is None


def test_groups_come_in_the_order_of_the_matrix():
    ratios = [Ratio("B1", "Z", "m", 1, 1), Ratio("B2", "A", "m", 2, 1)]
    groups = ratio_groups(ratios, lambda r: r.cell, ["Z", "A"])
    assert [(g.name, g.mean) for g in groups] == [("Z", 1.0), ("A", 2.0)]


def test_the_published_ratio_is_as_published():
    # Ebead et al. 2019, ACI Struct. J. 116(2).
    assert (PUBLISHED.mean, PUBLISHED.s, PUBLISHED.n) == (1.07, 0.11, 14)


def test_trips_stand_above_what_is_expected():
    expected = Expected(13.0, 70.0, 90.0, 98.0, 20.0, cycle_kn=40.0, cycle_mm=4.0)
    trips = {p.words: (p.value, p.unit) for p in trips_proposed(expected)}
    assert trips == {
        "Load trip, break test": (108.0, "kN"),
        "Displacement trip, break test": (30.0, "mm"),
        "Load trip, cycling": (42.0, "kN"),
        "Displacement trip, cycling": (6.0, "mm"),
    }
    assert len(trips_proposed(Expected(13.0, 70.0, 90.0, 98.0, 20.0))) == 2


def test_nobody_approaches_above_the_last_hold():
    holds = holds_proposed(Expected(13.0, 70.0, 90.0, 98.0, 20.0))
    assert [(h.words, h.value) for h in holds] == [
        ("First hold", 14.5),
        ("Last hold with approach", 54.0),
        ("Hold without approach", 63.0),
    ]


def test_a_member_that_does_not_crack_or_yield_first_has_one_hold():
    holds = holds_proposed(Expected(None, None, 90.0, 90.0, 20.0))
    assert [h.words for h in holds] == ["Last hold with approach"]


def test_steps_stand_under_their_headings():
    def step(part, value, unit="mm"):
        return {"part": part, "symbol": "c", "words": "w", "formula": "f", "source": "s",
                "quantity": {"value": value, "unit": unit}}  # fmt: skip

    parts = steps_by_part([step("a", 1.5), step("a", "yes", ""), step("b", 2.0, "1")])
    assert [(p.title, len(p.lines)) for p in parts] == [("a", 2), ("b", 1)]
    assert (parts[0].lines[0].number, parts[0].lines[1].word) == (1.5, "yes")
    assert parts[1].lines[0].unit == ""
