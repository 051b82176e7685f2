"""Material tests among the reductions: coupons, bars, cylinders and cubes from their raw files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import Channel, Channels
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.materials.bars import bar_test, elastic_slope
from results.domain.mechanics.materials.concrete import cube_strength, cylinder_strength
from results.domain.mechanics.materials.coupons import CouponSetup, reduce_coupon
from results.domain.mechanics.materials.mortar import cylinder_from_cube
from results.domain.mechanics.section import bar_area
from results.domain.reduction.instruments import Judged, Told, judge, untold, without_refusals
from results.domain.reduction.material_settings import (
    BarSettings,
    CouponSettings,
    CubeSettings,
    CylinderSettings,
    MaterialSettings,
)
from results.domain.reduction.outcome import Found, Note, Outcome, Point
from results.domain.reduction.settings import ReductionSettings
from results.services.instruments_of import instrument_notes, instrument_of

Floats = npt.NDArray[np.float64]
Steps = Mapping[tuple[str, str], float]
NO_TRANSITION = (
    "No transition is visible: the first part of the curve is hardly steeper than the cracked one."
)
NO_STRAIN = (
    "The {test} record maps neither strain nor an elongation (deflection) beside its load; wanted "
    "is one of the two in the same file."
)


def _from_lot(inputs: Mapping[str, Any], name: str) -> float | None:
    value = inputs["specimen"].get("lot", {}).get("specified", {}).get(name)
    return float(value) if isinstance(value, int | float) else None


class _Curve:
    """Load over strain of a test, with what is drawn of it.

    Attributes:
        load: its channel.
        second: the channel of strain or elongation whose sensor counts.
        values: strain or elongation, shape (n,).
        per_unit: what turns ``values`` into strain.
    """

    def __init__(self, channels: Channels, gauge_length_mm: float | None, test: str) -> None:
        self.load = channels.one("load")
        strains = [c for c in channels.all("strain") if c.file == self.load.file]
        elongations = [c for c in channels.all("deflection") if c.file == self.load.file]
        found = elongations[:1] if not strains and gauge_length_mm else strains
        if not found:
            raise ShapeError("channels.quantity-missing", NO_STRAIN.format(test=test))
        self.second: Channel = found[0]
        self.values: Floats = np.mean([c.values for c in found], axis=0)
        self.per_unit = 1.0 if strains else 1.0 / float(gauge_length_mm or 1.0)

    def point(self, strain: float, load_n: float, label: str) -> Point:
        """A place on the curve as it is drawn, with the row nearest to it."""
        x, y = strain / self.per_unit, load_n / 1e3
        dx = (self.values - x) / (np.nanmax(np.abs(self.values)) or 1.0)
        dy = (self.load.values - y) / (np.nanmax(np.abs(self.load.values)) or 1.0)
        return Point(int(np.nanargmin(dx**2 + dy**2)), x, y, label)


def _judged(
    reduce: Callable[[Floats, Floats], Outcome],
    curve: _Curve,
    inputs: Mapping[str, Any],
    steps: Steps,
    told: Told,
) -> Judged:
    """The outcome with its uncertainty: load and strain moved within theirs."""

    reduce(curve.load.values, curve.values)  # a refusal of the record itself is said
    first, second = (
        instrument_of(
            c, inputs["calibrations"], steps.get((c.joined_from or c.file, c.column), 0.0)
        )
        for c in (curve.load, curve.second)
    )
    judged = judge(
        without_refusals(reduce),
        load_kn=curve.load.values,
        deflection_mm=curve.values,
        load=first,
        deflection=second,
        seed=int(content_key(inputs)[:8], 16),
        second=(curve.second.quantity, curve.second.unit),
        told=told,
    )
    notes = instrument_notes(first, second, second_words=f"the {curve.second.quantity}")
    outcome = replace(judged.outcome, warnings=(*judged.outcome.warnings, *notes))
    return Judged(outcome, judged.budgets)


def _finite(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    keep = np.isfinite(x) & np.isfinite(y)
    return x[keep], y[keep]


class CouponMethod:
    """Direct tension of fabric in its matrix: two lines (AC434, Annex A, recalled)."""

    name = "coupon"
    version = "1"
    settings: type[ReductionSettings] = CouponSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """Strength, cracked modulus, ultimate strain, and the transition where there is one."""
        settings = CouponSettings.from_dict(inputs["settings"])
        settings.check_wanted()
        thickness = settings.ply_thickness_mm or _from_lot(inputs, "ply_thickness_mm")
        if thickness is None:
            settings.check_wanted(("ply_thickness_mm",))
        setup = CouponSetup(
            settings.grip or "clevis",
            settings.bond_length_mm or 0.0,
            settings.gauge_length_mm or 0.0,
            settings.width_mm or 0.0,
            thickness or 0.0,
            settings.plies,
            settings.area_origin,
        )
        curve = _Curve(channels, settings.gauge_length_mm, self.name)
        used = settings.as_dict() | {"ply_thickness_mm": thickness, "area_mm2": setup.area_mm2}

        def reduce(load_kn: Floats, second: Floats) -> Outcome:
            return _coupon(curve, setup, used, *_finite(second, load_kn))

        return _judged(reduce, curve, inputs, steps, told)


def _coupon(
    curve: _Curve, setup: CouponSetup, used: dict[str, Any], second: Floats, load_kn: Floats
) -> Outcome:
    found = reduce_coupon(second * curve.per_unit, 1e3 * load_kn, setup)
    area = setup.area_mm2

    def at(strain: float, stress: float, label: str) -> Point:
        return curve.point(strain, stress * area, label)

    peak = int(np.argmax(load_kn))
    top = curve.point(float(second[peak]) * curve.per_unit, found.largest_load_n, "largest load")
    marks = [
        at(found.strain_60, 0.60 * found.strength_mpa, "0.60 of the strength"),
        at(found.strain_90, 0.90 * found.strength_mpa, "0.90 of the strength"),
        top,
    ]
    method = setup.grip
    metrics = [
        Found("coupon_peak_load", found.largest_load_n / 1e3, "kN", method=method, point=top),
        Found("coupon_strength", found.strength_mpa, "MPa", method=method, point=top),
        Found("coupon_cracked_modulus", found.cracked_mpa, "MPa", method=method, point=marks[1]),
        Found("coupon_ultimate_strain", found.ultimate_strain, "mm/mm", method=method, point=top),
    ]
    notes: tuple[Note, ...] = ()
    if found.transition is None or found.uncracked_mpa is None:
        notes = (Note("coupon.no-transition", NO_TRANSITION),)
    else:
        meets = at(*found.transition, "transition")
        marks.insert(0, meets)
        metrics += [
            Found("coupon_uncracked_modulus", found.uncracked_mpa, "MPa", method=method),
            Found("coupon_transition_strain", found.transition[0], "mm/mm", method=method,
                  point=meets),
            Found("coupon_transition_stress", found.transition[1], "MPa", method=method,
                  point=meets),
        ]  # fmt: skip
    return Outcome(tuple(metrics), warnings=notes, marks=tuple(marks), settings=used)


class BarMethod:
    """Tension of a bar: modulus, offset yield, strength."""

    name = "bar"
    version = "1"
    settings: type[ReductionSettings] = BarSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """From load over strain, on the nominal area."""
        settings = BarSettings.from_dict(inputs["settings"])
        diameter = settings.diameter_mm or _from_lot(inputs, "bar_diameter_mm")
        if diameter is None:
            settings.check_wanted(("diameter_mm",))
        area = bar_area(1, diameter or 0.0)
        curve = _Curve(channels, settings.gauge_length_mm, self.name)
        used = settings.as_dict() | {"diameter_mm": diameter, "area_mm2": area}

        def reduce(load_kn: Floats, second: Floats) -> Outcome:
            return _bar(curve, settings, area, used, _finite(second, load_kn))

        return _judged(reduce, curve, inputs, steps, told)


def _bar(
    curve: _Curve,
    settings: BarSettings,
    area: float,
    used: dict[str, Any],
    measured: tuple[Floats, Floats],
) -> Outcome:
    strain, stress = measured[0] * curve.per_unit, 1e3 * measured[1] / area
    slope = elastic_slope(
        strain, stress, low_mpa=settings.slope_low_mpa, high_mpa=settings.slope_high_mpa
    )
    found = bar_test(strain, stress, modulus_mpa=slope, offset=settings.offset)
    yielding = curve.point(found.yield_strain, found.yield_mpa * area, "offset yield")
    top = curve.point(found.strength_strain, found.strength_mpa * area, "largest load")
    return Outcome(
        (
            Found("bar_modulus", found.modulus_mpa, "MPa"),
            Found("bar_yield_stress", found.yield_mpa, "MPa", point=yielding),
            Found("bar_strength", found.strength_mpa, "MPa", point=top),
            Found("bar_strength_strain", found.strength_strain, "mm/mm", point=top),
        ),
        marks=(yielding, top),
        settings=used,
    )


class CompressionMethod:
    """A cylinder or a cube: the largest load over the area."""

    version = "1"

    def __init__(self, name: str, settings: type[MaterialSettings]) -> None:
        self.name = name
        self.settings: type[ReductionSettings] = settings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """From the load alone."""
        settings = self.settings.from_dict(inputs["settings"])
        load = channels.one("load")
        if not isinstance(settings, CylinderSettings | CubeSettings):
            raise TypeError(f"{self.name} takes settings of a cylinder or a cube")
        settings.check_wanted()
        instrument = instrument_of(
            load, inputs["calibrations"], steps.get((load.file, load.column), 0.0)
        )
        still = replace(instrument, source="none", scale_u=0.0, zero_u=0.0, resolution=0.0)
        rows = np.arange(load.values.size, dtype=np.float64)
        judged = judge(
            lambda load_kn, _: _compressed(settings, load_kn),
            load_kn=load.values,
            deflection_mm=rows,
            load=instrument,
            deflection=still,
            seed=int(content_key(inputs)[:8], 16),
            second=("row", "1"),
            told=told,
        )
        notes = instrument_notes(instrument, None)
        outcome = replace(judged.outcome, warnings=(*judged.outcome.warnings, *notes))
        return Judged(outcome, judged.budgets)


def _compressed(settings: CylinderSettings | CubeSettings, load_kn: Floats) -> Outcome:
    row = int(np.nanargmax(load_kn))
    largest = float(load_kn[row])
    top = Point(row, float(row), largest, "largest load")
    if isinstance(settings, CylinderSettings):
        strength = cylinder_strength(
            load_n=1e3 * largest,
            diameter_mm=settings.diameter_mm or 0.0,
            length_mm=settings.length_mm or 0.0,
        )
        found = [Found("cylinder_strength", strength, "MPa", point=top)]
    else:
        strength = cube_strength(load_n=1e3 * largest, side_mm=settings.side_mm or 0.0)
        found = [Found("cube_strength", strength, "MPa", point=top)]
        if settings.conversion != "none":
            turned = cylinder_from_cube(strength)
            found.append(Found("cylinder_strength", turned, "MPa", method=settings.conversion))
    return Outcome(tuple(found), marks=(top,), settings=settings.as_dict())


MATERIAL_METHODS: Mapping[str, CouponMethod | BarMethod | CompressionMethod] = {
    "coupon": CouponMethod(),
    "bar": BarMethod(),
    "cylinder": CompressionMethod("cylinder", CylinderSettings),
    "cube": CompressionMethod("cube", CubeSettings),
}
