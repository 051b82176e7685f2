"""Tests put together where they are alike, and the value that a prediction takes. No database."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError
from results.domain.materials.pools import Sample, chosen_pool, pools_of
from results.domain.materials.properties import typed_numbers
from results.domain.materials.resolve import (
    LotKnown,
    design_of,
    materials_of,
    materials_sentence,
)
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.materials.mortar import (
    cylinder_from_cube,
    half_prism_strength,
    prism_flexural_strength,
)
from results.domain.planned_member import TWO_LINES, Known, member_payload
from tests.results.test_predictions_plain import MEMBER

CAP = DEFAULT_LIMITS["strain-cap"]
CLEVIS = "clevis grip, bond 150 mm, gauge 100 mm"
CLAMPED = "clamped grip, bond 150 mm, gauge 100 mm"


def cylinders(*values: float, age: int = 28, rank: int = 0) -> list[Sample]:
    return [Sample("fc_mpa", v, "cylinder", f"C{n}", age_days=age, rank=rank, key=f"{age}-{n}")
            for n, v in enumerate(values)]  # fmt: skip


def coupons(*strains: float, how: str = CLEVIS, rank: int = 0) -> list[Sample]:
    return [Sample("fabric_ultimate_strain", v, "coupon", f"F{n}", how=how, rank=rank, key=f"f{n}")
            for n, v in enumerate(strains)]  # fmt: skip


def test_prisms_by_the_standards_form():
    # Exact; EN 1015-11: 40 × 40 × 160 mm on 100 mm, 1.5 F l/(b d²), and F/1600 mm².
    assert prism_flexural_strength(
        load_n=3000.0, width_mm=40.0, height_mm=40.0, span_mm=100.0
    ) == pytest.approx(7.03125)
    assert half_prism_strength(load_n=72_000.0, plate_mm=40.0, width_mm=40.0) == 45.0


def test_cubes_become_cylinders_only_between_known_classes():
    # EN 206 classes (recalled): C25/30, C30/37, C40/50.
    assert cylinder_from_cube(30.0) == 25.0
    assert cylinder_from_cube(37.0) == 30.0
    assert cylinder_from_cube(33.5) == pytest.approx(27.5)
    with pytest.raises(RangeError, match=r"cube_mpa is 5\.0; allowed is from 10 to 115 MPa"):
        cylinder_from_cube(5.0)


def test_typed_tests_give_their_numbers_with_the_rule():
    values = {"diameter_mm": 101.6, "length_mm": 203.2, "load_kn": 250.0, "ec_mpa": 25_000.0}
    strength, modulus = typed_numbers("concrete", "cylinder", values)
    assert strength.value == pytest.approx(30.83633, abs=5e-6)
    assert "ASTM C39" in strength.rule
    assert (modulus.name, modulus.value) == ("ec_mpa", 25_000.0)
    [cube] = typed_numbers("concrete", "cube", {"side_mm": 50.0, "load_kn": 90.0})
    assert (cube.name, cube.value) == ("cube_mpa", 36.0)
    [alone] = typed_numbers("mortar", "cube", {"side_mm": 50.0, "load_kn": 90.0})
    assert alone.name == "mortar_compressive_mpa"
    flexure, halves = typed_numbers(
        "mortar", "prism",
        {"width_mm": 40.0, "height_mm": 40.0, "span_mm": 100.0, "flexural_load_kn": 3.0,
         "plate_mm": 40.0, "half_1_load_kn": 72.0, "half_2_load_kn": 76.0},
    )  # fmt: skip
    assert flexure.value == pytest.approx(7.03125)
    assert halves.value == pytest.approx(46.25)


@given(st.lists(st.floats(10.0, 90.0), min_size=2, max_size=12))
def test_a_pool_has_the_mean_and_the_sample_deviation(values):
    [pool] = pools_of(cylinders(*values))
    assert pool.mean == pytest.approx(statistics.fmean(values))
    assert pool.s == pytest.approx(statistics.stdev(values))
    assert pool.cov == pytest.approx(statistics.stdev(values) / statistics.fmean(values))


def test_other_ages_grips_and_turned_cubes_are_never_averaged():
    mixed = [*cylinders(30.0, 31.0), *cylinders(34.0, age=150), *cylinders(28.0, rank=1),
             *coupons(0.011, 0.012), *coupons(0.014, how=CLAMPED, rank=1)]  # fmt: skip
    assert [(p.name, p.n) for p in pools_of(mixed)] == [
        ("fc_mpa", 2), ("fc_mpa", 1), ("fc_mpa", 1),
        ("fabric_ultimate_strain", 2), ("fabric_ultimate_strain", 1),
    ]  # fmt: skip


def test_the_age_nearest_to_the_test_is_taken_and_cylinders_before_cubes():
    pools = pools_of([*cylinders(30.0, 31.0), *cylinders(36.0, age=150), *cylinders(99.0, rank=1)])

    def taken(age):
        return chosen_pool(pools, "fc_mpa", age_days=age).age_days

    assert (taken(20.0), taken(100.0), taken(400.0)) == (28, 150, 150)
    assert taken(89.0) == 150  # as near to both: the older
    assert taken(None) == 150
    assert chosen_pool(pools, "fc_mpa", age_days=28.0).rank == 0
    assert chosen_pool(pools, "fy_mpa") is None


@pytest.mark.parametrize(
    ("strains", "design"),
    [
        # Mean less one sample standard deviation, at most 0.012 (recalled, not re-read).
        ([0.0171, 0.0189, 0.0165, 0.0180, 0.0158], 0.0120),
        ([0.0102, 0.0111, 0.0094, 0.0105, 0.0098], 0.009548),
    ],
)
def test_design_strain_states_its_rule(strains, design):
    found = design_of(pools_of(coupons(*strains)), "QP-1", CAP)
    assert found.value == pytest.approx(design, abs=5e-7)
    assert found.words.startswith("mean less one sample standard deviation of 5 coupons of QP-1")
    assert CLEVIS in found.words
    assert (found.origin, found.n) == ("measured", 5)


def test_one_coupon_gives_no_design_strain():
    assert design_of(pools_of(coupons(0.011)), "QP-1", CAP) is None
    lot = LotKnown("QP-1", "fabric", "data sheet", {"fabric_design_strain": 0.012},
                   pools_of(coupons(0.011)))  # fmt: skip
    [design] = [m for m in materials_of([lot], age_days=None) if m.name == "fabric_design_strain"]
    assert (design.value, design.origin, design.words) == (0.012, "specified", "QP-1: data sheet")


def _lots():
    return [
        LotKnown("QC-01", "concrete", "design", {"fc_mpa": 30.0}, pools_of(cylinders(31.0, 33.0))),
        LotKnown("QB-01", "bar", "design", {"fy_mpa": 420.0}),
    ]


def test_measured_goes_before_specified_and_says_what_it_rests_on():
    found = {m.name: m for m in materials_of(_lots(), age_days=28.0)}
    assert (found["fc_mpa"].value, found["fc_mpa"].origin) == (32.0, "measured")
    assert found["fc_mpa"].words == "2 cylinders of QC-01 at 28 d"
    assert found["fc_mpa"].as_input()["tests"] == ["28-0", "28-1"]
    assert (found["fy_mpa"].value, found["fy_mpa"].origin) == (420.0, "specified")


def test_plies_of_two_lots_take_the_mean_and_are_measured_only_together():
    one = LotKnown("A", "fabric", "sheet", {"ef_mpa": 120_000.0, "fibre": "pbo"})
    other = LotKnown("B", "fabric", "sheet", {"fibre": "pbo"},
                     pools_of([Sample("ef_mpa", 130_000.0, "coupon", "1", key="k")]))  # fmt: skip
    found = {m.name: m for m in materials_of([one, other], age_days=None)}
    assert (found["ef_mpa"].value, found["ef_mpa"].origin) == (125_000.0, "specified")
    assert found["ef_mpa"].lots == ("A", "B")
    assert found["fibre"].value == "pbo"


def test_what_was_measured_on_the_specimen_itself_goes_first():
    told = {m.name: m.as_input() for m in materials_of(_lots(), age_days=28.0)}
    known = Known(MEMBER, {"fc_mpa": 35.0}, told)
    assert (known["fc_mpa"], known["fy_mpa"]) == (35.0, 420.0)
    assert known.used()["fc_mpa"] == {"value": 35.0, "origin": "measured"}
    without = Known(MEMBER, {}, told)
    assert without.used()["fc_mpa"] == {
        "value": 32.0, "origin": "measured", "words": "2 cylinders of QC-01 at 28 d",
    }  # fmt: skip
    payload = member_payload(without, name="B1", plies=0)
    assert payload["concrete"] == {
        "strength_mpa": 32.0, "origin": "measured",
        "unit_weight_kn_per_m3": pytest.approx(24.0),
    }  # fmt: skip
    assert payload["bars"][0]["origin"] == "specified"


def test_the_two_lines_of_coupons_count_only_where_the_member_asks_for_them():
    two = (("fabric_uncracked_mpa", 9e5), ("fabric_transition_strain", 4e-4))
    lines = {n: {"name": n, "value": v, "origin": "measured", "words": "5 coupons"} for n, v in two}
    plain = member_payload(Known(MEMBER, {}, lines), name="P", plies=1)
    assert "uncracked_mpa" not in plain["fabric"]
    asked = Known({**MEMBER, "fabric_law": TWO_LINES}, {}, lines)
    fabric = member_payload(asked, name="P", plies=1)["fabric"]
    assert (fabric["uncracked_mpa"], fabric["transition_strain"]) == (9e5, 4e-4)


def test_the_sentence_names_what_was_taken():
    told = {m.name: m.as_input() for m in materials_of(_lots(), age_days=28.0)}
    used = Known(MEMBER, {}, told).used()
    assert materials_sentence(used, has_fabric=True) == (
        "f'c 32 MPa measured, 2 cylinders of QC-01 at 28 d; fy 420 MPa specified, QB-01: design; "
        "Ef 128000 MPa specified; εfd 0.012 specified"
    )
    assert "Ef" not in materials_sentence(used, has_fabric=False)
    assert math.isclose(used["ef_mpa"]["value"], 128_000.0)
