"""The invented material tests give back what they were made from."""

from __future__ import annotations

import math
import statistics

import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.invented.beams import POURS
from results.domain.invented.logger_text import MARK
from results.domain.invented.materials import (
    BAR_HEAT,
    FABRIC_LOT,
    LAW,
    MORTAR_LOT,
    strength_at,
)
from results.domain.invented.parameters import PARAMETERS
from results.domain.invented.story import story
from results.domain.materials.properties import typed_numbers
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.materials.bars import bar_test, elastic_slope
from results.domain.mechanics.materials.coupons import (
    Coupon,
    CouponSetup,
    design_values,
    reduce_coupon,
)
from results.services.methods import method_for
from specimens.domain.lot import check_specified
from specimens.domain.typed_test import check_typed
from tests.results.invented_reading import channels_of

STORY = story()
CAP = DEFAULT_LIMITS["strain-cap"]
MEMBER = PARAMETERS.member


def _coupon(record) -> Coupon:
    channels, told = channels_of(record), record.settings
    thickness = MEMBER.fabric_area_mm2_per_ply / MEMBER.b_mm
    setup = CouponSetup(told["grip"], told["bond_length_mm"], told["gauge_length_mm"],
                        told["width_mm"], thickness, 1, "data sheet")  # fmt: skip
    strain = channels.one("deflection").values / told["gauge_length_mm"]
    return reduce_coupon(strain, 1e3 * channels.one("load").values, setup)


COUPONS = {
    of.grip: [
        _coupon(r) for r in STORY.material_records
        if r.test == "coupon" and r.settings["grip"] == of.grip
    ]
    for of in LAW.coupons
}  # fmt: skip


@pytest.mark.parametrize("law", LAW.coupons, ids=lambda law: law.grip)
def test_coupons_give_back_their_means_and_scatter(law):
    made = COUPONS[law.grip]
    strains, moduli = [c.ultimate_strain for c in made], [c.cracked_mpa for c in made]
    assert len(made) == law.count
    assert statistics.fmean(strains) == pytest.approx(law.ultimate_strain, rel=0.01)
    assert statistics.stdev(strains) == pytest.approx(law.ultimate_s, rel=0.15)
    assert statistics.fmean(moduli) == pytest.approx(law.cracked_mpa, rel=0.01)
    for coupon in made:
        assert coupon.uncracked_mpa == pytest.approx(law.uncracked_mpa, rel=0.05)
        assert coupon.transition is not None
        assert coupon.transition[0] == pytest.approx(law.transition_strain, rel=0.05)


def test_design_values_are_mean_less_one_deviation_and_never_of_two_grips():
    [clevis, _] = LAW.coupons
    found = design_values(COUPONS["clevis"], CAP)
    wanted = clevis.ultimate_strain - clevis.ultimate_s
    assert found.design_strain == pytest.approx(wanted, rel=0.015)
    assert not found.capped
    with pytest.raises(ShapeError, match="tested in 2 ways"):
        design_values([*COUPONS["clevis"], *COUPONS["clamped"]], CAP)


def test_bars_give_back_the_heat():
    area, yields = math.pi * MEMBER.bar_diameter_mm**2 / 4.0, []
    for record in (r for r in STORY.material_records if r.test == "bar"):
        channels = channels_of(record)
        strain = channels.one("strain").values
        stress = 1e3 * channels.one("load").values / area
        slope = elastic_slope(strain, stress, low_mpa=80.0, high_mpa=250.0)
        found = bar_test(strain, stress, modulus_mpa=slope)
        assert slope == pytest.approx(LAW.bar_modulus_mpa, rel=0.02)
        assert found.strength_mpa == pytest.approx(LAW.bar_strength_mpa, rel=0.005)
        yields.append(found.yield_mpa)
    assert statistics.fmean(yields) == pytest.approx(LAW.bar_yield_mpa, rel=0.003)
    assert statistics.stdev(yields) == pytest.approx(LAW.bar_yield_s_mpa, rel=0.1)


def _numbers(lot, kind, test, name):
    found: dict[int, list[float]] = {}
    for typed in STORY.typed_tests:
        if typed.lot == lot and typed.test == test:
            [value] = [n.value for n in typed_numbers(kind, test, typed.values) if n.name == name]
            found.setdefault(typed.tested_on.toordinal(), []).append(value)
    return [found[day] for day in sorted(found)]


@pytest.mark.parametrize("pour", POURS.values(), ids=lambda pour: pour.code)
def test_cylinders_give_back_the_batch_at_each_age_that_has_come(pour):
    ages = _numbers(pour.code, "concrete", "cylinder", "fc_mpa")
    assert len(ages) == (2 if pour.days_before > 150 else 1)
    for age, values in zip((28, 150), ages, strict=False):
        assert len(values) == 3
        assert statistics.fmean(values) == pytest.approx(strength_at(pour, age), rel=1e-3)
        scatter = statistics.stdev(values) / statistics.fmean(values)
        assert scatter == pytest.approx(LAW.cylinder_cov, rel=0.01)


def test_prisms_give_back_the_mortar():
    [flexural] = _numbers(MORTAR_LOT, "mortar", "prism", "mortar_flexural_mpa")
    [strengths] = _numbers(MORTAR_LOT, "mortar", "prism", "mortar_compressive_mpa")
    assert statistics.fmean(flexural) == pytest.approx(LAW.mortar_flexural_mpa, rel=1e-3)
    assert statistics.fmean(strengths) == pytest.approx(LAW.mortar_mpa, rel=1e-3)
    assert statistics.stdev(strengths) == pytest.approx(LAW.mortar_s_mpa, rel=0.01)


def test_every_lot_and_test_is_one_that_the_doors_take():
    kinds = {lot.code: lot.kind for lot in STORY.lots}
    for lot in STORY.lots:
        assert check_specified(lot.kind, dict(lot.specified)) == lot.specified
        assert "invented" in lot.source
    for typed in STORY.typed_tests:
        assert check_typed(kinds[typed.lot], typed.test, dict(typed.values)) == typed.values
        assert typed.tested_on < STORY.today.date()
        assert "invented" in typed.note
    for record in STORY.material_records:
        method_for(record.test).settings.from_dict(record.settings)
        assert kinds[record.subject] == {"coupon": "fabric", "bar": "bar"}[record.test]
        assert any(MARK.encode(code) in record.content() for code in ("utf-8", "cp1252"))
        assert record.measured_at < STORY.today


def test_every_lot_that_an_event_names_is_known():
    known = {lot.code for lot in STORY.lots}
    named = {
        event.body["payload"].get(name)
        for event in STORY.events
        for name in ("batch", "bars", "lot")
    }
    assert named - {None} == {*POURS, BAR_HEAT, FABRIC_LOT, MORTAR_LOT} & (named - {None})
    assert named - {None} <= known


def test_the_same_seed_gives_the_same_bytes():
    again = story()
    assert [r.content() for r in again.material_records[:4]] == [
        r.content() for r in STORY.material_records[:4]
    ]
