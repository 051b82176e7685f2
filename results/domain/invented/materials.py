"""Invented lots of material and their tests, made from stated means and deviations.

Pieces lie at fixed distances from the mean, in sample standard deviations, so that a reader of the
tests finds the stated mean and deviation again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.invented.beams import POURS, TODAY, PourSpec, seed_for
from results.domain.invented.equipment import MATERIAL_MAPS, ChannelSpec, sensor_by_serial
from results.domain.invented.logger_text import COMMAS, SEMICOLONS, LoggerColumn, table_bytes
from results.domain.invented.parameters import PARAMETERS, Parameters
from results.domain.mechanics.materials.concrete import age_factor

Floats = npt.NDArray[np.float64]
FABRIC_LOT, MORTAR_LOT, BAR_HEAT = "QP-26-01", "QM-26-04", "QB-26-01"
COUPON, BAR = "coupon", "bar"
CYLINDER_AGES = (28, 150)
# Distances from the mean in sample standard deviations: mean 0 and deviation 1 for each count.
_PLACES: Mapping[int, tuple[float, ...]] = {
    2: (-math.sqrt(0.5), math.sqrt(0.5)),
    3: (-1.0, 0.0, 1.0),
    5: tuple(z / math.sqrt(2.5) for z in (-2.0, -1.0, 0.0, 1.0, 2.0)),
}


@dataclass(frozen=True)
class CouponLaw:
    """Coupons of one grip: MPa on the fibre area, mm/mm."""

    grip: str
    count: int
    uncracked_mpa: float
    transition_strain: float
    cracked_mpa: float
    cracked_s_mpa: float
    ultimate_strain: float
    ultimate_s: float


@dataclass(frozen=True)
class MaterialLaw:
    """Every stated number behind the invented material tests.

    Attributes:
        coupons: clevis grips end in slip, clamped ones in rupture.
        width_mm, bond_length_mm, gauge_length_mm: of a coupon.
        bar_yield_mpa, bar_yield_s_mpa, bar_strength_mpa, bar_modulus_mpa: of the heat.
        cylinder_cov: between cylinders of one batch and age.
        mortar_mpa, mortar_s_mpa, mortar_flexural_mpa, mortar_flexural_s_mpa: at 28 days.
    """

    coupons: tuple[CouponLaw, ...] = (
        CouponLaw("clevis", 5, 900_000.0, 3e-4, 126_000.0, 2500.0, 0.0124, 6e-4),
        CouponLaw("clamped", 2, 900_000.0, 3e-4, 130_000.0, 1500.0, 0.0152, 4e-4),
    )
    width_mm: float = 50.0
    bond_length_mm: float = 150.0
    gauge_length_mm: float = 100.0
    bar_yield_mpa: float = 428.0
    bar_yield_s_mpa: float = 5.0
    bar_strength_mpa: float = 545.0
    bar_modulus_mpa: float = 200_000.0
    cylinder_cov: float = 0.03
    mortar_mpa: float = 46.0
    mortar_s_mpa: float = 1.8
    mortar_flexural_mpa: float = 7.2
    mortar_flexural_s_mpa: float = 0.35


LAW = MaterialLaw()


@dataclass(frozen=True)
class LotSpec:
    """A lot as it is added."""

    code: str
    kind: str
    title: str
    made_on: date
    specified: Mapping[str, Any]
    source: str
    note: str = "Invented."


@dataclass(frozen=True)
class TypedSpec:
    """A test that a person typed."""

    lot: str
    test: str
    mark: str
    tested_on: date
    values: Mapping[str, float]
    note: str = "invented"


@dataclass(frozen=True)
class MaterialFile:
    """A raw file of a coupon or a bar; the same numbers give the same bytes.

    Attributes:
        test, mark: of the piece.
        measured_at: when it was tested.
        strain, load_kn: the truth, shapes (n,).
        gauge_length_mm: of a coupon, whose file holds elongation; None for strain.
        seed: of its noise.
    """

    test: str
    mark: str
    measured_at: datetime
    strain: Floats = field(repr=False)
    load_kn: Floats = field(repr=False)
    gauge_length_mm: float | None
    seed: int

    def content(self) -> bytes:
        """The bytes that the logger wrote."""
        rng = np.random.default_rng(self.seed)
        count, hz = len(self.strain), 5.0
        time, load, second = MATERIAL_MAPS[self.test]
        style = COMMAS if self.test == COUPON else SEMICOLONS
        moved = self.strain * (self.gauge_length_mm or 1.0)
        columns = [
            LoggerColumn(time.column, time.unit, time.decimals, np.arange(count) / hz),
            self._column(load, self.load_kn, rng),
            self._column(second, moved, rng),
        ]
        preamble = (("Piece", self.mark), ("Test", self.test),
                    ("Start", f"{self.measured_at:%Y-%m-%d %H:%M:%S}"))  # fmt: skip
        return table_bytes(style, preamble, columns)

    def _column(self, spec: ChannelSpec, truth: Floats, rng: np.random.Generator) -> LoggerColumn:
        factor = sensor_by_serial(spec.sensor or "").factor_at(self.measured_at)
        noise = rng.normal(0.0, 2e-4 * float(np.max(np.abs(truth))), len(truth))
        values = (truth / factor + noise) * spec.per_base
        return LoggerColumn(spec.column, spec.unit, spec.decimals, values)


def lots(parameters: Parameters = PARAMETERS) -> tuple[LotSpec, ...]:
    """Every lot, batch and heat of the story."""
    member = parameters.member
    batches = [
        LotSpec(pour.code, "concrete", "C30, ready-mixed", pour.cast_on.date(),
                {"fc_mpa": member.fc_mpa, "aggregate_mm": 16.0}, "mix design, invented")
        for pour in POURS.values()
    ]  # fmt: skip
    fabric = {
        "fibre": "pbo",
        "direction": "warp",
        "roll_width_mm": 1000.0,
        "ply_thickness_mm": member.fabric_area_mm2_per_ply / member.b_mm,
        "ef_mpa": member.fabric_ef_mpa,
        "fabric_design_strain": member.fabric_design_strain,
    }
    bars = {"bar_diameter_mm": member.bar_diameter_mm, "fy_mpa": member.fy_mpa,
            "es_mpa": member.es_mpa, "grade": "420"}  # fmt: skip
    return (
        *batches,
        LotSpec(FABRIC_LOT, "fabric", "Quay P (invented)", date(2026, 1, 8), fabric,
                "data sheet of the fabric, invented"),
        LotSpec(MORTAR_LOT, "mortar", "Quay M (invented)", date(2026, 1, 8),
                {"mortar_compressive_mpa": 40.0, "mortar_flexural_mpa": 6.0},
                "data sheet of the mortar, invented"),
        LotSpec(BAR_HEAT, "bar", "Bars of 12 mm", date(2026, 1, 7), bars, "design, invented"),
    )  # fmt: skip


def strength_at(pour: PourSpec, age_days: int) -> float:
    """Mean cylinder strength of a batch at an age, MPa: ACI 209R from that at 28 days."""
    return pour.fc_mpa * age_factor(age_days) / age_factor(28)


def typed_tests(law: MaterialLaw = LAW) -> tuple[TypedSpec, ...]:
    """Cylinders of every batch at every age that has come, and mortar prisms."""
    found = []
    for pour in POURS.values():
        for age in CYLINDER_AGES:
            on = (pour.cast_on + timedelta(days=age)).date()
            if on >= TODAY.date():
                continue
            mean = strength_at(pour, age)
            for number, place in enumerate(_PLACES[3], start=1):
                strength = mean * (1.0 + law.cylinder_cov * place)
                load = strength * math.pi * 150.0**2 / 4.0 / 1e3
                values = {"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": round(load, 1)}
                mark = f"{pour.code}-{age}d-{number}"
                found.append(TypedSpec(pour.code, "cylinder", mark, on, values))
    return (*found, *_prisms(law))


def _prisms(law: MaterialLaw) -> list[TypedSpec]:
    on, found = date(2026, 2, 5), []
    for number, place in enumerate(_PLACES[3], start=1):
        flexural = law.mortar_flexural_mpa + place * law.mortar_flexural_s_mpa
        strength = law.mortar_mpa + place * law.mortar_s_mpa
        values = {
            "width_mm": 40.0,
            "height_mm": 40.0,
            "span_mm": 100.0,
            "flexural_load_kn": round(flexural * 40.0**3 / 150.0 / 1e3, 3),
            "plate_mm": 40.0,
            "half_1_load_kn": round(1.6 * strength * 1.01, 2),
            "half_2_load_kn": round(1.6 * strength * 0.99, 2),
        }
        found.append(TypedSpec(MORTAR_LOT, "prism", f"QM-{number}", on, values))
    return found


def coupon_files(
    seed: int, law: MaterialLaw = LAW, parameters: Parameters = PARAMETERS
) -> list[tuple[MaterialFile, dict[str, Any]]]:
    """The coupons of the fabric lot, each with the settings of its reduction."""
    found: list[tuple[MaterialFile, dict[str, Any]]] = []
    thickness = parameters.member.fabric_area_mm2_per_ply / parameters.member.b_mm
    for of in law.coupons:
        for number, place in enumerate(_PLACES[of.count], start=1):
            mark = f"{FABRIC_LOT}-{of.grip}-{number}"
            last = of.ultimate_strain + place * of.ultimate_s
            # The stiffer coupon is not the one that stretches most.
            cracked = of.cracked_mpa - place * of.cracked_s_mpa
            strain, stress = _two_lines(of, cracked, last)
            at = datetime(2026, 2, 20, 9, 0, tzinfo=UTC) + timedelta(minutes=25 * len(found))
            file = MaterialFile(
                COUPON, mark, at, strain, stress * law.width_mm * thickness / 1e3,
                law.gauge_length_mm, seed_for(seed, mark),
            )  # fmt: skip
            settings = {
                "mark": mark,
                "grip": of.grip,
                "bond_length_mm": law.bond_length_mm,
                "gauge_length_mm": law.gauge_length_mm,
                "width_mm": law.width_mm,
            }
            found.append((file, settings))
    return found


def _two_lines(of: CouponLaw, cracked: float, last: float) -> tuple[Floats, Floats]:
    """Two lines to the end, then the load falls away."""
    rising = np.linspace(0.0, last, 700)
    knee = of.transition_strain
    stress = of.uncracked_mpa * np.minimum(rising, knee) + cracked * np.maximum(rising - knee, 0)
    after = np.linspace(last, 1.1 * last, 40)[1:]
    fall = stress[-1] * np.linspace(0.6, 0.3, 39)
    return np.append(rising, after), np.append(stress, fall)


def bar_files(seed: int, law: MaterialLaw = LAW) -> list[tuple[MaterialFile, dict[str, Any]]]:
    """Three bars of the heat: elastic, a plateau, then hardening to the strength."""
    found = []
    area = math.pi * PARAMETERS.member.bar_diameter_mm**2 / 4.0
    for number, place in enumerate(_PLACES[3], start=1):
        mark = f"{BAR_HEAT}-{number}"
        fy = law.bar_yield_mpa + place * law.bar_yield_s_mpa
        first = fy / law.bar_modulus_mpa
        strain = np.concatenate([
            np.linspace(0.0, first, 150), np.linspace(first, 0.015, 100)[1:],
            np.linspace(0.015, 0.10, 250)[1:],
        ])  # fmt: skip
        harder = np.clip((strain - 0.015) / 0.085, 0.0, 1.0)
        risen = (law.bar_strength_mpa - fy) * harder * (2.0 - harder)
        stress = np.minimum(law.bar_modulus_mpa * strain, fy) + risen
        at = datetime(2026, 1, 20, 10, 0, tzinfo=UTC) + timedelta(minutes=20 * number)
        file = MaterialFile(BAR, mark, at, strain, stress * area / 1e3, None, seed_for(seed, mark))
        found.append((file, {"mark": mark}))
    return found
